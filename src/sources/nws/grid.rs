//! A grid of raw layers made into a forecast.

use chrono::{DateTime, TimeDelta, Utc};

use super::super::context::Context;
use super::super::gather::{self, Extent, Factor, Gather};
use super::super::json::{self, Cell};
use super::super::refusal::{Refusal, cleaned};
use super::block::block;
use super::layers::{Block, Geometry, Height, Layer, Layers, Reply, Words};
use super::unit;
use crate::weather::{Credit, Forecast, Place, Quantity, Valid};

/// Chance of thunder from which on a block counts as one with thunder, where no words are told.
/// Assumed: the service's words begin to name thunder at about 15 %.
const THUNDERY: f64 = 0.15;

/// Reads a grid, or says why the reply cannot be used.
pub fn read(bytes: &[u8], context: &Context<'_>) -> Result<Forecast, Refusal> {
    let reply: Reply = json::parse(bytes)?;
    if let Some(title) = reply.title.get().filter(|_| reply.status.is_some()) {
        let detail = reply.detail.get().unwrap_or_default();
        return Err(Refusal::ServiceError(cleaned(&format!("{title}. {detail}"))));
    }
    if reply.features.is_some() {
        return Err(Refusal::NoForecast {
            holds: "a list of observations or warnings",
        });
    }
    let layers = reply.properties.ok_or(Refusal::NoSteps)?;
    if layers.periods {
        return Err(Refusal::HourlyPeriods);
    }
    if layers.points_on {
        return Err(Refusal::NoForecast {
            holds: "the directory of a point",
        });
    }
    if layers.observation {
        return Err(Refusal::NoForecast {
            holds: "an observation",
        });
    }
    let mut gather = Gather::new();
    plain(&mut gather, &layers)?;
    rain(&mut gather, &layers)?;
    words(&mut gather, &layers)?;
    if gather.is_empty() {
        return Err(Refusal::NoSteps);
    }
    let issue = gather::said(layers.update_time.get(), context.fetched)?;
    let place = place(reply.geometry.as_ref(), layers.elevation.as_ref(), context.site)?;
    gather.forecast(credit(), place, issue, Extent::Whole, context)
}

pub(super) fn credit() -> Credit {
    Credit {
        service: "US National Weather Service".to_owned(),
        line: "Data: NOAA / National Weather Service (public domain), changed: checked for gaps and made hourly"
            .to_owned(),
        link: "https://www.weather.gov/".to_owned(),
    }
}

/// A block with what it says.
fn blocks(layer: &Layer) -> Result<Vec<(Valid, Cell)>, Refusal> {
    let told = |told: &Block| {
        let written = told.valid_time.get().unwrap_or_default();
        let valid = block(written).ok_or_else(|| Refusal::Block(cleaned(written)))?;
        Ok((valid, told.value.unwrap_or(Cell::Null)))
    };
    layer.values.0.iter().map(told).collect()
}

/// The layers whose value holds for each hour of its block.
fn plain(gather: &mut Gather, layers: &Layers) -> Result<(), Refusal> {
    let plain = [
        (Quantity::Temperature, &layers.temperature, "temperature"),
        (Quantity::DewPoint, &layers.dewpoint, "dewpoint"),
        (Quantity::Cloud, &layers.sky, "skyCover"),
        (Quantity::WindDirection, &layers.direction, "windDirection"),
        (Quantity::Wind, &layers.wind, "windSpeed"),
        (Quantity::Gust, &layers.gust, "windGust"),
    ];
    for (quantity, layer, key) in plain {
        let factor = |unit: &str| unit::factor(quantity, unit);
        if let Some((blocks, factor)) = with_unit(layer, key, factor)? {
            for (valid, cell) in by_hour(blocks)? {
                gather.tell(quantity, valid, cell, factor);
            }
        }
    }
    if let Some((blocks, factor)) = with_unit(&layers.humidity, "relativeHumidity", unit::share)? {
        for (valid, cell) in by_hour(blocks)? {
            gather.tell_humidity(valid, cell, factor);
        }
    }
    Ok(())
}

/// Most hours that the blocks of a layer may last together.
const MOST_HOURS: i64 = 1000;

/// Equal hours are merged into one block; this takes them apart, so that a long block of one value does
/// not pass for a long step.
fn by_hour(blocks: Blocks) -> Result<Blocks, Refusal> {
    let mut hours = Vec::new();
    let mut left = MOST_HOURS;
    for (valid, cell) in blocks {
        let Valid::Over { from, to } = valid else { continue };
        let minutes = (to - from).num_minutes();
        left -= minutes / 60;
        if left < 0 {
            return Err(Refusal::TooLong);
        }
        if minutes % 60 == 0 {
            hours.extend((0..minutes / 60).map(|hour| (Valid::after(from + TimeDelta::hours(hour), 1), cell)));
        } else {
            hours.push((valid, cell));
        }
    }
    Ok(hours)
}

