//! Weather of each class of blocks, slot by slot: chances, light, and what the wind is expected to cost.

use chrono::{Days, NaiveDate};

use super::costs::{real, whole};
use super::{HalfDay, Inputs, SLOTS, half_day};
use crate::farm::Job;
use crate::farm::block::Block;
use crate::plan::season::case::Site;
use crate::workability::{Chance, Slot, usual_light};

/// Days over which the weight of the forecast falls to a third. Assumed, until fitted to the farm's own forecasts.
const FADE_DAYS: f64 = 8.0;
/// Slots in which nothing is planned on hours that are not known.
const FIRM_SLOTS: usize = 4;
/// Days before picking whose usual light makes one reference day.
const REFERENCE_DAYS: u64 = 28;
/// Light of half a reference day \[milli-days\].
const HALF_DAY_MD: i64 = 500;
/// Days between two at which the usual light is computed; in between it runs straight.
const LIGHT_STEP: usize = 7;

/// All classes of a farm's blocks.
pub(super) struct Sites {
    pub(super) all: Vec<Site>,
    pub(super) forecast_slots: usize,
    /// Light of one reference day of each class \[MJ/m²\].
    pub(super) reference: Vec<f64>,
    places: Vec<usize>,
}

impl Sites {
    /// The class of the block at this place of the farm.
    pub(super) fn of_block(&self, block: usize) -> Option<(usize, &Site)> {
        let place = *self.places.get(block)?;
        Some((place, self.all.get(place)?))
    }
}

pub(super) fn sites(inputs: &Inputs<'_>, today: NaiveDate) -> Sites {
    let blocks = &inputs.farm.blocks;
    let mut firsts: Vec<&Block> = Vec::new();
    let mut places = Vec::new();
    for block in blocks {
        let alike = |first: &&Block| first.alley == block.alley && first.irrigation == block.irrigation;
        let place = firsts.iter().position(alike).unwrap_or_else(|| {
            firsts.push(block);
            firsts.len() - 1
        });
        places.push(place);
    }
    let mut forecast_slots = 0;
    let mut reference = Vec::new();
    let all = (0..firsts.len())
        .map(|class| {
            let own: Vec<&Block> = blocks
                .iter()
                .zip(&places)
                .filter(|(_, place)| **place == class)
                .map(|(block, _)| block)
                .collect();
            let light = Light::of(inputs, &own, today);
            reference.push(light.reference);
            let (site, known) = site(inputs, &own, &light, class, today);
            forecast_slots = forecast_slots.max(known);
            site
        })
        .collect();
    Sites {
        all,
        forecast_slots,
        reference,
        places,
    }
}

fn site(inputs: &Inputs<'_>, blocks: &[&Block], light: &Light, class: usize, today: NaiveDate) -> (Site, usize) {
    let outlooks: Vec<_> = inputs
        .outlooks
        .iter()
        .filter(|outlook| blocks.iter().any(|block| block.id == outlook.block))
        .collect();
    let find = |wanted: HalfDay, job: Option<Job>| -> Option<&Slot> {
        let slots = outlooks.iter().flat_map(|outlook| &outlook.slots);
        slots
            .filter(|slot| slot.day == wanted.day && slot.half == wanted.half)
            .find(|slot| job.is_none_or(|job| slot.of(job).is_some()))
    };
    let mut site = Site {
        id: format!("site{}", class + 1),
        p_lay: Vec::new(),
        p_lift: Vec::new(),
        light_md: Vec::new(),
        hold_cents_per_km: Vec::new(),
        members_lay: Vec::new(),
        members_lift: Vec::new(),
    };
    let retie = 100.0 * 1000.0 * inputs.farm.costs.retie_per_m;
    let mut known = 0;
    for slot in 0..SLOTS {
        let when = half_day(today, slot);
        let usual = inputs.usual.of(when.day, when.half);
        let mut chance = |job: Job, usual: f64| {
            let share = find(when, Some(job)).and_then(|found| share(found.of(job)?));
            if share.is_some() {
                known = known.max(slot + 1);
            }
            per_mille(blended(share, usual, slot))
        };
        let (lay, lift) = (chance(Job::Lay, usual.lay), chance(Job::Lift, usual.lift));
        site.p_lay.push(lay);
        site.p_lift.push(lift);
        let of_slot = find(when, None);
        let told = of_slot.and_then(|slot| slot.light).map(|light| light.0);
        site.light_md.push(light.milli_days(told, slot));
        let beaten = of_slot.and_then(|slot| slot.beaten).map(Chance::share);
        let beaten = match beaten {
            Some(share) => {
                let weight = weight(slot);
                weight * share + (1.0 - weight) * usual.beaten
            }
            None => usual.beaten,
        };
        site.hold_cents_per_km.push(whole(retie * beaten));
    }
    site.members_lay = members(&|when| find(when, Some(Job::Lay)), Job::Lay, today);
    site.members_lift = members(&|when| find(when, Some(Job::Lift)), Job::Lift, today);
    (site, known)
}

fn share(runs: &[bool]) -> Option<f64> {
    let of = i64::try_from(runs.len()).ok().filter(|of| *of > 0)?;
    let good = i64::try_from(runs.iter().filter(|run| **run).count()).ok()?;
    Some(real(good) / real(of))
}

/// Weight of the forecast against what is usual.
fn weight(slot: usize) -> f64 {
    let days = i64::try_from(slot / 2).map_or(0.0, real);
    (-days / FADE_DAYS).exp()
}

