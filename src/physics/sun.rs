//! Where the sun stands over one place.
//!
//! In:     latitude and longitude \[degrees\], time.
//! Out:    sine of the elevation without refraction, direction of the beam.
//! Source: the solar position algorithm of NREL (Reda and Andreas 2004) from the crate
//!         `solar-positioning`, delta T 69 s, height 0 m.
//!
//! The library's value costs as much as the cover's balance, so it is asked every two hours;
//! declination and hour angle in between are cubic (error 2e-6 degrees).

use std::f64::consts::PI;

use chrono::{DateTime, TimeDelta, Utc};
use solar_positioning::{Location, SolarPositions};

/// Terrestrial minus universal time \[s\], from memory of the bulletins for the mid 2020s.
const DELTA_T_S: f64 = 69.0;

/// Seconds between two values of the library.
const NODE_S: i64 = 7200;

/// The sun over one place for a stretch of time.
#[derive(Debug, Clone, PartialEq)]
pub struct SunTrack {
    sin_latitude: f64,
    cos_latitude: f64,
    /// Time of the first node.
    first: DateTime<Utc>,
    /// Declination and hour angle less a mean 15 degrees an hour, both in radians.
    nodes: Vec<(f64, f64)>,
}

/// Where the sun stands at one instant: components of the unit vector towards it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sun {
    /// Up: the sine of the elevation.
    pub up: f64,
    /// North.
    pub north: f64,
    /// East.
    pub east: f64,
}

impl Sun {
    /// Elevation \[degrees\].
    pub fn elevation_deg(self) -> f64 {
        self.up.clamp(-1.0, 1.0).asin().to_degrees()
    }

    /// Azimuth from north through east \[degrees\].
    pub fn azimuth_deg(self) -> f64 {
        self.east.atan2(self.north).to_degrees().rem_euclid(360.0)
    }

    fn below() -> Self {
        Self {
            up: -1.0,
            north: 0.0,
            east: 0.0,
        }
    }
}

impl SunTrack {
    /// The sun over `latitude_deg`, `longitude_deg` between two instants.
    ///
    /// Beyond the library's years (-2000 to 6000) the sun stays below the horizon.
    pub fn over(latitude_deg: f64, longitude_deg: f64, from: DateTime<Utc>, to: DateTime<Utc>) -> Self {
        let first = from - TimeDelta::seconds(NODE_S);
        let location = Location {
            latitude: latitude_deg,
            longitude: longitude_deg,
        };
        let positions = SolarPositions::new();
        let (sin_latitude, cos_latitude) = latitude_deg.to_radians().sin_cos();
        let count = ((to - first).num_seconds().max(0) / NODE_S) + 3;
        let mut nodes: Vec<(f64, f64)> = Vec::new();
        for node in 0..count {
            let at = first + TimeDelta::seconds(node * NODE_S);
            let Ok(seen) = positions.at(&at, location, 0.0, DELTA_T_S, None) else {
                nodes.clear();
                break;
            };
            let (sin_el, cos_el) = seen.elevation_angle().to_radians().sin_cos();
            let (sin_az, cos_az) = seen.azimuth().to_radians().sin_cos();
            let sin_declination = sin_el * sin_latitude + cos_el * cos_az * cos_latitude;
            let hour_angle = (-sin_az * cos_el).atan2(sin_el * cos_latitude - cos_el * sin_latitude * cos_az);
            let drift = hour_angle - turned(node * NODE_S);
            // The drift is smooth; whole turns are taken out so that neighbours stay together.
            let near = nodes.last().map_or(0.0, |last| last.1);
            let drift = drift - 2.0 * PI * ((drift - near) / (2.0 * PI)).round();
            nodes.push((sin_declination.clamp(-1.0, 1.0).asin(), drift));
        }
        Self {
            sin_latitude,
            cos_latitude,
            first,
            nodes,
        }
    }

