//! Pull on the ties. An estimate for warning, not an engineering check.
//!
//! In:     gust at the cover in the most exposed row \[m/s\], its direction, ties and cloth.
//! Out:    pull per tie \[N\], and as a share of what a tie is allowed to carry; the 10 m gust at
//!         which that share is one \[m/s\].
//! Assumed: net and direction coefficients, same order as those of flat canopy roofs in
//!         EN 1991-1-4:2005 section 7.3 (from memory); the default allowance is cautious guesswork.

use super::G;
use super::wind::{Ratios, Shelter};
use crate::alley::Alley;

/// Density of air for loads \[kg/m³\].
const RHO_LOAD: f64 = 1.2;

/// The ties of a block.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ties {
    /// Pressure per squared gust without the direction's share \[kg/m³\].
    pressure: f64,
    /// Weight of the cloth \[N/m²\].
    weight: f64,
    /// Area one tie holds \[m²\], over the sine of its angle.
    area: f64,
    allowed: f64,
    gust_factor: f64,
}

impl Ties {
    /// The ties of a block.
    pub fn of(alley: &Alley) -> Self {
        let net = 0.2 + 0.6 * (alley.tie_height_m / 0.6).min(1.0);
        Self {
            pressure: 0.5 * RHO_LOAD * net * alley.k_dyn,
            weight: G * alley.cover_mass_kg_m2,
            area: alley.tie_spacing_m * alley.cover_width_m / 2.0 / alley.tie_angle_deg.to_radians().sin(),
            allowed: alley.tie_allow_n,
            gust_factor: alley.gust_factor_ref,
        }
    }

    /// Pull per tie \[N\] in a gust of `gust` \[m/s\] at the cover.
    pub fn pull(&self, gust: f64, sin2: f64) -> f64 {
        (self.pressure * direction(sin2) * gust * gust - self.weight).max(0.0) * self.area
    }

    /// Pull over what a tie may carry.
    pub fn utilisation(&self, gust: f64, sin2: f64) -> f64 {
        self.pull(gust, sin2) / self.allowed
    }

    /// The 10 m gust \[m/s\] at which the worst wind direction brings a tie to what it may carry.
    pub fn critical_gust(&self, shelter: &Shelter) -> f64 {
        [0.0, 0.25, 0.5, 0.75, 1.0]
            .into_iter()
            .map(|sin2| {
                let at_cover = ((self.allowed / self.area + self.weight) / (self.pressure * direction(sin2))).sqrt();
                at_cover / self.ratio(shelter, shelter.ratios_for(sin2))
            })
            .fold(f64::INFINITY, f64::min)
    }

    /// Gust at the cover over gust at 10 m, for a wind with the reference gust factor.
    fn ratio(&self, shelter: &Shelter, ratios: Ratios) -> f64 {
        (ratios.edge + (self.gust_factor - 1.0) * shelter.gust_ratio(ratios.edge)) / self.gust_factor
    }
}

/// What a tie may carry that nobody has pull-tested \[N\]. Assumed.
pub const UNTESTED_N: (f64, f64) = (100.0, 200.0);

/// The 10 m gust \[m/s\] at which the ties of a block reach what they may carry.
pub fn carries(alley: &Alley) -> f64 {
    Ties::of(alley).critical_gust(&Shelter::of(alley))
}

/// Wind across the cloth pulls harder than wind along it.
fn direction(sin2: f64) -> f64 {
    0.6 + 0.4 * sin2
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn at_the_critical_gust_the_worst_direction_brings_a_tie_to_its_allowance(
            tie in 0.0..1.5_f64, height in 0.0..6.0_f64, spacing in 1.0..8.0_f64, edge in 0.0..50.0_f64,
        ) {
            let alley = Alley { tie_height_m: tie, tree_height_m: height, tie_spacing_m: spacing,
                edge_distance_m: edge, ..Alley::default() };
            let (ties, shelter) = (Ties::of(&alley), Shelter::of(&alley));
            let gust = ties.critical_gust(&shelter);
            let worst = [0.0, 0.25, 0.5, 0.75, 1.0].into_iter().map(|sin2| {
                let ratios = shelter.ratios_for(sin2);
                ties.utilisation(shelter.gust(ratios.edge, gust / alley.gust_factor_ref, gust), sin2)
            }).fold(0.0, f64::max);
            prop_assert!((worst - 1.0).abs() < 1e-9, "{worst}");
        }

        #[test]
        fn a_stronger_gust_never_pulls_less(gust in 0.0..40.0_f64, more in 0.0..10.0_f64, sin2 in 0.0..=1.0_f64) {
            let ties = Ties::of(&Alley::default());
            prop_assert!(ties.pull(gust + more, sin2) >= ties.pull(gust, sin2));
        }
    }

    /// Pull goes with the square of the gust: with ties at a quarter of the spacing a weightless cover carries twice it.
    #[test]
    fn four_times_the_ties_carry_twice_the_gust_where_the_cover_weighs_nothing() {
        let light = Alley {
            cover_mass_kg_m2: 0.0,
            ..Alley::default()
        };
        let closer = Alley {
            tie_spacing_m: light.tie_spacing_m / 4.0,
            ..light
        };
        assert!((carries(&closer) / carries(&light) - 2.0).abs() < 1e-12);
    }

    /// Weight alone does not hold a cover: 0.12 kg/m² lifts in a light wind at the cloth.
    #[test]
    fn a_light_wind_at_the_cloth_pulls_nothing_and_a_gale_pulls_hundreds_of_newtons() {
        let ties = Ties::of(&Alley::default());
        assert!(ties.pull(1.5, 1.0) < 1e-12);
        assert!(ties.pull(15.0, 1.0) > 300.0);
    }
}
