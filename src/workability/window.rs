//! Consecutive hours in which a job can be done.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::verdict::{Reason, Remark, Verdict};
use crate::farm::Job;
use crate::units::{Hours, MetresPerSecond};

/// A share counted over members.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Chance {
    /// Members in which it works.
    pub good: usize,
    /// Members counted, at least one.
    pub of: usize,
}

impl Chance {
    /// As a share, 0 to 1.
    pub fn share(self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "member counts are small")]
        let share = self.good as f64 / self.of.max(1) as f64;
        share
    }
}

/// A window exactly as long as the job needs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Window {
    /// The job.
    pub job: Job,
    /// Start of its first hour.
    pub start: DateTime<Utc>,
    /// End of its last hour.
    pub end: DateTime<Utc>,
    /// What can be said of it.
    pub verdict: Verdict,
    /// Share of members in which it works; `None` with one forecast only or if unknown.
    pub chance: Option<Chance>,
    /// Which members it works in, in the order of the runs; empty with one forecast only.
    pub works_in: Vec<bool>,
    /// The chance that planning counts with, 0 to 1.
    pub planning_chance: f64,
    /// The chance above which going pays.
    pub threshold: f64,
    /// Score that orders windows of one job, 0 to 100; never shown in letters.
    pub score: f64,
    /// From now to the end of the last hour.
    pub lead: Hours,
    /// Whether it is near enough to count on (72 h).
    pub firm: bool,
    /// What holds it back, strongest first; factors that hold nothing back are left out.
    pub reasons: Vec<Reason>,
    /// What else the reader must know.
    pub remarks: Vec<Remark>,
    /// How far off the two nearest limits are.
    pub margin: Margin,
}

/// Distance to the limits that would turn the verdict.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Margin {
    /// Gust that may still be added at 10 m, with the stopping limit it counts from.
    pub wind: Option<MetresPerSecond>,
    /// The 10 m gust at which the job stops.
    pub wind_limit: Option<MetresPerSecond>,
    /// Time between the faces being dry and the start of the window.
    pub drying: Option<Hours>,
}

/// Usable hours of one local day: overlapping windows of one job and verdict, and the best of them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Opening {
    /// Start of the first window.
    pub start: DateTime<Utc>,
    /// End of the last window.
    pub end: DateTime<Utc>,
    /// The best window inside.
    pub best: Window,
}
