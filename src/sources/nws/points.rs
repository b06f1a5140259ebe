//! What belongs to a point: its grid, zones, time zone and list of stations.
//!
//! Only names and numbers are taken from the reply. Addresses are made of them by the one who asks, so
//! that a reply cannot send a request elsewhere.

use serde::Deserialize;

use super::super::json::{self, Cell, Text};
use super::super::refusal::{Refusal, cleaned};

/// The grid of a point and its zones.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Points {
    /// Forecast office, such as `TAE`.
    pub office: String,
    /// Column of the grid.
    pub x: u32,
    /// Row of the grid.
    pub y: u32,
    /// Public forecast zone, such as `FLZ015`: warnings name it.
    pub forecast_zone: Option<String>,
    /// County as a zone, such as `FLC037`: warnings name it.
    pub county: Option<String>,
    /// Fire weather zone.
    pub fire_zone: Option<String>,
    /// Time zone name.
    pub time_zone: Option<String>,
    /// Whether it names a list of stations, which stands at `/gridpoints/OFFICE/X,Y/stations`.
    pub has_stations: bool,
}

impl Points {
    /// Path of the raw grid.
    pub fn grid_path(&self) -> String {
        format!("gridpoints/{}/{},{}", self.office, self.x, self.y)
    }

    /// Path of the list of stations.
    pub fn stations_path(&self) -> String {
        format!("{}/stations", self.grid_path())
    }
}

#[derive(Deserialize)]
struct Reply {
    #[serde(default)]
    properties: Option<Properties>,
    #[serde(default)]
    title: Text,
    #[serde(default)]
    detail: Text,
}

#[derive(Deserialize, Default)]
#[serde(default, rename_all = "camelCase")]
struct Properties {
    grid_id: Text,
    grid_x: Option<Cell>,
    grid_y: Option<Cell>,
    forecast_zone: Text,
    county: Text,
    fire_weather_zone: Text,
    time_zone: Text,
    observation_stations: Text,
}

/// Reads the reply about a point.
pub fn points(bytes: &[u8]) -> Result<Points, Refusal> {
    let reply: Reply = json::parse(bytes)?;
    let Some(told) = reply.properties else {
        return Err(match (reply.title.get(), reply.detail.get()) {
            (Some(title), detail) => {
                Refusal::ServiceError(cleaned(&format!("{title}. {}", detail.unwrap_or_default())))
            }
            (None, _) => Refusal::NoGrid,
        });
    };
    let office = told
        .grid_id
        .get()
        .filter(|office| (2..=4).contains(&office.len()) && office.bytes().all(|sign| sign.is_ascii_uppercase()));
    match (office, number(told.grid_x), number(told.grid_y)) {
        (Some(office), Some(x), Some(y)) => Ok(Points {
            office: office.to_owned(),
            x,
            y,
            forecast_zone: zone(&told.forecast_zone),
            county: zone(&told.county),
            fire_zone: zone(&told.fire_weather_zone),
            time_zone: told.time_zone.get().map(cleaned).filter(|name| !name.is_empty()),
            has_stations: told.observation_stations.get().is_some(),
        }),
        _ => Err(Refusal::NoGrid),
    }
}

fn number(cell: Option<Cell>) -> Option<u32> {
    let (Cell::Number(value) | Cell::Quoted(value)) = cell? else {
        return None;
    };
    let whole = value.fract().abs() < 1e-9 && (0.0..1000.0).contains(&value);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "whole and between 0 and 1000"
    )]
    whole.then_some(value as u32)
}

/// The last part of an address, if it is a zone: two letters, Z or C, three digits.
fn zone(address: &Text) -> Option<String> {
    let code = address.get()?.rsplit('/').next()?;
    let fits = match code.as_bytes() {
        [a, b, kind, digits @ ..] => {
            a.is_ascii_uppercase()
                && b.is_ascii_uppercase()
                && matches!(kind, b'Z' | b'C')
                && digits.len() == 3
                && digits.iter().all(u8::is_ascii_digit)
        }
        _ => false,
    };
    fits.then(|| code.to_owned())
}
