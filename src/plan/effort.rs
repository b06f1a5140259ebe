//! People and hours of each job.
//!
//! Rates are common practice from memory (trade figures), to be replaced by the farm's own machines:
//! a tie takes 15 s to fix, 8 s to loosen and 2 s to look at; two people lay or wind 150 m/h by hand.

use crate::farm::block::Block;
use crate::farm::{Farm, Job};
use crate::units::{Hours, Metres};

/// Hands and hours of one job.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effort {
    /// People it takes.
    pub people: u32,
    /// How long it takes them, rounded up to 10 minutes.
    pub length: Hours,
}

const FIX_TIE_S: f64 = 15.0;
const LOOSEN_TIE_S: f64 = 8.0;
const LOOK_AT_TIE_S: f64 = 2.0;
const BY_HAND_M_H: f64 = 150.0;
const TURN_OVER_S_M: f64 = 1.2;
/// Assumed: the least time a walk or a spreading is worth leaving for.
const LEAST_WALK_H: f64 = 0.5;
/// Assumed: hours a wet piece lies spread before it can be rolled dry; nobody waits beside it.
pub const SPREAD: Hours = Hours(5.0);

/// Ties of one piece: both sides at the block's spacing, and the ends.
pub fn ties(piece: Metres, spacing: Metres) -> f64 {
    if piece.0 <= 0.0 {
        0.0
    } else {
        2.0 * ((piece.0 / spacing.0).ceil() + 1.0)
    }
}

/// What a job on `metres` of cover with `tie_count` ties takes on this farm.
pub fn effort(farm: &Farm, job: Job, metres: Metres, tie_count: f64) -> Effort {
    let crew = farm.crew.people.max(1);
    let hands = f64::from(crew);
    let (people, hours) = match job {
        Job::Lay => (
            crew,
            with_machine(metres, fastest(farm, Job::Lay), tie_count * FIX_TIE_S / 3600.0, hands),
        ),
        Job::Lift => (
            crew,
            with_machine(
                metres,
                fastest(farm, Job::Lift),
                tie_count * LOOSEN_TIE_S / 3600.0,
                hands,
            ),
        ),
        Job::Fold => (
            crew,
            (tie_count / 2.0 * LOOSEN_TIE_S + metres.0 * TURN_OVER_S_M) / 3600.0 / hands,
        ),
        Job::Check => {
            let people = crew.min(2);
            (
                people,
                (tie_count * LOOK_AT_TIE_S / 3600.0 / f64::from(people)).max(LEAST_WALK_H),
            )
        }
        Job::Redry => (crew.min(2), LEAST_WALK_H),
    };
    Effort {
        people,
        length: Hours((hours * 6.0 - 1e-9).ceil() / 6.0),
    }
}

/// Ties of rows of a block.
pub fn ties_in(block: &Block, rows: impl Iterator<Item = Metres>) -> f64 {
    rows.map(|row| ties(Block::piece(row, block.end_setback), Metres(block.alley.tie_spacing_m)))
        .sum()
}

pub(super) fn fastest(farm: &Farm, job: Job) -> Option<f64> {
    farm.machines
        .iter()
        .filter_map(|machine| {
            if job == Job::Lay {
                machine.lay_per_hour
            } else {
                machine.lift_per_hour
            }
        })
        .map(|rate| rate.0)
        .fold(None, |best: Option<f64>, rate| {
            Some(best.map_or(rate, |best| best.max(rate)))
        })
}

/// Two go with the machine, the others tie; what is left to tie then is done by all.
fn with_machine(metres: Metres, rate: Option<f64>, tying: f64, hands: f64) -> f64 {
    match rate {
        Some(rate) if hands >= 2.0 => {
            let rolling = metres.0 / rate;
            let meanwhile = (hands - 2.0) * rolling;
            if tying <= meanwhile {
                rolling
            } else {
                rolling + (tying - meanwhile) / hands
            }
        }
        _ => metres.0 / BY_HAND_M_H / (hands / 2.0).max(0.5) + tying / hands,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked example: 1278.5 m and 504 ties with four people take 1.83 h to lay and 1.60 h to lift
    /// (a computation of the project's planning notes, checked by hand: 1278.5/700 = 1.826).
    #[test]
    fn four_people_and_a_machine_take_under_two_hours_for_thirteen_hundred_metres() {
        let lay = with_machine(Metres(1278.5), Some(700.0), 504.0 * FIX_TIE_S / 3600.0, 4.0);
        let lift = with_machine(Metres(1278.5), Some(800.0), 504.0 * LOOSEN_TIE_S / 3600.0, 4.0);
        assert!((lay - 1.83).abs() < 0.005, "{lay}");
        assert!((lift - 1.60).abs() < 0.005, "{lift}");
    }

    #[test]
    fn with_two_people_the_tying_comes_after_the_laying() {
        // m/700 + tie hours / 2
        let hours = with_machine(Metres(700.0), Some(700.0), 1.0, 2.0);
        assert!((hours - 1.5).abs() < 1e-12);
    }

    #[test]
    fn a_tie_stands_at_each_end_and_at_most_every_six_metres() {
        assert!((ties(Metres(80.0), Metres(6.0)) - 30.0).abs() < 1e-12);
        assert!((ties(Metres(36.0), Metres(6.0)) - 14.0).abs() < 1e-12);
    }
}