type Blocks = Vec<(Valid, Cell)>;

/// A layer that tells anything, with the factor of its unit.
fn with_unit(
    layer: &Layer,
    key: &str,
    factor: impl Fn(&str) -> Option<Factor>,
) -> Result<Option<(Blocks, Factor)>, Refusal> {
    let blocks = blocks(layer)?;
    if blocks.iter().all(|(_, cell)| *cell == Cell::Null) {
        return Ok(None);
    }
    let unit = layer.uom.get();
    let factor = unit.and_then(factor).ok_or_else(|| gather::unknown_unit(key, unit))?;
    Ok(Some((blocks, factor)))
}

/// Amounts of rain. A sum may have fallen anywhere in its block, so each hour of it may be wet, but for
/// hours of which the chance of rain is told as nil and for which no words name any.
fn rain(gather: &mut Gather, layers: &Layers) -> Result<(), Refusal> {
    let factor = |unit: &str| unit::factor(Quantity::Rain, unit);
    let Some((blocks, factor)) = with_unit(&layers.rain, "quantitativePrecipitation", factor)? else {
        return Ok(());
    };
    for (valid, cell) in twice_told(&blocks) {
        gather.tell(Quantity::Rain, valid, cell, factor);
    }
    let (dry, wet): (Blocks, Blocks) = blocks
        .into_iter()
        .partition(|(_, cell)| matches!(cell, Cell::Number(sum) if *sum <= 0.0));
    for (valid, cell) in by_hour(dry)? {
        gather.tell(Quantity::Rain, valid, cell, factor);
    }
    let chances = self::blocks(&layers.chance_of_rain)?;
    let wet_words = wet_words(&layers.weather)?;
    for (valid, cell) in wet {
        let dry = match cell {
            Cell::Number(sum) if sum > 0.0 => dry_hours(valid, &chances, &wet_words),
            Cell::Number(_) | Cell::Quoted(_) | Cell::Null | Cell::Odd => Vec::new(),
        };
        let Valid::Over { from, to } = valid else { continue };
        let hours = (to - from).num_minutes().div_euclid(60);
        let wet = hours - i64::try_from(dry.len()).unwrap_or(0);
        let (Cell::Number(sum), true) = (cell, !dry.is_empty() && wet > 0) else {
            gather.tell(Quantity::Rain, valid, cell, factor);
            continue;
        };
        for hour in 0..hours {
            #[expect(clippy::cast_precision_loss, reason = "hours of a block")]
            let part = if dry.contains(&hour) { 0.0 } else { sum / wet as f64 };
            let valid = Valid::after(from + TimeDelta::hours(hour), 1);
            gather.tell(Quantity::Rain, valid, Cell::Number(part), factor);
        }
    }
    Ok(())
}

/// Hours that two blocks share, with the larger part of the two: nothing says which block is right. They
/// are told first, and so believed before both.
fn twice_told(blocks: &[(Valid, Cell)]) -> Blocks {
    #[expect(clippy::cast_precision_loss, reason = "minutes of a block")]
    let part = |(valid, cell): &(Valid, Cell)| match (*valid, *cell) {
        (Valid::Over { from, to }, Cell::Number(sum)) => Some(sum * 60.0 / (to - from).num_minutes().max(1) as f64),
        _ => None,
    };
    let mut shared = Vec::new();
    for (k, one) in blocks.iter().enumerate() {
        for other in blocks.iter().skip(k + 1) {
            let (Valid::Over { from, to }, Valid::Over { from: begin, to: end }) = (one.0, other.0) else {
                continue;
            };
            let (from, to) = (from.max(begin), to.min(end));
            let hours = (to - from).num_minutes().div_euclid(60);
            let larger = match (part(one), part(other)) {
                (Some(one), Some(other)) => Cell::Number(one.max(other)),
                _ => Cell::Null,
            };
            for hour in 0..hours {
                if shared.len() == MOST_SHARED {
                    return shared;
                }
                shared.push((Valid::after(from + TimeDelta::hours(hour), 1), larger));
            }
        }
    }
    shared
}

/// Most shared hours that are looked at; a sound grid has none.
const MOST_SHARED: usize = 1000;

