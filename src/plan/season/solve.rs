//! From a case to a plan with its proven bound, pool by pool.

use super::Checked;
use super::improve::{improve, insert, insert_as_yesterday, restore, settle};
use super::prices::{Bound, Prices, bound};
use super::schedule::{Entry, Schedule};
use super::score::score;
use super::violation::Violation;
use super::yard::{Choice, Yard};

/// Seed of the search: fixed, so that a case has one plan.
const SEED: u64 = 0x636f_7665_7263_6173;
/// Tries that are shared among the lots of a case.
const TRIES: usize = 2_000_000;
/// Least and most tries a lot.
const LEAST_TRIES: usize = 1000;
const MOST_TRIES: usize = 5000;

/// A plan of the season.
#[derive(Debug, Clone, PartialEq)]
pub struct Solved {
    /// What is done with each lot.
    pub schedule: Schedule,
    /// Its worth \[cents\], weighed apart from the solver.
    pub objective_cents: i64,
    /// No plan is worth more than this \[cents\].
    pub bound_cents: i64,
    /// Empty, unless what lies out already asks for more than there is.
    pub violations: Vec<Violation>,
    /// What an hour or a metre more would be worth, for each pool.
    pub worth: Vec<Scarcity>,
}

/// The price of what a pool has too little of, one value a slot.
#[derive(Debug, Clone, PartialEq)]
pub struct Scarcity {
    /// Of people \[cents a second\].
    pub people: Vec<f64>,
    /// Of machines \[cents a second\].
    pub machine: Vec<f64>,
    /// Of the covers of each family, in the order of their names \[cents a metre and slot\].
    pub cover: Vec<(String, Vec<f64>)>,
}

/// The plan of one pool.
#[derive(Debug, Clone, PartialEq)]
pub struct PoolPlan {
    /// Place of the pool in the case.
    pub pool: usize,
    entries: Vec<(usize, Option<Entry>)>,
    bound_cents: i64,
    prices: Prices,
}

/// Tries a lot if nobody says otherwise: fewer the more lots there are.
pub fn usual_tries(case: &Checked) -> u64 {
    let tries = (TRIES / case.lots.len().max(1)).clamp(LEAST_TRIES, MOST_TRIES);
    u64::try_from(tries).unwrap_or(0)
}

/// Tries that [`solve_pool`] makes for the pool at `pool`.
pub fn tries_of_pool(case: &Checked, pool: usize, tries_a_lot: u64) -> u64 {
    let lots = case.lots.iter().filter(|lot| lot.pool == pool).count();
    tries_a_lot.saturating_mul(u64::try_from(lots).unwrap_or(0))
}

/// Plans all pools, one after the other. The same case gives the same plan on every run and machine.
pub fn solve(case: &Checked, tries_a_lot: Option<u64>) -> Solved {
    let tries = tries_a_lot.unwrap_or_else(|| usual_tries(case));
    let pools = (0..case.pools.len()).map(|pool| solve_pool(case, pool, tries, &mut |_| {}));
    join(case, pools.collect())
}

/// Plans the pool at `pool`; pools share nothing, so they may be planned side by side. `report` hears the tries made.
pub fn solve_pool(case: &Checked, pool: usize, tries_a_lot: u64, report: &mut dyn FnMut(u64)) -> PoolPlan {
    let yard = Yard::of(case, pool);
    let bound = bound(&yard);
    let choices = plan_of(&yard, &bound, tries_of_pool(case, pool, tries_a_lot), report);
    let entries = yard
        .lots
        .iter()
        .zip(choices)
        .map(|(lot, choice)| (lot.place, lot.entry(choice)));
    PoolPlan {
        pool,
        entries: entries.collect(),
        bound_cents: bound.cents,
        prices: bound.prices,
    }
}

fn plan_of(yard: &Yard, bound: &Bound, tries: u64, report: &mut dyn FnMut(u64)) -> Vec<Choice> {
    let mut starts: Vec<_> = [0.0, 0.5, 1.0]
        .into_iter()
        .map(|weight| insert(yard, bound, weight))
        .collect();
    starts.extend(insert_as_yesterday(yard, bound));
    let as_yesterday = starts.get(3).map(|board| (board.total, board.choices()));
    // Of equal ones the last: yesterday's is in force.
    let Some(mut board) = starts
        .into_iter()
        .max_by(|one, other| one.total.total_cmp(&other.total))
    else {
        return Vec::new();
    };
    improve(&mut board, yard, bound, tries, SEED, report);
    settle(&mut board, yard, bound);
    if let Some((total, choices)) = as_yesterday
        && total >= board.total
    {
        restore(&mut board, &choices);
        settle(&mut board, yard, bound);
    }
    board.choices()
}

/// Puts the plans of all pools together and weighs the whole.
pub fn join(case: &Checked, mut pools: Vec<PoolPlan>) -> Solved {
    pools.sort_by_key(|pool| pool.pool);
    let mut schedule = Schedule::default();
    for (place, entry) in pools.iter().flat_map(|pool| &pool.entries) {
        if let Some(lot) = case.lots.get(*place) {
            schedule.0.insert(lot.id.clone(), *entry);
        }
    }
    let scored = score(case, &schedule);
    let worth = pools.iter().map(|plan| {
        let families = case
            .pools
            .get(plan.pool)
            .map(|pool| pool.stock_m.keys().cloned())
            .into_iter()
            .flatten();
        let cover = families.zip(plan.prices.cover.chunks(case.slots.max(1)).map(<[f64]>::to_vec));
        Scarcity {
            people: plan.prices.people.clone(),
            machine: plan.prices.machine.clone(),
            cover: cover.collect(),
        }
    });
    Solved {
        objective_cents: scored.objective_cents,
        violations: scored.violations,
        bound_cents: pools.iter().map(|pool| pool.bound_cents).sum(),
        worth: worth.collect(),
        schedule,
    }
}

/// The proven bound alone \[cents\]: no plan of the case is worth more.
pub fn bound_cents(case: &Checked) -> i64 {
    (0..case.pools.len())
        .map(|pool| bound(&Yard::of(case, pool)).cents)
        .sum()
}
