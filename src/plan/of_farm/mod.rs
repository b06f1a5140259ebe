//! The farm's season as a case for [`super::season`]: lots from blocks and rows, slots from the weather, costs from
//! what the grower pays.
//!
//! Slot `2 d` is the morning and `2 d + 1` the afternoon of day `d`, today being day 0. All numbers are whole: cents,
//! seconds, metres, per mille and milli-days of light.

mod advice;
mod costs;
mod lots;
mod options;
mod planned;
mod sites;
pub mod usual;

use std::collections::BTreeMap;

use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use self::usual::Usual;
use super::season::case::{Case, Lot, Pool, SCHEMA};
use crate::farm::Farm;
use crate::farm::block::{BlockId, Rows};
use crate::record::Ground;
use crate::workability::{BlockOutlook, Half};

pub use advice::Advice;
pub use lots::{Segment, Standing};
pub use planned::{PlannedLot, SeasonPlan, plan_season};

/// Days of the horizon. Assumed: a set is not planned further ahead than twelve weeks.
pub const HORIZON_DAYS: usize = 84;
/// Slots of the horizon.
pub const SLOTS: usize = 2 * HORIZON_DAYS;
/// Slots from rolling up until the cover can be laid again. Assumed: air off, move, load.
const LAG_ROLL: usize = 2;
/// Slots from folding aside until the cover can be laid again. Assumed.
const LAG_FOLD: usize = 28;
/// Light-days and share of the colour they bring \[milli-days, per mille\]. Assumed; trials laid covers five to six
/// weeks before harvest, which fits the long end.
const CURVE: [(i64, i64); 9] = [
    (0, 0),
    (7_000, 150),
    (14_000, 400),
    (21_000, 640),
    (28_000, 820),
    (35_000, 930),
    (42_000, 980),
    (56_000, 1_000),
    (200_000, 1_000),
];

/// A half-day on the calendar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct HalfDay {
    /// Local day.
    pub day: NaiveDate,
    /// Its half.
    pub half: Half,
}

/// One lot as the farm knows it; its place is that in [`Case::lots`].
#[derive(Debug, Clone, PartialEq)]
pub struct FarmLot {
    /// The block.
    pub block: BlockId,
    /// The rows.
    pub rows: Rows,
    /// Whether it lies out, and since when.
    pub standing: Standing,
    /// Picking date it works towards.
    pub pick: Option<NaiveDate>,
}

/// Rows that cannot be planned, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOut {
    /// The block.
    pub block: BlockId,
    /// The rows.
    pub rows: Rows,
    /// Why not.
    pub why: WhyNot,
}

/// Why rows cannot be planned for covering.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhyNot {
    /// No picking date is known.
    NoPick,
    /// Picking lies beyond the horizon; it is not urgent yet.
    FarAway,
    /// No set of covers serves the block.
    NoSet,
    /// The set that serves the block has fewer metres than the lot needs.
    TooFewMetres,
    /// Fewer than seven days are left before picking.
    TooLate,
    /// No half-day of the crew is long enough for it, at the chances there are.
    NoCrew,
    /// Black-outs take every half-day that would do.
    Blackouts,
    /// No half-day with a fair chance of weather for it.
    Weather,
}

/// Slots of a lot in the plan before, as half-days.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Before {
    /// Laying.
    pub lay: Option<HalfDay>,
    /// Lifting.
    pub lift: Option<HalfDay>,
}

/// The season as a case, with the way back to the farm.
#[derive(Debug, Clone, PartialEq)]
pub struct FarmCase {
    /// The case.
    pub case: Case,
    /// Its lots, in the same order.
    pub lots: Vec<FarmLot>,
    /// What could not be planned.
    pub left_out: Vec<LeftOut>,
    /// Day of slots 0 and 1.
    pub today: NaiveDate,
    /// Light of one reference day at the cover of each site \[MJ/m²\].
    pub reference_mj: Vec<f64>,
}

impl FarmCase {
    /// The half-day of a slot.
    pub fn half_day(&self, slot: usize) -> HalfDay {
        half_day(self.today, slot)
    }
}

/// The half-day of a slot counted from `today`.
pub fn half_day(today: NaiveDate, slot: usize) -> HalfDay {
    HalfDay {
        day: today + Days::new(u64::try_from(slot / 2).unwrap_or(0)),
        half: if slot.is_multiple_of(2) {
            Half::Morning
        } else {
            Half::Afternoon
        },
    }
}

/// The slot of a half-day counted from `today`; `None` for one that is past.
pub fn slot_of(today: NaiveDate, half_day: HalfDay) -> Option<usize> {
    let days = usize::try_from((half_day.day - today).num_days()).ok()?;
    Some(2 * days + usize::from(half_day.half == Half::Afternoon))
}

