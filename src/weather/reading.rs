//! What a station measured: readings with their validity, sorted, each instant once.
//!
//! A reading that is missing, refused or silent stays a hole on the way to hours. How far readings may be
//! believed at all is the business of [`super::gates`].

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::valid::{Told, Valid};
use crate::units::Metres;

/// What a sensor measures, in the unit that readings have inside the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Measured {
    /// Air temperature \[°C\].
    Temperature,
    /// Relative humidity \[0..1\].
    Humidity,
    /// Dew point \[°C\].
    DewPoint,
    /// Temperature close to the ground \[°C\].
    NearGround,
    /// Mean wind \[m/s\] at the height of the sensor.
    Wind,
    /// Gust \[m/s\] at the height of the sensor.
    Gust,
    /// Direction the wind comes from \[degrees\].
    WindDirection,
    /// Rain of a span \[mm\].
    Rain,
    /// Rain counted up since some beginning \[mm\]; starts again from nothing now and then.
    RainCounter,
    /// Global radiation \[W/m²\].
    Shortwave,
    /// 1 where thunder is reported, else 0.
    Thunder,
    /// 1 where fog is reported, else 0.
    Fog,
    /// Share of a leaf sensor that is wet \[0..1\].
    LeafWetness,
    /// Share of a sensor on or under a cover that is wet \[0..1\].
    CoverWetness,
}

impl Measured {
    /// All of them.
    pub const ALL: [Self; 14] = [
        Self::Temperature,
        Self::Humidity,
        Self::DewPoint,
        Self::NearGround,
        Self::Wind,
        Self::Gust,
        Self::WindDirection,
        Self::Rain,
        Self::RainCounter,
        Self::Shortwave,
        Self::Thunder,
        Self::Fog,
        Self::LeafWetness,
        Self::CoverWetness,
    ];

    /// Its name in settings and in the database.
    pub fn name(self) -> &'static str {
        match self {
            Self::Temperature => "temperature",
            Self::Humidity => "humidity",
            Self::DewPoint => "dew-point",
            Self::NearGround => "near-ground",
            Self::Wind => "wind",
            Self::Gust => "gust",
            Self::WindDirection => "wind-direction",
            Self::Rain => "rain",
            Self::RainCounter => "rain-counter",
            Self::Shortwave => "shortwave",
            Self::Thunder => "thunder",
            Self::Fog => "fog",
            Self::LeafWetness => "leaf-wetness",
            Self::CoverWetness => "cover-wetness",
        }
    }

    /// The one of that name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|measured| measured.name() == name)
    }
}

/// One reading as it came in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Of what.
    pub measured: Measured,
    /// Validity and value; `None` where the station says that it has none.
    pub told: Told,
    /// When it reached the program.
    pub received: DateTime<Utc>,
}

/// Whose station it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Owner {
    /// It stands on the farm.
    Own,
    /// It stands near the farm.
    Near,
}

/// What stands around a wind sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Terrain {
    /// Grass or low crops, nothing higher for 300 m.
    Open,
    /// Low crops with single trees or hedges.
    Scattered,
    /// High crops, many hedges, scattered buildings.
    Rough,
    /// Above an orchard or wood whose trees have this height.
    Trees(Metres),
}

/// Where a wind sensor stands; without it wind is never used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exposure {
    /// Height of the sensor above the ground.
    pub height: Metres,
    /// What stands around it.
    pub terrain: Terrain,
}

/// A station as declared.
#[derive(Debug, Clone, PartialEq)]
pub struct Mast {
    /// Its name in the service file.
    pub name: String,
    /// Whose it is.
    pub owner: Owner,
    /// Where its wind sensor stands, if declared.
    pub exposure: Option<Exposure>,
    /// From the farm, if it is known.
    pub distance: Option<Metres>,
}

impl Mast {
    /// Whether its readings may tell the farm's past: its own, or one no further than [`NEAR_M`].
    pub fn is_close(&self) -> bool {
        self.owner == Owner::Own || self.distance.is_some_and(|Metres(m)| m <= NEAR_M)
    }
}

/// Furthest that a station may stand from the farm to tell its past \[m\].
///
/// Assumed: a shower is a few kilometres wide; airports further off serve for checks only.
pub const NEAR_M: f64 = 10_000.0;
/// Age at which the last reading is no longer fresh.
pub const FRESH: TimeDelta = TimeDelta::minutes(20);
/// Age at which what is measured now is unknown.
pub const SILENT: TimeDelta = TimeDelta::minutes(60);
/// A reading from further ahead than this is of a wrong clock.
const AHEAD: TimeDelta = TimeDelta::minutes(15);

