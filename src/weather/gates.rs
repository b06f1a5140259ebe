//! Which readings can be weather: limits, spikes, sensors that hang. What cannot be becomes a hole.
//!
//! In:     readings of one station in canonical units, sorted.
//! Out:    the same with holes, and how many were refused of what.
//! Source: limits and the order of the tests after the rules for automatic stations in WMO-No. 8, Guide to
//!         Instruments and Methods of Observation (limits, steps, persistence); figures as noted.
//! Assumed: how long a sensor may stand still, from the usual resolution of farm stations.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use super::reading::{Measured, Readings};
use super::valid::Told;

/// Readings after the tests.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Checked {
    /// What stands, with holes for what does not.
    pub readings: Readings,
    /// Refused values of each kind.
    pub refused: BTreeMap<Measured, usize>,
    /// Sensors that hang now, and since when.
    pub stuck: BTreeMap<Measured, DateTime<Utc>>,
    /// Gusts below the mean wind, raised to it.
    pub raised: usize,
}

/// Lowest and highest value that can be weather.
fn range(measured: Measured) -> (f64, f64) {
    match measured {
        Measured::Temperature | Measured::DewPoint => (-40.0, 60.0),
        Measured::NearGround => (-50.0, 80.0),
        Measured::Humidity | Measured::LeafWetness | Measured::CoverWetness => (0.0, 1.0),
        Measured::Wind | Measured::Gust => (0.0, 75.0),
        Measured::WindDirection => (0.0, 360.0),
        Measured::Rain => (0.0, 300.0),
        Measured::RainCounter => (0.0, 100_000.0),
        Measured::Shortwave => (0.0, 1500.0),
        Measured::Thunder | Measured::Fog => (0.0, 1.0),
    }
}

/// A value this far from both its neighbours, in the same direction, is a slip. A gust front moves one side only.
fn spike(measured: Measured) -> Option<f64> {
    match measured {
        Measured::Temperature | Measured::DewPoint => Some(8.0),
        Measured::NearGround => Some(15.0),
        Measured::Humidity => Some(0.5),
        Measured::Wind => Some(25.0),
        Measured::Gust => Some(40.0),
        Measured::RainCounter => Some(100.0),
        Measured::WindDirection
        | Measured::Rain
        | Measured::Shortwave
        | Measured::Thunder
        | Measured::Fog
        | Measured::LeafWetness
        | Measured::CoverWetness => None,
    }
}

/// Longest time between neighbours for the test of slips.
const NEIGHBOURS: TimeDelta = TimeDelta::minutes(35);
/// The dew point may pass the air temperature by this, the error of two sensors \[K\].
const DEW_ABOVE_AIR_K: f64 = 1.0;

/// Hours for which a sensor may show one and the same value; `None` where that is usual weather.
fn still(measured: Measured, value: f64, coarse: bool) -> Option<i64> {
    let fine = |hours: i64| Some(if coarse { 24 } else { hours });
    match measured {
        Measured::Temperature | Measured::NearGround => fine(8),
        Measured::DewPoint => fine(12),
        // Saturated air may last for days.
        Measured::Humidity if value >= 0.97 => None,
        Measured::Humidity => fine(12),
        Measured::Wind | Measured::Gust if value > 0.0 => fine(6),
        // A frozen or broken cup.
        Measured::Wind | Measured::Gust => Some(24),
        Measured::WindDirection => Some(24),
        Measured::Shortwave if value > 5.0 => Some(3),
        Measured::Shortwave => Some(30),
        Measured::LeafWetness | Measured::CoverWetness if value > 0.0 => Some(72),
        Measured::Rain
        | Measured::RainCounter
        | Measured::Thunder
        | Measured::Fog
        | Measured::LeafWetness
        | Measured::CoverWetness => None,
    }
}

