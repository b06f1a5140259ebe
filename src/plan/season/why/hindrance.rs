//! Why a lot cannot be covered in time, and the least change that would make it possible.

#![expect(clippy::indexing_slicing, reason = "places were checked with the case")]

use serde::Serialize;

use super::Subject;
use crate::plan::season::board::Lack;
use crate::plan::season::case::{Kind, Mode};
use crate::plan::season::score::booked;
use crate::plan::season::yard::NEVER;

/// What keeps a lot uncovered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case", tag = "what")]
pub enum Hindrance {
    /// No slot is offered for laying: closed, unlikely, or too late.
    NoLaySlot,
    /// No slot is offered for lifting.
    NoLiftSlot,
    /// The family has fewer metres than the lot needs.
    NoStock {
        /// Metres that are missing.
        lacking_m: i64,
        /// The family.
        family: String,
    },
    /// No crew, or no machine, is large enough for the job in any slot that is offered.
    TooMuchWork {
        /// What is short.
        shared: Shared,
        /// Least seconds that are missing in one slot.
        lacking: i64,
        /// That slot.
        slot: usize,
    },
    /// From the first laying to the last lifting there are too few slots.
    TooShort {
        /// Slots there are.
        slots: i64,
        /// Slots there must be.
        least: usize,
    },
    /// Other lots have what it needs.
    Taken {
        /// What would have to grow: each alone if there is one, else all together.
        changes: Vec<Change>,
        /// What covering it would earn then \[cents\], more than leaving it.
        gain_cents: i64,
        /// Whether all of the changes are needed.
        together: bool,
    },
    /// It would fit, but colour does not pay for the work.
    NotWorthIt {
        /// What covering would lose against leaving it \[cents\].
        loss_cents: i64,
    },
}

/// What lots share.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Shared {
    /// People.
    Crew,
    /// Machines.
    Machine,
    /// Metres of cover.
    Cover,
}

/// Something that would have to grow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Change {
    /// What.
    pub shared: Shared,
    /// By how much: seconds in the slot, or metres.
    pub lacking: i64,
    /// The slot that lacks most.
    pub slot: usize,
}

const SHARED: [Shared; 3] = [Shared::Crew, Shared::Machine, Shared::Cover];

impl Lack {
    fn of(&self, shared: Shared) -> (i64, usize) {
        match shared {
            Shared::Crew => self.people,
            Shared::Machine => self.machine,
            Shared::Cover => self.cover,
        }
    }
}

