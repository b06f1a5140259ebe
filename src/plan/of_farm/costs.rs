//! Rates and prices of one farm, and the work of some of its rows.

use crate::farm::block::{Block, Rows};
use crate::farm::{Farm, Job};
use crate::plan::effort::{fastest, ties_in};
use crate::plan::season::case::{Seconds, Work};
use crate::plan::season::costs::{LiftStakes, Rates};
use crate::units::Metres;

/// A whole number of a value that is not negative, rounded down; a hair below a whole number counts as that number.
pub(super) fn whole(value: f64) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "clamped to what is exact")]
    let whole = (value + 1e-6).floor().clamp(0.0, 9e15) as i64;
    whole
}

/// A count as a real number.
pub(super) fn real(value: i64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "far below 2^53")]
    let real = value as f64;
    real
}

/// The common rates with what the farm told of its machines and prices.
pub(super) fn rates(farm: &Farm) -> Rates {
    let usual = Rates::default();
    let rate = |job, usual| fastest(farm, job).map_or(usual, |rate| whole(rate).max(1));
    let cents = |price: f64| whole(100.0 * price);
    Rates {
        lay_m_h: rate(Job::Lay, usual.lay_m_h),
        roll_m_h: rate(Job::Lift, usual.roll_m_h),
        wage_cents_h: cents(farm.costs.wage_per_hour),
        tractor_cents_h: cents(farm.costs.tractor_per_hour),
        fold_cents_m: cents(farm.costs.fold_extra_per_m),
        ..usual
    }
}

/// Cover, ties and work of some rows of a block.
#[derive(Debug, Clone, Copy)]
pub(super) struct Effort {
    pub(super) metres: i64,
    pub(super) ties: i64,
    pub(super) work: Work,
    /// Whether a machine of the farm lays.
    pub(super) machine_lays: bool,
}

impl Effort {
    pub(super) fn of(farm: &Farm, rates: &Rates, block: &Block, rows: Rows) -> Self {
        let lengths = rows
            .numbers()
            .filter_map(|row| block.rows.get(usize::try_from(row).ok()?.checked_sub(1)?).copied());
        let ties = whole(ties_in(block, lengths.collect::<Vec<Metres>>().into_iter()));
        let metres = whole(block.cover_in(rows).0);
        let mut work = rates.work(metres, ties, false);
        if fastest(farm, Job::Lift).is_none() {
            // By hand, winding takes what laying takes, and ties are loosened.
            work.lift_machine = Seconds {
                people_s: work.lay_hand.people_s - ties * (rates.fix_tie_s - rates.loosen_tie_s),
                machine_s: 0,
            };
        }
        Self {
            metres,
            ties,
            work,
            machine_lays: fastest(farm, Job::Lay).is_some(),
        }
    }

    /// The usual way of laying.
    pub(super) fn lay(&self) -> Seconds {
        if self.machine_lays {
            self.work.lay_machine
        } else {
            self.work.lay_hand
        }
    }

    /// What is at stake with its lift.
    pub(super) fn stakes(&self, farm: &Farm, rates: &Rates) -> LiftStakes {
        let call_out = rates.call_out_cents(i64::from(farm.crew.people));
        LiftStakes {
            call_out: real(call_out * rates.call_out_share) / 1000.0,
            fold: real(rates.fold_cents(self.metres, self.work.fold)),
            damp: real(self.metres * rates.damp_cents_km) / 1000.0,
        }
    }
}
