//! Which block comes next, with which job, by when, and what if it is missed.

pub mod assign;
pub mod booked;
pub mod effort;
pub mod need;
mod offer;
pub mod of_farm;
pub mod season;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

use self::booked::Booked;
use self::of_farm::SeasonPlan;
use crate::farm::Job;
use crate::farm::block::{BlockId, Rows};
use crate::units::{Hours, Metres};
use crate::workability::{Chance, Opening};

/// The matching of one morning.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Local day of the plan.
    pub today: NaiveDate,
    /// Every block, in the farm's order.
    pub blocks: Vec<BlockPlan>,
    /// What to do today and tomorrow, in time order.
    pub tasks: Vec<Task>,
    /// The job that costs most to miss: place in `tasks`, or none if nothing is due.
    pub headline: Option<Headline>,
    /// The season behind it; `None` if it could not be planned.
    pub season: Option<SeasonPlan>,
}

impl Plan {
    /// The job at `job` of the block at `block`.
    pub fn job(&self, block: usize, job: usize) -> Option<&NextJob> {
        self.blocks.get(block)?.jobs.get(job)
    }
}

/// Where the letter's first sentence comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Headline {
    /// Place of the block in [`Plan::blocks`].
    pub block: usize,
    /// Place of the job in [`BlockPlan::jobs`].
    pub job: usize,
}

/// One block in the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockPlan {
    /// The block.
    pub block: BlockId,
    /// What grows there.
    pub variety: String,
    /// Next picking, if known.
    pub pick: Option<PickView>,
    /// What lies out, if anything.
    pub out: Option<OutView>,
    /// Jobs to come, the next first. Uncovered blocks have laying only.
    pub jobs: Vec<NextJob>,
    /// A black-out that holds now: until when, and why.
    pub no_entry: Option<(DateTime<Utc>, String)>,
}

/// A picking as seen from today.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct PickView {
    /// First day.
    pub first: NaiveDate,
    /// Last day.
    pub last: NaiveDate,
    /// Days either way.
    pub either_way: u32,
}

/// Covers that lie out in a block.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct OutView {
    /// Rows out (from first to last; holes inside are possible).
    pub rows: Rows,
    /// Since when.
    pub since: DateTime<Utc>,
    /// Whole days since then.
    pub days: i64,
    /// Whether all of it is folded aside.
    pub folded: bool,
}

/// A job a block needs next.
#[derive(Debug, Clone, PartialEq)]
pub struct NextJob {
    /// The job.
    pub job: Job,
    /// Rows.
    pub rows: Rows,
    /// Metres of cover.
    pub metres: Metres,
    /// Rolls to carry.
    pub rolls: u32,
    /// People it takes.
    pub people: u32,
    /// How long it takes them.
    pub length: Hours,
    /// First day on which it makes sense.
    pub from: NaiveDate,
    /// Last sensible day; `None` if no date presses.
    pub last_day: Option<NaiveDate>,
    /// Its place in the season's plan.
    pub booked: Option<Booked>,
    /// Usable hours up to the last sensible day, best first.
    pub openings: Vec<Opening>,
    /// The one to take, a place in `openings`.
    pub chosen: Option<usize>,
    /// Why none can be taken although the weather may allow it.
    pub held: Option<Held>,
    /// Openings left from today to the last day, the chosen one not counted.
    pub chances_left: usize,
    /// Share of members with at least one of the openings; counted, never multiplied.
    pub any_chance: Option<Chance>,
    /// What is left to do if all are missed.
    pub if_missed: IfMissed,
}

/// What keeps a job from its window.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "what")]
pub enum Held {
    /// No metres of the set are free; the block that has them.
    NoRolls {
        /// Where they lie.
        with: Option<BlockId>,
    },
    /// No crew on the days that would do.
    NoCrew,
    /// The block may not be entered.
    NoEntry {
        /// Until when.
        until: DateTime<Utc>,
        /// Why.
        text: String,
    },
    /// No set of covers serves the block.
    NoStock,
    /// Too late: fewer than seven days would be left before picking.
    TooLate,
    /// The season's plan leaves the block uncovered: covers, hands or days are worth more elsewhere.
    LeftUncovered {
        /// A block that gets the rolls instead, if one does.
        with: Option<BlockId>,
    },
}

/// The way out when the last window is missed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "what")]
pub enum IfMissed {
    /// Untie one side and fold aside: always possible, with its extra cost in the farm's currency.
    FoldAside {
        /// Day of picking.
        day: NaiveDate,
        /// Dearer than a dry lift by this much.
        extra_cost: f64,
    },
    /// The cover gets fewer days; colour suffers.
    LessColour,
    /// Nothing presses.
    Nothing,
}

/// One line of "Today" and "Tomorrow".
#[derive(Debug, Clone, PartialEq)]
pub struct Task {
    /// When to begin.
    pub start: DateTime<Utc>,
    /// When it must be done at the latest.
    pub end: DateTime<Utc>,
    /// Latest start that still fits.
    pub latest_start: DateTime<Utc>,
    /// Place of the block in [`Plan::blocks`].
    pub block: usize,
    /// Place of the job in [`BlockPlan::jobs`].
    pub job: usize,
}
