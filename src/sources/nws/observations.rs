//! Observations of a station near the farm, as readings.
//!
//! A value that is not told is told as missing: a gust of an earlier report must not live on. Where all
//! values of a report are missing, the METAR it was made from is asked.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use serde::Deserialize;

use super::super::context::Context;
use super::super::gather::{HUMIDITY, canonical, instant, range};
use super::super::json::{self, Cell, Few, Text};
use super::super::refusal::{Refusal, cleaned};
use super::unit;
use crate::units::{Degrees, Metres};
use crate::weather::reading::{Measured, Reading};
use crate::weather::{Credit, Place, Quantity, Told, Valid, estimate};

/// Most reports in a list; the service gives at most 500.
const MOST_REPORTS: usize = 1000;

/// One report.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// Name of the station, such as `KFLL`.
    pub station: String,
    /// Where it stands, if told.
    pub place: Option<Place>,
    /// When it was read.
    pub at: DateTime<Utc>,
    /// What it told, each quantity once; `None` where it had no value.
    pub told: Vec<(Measured, Told)>,
    /// Whether the values come from the METAR.
    pub from_metar: bool,
    /// Values refused because no weather is like that, or because the service doubts them.
    pub rejected: usize,
}

#[derive(Deserialize)]
struct Reply {
    /// A list of reports …
    #[serde(default)]
    features: Option<Few<Feature, MOST_REPORTS>>,
    /// … or one alone.
    #[serde(default)]
    properties: Option<Report>,
    #[serde(default)]
    geometry: Option<Point>,
    #[serde(default)]
    title: Text,
    #[serde(default)]
    detail: Text,
}

#[derive(Deserialize)]
struct Feature {
    #[serde(default)]
    geometry: Option<Point>,
    #[serde(default)]
    properties: Option<Report>,
}

#[derive(Deserialize)]
struct Point {
    #[serde(default)]
    coordinates: Option<Few<Cell, 3>>,
}

#[derive(Deserialize, Default)]
#[serde(default, rename_all = "camelCase")]
struct Report {
    station: Text,
    timestamp: Text,
    raw_message: Text,
    elevation: Option<Field>,
    temperature: Option<Field>,
    dewpoint: Option<Field>,
    relative_humidity: Option<Field>,
    wind_direction: Option<Field>,
    wind_speed: Option<Field>,
    wind_gust: Option<Field>,
    precipitation_last_hour: Option<Field>,
}

#[derive(Deserialize, Default)]
#[serde(default, rename_all = "camelCase")]
struct Field {
    value: Option<Cell>,
    unit_code: Text,
    quality_control: Text,
}

impl Observation {
    /// Its values as readings that came in at `received`.
    pub fn readings(&self, received: DateTime<Utc>) -> impl Iterator<Item = Reading> + '_ {
        self.told.iter().map(move |(measured, told)| Reading {
            measured: *measured,
            told: *told,
            received,
        })
    }
}

/// What a METAR says, each quantity once; empty where it cannot be read. The time is that of the report.
pub type Metar<'a> = &'a dyn Fn(&str, DateTime<Utc>) -> Vec<(Measured, Told)>;

/// Reads one report or a list of them: sorted by time, each time once, none later than now.
pub fn observations(bytes: &[u8], context: &Context<'_>, metar: Metar<'_>) -> Result<Vec<Observation>, Refusal> {
    let reply: Reply = json::parse(bytes)?;
    let features = match (reply.features, reply.properties) {
        (Some(list), _) => list.0,
        (None, Some(report)) => vec![Feature {
            geometry: reply.geometry,
            properties: Some(report),
        }],
        (None, None) => {
            return Err(match reply.title.get() {
                Some(title) => {
                    let detail = reply.detail.get().unwrap_or_default();
                    Refusal::ServiceError(cleaned(&format!("{title}. {detail}")))
                }
                None => Refusal::NoReports,
            });
        }
    };
    let mut by_time: BTreeMap<(DateTime<Utc>, String), Observation> = BTreeMap::new();
    for feature in features {
        let Some(found) = observation(&feature, context, metar) else {
            continue;
        };
        let known = |found: &Observation| found.told.iter().filter(|(_, told)| told.value.is_some()).count();
        let key = (found.at, found.station.clone());
        // Of two reports of one time the fuller is believed.
        match by_time.get(&key) {
            Some(there) if known(there) >= known(&found) => {}
            _ => {
                by_time.insert(key, found);
            }
        }
    }
    if by_time.is_empty() {
        return Err(Refusal::NoReports);
    }
    Ok(by_time.into_values().collect())
}

/// Credit of the readings.
pub fn credit() -> Credit {
    super::grid::credit()
}

