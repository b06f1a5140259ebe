//! The GeoJSON of a grid, as written.

use std::fmt;

use serde::de::{self, Deserialize, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor};

use super::super::json::{Cell, Few, Text};

/// Most blocks of a layer: ten days of hours are 240.
const MOST_BLOCKS: usize = 1000;
/// Most kinds of weather in one block.
const MOST_KINDS: usize = 50;

/// A reply that may be a grid.
#[derive(Debug, serde::Deserialize)]
pub(super) struct Reply {
    #[serde(default)]
    pub(super) geometry: Option<Geometry>,
    #[serde(default)]
    pub(super) properties: Option<Layers>,
    /// Of a list.
    #[serde(default)]
    pub(super) features: Option<IgnoredAny>,
    /// Of an error.
    #[serde(default)]
    pub(super) title: Text,
    #[serde(default)]
    pub(super) detail: Text,
    #[serde(default)]
    pub(super) status: Option<Cell>,
}

/// The outline of a grid cell.
#[derive(Debug, serde::Deserialize)]
pub(super) struct Geometry {
    /// Longitude and latitude of each corner.
    #[serde(default)]
    pub(super) coordinates: Corners,
}

/// Its corners, however deep they lie: a cell is a polygon, other replies stand for a point.
#[derive(Debug, Default)]
pub(super) struct Corners(pub(super) Vec<(f64, f64)>);

/// Most corners that are kept.
const MOST_CORNERS: usize = 500;

/// An entry of a list of coordinates.
enum Entry {
    Number(f64),
    Corners(Vec<(f64, f64)>),
    Other,
}

impl<'de> Deserialize<'de> for Corners {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        Ok(Self(match Entry::deserialize(from)? {
            Entry::Corners(corners) => corners,
            Entry::Number(_) | Entry::Other => Vec::new(),
        }))
    }
}

impl<'de> Deserialize<'de> for Entry {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct EntryVisitor;

        impl<'de> Visitor<'de> for EntryVisitor {
            type Value = Entry;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("coordinates")
            }

            fn visit_f64<E: de::Error>(self, value: f64) -> Result<Entry, E> {
                Ok(Entry::Number(value))
            }

            #[expect(clippy::cast_precision_loss, reason = "a coordinate has three digits")]
            fn visit_i64<E: de::Error>(self, value: i64) -> Result<Entry, E> {
                Ok(Entry::Number(value as f64))
            }

            #[expect(clippy::cast_precision_loss, reason = "a coordinate has three digits")]
            fn visit_u64<E: de::Error>(self, value: u64) -> Result<Entry, E> {
                Ok(Entry::Number(value as f64))
            }

            fn visit_unit<E: de::Error>(self) -> Result<Entry, E> {
                Ok(Entry::Other)
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Entry, A::Error> {
                let (mut numbers, mut corners) = ((None, None), Vec::new());
                while let Some(entry) = list.next_element()? {
                    let room = MOST_CORNERS.saturating_sub(corners.len());
                    match entry {
                        Entry::Number(value) if numbers.0.is_none() => numbers.0 = Some(value),
                        Entry::Number(value) => numbers.1 = numbers.1.or(Some(value)),
                        Entry::Corners(more) => corners.extend(more.into_iter().take(room)),
                        Entry::Other => {}
                    }
                }
                if let (Some(longitude), Some(latitude)) = numbers {
                    corners = vec![(longitude, latitude)];
                }
                Ok(Entry::Corners(corners))
            }
        }

        from.deserialize_any(EntryVisitor)
    }
}

/// A layer of numbers.
#[derive(Debug, Default, serde::Deserialize)]
#[serde(default)]
pub(super) struct Layer {
    pub(super) uom: Text,
    pub(super) values: Few<Block, MOST_BLOCKS>,
}

#[derive(Debug, serde::Deserialize)]
pub(super) struct Block {
    #[serde(rename = "validTime")]
    pub(super) valid_time: Text,
    #[serde(default)]
    pub(super) value: Option<Cell>,
}

/// The layer of weather in words.
#[derive(Debug, Default, serde::Deserialize)]
#[serde(default)]
pub(super) struct Words {
    pub(super) values: Few<WordBlock, MOST_BLOCKS>,
}

