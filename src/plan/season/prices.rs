//! A price on every hour of people and machines and on every metre of cover, and the proven bound they give.
//!
//! With a price on all that is shared, each lot can choose alone; what the lots would earn so, plus what the whole
//! stock of hours and metres is worth at these prices, can be reached by no plan (Lagrangian relaxation; Geoffrion
//! 1974, from memory). The prices are improved by subgradient steps. The bound is then computed anew in whole
//! numbers, so that no rounding can make it too small.

#![expect(clippy::indexing_slicing, reason = "slots and lots come from the same yard")]

use super::whole::whole_bound;
use super::yard::{Choice, Yard, YardLot};

/// Steps that are made.
const STEPS: usize = 600;
/// Steps without progress after which the step becomes shorter.
const PATIENCE: usize = 12;
/// How much shorter.
const SHORTER: f64 = 0.6;
/// What counts as progress: a share of the bound.
const PROGRESS: f64 = 1e-4;

/// Prices \[cents a second, cents a metre and slot\].
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Prices {
    pub(super) people: Vec<f64>,
    pub(super) machine: Vec<f64>,
    /// Family after family.
    pub(super) cover: Vec<f64>,
}

/// What the ways of one lot cost at the prices; a pair costs its start and its end together.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct LotPrices {
    pub(super) starts: Vec<f64>,
    pub(super) ends: Vec<f64>,
    pub(super) leave: f64,
}

/// Prices, and the most any plan can be worth \[cents\].
#[derive(Debug)]
pub(super) struct Bound {
    pub(super) prices: Prices,
    pub(super) lots: Vec<LotPrices>,
    pub(super) cents: i64,
}

/// Finds prices with a low bound.
pub(super) fn bound(yard: &Yard) -> Bound {
    let free = Prices {
        people: vec![0.0; yard.slots],
        machine: vec![0.0; yard.slots],
        cover: vec![0.0; yard.slots * yard.stock.len()],
    };
    // Of several prices the whole-number bound decides; without prices nothing is shared and the bound is plain.
    let mut best = (free.clone(), f64::INFINITY);
    let (mut prices, mut length, mut stale, mut mark) = (free.clone(), 1.0, 0, f64::INFINITY);
    let mut spare = free;
    for _ in 0..STEPS {
        let value = relaxed(yard, &prices, &mut spare);
        if value < best.1 {
            best = (prices.clone(), value);
        }
        if value < mark - PROGRESS * mark.abs() || mark.is_infinite() {
            (mark, stale) = (value, 0);
        } else {
            stale += 1;
            if stale >= PATIENCE {
                (length, stale) = (length * SHORTER, 0);
            }
        }
        if !step(yard, &mut prices, &spare, length * value) {
            break;
        }
    }
    let (prices, _) = best;
    let lots = yard
        .lots
        .iter()
        .map(|lot| LotPrices::of(yard, lot, &Sums::of(yard, &prices), &prices))
        .collect();
    Bound {
        cents: whole_bound(yard, &prices),
        prices,
        lots,
    }
}

