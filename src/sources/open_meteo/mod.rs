//! Replies of the Open-Meteo forecast and ensemble interfaces.
//!
//! In:     a JSON reply with an `hourly` block; times as unix seconds, or as text with a UTC offset of 0.
//! Out:    canonical hours. The stamp of a preceding-hour value (rain, gust, radiation) and of an
//!         instant value alike is the end of its row, as the service documents them.
//! Source: the service's documentation of the forecast and ensemble interfaces (hourly variables,
//!         valid times, weather codes after WMO table 4677).

mod axis;
mod hours;
mod names;
mod reply;
mod values;

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Utc};

use self::axis::Axis;
use self::reply::Reply;
use super::issue::{self, Asked};
use super::refusal::{Refusal, cleaned};
use crate::units::{Degrees, Metres};
use crate::weather::{Credit, Forecast, Kind, Offer, Place, Quantity};

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
    /// The days that were asked for; `None` for a file whose request is not known.
    pub asked: Option<Asked>,
}

/// Furthest that a reply's place may lie from the site \[degrees\] or above or below it \[m\].
///
/// A reply names its grid cell. Single forecasts stand on fine grids; members on grids of up to half
/// a degree, so that their cell's middle lies up to 0.25° away.
const OFF_SINGLE_DEG: f64 = 0.1;
const OFF_MEMBERS_DEG: f64 = 0.3;
const OFF_HEIGHT_M: f64 = 300.0;

/// Reads a reply, or says why it cannot be used.
pub fn read(bytes: &[u8], context: &Context<'_>) -> Result<Forecast, Refusal> {
    let reply = parse(bytes)?;
    if reply.error {
        return Err(Refusal::ServiceError(cleaned(
            reply.reason.as_deref().unwrap_or("no reason given"),
        )));
    }
    if let Some(key) = &reply.twice {
        return Err(Refusal::Twice(cleaned(key)));
    }
    let Some(columns) = &reply.hourly else {
        return Err(Refusal::NoHours { instead: reply.others });
    };
    let times = columns.times.as_ref().ok_or(Refusal::Times)?;
    let axis = Axis::new(times, reply.utc_offset_s)?;
    let hours = hours::hours(columns, &reply.units, &axis, context.offered)?;
    let place = place(&reply, hours.kind, context.site)?;
    if axis.last() <= context.fetched {
        return Err(Refusal::Past { last: axis.last() });
    }
    let mut forecast = Forecast {
        credit: credit(hours.kind),
        place,
        stamps: axis.stamps,
        runs: hours.runs,
        kind: hours.kind,
        offers: hours.offers,
        issue: issue::unknown(context.fetched),
        fetched: context.fetched,
        rejected: hours.rejected,
        coarse_from: None,
    };
    let offset = TimeDelta::seconds(reply.utc_offset_s.unwrap_or(0).clamp(-86_400, 86_400));
    forecast.issue = issue::of(&forecast, offset, context.previous, context.asked)?;
    Ok(forecast)
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

fn parse(bytes: &[u8]) -> Result<Reply, Refusal> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let start = bytes.iter().position(|byte| !byte.is_ascii_whitespace());
    match start.and_then(|start| bytes.get(start)) {
        None => return Err(Refusal::Empty),
        Some(b'<') => return Err(Refusal::WebPage),
        Some(b'[') => return Err(Refusal::SeveralPlaces),
        Some(_) => {}
    }
    serde_json::from_slice(bytes).map_err(|error| {
        let (line, column) = (error.line(), error.column());
        let bare_nan = bytes.windows(5).take(4096).any(|part| part == b":nan,");
        match error.classify() {
            _ if bare_nan => Refusal::NotCovered,
            serde_json::error::Category::Data => Refusal::Shape { line, column },
            serde_json::error::Category::Io
            | serde_json::error::Category::Syntax
            | serde_json::error::Category::Eof => Refusal::NotJson { line, column },
        }
    })
}

fn place(reply: &Reply, kind: Kind, site: Place) -> Result<Place, Refusal> {
    let (Some(latitude), Some(longitude)) = (reply.latitude, reply.longitude) else {
        return Err(Refusal::NoPlace);
    };
    if !(-90.0..=90.0).contains(&latitude) || !(-180.0..=360.0).contains(&longitude) {
        return Err(Refusal::NoPlace);
    }
    let east = (longitude - site.longitude.0).rem_euclid(360.0);
    let degrees = (latitude - site.latitude.0).abs().max(east.min(360.0 - east));
    let allowed = match kind {
        Kind::Single => OFF_SINGLE_DEG,
        Kind::Members => OFF_MEMBERS_DEG,
    };
    if degrees > allowed + 1e-6 {
        return Err(Refusal::OtherPlace { degrees, allowed });
    }
    if let (Some(told_m), Some(Metres(site_m))) = (reply.elevation, site.elevation)
        && (told_m - site_m).abs() > OFF_HEIGHT_M
    {
        return Err(Refusal::OtherHeight { told_m, site_m });
    }
    Ok(Place {
        latitude: Degrees(latitude),
        longitude: Degrees(longitude),
        elevation: reply.elevation.map(Metres),
    })
}

fn credit(kind: Kind) -> Credit {
    let service = match kind {
        Kind::Single => "Open-Meteo forecast",
        Kind::Members => "Open-Meteo ensemble",
    };
    Credit {
        service: service.to_owned(),
        line: "Weather data by Open-Meteo.com (CC BY 4.0), changed: checked for gaps and converted".to_owned(),
        link: "https://open-meteo.com/".to_owned(),
    }
}
