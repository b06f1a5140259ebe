//! Memory for reading the reply of an ensemble ("max alloc"), beside serde_json's tree of the same bytes.
//!
//! The reader is to need at most half of what the tree needs. Counting slows both, so the times here mean
//! nothing; `reply` measures them.

mod ensemble;

use covercast::sources::open_meteo;
use divan::{AllocProfiler, Bencher, black_box};

#[global_allocator]
static COUNTED: AllocProfiler = AllocProfiler::system();

fn main() {
    divan::main();
}

/// The reply as checked hours of all members.
#[divan::bench(sample_count = 20)]
fn read(bencher: Bencher<'_, '_>) {
    let body = ensemble::checked();
    bencher.bench_local(|| ensemble::with_context(|context| open_meteo::read(black_box(&body), context).is_ok()));
}

/// The same bytes as a bare tree.
#[divan::bench(sample_count = 20)]
fn tree(bencher: Bencher<'_, '_>) {
    let body = ensemble::checked();
    bencher.bench_local(|| serde_json::from_slice::<serde_json::Value>(black_box(&body)).is_ok());
}
