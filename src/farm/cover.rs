//! The stock of covers.

use serde::{Deserialize, Serialize};

use super::block::BlockId;
use crate::units::Metres;

/// Name of a set of covers.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct SetId(pub String);

/// Interchangeable metres of one cover; covers move only between the blocks of one set.
#[derive(Debug, Clone, PartialEq)]
pub struct CoverSet {
    /// Name in letters ("set A").
    pub id: SetId,
    /// Width of the cloth.
    pub width: Metres,
    /// Length in stock, all pieces together.
    pub length: Metres,
    /// Length of one roll; longer rows take several.
    pub roll_length: Metres,
    /// Blocks it serves, in the order in which they are picked.
    pub blocks: Vec<BlockId>,
}
