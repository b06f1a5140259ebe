//! Heat and water close, and nothing is ever not a number: any weather, any place, any sort of cover.
//!
//! The limiting cases and comparisons of the model stand in `src/physics/laws.rs`.

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Utc};
use covercast::alley::Alley;
use covercast::physics::{CoverHour, Hour, Row, Start, Sunlight, run};
use covercast::weather::forecast::{IssueBasis, Kind};
use covercast::weather::{Freshness, Issue, Product, Quantity, Run, Series, Stamps, Timeline};
use covercast::workability::ModelRun;
use proptest::prelude::*;

/// First stamp, place and block are given; the hours follow each other.
fn cover(alley: &Alley, first: &str, hours: &[Hour], start: Start) -> Vec<CoverHour> {
    let light = Sunlight::of(alley, stamps(first, hours.len()));
    let rows: Vec<Row> = hours.iter().map(|hour| Row::Known(*hour)).collect();
    run::run(alley, &light, &rows, start)
}

fn stamps(first: &str, count: usize) -> Stamps {
    let first: DateTime<Utc> = first.parse().unwrap();
    Stamps { first, count }
}

fn orchard() -> Alley {
    Alley {
        lat: 46.5,
        ..Alley::default()
    }
}

/// A day of one kind of weather.
#[derive(Debug, Clone, Copy)]
struct Day {
    air_c: f64,
    swing_k: f64,
    depression_k: f64,
    wind: f64,
    direction_deg: f64,
    rain_mm: f64,
    shortwave: f64,
    cloud: f64,
}

fn any_day() -> impl Strategy<Value = Day> {
    let calm_or_storm = prop_oneof![Just(0.0), 0.0..3.0_f64, 0.0..45.0_f64];
    let dry_or_cloudburst = prop_oneof![3 => Just(0.0), 1 => 0.0..2.0_f64, 1 => 0.0..180.0_f64];
    (
        -30.0..48.0_f64,
        0.0..20.0_f64,
        prop_oneof![Just(0.0), 0.0..30.0_f64],
        calm_or_storm,
        0.0..360.0_f64,
        dry_or_cloudburst,
        0.0..1300.0_f64,
        0.0..=1.0_f64,
    )
        .prop_map(
            |(air_c, swing_k, depression_k, wind, direction_deg, rain_mm, shortwave, cloud)| Day {
                air_c,
                swing_k,
                depression_k,
                wind,
                direction_deg,
                rain_mm,
                shortwave,
                cloud,
            },
        )
}

/// Hours of these days; each hour differs a little, and by no rule that the model could know.
fn hours_of(days: &[Day]) -> Vec<Hour> {
    (0..days.len() * 24)
        .map(|k| {
            let day = days[k / 24];
            let jump = ((k * 7919) % 97) as f64 / 96.0;
            let air_c = (day.air_c + day.swing_k * (jump - 0.5)).clamp(-30.0, 48.0);
            Hour {
                air_c,
                dew_c: air_c - day.depression_k * jump,
                wind: day.wind * jump,
                gust: day.wind * 1.8,
                direction_deg: day.direction_deg + 90.0 * jump,
                rain_mm: if k % 3 == 0 { day.rain_mm } else { 0.0 },
                irrigation_mm: if k % 24 == 5 { 4.0 * jump } else { 0.0 },
                shortwave: day.shortwave * jump,
                cloud: day.cloud,
            }
        })
        .collect()
}

/// Poles, tropics with the sun overhead, both hemispheres, and rows along and across them.
fn any_place() -> impl Strategy<Value = Alley> {
    let latitude = prop_oneof![
        Just(66.0),
        Just(-45.0),
        Just(23.4),
        Just(0.0),
        Just(78.0),
        -90.0..=90.0_f64
    ];
    let row = prop_oneof![Just(90.0), Just(0.0), 0.0..360.0_f64];
    let height = prop_oneof![Just(0.0), Just(0.5), 0.0..12.0_f64];
    let tie = prop_oneof![Just(0.0), 0.0..1.5_f64];
    (
        latitude,
        -180.0..=180.0_f64,
        row,
        height,
        tie,
        0.0..=1.0_f64,
        0.0..3000.0_f64,
    )
        .prop_map(
            |(lat, lon, row_azimuth_deg, tree_height_m, tie_height_m, porosity, alt_m)| Alley {
                lat,
                lon,
                row_azimuth_deg,
                tree_height_m,
                tie_height_m,
                porosity,
                alt_m,
                ..Alley::default()
            },
        )
}

