//! What a plan of the season is worth, to the cent, and everything it asks for that is not there.
//!
//! Written for reading, apart from the solver: each rule stands once, in the order in which planners state them.

use std::collections::BTreeMap;
use std::ops::Range;

use super::Checked;
use super::case::{Kind, Lot, Mode};
use super::colour::{Sums, worth};
use super::schedule::{Entry, Schedule};
use super::violation::{Resource, Violation};

/// A plan weighed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scored {
    /// Worth of the plan \[cents\]; a lot with a job that is not offered counts as left out.
    pub objective_cents: i64,
    /// What the plan asks for and cannot have; empty for a sound plan.
    pub violations: Vec<Violation>,
}

/// Seconds to book for `work_s` seconds of work in a slot that is good with `chance` per mille; `None` if it never is.
pub fn booked(work_s: i64, chance: i64) -> Option<i64> {
    (chance > 0).then(|| (1000 * work_s + chance - 1) / chance)
}

/// What the lots ask for, pool by pool.
struct Ledger<'a> {
    people: Vec<BTreeMap<usize, i64>>,
    machine: Vec<BTreeMap<usize, i64>>,
    cover: BTreeMap<(usize, &'a str), BTreeMap<usize, i64>>,
    /// Pool, slot and lot of every job.
    jobs: Vec<(usize, usize, &'a str)>,
    /// Lot and slots of every cover.
    lying: Vec<(&'a Lot, Range<usize>)>,
}

/// Weighs a plan.
pub fn score(case: &Checked, plan: &Schedule) -> Scored {
    let sums = Sums::of_sites(case);
    let pools = case.pools.len();
    let mut ledger = Ledger {
        people: vec![BTreeMap::new(); pools],
        machine: vec![BTreeMap::new(); pools],
        cover: BTreeMap::new(),
        jobs: Vec::new(),
        lying: Vec::new(),
    };
    let mut scored = Scored {
        objective_cents: 0,
        violations: Vec::new(),
    };
    for lot in &case.lots {
        let entry = match plan.0.get(&lot.id) {
            Some(entry) => *entry,
            None => {
                scored.violations.push(Violation::Forgotten { lot: lot.id.clone() });
                None
            }
        };
        let worth = entry.and_then(|entry| covered(case, &sums, lot, entry, &mut ledger, &mut scored.violations));
        scored.objective_cents += worth.unwrap_or_else(|| left(case, lot, &mut ledger));
    }
    for id in plan.0.keys().filter(|id| !case.lots.iter().any(|lot| lot.id == **id)) {
        scored.violations.push(Violation::Stranger { lot: id.clone() });
    }
    ledger.compare(case, &mut scored.violations);
    scored
}

/// A lot that is left uncovered, or never lifted.
fn left<'a>(case: &Checked, lot: &'a Lot, ledger: &mut Ledger<'a>) -> i64 {
    if lot.already_out.is_none() {
        return -lot.drop_cents;
    }
    ledger.checks(case, lot, 0..case.slots);
    ledger.lie(case, lot, 0..case.slots);
    -lot.stranded_cents
}

/// A lot that is covered: its profit, or `None` if one of its jobs is not offered.
fn covered<'a>(
    case: &Checked,
    sums: &[Sums],
    lot: &'a Lot,
    entry: Entry,
    ledger: &mut Ledger<'a>,
    violations: &mut Vec<Violation>,
) -> Option<i64> {
    let (sums, site) = (sums.get(lot.site)?, case.sites.get(lot.site)?);
    let named = |slot: usize| (slot, case.slot_name(slot));
    let refuse = |job, slot: Option<usize>| Violation::NotOffered {
        lot: lot.id.clone(),
        job,
        slot: slot.map(named),
    };

    let job = match entry.kind {
        Kind::Roll => "rolling up",
        Kind::Fold => "folding aside",
    };
    let lift_chance = match entry.kind {
        Kind::Roll => site.p_lift.get(entry.lift).copied().unwrap_or(0),
        Kind::Fold => 1000,
    };
    let offered = lot
        .lift
        .iter()
        .find(|lift| (lift.0, lift.1) == (entry.lift, entry.kind));
    let lift = offered.and_then(|lift| Some((lift.2, Booking::of(lot.lift_work(entry.kind), lift_chance)?)));
    if lift.is_none() {
        violations.push(refuse(job, Some(entry.lift)));
    }

    // First slot with a check, first slot of the cover, light and exposure before the horizon, cost, booking.
    let laid = match (lot.already_out, entry.lay) {
        (Some(out), lay) => {
            if lay.is_some() || entry.mode.is_some() {
                violations.push(Violation::LiesOut { lot: lot.id.clone() });
            }
            let slots = i64::try_from(out.slots_before + entry.lift).unwrap_or(i64::MAX);
            Some((0, 0, out.light_before_md, slots, 0, None))
        }
        (None, lay) => {
            let mode = entry.mode.unwrap_or(Mode::LayMachine);
            let offered = lay.and_then(|slot| lot.lay_slots(mode).iter().find(|lay| lay.0 == slot));
            let laid = offered.and_then(|lay| {
                let booking = Booking::of(lot.lay_work(mode), site.p_lay.get(lay.0).copied().unwrap_or(0))?;
                let slots = i64::try_from(entry.lift).ok()? - i64::try_from(lay.0).ok()?;
                Some((lay.0 + 1, lay.0, 0, slots, lay.1, Some(booking)))
            });
            if laid.is_none() || entry.mode.is_none() {
                violations.push(refuse(
                    match mode {
                        Mode::LayMachine => "laying by machine",
                        Mode::LayHand => "laying by hand",
                    },
                    lay,
                ));
            }
            laid
        }
    };
    let ((lift_cost, lift_booking), (check_from, cover_from, light_before, slots, lay_cost, lay_booking)) =
        (lift?, laid?);
    let least = lot.min_exposure_slots;
    if slots < i64::try_from(least).unwrap_or(i64::MAX) {
        violations.push(Violation::Exposure {
            lot: lot.id.clone(),
            slots,
            least,
        });
    }
    if let Some(booking) = lay_booking {
        ledger.book(lot, cover_from, booking);
    }
    ledger.book(lot, entry.lift, lift_booking);
    ledger.checks(case, lot, check_from..entry.lift);
    ledger.lie(
        case,
        lot,
        cover_from..(entry.lift + case.lag(entry.kind)).min(case.slots),
    );
    let light = light_before + sums.light_between(check_from.min(entry.lift), entry.lift);
    Some(worth(&case.curve, lot.value_cents, light) - lay_cost - lift_cost)
}

