//! Blocks and their rows.

use chrono::{NaiveTime, Weekday};
use serde::{Deserialize, Serialize};

use crate::alley::Alley;
use crate::units::{Hours, Metres, Millimetres};

/// Name of a block, as the grower writes it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct BlockId(pub String);

impl std::fmt::Display for BlockId {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

/// A block: rows of one variety with one geometry.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Its name, unique in the farm.
    pub id: BlockId,
    /// What grows there.
    pub variety: String,
    /// Row lengths in row order; row numbers count from 1. One piece of cover belongs to each row.
    pub rows: Vec<Metres>,
    /// Set-back of the cover at each row end. Common practice: about 1 m.
    pub end_setback: Metres,
    /// Place, hedges, cloth and ties.
    pub alley: Alley,
    /// Whether the grower told what one tie holds, from a pull test of his own; else `alley` has the default.
    pub tie_tested: bool,
    /// Which edge takes the wind, as the crew says it ("west edge"); `None` if not told.
    pub exposed_edge: Option<String>,
    /// Irrigation sets that wet the ground under the cover.
    pub irrigation: Vec<Irrigation>,
    /// How many days a cover brings ripeness forward here.
    pub cover_advance_days: u32,
    /// Days between two walks along the ties. Assumed: 10 working days.
    pub check_every_days: u32,
}

impl Block {
    /// Length of the piece in one row.
    pub fn piece(row: Metres, setback: Metres) -> Metres {
        Metres((row.0 - 2.0 * setback.0).max(0.0))
    }

    /// Metres of cover in rows `rows` (numbers from 1, both ends counted).
    pub fn cover_in(&self, rows: Rows) -> Metres {
        Metres(
            rows.numbers()
                .filter_map(|row| self.rows.get(row as usize - 1))
                .map(|row| Self::piece(*row, self.end_setback).0)
                .sum(),
        )
    }

    /// All rows.
    pub fn all_rows(&self) -> Rows {
        Rows {
            first: 1,
            last: u32::try_from(self.rows.len()).unwrap_or(u32::MAX).max(1),
        }
    }

    /// Metres of cover in the whole block.
    pub fn cover(&self) -> Metres {
        self.cover_in(self.all_rows())
    }
}

/// Rows `first` to `last` of a block, counted from 1, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Rows {
    /// First row.
    pub first: u32,
    /// Last row, not before the first.
    pub last: u32,
}

impl Rows {
    /// Each row number.
    pub fn numbers(self) -> std::ops::RangeInclusive<u32> {
        self.first.max(1)..=self.last
    }

    /// How many rows.
    pub fn count(self) -> u32 {
        self.last.saturating_sub(self.first) + 1
    }
}

/// A regular irrigation set.
#[derive(Debug, Clone, PartialEq)]
pub struct Irrigation {
    /// Days on which it runs.
    pub days: Vec<Weekday>,
    /// Local start.
    pub from: NaiveTime,
    /// How long.
    pub length: Hours,
    /// Depth over the strip under the cover.
    pub depth: Millimetres,
}