/// Tests all readings of a station.
pub fn check(readings: &Readings) -> Checked {
    let mut found = Checked {
        readings: readings.clone(),
        ..Checked::default()
    };
    for measured in Measured::ALL {
        let (low, high) = range(measured);
        let told = found.readings.of_mut(measured);
        let mut refused = refuse(told, |_, value| !(low..=high).contains(&value));
        if let Some(limit) = spike(measured) {
            let before = told.clone();
            refused += refuse(told, |k, value| is_spike(&before, k, value, limit));
        }
        let hanging = hanging(told, measured);
        if let Some((first, last)) = hanging.last()
            && *last + 1 == told.len()
        {
            let since = told.get(*first).map(|told| told.valid.end());
            found.stuck.extend(since.map(|since| (measured, since)));
        }
        refused += refuse(told, |k, _| {
            hanging.iter().any(|(first, last)| (*first..=*last).contains(&k))
        });
        if refused > 0 {
            found.refused.insert(measured, refused);
        }
    }
    refuse_high_dew(&mut found);
    raise_gusts(&mut found);
    found
}

fn refuse(told: &mut [Told], is_wrong: impl Fn(usize, f64) -> bool) -> usize {
    let mut refused = 0;
    for (k, told) in told.iter_mut().enumerate() {
        if told.value.is_some_and(|value| !value.is_finite() || is_wrong(k, value)) {
            told.value = None;
            refused += 1;
        }
    }
    refused
}

fn is_spike(told: &[Told], k: usize, value: f64, limit: f64) -> bool {
    let Some(here) = told.get(k) else { return false };
    let neighbour = |k: Option<usize>| -> Option<f64> {
        let there = told.get(k?)?;
        let near = (here.valid.end() - there.valid.end()).abs() <= NEIGHBOURS;
        there.value.filter(|_| near)
    };
    match (neighbour(k.checked_sub(1)), neighbour(k.checked_add(1))) {
        (Some(before), Some(after)) => value - before.max(after) > limit || before.min(after) - value > limit,
        _ => false,
    }
}

/// First and last reading of each stretch in which the sensor hangs.
fn hanging(told: &[Told], measured: Measured) -> Vec<(usize, usize)> {
    let coarse = told
        .iter()
        .filter_map(|told| told.value)
        .all(|value| value.fract().abs() < 1e-9);
    let mut found = Vec::new();
    let mut start: Option<(usize, f64)> = None;
    let mut last = 0;
    let close = |start: Option<(usize, f64)>, last: usize, found: &mut Vec<(usize, usize)>| {
        let Some((first, value)) = start else { return };
        let (Some(from), Some(to)) = (told.get(first), told.get(last)) else {
            return;
        };
        let lasted = to.valid.end() - from.valid.end();
        // Three readings at least: two alike with nothing between prove no standstill.
        let enough = last >= first + 2;
        if enough && still(measured, value, coarse).is_some_and(|hours| lasted >= TimeDelta::hours(hours)) {
            found.push((first, last));
        }
    };
    for (k, reading) in told.iter().enumerate() {
        let Some(value) = reading.value else { continue };
        match start {
            Some((_, same)) if (same - value).abs() < 1e-9 => last = k,
            _ => {
                close(start, last, &mut found);
                start = Some((k, value));
                last = k;
            }
        }
    }
    close(start, last, &mut found);
    found
}

fn refuse_high_dew(found: &mut Checked) {
    let air: BTreeMap<_, _> = found
        .readings
        .of(Measured::Temperature)
        .iter()
        .filter_map(|told| Some((told.valid.end(), told.value?)))
        .collect();
    let mut refused = 0;
    for dew in found.readings.of_mut(Measured::DewPoint) {
        let above = |value: f64| {
            air.get(&dew.valid.end())
                .is_some_and(|air| value > air + DEW_ABOVE_AIR_K)
        };
        if dew.value.is_some_and(above) {
            dew.value = None;
            refused += 1;
        }
    }
    if refused > 0 {
        *found.refused.entry(Measured::DewPoint).or_default() += refused;
    }
}