fn any_season() -> impl Strategy<Value = &'static str> {
    prop::sample::select(vec![
        "2026-12-21T01:00:00Z",
        "2026-06-21T01:00:00Z",
        "2026-03-20T01:00:00Z",
        "2027-10-05T01:00:00Z",
        "2028-02-28T13:00:00Z",
    ])
}

/// Every number of an hour.
fn numbers(hour: &CoverHour) -> [f64; 15] {
    [
        hour.film_mm,
        hour.pond_mm,
        hour.under_mm,
        hour.sheet_c,
        hour.ground_c,
        hour.soil_mm,
        hour.wet_top,
        hour.wet_under,
        hour.evap_top_mm,
        hour.evap_under_mm,
        hour.runoff_mm,
        hour.drip_mm,
        hour.light,
        hour.wind,
        hour.residual,
    ]
}

/// Energy and water close, stores keep their bounds, nothing is not a number.
fn laws_hold(alley: &Alley, hours: &[Hour], ours: &[CoverHour], start: [f64; 3]) -> Result<(), TestCaseError> {
    prop_assert_eq!(ours.len(), hours.len());
    let mut stored = start;
    for (k, (hour, found)) in hours.iter().zip(ours).enumerate() {
        prop_assert!(numbers(found).iter().all(|number| number.is_finite()), "{k}: {found:?}");
        prop_assert!(found.residual < 1e-3, "energy, row {k}: {found:?}");
        let now = [found.film_mm, found.pond_mm, found.under_mm];
        let change: f64 = now.iter().sum::<f64>() - stored.iter().sum::<f64>();
        let gone = found.evap_top_mm + found.evap_under_mm + found.runoff_mm + found.drip_mm;
        let open = hour.rain_mm - change - gone;
        prop_assert!(open.abs() < 1e-9, "water, row {k}: {open} of {found:?}");
        for (store, most) in now.iter().zip([alley.c_film_mm, alley.c_pond_mm, alley.c_under_mm]) {
            prop_assert!((0.0..=most + 1e-12).contains(store), "row {k}: {found:?}");
        }
        prop_assert!((0.0..=alley.soil_max_mm).contains(&found.soil_mm));
        prop_assert!(
            (0.0..=hour.shortwave * (1.0 + 1e-9)).contains(&found.light),
            "row {k}: {found:?}"
        );
        prop_assert!((-90.0..160.0).contains(&found.sheet_c), "row {k}: {found:?}");
        stored = now;
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn heat_and_water_close_in_any_weather_at_any_place(
        alley in any_place(), first in any_season(), days in prop::collection::vec(any_day(), 1..8),
    ) {
        let hours = hours_of(&days);
        laws_hold(&alley, &hours, &cover(&alley, first, &hours, Start::Empty), [0.0; 3])?;
        let full = [alley.c_film_mm, alley.c_pond_mm, alley.c_under_mm];
        laws_hold(&alley, &hours, &cover(&alley, first, &hours, Start::Full), full)?;
    }

    /// Weeks without a breath of wind, the same day again and again.
    #[test]
    fn heat_and_water_close_through_weeks_of_calm(alley in any_place(), first in any_season(), day in any_day()) {
        let hours = hours_of(&[Day { wind: 0.0, ..day }; 28]);
        laws_hold(&alley, &hours, &cover(&alley, first, &hours, Start::Empty), [0.0; 3])?;
    }

    /// The cloth and its water may be of any sort that takes up no more than half the light; its place and ground
    /// are ordinary.
    #[test]
    fn heat_and_water_close_for_any_cloth(
        (albedo, transmittance) in (0.5..0.8_f64, 0.0..0.2_f64), emissivity in 0.5..=1.0_f64,
        film in 0.01..2.0_f64, below in 0.01..2.0_f64, puddles in prop_oneof![Just(0.0), 0.0..20.0_f64],
        (pond_share, pond_area, rain_leak) in (0.0..=1.0_f64, 0.0..=1.0_f64, 0.0..=1.0_f64),
        wet_exp in prop_oneof![Just(0.0), Just(0.5), 0.0..2.0_f64], plate_len_m in 0.05..10.0_f64, first in any_season(),
        days in prop::collection::vec(any_day(), 1..4),
    ) {
        let alley = Alley {
            albedo, transmittance, emissivity, c_film_mm: film, c_under_mm: below, c_pond_mm: puddles, pond_share,
            pond_area, rain_leak, wet_exp, plate_len_m, ..orchard()
        };
        let hours = hours_of(&days);
        laws_hold(&alley, &hours, &cover(&alley, first, &hours, Start::Empty), [0.0; 3])?;
    }
}

/// The sun stands overhead at noon over rows that run from east to west, and shines along them at dawn.
#[test]
fn noon_sun_over_rows_from_east_to_west_is_an_ordinary_day() {
    for lat in [23.43, 0.0, -23.43, 66.0, -45.0] {
        let alley = Alley {
            lat,
            row_azimuth_deg: 90.0,
            ..Alley::default()
        };
        let bright = Hour {
            air_c: 25.0,
            dew_c: 10.0,
            wind: 2.0,
            gust: 4.0,
            direction_deg: 20.0,
            shortwave: 900.0,
            ..Hour::default()
        };
        for first in ["2026-06-21T01:00:00Z", "2026-03-20T01:00:00Z"] {
            let hours = vec![bright; 48];
            let ours = cover(&alley, first, &hours, Start::Empty);
            laws_hold(&alley, &hours, &ours, [0.0; 3]).unwrap();
            assert!(ours.iter().any(|hour| hour.light > 200.0), "{lat} {first}");
        }
    }
}

/// One run of the weather as a forecast tells it.
fn told(hours: &[Hour]) -> Run {
    let mut told = Run::unknown(hours.len());
    let mut tell = |quantity, of: fn(&Hour) -> f64| {
        *told.of_mut(quantity) = Series::new(hours.iter().map(|hour| Some(of(hour))));
    };
    tell(Quantity::Temperature, |hour| hour.air_c);
    tell(Quantity::DewPoint, |hour| hour.dew_c);
    tell(Quantity::Wind, |hour| hour.wind);
    tell(Quantity::Gust, |hour| hour.gust);
    tell(Quantity::WindDirection, |hour| hour.direction_deg);
    tell(Quantity::Rain, |hour| hour.rain_mm);
    tell(Quantity::Shortwave, |hour| hour.shortwave);
    tell(Quantity::Cloud, |hour| hour.cloud);
    told
}

fn timeline(runs: Vec<Run>, count: usize) -> Timeline {
    let stamps = stamps("2026-03-10T01:00:00Z", count);
    Timeline {
        stamps,
        now_row: 48,
        runs,
        main: None,
        kind: Kind::Members,
        estimated: BTreeSet::new(),
        untold: BTreeSet::new(),
        coarse_from: None,
        warned: Vec::new(),
        past_hours: 48,
        past: covercast::weather::past::Past::default(),
        issue: Issue {
            at: stamps.first + TimeDelta::hours(44),
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

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    #[test]
    fn a_member_alone_is_the_same_member_among_others(
        members in prop::collection::vec(prop::collection::vec(any_day(), 3..=3), 2..13),
    ) {
        let runs: Vec<Run> = members.iter().map(|days| told(&hours_of(days))).collect();
        let of = |runs: Vec<Run>| ModelRun::of(&orchard(), vec![0.0; 72], &timeline(runs, 72)).members;
        let together = of(runs.clone());
        for (run, among) in runs.iter().zip(&together) {
            let alone = of(vec![run.clone()]);
            for (alone, among) in alone[0].hours.iter().zip(&among.hours) {
                for (alone, among) in [
                    (alone.water.film, among.water.film),
                    (alone.water.pond, among.water.pond),
                    (alone.water.under, among.water.under),
                ] {
                    prop_assert!((alone - among).abs() < 1e-7);
                }
            }
        }
    }
}
