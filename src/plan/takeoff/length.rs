//! Lengths of cloth in whole decimetres: what is measured, cut and written on labels.

use serde::Serialize;

use crate::units::{DisplayUnits, Metres};

/// A length in whole decimetres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize)]
#[serde(transparent)]
pub struct Decimetres(pub u64);

impl Decimetres {
    /// The nearest whole decimetre; nothing below zero.
    pub fn nearest(length: Metres) -> Self {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "held between 0 and a billion"
        )]
        Self((length.0 * 10.0).round().clamp(0.0, 1e9) as u64)
    }

    /// In metres.
    pub fn metres(self) -> Metres {
        Metres(self.0 as f64 / 10.0)
    }

    /// "36.5 m" or "119 ft 9 in", to the nearest inch (1 in = 0.0254 m exactly, NIST SP 811 appendix B).
    pub fn said(self, units: DisplayUnits) -> String {
        match units {
            DisplayUnits::Metric => format!("{}.{} m", self.0 / 10, self.0 % 10),
            DisplayUnits::Imperial => {
                let inches = self.inches();
                format!("{} ft {} in", inches / 12, inches % 12)
            }
        }
    }

    /// Nearest inch: a decimetre is 100/25.4 = 500/127 inches.
    fn inches(self) -> u64 {
        (self.0 * 1000 + 127) / 254
    }
}

impl std::ops::Add for Decimetres {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl std::iter::Sum for Decimetres {
    fn sum<I: Iterator<Item = Self>>(lengths: I) -> Self {
        Self(lengths.map(|length| length.0).sum())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_is_written_in_metres_or_in_feet_and_inches() {
        let said = |dm, units| Decimetres(dm).said(units);
        assert_eq!(said(365, DisplayUnits::Metric), "36.5 m");
        // 36.5 m / 0.0254 = 1437.0 in
        assert_eq!(said(365, DisplayUnits::Imperial), "119 ft 9 in");
        // 80 m / 0.0254 = 3149.6 in
        assert_eq!(said(800, DisplayUnits::Imperial), "262 ft 6 in");
        assert_eq!(said(0, DisplayUnits::Imperial), "0 ft 0 in");
    }

    #[test]
    fn the_nearest_inch_is_never_more_than_half_an_inch_away() {
        for dm in 0..20_000_u64 {
            let exact = dm as f64 / 0.254;
            let inches = Decimetres(dm).inches() as f64;
            assert!((inches - exact).abs() <= 0.5 + 1e-9, "{dm}: {inches} {exact}");
        }
    }
}
