//! Inserting lots by gain per metre, then taking some out and putting them back, again and again.
//!
//! Ruin and recreate (Schrimpf et al. 2000, from memory) with simulated annealing as the rule of acceptance. The
//! settings were chosen on cases like those of the tests.

#![expect(clippy::indexing_slicing, reason = "places of lots come from the same yard")]

use super::board::Board;
use super::dice::{Dice, decay};
use super::prices::Bound;
use super::yard::{Choice, Yard};

/// Most companions that are taken out with a lot.
const COMPANIONS: usize = 4;
/// Weight of the prices is drawn below this.
const MOST_WEIGHT: f64 = 1.5;
/// First temperature, as a share of what the plan is worth.
const WARMTH: f64 = 0.002;
/// Slots between picks of lots that compete for the same cover.
const CLOSE: usize = 20;
/// Slots between picks of lots of which one can hand its cover to the other.
const HAND_OVER: (usize, usize) = (40, 80);
/// Slots between picks of lots that compete for the same crew.
const SAME_TIME: usize = 10;
/// Tries between two reports of progress.
const REPORT: u64 = 1024;

/// Puts all lots on an empty board: those that lie out first, since only lifting makes their cover free, then by
/// what covering gains a metre, prices counted with `weight`.
pub(super) fn insert<'a>(yard: &'a Yard, bound: &Bound, weight: f64) -> Board<'a> {
    let mut board = Board::new(yard);
    insert_rest(&mut board, yard, bound, weight, &[]);
    board
}

/// Starts from yesterday's slots where they still fit; `None` if there was no plan.
pub(super) fn insert_as_yesterday<'a>(yard: &'a Yard, bound: &Bound) -> Option<Board<'a>> {
    let mut board = Board::new(yard);
    let mut kept = Vec::new();
    for lot in by_gain(yard, bound, 0.0) {
        let Some(pair) = yard.lots[lot].yesterday else { continue };
        let before = board.take(lot);
        let fits = board.fits(lot, pair);
        board.put(lot, if fits { Some(pair) } else { before });
        if fits {
            kept.push(lot);
        }
    }
    if kept.is_empty() {
        return None;
    }
    insert_rest(&mut board, yard, bound, 0.5, &kept);
    Some(board)
}

fn insert_rest(board: &mut Board, yard: &Yard, bound: &Bound, weight: f64, kept: &[usize]) {
    for lot in by_gain(yard, bound, weight) {
        if kept.contains(&lot) {
            continue;
        }
        let before = board.take(lot);
        let found = board.best(lot, weight, &bound.lots[lot]);
        board.put(lot, found.map_or(before, |found| found.0));
    }
}

fn by_gain(yard: &Yard, bound: &Bound, weight: f64) -> Vec<usize> {
    let gain = |lot: usize| {
        let (place, prices) = (&yard.lots[lot], &bound.lots[lot]);
        let mut best = f64::NEG_INFINITY;
        for a in 0..place.starts.len() {
            for (profit, end) in place.profits(a).iter().zip(&prices.ends) {
                best = best.max(profit - weight * (prices.starts[a] + end));
            }
        }
        (best - place.leave + weight * prices.leave) / place.metres as f64
    };
    let mut order: Vec<(bool, f64, usize)> = (0..yard.lots.len())
        .map(|lot| (!yard.lots[lot].lies_out, -gain(lot), lot))
        .collect();
    order.sort_by(|one, other| {
        one.0
            .cmp(&other.0)
            .then(one.1.total_cmp(&other.1))
            .then(one.2.cmp(&other.2))
    });
    order.into_iter().map(|(_, _, lot)| lot).collect()
}

/// Takes lots out and puts them back, `tries` times; leaves the best plan seen on the board.
pub(super) fn improve(
    board: &mut Board,
    yard: &Yard,
    bound: &Bound,
    tries: u64,
    seed: u64,
    report: &mut dyn FnMut(u64),
) {
    if yard.lots.is_empty() {
        return;
    }
    let near = Neighbours::of(yard);
    let mut dice = Dice::new(seed);
    let mut best = (board.total, board.choices());
    let warmth = WARMTH * board.total.abs().max(1.0);
    let mut out: Vec<(usize, Choice)> = Vec::new();
    for round in 0..tries {
        if round % REPORT == 0 {
            report(round);
        }
        let before = board.total;
        out.clear();
        let first = dice.below(yard.lots.len());
        out.push((first, board.take(first)));
        for _ in 0..dice.below(COMPANIONS + 1) {
            let other = near.companion(yard, first, &mut dice);
            if let Some(other) = other.filter(|other| out.iter().all(|(lot, _)| lot != other)) {
                out.push((other, board.take(other)));
            }
        }
        for place in (1..out.len()).rev() {
            out.swap(place, dice.below(place + 1));
        }
        let weight = MOST_WEIGHT * dice.share();
        let placed = put_back(board, bound, &out, weight);
        let change = board.total - before;
        let heat = warmth * (tries - round) as f64 / tries as f64;
        let luck = dice.share();
        let kept = placed == out.len() && (change >= 0.0 || luck < decay(-change / heat));
        if !kept {
            for (lot, _) in &out[..placed] {
                board.take(*lot);
            }
            for (lot, choice) in &out {
                board.put(*lot, *choice);
            }
        } else if board.total > best.0 {
            best = (board.total, board.choices());
        }
    }
    report(tries);
    restore(board, &best.1);
}

