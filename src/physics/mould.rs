//! How long a roll that was lifted wet may lie.
//!
//! In:     water left on the cloth \[mm\], storage temperature hour by hour \[°C\].
//! Out:    mould index, 0 none to 6 all over; days until it must be spread and until growth begins.
//! Source: Hukka and Viitanen 1999, Wood Sci. Technol. 33:475-485 (growth on pine sapwood);
//!         Ojanen et al. 2010 (classes of other materials), coefficients as restated in public code.
//! Valid:  0 to 50 °C. No decline in dry hours is modelled.
//! Assumed: humidity in a damp and in a wet roll, the caps in days, and that a dusty, grass-stained cloth
//!         behaves as the class "sensitive". Smell and stains come before growth can be measured.

/// Water from which a roll counts as wet, not damp \[mm\].
const WET_ROLL_MM: f64 = 0.10;

/// Index up to which a roll is to be spread.
const SPREAD_AT: f64 = 0.5;

/// Index at which growth shows under a microscope.
const GROWTH_AT: f64 = 1.0;

/// Hours looked ahead; beyond them the answer is "not within a year".
const FURTHEST_H: u32 = 365 * 24;

/// How easily a material moulds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Sensitivity {
    /// Untreated wood.
    VerySensitive,
    /// Dusty, grass-stained cloth.
    #[default]
    Sensitive,
    /// Mineral materials.
    MediumResistant,
    /// Clean plastic.
    Resistant,
}

/// The numbers of a class.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coefficients {
    /// Speed of growth below index 1, pine being 1.
    pub speed_below_1: f64,
    /// Speed of growth from index 1 on.
    pub speed_from_1: f64,
    /// Humidity without growth at any temperature \[%\].
    pub least_humidity: f64,
    /// Greatest index is `a + b x - c x²`.
    pub a: f64,
    /// See `a`.
    pub b: f64,
    /// See `a`.
    pub c: f64,
}

impl Sensitivity {
    /// The numbers of this class.
    pub fn coefficients(self) -> Coefficients {
        let [speed_below_1, speed_from_1, least_humidity, a, b, c] = match self {
            Self::VerySensitive => [1.0, 2.0, 80.0, 1.0, 7.0, 2.0],
            Self::Sensitive => [0.578, 0.386, 80.0, 0.3, 6.0, 1.0],
            Self::MediumResistant => [0.072, 0.097, 85.0, 0.0, 5.0, 1.5],
            Self::Resistant => [0.033, 0.014, 85.0, 0.0, 3.0, 1.0],
        };
        Coefficients {
            speed_below_1,
            speed_from_1,
            least_humidity,
            a,
            b,
            c,
        }
    }

    /// Humidity \[%\] up to which nothing grows at `air_c`.
    pub fn critical_humidity(self, air_c: f64) -> f64 {
        let least = self.coefficients().least_humidity;
        if air_c <= 20.0 {
            (100.0 + air_c * (-3.13 + air_c * (0.160 - 0.002_67 * air_c))).max(least)
        } else {
            least
        }
    }

    /// Greatest index that can be reached at `air_c` and `humidity_pct`.
    pub fn most_index(self, air_c: f64, humidity_pct: f64) -> f64 {
        let critical = self.critical_humidity(air_c);
        let x = (critical - humidity_pct) / (critical - 100.0);
        let Coefficients { a, b, c, .. } = self.coefficients();
        (a + b * x - c * x * x).max(0.0)
    }

    /// Growth of the index \[1/day\] where it stands at `index`; never below 0.
    pub fn growth_per_day(self, index: f64, air_c: f64, humidity_pct: f64) -> f64 {
        if air_c <= 0.0 || air_c >= 50.0 || humidity_pct <= self.critical_humidity(air_c) {
            return 0.0;
        }
        let Coefficients {
            speed_below_1,
            speed_from_1,
            ..
        } = self.coefficients();
        let speed = if index < 1.0 { speed_below_1 } else { speed_from_1 };
        let slowing = (1.0 - (2.3 * (index - self.most_index(air_c, humidity_pct))).exp()).max(0.0);
        speed * slowing / (7.0 * weeks_to_first_growth(air_c, humidity_pct))
    }

