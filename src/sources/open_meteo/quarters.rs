//! 15-minute values.
//!
//! They are forecasts of their own only where a model with such steps covers the place; elsewhere the
//! service draws them between hourly ones, and then no alert may rest on them.
//!
//! Source: the service's documentation of `minutely_15` (models with 15-minute steps; rain, gust and
//!         radiation of the 15 minutes before). The areas are rough boxes inside the models' domains
//!         (from memory), taken small on purpose.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta};

use super::super::gather::{Extent, Gather, canonical, range, unknown_unit};
use super::super::issue;
use super::super::json::Cell;
use super::super::refusal::{Refusal, cleaned};
use super::axis::seconds;
use super::hours::one_model;
use super::names::Variable;
use super::reply::{Columns, Reply};
use super::values::{is_fog, is_snow, is_thunder};
use super::{Context, credit, issue_of, place};
use crate::weather::{Forecast, Kind, Place, Quantity, Told, Valid};

/// 15-minute values of a place.
#[derive(Debug, Clone, PartialEq)]
pub struct Quarters {
    /// Where the service says it is for.
    pub place: Place,
    /// The models that give such steps there; `None` where the values are drawn between hours.
    pub native: Option<&'static str>,
    /// What was told, by quantity.
    pub told: BTreeMap<Quantity, Vec<Told>>,
}

impl Quarters {
    /// What an alert may rest on: everything where a model gives such steps, elsewhere nothing.
    pub fn for_alerts(&self) -> Option<&BTreeMap<Quantity, Vec<Told>>> {
        self.native.map(|_| &self.told)
    }
}

/// Models with 15-minute steps, and south, north, west and east of where they surely reach \[degrees\].
const NATIVE: [(&str, [f64; 4]); 3] = [
    ("NOAA HRRR", [25.0, 49.0, -122.0, -72.0]),
    ("DWD ICON-D2", [44.0, 57.5, -3.0, 19.5]),
    ("Météo-France AROME", [39.0, 54.5, -10.5, 14.5]),
];

fn native(place: Place) -> Option<&'static str> {
    let (latitude, longitude) = (place.latitude.0, place.longitude.0);
    let longitude = if longitude > 180.0 {
        longitude - 360.0
    } else {
        longitude
    };
    NATIVE
        .into_iter()
        .find(|(_, [south, north, west, east])| {
            (*south..=*north).contains(&latitude) && (*west..=*east).contains(&longitude)
        })
        .map(|(model, _)| model)
}

/// The values by quantity, each with the time it holds.
pub(super) fn quarters(columns: &Columns, reply: &Reply, context: &Context<'_>) -> Result<Quarters, Refusal> {
    let place = place(reply, Kind::Single, context.site)?;
    let mut told: BTreeMap<Quantity, Vec<Told>> = BTreeMap::new();
    each(columns, reply, |what, valid, cell, factor| {
        if let What::Quantity(quantity) = what {
            let (value, _) = canonical(cell, factor, range(quantity));
            told.entry(quantity).or_default().push(Told { valid, value });
        }
    })?;
    Ok(Quarters {
        place,
        native: native(place),
        told,
    })
}

/// Hours made of quarters.
pub(super) fn forecast(columns: &Columns, reply: &Reply, context: &Context<'_>) -> Result<Forecast, Refusal> {
    let place = place(reply, Kind::Single, context.site)?;
    let mut gather = Gather::new();
    each(columns, reply, |what, valid, cell, factor| match what {
        What::Quantity(quantity) => gather.tell(quantity, valid, cell, factor),
        What::Humidity => gather.tell_humidity(valid, cell, factor),
        What::Code => {
            let (code, _) = canonical(cell, factor, Variable::Code.range());
            #[expect(clippy::cast_possible_truncation, reason = "a code has two digits")]
            let flag = |is: fn(f32) -> bool| code.map(|code| f64::from(u8::from(is(code as f32))));
            gather.tell_sound(Quantity::Thunder, valid, flag(is_thunder));
            gather.tell_sound(Quantity::Fog, valid, flag(is_fog));
            gather.tell_sound(Quantity::Snow, valid, flag(is_snow));
        }
    })?;
    let mut forecast = gather.forecast(
        credit(Kind::Single),
        place,
        issue::unknown(context.fetched),
        Extent::Whole,
        context,
    )?;
    forecast.issue = issue_of(&forecast, reply.utc_offset_s, context)?;
    Ok(forecast)
}

/// What a column of quarters becomes.
#[derive(Clone, Copy)]
enum What {
    Quantity(Quantity),
    Humidity,
    Code,
}

/// Calls `tell` with each value of the one model of the reply.
fn each(columns: &Columns, reply: &Reply, mut tell: impl FnMut(What, Valid, Cell, (f64, f64))) -> Result<(), Refusal> {
    let times = columns.times.as_ref().ok_or(Refusal::Times)?;
    let times = seconds(times, reply.utc_offset_s)?;
    for (name, key, column) in one_model(columns)? {
        let Some((what, is_span)) = what(key.variable).filter(|_| key.member == 0) else {
            continue;
        };
        if !column.is_null && column.values.len() != times.len() {
            return Err(Refusal::Lengths {
                key: cleaned(name),
                values: column.values.len(),
                times: times.len(),
            });
        }
        if column.values.iter().all(|value| value.is_nan()) {
            continue;
        }
        let unit = reply.quarter_units.get(name).map(String::as_str);
        let Some(factor) = unit.and_then(|unit| key.variable.factor(unit)) else {
            return Err(unknown_unit(name, unit));
        };
        for (second, value) in times.iter().zip(&column.values) {
            let at = DateTime::from_timestamp(*second, 0).ok_or(Refusal::Times)?;
            let valid = if is_span {
                Valid::Over {
                    from: at - TimeDelta::minutes(15),
                    to: at,
                }
            } else {
                Valid::At(at)
            };
            let cell = if value.is_nan() {
                Cell::Null
            } else {
                Cell::Number(f64::from(*value))
            };
            tell(what, valid, cell, factor);
        }
    }
    Ok(())
}

/// What a variable becomes, and whether it holds for the 15 minutes before its time.
fn what(variable: Variable) -> Option<(What, bool)> {
    Some(match variable {
        Variable::Temperature => (What::Quantity(Quantity::Temperature), false),
        Variable::DewPoint => (What::Quantity(Quantity::DewPoint), false),
        Variable::Wind => (What::Quantity(Quantity::Wind), false),
        Variable::Direction => (What::Quantity(Quantity::WindDirection), false),
        Variable::Cloud => (What::Quantity(Quantity::Cloud), false),
        Variable::Humidity => (What::Humidity, false),
        Variable::Gust => (What::Quantity(Quantity::Gust), true),
        Variable::Rain => (What::Quantity(Quantity::Rain), true),
        Variable::Shortwave => (What::Quantity(Quantity::Shortwave), true),
        Variable::Code => (What::Code, true),
        Variable::Snowfall | Variable::SnowDepth => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Degrees;

    #[test]
    fn quarters_are_a_forecast_of_their_own_in_middle_europe_and_north_america_only() {
        let at = |latitude, longitude| {
            native(Place {
                latitude: Degrees(latitude),
                longitude: Degrees(longitude),
                elevation: None,
            })
        };
        assert_eq!(at(50.0, 10.0), Some("DWD ICON-D2"));
        assert_eq!(at(43.0, 1.0), Some("Météo-France AROME"));
        assert_eq!(at(42.5, 283.0), Some("NOAA HRRR"));
        assert_eq!(at(-39.6, 176.7), None);
        assert_eq!(at(37.0, 37.0), None);
    }
}
