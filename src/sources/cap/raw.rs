//! What a message says of itself, as written in any of its forms, made into one [`Info`].

use chrono::{DateTime, Utc};

use super::super::gather;
use super::text::{HEADLINE, LONG, NAME, clean};
use crate::weather::warning::{
    Area, Certainty, Circle, Code, Info, Key, Message, Scope, Severity, Status, Urgency, Words,
};

/// Most points of one ring, and most rings, circles and codes of one area.
const MOST_POINTS: usize = 20_000;
const MOST_PARTS: usize = 4000;

/// One info as written.
#[derive(Debug, Default)]
pub(super) struct RawInfo {
    pub(super) language: String,
    pub(super) event: String,
    pub(super) headline: String,
    pub(super) description: String,
    pub(super) instruction: String,
    pub(super) issuer: String,
    pub(super) severity: String,
    pub(super) urgency: String,
    pub(super) certainty: String,
    pub(super) effective: String,
    pub(super) onset: String,
    pub(super) expires: String,
    pub(super) ends: String,
    pub(super) responses: Vec<String>,
    /// Name and value of parameters and event codes.
    pub(super) parameters: Vec<(String, String)>,
    pub(super) event_codes: Vec<(String, String)>,
    pub(super) areas: Vec<Area>,
    /// Told to be for the sea.
    pub(super) at_sea: bool,
}

impl RawInfo {
    /// The value of a parameter, its name matched by its end.
    fn parameter(&self, name: &str) -> &str {
        let mut found = self
            .parameters
            .iter()
            .filter(|(own, _)| own.to_ascii_lowercase().ends_with(name));
        found.next().map_or("", |(_, value)| value)
    }

    /// Checked and cleaned.
    pub(super) fn info(&self) -> Info {
        let (event, headline) = (clean(&self.event, NAME), clean(&self.headline, HEADLINE));
        let description = clean(&self.description, LONG);
        let groups: Vec<String> = self
            .event_codes
            .iter()
            .filter(|(name, _)| {
                matches!(name.as_str(), "GROUP" | "alertType") || name.starts_with("system_event_level")
            })
            .map(|(_, value)| clean(value, NAME))
            .collect();
        let words = Words {
            event: &event,
            headline: &headline,
            description: &description,
            awareness: self.parameter("awareness_type"),
            groups: &groups,
        };
        let level = self.parameter("awareness_level").to_ascii_lowercase();
        let ended = self.parameter("alert_location_status").eq_ignore_ascii_case("ended");
        let clear = |response: &String| response.eq_ignore_ascii_case("AllClear");
        let ending = self.parameter("eventendingtime");
        Info {
            kind: words.kind(),
            marine: self.at_sea || words.is_marine() || all_at_sea(&self.areas),
            severity: severity(&self.severity),
            urgency: urgency(&self.urgency),
            certainty: certainty(&self.certainty),
            all_clear: ended || self.responses.iter().any(clear),
            green: level.contains("green") || level.trim_start().starts_with("1;"),
            effective: time(&self.effective),
            onset: time(&self.onset),
            expires: time(&self.expires),
            ends: time(&self.ends).or_else(|| time(ending)),
            instruction: clean(&self.instruction, LONG),
            issuer: clean(&self.issuer, NAME),
            language: clean(&self.language, 20),
            areas: self.areas.clone(),
            event,
            headline,
            description,
        }
    }
}

pub(super) fn time(written: &str) -> Option<DateTime<Utc>> {
    gather::instant(written)
}

/// Forecast zones of the US service that lie in the sea or in the Great Lakes begin so.
const SEA_ZONES: [&str; 15] = [
    "AMZ", "ANZ", "GMZ", "LCZ", "LEZ", "LHZ", "LMZ", "LOZ", "LSZ", "PHZ", "PKZ", "PMZ", "PSZ", "PZZ", "SLZ",
];

/// Whether every zone named is one at sea.
fn all_at_sea(areas: &[Area]) -> bool {
    let mut zones = areas
        .iter()
        .flat_map(|area| &area.codes)
        .filter(|code| code.system == "UGC")
        .peekable();
    let at_sea = |code: &Code| SEA_ZONES.iter().any(|zone| code.value.starts_with(zone));
    zones.peek().is_some() && zones.all(at_sea)
}

