//! Colour from light, and the running sums that tell it: exact, in whole numbers.

use super::case::{Case, Site};

/// Worth of the colour that `light_md` milli-days bring, of `value_cents` for full colour: the curve is taken as an
/// exact fraction and the product is cut to whole cents once. Light before the first point counts as the first point.
pub fn worth(curve: &[(i64, i64)], value_cents: i64, light_md: i64) -> i64 {
    let Some((first, last)) = curve.first().zip(curve.last()) else {
        return 0;
    };
    let value = i128::from(value_cents);
    let (numerator, denominator) = if light_md <= first.0 {
        (i128::from(first.1), 1000)
    } else if light_md >= last.0 {
        (i128::from(last.1), 1000)
    } else {
        let after = curve.partition_point(|point| point.0 <= light_md);
        let Some((low, high)) = curve.get(after.wrapping_sub(1)).zip(curve.get(after)) else {
            return 0;
        };
        let (width, rise) = (i128::from(high.0 - low.0), i128::from(high.1 - low.1));
        let part = rise * i128::from(light_md - low.0);
        (i128::from(low.1) * width + part, 1000 * width)
    };
    i64::try_from((value * numerator).div_euclid(denominator)).unwrap_or(i64::MAX)
}

/// Running sums of a site: entry `s` holds what came before slot `s`, so that differences tell an interval.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sums {
    /// Light \[milli-days\].
    pub light_md: Vec<i64>,
    /// Expected cost of wind for a kilometre of cover \[cents\].
    pub hold_cents: Vec<i64>,
}

impl Sums {
    /// The sums of one site.
    pub fn of(site: &Site) -> Self {
        Self {
            light_md: running(&site.light_md),
            hold_cents: running(&site.hold_cents_per_km),
        }
    }

    /// The sums of every site of a case.
    pub fn of_sites(case: &Case) -> Vec<Self> {
        case.sites.iter().map(Self::of).collect()
    }

    /// Light in the slots from `from` on and before `to` \[milli-days\].
    pub fn light_between(&self, from: usize, to: usize) -> i64 {
        let at = |slot: usize| self.light_md.get(slot).or(self.light_md.last()).copied().unwrap_or(0);
        at(to) - at(from)
    }

    /// Cost of the wind for `metres` before `slot`, cut to cents.
    pub fn hold_before(&self, slot: usize, metres: i64) -> i64 {
        let sum = self
            .hold_cents
            .get(slot)
            .or(self.hold_cents.last())
            .copied()
            .unwrap_or(0);
        (sum * metres).div_euclid(1000)
    }
}

fn running(values: &[i64]) -> Vec<i64> {
    std::iter::once(0)
        .chain(values.iter().scan(0, |sum, value| {
            *sum += value;
            Some(*sum)
        }))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(crate) const CURVE: [(i64, i64); 9] = [
        (0, 0),
        (7000, 150),
        (14000, 400),
        (21000, 640),
        (28000, 820),
        (35000, 930),
        (42000, 980),
        (56000, 1000),
        (200_000, 1000),
    ];

    #[test]
    fn colour_at_the_printed_days_is_the_printed_worth() {
        // Worked example B: full colour is worth 360.00.
        for (days, cents) in [
            (14, 14400),
            (21, 23040),
            (24, 25817),
            (28, 29520),
            (35, 33480),
            (42, 35280),
        ] {
            assert_eq!(worth(&CURVE, 36000, days * 1000), cents, "{days} d");
        }
    }

    #[test]
    fn light_outside_the_curve_counts_as_its_ends() {
        assert_eq!(worth(&CURVE, 36000, -500), 0);
        assert_eq!(worth(&CURVE, 36000, 900_000), 36000);
        assert_eq!(worth(&[], 36000, 7000), 0);
    }

    #[test]
    fn the_cents_are_cut_once_and_never_rounded_up() {
        assert_eq!(worth(&[(0, 0), (3000, 1000)], 100, 1000), 33);
        assert_eq!(worth(&[(0, 0), (3000, 1000)], 100, 2000), 66);
    }

    #[test]
    fn sums_tell_the_light_between_two_slots() {
        let sums = Sums {
            light_md: running(&[5, 7, 11]),
            hold_cents: running(&[10, 20, 30]),
        };
        assert_eq!(sums.light_between(1, 3), 18);
        assert_eq!(sums.hold_before(2, 1500), 45);
    }
}
