//! Go today, or wait: for a cover that lies out, by what is at stake in the half-days that are left before picking.

use serde::{Deserialize, Serialize};

use super::costs::{self, real};
use super::{FarmCase, HalfDay};
use crate::farm::Farm;
use crate::plan::season::case::{Kind, Lot, Site};
use crate::plan::season::colour;
use crate::plan::season::wait::{self, Later, Stakes, Window, wait_or_act};
use crate::workability::Chance;

/// Slots whose chances are taken as they stand; later ones will be forecast anew before they come.
const KNOWN_SLOTS: usize = 8;

/// What to do about the best half-day of today.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Advice {
    /// The half-day.
    pub when: HalfDay,
    /// Go, or wait.
    pub go: bool,
    /// Both are about as good.
    pub close_call: bool,
    /// Its chance, 0 to 1.
    pub chance: f64,
    /// Chance above which going pays, 0 to 1; `None` where waiting is never dearer.
    pub threshold: Option<f64>,
    /// Expected loss if the better of both is done \[cents\].
    pub loss_now_cents: f64,
    /// Expected loss if it is let pass \[cents\].
    pub loss_waiting_cents: f64,
    /// Half-days after it, up to picking, with a fair chance.
    pub chances_left: usize,
    /// Runs in which at least one of them works, counted run by run; `None` where the forecast ends before picking or
    /// there is one forecast only.
    pub any_later: Option<Chance>,
}

/// The advice for a lot that lies out; `None` without a half-day today, or with nothing to wait for.
pub(super) fn advice(farm: &Farm, made: &FarmCase, lot: &Lot) -> Option<Advice> {
    lot.already_out?;
    let site = made.case.sites.get(lot.site)?;
    let rates = costs::rates(farm);
    let rolls: Vec<usize> = lot
        .lift
        .iter()
        .filter(|lift| lift.1 == Kind::Roll)
        .map(|lift| lift.0)
        .collect();
    let last = *rolls.last()?;
    let chance = |slot: usize| site.p_lift.get(slot).map_or(0.0, |chance| real(*chance) / 1000.0);
    let windows: Vec<Window> = rolls
        .iter()
        .map(|slot| Window {
            chance: if *slot < KNOWN_SLOTS {
                wait::Chance::Known(chance(*slot))
            } else {
                wait::Chance::Later
            },
            gives_up: gives_up(made, lot, site, *slot, last),
        })
        .collect();
    let fold = rates.fold_cents(lot.metres, lot.work.fold);
    let stakes = Stakes {
        call_out: real(rates.call_out_cents(i64::from(farm.crew.people))),
        missed: real((fold - rates.labour_cents(lot.work.lift_machine)).max(0)),
    };
    let today = rolls.iter().enumerate().filter(|(_, slot)| **slot < 2);
    // Of two equally good halves of today the later one: what follows it are other days.
    let (place, slot) = today.max_by(|a, b| chance(*a.1).total_cmp(&chance(*b.1)).then(a.0.cmp(&b.0)))?;
    let decision = wait_or_act(&windows, stakes, &Later::default()).decide(place, Some(chance(*slot)))?;
    Some(Advice {
        when: made.half_day(*slot),
        go: decision.go,
        close_call: decision.close_call,
        chance: decision.chance,
        threshold: decision.threshold,
        loss_now_cents: decision.loss_now,
        loss_waiting_cents: decision.loss_waiting,
        chances_left: rolls.len() - place - 1,
        any_later: any_later(site, &rolls, place),
    })
}

/// What lifting in `slot` gives up against the last half-day: colour of the light between, less what the wind is
/// expected to cost a cover that stays \[cents\].
fn gives_up(made: &FarmCase, lot: &Lot, site: &Site, slot: usize, last: usize) -> f64 {
    let light = |to: usize| -> i64 {
        let before = lot.already_out.map_or(0, |out| out.light_before_md);
        before + site.light_md.iter().take(to).sum::<i64>()
    };
    let colour = |to: usize| colour::worth(&made.case.curve, lot.value_cents, light(to));
    let wind: i64 = site
        .hold_cents_per_km
        .get(slot..last)
        .map_or(0, |slots| slots.iter().sum());
    real(colour(last) - colour(slot)) - real(wind * lot.metres) / 1000.0
}

fn any_later(site: &Site, rolls: &[usize], place: usize) -> Option<Chance> {
    let later = rolls.get(place + 1..)?;
    let end = *later.last()?;
    if site.members_lift.len() < 2 || site.members_lift.iter().any(|run| run.len() <= end) {
        return None;
    }
    let works = |run: &&String| later.iter().any(|slot| run.as_bytes().get(*slot) == Some(&b'1'));
    Some(Chance {
        good: site.members_lift.iter().filter(works).count(),
        of: site.members_lift.len(),
    })
}