/// The hours of a block, counted from its start, that are told to be dry. Only blocks of whole hours are
/// narrowed.
fn dry_hours(valid: Valid, chances: &[(Valid, Cell)], wet_words: &[(Valid, bool)]) -> Vec<i64> {
    let Valid::Over { from, to } = valid else {
        return Vec::new();
    };
    let minutes = (to - from).num_minutes();
    if minutes % 60 != 0 {
        return Vec::new();
    }
    let dry = |hour: &i64| {
        let begin = from + TimeDelta::hours(*hour);
        let end = begin + TimeDelta::hours(1);
        let nil = chances
            .iter()
            .any(|(valid, cell)| holds(*valid, begin, end) && matches!(cell, Cell::Number(chance) if *chance <= 0.0));
        let named = wet_words.iter().any(|(valid, wet)| *wet && touches(*valid, begin, end));
        nil && !named
    };
    (0..minutes / 60).filter(dry).collect()
}

fn holds(valid: Valid, begin: DateTime<Utc>, end: DateTime<Utc>) -> bool {
    matches!(valid, Valid::Over { from, to } if from <= begin && end <= to)
}

fn touches(valid: Valid, begin: DateTime<Utc>, end: DateTime<Utc>) -> bool {
    matches!(valid, Valid::Over { from, to } if from < end && begin < to)
}

/// Blocks of words, and whether they name anything that falls.
fn wet_words(words: &Words) -> Result<Vec<(Valid, bool)>, Refusal> {
    let falls = |kinds: &[&str]| {
        kinds.iter().any(|kind| {
            const FALLING: [&str; 7] = ["rain", "drizzle", "snow", "sleet", "ice", "hail", "thunder"];
            FALLING.iter().any(|what| kind.contains(what))
        })
    };
    Ok(kinds(words)?
        .into_iter()
        .map(|(valid, kinds)| (valid, kinds.is_none_or(|kinds| falls(&kinds))))
        .collect())
}

/// A block and what it names.
type Named<'a> = (Valid, Option<Vec<&'a str>>);

/// Blocks of words with what they name; `None` where they tell nothing.
fn kinds(words: &Words) -> Result<Vec<Named<'_>>, Refusal> {
    words
        .values
        .0
        .iter()
        .map(|told| {
            let written = told.valid_time.get().unwrap_or_default();
            let valid = block(written).ok_or_else(|| Refusal::Block(cleaned(written)))?;
            let kinds = told.value.as_ref();
            Ok((
                valid,
                kinds.map(|kinds| kinds.0.iter().filter_map(|kind| kind.weather.get()).collect()),
            ))
        })
        .collect()
}

/// Thunder, fog and snow by the words, however unlikely they call it, and thunder by its chance.
fn words(gather: &mut Gather, layers: &Layers) -> Result<(), Refusal> {
    let kinds = kinds(&layers.weather)?;
    let mut flag = |quantity: Quantity, names: &[&str]| {
        for (valid, kinds) in &kinds {
            let named = kinds
                .as_ref()
                .map(|kinds| kinds.iter().any(|kind| names.iter().any(|name| kind.contains(name))));
            gather.tell_sound(quantity, *valid, named.map(|named| f64::from(u8::from(named))));
        }
    };
    flag(Quantity::Thunder, &["thunder"]);
    flag(Quantity::Fog, &["fog"]);
    flag(
        Quantity::Snow,
        &["snow", "sleet", "ice_pellets", "freezing_rain", "blizzard"],
    );
    for (valid, cell) in blocks(&layers.chance_of_thunder)? {
        let Cell::Number(chance) = cell else { continue };
        let likely = chance * 0.01 >= THUNDERY;
        if likely || kinds.is_empty() {
            gather.tell_sound(Quantity::Thunder, valid, Some(f64::from(u8::from(likely))));
        }
    }
    Ok(())
}

/// The middle of the grid cell.
fn place(geometry: Option<&Geometry>, elevation: Option<&Height>, site: Place) -> Result<Place, Refusal> {
    let corners = geometry.map_or(&[][..], |geometry| &geometry.coordinates.0);
    let middle = |of: fn(&(f64, f64)) -> f64| {
        let least = corners.iter().map(of).reduce(f64::min)?;
        let most = corners.iter().map(of).reduce(f64::max)?;
        Some(0.5 * (least + most))
    };
    let elevation = elevation.and_then(|height| {
        let unit = height.unit_code.get()?.rsplit(':').next()?;
        match (unit, height.value) {
            ("m", Some(Cell::Number(metres))) => Some(metres),
            ("ft", Some(Cell::Number(feet))) => Some(feet * 0.3048),
            _ => None,
        }
    });
    gather::place(
        (middle(|corner| corner.1), middle(|corner| corner.0)),
        elevation,
        site,
        gather::OFF_SINGLE_DEG,
    )
}