    /// The sun at an instant of the stretch.
    pub fn at(&self, at: DateTime<Utc>) -> Sun {
        let seconds = (at - self.first).num_seconds();
        let start = (seconds.div_euclid(NODE_S) - 1).max(0);
        let Some(&[a, b, c, d]) = usize::try_from(start)
            .ok()
            .and_then(|start| self.nodes.get(start..))
            .and_then(<[(f64, f64)]>::first_chunk::<4>)
        else {
            return Sun::below();
        };
        #[expect(clippy::cast_precision_loss, reason = "seconds of a season")]
        let x = (seconds - start * NODE_S) as f64 / NODE_S as f64;
        let declination = cubic(x, [a.0, b.0, c.0, d.0]);
        let hour_angle = cubic(x, [a.1, b.1, c.1, d.1]) + turned(seconds);
        let (sin_dec, cos_dec) = declination.sin_cos();
        let (sin_hour, cos_hour) = hour_angle.sin_cos();
        Sun {
            up: sin_dec * self.sin_latitude + cos_dec * self.cos_latitude * cos_hour,
            north: sin_dec * self.cos_latitude - cos_dec * self.sin_latitude * cos_hour,
            east: -cos_dec * sin_hour,
        }
    }
}

/// Angle by which the mean sun moves on in `seconds` \[rad\].
fn turned(seconds: i64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "seconds of a season")]
    let days = seconds as f64 / 86_400.0;
    2.0 * PI * days
}

/// The cubic through the values at 0, 1, 2 and 3.
fn cubic(x: f64, [a, b, c, d]: [f64; 4]) -> f64 {
    let (x1, x2, x3) = (x - 1.0, x - 2.0, x - 3.0);
    -a * x1 * x2 * x3 / 6.0 + b * x * x2 * x3 / 2.0 - c * x * x1 * x3 / 2.0 + d * x * x1 * x2 / 6.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    /// NREL/TP-560-34302, example in appendix A.5 (17 October 2003, Golden): elevation before
    /// refraction 39.872046 and azimuth 194.340241 degrees, there with delta T 67 s at 1830 m.
    #[test]
    fn the_sun_stands_where_the_printed_example_says() {
        let when = at("2003-10-17T19:30:30Z");
        let sun = SunTrack::over(
            39.742_476,
            -105.1786,
            when - TimeDelta::hours(5),
            when + TimeDelta::hours(3),
        )
        .at(when);
        assert!(
            (sun.elevation_deg() - 39.872_046).abs() < 1e-4,
            "{}",
            sun.elevation_deg()
        );
        assert!((sun.azimuth_deg() - 194.340_241).abs() < 1e-4, "{}", sun.azimuth_deg());
    }

    #[test]
    fn between_two_library_values_the_sun_is_within_a_hundred_thousandth_of_a_degree() {
        let from = at("2026-03-01T00:00:00Z");
        for (latitude, longitude) in [(46.5, 11.3), (-41.2, 174.9), (0.0, -78.0), (69.0, 20.0), (38.5, -120.8)] {
            let track = SunTrack::over(latitude, longitude, from, from + TimeDelta::days(16));
            for step in 0..(16 * 24 * 6) {
                let when = from + TimeDelta::seconds(step * 600 + 300);
                let place = Location { latitude, longitude };
                let said = SolarPositions::new().at(&when, place, 0.0, DELTA_T_S, None).unwrap();
                let sun = track.at(when);
                assert!(
                    (sun.elevation_deg() - said.elevation_angle()).abs() < 1e-5,
                    "{when} {latitude}"
                );
                let turn = (sun.azimuth_deg() - said.azimuth() + 540.0).rem_euclid(360.0) - 180.0;
                // Near the zenith and the poles the azimuth runs fast; the beam does not.
                assert!(
                    (turn * said.elevation_angle().to_radians().cos()).abs() < 1e-5,
                    "{when} {latitude}: {turn}"
                );
            }
        }
    }

    #[test]
    fn outside_its_stretch_there_is_no_sun() {
        let from = at("2026-03-01T00:00:00Z");
        let track = SunTrack::over(46.5, 11.3, from, from + TimeDelta::hours(2));
        assert!(track.at(from + TimeDelta::days(2) + TimeDelta::hours(12)).up < 0.0);
    }
}
