//! Which service a reply comes from, by what stands in it.

use std::fmt;

use serde::de::{DeserializeSeed, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor};

/// What a reply is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Open-Meteo: forecast, members, 15-minute values, archive; also anything that is not known.
    OpenMeteo,
    /// MET Norway Locationforecast or Nowcast.
    MetNorway,
    /// National Weather Service: raw grid.
    NwsGridpoint,
    /// National Weather Service: hours or half-days in words.
    NwsPeriods,
    /// National Weather Service: what belongs to a point.
    NwsPoint,
    /// National Weather Service: readings of a station, one or a list.
    NwsObservations,
    /// National Weather Service: what is wrong with a request.
    NwsProblem,
    /// A list of warnings as JSON.
    WarningsJson,
    /// A zip archive, as MOSMIX comes.
    Zip,
    /// KML, as MOSMIX unpacked.
    Kml,
    /// A message of the Common Alerting Protocol, or several.
    Cap,
    /// An index of messages: Atom or RSS.
    Index,
}

/// How far into markup the first element is looked for.
const HEAD: usize = 4096;

/// What a reply is.
pub fn recognise(bytes: &[u8]) -> Form {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    if bytes.starts_with(b"PK\x03\x04") {
        return Form::Zip;
    }
    match bytes.iter().find(|byte| !byte.is_ascii_whitespace()) {
        Some(b'<') => markup(bytes),
        Some(b'{') => json(bytes),
        _ => Form::OpenMeteo,
    }
}

/// By the first element of a document.
fn markup(bytes: &[u8]) -> Form {
    let head = bytes.get(..HEAD.min(bytes.len())).unwrap_or_default();
    let head = String::from_utf8_lossy(head);
    let first = head.split('<').skip(1).find(|part| !part.starts_with(['?', '!']));
    let name = first
        .and_then(|part| {
            part.split(|sign: char| sign.is_whitespace() || "/>".contains(sign))
                .next()
        })
        .unwrap_or_default();
    let local = name.rsplit(':').next().unwrap_or_default();
    match local.to_ascii_lowercase().as_str() {
        "kml" => Form::Kml,
        "alert" | "alerts" => Form::Cap,
        "feed" | "rss" | "rdf" => Form::Index,
        _ => Form::OpenMeteo,
    }
}

fn json(bytes: &[u8]) -> Form {
    let mut reader = serde_json::Deserializer::from_slice(bytes);
    // What is cut off further down has still shown its keys; who reads it says what is wrong.
    let Ok(top) = Peek(4).deserialize(&mut reader) else {
        return Form::OpenMeteo;
    };
    let is = |seen: &Seen, kind: &str| matches!(seen.at("@type"), Some(Seen::Text(text)) if text.ends_with(kind));
    if let Some(own) = top.at("properties") {
        let tells = |key: &str| own.at(key).is_some();
        let marks = [
            (Form::MetNorway, tells("timeseries")),
            (Form::NwsPeriods, tells("periods")),
            (Form::NwsPoint, is(own, ":Point") || tells("forecastGridData")),
            (
                Form::NwsObservations,
                is(own, ":ObservationStation") || tells("rawMessage"),
            ),
            (Form::WarningsJson, is(own, ":Alert") || tells("messageType")),
            (Form::NwsGridpoint, is(own, ":Gridpoint") || tells("gridId")),
        ];
        let found = marks.into_iter().find(|(_, marked)| *marked);
        return found.map_or(Form::OpenMeteo, |(form, _)| form);
    }
    if let Some(features) = top.at("features") {
        let readings = features
            .first()
            .and_then(|feature| feature.at("properties"))
            .is_some_and(|own| own.at("rawMessage").is_some() || own.at("station").is_some());
        return if readings || top.at("observationStations").is_some() {
            Form::NwsObservations
        } else {
            Form::WarningsJson
        };
    }
    if top.at("warnings").is_some() || top.at("alerts").is_some() {
        return Form::WarningsJson;
    }
    if top.at("correlationId").is_some() || (top.at("detail").is_some() && top.at("title").is_some()) {
        return Form::NwsProblem;
    }
    Form::OpenMeteo
}

/// The outline of a JSON value, down to a few levels.
#[derive(Debug)]
enum Seen {
    Text(String),
    Map(Vec<(String, Seen)>),
    List(Option<Box<Seen>>),
    Other,
}

impl Seen {
    fn at(&self, key: &str) -> Option<&Self> {
        match self {
            Self::Map(entries) => entries.iter().find(|(name, _)| name == key).map(|(_, value)| value),
            Self::Text(_) | Self::List(_) | Self::Other => None,
        }
    }

    fn first(&self) -> Option<&Self> {
        match self {
            Self::List(first) => first.as_deref(),
            Self::Text(_) | Self::Map(_) | Self::Other => None,
        }
    }
}

