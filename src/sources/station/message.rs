//! JSON of a station, as MQTT message or file.

use chrono::{DateTime, TimeDelta, Utc};
use serde_json::Value;

use super::clock::Nearby;
use super::{Batch, Key, Message, number};

/// Furthest that a message's own time may lie from its receipt before it is taken for a broken clock, if it comes
/// over a line. A file may be old.
const LATE: TimeDelta = TimeDelta::days(2);
/// Furthest ahead.
const AHEAD: TimeDelta = TimeDelta::minutes(15);

/// Whether the bytes came over a line just now, or lay in a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Came {
    /// Under this topic, just now.
    Under,
    /// From a broker that had kept it: its own time counts, or nothing.
    Kept,
    /// From a file.
    File,
}

/// Reads one JSON object. `topic` is where it came from, if from a broker.
///
/// # Errors
/// Says why it cannot be read.
pub(super) fn read(
    bytes: &[u8],
    topic: Option<(&str, &str)>,
    message: &Message,
    received: DateTime<Utc>,
    came: Came,
) -> Result<Batch, String> {
    let value: Value = serde_json::from_slice(bytes).map_err(|error| {
        format!(
            "the message is not JSON (line {}, column {})",
            error.line(),
            error.column()
        )
    })?;
    let mut batch = Batch::default();
    let Some(at) = time(&value, message, received, came, &mut batch) else {
        return Ok(batch);
    };
    for column in &message.columns {
        let Key::Pointer { pointer, topic: own } = &column.key else {
            continue;
        };
        if let Some((came_under, stations)) = topic
            && !matches(own.as_deref().unwrap_or(stations), came_under)
        {
            continue;
        }
        let Some(found) = value.pointer(pointer) else { continue };
        let (read, shown) = match found {
            Value::Number(digits) => (digits.as_f64().filter(|value| value.is_finite()), digits.to_string()),
            Value::String(text) if text.trim().is_empty() => (None, String::new()),
            Value::String(text) => (number(text, '.'), text.chars().take(30).collect()),
            Value::Null => (None, String::new()),
            Value::Bool(_) | Value::Array(_) | Value::Object(_) => (None, "no number".to_owned()),
        };
        if read.is_none() && !shown.is_empty() {
            batch.unreadable(|| format!("{pointer} holds \"{shown}\", which is not a number"));
        }
        batch.push(column, at, read, received);
    }
    Ok(batch)
}

/// Its own time if it tells one that can be, else the time of receipt.
fn time(
    value: &Value,
    message: &Message,
    received: DateTime<Utc>,
    came: Came,
    batch: &mut Batch,
) -> Option<DateTime<Utc>> {
    let fallback = || (came != Came::Kept).then_some(received);
    let Some((pointer, clock)) = &message.time else {
        return fallback();
    };
    let text = match value.pointer(pointer) {
        Some(Value::String(text)) => text.clone(),
        Some(Value::Number(digits)) => digits.to_string(),
        Some(Value::Null | Value::Bool(_) | Value::Array(_) | Value::Object(_)) | None => return fallback(),
    };
    if text.trim().eq_ignore_ascii_case("now") {
        return fallback();
    }
    let Some(at) = clock.read(&text, Nearby::Close(received)) else {
        batch.unreadable(|| format!("\"{text}\" is not a time of the given form"));
        return fallback();
    };
    if at > received + AHEAD || (came == Came::Under && at < received - LATE) {
        batch.unreadable(|| format!("the clock of the station is wrong: it says {text}"));
        return fallback();
    }
    Some(at)
}

/// Whether a topic answers to a filter with the wildcards of MQTT 3.1.1, chapter 4.7.
pub(super) fn matches(filter: &str, topic: &str) -> bool {
    let mut levels = topic.split('/');
    for part in filter.split('/') {
        match part {
            "#" => return true,
            "+" if levels.next().is_some() => {}
            part if part != "+" && levels.next() == Some(part) => {}
            _ => return false,
        }
    }
    levels.next().is_none()
}

