//! An hourly series with gaps, and the time axis it stands on.

use chrono::{DateTime, TimeDelta, Utc};

/// Equally spaced hourly stamps; row `k` stands for `(stamp(k) - 1 h, stamp(k)]`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stamps {
    /// Stamp of row 0, on a full hour.
    pub first: DateTime<Utc>,
    /// Number of rows.
    pub count: usize,
}

impl Stamps {
    /// The stamp of row `k`, which may lie beyond the end.
    pub fn at(&self, k: usize) -> DateTime<Utc> {
        self.first + TimeDelta::hours(i64::try_from(k).unwrap_or(i64::MAX / 4_000_000))
    }

    /// Start of the hour of row `k`.
    pub fn start(&self, k: usize) -> DateTime<Utc> {
        self.at(k) - TimeDelta::hours(1)
    }

    /// The row whose hour contains `at`, if it is on the axis.
    pub fn row(&self, at: DateTime<Utc>) -> Option<usize> {
        let seconds = (at - self.start(0)).num_seconds();
        // The hour is open at its start: an instant on a stamp belongs to the row it ends.
        let row = usize::try_from((seconds - 1).div_euclid(3600)).ok()?;
        (row < self.count).then_some(row)
    }

    /// Number of the first row whose hour starts at or after `at`, at most `count`.
    pub fn first_row_from(&self, at: DateTime<Utc>) -> usize {
        let seconds = (at - self.start(0)).num_seconds();
        usize::try_from(seconds.div_euclid(3600) + i64::from(seconds.rem_euclid(3600) > 0))
            .unwrap_or(0)
            .min(self.count)
    }
}

/// One value an hour, or none.
#[derive(Debug, Clone, Default)]
pub struct Series {
    /// NaN marks a gap; never handed out.
    values: Vec<f32>,
    /// How many are no gaps.
    known: usize,
}

/// Two gaps are the same, although two NaN are not.
impl PartialEq for Series {
    fn eq(&self, other: &Self) -> bool {
        self.values.len() == other.values.len() && self.iter().eq(other.iter())
    }
}

impl Series {
    /// A series of `count` gaps.
    pub fn gaps(count: usize) -> Self {
        Self {
            values: vec![f32::NAN; count],
            known: 0,
        }
    }

    /// A series from optional values; what is not finite becomes a gap.
    pub fn new(values: impl IntoIterator<Item = Option<f64>>) -> Self {
        #[expect(
            clippy::cast_possible_truncation,
            reason = "weather has four significant digits, f32 has seven"
        )]
        let values: Vec<f32> = values
            .into_iter()
            .map(|value| value.map_or(f32::NAN, |value| value as f32))
            .map(|value| if value.is_finite() { value } else { f32::NAN })
            .collect();
        let known = values.iter().filter(|value| !value.is_nan()).count();
        Self { values, known }
    }

    /// A series from values where what is not finite is a gap.
    pub fn from_values(mut values: Vec<f32>) -> Self {
        let mut known = 0;
        for value in &mut values {
            if value.is_finite() {
                known += 1;
            } else {
                *value = f32::NAN;
            }
        }
        Self { values, known }
    }

    /// The value of row `k`; `None` for a gap and beyond the ends.
    pub fn get(&self, k: usize) -> Option<f64> {
        self.values
            .get(k)
            .copied()
            .filter(|value| !value.is_nan())
            .map(f64::from)
    }

    /// Puts a value, or a gap, into row `k`; beyond the end nothing happens.
    pub fn put(&mut self, k: usize, value: Option<f64>) {
        if let Some(slot) = self.values.get_mut(k) {
            #[expect(clippy::cast_possible_truncation, reason = "as in new")]
            let value = value.map(|value| value as f32).filter(|value| value.is_finite());
            self.known = self.known + usize::from(value.is_some()) - usize::from(!slot.is_nan());
            *slot = value.unwrap_or(f32::NAN);
        }
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// Whether there are no rows.
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// Whether no row has a value.
    pub fn is_all_gaps(&self) -> bool {
        self.known == 0
    }

    /// Number of rows with a value.
    pub fn known(&self) -> usize {
        self.known
    }

    /// The rows in order.
    pub fn iter(&self) -> impl Iterator<Item = Option<f64>> + '_ {
        (0..self.len()).map(|k| self.get(k))
    }

    /// The number of rows up to the last that has a value: the horizon of this quantity.
    pub fn horizon(&self) -> usize {
        self.values
            .iter()
            .rposition(|value| !value.is_nan())
            .map_or(0, |last| last + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gap_stays_a_gap_and_is_never_zero() {
        let series = Series::new([Some(1.5), None, Some(f64::NAN), Some(f64::INFINITY), Some(0.0)]);
        assert_eq!(
            series.iter().collect::<Vec<_>>(),
            [Some(1.5), None, None, None, Some(0.0)]
        );
        assert_eq!(series.get(9), None);
        assert_eq!(Series::new([Some(1.0), None]).horizon(), 1);
        assert_eq!(Series::new([None, Some(1.0)]), Series::new([None, Some(1.0)]));
    }

    #[test]
    fn filling_and_emptying_hours_keeps_count_of_the_known_ones() {
        let mut series = Series::gaps(3);
        assert!(series.is_all_gaps());
        series.put(1, Some(2.0));
        series.put(1, Some(3.0));
        series.put(2, Some(f64::NAN));
        series.put(7, Some(1.0));
        assert_eq!(series.known(), 1);
        series.put(1, None);
        assert!(series.is_all_gaps());
    }

    #[test]
    fn an_instant_on_a_stamp_belongs_to_the_hour_it_ends() {
        let stamps = Stamps {
            first: "2026-03-10T01:00:00Z".parse().unwrap(),
            count: 3,
        };
        assert_eq!(stamps.row("2026-03-10T01:00:00Z".parse().unwrap()), Some(0));
        assert_eq!(stamps.row("2026-03-10T01:00:01Z".parse().unwrap()), Some(1));
        assert_eq!(stamps.row("2026-03-10T00:00:00Z".parse().unwrap()), None);
        assert_eq!(stamps.row("2026-03-10T03:00:01Z".parse().unwrap()), None);
        assert_eq!(stamps.first_row_from("2026-03-10T01:30:00Z".parse().unwrap()), 2);
    }
}
