//! What the sky sends down: its emissivity, and the diffuse share of sunlight.
//!
//! In:     vapour pressure \[kPa\], air temperature \[°C\], cloud and clearness 0 to 1.
//! Out:    emissivity and shares, 0 to 1.
//! Source: Prata 1996 (clear sky); Unsworth and Monteith 1975 (clouds); Erbs, Klein and Duffie 1982
//!         (diffuse share); Spencer 1971 (sun outside the air). Equations from memory of these works.

use std::f64::consts::PI;

use super::kelvin;

/// Irradiance outside the air at mean distance \[W/m²\].
const SOLAR_CONSTANT: f64 = 1361.0;

/// Emissivity of a clear sky.
pub fn clear_emissivity(vapour_kpa: f64, air_c: f64) -> f64 {
    let w = 46.5 * 10.0 * vapour_kpa / kelvin(air_c);
    1.0 - (1.0 + w) * (-(1.2 + 3.0 * w).sqrt()).exp()
}

/// Emissivity of the sky under `cloud`, 0 to 1.
pub fn emissivity(vapour_kpa: f64, air_c: f64, cloud: f64) -> f64 {
    (1.0 - 0.84 * cloud) * clear_emissivity(vapour_kpa, air_c) + 0.84 * cloud
}

/// Irradiance outside the air square to the sun \[W/m²\]; `day` counts from 1 January 00:00, fractional.
pub fn extraterrestrial(day: f64) -> f64 {
    let angle = 2.0 * PI * day / 365.0;
    let distance = 1.000_110
        + 0.034_221 * angle.cos()
        + 0.001_280 * angle.sin()
        + 0.000_719 * (2.0 * angle).cos()
        + 0.000_077 * (2.0 * angle).sin();
    SOLAR_CONSTANT * distance
}

/// Diffuse share of `shortwave` \[W/m²\] on the level with the sun at `sin_elevation` and
/// `outside` \[W/m²\] beyond the air.
pub fn diffuse_share(shortwave: f64, sin_elevation: f64, outside: f64) -> f64 {
    if sin_elevation <= 0.05 {
        return 1.0;
    }
    let k = (shortwave / (outside * sin_elevation)).clamp(0.0, 1.0);
    if k <= 0.22 {
        1.0 - 0.09 * k
    } else if k <= 0.80 {
        0.9511 + k * (-0.1604 + k * (4.388 + k * (-16.638 + k * 12.336)))
    } else {
        0.165
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn an_overcast_sky_shines_almost_like_the_air() {
        let (clear, overcast) = (emissivity(1.2, 12.0, 0.0), emissivity(1.2, 12.0, 1.0));
        assert!(clear > 0.70 && clear < 0.85, "{clear}");
        assert!(overcast > 0.95 && overcast < 1.0, "{overcast}");
    }

    /// Spencer 1971: nearest to the sun in early January (3.5 % more), farthest in early July.
    #[test]
    fn the_sun_is_nearest_in_january() {
        assert!((extraterrestrial(2.0) / SOLAR_CONSTANT - 1.035).abs() < 0.001);
        assert!((extraterrestrial(184.0) / SOLAR_CONSTANT - 0.967).abs() < 0.001);
    }

    proptest! {
        #[test]
        fn shares_stay_shares(
            shortwave in 0.0..1400.0_f64, sine in -1.0..1.0_f64, vapour in 0.05..5.0_f64, cloud in 0.0..=1.0_f64,
        ) {
            prop_assert!((0.0..=1.0).contains(&diffuse_share(shortwave, sine, 1361.0)));
            prop_assert!((0.0..=1.0).contains(&emissivity(vapour, 15.0, cloud)));
        }
    }
}
