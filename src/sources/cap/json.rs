//! Messages wrapped in JSON.

use std::cell::Cell;
use std::fmt;

use serde::de::{DeserializeSeed, Deserializer, MapAccess, SeqAccess, Visitor};

use super::super::refusal::Refusal;
use super::Feed;
use super::raw::{self, RawInfo};
use super::text::{HEADLINE, NAME, clean};
use crate::weather::warning::{Area, Key, Warning};

/// Most values in one reply: what the longest fetch of 8 MiB holds at the density of recorded lists, and no more
/// than the memory of a small machine takes.
const MOST_VALUES: usize = 250_000;
/// Longest text that is kept \[bytes\].
const LONGEST: usize = 400_000;
/// Most messages.
const MOST: usize = 5000;

/// Reads one reply.
pub(super) fn read(bytes: &[u8]) -> Result<Feed, Refusal> {
    let left = Cell::new(MOST_VALUES);
    let mut reader = serde_json::Deserializer::from_slice(bytes);
    let tree = Grow(&left)
        .deserialize(&mut reader)
        .and_then(|tree| reader.end().map(|()| tree));
    let tree = match tree {
        Ok(tree) => tree,
        Err(_) if left.get() == 0 => return Err(Refusal::TooBig),
        Err(error) => {
            return Err(Refusal::NotJson {
                line: error.line(),
                column: error.column(),
            });
        }
    };
    let features = tree.at("features").or_else(|| {
        // One feature alone.
        (tree.at("properties").is_some()).then_some(&tree)
    });
    let warnings: Vec<Warning> = match (features, tree.at("warnings").or_else(|| tree.at("alerts"))) {
        (Some(Tree::List(list)), _) => {
            let found: Vec<Warning> = list.iter().take(MOST).filter_map(|one| feature(one, &tree)).collect();
            if found.is_empty() && !list.is_empty() {
                return Err(Refusal::NoWarnings);
            }
            found
        }
        (Some(one), _) => vec![feature(one, &tree).ok_or(Refusal::NoWarnings)?],
        (None, Some(Tree::List(list))) => list
            .iter()
            .take(MOST)
            .map(|entry| alert(entry.at("alert").unwrap_or(entry)))
            .collect(),
        _ if tree.at("alert").is_some() => tree.at("alert").map(alert).into_iter().collect(),
        _ if tree.at("identifier").is_some() && tree.at("info").is_some() => vec![alert(&tree)],
        _ => return Err(Refusal::NoWarnings),
    };
    Ok(Feed {
        warnings,
        links: Vec::new(),
    })
}

/// A message with the protocol's own names.
fn alert(tree: &Tree) -> Warning {
    let infos = tree
        .list("info")
        .iter()
        .take(MOST)
        .map(|info| protocol_info(info).info());
    Warning {
        key: raw::key(tree.text("sender"), tree.text("identifier"), tree.text("sent")),
        status: raw::status(tree.text("status")),
        message: raw::message(tree.text("msgType")),
        scope: raw::scope(tree.text("scope")),
        references: raw::references(tree.text("references")),
        note: clean(tree.text("note"), HEADLINE),
        infos: infos.collect(),
    }
}

fn common(tree: &Tree) -> RawInfo {
    let own = |name: &str| tree.text(name).to_owned();
    RawInfo {
        language: own("language"),
        event: own("event"),
        headline: own("headline"),
        description: own("description"),
        instruction: own("instruction"),
        issuer: own("senderName"),
        severity: own("severity"),
        urgency: own("urgency"),
        certainty: own("certainty"),
        effective: own("effective"),
        onset: own("onset"),
        expires: own("expires"),
        ends: own("ends"),
        ..RawInfo::default()
    }
}

fn protocol_info(tree: &Tree) -> RawInfo {
    let mut raw = common(tree);
    raw.responses = texts(tree.at("responseType"));
    raw.parameters = pairs(tree.list("parameter"));
    raw.event_codes = pairs(tree.list("eventCode"));
    for written in tree.list("area") {
        let mut area = Area {
            description: clean(written.text("areaDesc"), NAME),
            ..Area::default()
        };
        let rings = texts(written.at("polygon"));
        area.polygons.extend(rings.iter().filter_map(|ring| raw::ring(ring)));
        let circles = texts(written.at("circle"));
        area.circles
            .extend(circles.iter().filter_map(|circle| raw::circle(circle)));
        for (system, value) in pairs(written.list("geocode")) {
            raw::codes(&mut area, &system, &value);
        }
        raw.areas.push(area);
    }
    raw
}

