//! Past and future of one place on one time axis, shared by everything that follows.
//!
//! A timeline starts five days before now, so that what fell and dried is in the model's state.
//! All runs share the past.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};

use super::forecast::{Freshness, Issue, Kind, Product};
use super::{Credit, Forecast, Quantity, Run, Stamps};

/// The weather a morning is judged by.
#[derive(Debug, Clone, PartialEq)]
pub struct Timeline {
    /// Common time axis, from five days back to the end of the longest series.
    pub stamps: Stamps,
    /// First row whose hour ends after now.
    pub now_row: usize,
    /// Members, or the single forecast.
    pub runs: Vec<Run>,
    /// A main forecast beside the members, which can only lower a chance.
    pub main: Option<Run>,
    /// Whether `runs` are members.
    pub kind: Kind,
    /// Quantities the services do not offer and a rule filled in.
    pub estimated: BTreeSet<Quantity>,
    /// Known hours of past before now; below 48 the model starts with full stores.
    pub past_hours: usize,
    /// Issue of the forecast that decides.
    pub issue: Issue,
    /// Its kind, for the age.
    pub product: Product,
    /// How far it may be trusted now.
    pub freshness: Freshness,
    /// Everybody whose data are in it.
    pub credits: Vec<Credit>,
    /// Sentences for the reader about what is missing ("wind of 3 hours is missing").
    pub remarks: Vec<String>,
}

/// A forecast with the part it plays.
#[derive(Debug, Clone, Copy)]
pub struct Source<'a> {
    /// The forecast.
    pub forecast: &'a Forecast,
    /// Its kind of product.
    pub product: Product,
}

/// Joins the forecasts of one place into one past and future. `None` if there is none to join.
pub fn stitch(sources: &[Source<'_>], now: DateTime<Utc>) -> Option<Timeline> {
    let _ = (sources, now);
    None
}
