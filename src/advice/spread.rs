//! What the runs agree on: middle, and where eight of ten lie.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::weather::{Quantity, Run, Timeline};

/// Middle and tenths of the runs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Spread {
    /// One in ten runs is below.
    pub low: f64,
    /// Half of them are below.
    pub middle: f64,
    /// One in ten is above.
    pub high: f64,
}

/// Spread of the known values; `None` unless at least half of the runs know one.
pub fn spread(values: impl Iterator<Item = Option<f64>>) -> Option<Spread> {
    let (mut known, mut runs) = (Vec::new(), 0_usize);
    for value in values {
        runs += 1;
        known.extend(value);
    }
    if known.is_empty() || known.len() * 2 < runs {
        return None;
    }
    known.sort_by(f64::total_cmp);
    Some(Spread {
        low: thousandth(quantile(&known, 0.1)?),
        middle: thousandth(quantile(&known, 0.5)?),
        high: thousandth(quantile(&known, 0.9)?),
    })
}

/// Weather has no more digits, and short numbers read back as they were written.
pub fn thousandth(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

/// Linear between the sorted values (Hyndman and Fan 1996, type 7).
fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    #[expect(clippy::cast_precision_loss, reason = "member counts are small")]
    let place = share * sorted.len().checked_sub(1)? as f64;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a place in the list"
    )]
    let below = place.floor() as usize;
    let low = sorted.get(below)?;
    let high = sorted.get(below + 1).unwrap_or(low);
    Some(low + (high - low) * (place - place.floor()))
}

/// Spread of one quantity in row `k` of the timeline.
pub fn at_row(timeline: &Timeline, quantity: Quantity, k: usize) -> Option<Spread> {
    spread(timeline.runs.iter().map(|run| run.of(quantity).get(k)))
}

/// Spread of the rain that falls between two instants; a run with a gap inside has no sum.
pub fn rain_sum(timeline: &Timeline, from: DateTime<Utc>, to: DateTime<Utc>) -> Option<Spread> {
    let rows = rows(timeline, from, to)?;
    spread(
        timeline
            .runs
            .iter()
            .map(|run| rows.clone().map(|k| run.rain.get(k)).sum()),
    )
}

/// Spread of the highest gust between two instants; a run with a gap inside has none.
pub fn highest_gust(timeline: &Timeline, from: DateTime<Utc>, to: DateTime<Utc>) -> Option<Spread> {
    let rows = rows(timeline, from, to)?;
    let highest = |run: &Run| {
        rows.clone()
            .try_fold(0.0_f64, |most, k| Some(most.max(run.gust.get(k)?)))
    };
    spread(timeline.runs.iter().map(highest))
}

/// Rows whose hours lie between two instants; `None` where the axis does not cover them.
pub fn rows(timeline: &Timeline, from: DateTime<Utc>, to: DateTime<Utc>) -> Option<std::ops::Range<usize>> {
    let first = timeline.stamps.first_row_from(from);
    let hours = usize::try_from((to - timeline.stamps.start(first)).num_hours()).ok()?;
    let covered = timeline.stamps.start(0) <= from && first + hours <= timeline.stamps.count && hours > 0;
    covered.then_some(first..first + hours)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hyndman and Fan 1996, Am. Stat. 50(4), definition 7: place = (n - 1) p.
    #[test]
    fn eight_of_ten_runs_lie_between_low_and_high() {
        let runs = spread((0..=10).map(|value| Some(f64::from(value)))).unwrap();
        assert!((runs.low - 1.0).abs() < 1e-12 && (runs.middle - 5.0).abs() < 1e-12 && (runs.high - 9.0).abs() < 1e-12);
    }

    #[test]
    fn a_minority_of_known_runs_says_nothing() {
        assert!(spread([Some(1.0), None, None].into_iter()).is_none());
        assert!(spread([None].into_iter()).is_none());
    }
}
