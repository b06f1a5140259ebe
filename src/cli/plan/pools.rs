//! Pools planned side by side, and how far they are.

use std::io::{IsTerminal as _, Write as _};
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::thread::scope;

use crate::plan::season::solve::{PoolPlan, join, solve_pool, tries_of_pool};
use crate::plan::season::{Checked, Solved};

/// Threads at most: the work is short, and the machine has other work.
const THREADS: usize = 4;

/// Plans every pool. Pools share nothing, so the number of threads changes the time and nothing else.
pub(super) fn solve(case: &Checked, tries: u64) -> Solved {
    let all: u64 = (0..case.pools.len()).map(|pool| tries_of_pool(case, pool, tries)).sum();
    // Large pools first, so that none is left over for the end.
    let mut queue: Vec<usize> = (0..case.pools.len()).collect();
    queue.sort_by_key(|pool| std::cmp::Reverse(tries_of_pool(case, *pool, tries)));
    let (next, done) = (AtomicUsize::new(0), AtomicU64::new(0));
    let work = || {
        let mut plans: Vec<PoolPlan> = Vec::new();
        while let Some(pool) = queue.get(next.fetch_add(1, Ordering::Relaxed)) {
            let mut told = 0;
            plans.push(solve_pool(case, *pool, tries, &mut |made| {
                let sum = done.fetch_add(made - told, Ordering::Relaxed) + (made - told);
                told = made;
                show(sum, all);
            }));
        }
        plans
    };
    let threads = std::thread::available_parallelism()
        .map_or(1, usize::from)
        .min(THREADS)
        .min(queue.len().max(1));
    let plans = scope(|scope| {
        let others: Vec<_> = (1..threads).map(|_| scope.spawn(work)).collect();
        let mut plans = work();
        for other in others {
            match other.join() {
                Ok(theirs) => plans.extend(theirs),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        plans
    });
    clear();
    join(case, plans)
}

/// One line that writes itself over, on a terminal only.
fn show(made: u64, all: u64) {
    let mut error = std::io::stderr();
    if error.is_terminal() && all > 0 {
        let _ = write!(error, "\rplanning: {:3} %", made * 100 / all);
    }
}

fn clear() {
    let mut error = std::io::stderr();
    if error.is_terminal() {
        let _ = write!(error, "\r               \r");
    }
}
