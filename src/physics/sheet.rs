//! Heat balance of the cloth: the temperature at which what it gains and what it gives are equal.
//!
//! In:     surroundings of the cloth in one sub-step: air, gap, radiation, conductances, wet shares.
//! Out:    temperature \[°C\] and the fluxes of heat and vapour at it \[W/m²\], loss positive.
//! Source: two-sided balance without storage. Conductance 0.0045 sqrt(u/d) is the outdoor flat-plate
//!         rule, and 1.08 the vapour over heat ratio in laminar flow (Campbell and Norman 1998).
//!
//! The balance falls strictly with temperature, so its root is unique; Newton's method kept inside a
//! bracket finds it in three or four steps from the last temperature.

use super::SIGMA;
use super::vapour::Saturation;

/// One part of the balance that evaporates: conductance and the most its water can give.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct WetPart {
    /// Heat per kPa of vapour deficit while it dries \[W/m²/kPa\].
    pub drying: f64,
    /// The same while dew falls.
    pub dewing: f64,
    /// Evaporation that empties it within the sub-step \[W/m²\].
    pub most: f64,
}

impl WetPart {
    /// Latent heat at deficit `d` \[kPa\] and its slope with temperature; `slope` is that of saturation.
    #[inline]
    fn flux(&self, d: f64, slope: f64) -> (f64, f64) {
        if d <= 0.0 {
            return (self.dewing * d, self.dewing * slope);
        }
        let flux = self.drying * d;
        if flux < self.most {
            (flux, self.drying * slope)
        } else {
            (self.most, 0.0)
        }
    }
}

/// Everything around the cloth in one sub-step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surroundings {
    /// Radiation taken up \[W/m²\].
    pub radiation_in: f64,
    /// Emissivity times Stefan-Boltzmann times faces that emit.
    pub emission: f64,
    /// Outside air \[°C\].
    pub air_c: f64,
    /// Vapour pressure outside \[kPa\].
    pub air_kpa: f64,
    /// Ground surface \[°C\], for the bracket only.
    pub ground_c: f64,
    /// Heat conductance of the top times heat capacity of air \[W/m²/K\].
    pub top_heat: f64,
    /// The same of the underside towards the gap reference.
    pub under_heat: f64,
    /// Gap reference temperature \[°C\].
    pub gap_c: f64,
    /// Gap reference vapour pressure \[kPa\].
    pub gap_kpa: f64,
    /// Film on top.
    pub film: WetPart,
    /// Puddles on top.
    pub pond: WetPart,
    /// Water on the underside.
    pub under: WetPart,
}

/// The cloth in balance.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Balance {
    /// Temperature \[°C\].
    pub sheet_c: f64,
    /// Latent heat from the film, from the puddles and from the underside \[W/m²\].
    pub film: f64,
    /// See `film`.
    pub pond: f64,
    /// See `film`.
    pub under: f64,
    /// Heat from the underside to the gap \[W/m²\].
    pub under_heat: f64,
    /// What the booked fluxes leave over \[W/m²\].
    pub residual: f64,
    /// Evaluations of the balance it took.
    pub evaluations: u32,
}

/// Step below which the root is found \[K\].
const TIGHT_K: f64 = 1e-9;
/// Step below which the root is taken along the tangents \[K\].
const CLOSE_K: f64 = 1e-5;
/// Bisection alone would be done long before.
const MOST_EVALUATIONS: u32 = 100;

