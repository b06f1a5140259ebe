//! Half-days of the past, judged as the morning letter judges those to come.
//!
//! The hours were observed, so nothing is doubted: the limits stay as they are, and an hour that lacks a value is
//! unknown and makes its half-day unknown.

use chrono::TimeDelta;

use super::axis::Axis;
use super::model_run::ModelRun;
use super::slots::{Slot, slots};
use super::table::Table;
use crate::alley::Alley;
use crate::farm::{Farm, Job};
use crate::weather::past::Past;
use crate::weather::{Credit, Freshness, Issue, IssueBasis, Kind, Product, Quantity, Run, Series, Stamps, Timeline};

/// Hours computed before the first that counts, so that what fell and dried is in the model's state.
const WARM_UP_H: usize = 120;
/// Hours computed at once: a quarter of a year.
const STRETCH_H: usize = 24 * 91;

/// Every half-day of the hours after the first five days, in time order.
pub fn observed_slots(farm: &Farm, alley: &Alley, run: &Run, stamps: Stamps) -> Vec<Slot> {
    let mut found = Vec::new();
    let mut from = WARM_UP_H;
    while from < stamps.count {
        let until = (from + STRETCH_H).min(stamps.count);
        found.extend(stretch(farm, alley, run, stamps, from - WARM_UP_H, until));
        from = until;
    }
    // Two stretches share a day where they meet; the half-day that is whole in one of them counts.
    found.sort_by_key(|slot| (slot.day, slot.half, slot.start, std::cmp::Reverse(slot.end)));
    found.dedup_by_key(|slot| (slot.day, slot.half));
    found
}

fn stretch(farm: &Farm, alley: &Alley, run: &Run, stamps: Stamps, from: usize, until: usize) -> Vec<Slot> {
    let timeline = timeline(run, stamps, from, until);
    let model = ModelRun::of(alley, vec![0.0; until - from], &timeline);
    // A day earlier than it need be: the half-day on which two stretches meet is then whole in this one.
    let counts_from = timeline.stamps.start((WARM_UP_H - 24).min(until - from));
    let axis = Axis::of(&model, farm, &timeline, counts_from);
    let tables: Vec<(Job, Table)> = [Job::Lay, Job::Lift]
        .into_iter()
        .map(|job| (job, Table::of(job, &farm.limits, &model, 0..until - from, None)))
        .collect();
    slots(&model, farm, &timeline, &axis, &tables, 1.0)
}

/// Hours of one run as a timeline that nobody doubts.
pub(super) fn timeline(run: &Run, stamps: Stamps, from: usize, until: usize) -> Timeline {
    let mut part = Run::default();
    for quantity in Quantity::ALL {
        let series = run.of(quantity);
        *part.of_mut(quantity) = Series::new((from..until).map(|k| series.get(k)));
    }
    let first = stamps.at(from);
    Timeline {
        stamps: Stamps {
            first,
            count: until - from,
        },
        now_row: WARM_UP_H,
        runs: vec![part],
        main: None,
        kind: Kind::Members,
        estimated: std::collections::BTreeSet::new(),
        untold: std::collections::BTreeSet::new(),
        coarse_from: None,
        warned: Vec::new(),
        past_hours: WARM_UP_H,
        past: Past::default(),
        issue: Issue {
            at: first + TimeDelta::hours(120),
            basis: IssueBasis::Said,
        },
        product: Product::HourlyModel,
        freshness: Freshness::Fresh,
        credits: vec![Credit::invented()],
        remarks: Vec::new(),
        by: String::new(),
        differ: Vec::new(),
    }
}
