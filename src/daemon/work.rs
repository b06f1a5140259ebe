//! The two slow pieces of work, handed in so that the loop can be tried with any weather.

use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;

use chrono::{DateTime, Utc};

use super::memory::Memory;
use super::schedule::Due;
use crate::deliver::Picture;
use crate::farm::Farm;
use crate::record::Entry;
use crate::sources;
use crate::store::{Feed, Letter, Number};

/// Asks the services of a farm and keeps what they answer where `decide` finds it.
pub type Pull = dyn Fn(Arc<Farm>, Arc<sources::Settings>, DateTime<Utc>) -> Pulling + Send + Sync;
/// A pull under way.
pub type Pulling = Pin<Box<dyn Future<Output = Vec<Feed>> + Send>>;
/// Decides one morning of one farm. Plain computing; it runs beside the loop.
pub type Decide = dyn Fn(Question) -> Decided + Send + Sync;

/// The slow work.
#[derive(Clone)]
pub struct Work {
    /// Asks the services.
    pub pull: Arc<Pull>,
    /// Decides.
    pub decide: Arc<Decide>,
}

/// All that a letter is decided from, beside the forecasts at hand.
#[derive(Debug, Clone)]
pub struct Question {
    /// The farm.
    pub farm: Arc<Farm>,
    /// Services whose last replies count.
    pub sources: Arc<sources::Settings>,
    /// What was reported.
    pub entries: Vec<Entry>,
    /// What is remembered of the weather.
    pub memory: Memory,
    /// Now.
    pub now: DateTime<Utc>,
    /// What the letter is due for.
    pub due: Due,
    /// When the next letter is due.
    pub next_letter: Option<DateTime<Utc>>,
    /// Its number.
    pub number: Number,
    /// The letter of the day before, if there was one.
    pub yesterday: Option<Letter>,
}

/// A letter, decided and rendered.
#[derive(Debug, Clone, PartialEq)]
pub struct Decided {
    /// Subject.
    pub subject: String,
    /// Text.
    pub text: String,
    /// HTML.
    pub html: String,
    /// Pictures in the HTML that could be drawn.
    pub pictures: Vec<Picture>,
    /// Calendar of the recommended windows.
    pub calendar: Option<String>,
    /// The letter's facts, for `explain`.
    pub facts: serde_json::Value,
    /// What it was decided from: age and names of the data, reports.
    pub inputs: serde_json::Value,
    /// The forecasts it was decided from, by service and issue.
    pub forecasts: Vec<(String, DateTime<Utc>)>,
    /// When it was issued.
    pub issued: DateTime<Utc>,
    /// Until when it may be acted on.
    pub valid_until: DateTime<Utc>,
}