/// Looks at a value so many levels deep.
struct Peek(usize);

/// Most keys of one object that are looked at.
const MOST_KEYS: usize = 200;

impl<'de> DeserializeSeed<'de> for Peek {
    type Value = Seen;

    fn deserialize<D: Deserializer<'de>>(self, reader: D) -> Result<Seen, D::Error> {
        reader.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Peek {
    type Value = Seen;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("any value")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Seen, A::Error> {
        let mut entries = Vec::new();
        while let Some(key) = map.next_key::<String>()? {
            if self.0 > 0 && entries.len() < MOST_KEYS && key.len() < 60 {
                entries.push((key, map.next_value_seed(Peek(self.0 - 1))?));
            } else {
                map.next_value::<IgnoredAny>()?;
            }
        }
        Ok(Seen::Map(entries))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Seen, A::Error> {
        if self.0 == 0 {
            while list.next_element::<IgnoredAny>()?.is_some() {}
            return Ok(Seen::List(None));
        }
        let first = list.next_element_seed(Peek(self.0 - 1))?;
        while list.next_element::<IgnoredAny>()?.is_some() {}
        Ok(Seen::List(first.map(Box::new)))
    }

    fn visit_str<E>(self, text: &str) -> Result<Seen, E> {
        Ok(Seen::Text(text.chars().take(100).collect()))
    }

    fn visit_bool<E>(self, _: bool) -> Result<Seen, E> {
        Ok(Seen::Other)
    }

    fn visit_i64<E>(self, _: i64) -> Result<Seen, E> {
        Ok(Seen::Other)
    }

    fn visit_u64<E>(self, _: u64) -> Result<Seen, E> {
        Ok(Seen::Other)
    }

    fn visit_f64<E>(self, _: f64) -> Result<Seen, E> {
        Ok(Seen::Other)
    }

    fn visit_unit<E>(self) -> Result<Seen, E> {
        Ok(Seen::Other)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_reply_is_known_by_what_stands_in_it() {
        for (reply, form) in [
            (&br#"{"latitude":1,"hourly":{}}"#[..], Form::OpenMeteo),
            (br#"{"error":true,"reason":"no"}"#, Form::OpenMeteo),
            (b"", Form::OpenMeteo),
            (b"<!DOCTYPE html><html>", Form::OpenMeteo),
            (
                br#"{"type":"Feature","properties":{"meta":{},"timeseries":[]}}"#,
                Form::MetNorway,
            ),
            (
                br#"{"properties":{"@type":"wx:Gridpoint","gridId":"BOX"}}"#,
                Form::NwsGridpoint,
            ),
            (br#"{"properties":{"@type":"wx:Point","gridId":"BOX"}}"#, Form::NwsPoint),
            (
                br#"{"properties":{"gridId":"BOX","forecastGridData":"x"}}"#,
                Form::NwsPoint,
            ),
            (
                br#"{"properties":{"updateTime":"x","periods":[{"number":1}]}}"#,
                Form::NwsPeriods,
            ),
            (
                br#"{"properties":{"station":"x","rawMessage":null}}"#,
                Form::NwsObservations,
            ),
            (
                br#"{"features":[{"properties":{"rawMessage":""}}]}"#,
                Form::NwsObservations,
            ),
            (br#"{"features":[],"title":"Current watches"}"#, Form::WarningsJson),
            (
                br#"{"features":[{"properties":{"event":"gale"}}],"lang":"en"}"#,
                Form::WarningsJson,
            ),
            (br#"{"warnings":[]}"#, Form::WarningsJson),
            (
                br#"{"correlationId":"1","title":"Forecast Grid Expired","status":503}"#,
                Form::NwsProblem,
            ),
            (b"PK\x03\x04....", Form::Zip),
            (
                b"\xef\xbb\xbf<?xml version=\"1.0\"?>\n<!-- x --><kml:kml xmlns:kml=\"y\">",
                Form::Kml,
            ),
            (b"<?xml version='1.0'?><alert xmlns=\"urn\">", Form::Cap),
            (b"<cap:alert>", Form::Cap),
            (b"<feed\nxmlns='http://www.w3.org/2005/Atom'>", Form::Index),
            (b"<rss version=\"2.0\">", Form::Index),
        ] {
            assert_eq!(recognise(reply), form, "{}", String::from_utf8_lossy(reply));
        }
    }

    /// D9.
    #[test]
    fn a_deep_or_broken_reply_is_left_to_its_reader() {
        assert_eq!(recognise("{\"a\":".repeat(100_000).as_bytes()), Form::OpenMeteo);
        assert_eq!(recognise("[".repeat(100_000).as_bytes()), Form::OpenMeteo);
        assert_eq!(recognise(b"{\"properties\":{\"timeseries\":[1,2"), Form::OpenMeteo);
    }
}
