//! The JSON of a reply, read into flat columns in one pass and without a tree.
//!
//! Only columns of known quantities are kept. Keys that stand twice are noted, because serde_json
//! would quietly take both.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use serde::de::{self, Deserialize, DeserializeSeed, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor};

use super::names::Key;

/// A reply as written.
#[derive(Debug, Default)]
pub(super) struct Reply {
    pub(super) latitude: Option<f64>,
    pub(super) longitude: Option<f64>,
    pub(super) elevation: Option<f64>,
    pub(super) utc_offset_s: Option<i64>,
    pub(super) error: bool,
    pub(super) reason: Option<String>,
    pub(super) units: BTreeMap<String, String>,
    pub(super) hourly: Option<Columns>,
    pub(super) quarter_units: BTreeMap<String, String>,
    pub(super) quarters: Option<Columns>,
    /// Other blocks of values it holds.
    pub(super) others: Vec<&'static str>,
    /// First key that stood twice.
    pub(super) twice: Option<String>,
}

/// The hourly block.
#[derive(Debug, Default)]
pub(super) struct Columns {
    pub(super) times: Option<Times>,
    pub(super) columns: BTreeMap<String, Column>,
    twice: Option<String>,
}

/// Times as written.
#[derive(Debug)]
pub(super) enum Times {
    Unix(Vec<i64>),
    Text(Vec<String>),
}

/// One list of values.
#[derive(Debug, Default)]
pub(super) struct Column {
    /// NaN where null or no number stood.
    pub(super) values: Vec<f32>,
    /// Entries that were neither number nor null.
    pub(super) odd: usize,
    /// `null` stood in place of the list.
    pub(super) is_null: bool,
}

impl<'de> Deserialize<'de> for Reply {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_map(ReplyVisitor)
    }
}

struct ReplyVisitor;

impl<'de> Visitor<'de> for ReplyVisitor {
    type Value = Reply;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a forecast reply")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Reply, A::Error> {
        let mut reply = Reply::default();
        let mut seen = BTreeSet::new();
        while let Some(key) = map.next_key::<String>()? {
            at_most(seen.len(), MOST_KEYS)?;
            match key.as_str() {
                "latitude" => reply.latitude = map.next_value()?,
                "longitude" => reply.longitude = map.next_value()?,
                "elevation" => reply.elevation = map.next_value()?,
                "utc_offset_seconds" => reply.utc_offset_s = map.next_value()?,
                "error" => reply.error = map.next_value()?,
                "reason" => reply.reason = map.next_value()?,
                "hourly_units" => {
                    let units: Units = map.next_value()?;
                    reply.units = units.units;
                    reply.twice = reply.twice.or(units.twice);
                }
                "hourly" => {
                    let mut columns: Columns = map.next_value()?;
                    reply.twice = reply.twice.or(columns.twice.take());
                    reply.hourly = Some(columns);
                }
                "minutely_15_units" => {
                    let units: Units = map.next_value()?;
                    reply.quarter_units = units.units;
                    reply.twice = reply.twice.or(units.twice);
                }
                "minutely_15" => {
                    let mut columns: Columns = map.next_value()?;
                    reply.twice = reply.twice.or(columns.twice.take());
                    reply.quarters = Some(columns);
                }
                other => {
                    const BLOCKS: [(&str, &str); 4] = [
                        ("current", "values of now"),
                        ("current_weather", "values of now"),
                        ("daily", "daily values"),
                        ("six_hourly", "6-hourly values"),
                    ];
                    let block = BLOCKS.into_iter().find(|(name, _)| *name == other);
                    reply.others.extend(block.map(|(_, words)| words));
                    map.next_value::<IgnoredAny>()?;
                }
            }
            note_twice(&mut seen, key, &mut reply.twice);
        }
        Ok(reply)
    }
}

/// Most keys of a block: twenty variables of 200 members are 4,000.
const MOST_KEYS: usize = 10_000;
/// Most times and values of a list: 128 days of quarters of an hour are 12,288.
const MOST_VALUES: usize = 20_000;

