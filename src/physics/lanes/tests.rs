//! The runs side by side against the reference, on machines with and without wide registers.

use proptest::prelude::*;

use super::*;
use crate::physics::Hour;
use crate::weather::Stamps;

fn stamps(first: &str, count: usize) -> Stamps {
    Stamps {
        first: first.parse().unwrap(),
        count,
    }
}

/// Weather of any sort, each run its own: cloudbursts, frost, heat, calm.
fn wild(seed: u64, base: f64, hours: usize) -> Vec<Row> {
    let mut chance = fastrand::Rng::with_seed(seed);
    let mut row = |k: usize| {
        let turn = ((k % 24) as f64 - 14.0) / 24.0 * std::f64::consts::TAU;
        let air_c = base + 8.0 * turn.cos() + chance.f64();
        let calm = chance.u8(0..4) == 0;
        let wind = if calm { 0.0 } else { chance.f64() * 9.0 };
        Row::Known(Hour {
            air_c,
            dew_c: air_c + 1.0 - chance.f64() * 9.0,
            wind,
            gust: wind * 1.6,
            direction_deg: chance.f64() * 360.0,
            rain_mm: if chance.u8(0..9) == 0 { chance.f64() * 20.0 } else { 0.0 },
            irrigation_mm: if chance.u8(0..30) == 0 { 2.0 } else { 0.0 },
            shortwave: (700.0 * turn.cos() * chance.f64()).max(0.0),
            cloud: chance.f64(),
        })
    };
    (0..hours).map(&mut row).collect()
}

fn together(arch: pulp::Arch, alley: &Alley, light: &Sunlight, runs: &[Vec<Row>], start: Start) -> Vec<Vec<Passed>> {
    let mut hours = vec![Vec::new(); runs.len()];
    let slices: Vec<&[Row]> = runs.iter().map(Vec::as_slice).collect();
    with(arch, alley, light, &slices, start, &mut |run, passed| {
        hours[run].push(passed)
    });
    hours
}

/// Largest differences: water \[mm\], soil \[mm\], temperatures \[K\], light \[W/m²\], wind \[m/s\].
fn apart(alone: &[CoverHour], together: &[Passed]) -> [f64; 5] {
    let mut most = [0.0_f64; 5];
    assert_eq!(alone.len(), together.len());
    for (k, (a, b)) in alone.iter().zip(together).enumerate() {
        let b = &b.cover;
        let pairs = [
            (0, a.film_mm, b.film_mm),
            (0, a.pond_mm, b.pond_mm),
            (0, a.under_mm, b.under_mm),
            (0, a.evap_top_mm, b.evap_top_mm),
            (0, a.evap_under_mm, b.evap_under_mm),
            (0, a.runoff_mm, b.runoff_mm),
            (0, a.drip_mm, b.drip_mm),
            (1, a.soil_mm, b.soil_mm),
            (2, a.sheet_c, b.sheet_c),
            (2, a.ground_c, b.ground_c),
            (3, a.light, b.light),
            (4, a.wind, b.wind),
        ];
        for (which, a, b) in pairs {
            assert!(b.is_finite(), "hour {k}: {together:?}");
            most[which] = most[which].max((a - b).abs());
        }
        assert!(b.residual < 1e-3, "hour {k}: {}", b.residual);
        assert_eq!(a.doubtful, b.doubtful, "hour {k}");
    }
    most
}

