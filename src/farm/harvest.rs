//! When which block is picked, when it may not be entered, and when a hot tool is used there.

use chrono::{DateTime, NaiveDate, Utc};

use super::Job;
use super::block::BlockId;

/// One picking of one block.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pick {
    /// The block.
    pub block: BlockId,
    /// The variety, as the harvest plan has it.
    pub variety: String,
    /// First day of picking.
    pub first: NaiveDate,
    /// Last day of picking.
    pub last: NaiveDate,
    /// Days by which it may come earlier or later; `None` if the grower gave none.
    pub either_way: Option<u32>,
}

impl Pick {
    /// Days either way: the grower's, else by distance from `today`.
    ///
    /// Common practice: 7, 5, 3, 2 days at 6, 4, 2, 1 weeks ahead.
    pub fn either_way_on(&self, today: NaiveDate) -> u32 {
        self.either_way
            .unwrap_or_else(|| match (self.first - today).num_days() {
                ..=7 => 2,
                8..=14 => 3,
                15..=28 => 5,
                _ => 7,
            })
    }

    /// The earliest day picking may begin, seen from `today`.
    pub fn earliest(&self, today: NaiveDate) -> NaiveDate {
        self.first - chrono::Days::new(u64::from(self.either_way_on(today)))
    }
}

/// A time in which blocks may not be entered: re-entry after a spray, mowing, a holiday.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Blackout {
    /// From.
    pub from: DateTime<Utc>,
    /// Until.
    pub to: DateTime<Utc>,
    /// Blocks; empty means the whole farm.
    pub blocks: Vec<BlockId>,
    /// Jobs it forbids; empty means all.
    pub jobs: Vec<Job>,
    /// Why, in the grower's words.
    pub text: String,
}

impl Blackout {
    /// Whether it forbids `job` in `block`.
    pub fn forbids(&self, block: &BlockId, job: Job) -> bool {
        (self.blocks.is_empty() || self.blocks.contains(block)) && (self.jobs.is_empty() || self.jobs.contains(&job))
    }
}

/// Days on which cords or cloth are cut with a hot tool: hot knife, iron, flame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HotCutting {
    /// First day.
    pub from: NaiveDate,
    /// Last day.
    pub to: NaiveDate,
    /// Blocks; empty means the whole farm.
    pub blocks: Vec<BlockId>,
}
