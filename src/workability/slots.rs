//! Half-days as the season's plan books them: in which runs each holds work, light, and danger to the ties.
//!
//! A half-day is the crew's morning up to the break, or its afternoon after it, in the site's zone. A run
//! marks it usable if its crew hours hold two hours in a row that are worth enough.

use std::ops::Range;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

use super::axis::Axis;
use super::hour::SUCCESS;
use super::middle::median;
use super::model_run::{Member, ModelRun};
use super::table::{Column, Table};
use super::window::Chance;
use crate::farm::{Farm, Job};
use crate::units::Megajoules;
use crate::weather::Timeline;

/// Hours in a row that make a half-day usable.
const RUN_H: usize = 2;

/// Which half of a crew's day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Half {
    /// From the start of work to the break; for light and wind from midnight.
    Morning,
    /// From the break to the end of work; for light and wind to midnight.
    Afternoon,
}

/// One half-day over one class of blocks.
#[derive(Debug, Clone, PartialEq)]
pub struct Slot {
    /// Local day.
    pub day: NaiveDate,
    /// Its half.
    pub half: Half,
    /// Start of its first crew hour that is left.
    pub start: DateTime<Utc>,
    /// End of its last crew hour.
    pub end: DateTime<Utc>,
    /// For each job asked for, run by run, whether it holds work; `None` where a crew hour is not known.
    pub usable: Vec<(Job, Option<Vec<bool>>)>,
    /// Light at the cover in this half of the day, middle run; `None` where an hour is not known.
    pub light: Option<Megajoules>,
    /// Runs in which the ties are beaten at any hour of this half of the day; `None` where one is not known.
    pub beaten: Option<Chance>,
}

impl Slot {
    /// Run by run, whether it holds `job`; `None` where that is not known or was not asked for.
    pub fn of(&self, job: Job) -> Option<&[bool]> {
        let (_, usable) = self.usable.iter().find(|(of, _)| *of == job)?;
        usable.as_deref()
    }
}

/// The half-days of the timeline that have crew hours left, in time order.
pub(super) fn slots(
    model: &ModelRun,
    farm: &Farm,
    timeline: &Timeline,
    axis: &Axis,
    tables: &[(Job, Table)],
    allowance: f64,
) -> Vec<Slot> {
    let mut found = Vec::new();
    let (stamps, zone, crew) = (timeline.stamps, &farm.site.zone, &farm.crew);
    let mut row = 0;
    while let Some(day) = axis.day.get(row).copied() {
        let rest = axis.day.iter().skip(row).take_while(|other| **other == day).count();
        let today = row..row + rest;
        row += rest;
        let noon = today
            .clone()
            .find(|k| zone.local(stamps.start(*k)).time() >= crew.break_start)
            .unwrap_or(today.end);
        for (half, rows) in [(Half::Morning, today.start..noon), (Half::Afternoon, noon..today.end)] {
            let in_hours = |k: &usize| {
                axis.workable.get(*k).copied().unwrap_or(false)
                    && match half {
                        Half::Morning => zone.local(stamps.at(*k)).time() <= crew.break_start,
                        Half::Afternoon => zone.local(stamps.start(*k)).time() >= crew.break_end,
                    }
            };
            let (Some(first), Some(last)) = (rows.clone().find(in_hours), rows.clone().rfind(in_hours)) else {
                continue;
            };
            let work = first..last + 1;
            found.push(Slot {
                day,
                half,
                start: stamps.start(first),
                end: stamps.at(last),
                usable: tables
                    .iter()
                    .map(|(job, table)| (*job, usable(table, *job, &work)))
                    .collect(),
                light: light(model, &rows),
                beaten: beaten(model, &rows, allowance),
            });
        }
    }
    found
}

fn usable(table: &Table, job: Job, work: &Range<usize>) -> Option<Vec<bool>> {
    let of = |column: &Column| -> Option<bool> {
        let (mut run, mut longest) = (0, 0);
        for k in work.clone() {
            let cell = column.get(k.checked_sub(table.rows.start)?)?.as_ref().ok()?;
            // Puddles are tipped off before a lift.
            let worth = if job == Job::Lift {
                cell.without_pond
            } else {
                cell.worth
            };
            run = if worth >= SUCCESS { run + 1 } else { 0 };
            longest = longest.max(run);
        }
        Some(longest >= RUN_H)
    };
    match &table.reduced {
        Some(single) => Some(vec![of(single)?]),
        None => table.members.iter().map(of).collect(),
    }
}

fn light(model: &ModelRun, rows: &Range<usize>) -> Option<Megajoules> {
    let sum = |member: &Member| {
        let hours = member.hours.get(rows.clone())?;
        let known = hours.iter().all(|hour| hour.weather.is_ok());
        known.then(|| hours.iter().map(|hour| hour.water.light).sum::<f64>() * 3600.0 / 1e6)
    };
    let mut sums: Vec<f64> = model.members.iter().map(sum).collect::<Option<_>>()?;
    median(&mut sums).map(Megajoules)
}

fn beaten(model: &ModelRun, rows: &Range<usize>, allowance: f64) -> Option<Chance> {
    let of = |member: &Member| -> Option<bool> {
        let hours = member.hours.get(rows.clone())?;
        let loads = hours.iter().map(|hour| hour.weather.map(|felt| felt.utilisation));
        let loads: Vec<f64> = loads.collect::<Result<_, _>>().ok()?;
        Some(loads.iter().any(|load| *load >= allowance))
    };
    let counted: Vec<bool> = model.members.iter().map(of).collect::<Option<_>>()?;
    Some(Chance {
        good: counted.iter().filter(|beaten| **beaten).count(),
        of: counted.len(),
    })
}