fn alley(tie_height_m: f64, tree_height_m: f64) -> Alley {
    Alley {
        lat: 46.5,
        lon: 11.3,
        alt_m: 250.0,
        row_azimuth_deg: 10.0,
        tie_height_m,
        tree_height_m,
        ..Alley::default()
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn side_by_side_a_run_comes_out_as_alone(
        seed in any::<u64>(), base in -30.0..40.0_f64, tie in 0.0..1.0_f64, trees in 0.0..6.0_f64, count in 1..12_usize,
        full in any::<bool>(),
    ) {
        let alley = alley(tie, trees);
        let light = Sunlight::of(&alley, stamps("2026-03-01T01:00:00Z", 120));
        let start = if full { Start::Full } else { Start::Empty };
        let runs: Vec<Vec<Row>> = (0..count).map(|run| wild(seed.wrapping_add(run as u64), base + run as f64, 120)).collect();
        let alone: Vec<Vec<CoverHour>> = runs.iter().map(|rows| run::run(&alley, &light, rows, start)).collect();
        for arch in [pulp::Arch::new(), pulp::Arch::Scalar] {
            for (alone, together) in alone.iter().zip(together(arch, &alley, &light, &runs, start)) {
                let [water, soil, warmth, light, wind] = apart(alone, &together);
                prop_assert!(water < 1e-6 && soil < 1e-6, "{water} {soil}");
                prop_assert!(warmth < 2e-6, "{warmth}");
                prop_assert!(light < 1e-9 && wind < 1e-9, "{light} {wind}");
            }
        }
    }
}

#[test]
fn the_gust_at_the_cover_is_the_same_side_by_side() {
    // In the third block the edge is as calm as the rows for some directions: no series fits it.
    for (tie, trees) in [(0.3, 3.5), (0.0, 0.2), (0.6, 1.0), (1.2, 4.0)] {
        let alley = alley(tie, trees);
        let shelter = Shelter::of(&alley);
        let light = Sunlight::of(&alley, stamps("2026-06-01T01:00:00Z", 48));
        let runs: Vec<Vec<Row>> = (0..3).map(|seed| wild(seed, 12.0, 48)).collect();
        for (rows, passed) in runs
            .iter()
            .zip(together(pulp::Arch::new(), &alley, &light, &runs, Start::Empty))
        {
            for (row, passed) in rows.iter().zip(passed) {
                let (hour, gust) = (row.hour().unwrap(), passed.gust.unwrap());
                let ratios = shelter.ratios(hour.direction_deg);
                let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-7, "{tie} {trees}: {a} {b}");
                near(gust.inside, shelter.gust(ratios.inside, hour.wind, hour.gust));
                near(gust.edge, shelter.gust(ratios.edge, hour.wind, hour.gust));
                near(gust.sin2, ratios.sin2);
            }
        }
    }
}

#[test]
fn a_run_with_a_hole_and_its_neighbours_come_out_as_alone() {
    let alley = alley(0.3, 3.5);
    let light = Sunlight::of(&alley, stamps("2026-03-01T01:00:00Z", 72));
    let mut runs: Vec<Vec<Row>> = (0..3).map(|run| wild(run, 8.0, 72)).collect();
    runs[1][30] = Row::Hole;
    let together = together(pulp::Arch::new(), &alley, &light, &runs, Start::Empty);
    let alone = run::run(&alley, &light, &runs[1], Start::Empty);
    assert_eq!(together[1].iter().map(|passed| passed.cover).collect::<Vec<_>>(), alone);
    assert!(together[1][40].cover.doubtful && !together[2][40].cover.doubtful);
    assert!(together[1][30].gust.is_none() && together[1][31].gust.is_some());
    assert_eq!(together[2].len(), 72);
}

/// Invariant: members are independent.
#[test]
fn a_run_alone_comes_out_as_among_others() {
    let alley = alley(0.3, 3.5);
    let light = Sunlight::of(&alley, stamps("2026-09-01T01:00:00Z", 240));
    let runs: Vec<Vec<Row>> = (0..9).map(|run| wild(run, 10.0 + run as f64, 240)).collect();
    let among = together(pulp::Arch::new(), &alley, &light, &runs, Start::Empty);
    let alone = together(pulp::Arch::new(), &alley, &light, &runs[4..5], Start::Empty);
    for (a, b) in alone[0].iter().zip(&among[4]) {
        assert!((a.cover.film_mm - b.cover.film_mm).abs() < 1e-7);
        assert!((a.cover.under_mm - b.cover.under_mm).abs() < 1e-7);
    }
}

struct Exponentials;

impl WithSimd for Exponentials {
    type Output = ();

    fn with_simd<S: Simd>(self, simd: S) {
        for k in -1300..=1300 {
            let x = f64::from(k) * 0.01;
            let [own, ..] = Wide::all(simd, x).exp().told();
            let within = if x.abs() <= 8.0 { 1e-12 } else { 1e-10 };
            assert!((own / x.exp() - 1.0).abs() < within, "{x}: {own}");
            let [own, ..] = Wide::all(simd, x).sine_of_half_turns().told();
            assert!(
                (own - (x * std::f64::consts::PI).sin().abs()).abs() < 1e-12,
                "{x}: {own}"
            );
        }
    }
}

#[test]
fn exponential_and_sine_agree_with_the_library() {
    pulp::Arch::new().dispatch(Exponentials);
    pulp::Arch::Scalar.dispatch(Exponentials);
}