/// A ring from "lat,lon lat,lon …"; `None` if it cannot be read.
pub(super) fn ring(written: &str) -> Option<Vec<(f64, f64)>> {
    let point = |pair: &str| {
        let (latitude, longitude) = pair.split_once(',')?;
        let (latitude, longitude) = (latitude.parse::<f64>().ok()?, longitude.parse::<f64>().ok()?);
        on_earth(latitude, longitude).then_some((latitude, longitude))
    };
    let ring: Vec<_> = written
        .split_whitespace()
        .take(MOST_POINTS)
        .map(point)
        .collect::<Option<_>>()?;
    (ring.len() > 2).then_some(ring)
}

/// Longitudes may run past the date line.
pub(super) fn on_earth(latitude: f64, longitude: f64) -> bool {
    (-90.0..=90.0).contains(&latitude) && (-540.0..=540.0).contains(&longitude)
}

/// A circle from "lat,lon radius".
pub(super) fn circle(written: &str) -> Option<Circle> {
    let (centre, km) = written.trim().split_once(char::is_whitespace)?;
    let (latitude, longitude) = centre.split_once(',')?;
    let circle = Circle {
        latitude: latitude.trim().parse().ok()?,
        longitude: longitude.trim().parse().ok()?,
        km: km.trim().parse().ok()?,
    };
    let sound = on_earth(circle.latitude, circle.longitude) && (0.0..=21_000.0).contains(&circle.km);
    sound.then_some(circle)
}

/// Codes of one system; some issuers write several into one value.
pub(super) fn codes(area: &mut Area, system: &str, value: &str) {
    let system = clean(system, NAME);
    let several = matches!(system.as_str(), "UGC" | "SAME" | "FIPS6");
    let values: Vec<&str> = if several {
        value.split_whitespace().collect()
    } else {
        vec![value]
    };
    for value in values {
        let value = clean(value, NAME);
        if !value.is_empty() && area.codes.len() < MOST_PARTS {
            area.codes.push(Code {
                system: system.clone(),
                value,
            });
        }
    }
}

/// The three parts of each reference, parted by commas; sets parted by blanks.
pub(super) fn references(written: &str) -> Vec<Key> {
    let key = |triple: &str| {
        let (rest, sent) = triple.rsplit_once(',')?;
        let (sender, identifier) = rest.split_once(',')?;
        Some(key(sender, identifier, sent))
    };
    written.split_whitespace().take(MOST_PARTS).filter_map(key).collect()
}

pub(super) fn key(sender: &str, identifier: &str, sent: &str) -> Key {
    Key {
        sender: clean(sender, NAME),
        identifier: clean(identifier, HEADLINE),
        sent: time(sent),
    }
}

pub(super) fn status(written: &str) -> Status {
    match written.trim().to_ascii_lowercase().as_str() {
        "actual" => Status::Actual,
        "exercise" => Status::Exercise,
        "system" => Status::System,
        "test" => Status::Test,
        "draft" => Status::Draft,
        _ => Status::Unknown,
    }
}

pub(super) fn message(written: &str) -> Message {
    match written.trim().to_ascii_lowercase().as_str() {
        "update" => Message::Update,
        "cancel" => Message::Cancel,
        "ack" | "error" => Message::Other,
        // What cannot be read still warns.
        _ => Message::Alert,
    }
}

pub(super) fn scope(written: &str) -> Scope {
    match written.trim().to_ascii_lowercase().as_str() {
        "public" | "" => Scope::Public,
        _ => Scope::Closed,
    }
}

fn severity(written: &str) -> Severity {
    match written.trim().to_ascii_lowercase().as_str() {
        "extreme" => Severity::Extreme,
        "severe" => Severity::Severe,
        "moderate" => Severity::Moderate,
        "minor" => Severity::Minor,
        _ => Severity::Unknown,
    }
}

fn urgency(written: &str) -> Urgency {
    match written.trim().to_ascii_lowercase().as_str() {
        "immediate" => Urgency::Immediate,
        "expected" => Urgency::Expected,
        "future" => Urgency::Future,
        "past" => Urgency::Past,
        _ => Urgency::Unknown,
    }
}

fn certainty(written: &str) -> Certainty {
    match written.trim().to_ascii_lowercase().as_str() {
        "observed" => Certainty::Observed,
        // The second is the word of version 1.0.
        "likely" | "very likely" => Certainty::Likely,
        "possible" => Certainty::Possible,
        "unlikely" => Certainty::Unlikely,
        _ => Certainty::Unknown,
    }
}
