//! One job of a lot: its slots in order of what they earn, and what speaks for the chosen one.

#![expect(clippy::indexing_slicing, reason = "places come from the lists of the same lot")]

use std::cmp::Reverse;
use std::collections::BTreeMap;

use serde::Serialize;

use super::Subject;
use crate::plan::season::case::{Kind, Mode};
use crate::plan::season::colour::{Sums, worth};
use crate::plan::season::costs::stability_cents;
use crate::plan::season::wait::{Chance, Later, Stakes, Window, wait_or_act};
use crate::plan::season::yard::NEVER;

/// What is said of one planned job.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JobWhy {
    /// The chosen slot.
    pub slot: usize,
    /// How it is laid or lifted there.
    pub how: How,
    /// Slots that fit the rest of the plan, best first: the best profit of the lot with the job in that slot.
    pub ranked: Vec<Ranked>,
    /// What the next best slot earns less \[cents\]; `None` if there is none.
    pub regret_cents: Option<i64>,
    /// What the regret is made of, largest first; they add up to it.
    pub reasons: Vec<Reason>,
    /// Slots that would earn more by themselves, or are closed, and what holds them.
    pub held: Vec<Held>,
    /// Slots from the chosen one to the last one that still earns more than leaving the lot; folding aside not
    /// counted.
    pub slack_slots: usize,
    /// Sum of the chances \[per mille\] of the slots after the chosen one that still earn more than leaving the lot;
    /// folding aside not counted.
    pub chances_left_permille: i64,
    /// Chance of at least one of them \[per mille\].
    pub any_permille: Option<i64>,
    /// Whether that was counted over members; else slots were taken as independent, which overstates it.
    pub counted: bool,
    /// What missing the chosen slot is expected to cost \[cents\].
    pub cost_if_missed_cents: Option<i64>,
}

/// How a job is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum How {
    /// Laid from the machine.
    LayMachine,
    /// Laid by hand.
    LayHand,
    /// Rolled up.
    Roll,
    /// Folded aside.
    Fold,
}

/// A slot for a job and what the lot earns with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Ranked {
    /// The slot.
    pub slot: usize,
    /// How the job is done there.
    pub how: How,
    /// Profit of the lot \[cents\].
    pub score_cents: i64,
}

/// One part of what a move costs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Reason {
    /// What it is.
    pub code: ReasonCode,
    /// How much \[cents\]; negative where moving saves.
    pub cents: i64,
}

/// What speaks for or against a slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ReasonCode {
    /// Light, and with it colour.
    Colour,
    /// The chance that the slot fails, and what follows then.
    Risk,
    /// Hours of people.
    Crew,
    /// Hours of machines.
    Machine,
    /// Metres of cover.
    Cover,
    /// Damage by wind while it lies out.
    Wind,
    /// Nobody may work there.
    Blackout,
    /// Moving away from yesterday's plan.
    Stability,
}

/// A slot that is not to be had.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Held {
    /// The slot.
    pub slot: usize,
    /// What holds it.
    pub code: ReasonCode,
    /// What it would earn more than the chosen one \[cents\]; `None` where it is closed.
    pub gain_cents: Option<i64>,
    /// What the hours or metres it needs are worth at the prices of the bound \[cents\].
    pub worth_cents: Option<i64>,
}

/// The parts of the profit of one pair \[cents\].
#[derive(Clone, Copy)]
struct Parts {
    colour: i64,
    wind: i64,
    stability: i64,
    labour_and_risk: i64,
}

/// The best profit of each slot, and the pair that earns it.
type BySlot = BTreeMap<usize, (f64, (usize, usize))>;

/// What using a slot with a pair gives up \[cents\].
type GivesUp<'a> = Box<dyn Fn(usize, (usize, usize)) -> f64 + 'a>;

#[derive(Clone, Copy, PartialEq, Eq)]
enum Which {
    Lay,
    Lift,
}