/// The chance of a slot: the runs' share drawn towards what is usual, the more the later. What is not known within
/// the next two days cannot be planned on.
fn blended(share: Option<f64>, usual: f64, slot: usize) -> f64 {
    match share {
        Some(share) => {
            let weight = weight(slot);
            weight * share + (1.0 - weight) * usual
        }
        None if slot < FIRM_SLOTS => 0.0,
        None => usual,
    }
}

fn per_mille(share: f64) -> i64 {
    whole(1000.0 * share.clamp(0.0, 1.0) + 0.5)
}

/// One string a run over the slots that the forecast knows without a gap from the first on.
fn members<'a>(find: &dyn Fn(HalfDay) -> Option<&'a Slot>, job: Job, today: NaiveDate) -> Vec<String> {
    let mut runs: Vec<String> = Vec::new();
    for slot in 0..SLOTS {
        let Some(usable) = find(half_day(today, slot)).and_then(|found| found.of(job)) else {
            // Today's hours may be over; a gap later ends what can be counted.
            if runs.is_empty() && slot < 2 {
                continue;
            }
            break;
        };
        if runs.is_empty() {
            runs = vec!["0".repeat(slot); usable.len()];
        }
        if runs.len() != usable.len() {
            break;
        }
        for (run, usable) in runs.iter_mut().zip(usable) {
            run.push(if *usable { '1' } else { '0' });
        }
    }
    runs
}

/// Usual light of a class, and the reference day it is measured by.
struct Light {
    /// By day of the horizon \[MJ/m²\].
    usual: Vec<f64>,
    reference: f64,
}

impl Light {
    fn of(inputs: &Inputs<'_>, blocks: &[&Block], today: NaiveDate) -> Self {
        let zone = &inputs.farm.site.zone;
        let Some(first) = blocks.first() else {
            return Self {
                usual: Vec::new(),
                reference: 0.0,
            };
        };
        let alley = &first.alley;
        let days = SLOTS / 2;
        let at = |day: NaiveDate| usual_light(alley, zone, day).0;
        let knots: Vec<f64> = (0..=days / LIGHT_STEP)
            .map(|knot| at(plus(today, knot * LIGHT_STEP)))
            .collect();
        let usual = (0..days)
            .map(|day| {
                let (knot, rest) = (day / LIGHT_STEP, day % LIGHT_STEP);
                let low = knots.get(knot).copied().unwrap_or(0.0);
                let high = knots.get(knot + 1).copied().unwrap_or(low);
                let share = i64::try_from(rest).map_or(0.0, real) / i64::try_from(LIGHT_STEP).map_or(1.0, real);
                low + share * (high - low)
            })
            .collect();
        let picks = blocks
            .iter()
            .filter_map(|block| inputs.farm.next_pick(&block.id, today));
        let pick = picks.map(|pick| pick.first).min().unwrap_or_else(|| plus(today, 28));
        let middle = pick - Days::new(REFERENCE_DAYS / 2);
        Self {
            usual,
            reference: at(middle),
        }
    }

    /// Light of a slot in reference days, told or usual.
    fn milli_days(&self, told: Option<f64>, slot: usize) -> i64 {
        if self.reference <= 0.0 {
            return HALF_DAY_MD;
        }
        let usual = || 0.5 * self.usual.get(slot / 2).copied().unwrap_or(self.reference);
        whole(1000.0 * told.unwrap_or_else(usual) / self.reference + 0.5)
    }
}

fn plus(day: NaiveDate, days: usize) -> NaiveDate {
    day + Days::new(u64::try_from(days).unwrap_or(0))
}

/// Light a cover has had since it was laid \[milli-days\], at the usual light of its class.
pub(super) fn light_since(inputs: &Inputs<'_>, block: &Block, laid: NaiveDate, today: NaiveDate) -> i64 {
    let light = Light::of(inputs, &[block], today);
    if light.reference <= 0.0 {
        return 2 * HALF_DAY_MD * (today - laid).num_days().max(0);
    }
    let outlook = inputs.outlooks.iter().find(|outlook| outlook.block == block.id);
    let zone = &inputs.farm.site.zone;
    let days = (today - laid).num_days().clamp(0, 400);
    // Two ends and the middle stand for the time before; what was computed for past days counts as it is.
    let middle = laid + Days::new(u64::try_from(days / 2).unwrap_or(0));
    let mean = (usual_light(&block.alley, zone, laid).0
        + usual_light(&block.alley, zone, middle).0
        + usual_light(&block.alley, zone, today).0)
        / 3.0;
    let told: Vec<f64> = outlook
        .into_iter()
        .flat_map(|outlook| &outlook.light)
        .filter(|(day, _)| laid <= *day && *day < today)
        .map(|(_, light)| light.0)
        .collect();
    let untold = real(days) - real(i64::try_from(told.len()).unwrap_or(0));
    whole(1000.0 * (told.iter().sum::<f64>() + untold.max(0.0) * mean) / light.reference)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_forecast_counts_whole_today_and_a_third_after_eight_days() {
        assert!((blended(Some(1.0), 0.4, 0) - 1.0).abs() < 1e-12);
        let later = blended(Some(1.0), 0.4, 16);
        assert!((later - (0.4 + 0.6 * (-1.0_f64).exp())).abs() < 1e-12);
        assert!((blended(None, 0.4, 16) - 0.4).abs() < 1e-12);
    }

    #[test]
    fn what_is_not_known_within_two_days_cannot_be_planned_on() {
        assert!(blended(None, 0.4, 3).abs() < 1e-12);
        assert!((blended(None, 0.4, 4) - 0.4).abs() < 1e-12);
        assert_eq!(per_mille(0.6666), 667);
    }
}
