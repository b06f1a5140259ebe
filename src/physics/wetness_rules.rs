//! Simple rules of thumb for wet surfaces, to be shown beside the cover model and never instead of it.
//!
//! In:     air temperature and dew point \[°C\], rain of the hour \[mm\].
//! Out:    wet or not, by each rule.
//! Source: relative humidity of 90 % or more, as used by Wang et al. 2019, Water 11:158, section 2.2, and the
//!         works cited there; dew-point depression below 2 K, a common benchmark for leaves.
//! Valid:  leaves. None of them knows how a sheet dries.

use super::vapour;

/// Humidity from which the first rule says wet.
const HUMID_FROM: f64 = 0.90;

/// Dew-point depression below which the second rule says wet \[K\].
const CLOSE_BELOW_K: f64 = 2.0;

/// What the rules say of one hour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rules {
    /// The air is humid.
    pub humid: bool,
    /// The air is close to its dew point.
    pub close: bool,
    /// Either, or rain fell in the hour.
    pub either_or_rain: bool,
}

impl Rules {
    /// The rules for an hour; a dew point above the air counts as the air.
    pub fn of(air_c: f64, dew_c: f64, rain_mm: f64) -> Self {
        let humid = is_humid(vapour::humidity(air_c, dew_c.min(air_c)));
        let close = is_close(air_c - dew_c);
        Self {
            humid,
            close,
            either_or_rain: humid || close || rain_mm > 0.0,
        }
    }
}

/// Whether relative humidity, 0 to 1, means wet.
pub fn is_humid(humidity: f64) -> bool {
    humidity >= HUMID_FROM
}

/// Whether a dew-point depression \[K\] means wet.
pub fn is_close(depression_k: f64) -> bool {
    depression_k < CLOSE_BELOW_K
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn between_the_two_rules_lies_a_fifth_of_a_degree_or_rain() {
        // At 10 °C a depression of 1.9 K is 87.96 % humidity: the second rule alone.
        assert_eq!(
            Rules::of(10.0, 8.1, 0.0),
            Rules {
                humid: false,
                close: true,
                either_or_rain: true
            }
        );
        assert_eq!(
            Rules::of(10.0, 8.5, 0.0),
            Rules {
                humid: true,
                close: true,
                either_or_rain: true
            }
        );
        assert_eq!(
            Rules::of(10.0, 8.0, 0.0),
            Rules {
                humid: false,
                close: false,
                either_or_rain: false
            }
        );
        assert_eq!(
            Rules::of(10.0, 2.0, 0.1),
            Rules {
                humid: false,
                close: false,
                either_or_rain: true
            }
        );
        assert!(Rules::of(10.0, 11.0, 0.0).humid);
    }
}