impl Subject<'_> {
    pub(super) fn lay(&self) -> Option<JobWhy> {
        if self.lot.already_out.is_some() {
            None
        } else {
            self.job(Which::Lay)
        }
    }

    pub(super) fn lift(&self) -> Option<JobWhy> {
        self.job(Which::Lift)
    }

    fn job(&self, which: Which) -> Option<JobWhy> {
        let chosen = self.choice?;
        let (slot, how) = self.slot(which, chosen)?;
        let own = self.profit();
        let best = self.best_by_slot(which, true);
        let mut order: Vec<_> = best
            .iter()
            .map(|(slot, (profit, pair))| (*slot, *profit, *pair))
            .collect();
        // The chosen slot first among equals.
        order.sort_by(|one, other| {
            other
                .1
                .total_cmp(&one.1)
                .then((one.0 != slot).cmp(&(other.0 != slot)))
                .then(one.0.cmp(&other.0))
        });
        let next = order.iter().find(|(other, ..)| *other != slot);
        let leave = self.yard.lots[self.at].leave;
        let after: Vec<usize> = order
            .iter()
            .filter(|(other, profit, pair)| {
                *other > slot && *profit > leave && self.slot(which, *pair).is_some_and(|(_, how)| how != How::Fold)
            })
            .map(|(slot, ..)| *slot)
            .collect();
        let (any_permille, counted) = self.any(which, &after);
        Some(JobWhy {
            slot,
            how,
            ranked: order
                .iter()
                .filter_map(|(slot, profit, pair)| self.ranked(which, *slot, *profit, *pair))
                .collect(),
            regret_cents: next.map(|next| self.cents(own - next.1)),
            reasons: next.map(|next| self.reasons(which, chosen, next.2)).unwrap_or_default(),
            held: self.held(which, slot, own, &best),
            slack_slots: after.iter().max().map_or(0, |last| last - slot),
            chances_left_permille: after.iter().map(|slot| self.chance(which, *slot)).sum(),
            any_permille,
            counted,
            cost_if_missed_cents: self.cost_if_missed(which, slot, chosen, &best),
        })
    }

    fn ranked(&self, which: Which, slot: usize, profit: f64, pair: (usize, usize)) -> Option<Ranked> {
        let (_, how) = self.slot(which, pair)?;
        Some(Ranked {
            slot,
            how,
            score_cents: self.cents(profit),
        })
    }

    /// Slot and manner of one job of a pair.
    fn slot(&self, which: Which, (a, b): (usize, usize)) -> Option<(usize, How)> {
        let lot = &self.yard.lots[self.at];
        match which {
            Which::Lay => lot.starts[a].lay.map(|(slot, mode)| match mode {
                Mode::LayMachine => (slot, How::LayMachine),
                Mode::LayHand => (slot, How::LayHand),
            }),
            Which::Lift => Some(match lot.ends[b].kind {
                Kind::Roll => (lot.ends[b].slot, How::Roll),
                Kind::Fold => (lot.ends[b].slot, How::Fold),
            }),
        }
    }

    fn pairs(&self) -> impl Iterator<Item = ((usize, usize), f64)> {
        let lot = &self.yard.lots[self.at];
        (0..lot.starts.len())
            .flat_map(|a| {
                lot.profits(a)
                    .iter()
                    .enumerate()
                    .map(move |(b, profit)| ((a, b), *profit))
            })
            .filter(|(_, profit)| *profit > NEVER)
    }

    /// The best pair for every slot of a job: of those that fit the rest of the plan, or of all.
    fn best_by_slot(&self, which: Which, fitting: bool) -> BySlot {
        let mut best: BySlot = BTreeMap::new();
        for (pair, profit) in self.pairs() {
            let Some((slot, _)) = self.slot(which, pair) else {
                continue;
            };
            let better = best.get(&slot).is_none_or(|(known, _)| profit > *known);
            if better && (!fitting || self.board.fits(self.at, pair)) {
                best.insert(slot, (profit, pair));
            }
        }
        best
    }

    fn chance(&self, which: Which, slot: usize) -> i64 {
        let site = &self.case.sites[self.lot.site];
        match which {
            Which::Lay => site.p_lay[slot],
            Which::Lift => site.p_lift[slot],
        }
    }

    /// Chance of at least one of `slots` \[per mille\], and whether members were counted.
    fn any(&self, which: Which, slots: &[usize]) -> (Option<i64>, bool) {
        let site = &self.case.sites[self.lot.site];
        let members = match which {
            Which::Lay => &site.members_lay,
            Which::Lift => &site.members_lift,
        };
        let count = i64::try_from(members.len()).unwrap_or(0);
        if slots.is_empty() {
            return (None, false);
        }
        if count > 0 && slots.iter().all(|slot| *slot < self.case.forecast_slots) {
            let good = |member: &&String| slots.iter().any(|slot| member.as_bytes().get(*slot) == Some(&b'1'));
            let with = i64::try_from(members.iter().filter(good).count()).unwrap_or(0);
            return (Some(1000 * with / count), true);
        }
        let none = slots
            .iter()
            .map(|slot| 1.0 - self.chance(which, *slot) as f64 / 1000.0)
            .product::<f64>();
        (Some(self.cents((1.0 - none) * 1000.0)), false)
    }

    fn parts(&self, (a, b): (usize, usize)) -> Parts {
        let (lot, yard_lot) = (self.lot, &self.yard.lots[self.at]);
        let (start, end) = (&yard_lot.starts[a], &yard_lot.ends[b]);
        let sums = Sums::of(&self.case.sites[lot.site]);
        let before = lot.already_out.map_or(0, |out| out.light_before_md);
        let light = before + sums.light_between(start.check_from.min(end.slot), end.slot);
        let was = |of: fn(&crate::plan::season::case::Yesterday) -> Option<usize>| lot.previous.as_ref().and_then(of);
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
    fn reasons(&self, which: Which, from: (usize, usize), to: (usize, usize)) -> Vec<Reason> {
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
    fn held(&self, which: Which, chosen: usize, own: f64, fitting: &BySlot) -> Vec<Held> {
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

    /// Expected loss after missing the slot, less what using it gives up: `J[t+1] - e[t]`.
    fn cost_if_missed(&self, which: Which, chosen: usize, pair: (usize, usize), best: &BySlot) -> Option<i64> {
        let call_out = self.rates.call_out_cents(self.case.pools[self.lot.pool].people) as f64;
        let (gives_up, missed): (GivesUp<'_>, f64) = match which {
            Which::Lay => {
                let top = best.values().map(|(profit, _)| *profit).fold(NEVER, f64::max);
                let leave = self.yard.lots[self.at].leave;
                let score = move |slot: usize| best.get(&slot).map_or(leave, |(profit, _)| *profit);
                (Box::new(move |slot, _| top - score(slot)), top - leave)
            }
            Which::Lift => {
                // Folding aside at the last moment is what a missed lift comes to: all the light, and all the wind.
                let lot = &self.yard.lots[self.at];
                let last = (0..lot.ends.len())
                    .filter(|b| lot.ends[*b].kind == Kind::Fold)
                    .max_by_key(|b| lot.ends[*b].slot)?;
                let end = self.parts((pair.0, last));
                let fold = lot.ends[last].cost
                    - Sums::of(&self.case.sites[self.lot.site]).hold_before(lot.ends[last].slot, self.lot.metres);
                let loss = move |(_, b): (usize, usize)| {
                    let now = self.parts((pair.0, b));
                    ((end.colour - now.colour) - (end.wind - now.wind)) as f64
                };
                (Box::new(move |_, pair| loss(pair)), fold as f64)
            }
        };
        let windows: Vec<Window> = best
            .iter()
            .filter(|(slot, (_, pair))| {
                **slot > chosen && self.slot(which, *pair).is_some_and(|(_, how)| how != How::Fold)
            })
            .map(|(slot, (_, pair))| Window {
                chance: Chance::Known(self.chance(which, *slot) as f64 / 1000.0),
                gives_up: gives_up(*slot, *pair),
            })
            .collect();
        let rule = wait_or_act(&windows, Stakes { call_out, missed }, &Later::default());
        Some(self.cents(rule.loss.first()? - gives_up(chosen, pair)))
    }
}
