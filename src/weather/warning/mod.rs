//! Official warnings: what an issuer says, whom it concerns, and whether it still holds.
//!
//! A [`Warning`] is one message as it was sent. A [`Register`] takes messages in any order and knows
//! which of them hold for one farm at one time.
//! Source: OASIS Common Alerting Protocol 1.2 (2010): elements, their words, and what a reference does.

mod apply;
mod area;
mod kind;
mod register;
mod test_text;

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

pub use apply::apply;
pub use area::{Area, Circle, Code, Found, Spot};
pub use kind::{Kind, Words};
pub use register::{Change, Notice, Register, Until};

/// One message of an issuer.
#[derive(Debug, Clone, PartialEq)]
pub struct Warning {
    /// Who sent it and what it is called.
    pub key: Key,
    /// Whether it is meant.
    pub status: Status,
    /// What it does.
    pub message: Message,
    /// Whether it is for everybody.
    pub scope: Scope,
    /// Messages it replaces or ends.
    pub references: Vec<Key>,
    /// A note of the issuer.
    pub note: String,
    /// What it says, once for each language or group of areas; a cancel may say nothing.
    pub infos: Vec<Info>,
}

/// Name of a message.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Key {
    /// Who sent it; empty where the form does not tell.
    pub sender: String,
    /// Its name, unique with this sender.
    pub identifier: String,
    /// When it was sent.
    pub sent: Option<DateTime<Utc>>,
}

/// Whether a message is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// Meant.
    Actual,
    /// An exercise.
    Exercise,
    /// For the machinery.
    System,
    /// A test.
    Test,
    /// A draft.
    Draft,
    /// Not told, or a word that is not known.
    Unknown,
}

/// What a message does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Message {
    /// Warns.
    Alert,
    /// Replaces what it refers to.
    Update,
    /// Ends what it refers to.
    Cancel,
    /// Acknowledges, or reports an error.
    Other,
}

/// Whom a message is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    /// Everybody.
    Public,
    /// Some.
    Closed,
}

/// How bad it may become.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Not told.
    Unknown,
    /// Minimal to no known threat.
    Minor,
    /// Possible threat.
    Moderate,
    /// Significant threat.
    Severe,
    /// Extraordinary threat.
    Extreme,
}

/// How soon.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Urgency {
    /// Not told.
    Unknown,
    /// Now.
    Immediate,
    /// Within the hour.
    Expected,
    /// Near future.
    Future,
    /// Over.
    Past,
}

/// How likely.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Certainty {
    /// Not told.
    Unknown,
    /// Seen.
    Observed,
    /// More likely than not.
    Likely,
    /// Possible.
    Possible,
    /// Not to be expected.
    Unlikely,
}

/// What a message says in one language for one group of areas.
#[derive(Debug, Clone, PartialEq)]
pub struct Info {
    /// Language tag, such as `en-GB`; empty where not told.
    pub language: String,
    /// What the issuer calls the event.
    pub event: String,
    /// What it is about.
    pub kind: Kind,
    /// Whether it is for the sea, which no farm lies in.
    pub marine: bool,
    /// How bad.
    pub severity: Severity,
    /// How soon.
    pub urgency: Urgency,
    /// How likely.
    pub certainty: Certainty,
    /// Whether it gives the all-clear.
    pub all_clear: bool,
    /// Whether it is of the lowest level, which warns of nothing.
    pub green: bool,
    /// From when it was in force.
    pub effective: Option<DateTime<Utc>>,
    /// From when the event is expected.
    pub onset: Option<DateTime<Utc>>,
    /// Until when the text is good.
    pub expires: Option<DateTime<Utc>>,
    /// Until when the event is expected, where the issuer tells it.
    pub ends: Option<DateTime<Utc>>,
    /// A line.
    pub headline: String,
    /// What is expected.
    pub description: String,
    /// What to do.
    pub instruction: String,
    /// Who issued it, as people know them.
    pub issuer: String,
    /// Where.
    pub areas: Vec<Area>,
}

/// What one service gave in one round.
#[derive(Debug, Clone, PartialEq)]
pub struct Warned {
    /// Its messages.
    pub warnings: Vec<Warning>,
    /// Codes of the regions the farm lies in, as this service writes them.
    pub codes: BTreeSet<Code>,
}

/// Whom warnings are chosen for.
#[derive(Debug, Clone, PartialEq)]
pub struct Farm {
    /// Where it lies.
    pub spot: Spot,
    /// Language tag its people read, such as `en`.
    pub language: String,
}

impl Farm {
    /// A farm whose people read English.
    pub fn new(latitude: f64, longitude: f64, codes: BTreeSet<Code>) -> Self {
        Self {
            spot: Spot {
                latitude,
                longitude,
                codes,
            },
            language: "en".to_owned(),
        }
    }
}

impl Key {
    /// Whether both name the same message; a sender that is not told stands for any.
    pub fn same(&self, other: &Self) -> bool {
        let same_sender = self.sender.is_empty() || other.sender.is_empty() || self.sender == other.sender;
        !self.identifier.is_empty() && self.identifier == other.identifier && same_sender
    }

    /// Whether a reference to `self` reaches the message `other`: the same one, sent no later than referred to.
    fn reaches(&self, other: &Self) -> bool {
        let later = self.sent.zip(other.sent).is_some_and(|(named, sent)| sent > named);
        self.same(other) && !later
    }
}