    /// Days until the index comes to `target` at `humidity_pct`, by steps of an hour through `hours_c`, the
    /// last of which goes on; `None` if that takes more than a year.
    pub fn days_to(self, target: f64, humidity_pct: f64, hours_c: &[f64]) -> Option<f64> {
        let mut temperatures = hours_c.iter().copied();
        let mut air_c = temperatures.next()?;
        let mut index = 0.0;
        for hour in 1..=FURTHEST_H {
            index += self.growth_per_day(index, air_c, humidity_pct) / 24.0;
            if index >= target {
                return Some(f64::from(hour) / 24.0);
            }
            air_c = temperatures.next().unwrap_or(air_c);
        }
        None
    }
}

/// Weeks until pine sapwood comes to index 1.
pub fn weeks_to_first_growth(air_c: f64, humidity_pct: f64) -> f64 {
    (-0.68 * air_c.ln() - 13.9 * humidity_pct.ln() + 66.02).exp()
}

/// A roll as it was lifted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Roll {
    /// Both faces counted as dry: no clock runs.
    Dry,
    /// A little water.
    Damp,
    /// Water enough to fill the air in the roll.
    Wet,
}

impl Roll {
    /// The state of a piece lifted with `film_mm` on top and `under_mm` below, a face counting as wet from
    /// `wet_from_mm`.
    pub fn of(film_mm: f64, under_mm: f64, wet_from_mm: f64) -> Self {
        if film_mm < wet_from_mm && under_mm < wet_from_mm {
            Self::Dry
        } else if film_mm + under_mm < WET_ROLL_MM {
            Self::Damp
        } else {
            Self::Wet
        }
    }

    /// Humidity of the air in the roll \[%\]; `None` where no clock runs.
    pub fn humidity_pct(self) -> Option<f64> {
        match self {
            Self::Dry => None,
            Self::Damp => Some(97.0),
            Self::Wet => Some(100.0),
        }
    }

    /// Days after which it is to be spread whatever the index says.
    fn cap_days(self) -> f64 {
        match self {
            Self::Dry => f64::INFINITY,
            Self::Damp => 5.0,
            Self::Wet => 2.0,
        }
    }

    /// The clock of this roll through the hours of its store, from the hour it was lifted.
    ///
    /// `None` for a dry roll. Without a single temperature the cap stands alone.
    pub fn clock(self, sensitivity: Sensitivity, hours_c: &[f64]) -> Option<Clock> {
        let humidity = self.humidity_pct()?;
        let days_to = |index| sensitivity.days_to(index, humidity, hours_c);
        Some(Clock {
            redry_by_days: days_to(SPREAD_AT).map_or(self.cap_days(), |days| days.min(self.cap_days())),
            risk_from_days: days_to(GROWTH_AT),
        })
    }
}

