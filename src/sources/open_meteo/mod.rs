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
mod quarters;
mod reply;
mod values;

use chrono::TimeDelta;

use self::axis::Axis;
pub use self::quarters::Quarters;
use self::reply::Reply;
pub use super::context::{Context, offered};
use super::refusal::{Refusal, cleaned};
use super::{gather, issue, json};
use crate::weather::{Credit, Forecast, Issue, Kind, Place, Quantity};

/// Furthest that the place of members may lie from the site \[degrees\].
const OFF_MEMBERS_DEG: f64 = 0.3;

/// Reads a reply, or says why it cannot be used. Of a reply with nothing but 15-minute values the hours
/// are made of these.
pub fn read(bytes: &[u8], context: &Context<'_>) -> Result<Forecast, Refusal> {
    let reply = parse(bytes)?;
    if let (None, Some(columns)) = (&reply.hourly, &reply.quarters) {
        return quarters::forecast(columns, &reply, context);
    }
    let offset_s = reply.utc_offset_s;
    let mut forecast = hourly(reply, context)?;
    let last = forecast.stamps.at(forecast.stamps.count.saturating_sub(1));
    if last <= context.fetched {
        return Err(Refusal::Past { last });
    }
    forecast.issue = issue_of(&forecast, offset_s, context)?;
    Ok(forecast)
}

/// Reads a reply of the archive or of the archive of forecasts: hours up to the fetch, as the past of a
/// timeline. It may end long before now, and its age says nothing.
pub fn read_past(bytes: &[u8], context: &Context<'_>) -> Result<Forecast, Refusal> {
    let mut past = hourly(parse(bytes)?, context)?;
    // An hour that is not over is no past.
    let ahead = (0..past.stamps.count).find(|k| past.stamps.at(*k) > context.fetched);
    for run in &mut past.runs {
        for quantity in Quantity::ALL {
            for k in ahead.into_iter().flat_map(|ahead| ahead..past.stamps.count) {
                run.of_mut(quantity).put(k, None);
            }
        }
    }
    Ok(past)
}

/// Reads the 15-minute values of a reply.
pub fn quarters(bytes: &[u8], context: &Context<'_>) -> Result<Quarters, Refusal> {
    let reply = parse(bytes)?;
    let Some(columns) = &reply.quarters else {
        return Err(Refusal::NoQuarters);
    };
    quarters::quarters(columns, &reply, context)
}

fn hourly(mut reply: Reply, context: &Context<'_>) -> Result<Forecast, Refusal> {
    let Some(columns) = reply.hourly.take() else {
        return Err(Refusal::NoHours { instead: reply.others });
    };
    let times = columns.times.as_ref().ok_or(Refusal::Times)?;
    let axis = Axis::new(times, reply.utc_offset_s)?;
    let hours = hours::hours(columns, &reply.units, &axis, context.offered)?;
    let place = place(&reply, hours.kind, context.site)?;
    Ok(Forecast {
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
    })
}

fn issue_of(forecast: &Forecast, offset_s: Option<i64>, context: &Context<'_>) -> Result<Issue, Refusal> {
    let offset = TimeDelta::seconds(offset_s.unwrap_or(0).clamp(-86_400, 86_400));
    issue::of(forecast, offset, context.previous, context.asked)
}

/// Whether a reply is whole and tells hourly values, of whatever time.
pub(super) fn tells_hours(bytes: &[u8]) -> Result<(), Refusal> {
    let reply = parse(bytes)?;
    match reply.hourly {
        Some(_) => Ok(()),
        None => Err(Refusal::NoHours { instead: reply.others }),
    }
}

fn parse(bytes: &[u8]) -> Result<Reply, Refusal> {
    if json::first_sign(bytes) == Some(b'[') {
        return Err(Refusal::SeveralPlaces);
    }
    let reply: Reply = json::parse(bytes)?;
    if reply.error {
        return Err(Refusal::ServiceError(cleaned(
            reply.reason.as_deref().unwrap_or("no reason given"),
        )));
    }
    match &reply.twice {
        Some(key) => Err(Refusal::Twice(cleaned(key))),
        None => Ok(reply),
    }
}

/// A reply names its grid cell. Single forecasts stand on fine grids; members on grids of up to half
/// a degree, so that their cell's middle lies up to 0.25° away.
fn place(reply: &Reply, kind: Kind, site: Place) -> Result<Place, Refusal> {
    let allowed = match kind {
        Kind::Single => gather::OFF_SINGLE_DEG,
        Kind::Members => OFF_MEMBERS_DEG,
    };
    gather::place((reply.latitude, reply.longitude), reply.elevation, site, allowed)
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
