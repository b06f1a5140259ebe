//! One pool made ready for the solver: its lots in an order that no name decides, and the profit of every pair of a
//! laying and a lifting.
//!
//! Cents stand as `f64` here: they are whole numbers far below 2^53, so sums of them are exact, and scores that mix
//! them with prices need no conversion in the innermost loop.

#![expect(clippy::indexing_slicing, reason = "places come from the loops over the same lists")]

use super::Checked;
use super::case::{Kind, Lot, Mode};
use super::colour::{Sums, worth};
use super::schedule::Entry;
use super::score::booked;

/// Profit of a pair that is not allowed.
pub(super) const NEVER: f64 = f64::NEG_INFINITY;

/// A pool as the solver sees it.
#[derive(Debug)]
pub(super) struct Yard {
    pub(super) slots: usize,
    pub(super) people: Vec<i64>,
    pub(super) machine: Vec<i64>,
    /// Metres of each family, in the order of their names.
    pub(super) stock: Vec<i64>,
    /// Lots by picking slot, and of those alike in everything but the name by name.
    pub(super) lots: Vec<YardLot>,
}

/// A lot as the solver sees it.
#[derive(Debug)]
pub(super) struct YardLot {
    /// Place in the case.
    pub(super) place: usize,
    pub(super) family: usize,
    pub(super) metres: i64,
    pub(super) check_s: i64,
    pub(super) pick: usize,
    pub(super) lies_out: bool,
    /// Profit of leaving it: minus the cost of dropping or stranding it.
    pub(super) leave: f64,
    pub(super) starts: Vec<Start>,
    pub(super) ends: Vec<End>,
    /// Profit of start `a` with end `b` at `a * ends.len() + b`.
    profit: Vec<f64>,
    /// Best profit of each start.
    pub(super) top: Vec<f64>,
    /// First slot that any start uses, and one behind the last slot that any end uses.
    pub(super) first: usize,
    pub(super) last: usize,
    /// Places of yesterday's start and end.
    pub(super) yesterday: Option<(usize, usize)>,
}

/// A way to begin: a laying, or lying out already.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Start {
    /// Slot and mode; `None` if it lies out already.
    pub(super) lay: Option<(usize, Mode)>,
    /// First slot in which its cover is away.
    pub(super) cover_from: usize,
    /// First slot with a tie check.
    pub(super) check_from: usize,
    pub(super) people: i64,
    pub(super) machine: i64,
    pub(super) cost: i64,
}

/// A way to end: a lifting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct End {
    pub(super) slot: usize,
    pub(super) kind: Kind,
    /// First slot in which the cover can be laid again, at most the end of the horizon.
    pub(super) free: usize,
    pub(super) people: i64,
    pub(super) machine: i64,
    pub(super) cost: i64,
}

/// What is done with a lot: left, or start `a` and end `b`.
pub(super) type Choice = Option<(usize, usize)>;

impl YardLot {
    pub(super) fn profits(&self, start: usize) -> &[f64] {
        let width = self.ends.len();
        &self.profit[start * width..(start + 1) * width]
    }

    pub(super) fn profit(&self, choice: Choice) -> f64 {
        choice.map_or(self.leave, |(start, end)| self.profits(start)[end])
    }

    /// The ways that `entry` names, if they are offered.
    pub(super) fn choice(&self, entry: Entry) -> Option<(usize, usize)> {
        let lay = entry.lay.zip(entry.mode);
        let start = self.starts.iter().position(|start| start.lay == lay)?;
        let end = self
            .ends
            .iter()
            .position(|end| (end.slot, end.kind) == (entry.lift, entry.kind))?;
        Some((start, end))
    }

    pub(super) fn entry(&self, choice: Choice) -> Option<Entry> {
        let (start, end) = choice?;
        let (lay, end) = (self.starts[start].lay, self.ends[end]);
        Some(Entry {
            lay: lay.map(|lay| lay.0),
            mode: lay.map(|lay| lay.1),
            lift: end.slot,
            kind: end.kind,
        })
    }
}

impl Yard {
    /// The pool at `pool`, with its ways to begin and end that fit an otherwise empty slot.
    pub(super) fn of(case: &Checked, pool: usize) -> Self {
        let owner = &case.pools[pool];
        let families: Vec<&String> = owner.stock_m.keys().collect();
        let mut lots: Vec<(usize, &Lot)> = case
            .lots
            .iter()
            .enumerate()
            .filter(|(_, lot)| lot.pool == pool)
            .collect();
        lots.sort_by(|one, other| {
            order(one.1)
                .cmp(&order(other.1))
                .then_with(|| one.1.id.cmp(&other.1.id))
        });
        let sums = Sums::of_sites(case);
        let lots = lots.into_iter().map(|(place, lot)| {
            let family = families.iter().position(|name| **name == lot.family).unwrap_or(0);
            yard_lot(case, &sums[lot.site], place, lot, family)
        });
        Self {
            slots: case.slots,
            people: owner.people_cap_s.clone(),
            machine: owner.machine_cap_s.clone(),
            stock: owner.stock_m.values().copied().collect(),
            lots: lots.collect(),
        }
    }
}

type Order<'a> = (
    usize,
    i64,
    i64,
    i64,
    i64,
    usize,
    Option<(usize, i64)>,
    &'a str,
    Vec<(usize, u8, i64)>,
);

