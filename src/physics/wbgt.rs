//! Wet bulb globe temperature outdoors from weather, with sun and wind.
//!
//! In:     air temperature \[°C\], humidity \[%\], wind at 10 m \[m/s\], sunlight on the level \[W/m²\], its direct
//!         share, cosine of the sun's zenith angle, pressure \[hPa\].
//! Out:    globe, natural wet bulb and wet bulb globe temperature \[°C\].
//! Source: Liljegren et al. 2008, J. Occup. Environ. Hyg. 5:645-655 (heat balance of a 5 cm globe and of a wick,
//!         Bedingfield and Drew's and Ranz and Marshall's heat transfer, wind to 2 m by stability class); ISO 7243
//!         for the sum. Constants from memory of the published program.
//! Valid:  outdoors, ground that reflects 0.45 of the light. A white sheet reflects more: read it as a lower bound.

use std::f64::consts::PI;

use super::heat::wbgt_of_thermometers_c;
use super::{SIGMA, kelvin};

const M_AIR: f64 = 28.97;
const M_WATER: f64 = 18.015;
const R_AIR: f64 = 8314.34 / M_AIR;
const C_P_AIR: f64 = 1003.5;
const PRANDTL: f64 = C_P_AIR / (C_P_AIR + 1.25 * R_AIR);

const WICK_EMISSIVITY: f64 = 0.95;
const WICK_ALBEDO: f64 = 0.4;
const WICK_DIAMETER_M: f64 = 0.007;
const WICK_LENGTH_M: f64 = 0.0254;
const GLOBE_EMISSIVITY: f64 = 0.95;
const GLOBE_ALBEDO: f64 = 0.05;
const GLOBE_DIAMETER_M: f64 = 0.0508;
const GROUND_EMISSIVITY: f64 = 0.999;
const GROUND_ALBEDO: f64 = 0.45;

/// Least wind at 10 m that is reckoned with \[m/s\].
const LEAST_WIND: f64 = 0.62;

/// Exponents of the wind's profile over rough ground, by stability class; A and B, and E and F, are alike.
const A: f64 = 0.15;
const B: f64 = 0.15;
const C: f64 = 0.20;
const D: f64 = 0.25;
const E: f64 = 0.30;

/// Weather around the crew.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outdoors {
    /// Air \[°C\].
    pub air_c: f64,
    /// Relative humidity \[%\].
    pub humidity_pct: f64,
    /// Wind at 10 m \[m/s\].
    pub wind: f64,
    /// Sunlight on the level \[W/m²\].
    pub shortwave: f64,
    /// Direct share of it, 0 to 1.
    pub direct_share: f64,
    /// Cosine of the zenith angle, which is the sine of the elevation.
    pub cos_zenith: f64,
    /// Pressure \[hPa\].
    pub pressure_hpa: f64,
}

/// Wet bulb globe temperature \[°C\].
pub fn wbgt_c(weather: &Outdoors) -> f64 {
    wbgt_of_thermometers_c(natural_wet_bulb_c(weather), globe_c(weather), weather.air_c)
}

/// Temperature of a black globe \[°C\].
pub fn globe_c(weather: &Outdoors) -> f64 {
    let (air, sun) = (kelvin(weather.air_c), Sunshine::of(weather));
    let from_sky = 0.5 * (weather.sky_emissivity() + GROUND_EMISSIVITY) * air.powi(4);
    // Sun on a sphere: half the beam over the sine of the elevation, the rest evenly from above and below.
    let beam = if sun.direct_share > 0.0 {
        sun.direct_share * (0.5 / sun.cos_zenith - 1.0)
    } else {
        0.0
    };
    let from_sun =
        sun.shortwave / (2.0 * GLOBE_EMISSIVITY * SIGMA) * (1.0 - GLOBE_ALBEDO) * (beam + 1.0 + GROUND_ALBEDO);
    let left = |globe: f64| {
        let film = 0.5 * (globe + air);
        let reynolds = weather.reynolds(GLOBE_DIAMETER_M, film);
        let transfer = (2.0 + 0.6 * reynolds.sqrt() * PRANDTL.powf(0.3333)) * conductivity(film) / GLOBE_DIAMETER_M;
        from_sky + from_sun - transfer / (GLOBE_EMISSIVITY * SIGMA) * (globe - air) - globe.powi(4)
    };
    root(air - 30.0, air + 80.0, left) - 273.15
}