/// A feature of the US or the Norwegian service; `None` for one that names no event, such as a forecast.
fn feature(feature: &Tree, whole: &Tree) -> Option<Warning> {
    let own = feature.at("properties")?;
    if own.text("event").is_empty() {
        return None;
    }
    let mut raw = common(own);
    raw.responses = texts(own.at("response"));
    for (name, value) in own.at("parameters").map(Tree::entries).unwrap_or_default() {
        raw.parameters
            .extend(texts(Some(value)).into_iter().map(|text| (name.clone(), text)));
    }
    for name in ["awareness_type", "awareness_level"] {
        raw.parameters.push((name.to_owned(), own.text(name).to_owned()));
    }
    raw.at_sea = own.text("geographicDomain") == "marine";
    if raw.headline.is_empty() {
        raw.headline = own.text("title").to_owned();
    }
    if !own.text("consequences").is_empty() {
        raw.description = format!("{} {}", raw.description, own.text("consequences"));
    }
    if own.at("geographicDomain").is_some() {
        raw.issuer = "MET Norway".to_owned();
    }
    if raw.language.is_empty() {
        let language = whole.text("lang");
        raw.language = if language.is_empty() {
            "en-US".to_owned()
        } else {
            language.to_owned()
        };
    }
    if let Some([from, to]) = feature.at("when").map(|when| when.list("interval")) {
        raw.onset = from.as_text().to_owned();
        raw.ends = to.as_text().to_owned();
    }
    raw.areas = vec![area(feature, own)];
    let message = if own.at("messageType").is_some() {
        own.text("messageType")
    } else {
        own.text("type")
    };
    Some(Warning {
        key: raw::key(own.text("sender"), &name(own, &raw), own.text("sent")),
        status: raw::status(own.text("status")),
        message: raw::message(message),
        scope: raw::scope(own.text("scope")),
        references: own.list("references").iter().map(reference).collect(),
        note: String::new(),
        infos: vec![raw.info()],
    })
}

/// The identifier; without one, what stays the same as long as the message does.
fn name(own: &Tree, raw: &RawInfo) -> String {
    let told = ["id", "@id", "identifier", "web"]
        .into_iter()
        .map(|name| own.text(name))
        .find(|text| !text.is_empty());
    told.map_or_else(
        || format!("{} {} {}", raw.event, raw.effective, raw.headline),
        ToOwned::to_owned,
    )
}

fn reference(tree: &Tree) -> Key {
    raw::key(tree.text("sender"), tree.text("identifier"), tree.text("sent"))
}

fn area(feature: &Tree, own: &Tree) -> Area {
    let described = ["areaDesc", "area"]
        .into_iter()
        .map(|name| own.text(name))
        .find(|text| !text.is_empty());
    let mut area = Area {
        description: clean(described.unwrap_or_default(), NAME),
        ..Area::default()
    };
    for (system, values) in own.at("geocode").map(Tree::entries).unwrap_or_default() {
        for value in texts(Some(values)) {
            raw::codes(&mut area, system, &value);
        }
    }
    if let Some(geometry) = feature.at("geometry") {
        rings(geometry, &mut area);
    }
    area
}

/// Outer rings of polygons; a hole in one is no reason to leave a farm out.
fn rings(geometry: &Tree, area: &mut Area) {
    let coordinates = geometry.list("coordinates");
    let outer: Vec<&Tree> = match geometry.text("type") {
        "Polygon" => coordinates.first().into_iter().collect(),
        "MultiPolygon" => coordinates
            .iter()
            .filter_map(|polygon| polygon.items().first())
            .collect(),
        "GeometryCollection" => {
            for part in geometry.list("geometries").iter().take(1000) {
                if part.text("type") != "GeometryCollection" {
                    rings(part, area);
                }
            }
            return;
        }
        _ => return,
    };
    for ring in outer {
        let point = |point: &Tree| match point.items() {
            [Tree::Number(longitude), Tree::Number(latitude), ..] if raw::on_earth(*latitude, *longitude) => {
                Some((*latitude, *longitude))
            }
            _ => None,
        };
        let points: Option<Vec<(f64, f64)>> = ring.items().iter().map(point).collect();
        area.polygons.extend(points.filter(|points| points.len() > 2));
    }
}