impl Surroundings {
    /// Finds the temperature of the cloth, starting at `guess_c`.
    /// `saturation` is that at the cloth and is kept from one sub-step to the next.
    pub fn balance(&self, guess_c: f64, saturation: &mut Saturation) -> Balance {
        // Wide enough for dark cloth of low emissivity in calm air under the noon sun.
        let mut low = self.air_c.min(self.ground_c) - 100.0;
        let mut high = self.air_c.max(self.ground_c) + 400.0;
        let mut at = guess_c.clamp(low, high);
        let mut evaluations = 0;
        loop {
            let (mut found, left, slopes) = self.evaluate(at, saturation);
            evaluations += 1;
            let total = slopes.iter().sum::<f64>();
            let step = left / total;
            if step.abs() < CLOSE_K || evaluations >= MOST_EVALUATIONS {
                let [_, film, pond, under, under_heat] = slopes;
                found.sheet_c = at + step;
                found.film += film * step;
                found.pond += pond * step;
                found.under += under * step;
                found.under_heat += under_heat * step;
                found.residual = if step.abs() < TIGHT_K {
                    left - total * step
                } else {
                    self.residual(&found)
                };
                found.evaluations = evaluations;
                return found;
            }
            if left > 0.0 {
                low = at;
            } else {
                high = at;
            }
            at += step;
            if at <= low || at >= high {
                at = 0.5 * (low + high);
            }
        }
    }

    /// Fluxes at `sheet_c`, what is left over, and the slopes of emission with top heat, film, pond,
    /// under and underside heat.
    #[inline]
    fn evaluate(&self, sheet_c: f64, saturation: &mut Saturation) -> (Balance, f64, [f64; 5]) {
        let (saturated, slope) = saturation.near(sheet_c);
        let kelvin = super::kelvin(sheet_c);
        let cube = self.emission * kelvin * kelvin * kelvin;
        let deficit = saturated - self.air_kpa;
        let (film, film_slope) = self.film.flux(deficit, slope);
        let (pond, pond_slope) = self.pond.flux(deficit, slope);
        let (under, under_slope) = self.under.flux(saturated - self.gap_kpa, slope);
        let under_heat = self.under_heat * (sheet_c - self.gap_c);
        let left = self.radiation_in
            - cube * kelvin
            - self.top_heat * (sheet_c - self.air_c)
            - film
            - pond
            - under
            - under_heat;
        let found = Balance {
            sheet_c,
            film,
            pond,
            under,
            under_heat,
            residual: 0.0,
            evaluations: 0,
        };
        (
            found,
            left,
            [
                4.0 * cube + self.top_heat,
                film_slope,
                pond_slope,
                under_slope,
                self.under_heat,
            ],
        )
    }

    /// What the booked fluxes leave over at the booked temperature.
    fn residual(&self, booked: &Balance) -> f64 {
        self.radiation_in
            - self.emission * super::kelvin4(booked.sheet_c)
            - self.top_heat * (booked.sheet_c - self.air_c)
            - booked.film
            - booked.pond
            - booked.under
            - booked.under_heat
    }
}

/// Emissivity times Stefan-Boltzmann \[W/m²/K⁴\] for a cloth that emits from `faces` faces.
pub fn emission(emissivity: f64, faces: f64) -> f64 {
    faces * emissivity * SIGMA
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::vapour;
    use super::*;

    fn wet(drying: f64, dewing: f64, most: f64) -> WetPart {
        WetPart { drying, dewing, most }
    }

    proptest! {
        #[test]
        fn the_balance_closes_whatever_is_around(
            radiation in 50.0..1500.0_f64, air in -20.0..45.0_f64, ground in -20.0..55.0_f64, dryness in 0.0..1.0_f64,
            top in 0.0..60.0_f64, under in 0.0..30.0_f64, film in 0.0..300.0_f64, most in 0.0..600.0_f64,
            guess in -60.0..120.0_f64,
        ) {
            let air_kpa = vapour::saturation_kpa(air) * dryness;
            let around = Surroundings {
                radiation_in: radiation, emission: emission(0.85, 2.0), air_c: air, air_kpa, ground_c: ground,
                top_heat: top, under_heat: under, gap_c: 0.5 * (air + ground), gap_kpa: vapour::saturation_kpa(ground),
                film: wet(film, 300.0, most), pond: wet(0.1 * film, 0.0, most), under: wet(0.5 * film, 150.0, most),
            };
            let found = around.balance(guess, &mut Saturation::about(guess));
            prop_assert!(found.residual.abs() < 1e-3);
            let (_, left, _) = around.evaluate(found.sheet_c, &mut Saturation::about(found.sheet_c));
            prop_assert!(left.abs() < 1e-3, "{left}");
            prop_assert!(found.evaluations < 60);
        }
    }
}
