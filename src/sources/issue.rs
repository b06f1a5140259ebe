//! When a forecast was issued, by its content. A reply says nothing about it, and headers prove nothing.
//!
//! 1. If an earlier reply of the service is kept: as long as no value of the coming hours differs,
//!    this reply is the earlier one again and keeps its issue. When one differs, the issue is the fetch.
//! 2. The days a reply covers say on which day it was made, for the service starts its axis `past_days`
//!    before that day and ends it `forecast_days` after. Where the request is known, so is the day.
//! 3. For a file of which nothing else is known, the day is found from the number of days it covers:
//!    the first of `USUAL` that gives that number and a day not after now. If none does, or the
//!    axis does not begin at midnight, the day is that of its first hour, the oldest it can be. What
//!    is unusual is so taken for older than it is, not for younger.
//!
//! A reply made on the day it is read counts from the fetch; one made on a day before counts from the
//! start of that day, so that an old reply under a fresh date is never called fresh.

use chrono::{DateTime, TimeDelta, Utc};

use super::Refusal;
use crate::weather::{Forecast, Issue, IssueBasis, Quantity};

/// The days a request asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Asked {
    /// Days before the day of the request.
    pub past_days: u32,
    /// Days from the day of the request on.
    pub days: u32,
}

/// Days back and days ahead that files are usually asked for, the likeliest first: our own request,
/// the service's menu without past days, then its menu with them.
const USUAL: [(i64, &[i64]); 10] = [
    (5, &[7, 10, 14, 15, 16]),
    (0, &[3, 5, 7, 10, 14, 16]),
    (1, AHEAD),
    (2, AHEAD),
    (3, AHEAD),
    (7, AHEAD),
    (14, AHEAD),
    (31, AHEAD),
    (61, AHEAD),
    (92, AHEAD),
];
const AHEAD: &[i64] = &[3, 7, 10, 14, 16];
/// A clock that much behind the service's is no fault \[min\].
const CLOCK_SLACK_MIN: i64 = 15;

/// The issue before anything is known: the fetch.
pub(super) fn unknown(fetched: DateTime<Utc>) -> Issue {
    Issue {
        at: fetched,
        basis: IssueBasis::Implied,
    }
}

/// The issue of `forecast`, whose days begin at midnight `offset` from UTC.
pub(super) fn of(
    forecast: &Forecast,
    offset: TimeDelta,
    previous: Option<&Forecast>,
    asked: Option<Asked>,
) -> Result<Issue, Refusal> {
    let slack = TimeDelta::minutes(CLOCK_SLACK_MIN);
    let made = made_on(forecast, offset, asked);
    if made > forecast.fetched + slack {
        return Err(Refusal::Future { at: made });
    }
    // Around midnight the service may still be on the day before.
    let today = forecast.fetched - made < TimeDelta::days(1) + slack;
    let by_days = if today { forecast.fetched } else { made };
    let Some(previous) = previous else {
        return Ok(Issue {
            at: by_days,
            basis: IssueBasis::Implied,
        });
    };
    let by_values = if differs(previous, forecast) {
        forecast.fetched
    } else {
        previous.issue.at
    };
    let basis = if by_values <= by_days {
        IssueBasis::ValuesChanged
    } else {
        IssueBasis::Implied
    };
    Ok(Issue {
        at: by_values.min(by_days),
        basis,
    })
}

/// Start of the day on which a forecast was made.
fn made_on(forecast: &Forecast, offset: TimeDelta, asked: Option<Asked>) -> DateTime<Utc> {
    let first = forecast.stamps.first;
    let midnight = |at: DateTime<Utc>| (at + offset).timestamp().rem_euclid(86_400) == 0;
    if let Some(asked) = asked {
        let start = first + TimeDelta::days(i64::from(asked.past_days));
        // A service may end early, but then it must at least have begun where it was told to.
        return if midnight(first) { start } else { first };
    }
    if !midnight(first) {
        return first;
    }
    // A day of which the last hours are missing is a day.
    let days = i64::try_from(forecast.stamps.count.div_ceil(24)).unwrap_or(0);
    let latest = forecast.fetched + TimeDelta::minutes(CLOCK_SLACK_MIN);
    USUAL
        .into_iter()
        .filter(|(back, ahead)| ahead.contains(&(days - back)))
        .map(|(back, _)| first + TimeDelta::days(back))
        .find(|made| *made <= latest)
        .unwrap_or(first)
}

/// Whether any value that both know for an hour after the earlier fetch is another.
fn differs(previous: &Forecast, forecast: &Forecast) -> bool {
    if previous.runs.len() != forecast.runs.len() {
        return true;
    }
    let from = previous.stamps.first_row_from(previous.fetched);
    let shift = (previous.stamps.first - forecast.stamps.first).num_hours();
    (from..previous.stamps.count).any(|k| {
        let Some(row) = i64::try_from(k).ok().and_then(|k| usize::try_from(k + shift).ok()) else {
            return false;
        };
        previous.runs.iter().zip(&forecast.runs).any(|(before, after)| {
            Quantity::ALL.into_iter().any(|quantity| {
                matches!((before.of(quantity).get(k), after.of(quantity).get(row)),
                    (Some(before), Some(after)) if (before - after).abs() > 1e-6)
            })
        })
    })
}
