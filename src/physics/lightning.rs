//! The 30-30 rule for work in the open.
//!
//! In:     seconds from flash to thunder.
//! Out:    distance of the stroke \[km\], and whether to stop.
//! Source: Holle, Lopez and Zimmermann 1999, Bull. Amer. Meteor. Soc. 80:2035-2041, as restated by public
//!         services; speed of sound 343 m/s at 20 °C.
//!
//! Thunder that is heard at all is reason enough to stop; local rules come first.

/// Stop when thunder follows the flash within this time \[s\].
pub const STOP_WITHIN_S: f64 = 30.0;

/// Go on no sooner than this after the last thunder \[min\]; every thunder starts it anew.
pub const RESUME_AFTER_MIN: i64 = 30;

/// Speed of sound in air of 20 °C \[m/s\].
const SOUND_M_S: f64 = 343.0;

/// Distance \[km\] of a stroke whose thunder came `seconds` after its flash.
pub fn distance_km(seconds: f64) -> f64 {
    seconds * SOUND_M_S / 1000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thirty_seconds_are_about_ten_kilometres() {
        assert!((distance_km(STOP_WITHIN_S) - 10.0).abs() < 0.5);
    }
}
