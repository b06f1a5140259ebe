//! Rolls that went up damp or wet: by when each is to be spread, and from when mould may begin to grow.
//!
//! The water left on the cover is the model's at the hour of lifting. Where that hour is not on the timeline or not
//! known, the roll counts as wet: the shorter time holds. What the grower felt comes first: a roll noted as damp is at
//! least damp, whatever the model says.

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::middle::median;
use super::model_run::ModelRun;
use super::outlook::BlockOutlook;
use crate::farm::block::{BlockId, Rows};
use crate::physics::mould::{Roll, Sensitivity};
use crate::record::Ground;
use crate::record::ground::DampRoll;
use crate::weather::{Quantity, Timeline};

/// How long one roll may lie.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RollClock {
    /// The block it came from.
    pub block: BlockId,
    /// The rows it came from.
    pub rows: Rows,
    /// When it was lifted.
    pub lifted: DateTime<Utc>,
    /// Wet rather than damp; also where the water at lifting is not known.
    pub wet: bool,
    /// Whether the water at lifting is known from the model.
    pub known: bool,
    /// To be spread and dried by then.
    pub redry_by: DateTime<Utc>,
    /// First growth that a microscope would show; `None` if not within a year, or without any temperature.
    pub risk_from: Option<DateTime<Utc>>,
}

/// A clock for every damp roll of the farm, in the order of the record.
pub fn clocks(ground: &Ground, outlooks: &[BlockOutlook]) -> Vec<RollClock> {
    let found = |roll: &DampRoll| {
        let outlook = outlooks.iter().find(|outlook| outlook.block == roll.block)?;
        let mut rolls = outlook.rolls.iter();
        rolls
            .find(|clock| clock.rows == roll.rows && clock.lifted == roll.lifted)
            .cloned()
    };
    ground
        .damp
        .iter()
        .map(|roll| found(roll).unwrap_or_else(|| clock(roll, None, &[])))
        .collect()
}

/// Clocks of one block's rolls under its model.
pub(super) fn of_block(ground: &Ground, block: &BlockId, model: &ModelRun, timeline: &Timeline) -> Vec<RollClock> {
    let damp = ground.damp.iter().filter(|roll| roll.block == *block);
    damp.map(|roll| clock(roll, state(roll, model, timeline), &store_c(roll, timeline)))
        .collect()
}

/// What the model had on the cover when it was lifted; `None` where that is not known. The past is the same in all runs.
fn state(roll: &DampRoll, model: &ModelRun, timeline: &Timeline) -> Option<Roll> {
    let row = timeline.stamps.row(roll.lifted).filter(|row| *row < timeline.now_row)?;
    let water = model.members.first()?.hours.get(row)?.water;
    water
        .known
        .then(|| Roll::of(water.film, water.under, model.alley.wet_thr_mm))
}

/// Temperature of the store by hour from the lift on: the air outside in the middle of the runs. A gap repeats the hour
/// before it.
fn store_c(roll: &DampRoll, timeline: &Timeline) -> Vec<f64> {
    let stamps = timeline.stamps;
    let first = stamps.row(roll.lifted).unwrap_or(0);
    let mut hours: Vec<f64> = Vec::new();
    for k in first..stamps.count {
        let mut air: Vec<f64> = timeline
            .runs
            .iter()
            .filter_map(|run| run.of(Quantity::Temperature).get(k))
            .collect();
        hours.extend(median(&mut air).or(hours.last().copied()));
    }
    hours
}