fn raise_gusts(found: &mut Checked) {
    let mean: BTreeMap<_, _> = found
        .readings
        .of(Measured::Wind)
        .iter()
        .filter_map(|told| Some((told.valid.end(), told.value?)))
        .collect();
    for gust in found.readings.of_mut(Measured::Gust) {
        if let (Some(value), Some(mean)) = (gust.value, mean.get(&gust.valid.end()))
            && value < *mean
        {
            gust.value = Some(*mean);
            found.raised += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::reading::Reading;
    use super::super::valid::Valid;
    use super::*;

    fn readings(measured: Measured, values: &[f64], step_minutes: i64) -> Vec<Reading> {
        let start: DateTime<Utc> = "2026-03-10T00:00:00Z".parse().unwrap();
        let minutes = (0..).step_by(usize::try_from(step_minutes).unwrap());
        values
            .iter()
            .zip(minutes)
            .map(|(value, minute)| Reading {
                measured,
                told: Told {
                    valid: Valid::At(start + TimeDelta::minutes(minute)),
                    value: Some(*value),
                },
                received: start + TimeDelta::days(9),
            })
            .collect()
    }

    fn checked(measured: Measured, values: &[f64], step_minutes: i64) -> Checked {
        check(&Readings::gather(readings(measured, values, step_minutes)))
    }

    fn values(found: &Checked, measured: Measured) -> Vec<Option<f64>> {
        found.readings.of(measured).iter().map(|told| told.value).collect()
    }

    #[test]
    fn what_no_weather_shows_becomes_a_hole_and_is_counted() {
        let limits = [
            (Measured::Temperature, -41.0, -40.0),
            (Measured::Temperature, 60.1, 60.0),
            (Measured::Humidity, 1.01, 1.0),
            (Measured::Humidity, -0.01, 0.0),
            (Measured::Wind, 75.1, 75.0),
            (Measured::Gust, -0.1, 0.0),
            (Measured::Temperature, f64::NAN, 12.0),
        ];
        for (measured, wrong, right) in limits {
            let found = checked(measured, &[right, wrong], 600);
            assert_eq!(values(&found, measured), [Some(right), None], "{measured:?} {wrong}");
            assert_eq!(found.refused[&measured], 1);
        }
    }

    #[test]
    fn a_slip_of_one_reading_goes_and_a_gust_front_stays() {
        let slip = checked(Measured::Temperature, &[14.0, 31.0, 14.1, 14.0], 10);
        assert_eq!(
            values(&slip, Measured::Temperature),
            [Some(14.0), None, Some(14.1), Some(14.0)]
        );
        let front = checked(Measured::Temperature, &[27.0, 17.5, 16.0, 15.8], 10);
        assert!(front.refused.is_empty());
        let gusts = checked(Measured::Gust, &[6.0, 29.0, 18.0, 12.0], 10);
        assert!(gusts.refused.is_empty());
    }

    #[test]
    fn a_dew_point_well_above_the_air_is_refused() {
        let mut all = readings(Measured::Temperature, &[10.0, 10.2], 10);
        all.extend(readings(Measured::DewPoint, &[10.9, 11.3], 10));
        let found = check(&Readings::gather(all));
        assert_eq!(values(&found, Measured::DewPoint), [Some(10.9), None]);
    }

    #[test]
    fn a_gust_below_the_mean_wind_is_raised_to_it_and_said() {
        let mut all = readings(Measured::Wind, &[9.0], 10);
        all.extend(readings(Measured::Gust, &[0.5], 10));
        let found = check(&Readings::gather(all));
        assert_eq!(values(&found, Measured::Gust), [Some(9.0)]);
        assert_eq!(found.raised, 1);
    }

    #[test]
    fn a_thermometer_that_hangs_is_not_believed_from_where_it_stopped() {
        let mut series = vec![9.7, 9.9];
        series.extend([10.3; 17]);
        let found = checked(Measured::Temperature, &series, 30);
        let left = values(&found, Measured::Temperature);
        assert_eq!(left.iter().filter(|value| value.is_some()).count(), 2);
        assert_eq!(
            found.stuck[&Measured::Temperature],
            "2026-03-10T01:00:00Z".parse::<DateTime<Utc>>().unwrap()
        );
        series.push(10.4);
        assert!(checked(Measured::Temperature, &series, 30).stuck.is_empty());
    }

    #[test]
    fn wet_fog_all_night_calm_and_dark_are_no_hanging_sensors() {
        for (measured, value) in [
            (Measured::Humidity, 1.0),
            (Measured::Wind, 0.0),
            (Measured::Shortwave, 0.0),
            (Measured::Rain, 0.0),
            (Measured::LeafWetness, 0.0),
        ] {
            let found = checked(measured, &[value; 32], 30);
            assert!(found.refused.is_empty(), "{measured:?}");
        }
        assert_eq!(checked(Measured::Wind, &[2.3; 14], 30).refused[&Measured::Wind], 14);
    }
}
