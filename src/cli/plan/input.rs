//! The two files of `plan`: a case, and a plan to weigh.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use serde::Deserialize;
use serde::de::{Deserializer, Error as _, MapAccess, Visitor};

use super::super::Failure;
use crate::plan::season::{Case, Checked, Entry, Schedule};

/// Reads a case and looks at all of it.
pub(super) fn case(path: &Path) -> Result<Checked, Failure> {
    let text = read(path)?;
    let case: Case = serde_json::from_str(&text).map_err(|error| broken(path, &text, &error))?;
    drop(text);
    case.checked().map_err(|faults| {
        let mut text = format!("{} cannot be planned:", path.display());
        for fault in faults {
            let _ = write!(text, "\n  {fault}");
        }
        Failure { code: 2, text }
    })
}

/// Reads a plan: lots and their slots, alone or as `plan` of a larger object.
pub(super) fn schedule(path: &Path) -> Result<Schedule, Failure> {
    let text = read(path)?;
    let broken = |error: serde_json::Error| broken(path, &text, &error);
    // A lot may be called "plan"; only what holds lots itself is a wrapping.
    if let Ok(Wrapped { plan }) = serde_json::from_str::<Wrapped>(&text) {
        return Ok(Schedule(plan.0));
    }
    match serde_json::from_str::<Lots>(&text) {
        Ok(lots) => Ok(Schedule(lots.0)),
        Err(error) if text.contains("\"objective_cents\"") => {
            Err(broken(serde_json::from_str::<Wrapped>(&text).err().unwrap_or(error)))
        }
        Err(error) => Err(broken(error)),
    }
}

#[derive(Deserialize)]
struct Wrapped {
    plan: Lots,
}

/// Lots by name; a name that stands twice is a mistake, not a choice.
struct Lots(BTreeMap<String, Option<Entry>>);

impl<'de> Deserialize<'de> for Lots {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Names;
        impl<'de> Visitor<'de> for Names {
            type Value = Lots;

            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("lots with their slots")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Lots, A::Error> {
                let mut lots = BTreeMap::new();
                while let Some((name, entry)) = map.next_entry::<String, Option<Entry>>()? {
                    if lots.contains_key(&name) {
                        return Err(A::Error::custom(format!("lot `{name}` stands twice")));
                    }
                    lots.insert(name, entry);
                }
                Ok(Lots(lots))
            }
        }
        deserializer.deserialize_map(Names)
    }
}

fn read(path: &Path) -> Result<String, Failure> {
    std::fs::read_to_string(path).map_err(|error| Failure {
        code: 2,
        text: format!(
            "{} cannot be read: {error}. Check the path and that the file is plain text.",
            path.display()
        ),
    })
}

fn broken(path: &Path, text: &str, error: &serde_json::Error) -> Failure {
    let mut reason = error.to_string();
    if let Some(cut) = reason.rfind(" at line ") {
        reason.truncate(cut);
    }
    for (word, meaning) in [
        ("usize", "a whole number from 0 on"),
        ("u64", "a whole number from 0 on"),
        ("i64", "a whole number"),
        ("u8", "0 or 1"),
    ] {
        reason = reason.replace(&format!("expected {word}"), &format!("expected {meaning}"));
    }
    let place = nearest(text, error.line(), error.column());
    Failure {
        code: 2,
        text: format!(
            "{}, line {}, column {}{place}: {reason}. Mend the JSON there.",
            path.display(),
            error.line(),
            error.column()
        ),
    }
}

/// The thing and the key that a mistake at a line and column belongs to, as far as the text tells.
fn nearest(text: &str, line: usize, column: usize) -> String {
    let before: usize = text
        .split_inclusive('\n')
        .take(line.saturating_sub(1))
        .map(str::len)
        .sum();
    let read = text
        .as_bytes()
        .get(..(before + column).min(text.len()))
        .unwrap_or_default();
    let read = String::from_utf8_lossy(read);
    let word = |rest: &str| rest.split('"').next().map(str::to_owned).unwrap_or_default();
    let mut place = String::new();
    if let Some((_, rest)) = read.rsplit_once("\"id\":") {
        let _ = write!(
            place,
            ", at or after id {}",
            word(rest.trim_start().trim_start_matches('"'))
        );
    }
    let key = read.rsplit_once("\":").and_then(|(front, _)| front.rsplit_once('"'));
    if let Some((_, key)) = key {
        let _ = write!(place, ", `{key}`");
    }
    place
}