fn pairs(list: &[Tree]) -> Vec<(String, String)> {
    list.iter()
        .map(|pair| (pair.text("valueName").to_owned(), pair.text("value").to_owned()))
        .collect()
}

/// A text, or a list of them.
fn texts(tree: Option<&Tree>) -> Vec<String> {
    match tree {
        Some(Tree::Text(text)) => vec![text.clone()],
        Some(Tree::List(list)) => list.iter().map(|item| item.as_text().to_owned()).collect(),
        Some(Tree::Number(_) | Tree::Map(_) | Tree::Nothing) | None => Vec::new(),
    }
}

/// A JSON value, of bounded size.
#[derive(Debug)]
enum Tree {
    Text(String),
    Number(f64),
    List(Vec<Tree>),
    Map(Vec<(String, Tree)>),
    Nothing,
}

impl Tree {
    fn at(&self, key: &str) -> Option<&Self> {
        let mut found = self
            .entries()
            .iter()
            .filter(|(name, _)| name == key)
            .map(|(_, value)| value);
        found.next().filter(|value| !matches!(value, Self::Nothing))
    }

    fn entries(&self) -> &[(String, Self)] {
        match self {
            Self::Map(entries) => entries,
            Self::Text(_) | Self::Number(_) | Self::List(_) | Self::Nothing => &[],
        }
    }

    fn items(&self) -> &[Self] {
        match self {
            Self::List(items) => items,
            Self::Text(_) | Self::Number(_) | Self::Map(_) | Self::Nothing => &[],
        }
    }

    fn list(&self, key: &str) -> &[Self] {
        self.at(key).map(Self::items).unwrap_or_default()
    }

    fn as_text(&self) -> &str {
        match self {
            Self::Text(text) => text,
            Self::Number(_) | Self::List(_) | Self::Map(_) | Self::Nothing => "",
        }
    }

    fn text(&self, key: &str) -> &str {
        self.at(key).map(Self::as_text).unwrap_or_default()
    }
}

/// Reads a value and counts down what may still come.
struct Grow<'a>(&'a Cell<usize>);

impl Grow<'_> {
    fn one<E: serde::de::Error>(&self) -> Result<(), E> {
        let left = self
            .0
            .get()
            .checked_sub(1)
            .ok_or_else(|| E::custom("too many values"))?;
        self.0.set(left);
        Ok(())
    }
}

impl<'de> DeserializeSeed<'de> for Grow<'_> {
    type Value = Tree;

    fn deserialize<D: Deserializer<'de>>(self, reader: D) -> Result<Tree, D::Error> {
        self.one()?;
        reader.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Grow<'_> {
    type Value = Tree;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("any value")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Tree, A::Error> {
        let mut entries = Vec::new();
        while let Some(key) = map.next_key::<String>()? {
            entries.push((key, map.next_value_seed(Grow(self.0))?));
        }
        Ok(Tree::Map(entries))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Tree, A::Error> {
        let mut items = Vec::new();
        while let Some(item) = list.next_element_seed(Grow(self.0))? {
            items.push(item);
        }
        Ok(Tree::List(items))
    }

    fn visit_str<E>(self, text: &str) -> Result<Tree, E> {
        let end = text.floor_char_boundary(LONGEST.min(text.len()));
        Ok(Tree::Text(text.get(..end).unwrap_or_default().to_owned()))
    }

    fn visit_f64<E>(self, value: f64) -> Result<Tree, E> {
        Ok(Tree::Number(value))
    }

    #[expect(clippy::cast_precision_loss, reason = "coordinates have few digits")]
    fn visit_i64<E>(self, value: i64) -> Result<Tree, E> {
        Ok(Tree::Number(value as f64))
    }

    #[expect(clippy::cast_precision_loss, reason = "coordinates have few digits")]
    fn visit_u64<E>(self, value: u64) -> Result<Tree, E> {
        Ok(Tree::Number(value as f64))
    }

    fn visit_bool<E>(self, _: bool) -> Result<Tree, E> {
        Ok(Tree::Nothing)
    }

    fn visit_unit<E>(self) -> Result<Tree, E> {
        Ok(Tree::Nothing)
    }
}