/// Temperature of a wetted wick in sun and wind \[°C\].
pub fn natural_wet_bulb_c(weather: &Outdoors) -> f64 {
    let (air, sun) = (kelvin(weather.air_c), Sunshine::of(weather));
    let vapour = weather.vapour_hpa();
    let ends = 0.25 * WICK_DIAMETER_M / WICK_LENGTH_M;
    let slant = (1.0 - sun.cos_zenith * sun.cos_zenith).max(0.0).sqrt() / sun.cos_zenith;
    let beam = if sun.direct_share > 0.0 {
        sun.direct_share * (slant / PI + ends)
    } else {
        0.0
    };
    let from_sun =
        (1.0 - WICK_ALBEDO) * sun.shortwave * ((1.0 - sun.direct_share) * (1.0 + ends) + beam + GROUND_ALBEDO);
    let from_sky = 0.5 * (weather.sky_emissivity() + GROUND_EMISSIVITY) * air.powi(4);
    let left = |wick: f64| {
        let film = 0.5 * (wick + air);
        let reynolds = weather.reynolds(WICK_DIAMETER_M, film);
        let transfer = 0.281 * reynolds.powf(0.6) * PRANDTL.powf(0.44) * conductivity(film) / WICK_DIAMETER_M;
        let density = weather.pressure_hpa * 100.0 / (R_AIR * film);
        let schmidt = viscosity(film) / (density * diffusivity(film, weather.pressure_hpa));
        let full = saturation_hpa(wick);
        let cooling = heat_of_evaporation(film) * M_WATER / (C_P_AIR * M_AIR) * (full - vapour)
            / (weather.pressure_hpa - full)
            * (PRANDTL / schmidt).powf(0.56);
        let gained = SIGMA * WICK_EMISSIVITY * (from_sky - wick.powi(4)) + from_sun;
        air - cooling + gained / transfer - wick
    };
    root(air - 50.0, (air + 40.0).min(368.0), left) - 273.15
}

/// Sunlight with a sun that stands high enough to tell its direction.
struct Sunshine {
    shortwave: f64,
    direct_share: f64,
    cos_zenith: f64,
}

impl Sunshine {
    fn of(weather: &Outdoors) -> Self {
        // Half a degree above the horizon; below it all light is even.
        let low = weather.cos_zenith < 0.008_73;
        Self {
            shortwave: weather.shortwave.max(0.0),
            direct_share: if low { 0.0 } else { weather.direct_share.clamp(0.0, 0.9) },
            cos_zenith: weather.cos_zenith.clamp(0.008_73, 1.0),
        }
    }
}

impl Outdoors {
    fn vapour_hpa(&self) -> f64 {
        self.humidity_pct.clamp(0.0, 100.0) / 100.0 * saturation_hpa(kelvin(self.air_c))
    }

    fn sky_emissivity(&self) -> f64 {
        0.575 * self.vapour_hpa().powf(0.143)
    }

    fn reynolds(&self, length_m: f64, film_k: f64) -> f64 {
        let density = self.pressure_hpa * 100.0 / (R_AIR * film_k);
        self.wind_at_2_m() * density * length_m / viscosity(film_k)
    }

    /// Wind at 2 m by the exponents of rough ground and the stability class of sun and wind.
    fn wind_at_2_m(&self) -> f64 {
        let wind = self.wind.max(LEAST_WIND);
        let by_wind = |bounds: [f64; 4]| bounds.into_iter().filter(|bound| *bound <= wind).count();
        let exponent = if self.cos_zenith > 0.0 {
            let classes = match self.shortwave {
                s if s >= 925.0 => [A, A, B, C, C],
                s if s >= 675.0 => [A, B, B, C, D],
                s if s >= 175.0 => [B, C, C, D, D],
                _ => [D; 5],
            };
            classes.into_iter().nth(by_wind([2.0, 3.0, 5.0, 6.0]))
        } else {
            // The air is taken as stable at night.
            Some(if wind < 2.5 { E } else { D })
        };
        wind * 0.2_f64.powf(exponent.unwrap_or(D))
    }
}

/// Saturation over water \[hPa\] at `t` \[K\], with the enhancement of moist air (Buck 1981).
fn saturation_hpa(t: f64) -> f64 {
    1.004 * 6.1121 * (17.502 * (t - 273.15) / (t - 32.18)).exp()
}

