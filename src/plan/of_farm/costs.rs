//! Time and money of a lot, in whole seconds and cents.
//!
//! Rates are common practice from memory, as in [`crate::plan::effort`]; money is assumed where the grower gives none.

use crate::farm::Farm;
use crate::farm::Job;
use crate::farm::block::{Block, Rows};
use crate::plan::effort::{BY_HAND_M_H, FIX_TIE_S, LOOSEN_TIE_S, TURN_OVER_S_M, fastest, ties_in};
use crate::plan::season::case::{Seconds, Work};
use crate::units::Metres;

/// Walking with the roll takes longer by hand than the bare rate says. Assumed.
const BY_HAND_FACTOR: f64 = 1.15;
/// Share of a failed call-out that is charged in advance: most bad half-days are seen before anyone leaves. Measured on
/// four cases: charging a quarter gained up to 2 %.
pub(super) const CALL_OUT_SHARE: f64 = 0.25;
/// What a lift that turns out damp costs \[cents/m\]: one in fifty, 0.25 a metre. Assumed.
pub(super) const DAMP_CENTS_M: f64 = 0.5;
/// Labour of a folding counts three times: folding, flattening, slower picking. Assumed.
const FOLD_LABOUR: f64 = 3.0;
/// Leaving a lot uncovered that the plan before covered \[cents\]. Assumed.
pub(super) const DROP_CENTS: i64 = 2_000;
/// Leaving a cover out for good, beside twice its folding \[cents\]. Assumed.
const STRANDED_CENTS: i64 = 20_000;
/// Moving a job by one slot \[cents\]: within the next five days, and later. Assumed.
const MOVE_CENTS: (i64, i64) = (600, 150);
/// Slots in which moving is dear, and slots beyond which moving further costs no more.
const SOON_SLOTS: usize = 10;
const MOST_MOVED: usize = 10;

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

/// Time that each kind of work on some rows takes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Times {
    /// With the machine, if there is one that lays.
    pub(super) lay_machine: Option<Seconds>,
    /// By hand.
    pub(super) lay_hand: Seconds,
    /// Rolling up, with the machine if there is one that winds.
    pub(super) lift: Seconds,
    /// Folding aside.
    pub(super) fold: Seconds,
    /// Ties.
    pub(super) ties: i64,
}

impl Times {
    pub(super) fn of(farm: &Farm, block: &Block, rows: Rows) -> Self {
        let metres = block.cover_in(rows).0;
        let lengths = rows
            .numbers()
            .filter_map(|row| block.rows.get(usize::try_from(row).ok()?.checked_sub(1)?).copied());
        let ties = ties_in(block, lengths.collect::<Vec<Metres>>().into_iter());
        let with = |rate: f64, tie_s: f64, factor: f64| Seconds {
            people_s: whole(2.0 * 3600.0 * metres / rate * factor + ties * tie_s),
            machine_s: whole(3600.0 * metres / rate),
        };
        let by_hand = |tie_s: f64| Seconds {
            machine_s: 0,
            ..with(BY_HAND_M_H, tie_s, BY_HAND_FACTOR)
        };
        Self {
            lay_machine: fastest(farm, Job::Lay).map(|rate| with(rate, FIX_TIE_S, 1.0)),
            lay_hand: by_hand(FIX_TIE_S),
            lift: fastest(farm, Job::Lift).map_or_else(|| by_hand(LOOSEN_TIE_S), |rate| with(rate, LOOSEN_TIE_S, 1.0)),
            fold: Seconds {
                people_s: whole(ties / 2.0 * LOOSEN_TIE_S + metres * TURN_OVER_S_M),
                machine_s: 0,
            },
            ties: whole(ties),
        }
    }

    pub(super) fn work(&self) -> Work {
        Work {
            lay_machine: self.lay_machine.unwrap_or(self.lay_hand),
            lay_hand: self.lay_hand,
            lift_machine: self.lift,
            fold: self.fold,
        }
    }
}

/// Money of one lot \[cents\].
#[derive(Debug, Clone, Copy)]
pub(super) struct Money {
    wage_s: f64,
    tractor_s: f64,
    /// A call-out that fails.
    pub(super) call_out: f64,
    /// A lift that turns out damp, times its chance.
    pub(super) damp: f64,
    /// Folding aside with all that follows.
    pub(super) fold: i64,
    /// Worth of full colour.
    pub(super) value: i64,
    /// Never lifting what lies out.
    pub(super) stranded: i64,
}

impl Money {
    pub(super) fn of(farm: &Farm, metres: f64, times: &Times) -> Self {
        let costs = &farm.costs;
        let wage_s = 100.0 * costs.wage_per_hour / 3600.0;
        let fold = whole(100.0 * costs.fold_extra_per_m * metres + FOLD_LABOUR * real(times.fold.people_s) * wage_s);
        Self {
            wage_s,
            tractor_s: 100.0 * costs.tractor_per_hour / 3600.0,
            call_out: f64::from(farm.crew.people) * 100.0 * costs.wage_per_hour / 8.0,
            damp: DAMP_CENTS_M * metres,
            fold,
            value: whole(100.0 * costs.colour_value_per_m * metres),
            stranded: STRANDED_CENTS + 2 * fold,
        }
    }

    /// Wages and tractor of some work, each in whole cents.
    pub(super) fn work(&self, work: Seconds) -> i64 {
        whole(real(work.people_s) * self.wage_s) + whole(real(work.machine_s) * self.tractor_s)
    }
}

/// What moving a job away from its slot in the plan before costs \[cents\].
pub(super) fn moved(slot: usize, before: Option<usize>) -> i64 {
    let Some(before) = before else { return 0 };
    let (soon, later) = MOVE_CENTS;
    let each = if before < SOON_SLOTS { soon } else { later };
    i64::try_from(slot.abs_diff(before).min(MOST_MOVED)).unwrap_or(0) * each
}
