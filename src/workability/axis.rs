//! Local clock of a timeline's rows, and which of them can hold work.

use std::collections::BTreeMap;
use std::ops::Range;

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc};

use super::model_run::ModelRun;
use crate::farm::Farm;
use crate::weather::Timeline;

/// Local clock of the rows, and which of them can hold work.
pub(super) struct Axis {
    /// Local time of each stamp.
    pub(super) local: Vec<NaiveDateTime>,
    /// Rows of daylight inside crew hours, from now on.
    pub(super) workable: Vec<bool>,
    /// Rows with the sun up, by local day.
    pub(super) days: BTreeMap<NaiveDate, Range<usize>>,
    /// Local day on which each hour begins.
    pub(super) day: Vec<NaiveDate>,
}

impl Axis {
    pub(super) fn of(model: &ModelRun, farm: &Farm, timeline: &Timeline, now: DateTime<Utc>) -> Self {
        let (stamps, zone, crew) = (timeline.stamps, &farm.site.zone, &farm.crew);
        let local: Vec<NaiveDateTime> = (0..stamps.count).map(|k| zone.local(stamps.at(k))).collect();
        let first = stamps.first_row_from(now);
        let mut days: BTreeMap<NaiveDate, Range<usize>> = BTreeMap::new();
        let (mut workable, mut day) = (Vec::new(), Vec::new());
        for (k, (end, sun)) in local.iter().zip(&model.light.hours).enumerate() {
            let start = zone.local(stamps.start(k));
            let in_light = sun.elevation_deg >= 0.0;
            if in_light {
                days.entry(start.date()).or_insert(k..k).end = k + 1;
            }
            let in_hours = start.date() == end.date() && start.time() >= crew.start && end.time() <= crew.end;
            workable.push(k >= first && in_light && in_hours);
            day.push(start.date());
        }
        Self {
            local,
            workable,
            days,
            day,
        }
    }
}
