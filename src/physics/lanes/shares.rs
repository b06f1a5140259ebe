//! Wind at the cover of several runs at once.
//!
//! In:     direction, wind and gust at 10 m of each run.
//! Out:    shares of the wind and the gust that reach the cover, as [`wind`](crate::physics::wind) gives them.
//!
//! For one block the shares hang on the squared sine between wind and row alone, and smoothly: they are
//! taken as series of Chebyshev polynomials through values of the reference, and the reference itself
//! where such a series does not fit.

use pulp::Simd;

use super::number::{Buffer, Wide};
use crate::physics::wind::{Ratios, Shelter};

/// Terms of a series.
const TERMS: usize = 14;
/// Places between the ends at which a series is held against the reference.
const CHECKS: u32 = 40;
/// Largest error of a series.
const WITHIN: f64 = 1e-9;

/// How a block weakens the wind from anywhere.
pub(super) struct Shares {
    shelter: Shelter,
    row_half_turns: f64,
    series: Option<[[f64; TERMS]; 4]>,
}

/// What reaches the cover.
#[derive(Clone, Copy)]
pub(super) struct AtCover<S: Simd> {
    /// Sine between wind and row, without sign.
    pub(super) sine: Wide<S>,
    /// Mean wind between the rows over wind at 10 m.
    pub(super) inside: Wide<S>,
    /// The same in the most exposed row.
    pub(super) edge: Wide<S>,
    /// Share of the gust's excess between the rows.
    pub(super) gust_inside: Wide<S>,
    /// The same in the most exposed row.
    pub(super) gust_edge: Wide<S>,
}

fn values(shelter: &Shelter, sin2: f64) -> [f64; 4] {
    let Ratios { inside, edge, .. } = shelter.ratios_for(sin2);
    [inside, edge, shelter.gust_ratio(inside), shelter.gust_ratio(edge)]
}

impl Shares {
    pub(super) fn of(shelter: Shelter, row_azimuth_deg: f64) -> Self {
        Self {
            series: series(&shelter),
            shelter,
            row_half_turns: row_azimuth_deg / 180.0,
        }
    }

    /// What of a wind from `direction` \[degrees\] reaches the cover.
    #[inline(always)]
    pub(super) fn from<S: Simd>(&self, simd: S, direction: Wide<S>) -> AtCover<S> {
        let sine = (direction * (1.0 / 180.0) - self.row_half_turns).sine_of_half_turns();
        let sin2 = sine * sine;
        let [inside, edge, gust_inside, gust_edge] = match &self.series {
            Some(series) => {
                let x = sin2 * 2.0 - 1.0;
                let [a, b, c, d] = series;
                [sum(simd, a, x), sum(simd, b, x), sum(simd, c, x), sum(simd, d, x)]
            }
            None => self.one_by_one(sin2.told()).map(|values| Wide::of(simd, &values)),
        };
        AtCover {
            sine,
            inside,
            edge,
            gust_inside,
            gust_edge,
        }
    }

    #[cold]
    #[inline(never)]
    fn one_by_one(&self, sin2: Buffer) -> [Buffer; 4] {
        let found = sin2.map(|sin2| values(&self.shelter, sin2));
        [
            found.map(|[inside, ..]| inside),
            found.map(|[_, edge, ..]| edge),
            found.map(|[_, _, gust, _]| gust),
            found.map(|[.., gust]| gust),
        ]
    }
}

/// The series of the four shares, if they fit.
fn series(shelter: &Shelter) -> Option<[[f64; TERMS]; 4]> {
    let count = TERMS as f64;
    let mut found = [[0.0; TERMS]; 4];
    for node in (0..TERMS).map(|node| (node as f64 + 0.5) / count * std::f64::consts::PI) {
        let values = values(shelter, 0.5 + 0.5 * node.cos());
        for (terms, value) in found.iter_mut().zip(values) {
            for (number, term) in (0_u32..).zip(terms) {
                let weight = if number == 0 { 1.0 } else { 2.0 };
                *term += weight / count * value * (f64::from(number) * node).cos();
            }
        }
    }
    let fits = (0..=CHECKS).all(|check| {
        let sin2 = f64::from(check) / f64::from(CHECKS);
        let x = 2.0 * sin2 - 1.0;
        found.iter().zip(values(shelter, sin2)).all(|(terms, value)| {
            let mut ahead = (0.0, 0.0);
            for term in terms.iter().skip(1).rev() {
                ahead = (term + 2.0 * x * ahead.0 - ahead.1, ahead.0);
            }
            let sum = terms.first().copied().unwrap_or_default() + x * ahead.0 - ahead.1;
            (sum - value).abs() < WITHIN
        })
    });
    fits.then_some(found)
}

/// A series of Chebyshev polynomials at `x`, after Clenshaw.
#[inline(always)]
fn sum<S: Simd>(simd: S, terms: &[f64; TERMS], x: Wide<S>) -> Wide<S> {
    let twice = x * 2.0;
    let mut ahead = (Wide::all(simd, 0.0), Wide::all(simd, 0.0));
    for term in terms.iter().skip(1).rev() {
        ahead = (twice.times_plus(ahead.0, Wide::all(simd, *term) - ahead.1), ahead.0);
    }
    let [first, ..] = terms;
    x.times_plus(ahead.0, Wide::all(simd, *first) - ahead.1)
}
