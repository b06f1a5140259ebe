//! Speed of reading the reply of an ensemble, beside serde_json reading the same bytes into a tree.
//!
//! 51 members, 16 days, 8 variables: about 1 MB. The reader is to take at most 1/1.2 of the tree's time;
//! `reply_memory` compares what the two need.

mod ensemble;

use covercast::sources::open_meteo;
use divan::{Bencher, black_box};

fn main() {
    divan::main();
}

/// The reply as checked hours of all members.
#[divan::bench(sample_count = 100)]
fn read(bencher: Bencher<'_, '_>) {
    let body = ensemble::checked();
    bencher.bench_local(|| ensemble::with_context(|context| open_meteo::read(black_box(&body), context).is_ok()));
}

/// The same bytes as a bare tree.
#[divan::bench(sample_count = 100)]
fn tree(bencher: Bencher<'_, '_>) {
    let body = ensemble::checked();
    bencher.bench_local(|| serde_json::from_slice::<serde_json::Value>(black_box(&body)).is_ok());
}
