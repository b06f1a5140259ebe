//! Saturation vapour pressure of several runs at once.
//!
//! In:     temperature \[°C\] of each run.
//! Out:    pressure \[kPa\] and slope \[kPa/K\].
//! Source: as [`vapour`](crate::physics::vapour), FAO-56 eq. 11.

use pulp::Simd;

use super::number::Wide;

const AT_ZERO_KPA: f64 = 0.6108;
const SLOPE: f64 = 17.27;
const OFFSET_C: f64 = 237.3;

/// Distance from the centre \[K\] up to which the expansion is used: there it is exact to 1e-9 kPa.
const REACH_K: f64 = 1.0;

/// The expansion of eq. 11 to the fifth order about one temperature of each run, made anew for all when
/// one has gone out of its reach.
#[derive(Clone, Copy)]
pub(super) struct Saturation<S: Simd> {
    centre: Wide<S>,
    terms: [Wide<S>; 6],
}

impl<S: Simd> Saturation<S> {
    #[inline(always)]
    pub(super) fn about(simd: S, centre: Wide<S>) -> Self {
        let inverse = Wide::all(simd, 1.0) / (centre + OFFSET_C);
        let first = (centre * SLOPE * inverse).exp() * AT_ZERO_KPA;
        // The logarithm of the pressure has the derivative `pull` at the centre; its own terms fall by
        // -`inverse` each. Term n + 1 of the pressure is the sum of both series' products over n + 1.
        let pull = inverse * inverse * (SLOPE * OFFSET_C);
        let fall = inverse * -1.0;
        let logarithm = [
            pull,
            pull * fall * 2.0,
            pull * fall * fall * 3.0,
            pull * fall * fall * fall * 4.0,
            pull * fall * fall * (fall * fall) * 5.0,
        ];
        let [g0, g1, g2, g3, g4] = logarithm;
        let c1 = first * g0;
        let c2 = (c1 * g0).along(first, g1) * (1.0 / 2.0);
        let c3 = (c2 * g0).along(c1, g1).along(first, g2) * (1.0 / 3.0);
        let c4 = (c3 * g0).along(c2, g1).along(c1, g2).along(first, g3) * (1.0 / 4.0);
        let c5 = (c4 * g0).along(c3, g1).along(c2, g2).along(c1, g3).along(first, g4) * (1.0 / 5.0);
        Self {
            centre,
            terms: [first, c1, c2, c3, c4, c5],
        }
    }

    /// Makes sure that `at` is within reach.
    #[inline(always)]
    pub(super) fn reach(&mut self, simd: S, at: Wide<S>) {
        if (at - self.centre).size().largest() > REACH_K {
            *self = Self::about(simd, at);
        }
    }

    /// Pressure at `at`, which is within reach.
    #[inline(always)]
    pub(super) fn pressure(&self, at: Wide<S>) -> Wide<S> {
        let x = at - self.centre;
        let [c0, c1, c2, c3, c4, c5] = self.terms;
        c5.times_plus(x, c4)
            .times_plus(x, c3)
            .times_plus(x, c2)
            .times_plus(x, c1)
            .times_plus(x, c0)
    }

    /// Pressure and slope at `at`, which is within reach.
    #[inline(always)]
    pub(super) fn with_slope(&self, at: Wide<S>) -> (Wide<S>, Wide<S>) {
        let x = at - self.centre;
        let [c0, c1, c2, c3, c4, c5] = self.terms;
        // Horner's scheme for the value; the partial sums give the slope on the way.
        let (p, q) = (c5.times_plus(x, c4), c5);
        let (p, q) = (p.times_plus(x, c3), q.times_plus(x, p));
        let (p, q) = (p.times_plus(x, c2), q.times_plus(x, p));
        let (p, q) = (p.times_plus(x, c1), q.times_plus(x, p));
        let (p, q) = (p.times_plus(x, c0), q.times_plus(x, p));
        (p, q)
    }
}