/// Stops at what no reply of the service has, before it costs time or memory.
fn at_most<E: de::Error>(count: usize, most: usize) -> Result<(), E> {
    if count < most {
        Ok(())
    } else {
        Err(E::custom("more than any reply has"))
    }
}

fn note_twice(seen: &mut BTreeSet<String>, key: String, twice: &mut Option<String>) {
    if seen.contains(&key) {
        twice.get_or_insert(key);
    } else {
        seen.insert(key);
    }
}

#[derive(Default)]
struct Units {
    units: BTreeMap<String, String>,
    twice: Option<String>,
}

impl<'de> Deserialize<'de> for Units {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct UnitsVisitor;

        impl<'de> Visitor<'de> for UnitsVisitor {
            type Value = Units;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("units by key")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Units, A::Error> {
                let mut units = Units::default();
                while let Some(key) = map.next_key::<String>()? {
                    at_most(units.units.len(), MOST_KEYS)?;
                    let unit: Word = map.next_value()?;
                    let slot = units.units.entry(key);
                    match (slot, unit.0) {
                        (Entry::Occupied(taken), _) => {
                            units.twice.get_or_insert_with(|| taken.key().clone());
                        }
                        (Entry::Vacant(free), Some(unit)) => {
                            free.insert(unit);
                        }
                        (Entry::Vacant(_), None) => {}
                    }
                }
                Ok(units)
            }
        }

        from.deserialize_map(UnitsVisitor)
    }
}

impl<'de> Deserialize<'de> for Columns {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct ColumnsVisitor;

        impl<'de> Visitor<'de> for ColumnsVisitor {
            type Value = Columns;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("lists of hourly values")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Columns, A::Error> {
                let mut found = Columns::default();
                let mut seen = BTreeSet::new();
                while let Some(key) = map.next_key::<String>()? {
                    at_most(seen.len(), MOST_KEYS)?;
                    if key == "time" {
                        found.times = Some(map.next_value()?);
                    } else if Key::parse(&key).is_some() {
                        let guess = found.times.as_ref().map_or(0, Times::len);
                        let column = map.next_value_seed(ColumnSeed { guess })?;
                        found.columns.insert(key.clone(), column);
                    } else {
                        map.next_value::<IgnoredAny>()?;
                    }
                    note_twice(&mut seen, key, &mut found.twice);
                }
                Ok(found)
            }
        }

        from.deserialize_map(ColumnsVisitor)
    }
}

impl Times {
    pub(super) fn len(&self) -> usize {
        match self {
            Self::Unix(times) => times.len(),
            Self::Text(times) => times.len(),
        }
    }
}

impl<'de> Deserialize<'de> for Times {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct TimesVisitor;

        impl<'de> Visitor<'de> for TimesVisitor {
            type Value = Times;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a list of times")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Times, A::Error> {
                let (mut unix, mut text) = (Vec::new(), Vec::new());
                while let Some(cell) = list.next_element::<Cell>()? {
                    at_most(unix.len() + text.len(), MOST_VALUES)?;
                    match cell {
                        Cell::Whole(seconds) => unix.push(seconds),
                        Cell::Word(words) => text.push(words),
                        Cell::Null | Cell::Odd => return Err(de::Error::custom("no time")),
                    }
                }
                match (unix.is_empty(), text.is_empty()) {
                    (false, false) => Err(de::Error::custom("times of two sorts")),
                    (true, false) => Ok(Times::Text(text)),
                    (_, true) => Ok(Times::Unix(unix)),
                }
            }
        }

        from.deserialize_seq(TimesVisitor)
    }
}

struct ColumnSeed {
    guess: usize,
}

impl<'de> DeserializeSeed<'de> for ColumnSeed {
    type Value = Column;

    fn deserialize<D: Deserializer<'de>>(self, from: D) -> Result<Column, D::Error> {
        from.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for ColumnSeed {
    type Value = Column;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a list of values")
    }

