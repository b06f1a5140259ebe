//! One covered alley as the model sees it: place, hedges, cloth, water, ground and ties.
//!
//! Every number has its default and allowed range here and nowhere else; `farm.toml` may override
//! any of them per site or per block, and `trace --params` reads the same names from JSON.
//! Defaults marked `Assumed:` are engineering estimates to be tuned by the grower's own log.

use serde::{Deserialize, Serialize};

/// One number of [`Alley`]: its name in files, unit, default, allowed range and meaning.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Number {
    /// Key in `farm.toml` and in the JSON of `trace --params`.
    pub name: &'static str,
    /// Unit as printed; empty for a share or exponent.
    pub unit: &'static str,
    /// Value in force when the grower says nothing.
    pub default: f64,
    /// Least allowed value.
    pub min: f64,
    /// Greatest allowed value.
    pub max: f64,
    /// What it is, in one line.
    pub meaning: &'static str,
}

macro_rules! alley {
    ($($name:ident [$unit:literal] = $default:literal in $min:literal to $max:literal : $meaning:literal;)*) => {
        /// The numbers of one covered alley. Blocks with equal numbers share all computation.
        #[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
        #[serde(default, deny_unknown_fields)]
        pub struct Alley {
            $(#[doc = concat!($meaning, " \\[", $unit, "\\]; default ", stringify!($default), ".")] pub $name: f64,)*
            /// For limiting cases in tests only: the underside exchanges nothing.
            pub underside_off: bool,
        }

        impl Default for Alley {
            fn default() -> Self {
                Self { $($name: $default,)* underside_off: false }
            }
        }

        impl Alley {
            /// Every number in reading order.
            pub const NUMBERS: &'static [Number] = &[
                $(Number { name: stringify!($name), unit: $unit, default: $default, min: $min, max: $max, meaning: $meaning },)*
            ];

            /// The value called `name`, if there is one.
            pub fn get(&self, name: &str) -> Option<f64> {
                match name { $(stringify!($name) => Some(self.$name),)* _ => None }
            }

            /// Sets the value called `name`; says whether there is one. Ranges are the caller's to check.
            pub fn set(&mut self, name: &str, value: f64) -> bool {
                match name { $(stringify!($name) => self.$name = value,)* _ => return false }
                true
            }
        }
    };
}

