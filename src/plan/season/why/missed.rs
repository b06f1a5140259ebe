//! What it is expected to cost if the chosen slot is missed.

#![expect(clippy::indexing_slicing, reason = "places come from the lists of the same lot")]

use super::Subject;
use super::job::{BySlot, How, Which};
use crate::plan::season::case::Kind;
use crate::plan::season::colour::Sums;
use crate::plan::season::wait::{Chance, Later, Stakes, Window, wait_or_act};
use crate::plan::season::yard::NEVER;

/// What using a slot with a pair gives up \[cents\].
type GivesUp<'a> = Box<dyn Fn(usize, (usize, usize)) -> f64 + 'a>;

impl Subject<'_> {
    /// Expected loss after missing the slot, less what using it gives up: `J[t+1] - e[t]`.
    pub(super) fn cost_if_missed(
        &self,
        which: Which,
        chosen: usize,
        pair: (usize, usize),
        best: &BySlot,
    ) -> Option<i64> {
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
