//! Wind at the height of the cover.
//!
//! In:     wind and gust at 10 m in the open \[m/s\], its direction, geometry of the alley.
//! Out:    shares of the 10 m wind, gust at the cover \[m/s\].
//! Source: logarithmic profile above, exponential profile inside the canopy (Cionco 1965); 0.4 along
//!         the rows is the value in use for fruit-tree canopies. Gusts fall off less than the mean
//!         (Raupach, Finnigan and Brunet 1996).
//! Assumed: 1.6 across the rows, the edge rule and the gust exponent are engineering estimates.

use super::hedge::OPEN_FIELD_M;
use crate::alley::Alley;

/// Roughness of open ground \[m\].
const OPEN_ROUGHNESS_M: f64 = 0.03;
/// Height at which the wind no longer feels the orchard \[m\].
const BLENDING_M: f64 = 60.0;
/// Height at which wind is measured and forecast \[m\].
const MAST_M: f64 = 10.0;

/// How a block weakens the wind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shelter {
    open: f64,
    top: f64,
    edge: f64,
    /// 1 less height of the cover over tree height.
    depth: f64,
    density: f64,
    a_par: f64,
    a_perp: f64,
    row_rad: f64,
    gust_exp: f64,
    in_orchard: bool,
}

/// Wind at the cover as a share of the 10 m wind, for one direction.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Ratios {
    /// Between the rows.
    pub inside: f64,
    /// In the most exposed covered row.
    pub edge: f64,
    /// Square of the sine between wind and row.
    pub sin2: f64,
}

impl Shelter {
    /// The shelter of a block.
    pub fn of(alley: &Alley) -> Self {
        let height = alley.tree_height_m;
        let at = alley.tie_height_m.max(0.10);
        let open = (at / OPEN_ROUGHNESS_M).ln() / (MAST_M / OPEN_ROUGHNESS_M).ln();
        let in_orchard = height >= OPEN_FIELD_M;
        let (top, edge, depth) = if in_orchard {
            let (displacement, roughness) = (0.65 * height, 0.10 * height);
            let aloft = (BLENDING_M / OPEN_ROUGHNESS_M).ln() / (MAST_M / OPEN_ROUGHNESS_M).ln();
            let top =
                aloft * ((height - displacement) / roughness).ln() / ((BLENDING_M - displacement) / roughness).ln();
            (
                top,
                (-alley.edge_distance_m / (3.0 * height)).exp(),
                1.0 - (at / height).min(1.0),
            )
        } else {
            (open, 0.0, 0.0)
        };
        Self {
            open,
            top,
            edge,
            depth,
            density: alley.density,
            a_par: alley.a_par,
            a_perp: alley.a_perp,
            row_rad: alley.row_azimuth_deg.to_radians(),
            gust_exp: alley.gust_exp,
            in_orchard,
        }
    }

    /// Shares for wind from `direction_deg`.
    pub fn ratios(&self, direction_deg: f64) -> Ratios {
        let sine = (direction_deg.to_radians() - self.row_rad).sin();
        self.ratios_for(sine * sine)
    }

    /// Shares for a wind whose angle to the row has this squared sine.
    pub fn ratios_for(&self, sin2: f64) -> Ratios {
        if !self.in_orchard {
            return Ratios {
                inside: self.open,
                edge: self.open,
                sin2,
            };
        }
        let attenuation = (self.a_par + (self.a_perp - self.a_par) * sin2) * (0.5 + self.density);
        let inside = self.top * (-attenuation * self.depth).exp();
        Ratios {
            inside,
            edge: inside + self.edge * (self.open - inside).max(0.0),
            sin2,
        }
    }

    /// Gust at the cover \[m/s\] where the mean wind there is `ratio` of the 10 m wind.
    pub fn gust(&self, ratio: f64, wind: f64, gust: f64) -> f64 {
        let wind = wind.max(0.0);
        ratio * wind + (gust.max(wind) - wind) * self.gust_ratio(ratio)
    }

    /// Share of the gust's excess over the mean that reaches the cover.
    pub fn gust_ratio(&self, ratio: f64) -> f64 {
        ratio.max(ratio.powf(self.gust_exp))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Al-Jumaili and Salyani 2014 (citrus grove, abstract): at most 0.20 of the 10 m wind at 0.6 m.
    #[test]
    fn a_default_block_lets_a_fifth_of_the_wind_in_along_the_rows() {
        let shelter = Shelter::of(&Alley::default());
        assert!((shelter.top - 0.321).abs() < 5e-4);
        assert!((shelter.ratios(0.0).inside - 0.223).abs() < 5e-4);
        assert!((shelter.ratios(90.0).inside - 0.074).abs() < 5e-4);
        assert!((shelter.ratios(180.0).edge - 0.29).abs() < 5e-3);
        assert!((shelter.ratios(270.0).edge - 0.20).abs() < 5e-3);
    }

    proptest! {
        #[test]
        fn the_edge_is_never_calmer_than_the_inside(
            height in 0.0..12.0_f64, tie in 0.0..1.5_f64, density in 0.0..=1.0_f64, direction in 0.0..360.0_f64,
        ) {
            let alley = Alley { tree_height_m: height, tie_height_m: tie, density, ..Alley::default() };
            let ratios = Shelter::of(&alley).ratios(direction);
            prop_assert!(ratios.edge >= ratios.inside);
        }

        #[test]
        fn wind_across_the_rows_is_weaker_inside_than_wind_along_them(less in 0.0..1.0_f64, more in 0.0..1.0_f64) {
            let shelter = Shelter::of(&Alley::default());
            prop_assume!(less < more);
            prop_assert!(shelter.ratios_for(more).inside < shelter.ratios_for(less).inside);
        }
    }
}
