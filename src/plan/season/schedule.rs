//! A plan of the season: for every lot when it is laid and lifted, and how.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::case::{Kind, Mode};

/// When and how a lot is laid and lifted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Entry {
    /// Slot of laying; `None` if it lies out already.
    pub lay: Option<usize>,
    /// How it is laid; `None` if it lies out already.
    pub mode: Option<Mode>,
    /// Slot of lifting.
    pub lift: usize,
    /// How it is lifted.
    pub kind: Kind,
}

/// What is done with each lot, by its name; `None` is a lot that is not covered, or not lifted.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Schedule(pub BTreeMap<String, Option<Entry>>);

impl Schedule {
    /// What is done with the lot called `id`, if anything.
    pub fn entry(&self, id: &str) -> Option<Entry> {
        self.0.get(id).copied().flatten()
    }

    /// Lots that are covered.
    pub fn covered(&self) -> usize {
        self.0.values().flatten().count()
    }

    /// Lots that end folded aside.
    pub fn folded(&self) -> usize {
        self.0
            .values()
            .flatten()
            .filter(|entry| entry.kind == Kind::Fold)
            .count()
    }
}
