//! What one reply is measured against, whichever service gave it.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};

use super::issue::Asked;
use crate::weather::{Forecast, Offer, Place, Quantity};

/// What one reply is measured against.
#[derive(Debug, Clone, Copy)]
pub struct Context<'a> {
    /// The site it was asked for.
    pub site: Place,
    /// When it was fetched.
    pub fetched: DateTime<Utc>,
    /// The reply of the same service before this one.
    pub previous: Option<&'a Forecast>,
    /// What the service has lately offered; a series of these that is gone is a hole and is not estimated.
    pub offered: &'a BTreeSet<Quantity>,
    /// The days that were asked for; `None` for a file whose request is not known, and for services that
    /// are not asked for days.
    pub asked: Option<Asked>,
}

/// What a forecast offered of itself.
pub fn offered(forecast: &Forecast) -> BTreeSet<Quantity> {
    forecast
        .offers
        .iter()
        .filter(|(_, offer)| **offer == Offer::Given)
        .map(|(quantity, _)| *quantity)
        .collect()
}
