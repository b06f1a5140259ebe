//! Rules for what a source does not offer at all. A filled value is always marked as estimated.
//!
//! In:     temperature \[°C\], humidity \[0–1\], wind \[m/s\], cloud \[0–1\], sine of the sun's elevation.
//! Out:    dew point \[°C\], gust \[m/s\], global radiation \[W/m²\].
//! Source: dew point, Allen et al. 1998, FAO Irrigation and Drainage Paper 56, eq. 11 and 14 solved for
//!         the dew point; gust and radiation, engineering estimates of this project, on the rough side
//!         for the gust: twice the mean and never less than 3 m/s above it.
//! Valid:  over liquid water; a lone hole is never filled by these rules.

use chrono::{DateTime, TimeDelta, Utc};

use super::series::{Series, Stamps};

/// e_s(0 °C) \[kPa\], slope and offset of FAO-56 eq. 11.
const AT_ZERO_KPA: f64 = 0.6108;
const SLOPE: f64 = 17.27;
const OFFSET_C: f64 = 237.3;

/// Dew point \[°C\] of air at `air_c` with relative humidity `share`; `None` for dry or impossible air.
pub fn dew_point(air_c: f64, share: f64) -> Option<f64> {
    if !(share > 0.0 && share <= 1.0) {
        return None;
    }
    let vapour_kpa = share * AT_ZERO_KPA * (SLOPE * air_c / (air_c + OFFSET_C)).exp();
    let log = (vapour_kpa / AT_ZERO_KPA).ln();
    let dew_c = OFFSET_C * log / (SLOPE - log);
    dew_c.is_finite().then_some(dew_c)
}

/// Highest gust of the hour \[m/s\] for a mean wind.
pub fn gust(wind_m_s: f64) -> f64 {
    (2.0 * wind_m_s).max(wind_m_s + 3.0)
}

/// Global radiation \[W/m²\] at a sine of elevation under a cloud share.
pub fn shortwave(sin_elevation: f64, cloud: f64) -> f64 {
    1000.0 * sin_elevation.max(0.0).powf(1.15) * (1.0 - 0.7 * cloud.clamp(0.0, 1.0))
}

/// [`shortwave`] for every hour, at its middle; a hole in the cloud at either end leaves a hole.
pub(super) fn shortwave_series(stamps: Stamps, cloud: &Series, sin_elevation: impl Fn(DateTime<Utc>) -> f64) -> Series {
    let hours = (0..stamps.count).map(|k| {
        let end = cloud.get(k)?;
        let start = k.checked_sub(1).map_or(Some(end), |before| cloud.get(before))?;
        let middle = stamps.at(k) - TimeDelta::minutes(30);
        Some(shortwave(sin_elevation(middle), 0.5 * (start + end)))
    });
    Series::new(hours)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FAO-56 ch. 3: saturation at 24.5 °C is 3.075 kPa and at 15 °C 1.705 kPa (example 3), so air of
    /// 24.5 °C at 1.705/3.075 has its dew point at 15 °C.
    #[test]
    fn dew_point_agrees_with_fao56_example_3() {
        let dew_c = dew_point(24.5, 1.705 / 3.075).unwrap();
        assert!((dew_c - 15.0).abs() < 0.02, "{dew_c} °C");
        assert!((dew_point(12.0, 1.0).unwrap() - 12.0).abs() < 1e-9);
        assert_eq!(dew_point(12.0, 0.0), None);
        assert_eq!(dew_point(12.0, 1.4), None);
    }

    #[test]
    fn an_estimated_gust_is_never_near_the_mean_wind() {
        assert!((gust(0.0) - 3.0).abs() < 1e-12);
        assert!((gust(8.0) - 16.0).abs() < 1e-12);
    }

    #[test]
    fn no_light_at_night_and_no_guess_where_the_cloud_is_a_hole() {
        assert!(shortwave(-0.3, 0.0).abs() < 1e-12);
        assert!((shortwave(1.0, 1.0) - 300.0).abs() < 1e-9);
        let stamps = Stamps {
            first: "2026-03-10T01:00:00Z".parse().unwrap(),
            count: 4,
        };
        let cloud = Series::new([Some(0.0), None, Some(0.5), Some(0.5)]);
        let light = shortwave_series(stamps, &cloud, |_| 1.0);
        assert_eq!(
            light.iter().map(|hour| hour.is_some()).collect::<Vec<_>>(),
            [true, false, false, true]
        );
    }
}