#[derive(Debug, serde::Deserialize)]
pub(super) struct WordBlock {
    #[serde(rename = "validTime")]
    pub(super) valid_time: Text,
    #[serde(default)]
    pub(super) value: Option<Few<Kind, MOST_KINDS>>,
}

#[derive(Debug, serde::Deserialize)]
pub(super) struct Kind {
    #[serde(default)]
    pub(super) weather: Text,
}

/// A height with its unit.
#[derive(Debug, Default, serde::Deserialize)]
#[serde(default)]
pub(super) struct Height {
    #[serde(rename = "unitCode")]
    pub(super) unit_code: Text,
    pub(super) value: Option<Cell>,
}

/// The layers that are read here.
#[derive(Debug, Default)]
pub(super) struct Layers {
    pub(super) update_time: Text,
    pub(super) elevation: Option<Height>,
    pub(super) temperature: Layer,
    pub(super) dewpoint: Layer,
    pub(super) humidity: Layer,
    pub(super) sky: Layer,
    pub(super) direction: Layer,
    pub(super) wind: Layer,
    pub(super) gust: Layer,
    pub(super) rain: Layer,
    pub(super) chance_of_rain: Layer,
    pub(super) chance_of_thunder: Layer,
    pub(super) weather: Words,
    /// Hourly periods stand here: it is the text forecast.
    pub(super) periods: bool,
    /// The address of a grid stands here: it tells of a point.
    pub(super) points_on: bool,
    /// A single observation.
    pub(super) observation: bool,
}

impl<'de> Deserialize<'de> for Layers {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct LayersVisitor;

        impl<'de> Visitor<'de> for LayersVisitor {
            type Value = Layers;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("the layers of a grid")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Layers, A::Error> {
                let mut found = Layers::default();
                let mut seen = Vec::new();
                while let Some(key) = map.next_key::<String>()? {
                    let place = KEYS.iter().position(|name| *name == key);
                    if let Some(place) = place {
                        if seen.contains(&place) {
                            return Err(de::Error::duplicate_field("layer"));
                        }
                        seen.push(place);
                    }
                    match key.as_str() {
                        "updateTime" => found.update_time = map.next_value()?,
                        "elevation" => found.elevation = map.next_value()?,
                        "temperature" => found.temperature = layer(&mut map)?,
                        "dewpoint" => found.dewpoint = layer(&mut map)?,
                        "relativeHumidity" => found.humidity = layer(&mut map)?,
                        "skyCover" => found.sky = layer(&mut map)?,
                        "windDirection" => found.direction = layer(&mut map)?,
                        "windSpeed" => found.wind = layer(&mut map)?,
                        "windGust" => found.gust = layer(&mut map)?,
                        "quantitativePrecipitation" => found.rain = layer(&mut map)?,
                        "probabilityOfPrecipitation" => found.chance_of_rain = layer(&mut map)?,
                        "probabilityOfThunder" => found.chance_of_thunder = layer(&mut map)?,
                        "weather" => found.weather = map.next_value::<Option<Words>>()?.unwrap_or_default(),
                        other => {
                            found.periods |= other == "periods";
                            found.points_on |= other == "forecastGridData";
                            found.observation |= other == "rawMessage";
                            map.next_value::<IgnoredAny>()?;
                        }
                    }
                    // The quantities of an observation bear the same names and are no layers.
                    if found.observation {
                        while map.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {}
                        return Ok(found);
                    }
                }
                Ok(found)
            }
        }

        from.deserialize_map(LayersVisitor)
    }
}

const KEYS: [&str; 13] = [
    "updateTime",
    "elevation",
    "temperature",
    "dewpoint",
    "relativeHumidity",
    "skyCover",
    "windDirection",
    "windSpeed",
    "windGust",
    "quantitativePrecipitation",
    "probabilityOfPrecipitation",
    "probabilityOfThunder",
    "weather",
];

/// A layer; `null` in its place is a layer without values.
fn layer<'de, A: MapAccess<'de>>(map: &mut A) -> Result<Layer, A::Error> {
    Ok(map.next_value::<Option<Layer>>()?.unwrap_or_default())
}