/// The capacities of the rows in the order people, machine, cover, with their price and what is spare.
fn rows<'a>(
    yard: &'a Yard,
    prices: &'a mut Prices,
    spare: &'a Prices,
) -> impl Iterator<Item = (f64, &'a mut f64, f64)> + 'a {
    let slots = yard.slots;
    let cover = (0..slots * yard.stock.len()).map(move |row| yard.stock[row / slots]);
    let there = yard
        .people
        .iter()
        .copied()
        .chain(yard.machine.iter().copied())
        .chain(cover);
    let price = prices
        .people
        .iter_mut()
        .chain(&mut prices.machine)
        .chain(&mut prices.cover);
    let left = spare.people.iter().chain(&spare.machine).chain(&spare.cover);
    there
        .zip(price)
        .zip(left)
        .map(|((there, price), left)| (there as f64, price, *left))
}

/// One step against what is spare, rows scaled by their capacity; false where there is nowhere to go.
fn step(yard: &Yard, prices: &mut Prices, spare: &Prices, length: f64) -> bool {
    let pull = |there: f64, price: f64, spare: f64| {
        if there <= 0.0 || (price <= 0.0 && spare > 0.0) {
            0.0
        } else {
            spare / there
        }
    };
    let square: f64 = rows(yard, prices, spare)
        .map(|(there, price, spare)| pull(there, *price, spare).powi(2))
        .sum();
    if square <= 0.0 || length <= 0.0 {
        return false;
    }
    let stride = length / square;
    for (there, price, spare) in rows(yard, prices, spare) {
        let gradient = pull(there, *price, spare);
        if there > 0.0 {
            *price = (*price - stride * gradient / there).max(0.0);
        }
    }
    true
}

/// What the lots earn at these prices plus the worth of all there is; fills in what they leave spare.
fn relaxed(yard: &Yard, prices: &Prices, spare: &mut Prices) -> f64 {
    let slots = yard.slots;
    let sums = Sums::of(yard, prices);
    let fill = |list: &mut Vec<f64>, there: &[i64]| {
        for (spare, there) in list.iter_mut().zip(there) {
            *spare = *there as f64;
        }
    };
    fill(&mut spare.people, &yard.people);
    fill(&mut spare.machine, &yard.machine);
    for (family, stock) in yard.stock.iter().enumerate() {
        spare.cover[family * slots..(family + 1) * slots].fill(*stock as f64);
    }
    let worth = |prices: &[f64], spare: &[f64]| {
        prices
            .iter()
            .zip(spare)
            .map(|(price, there)| price * there)
            .sum::<f64>()
    };
    let mut value = worth(&prices.people, &spare.people)
        + worth(&prices.machine, &spare.machine)
        + worth(&prices.cover, &spare.cover);
    for lot in &yard.lots {
        let own = LotPrices::of(yard, lot, &sums, prices);
        let (choice, score) = own.best(lot);
        value += score;
        use_up(yard, lot, choice, spare);
    }
    value
}

fn use_up(yard: &Yard, lot: &YardLot, choice: Choice, spare: &mut Prices) {
    let (from, checks, cover_end) = match choice {
        Some((start, end)) => {
            let (start, end) = (&lot.starts[start], &lot.ends[end]);
            if let Some((slot, _)) = start.lay {
                spare.people[slot] -= start.people as f64;
                spare.machine[slot] -= start.machine as f64;
            }
            spare.people[end.slot] -= end.people as f64;
            spare.machine[end.slot] -= end.machine as f64;
            (start.cover_from, start.check_from..end.slot, end.free)
        }
        None if lot.lies_out => (0, 0..yard.slots, yard.slots),
        None => return,
    };
    for slot in checks {
        if yard.people[slot] > 0 {
            spare.people[slot] -= lot.check_s as f64;
        }
    }
    for metres in &mut spare.cover[lot.family * yard.slots + from..lot.family * yard.slots + cover_end] {
        *metres -= lot.metres as f64;
    }
}

/// Running sums of the prices: of a second of checks (working slots only) and of a metre of each family.
struct Sums {
    check: Vec<f64>,
    cover: Vec<Vec<f64>>,
}

impl Sums {
    fn of(yard: &Yard, prices: &Prices) -> Self {
        let working = yard
            .people
            .iter()
            .zip(&prices.people)
            .map(|(there, price)| if *there > 0 { *price } else { 0.0 });
        Self {
            check: running(working),
            cover: prices
                .cover
                .chunks(yard.slots)
                .map(|family| running(family.iter().copied()))
                .collect(),
        }
    }
}

fn running(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut sums = vec![0.0];
    let mut sum = 0.0;
    for value in values {
        sum += value;
        sums.push(sum);
    }
    sums
}

impl LotPrices {
    fn of(yard: &Yard, lot: &YardLot, sums: &Sums, prices: &Prices) -> Self {
        let (check, cover) = (&sums.check, &sums.cover[lot.family]);
        let (check_s, metres) = (lot.check_s as f64, lot.metres as f64);
        let starts = lot.starts.iter().map(|start| {
            let job = start.lay.map_or(0.0, |(slot, _)| {
                start.people as f64 * prices.people[slot] + start.machine as f64 * prices.machine[slot]
            });
            job - check_s * check[start.check_from] - metres * cover[start.cover_from]
        });
        let ends = lot.ends.iter().map(|end| {
            end.people as f64 * prices.people[end.slot]
                + end.machine as f64 * prices.machine[end.slot]
                + check_s * check[end.slot]
                + metres * cover[end.free]
        });
        Self {
            starts: starts.collect(),
            ends: ends.collect(),
            leave: if lot.lies_out {
                check_s * check[yard.slots] + metres * cover[yard.slots]
            } else {
                0.0
            },
        }
    }

    /// What the lot would choose alone.
    pub(super) fn best(&self, lot: &YardLot) -> (Choice, f64) {
        let (mut choice, mut score) = (None, lot.leave - self.leave);
        let cheapest = self.ends.iter().copied().fold(f64::INFINITY, f64::min);
        for (a, price) in self.starts.iter().enumerate() {
            if lot.top[a] - price - cheapest <= score {
                continue;
            }
            for (b, (profit, end)) in lot.profits(a).iter().zip(&self.ends).enumerate() {
                let worth = profit - price - end;
                if worth > score {
                    (choice, score) = (Some((a, b)), worth);
                }
            }
        }
        (choice, score)
    }
}
