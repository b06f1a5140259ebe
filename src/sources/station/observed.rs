//! Observations that a service gives of stations near the farm, as readings of those stations.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};

use super::super::client::Reply;
use super::super::nws;
use super::super::open_meteo::Context;
use super::super::place_of;
use super::{distance, metar};
use crate::farm::site::Site;
use crate::weather::reading::{Mast, Measured, Owner, Reading};
use crate::weather::{Quantity, Told};

/// The stations of a reply of the US National Weather Service, each with its readings. Nothing is said of how their
/// wind sensors stand, so their wind is not used. Nothing comes of a reply that cannot be read: asking for it has said so.
pub fn observed(reply: &Reply, site: &Site) -> Vec<(Mast, Vec<Reading>)> {
    let offered = BTreeSet::new();
    let context = Context {
        site: place_of(site),
        fetched: reply.fetched,
        previous: None,
        offered: &offered,
        asked: None,
    };
    let Ok(found) = nws::observations(&reply.bytes, &context, &told) else {
        return Vec::new();
    };
    let mut stations: BTreeMap<String, (Mast, Vec<Reading>)> = BTreeMap::new();
    for observation in found {
        let here = (site.latitude.0, site.longitude.0);
        let metres = observation
            .place
            .map(|place| distance((place.latitude.0, place.longitude.0), here));
        let (mast, readings) = stations.entry(observation.station.clone()).or_insert_with(|| {
            let mast = Mast {
                name: observation.station.clone(),
                owner: Owner::Near,
                exposure: None,
                distance: None,
                credit: Some(nws::observations::credit()),
            };
            (mast, Vec::new())
        });
        mast.distance = mast.distance.or(metres);
        readings.extend(observation.told.iter().filter_map(|(quantity, told)| {
            Some(Reading {
                measured: measured(*quantity)?,
                told: *told,
                received: reply.fetched,
            })
        }));
    }
    stations.into_values().collect()
}

fn measured(quantity: Quantity) -> Option<Measured> {
    match quantity {
        Quantity::Temperature => Some(Measured::Temperature),
        Quantity::DewPoint => Some(Measured::DewPoint),
        Quantity::Wind => Some(Measured::Wind),
        Quantity::Gust => Some(Measured::Gust),
        Quantity::WindDirection => Some(Measured::WindDirection),
        Quantity::Rain => Some(Measured::Rain),
        Quantity::Shortwave => Some(Measured::Shortwave),
        Quantity::Thunder => Some(Measured::Thunder),
        Quantity::Fog => Some(Measured::Fog),
        Quantity::Cloud | Quantity::Snow => None,
    }
}

/// What one METAR says, for a report whose own values are missing.
fn told(text: &str, at: DateTime<Utc>) -> Vec<(Quantity, Told)> {
    let Some(code) = metar::code(text) else {
        return Vec::new();
    };
    let batch = metar::read(text.as_bytes(), &code, at + TimeDelta::minutes(30));
    let quantity = |measured| {
        Quantity::ALL
            .into_iter()
            .find(|quantity| self::measured(*quantity) == Some(measured))
    };
    let mut found: Vec<(Quantity, Told)> = Vec::new();
    for reading in batch.readings {
        let Some(quantity) = quantity(reading.measured) else {
            continue;
        };
        match found.iter_mut().find(|(other, _)| *other == quantity) {
            // The peak wind of the hour beside the gust of the moment.
            Some((_, told)) if told.value < reading.told.value => *told = reading.told,
            Some(_) => {}
            None => found.push((quantity, reading.told)),
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::farm::zone::Zone;
    use crate::units::{Degrees, DisplayUnits, Metres};
    use crate::weather::reading::Readings;

    #[test]
    fn a_report_of_the_weather_service_becomes_readings_of_a_near_station() {
        let body = r#"{"type": "FeatureCollection", "features": [
            {"geometry": {"coordinates": [-119.79, 36.78]}, "properties": {
                "station": "https://api.weather.gov/stations/KFAT", "timestamp": "2026-03-10T10:53:00+00:00",
                "rawMessage": "", "temperature": {"unitCode": "wmoUnit:degC", "value": 7.2},
                "dewpoint": {"unitCode": "wmoUnit:degC", "value": 6.1}}},
            {"geometry": {"coordinates": [-119.79, 36.78]}, "properties": {
                "station": "https://api.weather.gov/stations/KFAT", "timestamp": "2026-03-10T11:53:00+00:00",
                "rawMessage": "KFAT 101153Z AUTO 00000KT 1/4SM FG 07/07 A3009 RMK AO2 T00670067", "temperature": {"unitCode": "wmoUnit:degC", "value": null},
                "dewpoint": {"unitCode": "wmoUnit:degC", "value": null}}}]}"#;
        let reply = Reply {
            bytes: body.as_bytes().to_vec(),
            fetched: "2026-03-10T12:00:00Z".parse().unwrap(),
        };
        let site = Site {
            name: "Larkrise Orchard".to_owned(),
            latitude: Degrees(36.8),
            longitude: Degrees(-119.8),
            elevation: Metres(100.0),
            zone: Zone::named("America/Los_Angeles").unwrap(),
            units: DisplayUnits::Imperial,
        };
        let found = observed(&reply, &site);
        assert_eq!(found.len(), 1);
        let (mast, readings) = &found[0];
        assert!(mast.is_close() && mast.owner == Owner::Near);
        let readings = Readings::gather(readings.iter().copied());
        let air: Vec<_> = readings
            .of(Measured::Temperature)
            .iter()
            .map(|told| told.value)
            .collect();
        assert_eq!(air, [Some(7.2), Some(6.7)]);
    }
}
