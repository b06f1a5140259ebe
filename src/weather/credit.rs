//! Who the data come from, and the line their licence asks for.

use serde::{Deserialize, Serialize};

/// Credit to a service.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Credit {
    /// Short name in status and log.
    pub service: String,
    /// The line printed in letters, licence included.
    pub line: String,
    /// Where the licence stands.
    pub link: String,
}
