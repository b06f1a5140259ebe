//! The slots a lot may be laid and lifted in, each with its cost.

use std::cell::OnceCell;

use chrono::{Days, NaiveDate, TimeDelta};

use super::costs::{self, Effort, whole};
use super::lots::{Segment, Standing};
use super::sites::light_since;
use super::{Inputs, LEAST_WORK, SLOTS, WhyNot, crew_hours, half_day, slot_of};
use crate::farm::Job;
use crate::farm::block::Block;
use crate::plan::season::case::{Kind, LaySlot, LiftSlot, Lot, Out, Seconds, Site, Yesterday};
use crate::plan::season::colour::Sums;
use crate::plan::season::costs::{LayJob, Rates, RollJob, risk_table};
use crate::plan::season::score::booked;

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
    let rates = costs::rates(farm);
    let effort = Effort::of(farm, &rates, block, segment.rows);
    let maker = Maker {
        inputs,
        block,
        site,
        sums: Sums::of(site),
        crew_time,
        today,
        rates,
        effort,
        pick_slot: segment.pick.map(|pick| pick_slot(block, pick.earliest(today), today)),
        id: format!("{} {}", block.id, segment.rows.first),
        shut: [OnceCell::new(), OnceCell::new(), OnceCell::new()],
    };
    if !out {
        let set = set.ok_or(WhyNot::NoSet)?;
        if whole(set.length.0) < effort.metres {
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
    let (lay_machine, lay_hand) = match (out, effort.machine_lays) {
        (true, _) => (Vec::new(), Vec::new()),
        (false, true) => (maker.lays(effort.work.lay_machine), maker.lays(effort.work.lay_hand)),
        (false, false) => (Vec::new(), maker.lays(effort.work.lay_hand)),
    };
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
        metres: effort.metres,
        pieces: i64::from(segment.rows.count()),
        ties: effort.ties,
        hilly: false,
        value_cents: whole(100.0 * farm.costs.colour_value_per_m * costs::real(effort.metres)),
        pick_slot: maker.pick_slot.unwrap_or(SLOTS).min(SLOTS.saturating_sub(1)),
        min_exposure_slots: LEAST_EXPOSURE,
        check_s: Rates::check_s(effort.ties),
        work: effort.work,
        lay_machine,
        lay_hand,
        lift: maker.lifts(segment.standing),
        already_out: segment.standing.since().map(|since| {
            let laid = farm.site.zone.day(since);
            Out {
                slots_before: usize::try_from((today - laid).num_days().max(0)).unwrap_or(0) * 2,
                light_before_md: light_since(inputs, block, laid, today),
            }
        }),
        drop_cents: rates.drop_cents,
        stranded_cents: if out {
            Rates::stranded_cents(rates.fold_cents(effort.metres, effort.work.fold))
        } else {
            0
        },
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
    sums: Sums,
    crew_time: &'a [i64],
    today: NaiveDate,
    rates: Rates,
    effort: Effort,
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
    fn fits(&self, work: Seconds, chance: i64, slot: usize) -> bool {
        let seconds = self.crew_time.get(slot).copied().unwrap_or(0);
        let farm = self.inputs.farm;
        let people = seconds * i64::from(farm.crew.people);
        let machines = seconds * i64::try_from(farm.machines.len()).unwrap_or(0);
        let within = |work: i64, most: i64| booked(work, chance).is_some_and(|booked| booked <= most);
        seconds > 0 && within(work.people_s, people) && within(work.machine_s, machines)
    }

    /// Whether rolling up can be planned for a slot, and at what chance.
    fn roll_chance(&self, slot: usize) -> Option<i64> {
        let chance = *self.site.p_lift.get(slot)?;
        let open = !self.is_shut(Job::Lift, slot) && self.fits(self.effort.work.lift_machine, chance, slot);
        open.then_some(chance)
    }

    fn lay_span(&self) -> std::ops::Range<usize> {
        let pick = self.pick_slot.unwrap_or(0);
        pick.saturating_sub(LAY_BEFORE)..(pick + 1).saturating_sub(LEAST_EXPOSURE)
    }

    fn lays(&self, work: Seconds) -> Vec<LaySlot> {
        let call_out_cents = self.rates.call_out_cents(i64::from(self.inputs.farm.crew.people));
        let yesterday = self.before().and_then(|before| before.lay);
        self.lay_span()
            .filter_map(|slot| Some((slot, *self.site.p_lay.get(slot)?)))
            .filter(|(slot, chance)| {
                *chance >= LEAST_CHANCE && !self.is_shut(Job::Lay, *slot) && self.fits(work, *chance, *slot)
            })
            .map(|(slot, chance)| {
                let job = LayJob {
                    slot,
                    chance,
                    work,
                    metres: self.effort.metres,
                    // Most bad half-days are seen before anyone leaves.
                    call_out_cents: call_out_cents * self.rates.call_out_share / 1000,
                    yesterday,
                };
                LaySlot(slot, self.rates.lay_cents(&job, &self.sums))
            })
            .collect()
    }

    fn lifts(&self, standing: Standing) -> Vec<LiftSlot> {
        let folded = matches!(standing, Standing::Folded { .. });
        let (first, pick) = match self.pick_slot {
            // Picking is not known or over: what lies out may come up on any good half-day of the coming weeks.
            None => (0, 2 * LIFT_BEFORE),
            // Folded aside it lies out of the pickers' way, and comes up when it can.
            Some(pick) if folded => (0, pick.max(2 * LIFT_BEFORE)),
            Some(pick) => (pick.saturating_sub(LIFT_BEFORE), pick),
        };
        let yesterday = self.before().and_then(|before| before.lift);
        let slots = first..pick.min(SLOTS);
        let shares: Vec<Option<f64>> = slots
            .clone()
            .map(|slot| Some(costs::real(self.roll_chance(slot)?) / 1000.0))
            .collect();
        let risk = risk_table(&shares, self.effort.stakes(self.inputs.farm, &self.rates));
        let rolls = slots.zip(risk).filter_map(|(slot, risk_cents)| {
            let chance = self.roll_chance(slot)?;
            let job = RollJob {
                slot,
                risk_cents,
                work: self.effort.work.lift_machine,
                metres: self.effort.metres,
                yesterday,
            };
            (chance >= LEAST_CHANCE).then(|| LiftSlot(slot, Kind::Roll, self.rates.roll_cents(&job, &self.sums)))
        });
        let mut found: Vec<LiftSlot> = rolls.collect();
        if let (Some(pick), false) = (self.pick_slot, folded) {
            found.extend(self.folds(pick));
        }
        found.sort_by_key(|LiftSlot(slot, kind, _)| (*slot, *kind));
        found
    }

    /// The last working slots up to picking, or the next ones if picking is upon us.
    fn folds(&self, pick: usize) -> Vec<LiftSlot> {
        let open = |slot: &usize| self.fits(self.effort.work.fold, 1000, *slot) && !self.is_shut(Job::Fold, *slot);
        let mut slots: Vec<usize> = (0..=pick.min(SLOTS - 1)).rev().filter(open).take(FOLD_SLOTS).collect();
        if slots.is_empty() {
            slots = (0..SLOTS).filter(open).take(FOLD_SLOTS).collect();
        }
        let fold = self.rates.fold_cents(self.effort.metres, self.effort.work.fold);
        let cost = |slot: usize| fold + self.sums.hold_before(slot, self.effort.metres);
        slots
            .into_iter()
            .map(|slot| LiftSlot(slot, Kind::Fold, cost(slot)))
            .collect()
    }

    /// Why no slot is left for laying, by dropping one condition after the other.
    fn why_no_lay(&self) -> WhyNot {
        let works = |slot: &usize| {
            [self.effort.lay(), self.effort.work.lay_hand]
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
