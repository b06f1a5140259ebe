//! Moist air: vapour pressure, pressure at height, heat of evaporation.
//!
//! In:     air temperature \[°C\], height \[m\].
//! Out:    vapour pressure and pressure \[kPa\], slope \[kPa/K\], latent heat \[J/kg\].
//! Source: Allen et al. 1998, FAO Irrigation and Drainage Paper 56, eq. 11 and 13; pressure of the
//!         standard atmosphere; latent heat as in FAO-56 annex 3.
//! Valid:  over liquid water, taken at all temperatures.

use super::{C_P, EPSILON, R_D, kelvin};

const AT_ZERO_KPA: f64 = 0.6108;
const SLOPE: f64 = 17.27;
const OFFSET_C: f64 = 237.3;

/// Saturation vapour pressure over water \[kPa\] (eq. 11).
pub fn saturation_kpa(air_c: f64) -> f64 {
    AT_ZERO_KPA * (SLOPE * air_c / (air_c + OFFSET_C)).exp()
}

/// Saturation near one temperature: the third-order expansion of eq. 11, made anew where it no longer
/// reaches. The exponential is the dearest part of the cover's balance; temperatures move little from
/// one sub-step to the next, and within the reach the expansion is exact to 1e-8 kPa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Saturation {
    centre_c: f64,
    /// Pressure and its first three derivatives, the latter over 1, 2 and 6.
    terms: [f64; 4],
}

impl Saturation {
    /// Distance from the centre \[K\] up to which the expansion is used.
    const REACH_K: f64 = 0.25;

    /// Expansion about `centre_c`.
    pub fn about(centre_c: f64) -> Self {
        let inverse = 1.0 / (centre_c + OFFSET_C);
        let pressure = AT_ZERO_KPA * (SLOPE * centre_c * inverse).exp();
        // Derivatives of the logarithm of the pressure.
        let one = SLOPE * OFFSET_C * inverse * inverse;
        let two = -2.0 * one * inverse;
        let three = -3.0 * two * inverse;
        let curved = one * one + two;
        let twisted = one * (one * one + 3.0 * two) + three;
        Self {
            centre_c,
            terms: [
                pressure,
                pressure * one,
                pressure * curved / 2.0,
                pressure * twisted / 6.0,
            ],
        }
    }

    /// Pressure \[kPa\] and slope \[kPa/K\] at `air_c`.
    #[inline]
    pub fn near(&mut self, air_c: f64) -> (f64, f64) {
        let mut away = air_c - self.centre_c;
        if away.abs() > Self::REACH_K {
            *self = Self::about(air_c);
            away = 0.0;
        }
        let [value, one, two, three] = self.terms;
        (
            value + away * (one + away * (two + away * three)),
            one + away * (2.0 * two + away * 3.0 * three),
        )
    }
}

/// Dew point \[°C\] of air with that vapour pressure \[kPa\]: the inverse of eq. 11.
pub fn dew_point_c(vapour_kpa: f64) -> f64 {
    let x = (vapour_kpa / AT_ZERO_KPA).ln();
    OFFSET_C * x / (SLOPE - x)
}

/// Relative humidity, 0 to 1, of air at `air_c` with dew point `dew_c`.
pub fn humidity(air_c: f64, dew_c: f64) -> f64 {
    saturation_kpa(dew_c) / saturation_kpa(air_c)
}

/// Pressure of the standard atmosphere \[kPa\] at `height_m`.
pub fn pressure_kpa(height_m: f64) -> f64 {
    101.325 * (1.0 - 2.255_77e-5 * height_m).max(0.0).powf(5.255_88)
}

/// Heat of evaporation \[J/kg\] at `air_c`.
pub fn latent_heat(air_c: f64) -> f64 {
    2.501e6 - 2361.0 * air_c
}

/// Density of air \[kg/m³\].
pub fn density(pressure_kpa: f64, air_c: f64) -> f64 {
    1000.0 * pressure_kpa / (R_D * kelvin(air_c))
}

/// Psychrometric constant \[kPa/K\].
pub fn psychrometric(pressure_kpa: f64, air_c: f64) -> f64 {
    C_P * pressure_kpa / (EPSILON * latent_heat(air_c))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// FAO-56 ch. 3, examples 3 and 4, as restated in public test suites.
    #[test]
    fn saturation_agrees_with_the_examples_of_fao56() {
        for (air_c, printed_kpa) in [(24.5, 3.075), (15.0, 1.705), (19.75, 2.300), (19.5, 2.267)] {
            let kpa = saturation_kpa(air_c);
            assert!((kpa - printed_kpa).abs() < 0.0025, "{air_c} °C: {kpa} kPa");
        }
    }

    /// US Standard Atmosphere 1976, printed 89.876 kPa at 1000 m and 79.501 kPa at 2000 m (from memory).
    #[test]
    fn pressure_falls_with_height_as_in_the_standard_atmosphere() {
        for (height_m, printed_kpa) in [(0.0, 101.325), (1000.0, 89.876), (2000.0, 79.501)] {
            assert!(
                (pressure_kpa(height_m) - printed_kpa).abs() < 0.01,
                "{height_m} m: {}",
                pressure_kpa(height_m)
            );
        }
    }

    proptest! {
        #[test]
        fn near_its_centre_saturation_and_slope_are_those_of_the_formula(air_c in -30.0..50.0_f64, away in -0.6..0.6_f64) {
            let (pressure, slope) = Saturation::about(air_c).near(air_c + away);
            let at = air_c + away;
            let step = (saturation_kpa(at + 1e-4) - saturation_kpa(at - 1e-4)) / 2e-4;
            prop_assert!((pressure - saturation_kpa(at)).abs() < 1e-8);
            prop_assert!((slope - step).abs() < 2e-7);
        }

        #[test]
        fn dew_point_is_where_the_air_is_full(air_c in -30.0..50.0_f64) {
            prop_assert!((dew_point_c(saturation_kpa(air_c)) - air_c).abs() < 1e-9);
        }
    }
}
