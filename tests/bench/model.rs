//! The cover model on one core: 16 days, 51 members, everything counted.
//!
//! `cargo bench --bench model` prints, in one run, the whole of a block, its parts, the readable form of the
//! balance beside the one that takes several members at once, and the floor: the bare saturation vapour
//! pressure, once for each root of the heat balance. The last lines give nanoseconds a sub-step and the ratio
//! to that floor, and what twenty blocks of different geometry cost.

use std::collections::BTreeSet;
use std::time::{Duration, Instant};

use covercast::alley::Alley;
use covercast::farm::Job;
use covercast::farm::limits::Limits;
use covercast::physics::{Row, SUB_STEPS, Start, Sunlight, lanes, run, vapour};
use covercast::units::{Celsius, MetresPerSecond, Millimetres};
use covercast::weather::forecast::{Issue, IssueBasis, Kind};
use covercast::weather::past::Past;
use covercast::weather::{Freshness, Product, Run, Series, Stamps, Timeline};
use covercast::workability::ModelRun;
use covercast::workability::hour::{Setting, Worths};
use covercast::workability::verdict::Conditions;
use divan::{Bencher, black_box};

const HOURS: usize = 16 * 24;
const MEMBERS: usize = 51;
const BLOCKS: usize = 20;

fn main() {
    let only_blocks = std::env::args().any(|argument| argument == "twenty-blocks");
    if only_blocks {
        println!("{}", twenty_blocks(&timeline()));
        return;
    }
    divan::main();
    if std::env::args().any(|argument| argument == "--bench") {
        summary();
    }
}

fn stamps() -> Stamps {
    Stamps {
        first: "2026-03-01T01:00:00Z".parse().unwrap_or_default(),
        count: HOURS,
    }
}

fn alley() -> Alley {
    Alley {
        lat: 46.5,
        lon: 11.3,
        alt_m: 250.0,
        row_azimuth_deg: 10.0,
        ..Alley::default()
    }
}

/// Invented members: days and nights, dew, a shower every fourth day, none like the other.
fn member(chance: &mut fastrand::Rng) -> Run {
    let (warm, moist) = (chance.f64() * 4.0, chance.f64() * 3.0);
    let turn = |k: usize| (((k % 24) as f64 - 14.0) / 24.0 * std::f64::consts::TAU).cos();
    let wet = |k: usize| (71..78).contains(&(k % 96));
    let wind: Vec<f64> = (0..HOURS).map(|k| 2.0 + turn(k) + chance.f64()).collect();
    let mut series = |value: &mut dyn FnMut(usize, f64) -> f64| {
        Series::new((0..HOURS).map(|k| Some(value(k, chance.f64()))).collect::<Vec<_>>())
    };
    let mut run = Run::unknown(HOURS);
    run.temperature = series(&mut |k, _| 10.0 + warm + 6.0 * turn(k));
    run.dew_point = series(&mut |_, _| 4.0 + moist);
    run.gust = series(&mut |k, _| wind.get(k).copied().unwrap_or_default() * 1.7);
    run.wind = series(&mut |k, _| wind.get(k).copied().unwrap_or_default());
    run.wind_direction = series(&mut |_, any| 200.0 + 40.0 * any);
    run.rain = series(&mut |k, any| if wet(k) { any } else { 0.0 });
    run.shortwave = series(&mut |k, _| (700.0 * turn(k) - 100.0).max(0.0));
    run.cloud = series(&mut |k, _| if wet(k) { 1.0 } else { 0.3 });
    run.thunder = series(&mut |_, any| if any > 0.999 { 1.0 } else { 0.0 });
    run
}

fn timeline() -> Timeline {
    let mut chance = fastrand::Rng::with_seed(7);
    let stamps = stamps();
    Timeline {
        stamps,
        now_row: 120,
        runs: (0..MEMBERS).map(|_| member(&mut chance)).collect(),
        main: None,
        kind: Kind::Members,
        estimated: BTreeSet::new(),
        untold: BTreeSet::new(),
        coarse_from: None,
        warned: Vec::new(),
        past_hours: 120,
        past: Past::default(),
        issue: Issue {
            at: stamps.at(118),
            basis: IssueBasis::Said,
        },
        product: Product::SixHourlyModel,
        freshness: Freshness::Fresh,
        credits: Vec::new(),
        remarks: Vec::new(),
        by: String::new(),
        differ: Vec::new(),
    }
}

/// Sun, hedges, packing, balance of all members, wind and load of every hour, and its worth for the four jobs.
fn block(alley: &Alley, timeline: &Timeline, limits: &Limits) -> f64 {
    let model = ModelRun::of(alley, vec![0.0; HOURS], timeline);
    worth_of_hours(&model, limits)
}

fn worth_of_hours(model: &ModelRun, limits: &Limits) -> f64 {
    let mut sum = 0.0;
    for member in &model.members {
        let mut before = member.hours.first();
        for (hour, sun) in member.hours.iter().zip(&model.light.hours) {
            let (water, felt) = (&hour.water, hour.weather);
            let last = before.replace(hour).map_or(water, |before| &before.water);
            let Ok(felt) = felt else { continue };
            let setting = Setting {
                elevation_deg: sun.elevation_deg,
                thunder: felt.thunder,
                snow: felt.snow,
                conditions: Conditions {
                    gust: MetresPerSecond(felt.gust),
                    gust_cover: MetresPerSecond(felt.gust_cover),
                    rain: Millimetres(felt.rain),
                    film: Millimetres(water.film.max(last.film)),
                    under: Millimetres(water.under.max(last.under)),
                    pond: Millimetres(water.pond.max(last.pond)),
                    air: Celsius(felt.air),
                },
            };
            for job in [Job::Lift, Job::Lay, Job::Fold, Job::Check] {
                sum += black_box(Worths::of(job, limits, &setting).weakest()).0;
            }
            sum += felt.utilisation;
        }
    }
    sum
}

