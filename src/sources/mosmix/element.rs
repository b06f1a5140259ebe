//! The elements that are read, and how each becomes a quantity.
//!
//! Source: the service's list of elements (short names, units, "within the last hour").

use chrono::{DateTime, Utc};

use super::super::gather::Gather;
use super::super::json::Cell;
use super::super::refusal::Refusal;
use super::kml::{Head, Station};
use crate::weather::{Quantity, Valid};

/// Chance of thunder from which the hour counts as one with thunder; as for every service.
const THUNDERY: f64 = 20.0;
/// Chance of fog, and of solid precipitation, from which the hour counts as one with it.
const HALF: f64 = 50.0;

/// Temperature of the ice point \[K\].
const ICE_POINT_K: f64 = 273.15;

/// One element as told, step by step.
type Row = Vec<(DateTime<Utc>, Cell)>;

/// Elements in the order of [`Station::values`].
const NAMES: [&str; COUNT] = [
    "TTT", "Td", "FF", "DD", "N", "Neff", "FX1", "RR1c", "Rad1h", "ww", "wwT", "wwM", "wwS",
];
/// How many.
pub(super) const COUNT: usize = 13;

/// The place of an element among those that are read.
pub(super) fn number(name: &str) -> Option<usize> {
    NAMES.iter().position(|known| *known == name)
}

/// When a value holds.
#[derive(Clone, Copy)]
enum When {
    /// At the stamp.
    Stamp,
    /// All through the hour before the stamp: what is stamped 13:00 is of 12:00 to 13:00.
    HourBefore,
}

/// Tells everything a station has.
pub(super) fn tell(gather: &mut Gather, head: &Head, station: &Station) -> Result<(), Refusal> {
    let values = Values { head, station };
    let cloud = if values.is_told("N") { "N" } else { "Neff" };
    let plain = [
        ("TTT", Quantity::Temperature, When::Stamp, (1.0, -ICE_POINT_K)),
        ("Td", Quantity::DewPoint, When::Stamp, (1.0, -ICE_POINT_K)),
        ("FF", Quantity::Wind, When::Stamp, (1.0, 0.0)),
        ("DD", Quantity::WindDirection, When::Stamp, (1.0, 0.0)),
        (cloud, Quantity::Cloud, When::Stamp, (0.01, 0.0)),
        ("FX1", Quantity::Gust, When::HourBefore, (1.0, 0.0)),
        ("RR1c", Quantity::Rain, When::HourBefore, (1.0, 0.0)),
        // A kilojoule an hour is 1000 J over 3600 s.
        ("Rad1h", Quantity::Shortwave, When::HourBefore, (1.0 / 3.6, 0.0)),
    ];
    for (name, quantity, when, factor) in plain {
        // A series of nothing but gaps is one the station does not have.
        if !values.is_told(name) {
            continue;
        }
        for (at, cell) in values.of(name)? {
            let valid = match when {
                When::Stamp => Valid::At(at),
                When::HourBefore => Valid::before(at, 1),
            };
            gather.tell(quantity, valid, cell, factor);
        }
    }
    flags(gather, &values)
}

/// Thunder, fog and snow. The code of the weather is looked up and never reckoned with.
fn flags(gather: &mut Gather, values: &Values<'_>) -> Result<(), Refusal> {
    let rules = [
        (Quantity::Thunder, "wwT", THUNDERY, Code::is_thunder as fn(Code) -> bool),
        (Quantity::Fog, "wwM", HALF, Code::is_fog),
        (Quantity::Snow, "wwS", HALF, Code::is_snow),
    ];
    let codes = values.of_if_told("ww")?;
    for (quantity, chance, from, is) in rules {
        let chances = values.of_if_told(chance)?;
        if codes.is_none() && chances.is_none() {
            continue;
        }
        for (k, at) in values.head.steps.iter().enumerate() {
            let cell = |cells: &Option<Vec<(DateTime<Utc>, Cell)>>| cells.as_ref().map(|cells| cells.get(k).copied());
            let by_code = cell(&codes).map(|cell| match cell {
                Some((_, Cell::Number(code))) => Code::of(code).map(is),
                _ => None,
            });
            let by_chance = cell(&chances).map(|cell| match cell {
                Some((_, Cell::Number(chance))) => (0.0..=100.0).contains(&chance).then_some(chance >= from),
                _ => None,
            });
            gather.tell_sound(quantity, Valid::before(*at, 1), either(by_code, by_chance));
        }
    }
    Ok(())
}

/// Yes if one of two says so, no if all that are there do; not known if one that is there has a gap.
fn either(one: Option<Option<bool>>, other: Option<Option<bool>>) -> Option<f64> {
    let told = [one, other].into_iter().flatten();
    let mut all = Some(0.0);
    for said in told {
        match said {
            Some(true) => return Some(1.0),
            Some(false) => {}
            None => all = None,
        }
    }
    all
}

/// A code of present weather, WMO code table 4677.
#[derive(Clone, Copy)]
struct Code(u8);

impl Code {
    fn of(value: f64) -> Option<Self> {
        (0..=99_u8)
            .find(|code| (f64::from(*code) - value).abs() < 0.01)
            .map(Self)
    }

    /// Thunder heard, just over, or with rain.
    fn is_thunder(self) -> bool {
        matches!(self.0, 17 | 29 | 91..=99)
    }

    /// Fog or ice fog at the station.
    fn is_fog(self) -> bool {
        matches!(self.0, 41..=49)
    }

    /// Snow, sleet, grains, pellets and showers of them.
    fn is_snow(self) -> bool {
        matches!(self.0, 22 | 23 | 26 | 36..=39 | 68..=79 | 83..=88 | 93 | 94)
    }
}

struct Values<'a> {
    head: &'a Head,
    station: &'a Station,
}

impl<'a> Values<'a> {
    fn text(&self, name: &str) -> Option<&'a str> {
        self.station.values.get(number(name)?)?.as_deref()
    }

    /// Whether there is a value at any step. Found out at each load: it differs from station to station.
    fn is_told(&self, name: &str) -> bool {
        let missing = self.missing();
        let told = |text: &str| text.split_ascii_whitespace().any(|value| value != missing);
        self.text(name).is_some_and(told)
    }

    /// The sign that stands for a missing value.
    fn missing(&self) -> &'a str {
        let told = self.head.missing.trim();
        if told.is_empty() { "-" } else { told }
    }

    fn of_if_told(&self, name: &'static str) -> Result<Option<Row>, Refusal> {
        if self.is_told(name) {
            self.of(name).map(Some)
        } else {
            Ok(None)
        }
    }

    /// A value, or none, for each step.
    fn of(&self, name: &'static str) -> Result<Vec<(DateTime<Utc>, Cell)>, Refusal> {
        let missing = self.missing();
        let cell = |value: &str| {
            if value == missing {
                return Cell::Null;
            }
            value.parse().map_or(Cell::Odd, Cell::Number)
        };
        let steps = &self.head.steps;
        let mut cells = Vec::with_capacity(steps.len());
        for value in self.text(name).unwrap_or_default().split_ascii_whitespace() {
            cells.push(cell(value));
        }
        if cells.len() != steps.len() {
            return Err(Refusal::Lengths {
                key: name.to_owned(),
                values: cells.len(),
                times: steps.len(),
            });
        }
        Ok(steps.iter().copied().zip(cells).collect())
    }
}
