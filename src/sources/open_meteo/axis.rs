//! The times of a reply: from what is written to one hourly axis in UTC.

use chrono::{DateTime, NaiveDateTime};

use super::super::Refusal;
use super::reply::Times;
use crate::weather::{Series, Stamps};

/// Longest axis read: the service's 92 past and 35 coming days, and one more.
const MOST_HOURS: i64 = 128 * 24;

/// The hourly axis and the row of each written time; an hour between that is not written has no
/// entry and so stays a hole.
#[derive(Debug)]
pub(super) struct Axis {
    pub(super) stamps: Stamps,
    pub(super) rows: Vec<usize>,
}

/// Seconds of the times, each later than the one before.
pub(super) fn seconds(times: &Times, offset_s: Option<i64>) -> Result<Vec<i64>, Refusal> {
    let seconds = match times {
        Times::Unix(seconds) => seconds.clone(),
        Times::Text(texts) => {
            if offset_s != Some(0) {
                return Err(Refusal::LocalTimes { offset_s });
            }
            texts
                .iter()
                .map(|text| utc_seconds(text))
                .collect::<Option<_>>()
                .ok_or(Refusal::Times)?
        }
    };
    // Between 2000 and 2100: catches milliseconds and lists of numbers that are no times.
    if seconds
        .iter()
        .any(|second| !(946_684_800..4_102_444_800).contains(second))
    {
        return Err(Refusal::Times);
    }
    match seconds.windows(2).position(|pair| matches!(pair, [a, b] if b <= a)) {
        Some(position) => Err(Refusal::NotAscending { position: position + 2 }),
        None => Ok(seconds),
    }
}

impl Axis {
    pub(super) fn new(times: &Times, offset_s: Option<i64>) -> Result<Self, Refusal> {
        let seconds = seconds(times, offset_s)?;
        let (Some(first), Some(last)) = (seconds.first().copied(), seconds.last().copied()) else {
            return Err(Refusal::NoHours { instead: Vec::new() });
        };
        if seconds.iter().any(|second| second % 3600 != 0) {
            return Err(Refusal::NotFullHours);
        }
        if last - first >= MOST_HOURS * 3600 {
            return Err(Refusal::TooLong);
        }
        usual_step_is_an_hour(&seconds)?;
        let rows: Vec<usize> = seconds
            .iter()
            .filter_map(|second| usize::try_from((second - first) / 3600).ok())
            .collect();
        let count = rows.last().map_or(0, |last| last + 1);
        let first = DateTime::from_timestamp(first, 0).ok_or(Refusal::Times)?;
        Ok(Self {
            stamps: Stamps { first, count },
            rows,
        })
    }

    /// A series of values that stand at the written times.
    pub(super) fn series(&self, values: Vec<f32>) -> Series {
        if values.len() == self.stamps.count {
            return Series::from_values(values);
        }
        let mut hours = vec![f32::NAN; self.stamps.count];
        for (row, value) in self.rows.iter().zip(values) {
            if let Some(hour) = hours.get_mut(*row) {
                *hour = value;
            }
        }
        Series::from_values(hours)
    }
}

/// Values that stand two or three hours apart are refused and not spread: a sum or a highest gust of
/// three hours says nothing about which hour it fell in. A few missing hours are holes.
fn usual_step_is_an_hour(seconds: &[i64]) -> Result<(), Refusal> {
    let steps: Vec<i64> = seconds
        .windows(2)
        .filter_map(|pair| Some((pair.get(1)? - pair.first()?) / 3600))
        .collect();
    let hourly = steps.iter().filter(|step| **step == 1).count();
    if steps.is_empty() || hourly * 2 >= steps.len() {
        return Ok(());
    }
    let step_h = steps.iter().copied().find(|step| *step > 1).unwrap_or(1);
    Err(Refusal::NotHourly { step_h })
}

fn utc_seconds(text: &str) -> Option<i64> {
    let text = text.strip_suffix('Z').unwrap_or(text);
    ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"]
        .into_iter()
        .find_map(|format| NaiveDateTime::parse_from_str(text, format).ok())
        .map(|time| time.and_utc().timestamp())
}
