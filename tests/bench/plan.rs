//! The season's plan on one core: the bound, and the whole plan with the usual tries.
//!
//! `cargo bench --bench plan`. The cases are invented from a seed.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    dead_code,
    reason = "bench"
)]

#[path = "../suite/invented_season.rs"]
mod invented_season;

use covercast::plan::season::costs::Rates;
use covercast::plan::season::solve::bound_cents;
use covercast::plan::season::{Checked, Inquiry, score, solve};
use divan::{Bencher, black_box};
use invented_season::Season;

fn main() {
    divan::main();
}

fn case(lots: usize) -> Checked {
    Season::drawn(1, 1, lots)
        .case()
        .checked()
        .unwrap_or_else(|faults| panic!("{faults:?}"))
}

/// Prices and bound alone.
#[divan::bench(args = [8, 30])]
fn bound(bencher: Bencher, lots: usize) {
    let case = case(lots);
    bencher.bench_local(|| bound_cents(black_box(&case)));
}

/// A small farm (8 lots) and a usual one (30).
#[divan::bench(args = [8, 30], sample_count = 5, sample_size = 1)]
fn whole_plan(bencher: Bencher, lots: usize) {
    let case = case(lots);
    bencher.bench_local(|| solve(black_box(&case), None));
}

/// Weighing a plan, and asking it about every lot.
#[divan::bench(args = [30])]
fn weigh_and_ask(bencher: Bencher, lots: usize) {
    let case = case(lots);
    let solved = solve(&case, Some(200));
    bencher.bench_local(|| {
        black_box(score(&case, &solved.schedule));
        let inquiry = Inquiry::new(&case, &solved.schedule, Rates::default());
        case.lots.iter().filter_map(|lot| inquiry.why(&lot.id)).count()
    });
}
