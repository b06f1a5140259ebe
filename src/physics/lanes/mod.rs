//! The cover model for many runs at once: several runs side by side, the same sums as [`super::run`].
//!
//! In:     hourly weather of runs that are known throughout, the block's light over the same hours.
//! Out:    for each run and hour what `run` gives, and what of the gust reaches the cover.
//!
//! One instruction does four runs where the machine has AVX2, which is asked once at run time; elsewhere
//! the same sums are done one by one. The exponential is our own, because the library's cannot be done
//! side by side. Runs with holes, and blocks with unusual exponents, go through `run` one by one: that
//! form stays the reference, and the tests hold this one against it.

mod cover;
mod number;
mod saturation;
mod shares;
#[cfg(test)]
mod tests;

use pulp::{Simd, WithSimd};

use self::cover::Cover;
use self::number::Wide;
use self::shares::Shares;
use super::hour::{CoverHour, Row, Start};
use super::run;
use super::sunlight::Sunlight;
use super::wind::Shelter;
use crate::alley::Alley;

/// One hour of one run: the cover, and the gust it feels.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Passed {
    /// Water, warmth and light.
    pub cover: CoverHour,
    /// Gust at the cover between the rows and in the most exposed row \[m/s\], and the squared sine between
    /// wind and row; `None` in a hole.
    pub gust: Option<Gust>,
}

/// The gust at the cover.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Gust {
    /// Between the rows \[m/s\].
    pub inside: f64,
    /// In the most exposed covered row \[m/s\].
    pub edge: f64,
    /// Squared sine between wind and row.
    pub sin2: f64,
}

impl Gust {
    /// The gust at the cover from the weather of one hour.
    pub fn of(shelter: &Shelter, direction_deg: f64, wind: f64, gust: f64) -> Self {
        let ratios = shelter.ratios(direction_deg);
        Self {
            inside: shelter.gust(ratios.inside, wind, gust),
            edge: shelter.gust(ratios.edge, wind, gust),
            sin2: ratios.sin2,
        }
    }
}

/// Takes every run of the weather through the cover; `light` belongs to the rows of all. `told` is handed
/// each hour with the number of its run, hours of one run in time order.
pub fn run_all(alley: &Alley, light: &Sunlight, runs: &[&[Row]], start: Start, told: &mut impl FnMut(usize, Passed)) {
    with(pulp::Arch::new(), alley, light, runs, start, told);
}

fn with(
    arch: pulp::Arch,
    alley: &Alley,
    light: &Sunlight,
    runs: &[&[Row]],
    start: Start,
    told: &mut impl FnMut(usize, Passed),
) {
    let plain = (alley.wet_exp - 0.5).abs() < 1e-12
        && !alley.underside_off
        && alley.g_min > 0.0
        && [alley.c_film_mm, alley.c_under_mm, alley.soil_max_mm]
            .iter()
            .all(|holds| *holds > 0.0);
    let shelter = Shelter::of(alley);
    let mut known = Vec::with_capacity(runs.len());
    let count = runs.iter().map(|rows| rows.len()).max().unwrap_or(0);
    for (number, rows) in runs.iter().enumerate() {
        if plain && rows.len() == count && rows.iter().all(|row| matches!(row, Row::Known(_))) {
            known.push((number, *rows));
            continue;
        }
        for (row, cover) in rows.iter().zip(run::run(alley, light, rows, start)) {
            let gust = row
                .hour()
                .map(|hour| Gust::of(&shelter, hour.direction_deg, hour.wind, hour.gust));
            told(number, Passed { cover, gust });
        }
    }
    if known.is_empty() {
        return;
    }
    arch.dispatch(Work {
        alley,
        light,
        shares: Shares::of(shelter, alley.row_azimuth_deg),
        days: cover::light(light),
        runs: &known,
        start,
        told,
    });
}

/// All runs that can go side by side.
struct Work<'a, F> {
    alley: &'a Alley,
    light: &'a Sunlight,
    shares: Shares,
    days: Vec<cover::LightHour>,
    runs: &'a [(usize, &'a [Row])],
    start: Start,
    told: &'a mut F,
}

impl<F: FnMut(usize, Passed)> WithSimd for Work<'_, F> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        for group in self.runs.chunks(Wide::<S>::RUNS) {
            let mut cover = Cover::new(simd, self.alley, &self.shares, group, self.start, self.light.sky_view);
            let count = group.iter().map(|(_, rows)| rows.len()).min().unwrap_or(0);
            for (k, light) in self.days.iter().take(count).enumerate() {
                cover.hour(simd, group, k, light, self.told);
            }
        }
    }
}
