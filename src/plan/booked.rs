//! What the season's plan makes of each need: which rows, on which half-day, with whose rolls.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::Held;
use super::need::{Need, for_rows};
use super::of_farm::{Advice, HalfDay, PlannedLot, SeasonPlan, Standing, WhyNot};
use crate::farm::block::{BlockId, Rows};
use crate::farm::{Farm, Job};
use crate::units::Megajoules;

/// The place of a job in the season's plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Booked {
    /// The half-day.
    pub when: HalfDay,
    /// Blocks whose rolls are laid here.
    pub rolls_from: Vec<BlockId>,
    /// Whole days out at the planned lift, of this job or of the one that follows the laying.
    pub days_at_lift: Option<i64>,
    /// Light by then.
    pub light_at_lift: Option<Megajoules>,
    /// For a cover that lies out: go today, or wait.
    pub advice: Option<Advice>,
    /// Lots of the plan, by name.
    pub lots: Vec<String>,
}

/// The needs with their places in the plan. A need of laying or lifting is cut to the rows that the plan takes first;
/// rows planned for another half-day up to `told` follow as needs of their own.
pub(super) fn booked(farm: &Farm, needs: &[Need], season: &SeasonPlan, told: NaiveDate) -> Vec<(Need, Option<Booked>)> {
    let mut found = Vec::new();
    for need in needs {
        let groups = match need.job {
            Job::Lay => groups(season, need, |planned| planned.lay.filter(|_| stored(planned))),
            Job::Lift => groups(season, need, |planned| {
                planned.lift.filter(|_| !stored(planned) && !planned.fold)
            }),
            Job::Check | Job::Fold | Job::Redry => Vec::new(),
        };
        if groups.is_empty() {
            let mut need = need.clone();
            if need.job == Job::Lay {
                need.held = need.held.or_else(|| left_out(season, &need.block));
            }
            found.push((need, None));
            continue;
        }
        for (place, (rows, booked)) in groups.into_iter().enumerate() {
            if place > 0 && booked.when.day > told {
                break;
            }
            let mut own = for_rows(farm, need, rows);
            // The plan has seen to the rolls.
            if matches!(own.held, Some(Held::NoRolls { .. })) {
                own.held = None;
            }
            found.push((own, Some(booked)));
        }
    }
    found
}

fn stored(planned: &PlannedLot) -> bool {
    planned.lot.standing == Standing::Stored
}

/// Neighbouring lots of one half-day, the earliest first.
fn groups(season: &SeasonPlan, need: &Need, when: impl Fn(&PlannedLot) -> Option<HalfDay>) -> Vec<(Rows, Booked)> {
    let mut found: Vec<(Rows, Booked)> = Vec::new();
    let mut own: Vec<(HalfDay, &PlannedLot)> = season
        .of_block(&need.block)
        .filter_map(|planned| Some((when(planned)?, planned)))
        .collect();
    own.sort_by_key(|(when, planned)| (*when, planned.lot.rows.first));
    for (when, planned) in own {
        match found.last_mut() {
            Some((rows, booked)) if booked.when == when && rows.last + 1 == planned.lot.rows.first => {
                rows.last = planned.lot.rows.last;
                booked.lots.push(planned.id.clone());
                for from in &planned.rolls_from {
                    if !booked.rolls_from.contains(from) {
                        booked.rolls_from.push(from.clone());
                    }
                }
            }
            _ => found.push((
                planned.lot.rows,
                Booked {
                    when,
                    rolls_from: planned.rolls_from.clone(),
                    days_at_lift: planned.days_at_lift,
                    light_at_lift: planned.light_at_lift,
                    advice: planned.advice,
                    lots: vec![planned.id.clone()],
                },
            )),
        }
    }
    found
}

/// Why a block that wants covers gets none.
fn left_out(season: &SeasonPlan, block: &BlockId) -> Option<Held> {
    if season.of_block(block).any(PlannedLot::is_left_uncovered) {
        let with = season.lots.iter().find_map(|planned| {
            let takes = |lot: &PlannedLot| season.family(lot) == season.family_of_block(block);
            (takes(planned) && planned.lot.block != *block && planned.lift.is_some()).then(|| planned.lot.block.clone())
        });
        return Some(Held::LeftUncovered { with });
    }
    season.why_not(block).find_map(|left| match left.why {
        WhyNot::NoSet | WhyNot::TooFewMetres => Some(Held::NoStock),
        WhyNot::TooLate => Some(Held::TooLate),
        WhyNot::NoCrew => Some(Held::NoCrew),
        // Said elsewhere, or no lasting reason.
        WhyNot::NoPick | WhyNot::FarAway | WhyNot::Blackouts | WhyNot::Weather => None,
    })
}