/// What a roll lifted wet has left, in days from the lift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clock {
    /// Spread it by then.
    pub redry_by_days: f64,
    /// First growth under a microscope; `None` if not within a year.
    pub risk_from_days: Option<f64>,
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// The cover model's own text: index 1 at 97 % after 18.0, 28.8 and 46.2 days.
    #[test]
    fn a_damp_dusty_roll_begins_to_grow_after_weeks() {
        for (air_c, days) in [(20.0, 18.0), (10.0, 28.8), (5.0, 46.2)] {
            let clock = Roll::Damp.clock(Sensitivity::Sensitive, &[air_c]).unwrap();
            assert!((clock.risk_from_days.unwrap() - days).abs() < 0.06, "{clock:?}");
            assert!((clock.redry_by_days - 5.0).abs() < 1e-12);
        }
    }

    #[test]
    fn a_wet_roll_is_spread_within_two_days_and_a_dry_one_needs_no_clock() {
        let wet = Roll::of(0.30, 0.25, 0.02);
        assert_eq!(wet, Roll::Wet);
        let clock = wet.clock(Sensitivity::Sensitive, &[25.0]).unwrap();
        assert!(clock.redry_by_days <= 2.0);
        assert_eq!(Roll::of(0.019, 0.019, 0.02), Roll::Dry);
        assert_eq!(Roll::of(0.019, 0.02, 0.02), Roll::Damp);
        assert_eq!(Roll::of(0.05, 0.049, 0.02), Roll::Damp);
        assert_eq!(Roll::of(0.05, 0.05, 0.02), Roll::Wet);
        assert_eq!(Roll::Dry.clock(Sensitivity::Sensitive, &[25.0]), None);
    }

    /// By hand from the equation for index 1: 1.126 weeks at 30 °C and 97 %, 0.971 weeks at 20 °C and 100 %; growth is
    /// even below half the index, and a dusty roll grows 0.578 times as fast.
    #[test]
    fn a_warm_damp_roll_of_untreated_stuff_is_due_before_its_cap() {
        let warm = Roll::Damp.clock(Sensitivity::VerySensitive, &[30.0]).unwrap();
        assert!((warm.redry_by_days - 0.5 * 7.0 * 1.126).abs() < 0.05, "{warm:?}");
        let wet = Roll::Wet.clock(Sensitivity::Sensitive, &[20.0]).unwrap();
        assert!(
            (wet.risk_from_days.unwrap() - 7.0 * 0.9714 / 0.578).abs() < 0.06,
            "{wet:?}"
        );
        assert!((wet.redry_by_days - 2.0).abs() < 1e-12);
    }

    #[test]
    fn nothing_grows_in_frost_at_50_degrees_or_below_the_critical_humidity() {
        let growth = |air_c, humidity| Sensitivity::Sensitive.growth_per_day(0.0, air_c, humidity);
        assert!(growth(0.0, 100.0) <= 0.0 && growth(50.0, 100.0) <= 0.0 && growth(25.0, 80.0) <= 0.0);
        assert!(growth(0.5, 100.0) > 0.0 && growth(49.5, 100.0) > 0.0 && growth(25.0, 80.5) > 0.0);
        // Clean plastic: 85 % and an index that cannot reach 2.1.
        assert!(Sensitivity::Resistant.growth_per_day(0.0, 25.0, 85.0) <= 0.0);
        assert!((Sensitivity::Resistant.most_index(25.0, 100.0) - 2.0).abs() < 1e-12);
        assert!(Sensitivity::MediumResistant.most_index(25.0, 80.0) <= 0.0);
    }

    #[test]
    fn without_a_temperature_the_cap_stands_and_growth_is_not_dated() {
        let clock = Roll::Wet.clock(Sensitivity::Sensitive, &[]).unwrap();
        assert!((clock.redry_by_days - 2.0).abs() < 1e-12);
        assert_eq!(clock.risk_from_days, None);
    }

    #[test]
    fn the_last_temperature_goes_on() {
        let warm_then_cold = [vec![20.0; 240], vec![-5.0; 1]].concat();
        assert_eq!(Sensitivity::Sensitive.days_to(1.0, 97.0, &warm_then_cold), None);
        let cold_then_warm = [vec![-5.0; 240], vec![20.0; 1]].concat();
        let later = Sensitivity::Sensitive.days_to(1.0, 97.0, &cold_then_warm).unwrap();
        let at_once = Sensitivity::Sensitive.days_to(1.0, 97.0, &[20.0]).unwrap();
        assert!((later - at_once - 10.0).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn warmer_is_sooner_between_5_and_20_degrees(air_c in 5.0..19.0_f64, more in 0.5..1.0_f64) {
            for sensitivity in [Sensitivity::VerySensitive, Sensitivity::Sensitive] {
                let days = |t| sensitivity.days_to(1.0, 97.0, &[t]).unwrap();
                prop_assert!(days(air_c + more) <= days(air_c));
            }
        }

        #[test]
        fn frost_or_dry_air_never_lets_anything_grow(air_c in -30.0..60.0_f64, humidity in 0.0..=100.0_f64, index in 0.0..6.0_f64) {
            for sensitivity in [Sensitivity::Sensitive, Sensitivity::Resistant] {
                let growth = sensitivity.growth_per_day(index, air_c, humidity);
                prop_assert!(growth >= 0.0 && growth.is_finite());
                if air_c <= 0.0 || humidity <= sensitivity.critical_humidity(air_c) {
                    prop_assert!(growth <= 0.0);
                }
            }
        }

        #[test]
        fn the_index_never_passes_what_can_be_reached(air_c in 1.0..45.0_f64, humidity in 85.0..=100.0_f64) {
            let most = Sensitivity::VerySensitive.most_index(air_c, humidity);
            prop_assert_eq!(Sensitivity::VerySensitive.days_to(most + 0.05, humidity, &[air_c]), None);
        }
    }
}