    /// A whole column of null is a column of no values.
    fn visit_unit<E: de::Error>(self) -> Result<Column, E> {
        Ok(Column {
            is_null: true,
            ..Column::default()
        })
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Column, A::Error> {
        let mut column = Column {
            values: Vec::with_capacity(self.guess.min(4096)),
            odd: 0,
            is_null: false,
        };
        while let Some(value) = list.next_element_seed(Single { odd: &mut column.odd })? {
            at_most(column.values.len(), MOST_VALUES)?;
            column.values.push(value);
        }
        Ok(column)
    }
}

/// One value of a column: a number, or NaN for null and for what is neither, which is counted.
struct Single<'a> {
    odd: &'a mut usize,
}

impl<'de> DeserializeSeed<'de> for Single<'_> {
    type Value = f32;

    fn deserialize<D: Deserializer<'de>>(self, from: D) -> Result<f32, D::Error> {
        from.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Single<'_> {
    type Value = f32;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a value")
    }

    #[expect(
        clippy::cast_possible_truncation,
        reason = "weather has four significant digits, f32 has seven"
    )]
    fn visit_f64<E: de::Error>(self, value: f64) -> Result<f32, E> {
        Ok(value as f32)
    }

    #[expect(clippy::cast_precision_loss, reason = "no weather value has more than seven digits")]
    fn visit_u64<E: de::Error>(self, value: u64) -> Result<f32, E> {
        Ok(value as f32)
    }

    #[expect(clippy::cast_precision_loss, reason = "no weather value has more than seven digits")]
    fn visit_i64<E: de::Error>(self, value: i64) -> Result<f32, E> {
        Ok(value as f32)
    }

    fn visit_unit<E: de::Error>(self) -> Result<f32, E> {
        Ok(f32::NAN)
    }

    fn visit_str<E: de::Error>(self, _: &str) -> Result<f32, E> {
        *self.odd += 1;
        Ok(f32::NAN)
    }

    fn visit_bool<E: de::Error>(self, _: bool) -> Result<f32, E> {
        *self.odd += 1;
        Ok(f32::NAN)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<f32, A::Error> {
        while list.next_element::<IgnoredAny>()?.is_some() {}
        *self.odd += 1;
        Ok(f32::NAN)
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<f32, A::Error> {
        while map.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {}
        *self.odd += 1;
        Ok(f32::NAN)
    }
}

/// One entry of a list of times, or what stands for a unit.
enum Cell {
    Whole(i64),
    Word(String),
    Null,
    Odd,
}

impl<'de> Deserialize<'de> for Cell {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_any(CellVisitor)
    }
}

struct CellVisitor;

impl<'de> Visitor<'de> for CellVisitor {
    type Value = Cell;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a value")
    }

    fn visit_i64<E: de::Error>(self, value: i64) -> Result<Cell, E> {
        Ok(Cell::Whole(value))
    }

    fn visit_u64<E: de::Error>(self, value: u64) -> Result<Cell, E> {
        Ok(i64::try_from(value).map_or(Cell::Odd, Cell::Whole))
    }

    fn visit_f64<E: de::Error>(self, _: f64) -> Result<Cell, E> {
        Ok(Cell::Odd)
    }

    fn visit_str<E: de::Error>(self, value: &str) -> Result<Cell, E> {
        // A time is 16 signs; a longer word is kept only so far that it cannot pass for one.
        Ok(Cell::Word(value.chars().take(20).collect()))
    }

    fn visit_bool<E: de::Error>(self, _: bool) -> Result<Cell, E> {
        Ok(Cell::Odd)
    }

    fn visit_unit<E: de::Error>(self) -> Result<Cell, E> {
        Ok(Cell::Null)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Cell, A::Error> {
        while list.next_element::<IgnoredAny>()?.is_some() {}
        Ok(Cell::Odd)
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Cell, A::Error> {
        while map.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {}
        Ok(Cell::Odd)
    }
}

/// A text, or nothing where something else stands.
struct Word(Option<String>);

impl<'de> Deserialize<'de> for Word {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        Ok(match Cell::deserialize(from)? {
            Cell::Word(word) => Self(Some(word)),
            Cell::Whole(_) | Cell::Null | Cell::Odd => Self(None),
        })
    }
}