/// Puts lots back where they earn most; answers how many found a place.
fn put_back(board: &mut Board, bound: &Bound, out: &[(usize, Choice)], weight: f64) -> usize {
    for (placed, (lot, _)) in out.iter().enumerate() {
        let Some((choice, _)) = board.best(*lot, weight, &bound.lots[*lot]) else {
            return placed;
        };
        board.put(*lot, choice);
    }
    out.len()
}

/// Makes the board hold `choices`.
pub(super) fn restore(board: &mut Board, choices: &[Choice]) {
    let changed: Vec<usize> = (0..choices.len())
        .filter(|lot| board.choice(*lot) != choices[*lot])
        .collect();
    for lot in &changed {
        board.take(*lot);
    }
    for lot in changed {
        board.put(lot, choices[lot]);
    }
}

/// Moves single lots while that earns more, and back to yesterday's slots where that earns no less.
pub(super) fn settle(board: &mut Board, yard: &Yard, bound: &Bound) {
    for _ in 0..100 {
        let before = board.total;
        for (lot, prices) in bound.lots.iter().enumerate() {
            let was = board.take(lot);
            let stay = yard.lots[lot].profit(was);
            let found = board.best(lot, 0.0, prices).filter(|(_, profit)| *profit > stay);
            board.put(lot, found.map_or(was, |found| found.0));
            let Some(pair) = yard.lots[lot].yesterday.filter(|pair| board.choice(lot) != Some(*pair)) else {
                continue;
            };
            let now = board.take(lot);
            let back = yard.lots[lot].profit(Some(pair)) >= yard.lots[lot].profit(now) && board.fits(lot, pair);
            board.put(lot, if back { Some(pair) } else { now });
        }
        if board.total <= before {
            break;
        }
    }
}

/// Lots by picking slot, in all and of each family.
struct Neighbours {
    families: Vec<Vec<usize>>,
}

impl Neighbours {
    fn of(yard: &Yard) -> Self {
        let family = |family: usize| {
            (0..yard.lots.len())
                .filter(move |lot| yard.lots[*lot].family == family)
                .collect()
        };
        Self {
            families: (0..yard.stock.len()).map(family).collect(),
        }
    }

    /// A lot that has to do with `first`, or any; `None` if the draw finds nobody.
    fn companion(&self, yard: &Yard, first: usize, dice: &mut Dice) -> Option<usize> {
        let pick = yard.lots[first].pick;
        let family = &self.families[yard.lots[first].family];
        let within = |lots: &[usize], from: usize, to: usize| {
            let start = lots.partition_point(|lot| yard.lots[*lot].pick < from);
            (start, lots.partition_point(|lot| yard.lots[*lot].pick <= to).max(start))
        };
        match dice.below(10) {
            0 => Some(dice.below(yard.lots.len())),
            1..=3 => {
                let (from, to) = within(family, pick.saturating_sub(CLOSE), pick + CLOSE);
                family[from..to].get(dice.below(to - from)).copied()
            }
            4..=6 => {
                let (least, most) = HAND_OVER;
                let (from, to) = match pick.checked_sub(least) {
                    Some(end) => within(family, pick.saturating_sub(most), end),
                    None => (0, 0),
                };
                let (later, end) = within(family, pick + least, pick + most);
                let drawn = dice.below(to - from + end - later);
                family[from..to].iter().chain(&family[later..end]).nth(drawn).copied()
            }
            _ => {
                let from = yard
                    .lots
                    .partition_point(|lot| lot.pick < pick.saturating_sub(SAME_TIME));
                let to = yard.lots.partition_point(|lot| lot.pick <= pick + SAME_TIME);
                Some(from + dice.below(to - from))
            }
        }
    }
}
