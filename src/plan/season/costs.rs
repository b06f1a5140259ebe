//! Times and costs of the jobs on a lot, and the risk of planning a lift for a slot: what fills a case with numbers.
//!
//! Whole cents and seconds, cut and never rounded, each part for itself. The defaults are common practice from
//! memory, to be replaced by the grower's own figures.

use super::case::{Seconds, Work};
use super::colour::Sums;

/// Rates and prices of the work; the default is common practice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rates {
    /// Laying from the machine \[m/h\].
    pub lay_m_h: i64,
    /// Rolling up with the machine \[m/h\].
    pub roll_m_h: i64,
    /// Two people laying by hand \[m/h\].
    pub hand_m_h: i64,
    /// How much longer walking by hand takes: turns and carrying \[per mille\].
    pub hand_walk: i64,
    /// How much longer uphill \[per mille\].
    pub uphill: i64,
    /// Fixing a tie \[s\].
    pub fix_tie_s: i64,
    /// Loosening a tie \[s\].
    pub loosen_tie_s: i64,
    /// Folding aside, ties apart \[s/km\].
    pub aside_s_km: i64,
    /// Wage \[cents/h\].
    pub wage_cents_h: i64,
    /// Tractor and machine \[cents/h\].
    pub tractor_cents_h: i64,
    /// Share of failed call-outs that counts in the risk of a slot: the rest is seen before leaving \[per mille\].
    pub call_out_share: i64,
    /// A lift in a dry slot that was damp all the same \[cents/km\].
    pub damp_cents_km: i64,
    /// Folded covers lie in the way: flattened, slower picking \[cents/m\].
    pub fold_cents_m: i64,
    /// Leaving a lot out that yesterday's plan covered \[cents\].
    pub drop_cents: i64,
}

impl Default for Rates {
    fn default() -> Self {
        Self {
            lay_m_h: 700,
            roll_m_h: 800,
            hand_m_h: 150,
            hand_walk: 1150,
            uphill: 1350,
            fix_tie_s: 15,
            loosen_tie_s: 8,
            aside_s_km: 1200,
            wage_cents_h: 1800,
            tractor_cents_h: 1500,
            call_out_share: 250,
            damp_cents_km: 500,
            fold_cents_m: 12,
            drop_cents: 2000,
        }
    }
}

/// Cost of moving a job of yesterday's plan, each slot, at most ten times \[cents\]: soon, and later.
const MOVED_SOON: i64 = 600;
const MOVED_LATER: i64 = 150;
/// Slots from today that are soon: five days.
const SOON: usize = 10;

impl Rates {
    /// Rates under which all of a failed call-out counts in the risk of a slot.
    pub fn with_full_call_out() -> Self {
        Self {
            call_out_share: 1000,
            ..Self::default()
        }
    }

    /// Time of every job on `metres` of cover with `ties`, if every hour were good. Two people at the machine.
    pub fn work(&self, metres: i64, ties: i64, hilly: bool) -> Work {
        let pair = |rate: i64| 2 * 3600 * metres / rate.max(1);
        let machine = |rate: i64| 3600 * metres / rate.max(1);
        let uphill = if hilly { self.uphill } else { 1000 };
        let walk = 2 * 3600 * metres * self.hand_walk * uphill / (self.hand_m_h.max(1) * 1_000_000);
        Work {
            lay_machine: Seconds {
                people_s: pair(self.lay_m_h) + ties * self.fix_tie_s,
                machine_s: machine(self.lay_m_h),
            },
            lay_hand: Seconds {
                people_s: walk + ties * self.fix_tie_s,
                machine_s: 0,
            },
            lift_machine: Seconds {
                people_s: pair(self.roll_m_h) + ties * self.loosen_tie_s,
                machine_s: machine(self.roll_m_h),
            },
            fold: Seconds {
                people_s: (ties * self.loosen_tie_s * 500 + self.aside_s_km * metres) / 1000,
                machine_s: 0,
            },
        }
    }

    /// Tie checks of one working slot \[people-seconds\]: every tie, two seconds, once in ten working days.
    pub fn check_s(ties: i64) -> i64 {
        ties / 10
    }

    /// A call-out that fails: an eighth of an hour's wage for everybody, in whole cents.
    pub fn call_out_cents(&self, people: i64) -> i64 {
        people * self.wage_cents_h / 8
    }

    /// What folding aside at picking costs \[cents\].
    pub fn fold_cents(&self, metres: i64, fold: Seconds) -> i64 {
        // Three times its labour: flattening, and picking around it.
        (self.fold_cents_m * metres * 3600 + 3 * fold.people_s * self.wage_cents_h) / 3600
    }

    /// What it costs never to lift a lot \[cents\].
    pub fn stranded_cents(fold_cents: i64) -> i64 {
        20_000 + 2 * fold_cents
    }

    /// Wage and tractor of a job \[cents\].
    pub fn labour_cents(&self, work: Seconds) -> i64 {
        work.people_s * self.wage_cents_h / 3600 + work.machine_s * self.tractor_cents_h / 3600
    }