/// One report; `None` if it has no time, lies in the future, or tells nothing.
fn observation(feature: &Feature, context: &Context<'_>, metar: Metar<'_>) -> Option<Observation> {
    let report = feature.properties.as_ref()?;
    let at = report
        .timestamp
        .get()
        .and_then(instant)
        .filter(|at| *at <= context.fetched)?;
    let (mut told, rejected) = values(report, at);
    let nothing = |told: &[(Measured, Told)]| told.iter().all(|(_, told)| told.value.is_none());
    let mut from_metar = false;
    if nothing(&told)
        && let Some(message) = report.raw_message.get()
    {
        let read = metar(message, at);
        if !nothing(&read) {
            told = read;
            from_metar = true;
        }
    }
    if nothing(&told) {
        return None;
    }
    let station = report.station.get().and_then(|address| address.rsplit('/').next());
    Some(Observation {
        station: station.map(cleaned).unwrap_or_default(),
        place: place(feature),
        at,
        told,
        from_metar,
        rejected,
    })
}

fn values(report: &Report, at: DateTime<Utc>) -> (Vec<(Measured, Told)>, usize) {
    let now = Valid::At(at);
    let measured = [
        (Measured::Temperature, Quantity::Temperature, now, &report.temperature),
        (Measured::DewPoint, Quantity::DewPoint, now, &report.dewpoint),
        (
            Measured::WindDirection,
            Quantity::WindDirection,
            now,
            &report.wind_direction,
        ),
        (Measured::Wind, Quantity::Wind, now, &report.wind_speed),
        (Measured::Gust, Quantity::Gust, now, &report.wind_gust),
        (
            Measured::Rain,
            Quantity::Rain,
            Valid::before(at, 1),
            &report.precipitation_last_hour,
        ),
    ];
    let mut rejected = 0;
    let mut value = |quantity: Quantity, measured: &Option<Field>| {
        let factor = |unit: &str| unit::factor(quantity, unit);
        let (value, odd) = sound(measured.as_ref(), factor, range(quantity));
        rejected += usize::from(odd);
        value
    };
    let mut told: Vec<(Measured, Told)> = measured
        .into_iter()
        .map(|(what, quantity, valid, measured)| {
            let value = value(quantity, measured);
            (what, Told { valid, value })
        })
        .collect();
    let (share, _) = sound(report.relative_humidity.as_ref(), unit::share, HUMIDITY);
    let of = |told: &[(Measured, Told)], which: Measured| {
        let found = told.iter().find(|(what, _)| *what == which);
        found.and_then(|(_, told)| told.value)
    };
    let (air, wind) = (of(&told, Measured::Temperature), of(&told, Measured::Wind));
    for (what, told) in &mut told {
        if *what == Measured::DewPoint && told.value.is_none() {
            told.value = air
                .zip(share)
                .and_then(|(air, share)| estimate::dew_point(air, share.min(1.0)));
        }
        if *what == Measured::Gust {
            told.value = told.value.map(|gust| gust.max(wind.unwrap_or(0.0)));
        }
    }
    (told, rejected)
}

/// A measured value in canonical units, and whether one was told that is not believed. Numbers may be
/// quoted here. Quality X (failed) and B (held wrong by a person) are refused, as the mesonet that the
/// service takes over explains its marks (from memory: MADIS quality control).
fn sound(
    measured: Option<&Field>,
    factor: impl Fn(&str) -> Option<(f64, f64)>,
    range: (f64, f64),
) -> (Option<f64>, bool) {
    let Some(measured) = measured else {
        return (None, false);
    };
    let cell = match measured.value {
        None | Some(Cell::Null) => return (None, false),
        Some(Cell::Quoted(number)) => Cell::Number(number),
        Some(cell) => cell,
    };
    let doubted = matches!(measured.quality_control.get(), Some("qc:X" | "qc:B" | "X" | "B"));
    match measured.unit_code.get().and_then(factor) {
        Some(factor) if !doubted => canonical(cell, factor, range),
        _ => (None, true),
    }
}

fn place(feature: &Feature) -> Option<Place> {
    let coordinates = &feature.geometry.as_ref()?.coordinates.as_ref()?.0;
    let [Cell::Number(longitude), Cell::Number(latitude), ..] = coordinates.as_slice() else {
        return None;
    };
    if !(-90.0..=90.0).contains(latitude) || !(-180.0..=180.0).contains(longitude) {
        return None;
    }
    let height = feature.properties.as_ref()?.elevation.as_ref().and_then(|height| {
        let unit = height.unit_code.get()?.rsplit(':').next()?;
        match height.value? {
            Cell::Number(metres) | Cell::Quoted(metres) if unit == "m" => Some(Metres(metres)),
            Cell::Number(_) | Cell::Quoted(_) | Cell::Null | Cell::Odd => None,
        }
    });
    Some(Place {
        latitude: Degrees(*latitude),
        longitude: Degrees(*longitude),
        elevation: height,
    })
}
