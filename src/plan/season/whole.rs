//! The bound of some prices in whole numbers: no rounding can make it too small.

#![expect(clippy::indexing_slicing, reason = "slots and lots come from the same yard")]

use super::prices::Prices;
use super::yard::{NEVER, Yard};

/// Binary digits behind the point of the whole-number prices.
const DIGITS: u32 = 20;

/// The bound of these prices in whole numbers, rounded up.
pub(super) fn whole_bound(yard: &Yard, prices: &Prices) -> i64 {
    let whole = |list: &[f64]| list.iter().map(|price| fixed(*price)).collect::<Vec<i128>>();
    let (people, machine, cover) = (whole(&prices.people), whole(&prices.machine), whole(&prices.cover));
    let stock = |row: usize| yard.stock[row / yard.slots];
    let mut sum: i128 = people
        .iter()
        .zip(&yard.people)
        .map(|(price, there)| price * i128::from(*there))
        .sum();
    sum += machine
        .iter()
        .zip(&yard.machine)
        .map(|(price, there)| price * i128::from(*there))
        .sum::<i128>();
    sum += cover
        .iter()
        .enumerate()
        .map(|(row, price)| price * i128::from(stock(row)))
        .sum::<i128>();
    let check = running_whole(
        people
            .iter()
            .zip(&yard.people)
            .map(|(price, there)| if *there > 0 { *price } else { 0 }),
    );
    let metre: Vec<_> = cover
        .chunks(yard.slots)
        .map(|family| running_whole(family.iter().copied()))
        .collect();
    for lot in &yard.lots {
        let (check_s, metres, metre) = (i128::from(lot.check_s), i128::from(lot.metres), &metre[lot.family]);
        let job = |slot: usize, p: i64, m: i64| i128::from(p) * people[slot] + i128::from(m) * machine[slot];
        let ends: Vec<i128> = lot
            .ends
            .iter()
            .map(|end| job(end.slot, end.people, end.machine) + check_s * check[end.slot] + metres * metre[end.free])
            .collect();
        let mut best = fixed_cents(lot.leave);
        if lot.lies_out {
            best -= check_s * check[yard.slots] + metres * metre[yard.slots];
        }
        for (a, start) in lot.starts.iter().enumerate() {
            let price = start.lay.map_or(0, |(slot, _)| job(slot, start.people, start.machine))
                - check_s * check[start.check_from]
                - metres * metre[start.cover_from];
            for (profit, end) in lot.profits(a).iter().zip(&ends).filter(|(profit, _)| **profit > NEVER) {
                best = best.max(fixed_cents(*profit) - price - end);
            }
        }
        sum += best;
    }
    let one = 1_i128 << DIGITS;
    i64::try_from((sum + one - 1).div_euclid(one)).unwrap_or(i64::MAX)
}

fn running_whole(values: impl Iterator<Item = i128>) -> Vec<i128> {
    let mut sums = vec![0];
    let mut sum = 0;
    for value in values {
        sum += value;
        sums.push(sum);
    }
    sums
}

/// A price in units of `2^-DIGITS` cents; any price not below 0 gives a bound, so cutting it is no harm.
#[expect(
    clippy::cast_possible_truncation,
    reason = "`as` keeps to the range; the product of the limits lies inside"
)]
fn fixed(price: f64) -> i128 {
    (price.clamp(0.0, 1e12) * f64::from(1_u32 << DIGITS)) as i128
}

#[expect(clippy::cast_possible_truncation, reason = "whole cents below 2^53")]
fn fixed_cents(cents: f64) -> i128 {
    (cents as i128) << DIGITS
}
