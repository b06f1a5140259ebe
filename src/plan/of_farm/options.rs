//! The slots a lot may be laid and lifted in, each with its cost.

use std::cell::OnceCell;

use chrono::{Days, NaiveDate, TimeDelta};

use super::costs::{self, CALL_OUT_SHARE, DROP_CENTS, Money, Times, real, whole};
use super::lots::{Segment, Standing};
use super::sites::light_since;
use super::{Inputs, LEAST_WORK, SLOTS, WhyNot, crew_hours, half_day, slot_of};
use crate::farm::Job;
use crate::farm::block::Block;
use crate::plan::season::case::{Kind, LaySlot, LiftSlot, Lot, Out, Site, Yesterday};

/// Least slots between laying and lifting: seven days give some colour, fewer none.
const LEAST_EXPOSURE: usize = 14;
/// Earliest slots before picking for laying and for lifting. Assumed: seven weeks, ten days.
const LAY_BEFORE: usize = 98;
const LIFT_BEFORE: usize = 20;
/// Least chance of a slot that is offered \[per mille\]. Assumed.
const LEAST_CHANCE: i64 = 200;
/// Working slots up to picking in which folding aside is offered.
const FOLD_SLOTS: usize = 2;

/// One lot with all its options, or why it cannot be planned.
pub(super) fn lot(
    inputs: &Inputs<'_>,
    block: &Block,
    segment: &Segment<'_>,
    number: usize,
    site: &Site,
    crew_time: &[i64],
    today: NaiveDate,
) -> Result<Lot, WhyNot> {
    let farm = inputs.farm;
    let out = segment.standing != Standing::Stored;
    let set = farm.set_of(&block.id);
    let metres = block.cover_in(segment.rows).0;
    let times = Times::of(farm, block, segment.rows);
    let money = Money::of(farm, metres, &times);
    let maker = Maker {
        inputs,
        block,
        site,
        crew_time,
        today,
        metres,
        times,
        money,
        pick_slot: segment.pick.map(|pick| pick_slot(block, pick.earliest(today), today)),
        id: format!("{} {}", block.id, segment.rows.first),
        shut: [OnceCell::new(), OnceCell::new(), OnceCell::new()],
    };
    if !out {
        let set = set.ok_or(WhyNot::NoSet)?;
        if set.length.0 + 1.0 < metres {
            return Err(WhyNot::TooFewMetres);
        }
        let pick = maker.pick_slot.ok_or(WhyNot::NoPick)?;
        if pick < LEAST_EXPOSURE {
            return Err(WhyNot::TooLate);
        }
        if pick >= SLOTS {
            return Err(WhyNot::FarAway);
        }
    }
    let lay_machine = if out || maker.times.lay_machine.is_none() {
        Vec::new()
    } else {
        maker.lays(true)
    };
    let lay_hand = if out { Vec::new() } else { maker.lays(false) };
    let lift = maker.lifts(segment.standing);
    if !out && lay_machine.is_empty() && lay_hand.is_empty() {
        return Err(maker.why_no_lay());
    }
    Ok(Lot {
        id: maker.id.clone(),
        block: block.id.0.clone(),
        variety: block.variety.clone(),
        pool: 0,
        site: number,
        family: set.map_or_else(|| own_family(&block.id.0), |set| set.id.0.clone()),
        metres: whole(metres),
        pieces: i64::from(segment.rows.count()),
        ties: maker.times.ties,
        hilly: false,
        value_cents: maker.money.value,
        pick_slot: maker.pick_slot.unwrap_or(SLOTS).min(SLOTS.saturating_sub(1)),
        min_exposure_slots: LEAST_EXPOSURE,
        check_s: maker.times.ties / 10,
        work: maker.times.work(),
        lay_machine,
        lay_hand,
        lift,
        already_out: segment.standing.since().map(|since| {
            let laid = farm.site.zone.day(since);
            Out {
                slots_before: usize::try_from((today - laid).num_days().max(0)).unwrap_or(0) * 2,
                light_before_md: light_since(inputs, block, laid, today),
            }
        }),
        drop_cents: DROP_CENTS,
        stranded_cents: if out { maker.money.stranded } else { 0 },
        previous: maker.before(),
    })
}

/// Family of covers that lie out without a set of their own: no other block could take them.
pub(super) fn own_family(block: &str) -> String {
    format!("{block}'s own")
}