#[derive(Clone, Copy)]
struct Booking {
    people: i64,
    machine: i64,
}

impl Booking {
    fn of(work: super::case::Seconds, chance: i64) -> Option<Self> {
        Some(Self {
            people: booked(work.people_s, chance)?,
            machine: booked(work.machine_s, chance)?,
        })
    }
}

impl<'a> Ledger<'a> {
    fn book(&mut self, lot: &'a Lot, slot: usize, booking: Booking) {
        if let Some(people) = self.people.get_mut(lot.pool) {
            *people.entry(slot).or_default() += booking.people;
        }
        if let Some(machine) = self.machine.get_mut(lot.pool) {
            *machine.entry(slot).or_default() += booking.machine;
        }
        self.jobs.push((lot.pool, slot, &lot.id));
    }

    /// Tie checks on the working slots of `range`.
    fn checks(&mut self, case: &Checked, lot: &Lot, range: Range<usize>) {
        let (Some(pool), Some(people)) = (case.pools.get(lot.pool), self.people.get_mut(lot.pool)) else {
            return;
        };
        for slot in range.filter(|slot| pool.people_cap_s.get(*slot).is_some_and(|there| *there > 0)) {
            *people.entry(slot).or_default() += lot.check_s;
        }
    }

    fn lie(&mut self, case: &Checked, lot: &'a Lot, range: Range<usize>) {
        let cover = self.cover.entry((lot.pool, &lot.family)).or_default();
        for slot in range.clone().filter(|slot| *slot < case.slots) {
            *cover.entry(slot).or_default() += lot.metres;
        }
        self.lying.push((lot, range));
    }

    fn compare(&self, case: &Checked, violations: &mut Vec<Violation>) {
        let mut over = |resource: Resource, place: usize, pool: &str, slot: usize, used: i64, there: i64| {
            if used > there {
                violations.push(Violation::Overbooked {
                    lots: self.lots_at(&resource, place, slot),
                    resource,
                    pool: pool.to_owned(),
                    slot: (slot, case.slot_name(slot)),
                    used,
                    there,
                });
            }
        };
        for (place, pool) in case.pools.iter().enumerate() {
            let books = [
                (Resource::People, &self.people, &pool.people_cap_s),
                (Resource::Machine, &self.machine, &pool.machine_cap_s),
            ];
            for (resource, used, there) in books {
                for (slot, used) in used.get(place).into_iter().flatten() {
                    let there = there.get(*slot).copied().unwrap_or(0);
                    over(resource.clone(), place, &pool.id, *slot, *used, there);
                }
            }
            for (family, stock) in &pool.stock_m {
                for (slot, used) in self.cover.get(&(place, family.as_str())).into_iter().flatten() {
                    over(Resource::Cover(family.clone()), place, &pool.id, *slot, *used, *stock);
                }
            }
        }
    }

    fn lots_at(&self, resource: &Resource, pool: usize, slot: usize) -> Vec<String> {
        match resource {
            Resource::People | Resource::Machine => {
                let there = self.jobs.iter().filter(|job| (job.0, job.1) == (pool, slot));
                there.map(|job| job.2.to_owned()).collect()
            }
            Resource::Cover(family) => {
                let there = self
                    .lying
                    .iter()
                    .filter(|(lot, range)| lot.pool == pool && lot.family == *family && range.contains(&slot));
                there.map(|(lot, _)| lot.id.clone()).collect()
            }
        }
    }
}
