//! The cover model on one core: one block, 16 days, 51 members, everything counted.
//!
//! `cargo bench --bench model` prints the model beside its floor in one run: the bare saturation
//! vapour pressure, once for each root of the heat balance.

use covercast::alley::Alley;
use covercast::farm::Job;
use covercast::farm::limits::Limits;
use covercast::physics::tie_load::Ties;
use covercast::physics::wind::Shelter;
use covercast::physics::{Hour, Row, SUB_STEPS, Start, Sunlight, run, vapour};
use covercast::units::{Celsius, MetresPerSecond, Millimetres};
use covercast::weather::Stamps;
use covercast::workability::hour::{Setting, Worths};
use covercast::workability::verdict::Conditions;
use divan::{Bencher, black_box};

const HOURS: usize = 16 * 24;
const MEMBERS: usize = 51;

fn main() {
    divan::main();
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
fn members() -> Vec<Vec<Row>> {
    let mut chance = fastrand::Rng::with_seed(7);
    let mut member = || {
        let (warm, moist) = (chance.f64() * 4.0, chance.f64() * 3.0);
        let hour = |k: usize| {
            let turn = ((k % 24) as f64 - 14.0) / 24.0 * std::f64::consts::TAU;
            let wet = k % 96 > 70 && k % 96 < 78;
            let wind = 2.0 + turn.cos() + chance.f64();
            Row::Known(Hour {
                air_c: 10.0 + warm + 6.0 * turn.cos(),
                dew_c: 4.0 + moist,
                wind,
                gust: wind * 1.7,
                direction_deg: 200.0 + 40.0 * chance.f64(),
                rain_mm: if wet { chance.f64() } else { 0.0 },
                irrigation_mm: 0.0,
                shortwave: (700.0 * turn.cos() - 100.0).max(0.0),
                cloud: if wet { 1.0 } else { 0.3 },
            })
        };
        (0..HOURS).map(hour).collect()
    };
    (0..MEMBERS).map(|_| member()).collect()
}

/// Sun, hedges, balance of all members, wind and load of every hour, and its worth for the four jobs.
#[divan::bench]
fn whole_block(bencher: Bencher) {
    let (alley, members, limits) = (alley(), members(), Limits::default());
    bencher.bench_local(|| {
        let light = Sunlight::of(&alley, stamps());
        let (shelter, ties) = (Shelter::of(&alley), Ties::of(&alley));
        let mut worst = 0.0_f64;
        for member in &members {
            let cover = run::run(&alley, &light, member, Start::Empty);
            for ((row, water), sun) in member.iter().zip(&cover).zip(&light.hours) {
                let Row::Known(hour) = row else { continue };
                let ratios = shelter.ratios(hour.direction_deg);
                let gust_cover = shelter.gust(ratios.inside, hour.wind, hour.gust);
                worst = worst.max(ties.utilisation(shelter.gust(ratios.edge, hour.wind, hour.gust), ratios.sin2));
                let setting = Setting {
                    elevation_deg: sun.elevation_deg,
                    thunder: false,
                    snow: false,
                    conditions: Conditions {
                        gust: MetresPerSecond(hour.gust),
                        gust_cover: MetresPerSecond(gust_cover),
                        rain: Millimetres(hour.rain_mm),
                        film: Millimetres(water.film_mm),
                        under: Millimetres(water.under_mm),
                        pond: Millimetres(water.pond_mm),
                        air: Celsius(hour.air_c),
                    },
                };
                for job in [Job::Lift, Job::Lay, Job::Fold, Job::Check] {
                    black_box(Worths::of(job, &limits, &setting).weakest());
                }
            }
        }
        worst
    });
}

/// Sun and hedges alone.
#[divan::bench]
fn sun_and_hedges(bencher: Bencher) {
    let alley = alley();
    bencher.bench_local(|| Sunlight::of(black_box(&alley), stamps()));
}

/// The floor: saturation vapour pressure as often as there are roots to find.
#[divan::bench]
fn floor_saturation(bencher: Bencher) {
    let temperatures: Vec<f64> = (0..HOURS * SUB_STEPS * MEMBERS)
        .map(|k| (k % 400) as f64 * 0.1)
        .collect();
    bencher.bench_local(|| {
        temperatures
            .iter()
            .map(|air_c| vapour::saturation_kpa(black_box(*air_c)))
            .sum::<f64>()
    });
}

/// Balance of all members alone, run by run.
#[divan::bench]
fn balance_alone(bencher: Bencher) {
    let (alley, members) = (alley(), members());
    let light = Sunlight::of(&alley, stamps());
    bencher.bench_local(|| {
        for member in &members {
            black_box(run::run(&alley, &light, member, Start::Empty));
        }
    });
}

#[divan::bench]
fn wind_loads(bencher: Bencher) {
    let (alley, members) = (alley(), members());
    let (shelter, ties) = (Shelter::of(&alley), Ties::of(&alley));
    bencher.bench_local(|| {
        let mut worst = 0.0_f64;
        for member in &members {
            for row in member {
                let Row::Known(hour) = row else { continue };
                let ratios = shelter.ratios(hour.direction_deg);
                worst = worst.max(shelter.gust(ratios.inside, hour.wind, hour.gust));
                worst = worst.max(ties.utilisation(shelter.gust(ratios.edge, hour.wind, hour.gust), ratios.sin2));
            }
        }
        worst
    });
}

#[divan::bench]
fn factors(bencher: Bencher) {
    let (members, limits) = (members(), Limits::default());
    let light = Sunlight::of(&alley(), stamps());
    bencher.bench_local(|| {
        for member in &members {
            for (row, sun) in member.iter().zip(&light.hours) {
                let Row::Known(hour) = row else { continue };
                let setting = Setting {
                    elevation_deg: sun.elevation_deg,
                    thunder: false,
                    snow: false,
                    conditions: Conditions {
                        gust: MetresPerSecond(hour.gust),
                        gust_cover: MetresPerSecond(hour.gust * 0.4),
                        rain: Millimetres(hour.rain_mm),
                        film: Millimetres(hour.cloud * 0.3),
                        under: Millimetres(hour.cloud * 0.1),
                        pond: Millimetres(hour.rain_mm),
                        air: Celsius(hour.air_c),
                    },
                };
                for job in [Job::Lift, Job::Lay, Job::Fold, Job::Check] {
                    black_box(Worths::of(job, &limits, &setting).weakest());
                }
            }
        }
    });
}
