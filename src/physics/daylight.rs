//! When the sun rises and sets over a flat horizon.
//!
//! In:     latitude and longitude \[degrees\], a stretch of time such as a local day.
//! Out:    first sunrise and first sunset in it, within a second; none where the sun stays up or down.
//! Source: zenith 90.8333 degrees (half the disc 16', refraction 34'), the almanacs' convention, found by root
//!         search on the positions of [`SunTrack`].
//! Valid:  hills shift the real sunrise by minutes, and air by seconds: keep a margin.

use chrono::{DateTime, TimeDelta, Utc};

use super::sun::SunTrack;

/// Elevation of the sun's middle at rise and set \[degrees\].
pub const HORIZON_DEG: f64 = -0.8333;

/// Step in which the horizon is watched; a shorter day or night may be missed near the polar circle.
const WATCH_S: i64 = 300;

/// Rise and set of the sun.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Daylight {
    /// First sunrise.
    pub rise: Option<DateTime<Utc>>,
    /// First sunset.
    pub set: Option<DateTime<Utc>>,
}

/// First sunrise and first sunset from `from` to `to` over a place.
pub fn rise_and_set(latitude_deg: f64, longitude_deg: f64, from: DateTime<Utc>, to: DateTime<Utc>) -> Daylight {
    let track = SunTrack::over(latitude_deg, longitude_deg, from, to);
    let up = |at: DateTime<Utc>| track.at(at).elevation_deg() >= HORIZON_DEG;
    let mut found = Daylight::default();
    let (mut at, mut was_up) = (from, up(from));
    while at < to {
        let next = (at + TimeDelta::seconds(WATCH_S)).min(to);
        let is_up = up(next);
        let event = match (was_up, is_up) {
            (false, true) => Some(&mut found.rise),
            (true, false) => Some(&mut found.set),
            _ => None,
        };
        if let Some(event) = event
            && event.is_none()
        {
            *event = Some(crossing(at, next, |at| up(at) == is_up));
        }
        (at, was_up) = (next, is_up);
    }
    found
}

/// First whole second after `before` at which `passed`, which is so at `after`.
fn crossing(
    mut before: DateTime<Utc>,
    mut after: DateTime<Utc>,
    passed: impl Fn(DateTime<Utc>) -> bool,
) -> DateTime<Utc> {
    while after - before > TimeDelta::seconds(1) {
        let middle = before + TimeDelta::seconds((after - before).num_seconds() / 2);
        if passed(middle) {
            after = middle;
        } else {
            before = middle;
        }
    }
    after
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(latitude: f64, longitude: f64, from: &str) -> Daylight {
        let from: DateTime<Utc> = from.parse().unwrap();
        rise_and_set(latitude, longitude, from, from + TimeDelta::days(1))
    }

    /// NREL/TP-560-34302, table A5.1 prints sunrise 06:12:43 and sunset 17:20:19 local, seven hours behind UTC. The
    /// rise agrees. That report's short formula for rise and set interpolates between midnights in UTC, and the set
    /// falls on the next UTC day: its own positions put the sun's middle 0.28 degrees lower at the printed time.
    #[test]
    fn the_sun_rises_as_in_the_printed_example_and_sets_when_its_positions_say() {
        let found = day(39.742_476, -105.1786, "2003-10-17T07:00:00Z");
        let at = |text: &str| text.parse::<DateTime<Utc>>().unwrap();
        let rise = found.rise.unwrap();
        assert!((rise - at("2003-10-17T13:12:43Z")).num_seconds().abs() <= 2, "{rise}");
        let printed = at("2003-10-18T00:20:19Z");
        let track = SunTrack::over(
            39.742_476,
            -105.1786,
            printed - TimeDelta::hours(5),
            printed + TimeDelta::hours(3),
        );
        assert!((track.at(found.set.unwrap()).elevation_deg() - HORIZON_DEG).abs() < 0.003);
        assert!((track.at(printed).elevation_deg() + 1.11).abs() < 0.01);
    }

    #[test]
    fn under_the_midnight_sun_and_in_the_polar_night_there_is_no_rise() {
        assert_eq!(day(69.65, 18.96, "2026-06-20T22:00:00Z"), Daylight::default());
        assert_eq!(day(69.65, 18.96, "2026-12-20T23:00:00Z"), Daylight::default());
    }
}
