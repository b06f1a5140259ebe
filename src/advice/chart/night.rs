//! When the sun is down, for the shade behind the chart.

use chrono::{DateTime, TimeDelta, Utc};

use super::facts::Span;
use crate::physics::sun::SunTrack;

/// Sun at the horizon: refraction and half the disc (standard value of almanacs).
const HORIZON_DEG: f64 = -0.833;
/// Shade needs no more than this.
const STEP_MINUTES: i64 = 15;

/// Sunset to sunrise between two instants, to a quarter of an hour.
pub(super) fn nights(latitude: f64, longitude: f64, from: DateTime<Utc>, to: DateTime<Utc>) -> Vec<Span> {
    let track = SunTrack::over(latitude, longitude, from, to);
    let dark = |at: DateTime<Utc>| track.at(at).elevation_deg() < HORIZON_DEG;
    let step = TimeDelta::minutes(STEP_MINUTES);
    let mut nights: Vec<Span> = Vec::new();
    let mut at = from;
    while at < to {
        if dark(at + step / 2) {
            match nights.last_mut().filter(|last| last.end == at) {
                Some(last) => last.end = at + step,
                None => nights.push(Span {
                    start: at,
                    end: at + step,
                }),
            }
        }
        at += step;
    }
    nights
}

#[cfg(test)]
mod tests {
    use super::*;

    /// US Naval Observatory almanac, equinox at the equator and Greenwich: sunrise about 06:04, sunset about 18:11 UT
    /// on 20 March (from memory), hence two dark spans in a day.
    #[test]
    fn the_night_is_half_the_day_at_the_equinox() {
        let from: DateTime<Utc> = "2026-03-20T00:00:00Z".parse().unwrap();
        let nights = nights(0.0, 0.0, from, from + TimeDelta::days(1));
        assert_eq!(nights.len(), 2);
        assert_eq!(nights[0].end, "2026-03-20T06:00:00Z".parse::<DateTime<Utc>>().unwrap());
        assert_eq!(
            nights[1].start,
            "2026-03-20T18:15:00Z".parse::<DateTime<Utc>>().unwrap()
        );
    }
}
