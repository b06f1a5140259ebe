//! How hot it feels to a crew in the shade, and how much work heat allows.
//!
//! In:     air temperature \[°C\], relative humidity \[%\], work rate \[W\].
//! Out:    heat index \[°C\] and its class; wet bulb globe temperature (WBGT) and its limits \[°C\].
//! Source: Steadman's mean, Rothfusz 1990 (US National Weather Service, Technical Attachment SR 90-23) with the
//!         two humidity adjustments of that service; WBGT from temperature and humidity as the Australian Bureau
//!         of Meteorology states it (ACSM 1984); ISO 7243 for its definition; limits of NIOSH 2016-106
//!         (from memory).
//! Valid:  the index in shade, full sun adds up to 8 °C; the simple WBGT in sun and light wind: too high at
//!         night and under cloud. Over a white sheet more light comes from below than either knows.

/// What full sun may add to the index \[°C\] (15 °F, National Weather Service).
pub const FULL_SUN_ADDS_C: f64 = 8.3;

/// Heat index in the shade \[°C\].
pub fn heat_index_c(air_c: f64, humidity_pct: f64) -> f64 {
    (heat_index_f(air_c * 1.8 + 32.0, humidity_pct) - 32.0) / 1.8
}

/// The same in the degrees it was made for \[°F\].
fn heat_index_f(t: f64, h: f64) -> f64 {
    let mean = 0.5 * (t + 61.0 + (t - 68.0) * 1.2 + h * 0.094);
    if mean < 80.0 {
        return mean;
    }
    let regression = -42.379 + 2.049_015_23 * t + 10.143_331_27 * h
        - 0.224_755_41 * t * h
        - 0.006_837_83 * t * t
        - 0.054_817_17 * h * h
        + 0.001_228_74 * t * t * h
        + 0.000_852_82 * t * h * h
        - 0.000_001_99 * t * t * h * h;
    if h < 13.0 && (80.0..=112.0).contains(&t) {
        regression - (13.0 - h) / 4.0 * ((17.0 - (t - 95.0).abs()) / 17.0).sqrt()
    } else if h > 85.0 && (80.0..=87.0).contains(&t) {
        regression + (h - 85.0) / 10.0 * (87.0 - t) / 5.0
    } else {
        regression
    }
}

/// Class of a heat index, by the National Weather Service (bounds 80, 90, 103 and 125 °F, from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum HeatClass {
    /// Below all bounds.
    None,
    /// Fatigue is possible.
    Caution,
    /// Cramps and exhaustion are possible.
    ExtremeCaution,
    /// Cramps and exhaustion are likely, heat stroke possible.
    Danger,
    /// Heat stroke is likely.
    ExtremeDanger,
}

impl HeatClass {
    /// Class of `index_c`.
    pub fn of(index_c: f64) -> Self {
        // A whole degree is printed; the thousandth keeps a bound in its own class.
        let index_f = index_c * 1.8 + 32.0 + 1e-9;
        if index_f >= 125.0 {
            Self::ExtremeDanger
        } else if index_f >= 103.0 {
            Self::Danger
        } else if index_f >= 90.0 {
            Self::ExtremeCaution
        } else if index_f >= 80.0 {
            Self::Caution
        } else {
            Self::None
        }
    }
}

/// Wet bulb globe temperature \[°C\] in sun and light wind, from temperature and humidity alone.
pub fn wbgt_simple_c(air_c: f64, humidity_pct: f64) -> f64 {
    let vapour_hpa = humidity_pct / 100.0 * 6.105 * (17.27 * air_c / (237.7 + air_c)).exp();
    0.567 * air_c + 0.393 * vapour_hpa + 3.94
}

/// Wet bulb globe temperature \[°C\] in the open, from the three thermometers (ISO 7243).
pub fn wbgt_of_thermometers_c(natural_wet_bulb_c: f64, globe_c: f64, air_c: f64) -> f64 {
    0.7 * natural_wet_bulb_c + 0.2 * globe_c + 0.1 * air_c
}

/// Whether the crew is used to the heat; that takes a week or two of work in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Crew {
    /// Used to it: the recommended exposure limit holds.
    Acclimatised,
    /// Not used to it: the recommended alert limit holds.
    New,
}

/// WBGT \[°C\] above which work at `work_w` watts needs breaks (moderate work is about 300 W).
pub fn wbgt_limit_c(crew: Crew, work_w: f64) -> f64 {
    match crew {
        Crew::Acclimatised => 56.7 - 11.5 * work_w.log10(),
        Crew::New => 59.9 - 14.1 * work_w.log10(),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// National Weather Service chart (from memory): whole degrees Fahrenheit.
    #[test]
    fn the_chart_of_the_weather_service_comes_out() {
        for (t, h, printed) in [(90.0, 70.0, 106.0), (100.0, 40.0, 109.0), (84.0, 60.0, 88.0)] {
            assert!((heat_index_f(t, h) - printed).abs() <= 0.5, "{}", heat_index_f(t, h));
        }
    }

    #[test]
    fn classes_begin_at_their_bounds() {
        let class = |f: f64| HeatClass::of((f - 32.0) / 1.8);
        assert_eq!(class(79.9), HeatClass::None);
        assert_eq!(class(80.0), HeatClass::Caution);
        assert_eq!(class(90.0), HeatClass::ExtremeCaution);
        assert_eq!(class(102.9), HeatClass::ExtremeCaution);
        assert_eq!(class(103.0), HeatClass::Danger);
        assert_eq!(class(125.0), HeatClass::ExtremeDanger);
    }

    /// NIOSH 2016-106 (from memory): 28.2 °C and 25.0 °C at 300 W.
    #[test]
    fn a_new_crew_needs_breaks_sooner() {
        assert!((wbgt_limit_c(Crew::Acclimatised, 300.0) - 28.2).abs() < 0.05);
        assert!((wbgt_limit_c(Crew::New, 300.0) - 25.0).abs() < 0.05);
    }

    proptest! {
        #[test]
        fn more_humid_air_never_feels_cooler_in_summer(air_c in 27.0..42.0_f64, humidity in 20.0..80.0_f64, more in 0.1..5.0_f64) {
            // Where the regression takes over from the mean it begins up to 0.4 °C lower.
            prop_assert!(heat_index_c(air_c, humidity + more) >= heat_index_c(air_c, humidity) - 0.4);
            prop_assert!(wbgt_simple_c(air_c, humidity + more) >= wbgt_simple_c(air_c, humidity));
        }
    }
}
