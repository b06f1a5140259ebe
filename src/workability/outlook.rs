//! Everything a morning needs to know about one block.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

use super::window::{Chance, Opening, Window};
use crate::farm::Job;
use crate::farm::block::BlockId;
use crate::units::{Hours, Megajoules, MetresPerSecond};

/// A job to look for windows for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JobRequest {
    /// The job.
    pub job: Job,
    /// How long it takes.
    pub length: Hours,
    /// Chance above which going pays, 0 to 1.
    pub threshold: f64,
}

/// One block over the timeline.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockOutlook {
    /// The block.
    pub block: BlockId,
    /// One view an hour, for charts and sentences, from the first row of the timeline.
    pub hours: Vec<HourView>,
    /// When each face is dry, by local day from today on, in the middle member.
    pub dry: Vec<DryDay>,
    /// For each request every window that lies in daylight and crew hours, in time order.
    pub windows: Vec<Window>,
    /// The same joined into usable hours, best first.
    pub openings: Vec<Opening>,
    /// The 10 m gust at which the estimated tie load reaches what a tie may carry.
    pub critical_gust: MetresPerSecond,
    /// The day on which the ties are in most danger within 48 h, if a load could be computed.
    pub worst_hour: Option<TieHour>,
    /// Light at the cover by local day, middle member; only whole days.
    pub light: Vec<(NaiveDate, Megajoules)>,
}

/// One hour of one block as a chart shows it. Unknown hours have `None`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct HourView {
    /// Whether the top is wet in the middle member.
    pub wet_top: Option<bool>,
    /// Whether the underside is wet in the middle member.
    pub wet_under: Option<bool>,
    /// Whether that water is frost.
    pub frost: Option<bool>,
    /// Share of members in which the tie load passes the allowance.
    pub ties_beaten: Option<f64>,
}

/// When the faces are dry on one local day: the first of two dry hours from 05:00 to 21:00.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct DryDay {
    /// The day.
    pub day: NaiveDate,
    /// Top; `None` if not on that day.
    pub top: Option<DateTime<Utc>>,
    /// Underside.
    pub under: Option<DateTime<Utc>>,
    /// Both together.
    pub both: Option<DateTime<Utc>>,
}

/// The hour of highest tie load.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TieHour {
    /// End of the hour.
    pub at: DateTime<Utc>,
    /// Middle gust at 10 m.
    pub gust: MetresPerSecond,
    /// One in ten runs is below.
    pub gust_low: MetresPerSecond,
    /// One in ten runs is above.
    pub gust_high: MetresPerSecond,
    /// Share of members in which the ties are beaten at any hour of the 48; `None` with one forecast.
    pub beaten: Option<Chance>,
}