/// What decides the order of lots: all but the name, so that a new order in the file changes nothing.
fn order(lot: &Lot) -> Order<'_> {
    let lays = lot
        .lay_machine
        .iter()
        .map(|lay| (lay.0, 2, lay.1))
        .chain(lot.lay_hand.iter().map(|lay| (lay.0, 3, lay.1)));
    let mut options: Vec<_> = lays
        .chain(lot.lift.iter().map(|lift| (lift.0, u8::from(lift.1), lift.2)))
        .collect();
    options.sort_unstable();
    let out = lot.already_out.map(|out| (out.slots_before, out.light_before_md));
    let least = lot.min_exposure_slots;
    (
        lot.pick_slot,
        lot.metres,
        lot.value_cents,
        lot.check_s,
        lot.drop_cents,
        least,
        out,
        &lot.family,
        options,
    )
}

fn yard_lot(case: &Checked, sums: &Sums, place: usize, lot: &Lot, family: usize) -> YardLot {
    let (starts, ends) = (starts(case, lot), ends(case, lot));
    let mut profit = Vec::with_capacity(starts.len() * ends.len());
    for start in &starts {
        for end in &ends {
            profit.push(pair(case, sums, lot, start, end));
        }
    }
    let width = ends.len().max(1);
    let top = profit
        .chunks(width)
        .map(|row| row.iter().copied().fold(NEVER, f64::max))
        .collect();
    let yesterday = lot.previous.and_then(|was| {
        let fits = |start: &Start| start.lay.is_none_or(|lay| Some(lay.0) == was.lay);
        let end = ends.iter().position(|end| Some(end.slot) == was.lift)?;
        Some((starts.iter().position(fits)?, end))
    });
    YardLot {
        place,
        family,
        metres: lot.metres,
        check_s: lot.check_s,
        pick: lot.pick_slot,
        lies_out: lot.already_out.is_some(),
        leave: -(if lot.already_out.is_some() {
            lot.stranded_cents
        } else {
            lot.drop_cents
        }) as f64,
        first: starts.iter().map(|start| start.cover_from).min().unwrap_or(0),
        last: ends
            .iter()
            .map(|end| end.free.max(end.slot))
            .max()
            .unwrap_or(0)
            .min(case.slots),
        starts,
        ends,
        profit,
        top,
        yesterday,
    }
}

fn pair(case: &Checked, sums: &Sums, lot: &Lot, start: &Start, end: &End) -> f64 {
    let (light_before, slots) = match (lot.already_out, start.lay) {
        (Some(out), _) => (out.light_before_md, out.slots_before + end.slot),
        (None, Some((slot, _))) if slot < end.slot => (0, end.slot - slot),
        (None, _) => return NEVER,
    };
    if slots < lot.min_exposure_slots {
        return NEVER;
    }
    let light = light_before + sums.light_between(start.check_from, end.slot);
    (worth(&case.curve, lot.value_cents, light) - start.cost - end.cost) as f64
}

fn starts(case: &Checked, lot: &Lot) -> Vec<Start> {
    if lot.already_out.is_some() {
        return vec![Start {
            lay: None,
            cover_from: 0,
            check_from: 0,
            people: 0,
            machine: 0,
            cost: 0,
        }];
    }
    let (pool, site) = (&case.pools[lot.pool], &case.sites[lot.site]);
    if pool.stock_m.get(&lot.family).is_none_or(|stock| *stock < lot.metres) {
        return Vec::new();
    }
    let mut starts = Vec::new();
    for mode in [Mode::LayMachine, Mode::LayHand] {
        let work = lot.lay_work(mode);
        for lay in lot.lay_slots(mode) {
            let chance = site.p_lay[lay.0];
            let Some((people, machine)) = booked(work.people_s, chance).zip(booked(work.machine_s, chance)) else {
                continue;
            };
            if people <= pool.people_cap_s[lay.0] && machine <= pool.machine_cap_s[lay.0] {
                let lay_from = Some((lay.0, mode));
                starts.push(Start {
                    lay: lay_from,
                    cover_from: lay.0,
                    check_from: lay.0 + 1,
                    people,
                    machine,
                    cost: lay.1,
                });
            }
        }
    }
    starts.sort_by_key(|start| start.lay);
    starts
}

fn ends(case: &Checked, lot: &Lot) -> Vec<End> {
    let (pool, site) = (&case.pools[lot.pool], &case.sites[lot.site]);
    let mut ends = Vec::new();
    for lift in &lot.lift {
        let (slot, kind, cost) = (lift.0, lift.1, lift.2);
        let work = lot.lift_work(kind);
        let chance = match kind {
            Kind::Roll => site.p_lift[slot],
            Kind::Fold => 1000,
        };
        let Some((people, machine)) = booked(work.people_s, chance).zip(booked(work.machine_s, chance)) else {
            continue;
        };
        if people <= pool.people_cap_s[slot] && machine <= pool.machine_cap_s[slot] {
            let free = (slot + case.lag(kind)).min(case.slots);
            ends.push(End {
                slot,
                kind,
                free,
                people,
                machine,
                cost,
            });
        }
    }
    ends.sort_by_key(|end| (end.slot, end.kind));
    ends
}