/// How long ago a station was heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Hearing {
    /// Within 20 minutes.
    Fresh,
    /// Within the hour; said so.
    Stale,
    /// Longer ago: what is measured now is unknown.
    Silent,
}

/// How it stands with a last reading.
pub fn hearing(last: DateTime<Utc>, now: DateTime<Utc>) -> Hearing {
    let age = now - last;
    if age <= FRESH {
        Hearing::Fresh
    } else if age <= SILENT {
        Hearing::Stale
    } else {
        Hearing::Silent
    }
}

/// Readings of one station: sorted by time, one for each span or instant.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Readings {
    of: BTreeMap<Measured, Vec<Told>>,
}

impl Valid {
    /// The instant, or the end of the span.
    pub fn end(self) -> DateTime<Utc> {
        match self {
            Self::At(at) => at,
            Self::Over { to, .. } => to,
        }
    }

    fn begin(self) -> DateTime<Utc> {
        match self {
            Self::At(at) => at,
            Self::Over { from, .. } => from,
        }
    }
}

impl Readings {
    /// Sorts readings that come in any order. Of two for the same time the one received later counts; one
    /// from ahead of the time it was received is of a wrong clock and left out.
    pub fn gather(readings: impl IntoIterator<Item = Reading>) -> Self {
        let mut all: Vec<Reading> = readings
            .into_iter()
            .filter(|reading| reading.told.valid.end() <= reading.received + AHEAD)
            .collect();
        // Stable: of those received together the later in the file comes last.
        all.sort_by_key(|reading| {
            let valid = reading.told.valid;
            (reading.measured, valid.end(), valid.begin(), reading.received)
        });
        let mut of: BTreeMap<Measured, Vec<Told>> = BTreeMap::new();
        for reading in all {
            let told = of.entry(reading.measured).or_default();
            match told.last_mut() {
                Some(last) if last.valid == reading.told.valid => *last = reading.told,
                _ => told.push(reading.told),
            }
        }
        Self { of }
    }

    /// Of one kind, in order of time.
    pub fn of(&self, measured: Measured) -> &[Told] {
        self.of.get(&measured).map_or(&[], Vec::as_slice)
    }

    pub(super) fn of_mut(&mut self, measured: Measured) -> &mut Vec<Told> {
        self.of.entry(measured).or_default()
    }

    /// With another wind: `mean` of each mean wind, `gust` of each gust and the mean of the same time.
    pub fn with_wind(mut self, mean: impl Fn(f64) -> f64, gust: impl Fn(f64, Option<f64>) -> f64) -> Self {
        let means: BTreeMap<DateTime<Utc>, f64> = self
            .of(Measured::Wind)
            .iter()
            .filter_map(|told| Some((told.valid.end(), told.value?)))
            .collect();
        for told in self.of_mut(Measured::Gust) {
            told.value = told
                .value
                .map(|value| gust(value, means.get(&told.valid.end()).copied()));
        }
        for told in self.of_mut(Measured::Wind) {
            told.value = told.value.map(&mean);
        }
        self
    }

    /// Without wind, gust and direction.
    pub fn without_wind(mut self) -> Self {
        for measured in [Measured::Wind, Measured::Gust, Measured::WindDirection] {
            self.of.remove(&measured);
        }
        self
    }

    /// Time of the last reading that has a value.
    pub fn last(&self) -> Option<DateTime<Utc>> {
        let last = |told: &Vec<Told>| {
            let known = told.iter().rev().find(|told| told.value.is_some());
            known.map(|told| told.valid.end())
        };
        self.of.values().filter_map(last).max()
    }

    /// Time of the first reading.
    pub fn first(&self) -> Option<DateTime<Utc>> {
        let first = |told: &Vec<Told>| told.first().map(|told| told.valid.begin());
        self.of.values().filter_map(first).min()
    }

    /// The newest value of a kind, with its time.
    pub fn newest(&self, measured: Measured) -> Option<(DateTime<Utc>, f64)> {
        let known = self.of(measured).iter().rev();
        known
            .filter_map(|told| told.value.map(|value| (told.valid.end(), value)))
            .next()
    }
}