/// What a case is made of.
#[derive(Clone, Copy)]
pub struct Inputs<'a> {
    /// The farm.
    pub farm: &'a Farm,
    /// What lies out.
    pub ground: &'a Ground,
    /// What the weather allows, block by block; blocks may be missing.
    pub outlooks: &'a [BlockOutlook],
    /// What is usual for the season.
    pub usual: &'a Usual,
    /// The plan before, by lot id.
    pub before: &'a BTreeMap<String, Before>,
    /// Now.
    pub now: DateTime<Utc>,
}

/// The season of a farm as a case.
pub fn case_of(inputs: &Inputs<'_>) -> FarmCase {
    let farm = inputs.farm;
    let today = farm.site.zone.day(inputs.now);
    let crew_time = crew_time(farm, inputs.now, today);
    let sites = sites::sites(inputs, today);
    let mut found = FarmCase {
        case: Case {
            schema: SCHEMA.to_owned(),
            name: farm.id.0.clone(),
            scale: "farm".to_owned(),
            seed: 0,
            slots: SLOTS,
            slot_seconds: crew_time.iter().copied().max().unwrap_or(0),
            slots_per_day: 2,
            forecast_slots: sites.forecast_slots,
            lag_roll: LAG_ROLL,
            lag_fold: LAG_FOLD,
            curve: CURVE.to_vec(),
            blocks: farm.blocks.len(),
            rows: farm.blocks.iter().map(|block| block.rows.len()).sum(),
            sites: sites.all.clone(),
            pools: vec![pool(farm, &crew_time)],
            lots: Vec::new(),
        },
        lots: Vec::new(),
        left_out: Vec::new(),
        today,
        reference_mj: sites.reference.clone(),
    };
    for (place, block) in farm.blocks.iter().enumerate() {
        let Some((number, site)) = sites.of_block(place) else {
            continue;
        };
        for segment in lots::segments(farm, inputs.ground, block, today) {
            let made = options::lot(inputs, block, &segment, number, site, &crew_time, today);
            match made {
                Ok(lot) => keep(&mut found, block, &segment, lot),
                Err(why) => found.left_out.push(LeftOut {
                    block: block.id.clone(),
                    rows: segment.rows,
                    why,
                }),
            }
        }
    }
    found
}

fn keep(found: &mut FarmCase, block: &crate::farm::block::Block, segment: &Segment, lot: Lot) {
    if let Some(pool) = found.case.pools.first_mut() {
        // What lies out without a set of its own is its own stock.
        let stock = pool.stock_m.entry(lot.family.clone()).or_insert(0);
        if segment.standing != Standing::Stored && block_has_no_set(&lot) {
            *stock += lot.metres;
        }
    }
    found.lots.push(FarmLot {
        block: block.id.clone(),
        rows: segment.rows,
        standing: segment.standing,
        pick: segment.pick.map(|pick| pick.first),
    });
    found.case.lots.push(lot);
}

fn block_has_no_set(lot: &Lot) -> bool {
    lot.family == options::own_family(&lot.block)
}

fn pool(farm: &Farm, crew_time: &[i64]) -> Pool {
    let people = i64::from(farm.crew.people);
    let machines = i64::try_from(farm.machines.len()).unwrap_or(0);
    let times = |hands: i64| crew_time.iter().map(|seconds| seconds * hands).collect();
    Pool {
        id: farm.id.0.clone(),
        name: farm.site.name.clone(),
        site: String::new(),
        people,
        machines,
        people_cap_s: times(people),
        machine_cap_s: times(machines),
        stock_m: farm
            .sets
            .iter()
            .map(|set| (set.id.0.clone(), costs::whole(set.length.0)))
            .collect(),
    }
}

/// Seconds of crew hours in each slot that are left after now; 0 on days without work.
fn crew_time(farm: &Farm, now: DateTime<Utc>, today: NaiveDate) -> Vec<i64> {
    (0..SLOTS)
        .map(|slot| {
            let HalfDay { day, half } = half_day(today, slot);
            if !farm.crew.workdays.contains(&day.weekday()) {
                return 0;
            }
            let (from, to) = crew_hours(farm, day, half);
            (to - from.max(now)).num_seconds().max(0)
        })
        .collect()
}

/// The crew's hours in one half of a day.
pub(in crate::plan) fn crew_hours(farm: &Farm, day: NaiveDate, half: Half) -> (DateTime<Utc>, DateTime<Utc>) {
    let crew = &farm.crew;
    let at = |time: NaiveTime| farm.site.zone.instant(day.and_time(time));
    match half {
        Half::Morning => (at(crew.start), at(crew.break_start.max(crew.start))),
        Half::Afternoon => (at(crew.break_end.min(crew.end)), at(crew.end)),
    }
}

/// Least crew time that a black-out must leave in a slot for work to be planned there.
const LEAST_WORK: TimeDelta = TimeDelta::hours(2);