fn clock(roll: &DampRoll, state: Option<Roll>, store_c: &[f64]) -> RollClock {
    let felt = match state {
        None | Some(Roll::Wet) => Roll::Wet,
        Some(Roll::Damp | Roll::Dry) => Roll::Damp,
    };
    let after = |days: f64| {
        #[expect(clippy::cast_possible_truncation, reason = "at most a year of seconds")]
        let seconds = (days * 86_400.0).round() as i64;
        roll.lifted + TimeDelta::seconds(seconds)
    };
    let clock = felt.clock(Sensitivity::default(), store_c);
    RollClock {
        block: roll.block.clone(),
        rows: roll.rows,
        lifted: roll.lifted,
        wet: felt == Roll::Wet,
        known: state.is_some(),
        // A damp roll always has a clock.
        redry_by: clock.map_or(roll.lifted, |clock| after(clock.redry_by_days)),
        risk_from: clock.and_then(|clock| clock.risk_from_days).map(after),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn roll() -> DampRoll {
        DampRoll {
            block: BlockId("Gate".to_owned()),
            rows: Rows { first: 7, last: 8 },
            lifted: "2026-03-08T03:00:00Z".parse().unwrap(),
        }
    }

    /// Section on wet rolls of the cover model: damp 5 days, wet 2 days, whichever comes first.
    #[test]
    fn a_damp_roll_has_five_days_a_wet_one_two() {
        let damp = clock(&roll(), Some(Roll::Damp), &[15.0]);
        assert_eq!((damp.wet, damp.redry_by - damp.lifted), (false, TimeDelta::days(5)));
        let wet = clock(&roll(), Some(Roll::Wet), &[15.0]);
        assert_eq!((wet.wet, wet.redry_by - wet.lifted), (true, TimeDelta::days(2)));
        assert!(wet.risk_from.unwrap() < damp.risk_from.unwrap());
    }

    #[test]
    fn a_roll_of_unknown_water_counts_as_wet_and_one_felt_damp_is_never_dry() {
        let unknown = clock(&roll(), None, &[]);
        assert_eq!(
            (
                unknown.wet,
                unknown.known,
                unknown.redry_by - unknown.lifted,
                unknown.risk_from
            ),
            (true, false, TimeDelta::days(2), None)
        );
        let felt = clock(&roll(), Some(Roll::Dry), &[15.0]);
        assert_eq!((felt.wet, felt.redry_by - felt.lifted), (false, TimeDelta::days(5)));
    }

    #[test]
    fn without_a_forecast_every_damp_roll_still_has_its_date() {
        let ground = Ground {
            damp: vec![roll()],
            ..Ground::default()
        };
        let clocks = clocks(&ground, &[]);
        assert_eq!(clocks.len(), 1);
        assert_eq!(clocks[0].redry_by, roll().lifted + TimeDelta::days(2));
    }

    fn outlook(rolls: Vec<RollClock>) -> BlockOutlook {
        BlockOutlook {
            block: roll().block,
            hours: Vec::new(),
            dry: Vec::new(),
            dry_offset: None,
            rolls,
            windows: Vec::new(),
            openings: Vec::new(),
            critical_gust: crate::units::MetresPerSecond(17.0),
            worst_hour: None,
            light: Vec::new(),
            slots: Vec::new(),
        }
    }

    #[test]
    fn a_clock_belongs_to_one_block_one_run_of_rows_and_one_lift() {
        let ground = Ground {
            damp: vec![roll()],
            ..Ground::default()
        };
        let due = |change: fn(&mut DampRoll)| {
            let mut other = roll();
            change(&mut other);
            let computed = clock(&other, Some(Roll::Damp), &[15.0]);
            let mut outlook = outlook(vec![computed]);
            outlook.block = other.block;
            let [found] = &clocks(&ground, &[outlook])[..] else {
                panic!("one roll, one clock")
            };
            assert_eq!(found.lifted, roll().lifted);
            (found.known, found.redry_by - found.lifted)
        };
        let unknown = (false, TimeDelta::days(2));
        assert_eq!(due(|_| ()), (true, TimeDelta::days(5)));
        assert_eq!(due(|other| other.lifted -= TimeDelta::hours(1)), unknown);
        assert_eq!(due(|other| other.rows.last = 9), unknown);
        assert_eq!(due(|other| other.block = BlockId("Creek".to_owned())), unknown);
    }

    #[test]
    fn the_store_stays_as_warm_as_in_the_last_hour_that_is_known() {
        let stamps = crate::weather::Stamps {
            first: "2026-03-08T02:00:00Z".parse().unwrap(),
            count: 7,
        };
        let mut run = crate::weather::Run::unknown(7);
        for (k, air_c) in [(0, 30.0), (2, 10.0), (4, 20.0)] {
            run.temperature.put(k, Some(air_c));
        }
        let timeline = super::super::climate::timeline(&run, stamps, 0, 7);
        // Lifted in the hour of row 1, of which nothing is known: the hours before the lift do not count.
        assert_eq!(store_c(&roll(), &timeline), [10.0, 10.0, 20.0, 20.0, 20.0]);
    }
}