/// Longest time between two counts whose difference is one block of rain.
const LONGEST_COUNT: TimeDelta = TimeDelta::hours(24);
/// Most rain that may hide behind a counter that began anew between two counts.
const RESET_WITHIN: TimeDelta = TimeDelta::minutes(70);
/// A count may fall by this through rounding \[mm\].
const ROUNDING_MM: f64 = 0.05;

/// Rain between the counts of a counter. Where it began anew, what it shows has fallen since; with more
/// than 70 minutes between such counts nobody knows how much went before, and the span is a hole.
pub fn rain_between(counts: &[Told]) -> Vec<Told> {
    let mut known: Vec<(DateTime<Utc>, f64)> = Vec::new();
    for count in counts {
        let Some(value) = count.value else { continue };
        // Whole minutes: of several counts within one the last is enough.
        let second = count.valid.end().timestamp();
        let Some(at) = DateTime::from_timestamp(second - second.rem_euclid(60), 0) else {
            continue;
        };
        match known.last_mut() {
            Some(last) if last.0 == at => last.1 = value,
            _ => known.push((at, value)),
        }
    }
    let mut rain = Vec::new();
    for pair in known.windows(2) {
        let [(from, before), (to, after)] = pair else { continue };
        let gap = *to - *from;
        let fell = after - before;
        let value = if gap > LONGEST_COUNT {
            None
        } else if fell >= 0.0 {
            Some(fell)
        } else if fell >= -ROUNDING_MM {
            Some(0.0)
        } else if gap <= RESET_WITHIN {
            Some(*after)
        } else {
            None
        };
        let valid = Valid::Over { from: *from, to: *to };
        rain.push(Told { valid, value });
    }
    rain
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> DateTime<Utc> {
        "2026-03-10T00:00:00Z".parse::<DateTime<Utc>>().unwrap() + TimeDelta::minutes(minute)
    }

    fn reading(minute: i64, value: f64, received: i64) -> Reading {
        Reading {
            measured: Measured::Temperature,
            told: Told {
                valid: Valid::At(at(minute)),
                value: Some(value),
            },
            received: at(received),
        }
    }

    fn count(minute: i64, value: f64) -> Told {
        Told {
            valid: Valid::At(at(minute)),
            value: Some(value),
        }
    }

    #[test]
    fn unsorted_and_doubled_readings_are_put_in_order_and_the_later_one_counts() {
        let found = Readings::gather([reading(20, 3.0, 30), reading(0, 1.0, 30), reading(20, 4.0, 31)]);
        let values: Vec<_> = found.of(Measured::Temperature).iter().map(|told| told.value).collect();
        assert_eq!(values, [Some(1.0), Some(4.0)]);
        assert_eq!(found.last(), Some(at(20)));
        assert_eq!(found.newest(Measured::Temperature), Some((at(20), 4.0)));
    }

    #[test]
    fn a_reading_from_tomorrow_is_of_a_wrong_clock() {
        let found = Readings::gather([reading(0, 1.0, 5), reading(1440, 9.0, 5)]);
        assert_eq!(found.last(), Some(at(0)));
    }

    #[test]
    fn a_station_is_fresh_for_twenty_minutes_and_unknown_after_an_hour() {
        assert_eq!(hearing(at(0), at(20)), Hearing::Fresh);
        assert_eq!(hearing(at(0), at(21)), Hearing::Stale);
        assert_eq!(hearing(at(0), at(61)), Hearing::Silent);
    }

    #[test]
    fn a_rain_counter_that_begins_anew_loses_no_rain_and_invents_none() {
        let rain = rain_between(&[
            count(0, 135.3),
            count(10, 135.5),
            count(20, 0.2),
            count(30, 0.2),
            count(330, 5.2),
            count(700, 1.0),
        ]);
        let values: Vec<_> = rain
            .iter()
            .map(|told| told.value.map(|mm| (mm * 10.0).round() / 10.0))
            .collect();
        // The block of five hours is known as a whole; the one with a new beginning in six hours is not.
        assert_eq!(values, [Some(0.2), Some(0.2), Some(0.0), Some(5.0), None]);
    }

    #[test]
    fn counts_within_one_minute_are_one_count() {
        let within = |second: i64, value: f64| Told {
            valid: Valid::At(at(0) + TimeDelta::seconds(second)),
            value: Some(value),
        };
        let rain = rain_between(&[within(0, 1.0), within(16, 1.2), within(64, 1.4)]);
        assert_eq!(rain.len(), 1);
        assert!((rain[0].value.unwrap() - 0.2).abs() < 1e-9);
    }
}
