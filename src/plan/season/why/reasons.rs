//! What a move is made of, and what holds the slots that are not to be had.

#![expect(clippy::indexing_slicing, reason = "places come from the lists of the same lot")]

use std::cmp::Reverse;

use super::Subject;
use super::job::{BySlot, Held, Reason, ReasonCode, Which};
use crate::plan::season::case::{Kind, Yesterday};
use crate::plan::season::colour::{Sums, worth};
use crate::plan::season::costs::stability_cents;

/// The parts of the profit of one pair \[cents\].
#[derive(Clone, Copy)]
pub(super) struct Parts {
    pub(super) colour: i64,
    pub(super) wind: i64,
    stability: i64,
    labour_and_risk: i64,
}

impl Subject<'_> {
    pub(super) fn parts(&self, (a, b): (usize, usize)) -> Parts {
        let (lot, yard_lot) = (self.lot, &self.yard.lots[self.at]);
        let (start, end) = (&yard_lot.starts[a], &yard_lot.ends[b]);
        let sums = Sums::of(&self.case.sites[lot.site]);
        let before = lot.already_out.map_or(0, |out| out.light_before_md);
        let light = before + sums.light_between(start.check_from.min(end.slot), end.slot);
        let was = |of: fn(&Yesterday) -> Option<usize>| lot.previous.as_ref().and_then(of);
        let mut wind = sums.hold_before(end.slot, lot.metres);
        let mut stability = 0;
        if let Some((slot, _)) = start.lay {
            wind -= sums.hold_before(slot, lot.metres);
            stability += stability_cents(slot, was(|was| was.lay));
        }
        if end.kind == Kind::Roll {
            stability += stability_cents(end.slot, was(|was| was.lift));
        }
        Parts {
            colour: worth(&self.case.curve, lot.value_cents, light),
            wind,
            stability,
            labour_and_risk: start.cost + end.cost - wind - stability,
        }
    }

    /// What moving from one pair to another costs, part by part.
    pub(super) fn reasons(&self, which: Which, from: (usize, usize), to: (usize, usize)) -> Vec<Reason> {
        let (one, other) = (self.parts(from), self.parts(to));
        // Another way of laying changes the labour; all else in this part is risk.
        let by_hand =
            which == Which::Lay && self.slot(which, from).map(|slot| slot.1) != self.slot(which, to).map(|slot| slot.1);
        let mut reasons: Vec<Reason> = [
            (ReasonCode::Colour, one.colour - other.colour),
            (
                if by_hand { ReasonCode::Crew } else { ReasonCode::Risk },
                other.labour_and_risk - one.labour_and_risk,
            ),
            (ReasonCode::Wind, other.wind - one.wind),
            (ReasonCode::Stability, other.stability - one.stability),
        ]
        .into_iter()
        .filter(|(_, cents)| *cents != 0)
        .map(|(code, cents)| Reason { code, cents })
        .collect();
        reasons.sort_by_key(|reason| (Reverse(reason.cents.abs()), reason.code));
        reasons
    }

    /// Slots that would be better than the chosen one but for the rest of the plan, then closed ones between.
    pub(super) fn held(&self, which: Which, chosen: usize, own: f64, fitting: &BySlot) -> Vec<Held> {
        let alone = self.best_by_slot(which, false);
        let mut held = Vec::new();
        for (slot, (profit, pair)) in &alone {
            let better = *profit > own && fitting.get(slot).is_none_or(|(fits, _)| fits < profit);
            if *slot == chosen || !better {
                continue;
            }
            let lack = self.board.lack(self.at, *pair);
            let gain_cents = Some(self.cents(profit - own));
            for (code, lacking) in [
                (ReasonCode::Crew, lack.people.0),
                (ReasonCode::Machine, lack.machine.0),
                (ReasonCode::Cover, lack.cover.0),
            ] {
                if lacking > 0 {
                    held.push(Held {
                        slot: *slot,
                        code,
                        gain_cents,
                        worth_cents: Some(self.worth(code, *pair)),
                    });
                }
            }
        }
        held.sort_by_key(|held| (Reverse(held.gain_cents), held.slot));
        let pool = &self.case.pools[self.lot.pool];
        if let (Some((first, _)), Some((last, _))) = (alone.first_key_value(), alone.last_key_value()) {
            let closed = (*first..*last).filter(|slot| {
                !alone.contains_key(slot)
                    && pool.people_cap_s[*slot] > 0
                    && self.chance(which, *slot) >= 200
                    && !self.named(which, *slot)
            });
            held.extend(closed.map(|slot| Held {
                slot,
                code: ReasonCode::Blackout,
                gain_cents: None,
                worth_cents: None,
            }));
        }
        held
    }

    /// Whether the case offers the slot for the job at all.
    fn named(&self, which: Which, slot: usize) -> bool {
        let lot = self.lot;
        match which {
            Which::Lay => lot.lay_machine.iter().chain(&lot.lay_hand).any(|lay| lay.0 == slot),
            Which::Lift => lot.lift.iter().any(|lift| lift.0 == slot),
        }
    }

    /// Price times use of what a pair takes.
    fn worth(&self, code: ReasonCode, (a, b): (usize, usize)) -> i64 {
        let (lot, prices) = (&self.yard.lots[self.at], &self.bound.prices);
        let (start, end) = (&lot.starts[a], &lot.ends[b]);
        let jobs = start
            .lay
            .iter()
            .map(|lay| (lay.0, start.people, start.machine))
            .chain([(end.slot, end.people, end.machine)]);
        let family = lot.family * self.yard.slots;
        let value: f64 = match code {
            ReasonCode::Crew => jobs.map(|(slot, people, _)| people as f64 * prices.people[slot]).sum(),
            ReasonCode::Machine => jobs
                .map(|(slot, _, machine)| machine as f64 * prices.machine[slot])
                .sum(),
            ReasonCode::Cover => prices.cover[family + start.cover_from..family + end.free]
                .iter()
                .map(|price| price * lot.metres as f64)
                .sum(),
            ReasonCode::Colour | ReasonCode::Risk | ReasonCode::Wind | ReasonCode::Blackout | ReasonCode::Stability => {
                0.0
            }
        };
        self.cents(value)
    }
}
