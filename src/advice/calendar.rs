//! The recommended windows as a calendar file (RFC 5545, METHOD:PUBLISH).
//!
//! A window keeps its UID from letter to letter while farm, job, block and local day stay the same, so a calendar
//! program moves the entry instead of adding one; `revision` must rise with every file sent.

use icalendar::{Calendar, Class, Component, Event, EventLike, EventStatus, Property};
use sha2::{Digest as _, Sha256};

use super::letter::{JobFact, Letter};
use super::words;
use crate::farm::zone::Zone;
use crate::workability::Verdict;

/// Who made the file.
const PRODID: &str = "-//covercast//morning letter//EN";

/// Writes the calendar of a letter. `revision` becomes SEQUENCE of every entry.
pub fn ics(letter: &Letter, revision: u32) -> String {
    let mut calendar = Calendar::empty();
    calendar.append_property(Property::new("VERSION", "2.0"));
    calendar.append_property(Property::new("PRODID", PRODID));
    calendar.append_property(Property::new("CALSCALE", "GREGORIAN"));
    calendar.append_property(Property::new("METHOD", "PUBLISH"));
    calendar.append_property(Property::new("X-WR-CALNAME", format!("{}: work windows", letter.farm)));
    for job in &letter.jobs {
        calendar.push(event(letter, job, revision));
    }
    calendar.to_string()
}

fn event(letter: &Letter, job: &JobFact, revision: u32) -> Event {
    let (word, status) = match job.verdict {
        Verdict::Go => ("GO", EventStatus::Confirmed),
        Verdict::Maybe => ("MAYBE", EventStatus::Tentative),
        Verdict::No => ("NO", EventStatus::Cancelled),
        Verdict::Unknown => ("UNKNOWN", EventStatus::Tentative),
    };
    let what = format!("{} {}", words::imperative(job.job), words::name(&job.block.0));
    let mut event = Event::new();
    event
        .uid(&uid(letter, job))
        .timestamp(letter.issued)
        .add_property("SEQUENCE", revision.to_string())
        .starts(job.start)
        .ends(job.end)
        .summary(&format!("{word}: {what}, {}", words::rows(job.rows)))
        .description(&format!(
            "{} Letter {}, good until it is followed by the next.",
            job.words, letter.id
        ))
        .location(&format!("{}, {}", letter.farm, words::name(&job.block.0)))
        .class(Class::Private)
        .status(status)
        .add_property("TRANSP", "TRANSPARENT");
    event.done()
}

/// From farm, job, block and local day; the same content gives the same UID in any process.
fn uid(letter: &Letter, job: &JobFact) -> String {
    let day = Zone::named(&letter.zone).map_or_else(|| job.start.date_naive(), |zone| zone.day(job.start));
    let content = format!("{}|{:?}|{}|{day}", letter.farm_id.0, job.job, job.block.0);
    let mut uid = String::new();
    for byte in Sha256::digest(content.as_bytes()).iter().take(16) {
        uid.push_str(&format!("{byte:02x}"));
    }
    format!("{uid}@{}.covercast", letter.farm_id.0)
}
