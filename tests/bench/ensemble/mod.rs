//! The invented reply of an ensemble, written with as many digits as such replies have.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use covercast::sources::open_meteo::{self, Context};
use covercast::units::{Degrees, Metres};
use covercast::weather::Place;

const HOURS: usize = 16 * 24;
const MEMBERS: usize = 51;

/// Name, unit, digits behind the point, middle and swing.
const VARIABLES: [(&str, &str, usize, f64, f64); 8] = [
    ("temperature_2m", "°C", 1, 12.0, 9.0),
    ("dew_point_2m", "°C", 1, -2.0, 4.0),
    ("precipitation", "mm", 2, 0.8, 0.8),
    ("wind_speed_10m", "m/s", 2, 4.0, 3.0),
    ("wind_gusts_10m", "m/s", 1, 11.0, 6.0),
    ("wind_direction_10m", "°", 0, 180.0, 179.0),
    ("shortwave_radiation", "W/m²", 1, 400.0, 399.0),
    ("cloud_cover", "%", 0, 50.0, 50.0),
];

fn body() -> Vec<u8> {
    let mut chance = fastrand::Rng::with_seed(11);
    let tail = |member: usize| {
        if member == 0 {
            String::new()
        } else {
            format!("_member{member:02}")
        }
    };
    let (mut units, mut lists) = (String::new(), String::new());
    for (name, unit, digits, middle, swing) in VARIABLES {
        for member in 0..MEMBERS {
            let _ = write!(units, ",\"{name}{}\":\"{unit}\"", tail(member));
            let _ = write!(lists, ",\"{name}{}\":[", tail(member));
            for hour in 0..HOURS {
                let comma = if hour == 0 { "" } else { "," };
                let value = middle + swing * (2.0 * chance.f64() - 1.0);
                let _ = write!(lists, "{comma}{value:.digits$}");
            }
            lists.push(']');
        }
    }
    let times: Vec<String> = (0..HOURS)
        .map(|hour| (1_772_323_200 + 3600 * hour).to_string())
        .collect();
    let times = times.join(",");
    format!(
        "{{\"latitude\":46.5,\"longitude\":11.25,\"generationtime_ms\":2.5,\"utc_offset_seconds\":0,\"timezone\":\"GMT\",\
         \"timezone_abbreviation\":\"GMT\",\"elevation\":262.0,\"hourly_units\":{{\"time\":\"unixtime\"{units}}},\
         \"hourly\":{{\"time\":[{times}]{lists}}}}}"
    )
    .into_bytes()
}

pub(crate) fn with_context<T>(f: impl FnOnce(&Context<'_>) -> T) -> T {
    f(&Context {
        site: Place {
            latitude: Degrees(46.5),
            longitude: Degrees(11.3),
            elevation: Some(Metres(250.0)),
        },
        fetched: "2026-03-01T06:00:00Z".parse().unwrap_or_default(),
        previous: None,
        offered: &BTreeSet::new(),
        asked: None,
    })
}

/// A reply that is refused would be read very fast.
#[expect(clippy::expect_used, reason = "a measurement of nothing must stop")]
pub(crate) fn checked() -> Vec<u8> {
    let body = body();
    let members = with_context(|context| open_meteo::read(&body, context)).map(|forecast| forecast.runs.len());
    assert_eq!(members.expect("the invented reply is read"), MEMBERS);
    body
}