impl Subject<'_> {
    pub(super) fn hindrance(&self) -> Hindrance {
        self.in_the_case().unwrap_or_else(|| self.in_the_plan())
    }

    /// What would keep it uncovered if it were the only lot.
    fn in_the_case(&self) -> Option<Hindrance> {
        let (case, lot) = (self.case, self.lot);
        let (pool, site) = (&case.pools[lot.pool], &case.sites[lot.site]);
        let lies_out = lot.already_out.is_some();
        let lays = [Mode::LayMachine, Mode::LayHand].map(|mode| lot.lay_slots(mode));
        if !lies_out && lays.iter().all(|slots| slots.is_empty()) {
            return Some(Hindrance::NoLaySlot);
        }
        let last_lift = lot.lift.iter().map(|lift| lift.0).max();
        let Some(last_lift) = last_lift else {
            return Some(Hindrance::NoLiftSlot);
        };
        let signed = |slot: usize| i64::try_from(slot).unwrap_or(i64::MAX);
        let begin = lot.already_out.map(|out| -signed(out.slots_before));
        let first_lay = lays
            .iter()
            .flat_map(|slots| slots.iter())
            .map(|lay| signed(lay.0))
            .min();
        let slots = signed(last_lift) - begin.or(first_lay)?;
        if slots < signed(lot.min_exposure_slots) {
            return Some(Hindrance::TooShort {
                slots,
                least: lot.min_exposure_slots,
            });
        }
        let stock = pool.stock_m.get(&lot.family).copied().unwrap_or(0);
        if stock < lot.metres {
            return Some(Hindrance::NoStock {
                lacking_m: lot.metres - stock,
                family: lot.family.clone(),
            });
        }
        let laying = [Mode::LayMachine, Mode::LayHand].into_iter().flat_map(|mode| {
            lot.lay_slots(mode)
                .iter()
                .map(move |lay| (lay.0, lot.lay_work(mode), site.p_lay[lay.0]))
        });
        let lifting = lot.lift.iter().map(|lift| {
            let chance = if lift.1 == Kind::Roll {
                site.p_lift[lift.0]
            } else {
                1000
            };
            (lift.0, lot.lift_work(lift.1), chance)
        });
        let ways = [(!lies_out).then(|| laying.collect::<Vec<_>>()), Some(lifting.collect())];
        for jobs in ways.into_iter().flatten() {
            let short = |(slot, work, chance): &(usize, crate::plan::season::case::Seconds, i64)| {
                let people = booked(work.people_s, *chance)? - pool.people_cap_s[*slot];
                let machine = booked(work.machine_s, *chance)? - pool.machine_cap_s[*slot];
                Some((
                    people.max(machine),
                    if machine > people {
                        Shared::Machine
                    } else {
                        Shared::Crew
                    },
                    *slot,
                ))
            };
            match jobs.iter().filter_map(short).min() {
                None => {
                    return Some(if lies_out {
                        Hindrance::NoLiftSlot
                    } else {
                        Hindrance::NoLaySlot
                    });
                }
                Some((lacking, shared, slot)) if lacking > 0 => {
                    return Some(Hindrance::TooMuchWork { shared, lacking, slot });
                }
                Some(_) => {}
            }
        }
        None
    }

    /// What the rest of the plan takes away: each thing is dropped alone, then all of them.
    fn in_the_plan(&self) -> Hindrance {
        let lot = &self.yard.lots[self.at];
        let mut best = lot.leave;
        let mut loss = NEVER;
        let mut alone: [Option<(f64, (i64, usize))>; 3] = [None; 3];
        let mut together: Option<(f64, Lack)> = None;
        for a in 0..lot.starts.len() {
            for (b, profit) in lot.profits(a).iter().enumerate().filter(|(_, profit)| **profit > NEVER) {
                loss = loss.max(*profit);
                if *profit <= lot.leave {
                    continue;
                }
                let lack = self.board.lack(self.at, (a, b));
                let short: Vec<usize> = (0..3).filter(|k| lack.of(SHARED[*k]).0 > 0).collect();
                match short[..] {
                    [] => best = best.max(*profit),
                    [only] => {
                        let this = (*profit, lack.of(SHARED[only]));
                        // The least change, and of equal ones the one that earns most.
                        let key = |one: &(f64, (i64, usize))| (one.1.0, -self.cents(one.0));
                        if alone[only].is_none_or(|known| key(&this) < key(&known)) {
                            alone[only] = Some(this);
                        }
                    }
                    _ => {
                        if together.is_none_or(|known| *profit > known.0) {
                            together = Some((*profit, lack));
                        }
                    }
                }
            }
        }
        let change = |shared: Shared, (lacking, slot): (i64, usize)| Change { shared, lacking, slot };
        let gain = |profit: f64| self.cents(profit - lot.leave);
        let each: Vec<Change> = SHARED
            .into_iter()
            .zip(alone)
            .filter_map(|(shared, found)| Some(change(shared, found?.1)))
            .collect();
        if let Some(most) = alone.iter().flatten().map(|found| found.0).reduce(f64::max) {
            return Hindrance::Taken {
                changes: each,
                gain_cents: gain(most),
                together: false,
            };
        }
        if let Some((profit, lack)) = together {
            let changes = SHARED
                .into_iter()
                .filter(|shared| lack.of(*shared).0 > 0)
                .map(|shared| change(shared, lack.of(shared)));
            return Hindrance::Taken {
                changes: changes.collect(),
                gain_cents: gain(profit),
                together: true,
            };
        }
        if loss <= NEVER {
            return Hindrance::TooShort {
                slots: 0,
                least: self.lot.min_exposure_slots,
            };
        }
        Hindrance::NotWorthIt {
            loss_cents: self.cents(lot.leave - loss),
        }
    }
}