    /// What laying in a slot costs, all counted \[cents\]; `chance` per mille. The wind before the slot is taken off,
    /// so that the pair with a lift pays for the slots between.
    pub fn lay_cents(&self, job: &LayJob, sums: &Sums) -> i64 {
        self.labour_cents(job.work)
            + (1000 - job.chance) * job.call_out_cents / 1000
            + stability_cents(job.slot, job.yesterday)
            - sums.hold_before(job.slot, job.metres)
    }

    /// What rolling up in a slot costs, all counted \[cents\]; `risk_cents` from [`risk_table`].
    pub fn roll_cents(&self, job: &RollJob, sums: &Sums) -> i64 {
        self.labour_cents(job.work)
            + whole_cents(job.risk_cents)
            + stability_cents(job.slot, job.yesterday)
            + sums.hold_before(job.slot, job.metres)
    }
}

/// A laying to be priced.
#[derive(Debug, Clone, Copy)]
pub struct LayJob {
    /// When.
    pub slot: usize,
    /// Chance of the slot \[per mille\].
    pub chance: i64,
    /// Time it takes.
    pub work: Seconds,
    /// Metres of cover.
    pub metres: i64,
    /// A call-out that fails \[cents\].
    pub call_out_cents: i64,
    /// Slot of yesterday's plan.
    pub yesterday: Option<usize>,
}

/// A rolling up to be priced.
#[derive(Debug, Clone, Copy)]
pub struct RollJob {
    /// When.
    pub slot: usize,
    /// Expected extra cost of planning it for this slot \[cents\].
    pub risk_cents: f64,
    /// Time it takes.
    pub work: Seconds,
    /// Metres of cover.
    pub metres: i64,
    /// Slot of yesterday's plan.
    pub yesterday: Option<usize>,
}

/// What it costs that a job moves away from yesterday's slot \[cents\].
pub fn stability_cents(slot: usize, yesterday: Option<usize>) -> i64 {
    yesterday.map_or(0, |was| {
        let slots = i64::try_from(slot.abs_diff(was)).unwrap_or(i64::MAX).min(10);
        slots * if was < SOON { MOVED_SOON } else { MOVED_LATER }
    })
}

/// What is at stake with one lift \[cents\].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LiftStakes {
    /// A call-out that fails.
    pub call_out: f64,
    /// Folding aside at picking.
    pub fold: f64,
    /// A lift in a dry slot that was damp all the same.
    pub damp: f64,
}

/// Expected extra cost of planning a lift for each slot, the last entry being picking itself: if the slot fails, the
/// lift moves on to the next one, at last to folding aside. `chances` are those of the slots before picking as shares
/// of 1; `None` is a slot that is closed (black-out, rest day, or the lot does not fit).
pub fn risk_table(chances: &[Option<f64>], stakes: LiftStakes) -> Vec<f64> {
    let mut table = vec![stakes.fold];
    let mut next = stakes.fold;
    for chance in chances.iter().rev() {
        if let Some(chance) = chance {
            next = (1.0 - chance) * (stakes.call_out + next.min(stakes.fold)) + chance * stakes.damp;
        }
        table.push(next);
    }
    table.reverse();
    table
}

#[expect(clippy::cast_possible_truncation, reason = "cents are cut; `as` keeps to the range")]
fn whole_cents(cents: f64) -> i64 {
    cents.floor() as i64
}

#[cfg(test)]
mod tests {
    use super::super::score::booked;
    use super::*;

    /// Worked example B: 900 m, 8 pieces, 320 ties.
    #[test]
    fn laying_nine_hundred_metres_takes_the_printed_seconds() {
        let lay = Rates::default().work(900, 320, false).lay_machine;
        assert_eq!((lay.people_s, lay.machine_s), (14057, 4628));
        for (chance, people, machine, fit) in [(900, 15619, 5143, 3), (650, 21627, 7120, 2), (400, 35143, 11570, 1)] {
            assert_eq!(booked(lay.people_s, chance), Some(people));
            assert_eq!(booked(lay.machine_s, chance), Some(machine));
            assert_eq!(18000 / machine, fit, "lots of one machine in a half-day");
        }
        assert_eq!(booked(lay.people_s, 0), None);
    }

    /// Worked example B: first picking on day 36 in the morning, day 34 is a rest day.
    #[test]
    fn the_risk_of_each_slot_before_picking_is_as_printed() {
        let chances: Vec<Option<f64>> = (60..72)
            .map(|slot| match (slot / 2 == 34, slot % 2) {
                (true, _) => None,
                (false, 0) => Some(0.33),
                (false, _) => Some(0.60),
            })
            .collect();
        let table = risk_table(
            &chances,
            LiftStakes {
                call_out: 900.0,
                fold: 13800.0,
                damp: 450.0,
            },
        );
        let rounded: Vec<String> = table.iter().map(|cents| format!("{cents:.0}")).collect();
        let printed = "1620 1296 1666 1365 1838 1622 2479 2579 4872 4872 4872 6150 13800";
        assert_eq!(rounded.join(" "), printed);
    }

    #[test]
    fn moving_a_job_costs_more_when_it_was_due_soon() {
        assert_eq!(stability_cents(7, None), 0);
        assert_eq!(stability_cents(7, Some(9)), 1200);
        assert_eq!(stability_cents(12, Some(10)), 300);
        assert_eq!(stability_cents(100, Some(9)), 6000);
    }
}