#[cfg(test)]
mod tests {
    use super::super::{Clock, Column, Form, Unit};
    use super::*;
    use crate::weather::reading::Measured;

    fn message(time: Option<&str>) -> Message {
        let column = |pointer: &str, measured, unit: &str| Column {
            key: Key::Pointer {
                pointer: pointer.to_owned(),
                topic: None,
            },
            measured,
            unit: Unit::named(measured, unit).unwrap(),
            over: None,
        };
        Message {
            time: time.map(|pointer| {
                let clock = Clock {
                    form: Form::UnixSeconds,
                    zone: None,
                };
                (pointer.to_owned(), clock)
            }),
            columns: vec![
                column("/tempf", Measured::Temperature, "°C"),
                column("/wind/gust", Measured::Gust, "km/h"),
            ],
        }
    }

    fn received() -> DateTime<Utc> {
        "2026-03-10T12:00:00Z".parse().unwrap()
    }

    fn one(text: &str, time: Option<&str>, came: Came) -> Batch {
        read(text.as_bytes(), None, &message(time), received(), came).unwrap()
    }

    #[test]
    fn numbers_in_quotes_are_numbers_and_the_unit_is_the_one_stated() {
        let batch = one(r#"{"tempf": "-4.4", "wind": {"gust": 36}}"#, None, Came::Under);
        let values: Vec<_> = batch.readings.iter().map(|reading| reading.told.value).collect();
        assert_eq!(values, [Some(-4.4), Some(10.0)]);
        assert!(
            batch
                .readings
                .iter()
                .all(|reading| reading.told.valid.end() == received())
        );
    }

    #[test]
    fn words_lists_and_missing_keys_are_no_values() {
        let batch = one(r#"{"tempf": "n/a", "wind": {"gust": [1]}}"#, None, Came::Under);
        assert!(batch.readings.iter().all(|reading| reading.told.value.is_none()));
        assert_eq!(batch.unreadable, 2);
        assert!(one(r"{}", None, Came::Under).readings.is_empty());
        assert!(one("[]", None, Came::Under).readings.is_empty());
        assert_eq!(one(r#"{"tempf": null}"#, None, Came::Under).unreadable, 0);
    }

    #[test]
    fn a_clock_that_is_off_gives_way_to_the_time_of_receipt() {
        for text in [
            r#"{"t": "now", "tempf": 1}"#,
            r#"{"t": 1, "tempf": 1}"#,
            r#"{"t": 9999999999, "tempf": 1}"#,
        ] {
            let batch = one(text, Some("/t"), Came::Under);
            assert_eq!(batch.readings[0].told.valid.end(), received(), "{text}");
        }
        let told = one(r#"{"t": "1773143100", "tempf": 1}"#, Some("/t"), Came::Under);
        assert_eq!(told.readings[0].told.valid.end(), received() - TimeDelta::minutes(15));
    }

    #[test]
    fn a_message_kept_by_the_broker_without_a_time_is_of_no_known_time() {
        assert!(one(r#"{"tempf": 1}"#, Some("/t"), Came::Kept).readings.is_empty());
        assert!(one(r#"{"tempf": 1}"#, None, Came::Kept).readings.is_empty());
        assert_eq!(
            one(r#"{"t": 1773143100, "tempf": 1}"#, Some("/t"), Came::Kept)
                .readings
                .len(),
            1
        );
    }

    #[test]
    fn broken_deep_and_odd_json_is_refused_in_a_sentence() {
        let deep = "[".repeat(100_000);
        for text in ["", "{", "\u{1b}[2J", "{\"PASSWORD\": 0000}", deep.as_str()] {
            let refusal = read(text.as_bytes(), None, &message(None), received(), Came::Under).unwrap_err();
            assert!(refusal.starts_with("the message is not JSON"), "{refusal}");
        }
    }

    #[test]
    fn topics_answer_to_their_wildcards() {
        assert!(matches("farm/+/air", "farm/hill/air"));
        assert!(matches("farm/#", "farm/hill/air"));
        assert!(!matches("farm/+", "farm/hill/air"));
        assert!(!matches("farm/hill/air", "farm/hill"));
    }
}
