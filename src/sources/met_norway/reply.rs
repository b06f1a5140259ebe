//! The GeoJSON of a reply, as written.

use serde::Deserialize;

use super::super::json::{Cell, Few, Text};

/// Most time steps: three weeks of hours, or a day of minutes.
const MOST_STEPS: usize = 1500;

#[derive(Debug, Deserialize)]
pub(super) struct Reply {
    #[serde(default)]
    pub(super) geometry: Option<Geometry>,
    #[serde(default)]
    pub(super) properties: Option<Properties>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Geometry {
    /// Longitude, latitude, height \[m\].
    #[serde(default)]
    pub(super) coordinates: Option<Few<Cell, 3>>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Properties {
    #[serde(default)]
    pub(super) meta: Option<Meta>,
    #[serde(default)]
    pub(super) timeseries: Option<Few<Step, MOST_STEPS>>,
}

#[derive(Debug, Deserialize, Default)]
#[serde(default)]
pub(super) struct Meta {
    pub(super) updated_at: Text,
    pub(super) units: Units,
    pub(super) radar_coverage: Text,
}

#[derive(Debug, Deserialize, Default)]
#[serde(default)]
pub(super) struct Units {
    pub(super) air_temperature: Text,
    pub(super) dew_point_temperature: Text,
    pub(super) relative_humidity: Text,
    pub(super) wind_speed: Text,
    pub(super) wind_speed_of_gust: Text,
    pub(super) wind_from_direction: Text,
    pub(super) cloud_area_fraction: Text,
    pub(super) fog_area_fraction: Text,
    pub(super) precipitation_amount: Text,
    pub(super) precipitation_rate: Text,
    pub(super) probability_of_thunder: Text,
}

#[derive(Debug, Deserialize)]
pub(super) struct Step {
    pub(super) time: Text,
    #[serde(default)]
    pub(super) data: Data,
}

#[derive(Debug, Deserialize, Default)]
#[serde(default)]
pub(super) struct Data {
    pub(super) instant: Option<Instant>,
    pub(super) next_1_hours: Option<Period>,
    pub(super) next_6_hours: Option<Period>,
}

#[derive(Debug, Deserialize, Default)]
#[serde(default)]
pub(super) struct Instant {
    pub(super) details: Option<Details>,
}

/// Values at the time of the step.
#[derive(Debug, Deserialize, Default)]
#[serde(default)]
pub(super) struct Details {
    pub(super) air_temperature: Option<Cell>,
    pub(super) dew_point_temperature: Option<Cell>,
    pub(super) relative_humidity: Option<Cell>,
    pub(super) wind_speed: Option<Cell>,
    pub(super) wind_speed_of_gust: Option<Cell>,
    pub(super) wind_from_direction: Option<Cell>,
    pub(super) cloud_area_fraction: Option<Cell>,
    pub(super) fog_area_fraction: Option<Cell>,
    pub(super) precipitation_rate: Option<Cell>,
}

/// What holds from the time of the step on.
#[derive(Debug, Deserialize, Default)]
#[serde(default)]
pub(super) struct Period {
    pub(super) summary: Option<Summary>,
    pub(super) details: Option<PeriodDetails>,
}

#[derive(Debug, Deserialize, Default)]
#[serde(default)]
pub(super) struct Summary {
    pub(super) symbol_code: Text,
}

#[derive(Debug, Deserialize, Default)]
#[serde(default)]
pub(super) struct PeriodDetails {
    pub(super) precipitation_amount: Option<Cell>,
    pub(super) probability_of_thunder: Option<Cell>,
}