alley! {
    lat ["deg"] = 0.0 in -90.0 to 90.0: "Latitude, north positive";
    lon ["deg"] = 0.0 in -180.0 to 180.0: "Longitude, east positive";
    alt_m ["m"] = 0.0 in -430.0 to 5000.0: "Elevation above sea level";
    utc_offset_h ["h"] = 0.0 in -14.0 to 14.0: "Offset that forms local days in `trace` only";
    row_azimuth_deg ["deg"] = 0.0 in 0.0 to 360.0: "Direction of the rows from north, modulo 180";
    tree_height_m ["m"] = 3.5 in 0.0 to 12.0: "Tree height; below 0.5 m the block counts as open field";
    skirt_m ["m"] = 0.4 in 0.0 to 5.0: "Height of the lowest foliage";
    hedge_width_m ["m"] = 1.2 in 0.1 to 6.0: "Thickness of the foliage wall";
    row_spacing_m ["m"] = 3.5 in 1.0 to 12.0: "Distance from row to row";
    porosity [""] = 0.30 in 0.0 to 1.0: "Share of light passing one hedge, square to the row";
    cover_width_m ["m"] = 2.2 in 0.3 to 8.0: "Laid width of the cover";
    density [""] = 0.5 in 0.0 to 1.0: "Density of the canopy for wind, 0 very open, 1 very dense";
    edge_distance_m ["m"] = 10.0 in 0.0 to 1000.0: "Distance of the most exposed covered row from the upwind edge";
    tie_height_m ["m"] = 0.30 in 0.0 to 1.5: "Height at which the cover is tied, 0 lying on the ground";
    sag_factor [""] = 0.6 in 0.0 to 1.0: "Mean gap under the cover as a share of the tie height";
    albedo [""] = 0.72 in 0.0 to 0.98: "Share of sunlight the cover reflects in use";
    transmittance [""] = 0.13 in 0.0 to 0.9: "Share of sunlight the cover lets through";
    emissivity [""] = 0.85 in 0.05 to 1.0: "Thermal emissivity of both faces";
    c_film_mm ["mm"] = 0.30 in 0.01 to 2.0: "Most water held as film and drops on top";
    c_under_mm ["mm"] = 0.25 in 0.01 to 2.0: "Most water held on the underside";
    c_pond_mm ["mm"] = 1.0 in 0.0 to 20.0: "Most water held in sags, over the whole area";
    pond_share [""] = 0.20 in 0.0 to 1.0: "Share of overflowing film caught in sags";
    pond_area [""] = 0.10 in 0.0 to 1.0: "Share of the cover under puddles";
    rain_leak [""] = 0.10 in 0.0 to 1.0: "Share of rain that passes the weave and wets the underside";
    wet_exp [""] = 0.5 in 0.0 to 2.0: "Exponent of the wet-area share";
    wet_thr_mm ["mm"] = 0.02 in 0.001 to 0.2: "Water from which a face counts as wet";
    plate_len_m ["m"] = 0.5 in 0.1 to 10.0: "Length that sets the boundary layer";
    g_min ["m/s"] = 0.0015 in 0.0 to 0.01: "Conductance in still air";
    g_coef [""] = 0.0045 in 0.0 to 0.012: "Conductance per root of wind over length";
    le_ratio [""] = 1.08 in 0.5 to 2.0: "Vapour against heat conductance";
    g_fabric ["m/s"] = 0.0003 in 0.0 to 0.05: "Exchange of air through the weave";
    a_par [""] = 0.4 in 0.0 to 6.0: "Weakening of wind along the rows";
    a_perp [""] = 1.6 in 0.0 to 6.0: "Weakening of wind across the rows";
    gust_exp [""] = 0.4 in 0.0 to 1.0: "How far gusts keep their strength inside the rows";
    u_floor ["m/s"] = 0.10 in 0.0 to 1.0: "Least air movement at the cover";
    ground_albedo [""] = 0.20 in 0.0 to 0.95: "Share of sunlight the ground reflects";
    c_ground ["J/m2/K"] = 30000.0 in 20000.0 to 1000000.0: "Heat held by grass and thatch";
    k_deep ["W/m2/K"] = 2.5 in 0.0 to 10.0: "Heat exchange with the soil below";
    tau_deep_d ["d"] = 5.0 in 0.1 to 60.0: "Days in which the soil follows the air";
    soil_max_mm ["mm"] = 20.0 in 1.0 to 200.0: "Water held by the top soil";
    soil_wetness0 [""] = 0.5 in 0.0 to 1.0: "Share of it filled at the start";
    soil_infil [""] = 0.7 in 0.0 to 1.0: "Share of run-off that reaches the soil under the cover";
    soil_drydown_mm_d ["mm/d"] = 1.5 in 0.0 to 20.0: "Water the roots and depth take from a full top soil";
    r_surf_wet ["s/m"] = 50.0 in 0.0 to 2000.0: "Resistance of wet ground to evaporation";
    r_surf_range ["s/m"] = 1950.0 in 0.0 to 20000.0: "Resistance added by the time it is dry";
    dew_bias_c ["K"] = 0.0 in -5.0 to 5.0: "Added to the forecast dew point for this site";
    tie_spacing_m ["m"] = 6.0 in 0.5 to 20.0: "Distance between ties along each side";
    cover_mass_kg_m2 ["kg/m2"] = 0.12 in 0.02 to 1.0: "Weight of the cover";
    tie_angle_deg ["deg"] = 45.0 in 5.0 to 90.0: "Angle of the tie above the ground";
    tie_allow_n ["N"] = 150.0 in 10.0 to 5000.0: "Pull one tie is allowed to carry; pull-test yours with a luggage scale";
    k_dyn [""] = 1.3 in 1.0 to 3.0: "Shock factor of a flapping cover";
    gust_factor_ref [""] = 1.6 in 1.05 to 3.0: "Gust over mean wind, for the critical gust";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_default_lies_in_its_range_and_can_be_set_by_name() {
        let mut alley = Alley::default();
        for number in Alley::NUMBERS {
            assert!((number.min..=number.max).contains(&number.default), "{}", number.name);
            assert!(alley.set(number.name, number.max));
            assert_eq!(alley.get(number.name), Some(number.max), "{}", number.name);
        }
        assert!(!alley.set("albdo", 0.5));
    }
}
