//! Wind of a station, brought to 10 m in open terrain.
//!
//! In:     height of the sensor \[m\], what stands around it, wind and gust there \[m/s\].
//! Out:    wind and gust at 10 m over open ground \[m/s\].
//! Source: logarithmic profiles that meet at 60 m: WMO-No. 8, Guide to Instruments and Methods of Observation,
//!         part I, ch. 5 (surface wind), exposure correction after Wieringa; roughness lengths from the
//!         Davenport classes there: open 0.03 m, roughly open 0.10 m, rough 0.25 m.
//!         Above trees: displacement and roughness as in [`super::wind`].
//! Valid:  where the sensor stands in the logarithmic layer: 1.5 m or higher, and at least ten roughness
//!         lengths (five above trees) over the displaced ground. Elsewhere wind tells nothing about 10 m and is not used.

use crate::units::Metres;
use crate::weather::reading::{Exposure, Readings, Terrain};

/// Roughness of open ground \[m\].
const OPEN_ROUGHNESS_M: f64 = 0.03;
/// Height at which both profiles meet \[m\].
const BLENDING_M: f64 = 60.0;
/// Height at which wind is forecast \[m\].
const TEN_M: f64 = 10.0;
/// Lowest sensor \[m\].
const LOWEST_M: f64 = 1.5;

/// Wind at 10 m in the open for each m/s at the sensor; `None` where the sensor stands too low to tell.
pub fn factor(exposure: Exposure) -> Option<f64> {
    let Metres(height) = exposure.height;
    let (displacement, roughness) = match exposure.terrain {
        Terrain::Open => (0.0, OPEN_ROUGHNESS_M),
        Terrain::Scattered => (0.0, 0.10),
        Terrain::Rough => (0.0, 0.25),
        Terrain::Trees(Metres(trees)) => (0.65 * trees, 0.10 * trees),
    };
    let above = height - displacement;
    if height < LOWEST_M || height > BLENDING_M || roughness <= 0.0 || above < clearance(exposure.terrain) * roughness {
        return None;
    }
    let aloft = ((BLENDING_M - displacement) / roughness).ln() / (above / roughness).ln();
    let open = (TEN_M / OPEN_ROUGHNESS_M).ln() / (BLENDING_M / OPEN_ROUGHNESS_M).ln();
    Some(aloft * open)
}

/// Roughness lengths that a sensor must stand above the displaced ground. Tops of trees stand at three and a
/// half of theirs, so five clear the crowns.
fn clearance(terrain: Terrain) -> f64 {
    match terrain {
        Terrain::Trees(_) => 5.0,
        Terrain::Open | Terrain::Scattered | Terrain::Rough => 10.0,
    }
}

/// Gust at 10 m in the open \[m/s\]: its excess over the mean hardly falls towards the ground, so the larger of
/// "grows like the mean" and "keeps its excess" is taken. Without the mean it is never made smaller.
pub fn gust(factor: f64, gust: f64, mean: Option<f64>) -> f64 {
    match mean {
        Some(mean) => (factor * gust).max(gust + (factor - 1.0) * mean),
        None => factor.max(1.0) * gust,
    }
}

/// Readings with their wind at 10 m in open terrain; without wind where the station's exposure is not declared
/// or does not allow it.
pub fn at_ten_metres(readings: &Readings, exposure: Option<Exposure>) -> Readings {
    match exposure.and_then(factor) {
        Some(factor) => readings
            .clone()
            .with_wind(|mean| factor * mean, |value, mean| gust(factor, value, mean)),
        None => readings.clone().without_wind(),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn at(height: f64, terrain: Terrain) -> Option<f64> {
        factor(Exposure {
            height: Metres(height),
            terrain,
        })
    }

    #[test]
    fn a_mast_of_ten_metres_in_the_open_reads_what_is_forecast() {
        assert!((at(10.0, Terrain::Open).unwrap() - 1.0).abs() < 1e-12);
    }

    /// FAO-56 eq. 47: wind at 2 m is 4.87 / ln(67.8 z - 5.42) of the wind at z over clipped grass; at 10 m that
    /// is 0.748 (FAO-56 annex 2, table 2.9). Its grass is smoother than open farm land, hence the margin.
    #[test]
    fn wind_at_two_metres_grows_to_ten_much_as_over_the_grass_of_fao56() {
        let ours = at(2.0, Terrain::Open).unwrap();
        assert!((ours - 1.0 / 0.748).abs() < 0.06, "{ours}");
    }

    #[test]
    fn between_trees_and_below_hedges_no_wind_is_taken_from_a_station() {
        assert_eq!(at(2.0, Terrain::Trees(Metres(3.5))), None);
        assert_eq!(at(3.5, Terrain::Trees(Metres(3.5))), None);
        assert_eq!(at(2.0, Terrain::Rough), None);
        assert_eq!(at(1.0, Terrain::Open), None);
        assert!(at(6.0, Terrain::Trees(Metres(3.5))).is_some());
    }

    #[test]
    fn a_gust_keeps_at_least_its_excess_over_the_mean() {
        assert!((gust(1.4, 10.0, Some(5.0)) - 14.0).abs() < 1e-9);
        assert!((gust(0.8, 10.0, Some(5.0)) - 9.0).abs() < 1e-9);
        assert!((gust(0.8, 10.0, None) - 10.0).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn the_lower_or_rougher_the_place_the_more_wind_there_is_at_ten_metres(
            height in 3.0..10.0_f64, higher in 0.1..10.0_f64,
        ) {
            prop_assert!(at(height, Terrain::Open) > at(height + higher, Terrain::Open));
            prop_assert!(at(height, Terrain::Rough).unwrap() > at(height, Terrain::Scattered).unwrap());
            prop_assert!(at(height, Terrain::Scattered).unwrap() > at(height, Terrain::Open).unwrap());
        }
    }
}
