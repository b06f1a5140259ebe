//! One report of the crew. Entries are added and never erased; a later one corrects.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::farm::block::{BlockId, Rows};

/// What somebody reported.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// The block.
    pub block: BlockId,
    /// Rows it is about.
    pub rows: Rows,
    /// What happened.
    pub event: Event,
    /// When it happened.
    pub at: DateTime<Utc>,
    /// When it was written down; of two entries about the same thing the later one holds.
    pub noted: DateTime<Utc>,
}

/// What happened to the cover of some rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "what")]
pub enum Event {
    /// Laid and tied.
    Laid,
    /// Ties walked and mended.
    Checked,
    /// Wound up; `wet` if any face was damp or wet.
    Lifted {
        /// Whether it went onto the roll damp.
        wet: bool,
    },
    /// One side untied and turned over.
    Folded,
    /// A damp roll was spread and dried.
    Redried,
    /// Seen dry.
    Dry {
        /// On which face.
        face: Face,
    },
}

/// A face of the cover.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Face {
    /// The upper one.
    Top,
    /// The lower one.
    Underside,
}
