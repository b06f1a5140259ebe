//! Hostile replies: every reader gets seeded changes of good ones, and bodies made to be heavy.
//!
//! No reader may panic, take a second, or need more than 64 MiB. `COVERCAST_MUTATIONS_S` sets how many
//! seconds are spent (default 20, in which a few thousand changes are tried), `COVERCAST_MUTATIONS_SEED` where
//! chance begins.
//!
//! A reader is added by its line in `READERS`.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "tests"
)]

mod change;
mod heavy;

use std::collections::BTreeSet;
use std::fs;
use std::hint::black_box;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::time::{Duration, Instant};

use covercast::sources::open_meteo::Context;
use covercast::sources::station::metar;
use covercast::sources::{cap, met_norway, mosmix, nws, open_meteo, recognise};
use covercast::units::{Degrees, Metres};
use covercast::weather::Place;

/// Reads whatever it is given.
type Reader = fn(&[u8], &Context<'_>);

/// Name, reader, folders below `tests/data` and below the shared recordings in which good replies lie, and
/// where and when they are read.
type Row = (
    &'static str,
    Reader,
    &'static [&'static str],
    &'static [&'static str],
    (f64, f64),
    &'static str,
);

#[rustfmt::skip]
const READERS: &[Row] = &[
    ("open_meteo", |b, c| drop(open_meteo::read(b, c)), &["open-meteo", "replies/open-meteo"], &["open-meteo"], (46.5, 11.3), "2026-10-03T10:00:00Z"),
    ("open_meteo past", |b, c| drop(open_meteo::read_past(b, c)), &["open-meteo"], &[], (52.3, 6.9), "2026-10-03T10:00:00Z"),
    ("open_meteo quarters", |b, c| drop(open_meteo::quarters(b, c)), &["replies/open-meteo"], &["open-meteo"], (46.5, 11.3), "2026-03-09T16:30:00Z"),
    ("met_norway", |b, c| drop(met_norway::read(b, c)), &["replies/met-norway"], &["met-norway"], (-39.6, 176.7), "2026-03-09T16:30:00Z"),
    ("nws", |b, c| drop(nws::read(b, c)), &["replies/nws"], &["nws"], (47.1, -121.42), "2026-03-09T16:30:00Z"),
    ("nws points", |b, _| drop(nws::points(b)), &["replies/nws"], &[], (47.1, -121.42), "2026-03-09T16:30:00Z"),
    ("nws observations", |b, c| drop(nws::observations(b, c, &|_, _| Vec::new())), &["replies/nws"], &["nws"], (47.1, -121.42), "2026-03-09T16:30:00Z"),
    ("mosmix", |b, c| drop(mosmix::read(b, c)), &["replies/mosmix"], &["dwd-mosmix"], (50.12, 8.33), "2023-10-08T10:10:00Z"),
    ("cap", |b, _| drop(cap::read(b)), &["replies/cap"], &["cap"], (0.0, 0.0), "2026-03-09T16:30:00Z"),
    ("metar", |b, c| drop(metar::read(b, "KMWN", c.fetched)), &["station"], &["metar"], (0.0, 0.0), "2026-03-09T16:30:00Z"),
    ("recognise", |b, _| _ = black_box(recognise(b)), &["replies/nws", "replies/met-norway", "open-meteo"], &[], (0.0, 0.0), "2026-03-09T16:30:00Z"),
];

const MOST_TIME: Duration = Duration::from_secs(1);
const MOST_KIB: u64 = 64 * 1024;

#[test]
fn no_reply_however_hostile_makes_a_reader_panic_dawdle_or_eat_memory() {
    let number = |name: &str, default: u64| {
        std::env::var(name)
            .ok()
            .and_then(|set| set.parse().ok())
            .unwrap_or(default)
    };
    let seconds = number("COVERCAST_MUTATIONS_S", 20);
    let seed = number("COVERCAST_MUTATIONS_SEED", 1);
    let share = Duration::from_millis(seconds * 1000 / u64::try_from(READERS.len()).unwrap());
    for (place, (name, reader, own, shared, site, now)) in READERS.iter().enumerate() {
        let offered = BTreeSet::new();
        let context = Context {
            site: Place {
                latitude: Degrees(site.0),
                longitude: Degrees(site.1),
                elevation: Some(Metres(50.0)),
            },
            fetched: now.parse().unwrap(),
            previous: None,
            offered: &offered,
            asked: None,
        };
        let seeds = seeds(own, shared);
        assert!(!seeds.is_empty(), "{name} has no good replies to begin with");
        let mut slowest = Duration::ZERO;
        let mut attempt = |what: &str, body: &[u8]| {
            let once = || {
                let began = Instant::now();
                let outcome = catch_unwind(AssertUnwindSafe(|| reader(body, &context)));
                (outcome, began.elapsed())
            };
            let (outcome, mut took) = once();
            // On a busy machine anything can take long once.
            for _ in 0..4 {
                if outcome.is_ok() && took > MOST_TIME {
                    took = took.min(once().1);
                }
            }
            slowest = slowest.max(took);
            if outcome.is_err() || took > MOST_TIME {
                let kept = std::env::temp_dir().join(format!("covercast-{}.reply", name.replace(' ', "-")));
                fs::write(&kept, body).unwrap();
                let fault = if outcome.is_err() { "panics" } else { "takes too long" };
                panic!(
                    "{name} {fault} on {what} ({took:?}); the reply is kept at {}",
                    kept.display()
                );
            }
        };
        let heaviest = heavy::bodies(&seeds[0]);
        forget_peak();
        let before = memory("VmRSS:");
        for (what, body) in &heaviest {
            attempt(what, body);
        }
        drop(heaviest);
        let mut chance = fastrand::Rng::with_seed(seed.wrapping_mul(1000) + u64::try_from(place).unwrap());
        let (began, mut tried) = (Instant::now(), 0);
        // However slow the machine, some are tried.
        while began.elapsed() < share || tried < 50 {
            let body = change::changed(&seeds, &mut chance);
            attempt(&format!("change {tried} of seed {seed}"), &body);
            tried += 1;
        }
        let needed = memory("VmHWM:").saturating_sub(before);
        println!(
            "{name}: {tried} changes of {} replies, slowest {slowest:?}, {} MiB",
            seeds.len(),
            needed / 1024
        );
        assert!(needed <= MOST_KIB, "{name} needed {} MiB", needed / 1024);
    }
}

/// The good replies of some folders.
fn seeds(own: &[&str], shared: &[&str]) -> Vec<Vec<u8>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let own = own.iter().map(|folder| root.join("tests/data").join(folder));
    let shared = shared.iter().map(|folder| root.join("../shared/samples").join(folder));
    let mut files: Vec<_> = own
        .chain(shared)
        .filter_map(|folder| fs::read_dir(folder).ok())
        .flatten()
        .map(|file| file.unwrap().path())
        .filter(|file| file.extension().is_none_or(|end| end != "md"))
        .collect();
    files.sort();
    files.iter().map(|file| fs::read(file).unwrap()).collect()
}

/// Begins a new peak of the memory in use.
fn forget_peak() {
    fs::write("/proc/self/clear_refs", "5").unwrap();
}

/// A line of the process's status \[KiB\].
fn memory(line: &str) -> u64 {
    let status = fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find_map(|told| told.strip_prefix(line)).unwrap();
    line.trim().trim_end_matches(" kB").parse().unwrap()
}
