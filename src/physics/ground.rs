//! The ground under the cover: a thin warm layer over slow soil, and the water in the top soil.
//!
//! In:     heat and vapour that pass the gap, light through the cloth, water that reaches the soil.
//! Out:    surface and soil temperature \[°C\], water in the top soil \[mm\], vapour conductance \[m/s\].
//! Source: force-restore layer and bucket; resistance of wet grass about 70 s/m (FAO-56, eq. 5 with
//!         leaf area 2.9).
//! Assumed: all parameters are engineering estimates.

use super::{SIGMA, kelvin4};
use crate::alley::Alley;

const DAY_S: f64 = 86_400.0;

/// State of the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ground {
    /// Surface \[°C\].
    pub surface_c: f64,
    /// Soil below \[°C\].
    pub deep_c: f64,
    /// Water in the top soil \[mm\].
    pub soil_mm: f64,
}

/// What reaches the ground in one sub-step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Supply {
    /// Light at the cover \[W/m²\].
    pub light: f64,
    /// Temperature of the cloth \[°C\].
    pub sheet_c: f64,
    /// Heat from the gap \[W/m²\].
    pub gap_heat: f64,
    /// Evaporation from the ground as heat \[W/m²\].
    pub evaporation: f64,
    /// Air outside \[°C\].
    pub air_c: f64,
    /// Water that infiltrates, drips or is irrigated \[mm\].
    pub water_mm: f64,
    /// Heat of evaporation \[J/kg\].
    pub latent_heat: f64,
}

impl Ground {
    /// Vapour conductance from the ground surface to the gap \[m/s\], where heat has `g_b`.
    pub fn conductance(&self, alley: &Alley, g_b: f64) -> f64 {
        let dry = 1.0 - self.soil_mm / alley.soil_max_mm;
        1.0 / (1.0 / (alley.le_ratio * g_b) + alley.r_surf_wet + alley.r_surf_range * dry * dry)
    }

    /// Moves the ground on by `dt` seconds; explicit, all from values before the step.
    pub fn step(&mut self, alley: &Alley, supply: &Supply, dt: f64) {
        let heat = alley.transmittance * supply.light * (1.0 - alley.ground_albedo)
            + alley.emissivity * SIGMA * (kelvin4(supply.sheet_c) - kelvin4(self.surface_c))
            + supply.gap_heat
            - supply.evaporation
            + alley.k_deep * (self.deep_c - self.surface_c);
        let drydown = alley.soil_drydown_mm_d * (self.soil_mm / alley.soil_max_mm) * dt / DAY_S;
        let lost = supply.evaporation * dt / supply.latent_heat;
        self.soil_mm = (self.soil_mm + supply.water_mm - lost - drydown).clamp(0.0, alley.soil_max_mm);
        self.deep_c += (supply.air_c - self.deep_c) * dt / (alley.tau_deep_d * DAY_S);
        self.surface_c += heat * dt / alley.c_ground;
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn wetter_soil_gives_vapour_more_freely(soil in 0.0..19.0_f64, more in 0.1..1.0_f64, g_b in 0.001..0.05_f64) {
            let alley = Alley::default();
            let at = |soil_mm| Ground { surface_c: 10.0, deep_c: 10.0, soil_mm }.conductance(&alley, g_b);
            prop_assert!(at(soil + more) > at(soil));
        }

        #[test]
        fn the_top_soil_never_holds_more_than_it_can(water in 0.0..100.0_f64, evaporation in -50.0..400.0_f64) {
            let alley = Alley::default();
            let mut ground = Ground { surface_c: 10.0, deep_c: 12.0, soil_mm: 10.0 };
            let supply = Supply { light: 0.0, sheet_c: 10.0, gap_heat: 0.0, evaporation, air_c: 10.0,
                water_mm: water, latent_heat: 2.48e6 };
            ground.step(&alley, &supply, 600.0);
            prop_assert!((0.0..=alley.soil_max_mm).contains(&ground.soil_mm));
        }
    }
}
