//! How readily fine dry litter takes fire: for the caution beside work with a hot tool, never a permit.
//!
//! In:     weather at noon local standard time, rain of the 24 hours before; the code of the day before.
//! Out:    fine fuel moisture code, 0 to 101; initial spread index, from 0.
//! Source: Van Wagner 1987, Canadian Forestry Service, For. Tech. Rep. 35, eq. 1-10 and 24-26, constant 147.2;
//!         Van Wagner and Pickett 1985, For. Tech. Rep. 33 (program and test table).
//! Valid:  litter under pine; mown dry grass under a torch is not the same fuel.
//!
//! Carry the unrounded code from day to day and begin with [`FIRST_CODE`]. A later constant, 147.27723, and
//! letting the first half millimetre of rain count do not give the printed table.

/// Code a season begins with.
pub const FIRST_CODE: f64 = 85.0;

/// Scale between code and moisture of the litter.
const FF_SCALE: f64 = 147.2;

/// Rain the canopy keeps from the litter \[mm\].
const RAIN_KEPT_MM: f64 = 0.5;

/// Weather of one noon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noon {
    /// Air \[°C\].
    pub air_c: f64,
    /// Relative humidity \[%\].
    pub humidity_pct: f64,
    /// Wind at 10 m \[km/h\].
    pub wind_km_h: f64,
    /// Rain of the 24 hours before \[mm\].
    pub rain_mm: f64,
}

/// Fine fuel moisture code after a day with this noon, `before` being the code of the day before.
pub fn fine_fuel_code(before: f64, noon: Noon) -> f64 {
    let wind = noon.wind_km_h.max(0.0);
    let humidity = noon.humidity_pct.clamp(0.0, 100.0);
    let old = rained_on(moisture(before.clamp(0.0, 101.0)), noon.rain_mm);
    let cool = 0.18 * (21.1 - noon.air_c) * (1.0 - (-0.115 * humidity).exp());
    let steep = ((humidity - 100.0) / 10.0).exp();
    let drying_to = 0.942 * humidity.powf(0.679) + 11.0 * steep + cool;
    let wetting_to = 0.618 * humidity.powf(0.753) + 10.0 * steep + cool;
    // Log rate of drying or wetting, for the humidity or its complement.
    let rate = |share: f64| {
        (0.424 * (1.0 - share.powf(1.7)) + 0.0694 * wind.sqrt() * (1.0 - share.powi(8)))
            * 0.581
            * (0.0365 * noon.air_c).exp()
    };
    let new = if old > drying_to {
        drying_to + (old - drying_to) * 10_f64.powf(-rate(humidity / 100.0))
    } else if old < wetting_to {
        wetting_to - (wetting_to - old) * 10_f64.powf(-rate(1.0 - humidity / 100.0))
    } else {
        old
    };
    (59.5 * (250.0 - new) / (FF_SCALE + new)).clamp(0.0, 101.0)
}

/// Initial spread index of a fire in wind of `wind_km_h` at 10 m.
pub fn initial_spread(code: f64, wind_km_h: f64) -> f64 {
    let moist = moisture(code.clamp(0.0, 101.0));
    let wind = (0.050_39 * wind_km_h.max(0.0)).exp();
    let litter = 91.9 * (-0.1386 * moist).exp() * (1.0 + moist.powf(5.31) / 4.93e7);
    0.208 * wind * litter
}

/// Moisture of the litter \[% of dry weight\] at that code.
fn moisture(code: f64) -> f64 {
    FF_SCALE * (101.0 - code) / (59.5 + code)
}

/// Moisture after the rain of a day.
fn rained_on(moist: f64, rain_mm: f64) -> f64 {
    if rain_mm <= RAIN_KEPT_MM {
        return moist;
    }
    let net = rain_mm - RAIN_KEPT_MM;
    let mut wet = moist + 42.5 * net * (-100.0 / (251.0 - moist)).exp() * (1.0 - (-6.93 / net).exp());
    if moist > 150.0 {
        wet += 0.0015 * (moist - 150.0) * (moist - 150.0) * net.sqrt();
    }
    wet.min(250.0)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Van Wagner and Pickett 1985, first and second day of the test table: 87.7 and 10.9, 86.2 and 8.8.
    #[test]
    fn the_first_days_of_the_printed_table_come_out() {
        let first = fine_fuel_code(
            FIRST_CODE,
            Noon {
                air_c: 17.0,
                humidity_pct: 42.0,
                wind_km_h: 25.0,
                rain_mm: 0.0,
            },
        );
        assert!((first - 87.7).abs() < 0.05 && (initial_spread(first, 25.0) - 10.9).abs() < 0.05);
        let second = fine_fuel_code(
            first,
            Noon {
                air_c: 20.0,
                humidity_pct: 21.0,
                wind_km_h: 25.0,
                rain_mm: 2.4,
            },
        );
        assert!((second - 86.2).abs() < 0.05 && (initial_spread(second, 25.0) - 8.8).abs() < 0.05);
    }

    proptest! {
        #[test]
        fn the_first_half_millimetre_of_rain_never_counts(
            before in 0.0..101.0_f64, air_c in -10.0..45.0_f64, humidity_pct in 0.0..=100.0_f64, wind_km_h in 0.0..100.0_f64,
            rain_mm in 0.0..=0.5_f64,
        ) {
            let dry = Noon { air_c, humidity_pct, wind_km_h, rain_mm: 0.0 };
            let same = fine_fuel_code(before, dry) - fine_fuel_code(before, Noon { rain_mm, ..dry });
            prop_assert!(same.abs() < 1e-12);
        }

        #[test]
        fn the_code_stays_in_its_scale_and_wind_never_slows_a_fire(
            before in -5.0..110.0_f64, air_c in -40.0..55.0_f64, humidity_pct in -5.0..110.0_f64, wind_km_h in 0.0..200.0_f64,
            rain_mm in 0.0..300.0_f64, more in 0.0..50.0_f64,
        ) {
            let code = fine_fuel_code(before, Noon { air_c, humidity_pct, wind_km_h, rain_mm });
            prop_assert!((0.0..=101.0).contains(&code));
            prop_assert!(initial_spread(code, wind_km_h + more) >= initial_spread(code, wind_km_h));
        }
    }
}
