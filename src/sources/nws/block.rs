//! Blocks of time: `2026-03-18T08:00:00+00:00/PT3H`.

use chrono::{DateTime, TimeDelta, Utc};

use super::super::gather::instant;
use crate::weather::Valid;

/// Longest block that is a block \[days\]; a grid reaches eight.
const LONGEST_DAYS: i64 = 16;

/// A block of time; seconds are rounded to the minute.
pub(super) fn block(written: &str) -> Option<Valid> {
    let (start, length) = written.split_once('/')?;
    let from = to_minute(instant(start)?)?;
    let length = duration(length)?;
    let fits = length > TimeDelta::zero() && length <= TimeDelta::days(LONGEST_DAYS);
    fits.then(|| Valid::Over {
        from,
        to: from + length,
    })
}

fn to_minute(at: DateTime<Utc>) -> Option<DateTime<Utc>> {
    DateTime::from_timestamp((at.timestamp() + 30).div_euclid(60) * 60, 0)
}

/// A duration of days, hours and minutes, as ISO 8601 writes them.
fn duration(written: &str) -> Option<TimeDelta> {
    let (days, times) = match written.strip_prefix('P')?.split_once('T') {
        Some((days, times)) if !times.is_empty() => (days, times),
        Some(_) => return None,
        None => (written.strip_prefix('P')?, ""),
    };
    if days.is_empty() && times.is_empty() {
        return None;
    }
    let minutes = parts(days, &[('W', 7 * 1440), ('D', 1440)])? + parts(times, &[('H', 60), ('M', 1)])?;
    Some(TimeDelta::minutes(minutes))
}

/// The sum of numbers with letters, the letters in order and none twice.
fn parts(mut written: &str, letters: &[(char, i64)]) -> Option<i64> {
    let mut sum = 0;
    for (letter, minutes) in letters {
        if let Some((number, rest)) = written.split_once(*letter) {
            if number.is_empty() || number.len() > 5 || !number.bytes().all(|digit| digit.is_ascii_digit()) {
                return None;
            }
            sum += number.parse::<i64>().ok()? * minutes;
            written = rest;
        }
    }
    written.is_empty().then_some(sum)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_block_begins_and_lasts_as_written() {
        let hours = |written: &str| match block(written)? {
            Valid::Over { from, to } => Some((from.to_rfc3339(), (to - from).num_minutes())),
            Valid::At(_) => None,
        };
        let at = |text: &str| text.to_owned();
        assert_eq!(
            hours("2026-03-18T08:00:00+00:00/PT3H"),
            Some((at("2026-03-18T08:00:00+00:00"), 180))
        );
        assert_eq!(
            hours("2026-03-18T04:00:00-04:00/P1DT6H"),
            Some((at("2026-03-18T08:00:00+00:00"), 1800))
        );
        assert_eq!(
            hours("2026-03-18T07:59:59Z/PT1H30M"),
            Some((at("2026-03-18T08:00:00+00:00"), 90))
        );
        for odd in [
            "2026-03-18T08:00:00+00:00",
            "2026-03-18T08:00:00/PT3H",
            "2026-03-18T08:00:00Z/3H",
            "2026-03-18T08:00:00Z/P",
            "2026-03-18T08:00:00Z/PT",
            "2026-03-18T08:00:00Z/PT0H",
            "2026-03-18T08:00:00Z/PT-3H",
            "2026-03-18T08:00:00Z/PT3H3H",
            "2026-03-18T08:00:00Z/P99999D",
            "2026-03-18T08:00:00Z/PT99999999999H",
        ] {
            assert_eq!(block(odd), None, "{odd}");
        }
    }
}