/// Viscosity of air \[kg/m/s\] at `t` \[K\].
fn viscosity(t: f64) -> f64 {
    let omega = (t / 97.0 - 2.9) / 0.4 * (-0.034) + 1.048;
    2.6693e-6 * (M_AIR * t).sqrt() / (3.617 * 3.617 * omega)
}

/// Thermal conductivity of air \[W/m/K\] at `t` \[K\].
fn conductivity(t: f64) -> f64 {
    (C_P_AIR + 1.25 * R_AIR) * viscosity(t)
}

/// Diffusivity of vapour in air \[m²/s\] at `t` \[K\].
fn diffusivity(t: f64, pressure_hpa: f64) -> f64 {
    let critical_t: f64 = 132.0 * 647.3;
    let mixed = (1.0 / M_AIR + 1.0 / M_WATER).sqrt();
    3.640e-4 * (t / critical_t.sqrt()).powf(2.334) * (36.4_f64 * 218.0).cbrt() * critical_t.powf(5.0 / 12.0) * mixed
        / (pressure_hpa / 1013.25)
        * 1e-4
}

/// Heat of evaporation \[J/kg\] at `t` \[K\].
fn heat_of_evaporation(t: f64) -> f64 {
    (313.15 - t) / 30.0 * (-71_100.0) + 2.4073e6
}

/// Where `left` falls through zero between `low` and `high`, by halving.
fn root(mut low: f64, mut high: f64, left: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        if left(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Computed apart from this file in Python from the published constants (wick 7 mm by 25.4 mm, globe 50.8 mm, both
    /// of emissivity 0.95, wick albedo 0.4, globe albedo 0.05; no direct sun below a cosine of 0.00873; profile exponents
    /// 0.15, 0.15, 0.30, 0.25 and 0.25 by the stability table of the US EPA).
    #[test]
    fn globe_and_wick_are_those_of_the_published_method() {
        let states = [
            // Air, humidity, wind at 10 m, light, direct share, cosine of the zenith angle; globe and wick.
            ([30.0, 40.0, 2.0, 900.0, 0.75, 0.8], (47.6817, 22.9177)),
            ([12.0, 90.0, 1.0, 200.0, 0.0, 0.3], (17.4440, 13.0140)),
            ([15.0, 50.0, 1.0, 0.0, 0.0, -0.1], (12.7398, 9.3095)),
            ([20.0, 60.0, 3.0, 10.0, 0.5, 0.0088], (23.8286, 15.6980)),
            ([20.0, 60.0, 3.0, 10.0, 0.5, 0.0086], (19.0943, 15.0171)),
        ];
        for ([air_c, humidity_pct, wind, shortwave, direct_share, cos_zenith], (globe, wick)) in states {
            let weather = Outdoors {
                air_c,
                humidity_pct,
                wind,
                shortwave,
                direct_share,
                cos_zenith,
                pressure_hpa: 1000.0,
            };
            let found = (globe_c(&weather), natural_wet_bulb_c(&weather));
            assert!((found.0 - globe).abs() < 2e-3, "globe {} {globe}", found.0);
            assert!((found.1 - wick).abs() < 2e-3, "wick {} {wick}", found.1);
        }
    }

    proptest! {
        #[test]
        fn the_sun_never_cools_a_globe_and_nothing_is_out_of_bounds(
            air_c in -20.0..45.0_f64, humidity_pct in 5.0..=100.0_f64, wind in 0.0..25.0_f64, clearness in 0.0..0.85_f64,
            direct_share in 0.0..0.9_f64, cos_zenith in -0.5..1.0_f64,
        ) {
            let shortwave = 1361.0 * clearness * cos_zenith.max(0.0);
            let weather = Outdoors {
                air_c, humidity_pct, wind, shortwave, direct_share, cos_zenith, pressure_hpa: 1000.0,
            };
            let (wbgt, wet) = (wbgt_c(&weather), natural_wet_bulb_c(&weather));
            prop_assert!(wbgt > air_c - 30.0 && wbgt < air_c + 40.0, "{wbgt}");
            // Under a clear night sky the globe may be the colder one.
            prop_assert!(shortwave < 100.0 || wet < globe_c(&weather));
            let shade = Outdoors { shortwave: 0.0, ..weather };
            prop_assert!(globe_c(&shade) <= globe_c(&weather) + 1e-6);
        }
    }
}
