//! What is still free in each slot of a pool, what is done with each lot, and the search for a lot's best place.

#![expect(clippy::indexing_slicing, reason = "slots and lots come from the same yard")]

use super::prices::LotPrices;
use super::yard::{Choice, NEVER, Yard, YardLot};

/// The bookings of a pool.
#[derive(Debug, Clone)]
pub(super) struct Board<'a> {
    yard: &'a Yard,
    people: Vec<i64>,
    machine: Vec<i64>,
    /// Free metres, family after family.
    cover: Vec<i64>,
    /// What is done with each lot; `None` while it is taken off the board.
    choice: Vec<Option<Choice>>,
    /// Profit of all lots on the board.
    pub(super) total: f64,
    /// First slot from here on in which no tie check, or no cover, fits.
    check_reach: Vec<usize>,
    cover_reach: Vec<usize>,
    fitting: Vec<(usize, usize, f64, usize)>,
}

/// How much of each thing a lot lacks for a pair of its ways; 0 where there is enough.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Lack {
    /// Most people-seconds in one slot, and that slot.
    pub(super) people: (i64, usize),
    /// Most machine-seconds in one slot.
    pub(super) machine: (i64, usize),
    /// Most metres of cover in one slot.
    pub(super) cover: (i64, usize),
}

impl<'a> Board<'a> {
    /// Every lot left as it is.
    pub(super) fn new(yard: &'a Yard) -> Self {
        let cover = yard.stock.iter().flat_map(|stock| vec![*stock; yard.slots]).collect();
        let mut board = Self {
            yard,
            people: yard.people.clone(),
            machine: yard.machine.clone(),
            cover,
            choice: vec![None; yard.lots.len()],
            total: 0.0,
            check_reach: vec![0; yard.slots + 1],
            cover_reach: vec![0; yard.slots + 1],
            fitting: Vec::new(),
        };
        for lot in 0..yard.lots.len() {
            board.put(lot, None);
        }
        board
    }

    /// What is done with each lot.
    pub(super) fn choices(&self) -> Vec<Choice> {
        self.choice.iter().map(|choice| choice.flatten()).collect()
    }

    pub(super) fn choice(&self, lot: usize) -> Choice {
        self.choice[lot].flatten()
    }

    /// Puts a lot that is off the board on it.
    pub(super) fn put(&mut self, lot: usize, choice: Choice) {
        self.book(lot, choice, -1);
        self.choice[lot] = Some(choice);
        self.total += self.yard.lots[lot].profit(choice);
    }

    /// Takes a lot off the board.
    pub(super) fn take(&mut self, lot: usize) -> Choice {
        let choice = self.choice[lot].take().flatten();
        self.book(lot, choice, 1);
        self.total -= self.yard.lots[lot].profit(choice);
        choice
    }

    /// Adds what `choice` uses, `sign` times, to what is free.
    fn book(&mut self, lot: usize, choice: Choice, sign: i64) {
        let place = &self.yard.lots[lot];
        let (from, checks, cover_end) = match choice {
            Some((start, end)) => {
                let (start, end) = (&place.starts[start], &place.ends[end]);
                if let Some((slot, _)) = start.lay {
                    self.people[slot] += sign * start.people;
                    self.machine[slot] += sign * start.machine;
                }
                self.people[end.slot] += sign * end.people;
                self.machine[end.slot] += sign * end.machine;
                (start.cover_from, start.check_from..end.slot, end.free)
            }
            None if place.lies_out => (0, 0..self.yard.slots, self.yard.slots),
            None => return,
        };
        for slot in checks {
            if self.yard.people[slot] > 0 {
                self.people[slot] += sign * place.check_s;
            }
        }
        let family = place.family * self.yard.slots;
        for free in &mut self.cover[family + from..family + cover_end] {
            *free += sign * place.metres;
        }
    }