/// First slot of picking, at the early end of its dates, earlier by what a cover brings ripeness forward.
fn pick_slot(block: &Block, earliest: NaiveDate, today: NaiveDate) -> usize {
    let ripe = earliest - Days::new(u64::from(block.cover_advance_days));
    usize::try_from((ripe - today).num_days().max(0)).unwrap_or(0) * 2
}

struct Maker<'a> {
    inputs: &'a Inputs<'a>,
    block: &'a Block,
    site: &'a Site,
    crew_time: &'a [i64],
    today: NaiveDate,
    metres: f64,
    times: Times,
    money: Money,
    pick_slot: Option<usize>,
    id: String,
    /// Slots shut by black-outs, for laying, lifting and folding.
    shut: [OnceCell<Vec<bool>>; 3],
}

impl Maker<'_> {
    fn before(&self) -> Option<Yesterday> {
        let before = self.inputs.before.get(&self.id)?;
        Some(Yesterday {
            lay: before.lay.and_then(|when| slot_of(self.today, when)),
            lift: before.lift.and_then(|when| slot_of(self.today, when)),
        })
    }

    /// Whether a black-out leaves too little of a slot for this job.
    fn is_shut(&self, job: Job, slot: usize) -> bool {
        let [lay, lift, fold] = &self.shut;
        let cell = match job {
            Job::Lay => lay,
            Job::Fold => fold,
            Job::Lift | Job::Check | Job::Redry => lift,
        };
        let shut = cell.get_or_init(|| (0..SLOTS).map(|slot| self.shuts(job, slot)).collect());
        shut.get(slot).copied().unwrap_or(true)
    }

    fn shuts(&self, job: Job, slot: usize) -> bool {
        let when = half_day(self.today, slot);
        let (from, to) = crew_hours(self.inputs.farm, when.day, when.half);
        let mut lost = TimeDelta::zero();
        for black in &self.inputs.farm.blackouts {
            if black.forbids(&self.block.id, job) && black.from < to && from < black.to {
                lost += black.to.min(to) - black.from.max(from);
            }
        }
        lost > TimeDelta::zero() && (to - from) - lost < LEAST_WORK
    }

    /// Whether work booked at a chance fits a slot alone.
    fn fits(&self, work: crate::plan::season::case::Seconds, chance: i64, slot: usize) -> bool {
        let seconds = self.crew_time.get(slot).copied().unwrap_or(0);
        let pool = &self.inputs.farm;
        let people = seconds * i64::from(pool.crew.people);
        let machines = seconds * i64::try_from(pool.machines.len()).unwrap_or(0);
        let booked = |work: i64| (1000 * work + chance - 1).div_euclid(chance.max(1));
        seconds > 0 && booked(work.people_s) <= people && booked(work.machine_s) <= machines
    }

    /// Running sum of what holding the lot costs before a slot \[cents\].
    fn held(&self, slot: usize) -> i64 {
        let sum: i64 = self.site.hold_cents_per_km.iter().take(slot).sum();
        whole(real(sum) * self.metres / 1000.0)
    }

    fn lay_span(&self) -> std::ops::Range<usize> {
        let pick = self.pick_slot.unwrap_or(0);
        pick.saturating_sub(LAY_BEFORE)..(pick + 1).saturating_sub(LEAST_EXPOSURE)
    }

    fn lays(&self, machine: bool) -> Vec<LaySlot> {
        let work = if machine {
            self.times.lay_machine.unwrap_or(self.times.lay_hand)
        } else {
            self.times.lay_hand
        };
        let before = self.before().and_then(|before| before.lay);
        let cost = |slot: usize, chance: i64| {
            let call_out = whole((1.0 - real(chance) / 1000.0) * CALL_OUT_SHARE * self.money.call_out);
            self.money.work(work) + call_out + costs::moved(slot, before) - self.held(slot)
        };
        self.lay_span()
            .filter_map(|slot| Some((slot, *self.site.p_lay.get(slot)?)))
            .filter(|(slot, chance)| {
                *chance >= LEAST_CHANCE && !self.is_shut(Job::Lay, *slot) && self.fits(work, *chance, *slot)
            })
            .map(|(slot, chance)| LaySlot(slot, cost(slot, chance)))
            .collect()
    }

    fn lifts(&self, standing: Standing) -> Vec<LiftSlot> {
        let Some(pick) = self.pick_slot else {
            return self.lifts_without_a_date();
        };
        let before = self.before().and_then(|before| before.lift);
        let mut found = Vec::new();
        let first = pick.saturating_sub(LIFT_BEFORE);
        let risk = self.risk(first, pick);
        if !matches!(standing, Standing::Folded { .. }) || pick > 0 {
            for slot in first..pick.min(SLOTS) {
                let chance = self.site.p_lift.get(slot).copied().unwrap_or(0);
                if chance < LEAST_CHANCE || self.is_shut(Job::Lift, slot) || !self.fits(self.times.lift, chance, slot) {
                    continue;
                }
                let risk = risk.get(slot - first).copied().unwrap_or(0.0);
                let cost =
                    self.money.work(self.times.lift) + whole(risk) + costs::moved(slot, before) + self.held(slot);
                found.push(LiftSlot(slot, Kind::Roll, cost));
            }
        }
        if !matches!(standing, Standing::Folded { .. }) {
            let mut folds: Vec<usize> = (0..=pick.min(SLOTS - 1))
                .rev()
                .filter(|slot| self.fits(self.times.fold, 1000, *slot) && !self.is_shut(Job::Fold, *slot))
                .take(FOLD_SLOTS)
                .collect();
            if folds.is_empty() {
                // Picking is upon us: the next working slots must do.
                folds = (0..SLOTS)
                    .filter(|slot| self.fits(self.times.fold, 1000, *slot) && !self.is_shut(Job::Fold, *slot))
                    .take(FOLD_SLOTS)
                    .collect();
            }
            found.extend(
                folds
                    .into_iter()
                    .map(|slot| LiftSlot(slot, Kind::Fold, self.money.fold + self.held(slot))),
            );
        }
        found.sort_by_key(|LiftSlot(slot, kind, _)| (*slot, *kind));
        found
    }

    /// Picking is over or not known: what lies out may come up on any good half-day of the coming weeks.
    fn lifts_without_a_date(&self) -> Vec<LiftSlot> {
        let cost = |slot: usize| self.money.work(self.times.lift) + self.held(slot);
        (0..2 * LIFT_BEFORE)
            .filter(|slot| {
                let chance = self.site.p_lift.get(*slot).copied().unwrap_or(0);
                chance >= LEAST_CHANCE && !self.is_shut(Job::Lift, *slot) && self.fits(self.times.lift, chance, *slot)
            })
            .map(|slot| LiftSlot(slot, Kind::Roll, cost(slot)))
            .collect()
    }

    /// Expected extra cost of planning the lift for each slot from `first` to picking \[cents\], backward from picking:
    /// if a slot fails, the next one or the folding follows.
    fn risk(&self, first: usize, pick: usize) -> Vec<f64> {
        let fold = real(self.money.fold);
        let mut risk = vec![fold; pick.min(SLOTS).saturating_sub(first) + 1];
        let mut after = fold;
        for slot in (first..pick.min(SLOTS)).rev() {
            let chance = self.site.p_lift.get(slot).copied().unwrap_or(0);
            let shut = self.is_shut(Job::Lift, slot) || !self.fits(self.times.lift, chance, slot);
            if !shut {
                let share = real(chance) / 1000.0;
                let missed = CALL_OUT_SHARE * self.money.call_out + after.min(fold);
                after = (1.0 - share) * missed + share * self.money.damp;
            }
            if let Some(risk) = risk.get_mut(slot - first) {
                *risk = after;
            }
        }
        risk
    }

    /// Why no slot is left for laying, by dropping one condition after the other.
    fn why_no_lay(&self) -> WhyNot {
        let works = |slot: &usize| {
            [
                self.times.lay_machine.unwrap_or(self.times.lay_hand),
                self.times.lay_hand,
            ]
            .iter()
            .any(|work| self.fits(*work, 1000, *slot))
        };
        let span = || self.lay_span().filter(|slot| *slot < SLOTS);
        if span().next().is_none() {
            WhyNot::TooLate
        } else if !span().any(|slot| works(&slot)) {
            WhyNot::NoCrew
        } else if !span().filter(works).any(|slot| !self.is_shut(Job::Lay, slot)) {
            WhyNot::Blackouts
        } else {
            WhyNot::Weather
        }
    }
}