/// Everything that one block costs.
#[divan::bench]
fn whole_block(bencher: Bencher) {
    let (alley, timeline, limits) = (alley(), timeline(), Limits::default());
    bencher.bench_local(|| block(black_box(&alley), &timeline, &limits));
}

/// Of that, the sun and the hedges.
#[divan::bench]
fn part_sun_and_hedges(bencher: Bencher) {
    let alley = alley();
    bencher.bench_local(|| Sunlight::of(black_box(&alley), stamps()));
}

/// Of that, packing, balance, wind and loads.
#[divan::bench]
fn part_model_under_a_known_sun(bencher: Bencher) {
    let (alley, timeline) = (alley(), timeline());
    let track = Sunlight::track(&alley, stamps());
    bencher.bench_local(|| ModelRun::under(&alley, vec![0.0; HOURS], &timeline, &track));
}

/// Of that, the worth of every hour for four jobs.
#[divan::bench]
fn part_worth_of_hours(bencher: Bencher) {
    let (limits, model) = (Limits::default(), ModelRun::of(&alley(), vec![0.0; HOURS], &timeline()));
    bencher.bench_local(|| worth_of_hours(&model, &limits));
}

/// The balance of all members in the readable form, one by one.
#[divan::bench]
fn readable_balance(bencher: Bencher) {
    let model = ModelRun::of(&alley(), vec![0.0; HOURS], &timeline());
    bencher.bench_local(|| one_by_one(&model));
}

/// The same, several members at once; the gust at the cover is counted too.
#[divan::bench]
fn balance_side_by_side(bencher: Bencher) {
    let model = ModelRun::of(&alley(), vec![0.0; HOURS], &timeline());
    bencher.bench_local(|| side_by_side(&model));
}

/// The floor: saturation vapour pressure as often as there are roots to find.
#[divan::bench]
fn floor_saturation(bencher: Bencher) {
    bencher.bench_local(floor);
}

fn one_by_one(model: &ModelRun) -> f64 {
    let mut sum = 0.0;
    for member in &model.members {
        let hours = run::run(&model.alley, &model.light, &member.rows, Start::Empty);
        sum += hours.last().map_or(0.0, |hour| hour.film_mm);
    }
    sum
}

fn side_by_side(model: &ModelRun) -> f64 {
    let rows: Vec<&[Row]> = model.members.iter().map(|member| member.rows.as_slice()).collect();
    let mut sum = 0.0;
    lanes::run_all(&model.alley, &model.light, &rows, Start::Empty, &mut |_, passed| {
        sum += passed.cover.film_mm + passed.gust.map_or(0.0, |gust| gust.inside);
    });
    sum
}

fn floor() -> f64 {
    (0..roots())
        .map(|k| vapour::saturation_kpa(black_box((k % 400) as f64 * 0.1)))
        .sum::<f64>()
}

fn roots() -> usize {
    HOURS * SUB_STEPS * MEMBERS
}

/// The fastest of some runs: what the machine can do when nothing else holds it up.
fn fastest(times: usize, work: impl Fn() -> f64) -> Duration {
    let once = |_| {
        let begin = Instant::now();
        black_box(work());
        begin.elapsed()
    };
    (0..times).map(once).min().unwrap_or_default()
}

fn summary() {
    let (alley, timeline, limits) = (alley(), timeline(), Limits::default());
    let model = ModelRun::of(&alley, vec![0.0; HOURS], &timeline);
    let floor = fastest(50, floor);
    println!("\nfastest of many, one core; {} roots", roots());
    let line = |what: &str, took: Duration| {
        let per_step = took.as_secs_f64() * 1e9 / roots() as f64;
        let ratio = took.as_secs_f64() / floor.as_secs_f64();
        let ms = took.as_secs_f64() * 1e3;
        println!("{what:32}{ms:8.2} ms {per_step:8.1} ns a sub-step {ratio:7.1} times the floor");
    };
    line("floor", floor);
    line("balance, readable form", fastest(10, || one_by_one(&model)));
    line("balance, side by side", fastest(50, || side_by_side(&model)));
    line("whole block", fastest(50, || block(&alley, &timeline, &limits)));
    let farm = fastest(5, || twenty_blocks(&timeline));
    println!(
        "twenty blocks of different geometry: {:.0} ms",
        farm.as_secs_f64() * 1e3
    );
}

/// Twenty blocks of different geometry one after the other, as a farm's are done: one sun, one model at a time.
fn twenty_blocks(timeline: &Timeline) -> f64 {
    let limits = Limits::default();
    let track = Sunlight::track(&alley(), timeline.stamps);
    let mut sum = 0.0;
    for number in 0..BLOCKS {
        let other = number as f64;
        let alley = Alley {
            row_azimuth_deg: 9.0 * other,
            tree_height_m: 2.5 + 0.1 * other,
            row_spacing_m: 3.2 + 0.05 * other,
            tie_height_m: 0.05 * other,
            ..alley()
        };
        let model = ModelRun::under(&alley, vec![0.0; HOURS], timeline, &track);
        sum += worth_of_hours(&model, &limits);
    }
    sum
}