    /// The best thing to do with a lot that is off the board, by profit less `weight` times the prices, and that
    /// score; `None` if nothing fits.
    pub(super) fn best(&mut self, lot: usize, weight: f64, prices: &LotPrices) -> Option<(Choice, f64)> {
        let place = &self.yard.lots[lot];
        let mut best = self.leave(lot, weight, prices);
        let mut score = best.map_or(NEVER, |best| best.1);
        self.reach(place, place.first, place.last);
        self.fit_ends(place, weight, prices);
        let Some(cheapest) = self.fitting.iter().map(|end| end.2).reduce(f64::min) else {
            return best;
        };
        for (a, start) in place.starts.iter().enumerate() {
            let base = weight * prices.starts[a];
            if place.top[a] - base - cheapest <= score {
                continue;
            }
            if let Some((slot, _)) = start.lay
                && (self.people[slot] < start.people || self.machine[slot] < start.machine)
            {
                continue;
            }
            // A laying in the last slot has no slot behind it to check.
            let check_reach = self.check_reach[start.check_from.min(place.last)];
            let cover_reach = self.cover_reach[start.cover_from];
            let profits = place.profits(a);
            for (slot, free, price, b) in &self.fitting {
                let worth = profits[*b] - base - price;
                if worth > score && *slot <= check_reach && *free <= cover_reach {
                    score = worth;
                    best = Some((Some((a, *b)), worth));
                }
            }
        }
        best
    }

    /// Whether one pair fits, the lot being off the board.
    pub(super) fn fits(&self, lot: usize, (a, b): (usize, usize)) -> bool {
        let place = &self.yard.lots[lot];
        let (start, end) = (&place.starts[a], &place.ends[b]);
        if place.profits(a)[b] <= NEVER || self.people[end.slot] < end.people || self.machine[end.slot] < end.machine {
            return false;
        }
        if let Some((slot, _)) = start.lay
            && (self.people[slot] < start.people || self.machine[slot] < start.machine)
        {
            return false;
        }
        let family = place.family * self.yard.slots;
        let covered = self.cover[family + start.cover_from..family + end.free]
            .iter()
            .all(|free| *free >= place.metres);
        covered && (start.check_from..end.slot).all(|slot| self.check_fits(place, slot))
    }

    /// What a lot that is off the board lacks for a pair.
    pub(super) fn lack(&self, lot: usize, (a, b): (usize, usize)) -> Lack {
        let place = &self.yard.lots[lot];
        let (start, end) = (&place.starts[a], &place.ends[b]);
        let mut lack = Lack::default();
        let mut more = |of: fn(&mut Lack) -> &mut (i64, usize), wanted: i64, free: i64, slot: usize| {
            let most = of(&mut lack);
            if wanted - free > most.0 {
                *most = (wanted - free, slot);
            }
        };
        for (slot, people, machine) in start
            .lay
            .iter()
            .map(|lay| (lay.0, start.people, start.machine))
            .chain([(end.slot, end.people, end.machine)])
        {
            more(|lack| &mut lack.people, people, self.people[slot], slot);
            more(|lack| &mut lack.machine, machine, self.machine[slot], slot);
        }
        for slot in (start.check_from..end.slot).filter(|slot| self.yard.people[*slot] > 0) {
            more(|lack| &mut lack.people, place.check_s, self.people[slot], slot);
        }
        let family = place.family * self.yard.slots;
        for slot in start.cover_from..end.free {
            more(|lack| &mut lack.cover, place.metres, self.cover[family + slot], slot);
        }
        lack
    }

    fn check_fits(&self, place: &YardLot, slot: usize) -> bool {
        self.yard.people[slot] == 0 || self.people[slot] >= place.check_s
    }

    /// Leaving is always possible, unless the cover lies out: then it stays, and that must fit.
    fn leave(&mut self, lot: usize, weight: f64, prices: &LotPrices) -> Option<(Choice, f64)> {
        let place = &self.yard.lots[lot];
        if place.lies_out {
            self.reach(place, 0, self.yard.slots);
            if self.check_reach[0] < self.yard.slots || self.cover_reach[0] < self.yard.slots {
                return None;
            }
        }
        Some((None, place.leave - weight * prices.leave))
    }

    /// Fills the reaches for slots from `first` to `last`.
    fn reach(&mut self, place: &YardLot, first: usize, last: usize) {
        let family = place.family * self.yard.slots;
        let (mut check, mut cover) = (last, last);
        self.check_reach[last] = last;
        self.cover_reach[last] = last;
        for slot in (first..last).rev() {
            if self.yard.people[slot] > 0 && self.people[slot] < place.check_s {
                check = slot;
            }
            if self.cover[family + slot] < place.metres {
                cover = slot;
            }
            self.check_reach[slot] = check;
            self.cover_reach[slot] = cover;
        }
    }

    /// Collects the ends whose own slot has room.
    fn fit_ends(&mut self, place: &YardLot, weight: f64, prices: &LotPrices) {
        self.fitting.clear();
        for (b, end) in place.ends.iter().enumerate() {
            if self.people[end.slot] >= end.people && self.machine[end.slot] >= end.machine {
                self.fitting.push((end.slot, end.free, weight * prices.ends[b], b));
            }
        }
    }
}
