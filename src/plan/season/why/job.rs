//! One job of a lot: its slots in order of what they earn, and what speaks for the chosen one.

#![expect(clippy::indexing_slicing, reason = "places come from the lists of the same lot")]

use std::collections::BTreeMap;

use serde::Serialize;

use super::Subject;
use crate::plan::season::case::{Kind, Mode};
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
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Ranked {
    /// The slot.
    pub slot: usize,
    /// How the job is done there.
    pub how: How,
    /// Profit of the lot \[cents\].
    pub score_cents: i64,
    /// What it would cost more than the chosen one, part by part, largest first.
    pub reasons: Vec<Reason>,
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

/// The best profit of each slot, and the pair that earns it.
pub(super) type BySlot = BTreeMap<usize, (f64, (usize, usize))>;

#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Which {
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
                .filter_map(|(slot, profit, pair)| self.ranked(which, chosen, *slot, *profit, *pair))
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

    fn ranked(
        &self,
        which: Which,
        chosen: (usize, usize),
        slot: usize,
        profit: f64,
        pair: (usize, usize),
    ) -> Option<Ranked> {
        let (_, how) = self.slot(which, pair)?;
        Some(Ranked {
            slot,
            how,
            score_cents: self.cents(profit),
            reasons: self.reasons(which, chosen, pair),
        })
    }

    /// Slot and manner of one job of a pair.
    pub(super) fn slot(&self, which: Which, (a, b): (usize, usize)) -> Option<(usize, How)> {
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
    pub(super) fn best_by_slot(&self, which: Which, fitting: bool) -> BySlot {
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

    pub(super) fn chance(&self, which: Which, slot: usize) -> i64 {
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
}
