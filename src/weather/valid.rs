//! When a told value holds, and how values told for instants and blocks become hours.
//!
//! Services disagree on the side of the stamp a value lies on and on the length of their steps: some tell
//! instants, some sums of the hour before, some blocks of up to twelve hours after. A reader says when each
//! value holds and no more; here, and only here, that becomes one value an hour.
//!
//! Rules:  a sum is spread evenly over its block, so that every hour of it is possibly wet;
//!         a maximum, a mean and a flag hold all through their block;
//!         an instant is interpolated between two steps of up to [`LONGEST_STEP_H`] hours;
//!         a value told as missing is a hole, and nothing is interpolated across it.

use chrono::{DateTime, TimeDelta, Utc};

use super::Quantity;
use super::series::{Series, Stamps};

/// When a value holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Valid {
    /// At an instant.
    At(DateTime<Utc>),
    /// All through a span: later than `from`, up to and with `to`.
    Over {
        /// Its start, excluded.
        from: DateTime<Utc>,
        /// Its end, included.
        to: DateTime<Utc>,
    },
}

impl Valid {
    /// The `hours` before a stamp.
    pub fn before(stamp: DateTime<Utc>, hours: i64) -> Self {
        Self::Over {
            from: stamp - TimeDelta::hours(hours),
            to: stamp,
        }
    }

    /// The `hours` after a stamp.
    pub fn after(stamp: DateTime<Utc>, hours: i64) -> Self {
        Self::Over {
            from: stamp,
            to: stamp + TimeDelta::hours(hours),
        }
    }
}

/// One told value in the unit of its quantity; `None` where the service says that it has none.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Told {
    /// When it holds.
    pub valid: Valid,
    /// The value.
    pub value: Option<f64>,
}

/// One quantity, hour by hour.
#[derive(Debug, Clone, PartialEq)]
pub struct Hours {
    /// A value an hour, or none.
    pub series: Series,
    /// First row that is no more than a guess inside a longer step: an instant interpolated over more than an
    /// hour, or a share of a longer sum. A level, a maximum or a flag told for a block is as good as hourly.
    pub coarse_from: Option<usize>,
}

/// Longest distance of two told instants that is a step of the service and not a hole \[h\].
pub const LONGEST_STEP_H: i64 = 12;

/// How values of a quantity join inside an hour.
#[derive(Clone, Copy, PartialEq)]
enum Sort {
    /// Stands at the stamp.
    Instant,
    /// Stands at the stamp, on a circle of 360.
    Direction,
    /// Largest of the hour.
    Largest,
    /// Sum of the hour.
    Sum,
    /// Mean of the hour.
    Mean,
}

fn sort(quantity: Quantity) -> Sort {
    match quantity {
        Quantity::Temperature | Quantity::DewPoint | Quantity::Wind | Quantity::Cloud => Sort::Instant,
        Quantity::WindDirection => Sort::Direction,
        Quantity::Gust | Quantity::Thunder | Quantity::Fog | Quantity::Snow => Sort::Largest,
        Quantity::Rain => Sort::Sum,
        Quantity::Shortwave => Sort::Mean,
    }
}

/// Turns told values of one quantity, in any order, into hours.
///
/// Where spans overlap, the larger of two maxima counts, and of all others the shorter span is believed. An instant of a quantity that lives in spans (a gust
/// told for a moment) counts for the hour it lies in; a span of a quantity that lives in instants holds at
/// every stamp inside it.
pub fn hours(quantity: Quantity, told: &[Told], stamps: Stamps) -> Hours {
    let sort = sort(quantity);
    match sort {
        Sort::Instant | Sort::Direction => at_stamps(sort, told, stamps),
        Sort::Largest | Sort::Sum | Sort::Mean => in_hours(sort, told, stamps),
    }
}

/// Spans from the shortest to the longest.
fn spans(told: &[Told]) -> Vec<(DateTime<Utc>, DateTime<Utc>, Option<f64>)> {
    let mut spans: Vec<_> = told
        .iter()
        .filter_map(|told| match told.valid {
            Valid::Over { from, to } if from < to => Some((from, to, told.value)),
            Valid::Over { .. } | Valid::At(_) => None,
        })
        .collect();
    spans.sort_by_key(|(from, to, _)| (*to - *from, *from));
    spans
}

fn instants(told: &[Told]) -> Vec<(DateTime<Utc>, Option<f64>)> {
    let mut instants: Vec<_> = told
        .iter()
        .filter_map(|told| match told.valid {
            Valid::At(at) => Some((at, told.value)),
            Valid::Over { .. } => None,
        })
        .collect();
    instants.sort_by_key(|(at, _)| *at);
    instants
}

fn at_stamps(sort: Sort, told: &[Told], stamps: Stamps) -> Hours {
    let (spans, instants) = (spans(told), instants(told));
    let hour = TimeDelta::hours(1);
    let mut coarse_from = None;
    let mut value_of = |row: usize| -> Option<f64> {
        let stamp = stamps.at(row);
        let mut coarse = |length: TimeDelta| {
            if length > hour {
                coarse_from.get_or_insert(row);
            }
        };
        let after = instants.partition_point(|(at, _)| *at < stamp);
        let next = instants.get(after).copied();
        if let Some((at, value)) = next
            && at == stamp
        {
            return value;
        }
        if let Some((_, _, value)) = spans.iter().find(|(from, to, _)| *from < stamp && stamp <= *to) {
            return *value;
        }
        let (earlier, later) = (instants.get(after.checked_sub(1)?).copied()?, next?);
        let step = later.0 - earlier.0;
        if step > TimeDelta::hours(LONGEST_STEP_H) {
            return None;
        }
        coarse(step);
        #[expect(clippy::cast_precision_loss, reason = "seconds of half a day")]
        let share = (stamp - earlier.0).num_seconds() as f64 / step.num_seconds() as f64;
        let (a, b) = (earlier.1?, later.1?);
        Some(match sort {
            Sort::Direction => {
                if share < 0.5 {
                    a
                } else {
                    b
                }
            }
            Sort::Instant | Sort::Largest | Sort::Sum | Sort::Mean => a + share * (b - a),
        })
    };
    let values: Vec<_> = (0..stamps.count).map(&mut value_of).collect();
    Hours {
        series: Series::new(values),
        coarse_from,
    }
}

/// One minute of the axis.
#[derive(Clone, Copy, PartialEq)]
enum Minute {
    /// Nothing told.
    Free,
    /// Told as missing.
    Missing,
    /// A level, or a rate a minute.
    Known(f64),
}

fn in_hours(sort: Sort, told: &[Told], stamps: Stamps) -> Hours {
    let begin = stamps.start(0);
    let mut minutes = vec![Minute::Free; stamps.count.saturating_mul(60)];
    let place = |at: DateTime<Utc>| usize::try_from((at - begin).num_minutes().max(0)).unwrap_or(0);
    let mut coarse_from = None;
    for (from, to, value) in spans(told) {
        let length = (to - from).num_minutes();
        if length == 0 {
            continue;
        }
        let last = place(to).min(minutes.len());
        let first = place(from).min(last);
        #[expect(clippy::cast_precision_loss, reason = "minutes of a block")]
        let level = value.map(|value| match sort {
            Sort::Sum => value / length as f64,
            Sort::Instant | Sort::Direction | Sort::Largest | Sort::Mean => value,
        });
        for (k, minute) in minutes.iter_mut().enumerate().take(last).skip(first) {
            match (*minute, level) {
                (Minute::Free, _) => *minute = level.map_or(Minute::Missing, Minute::Known),
                (Minute::Known(there), Some(level)) if sort == Sort::Largest => {
                    *minute = Minute::Known(there.max(level));
                }
                (Minute::Known(_) | Minute::Missing, _) => continue,
            }
            if length > 60 && sort == Sort::Sum {
                let row = k / 60;
                coarse_from = Some(coarse_from.map_or(row, |earlier: usize| earlier.min(row)));
            }
        }
    }
    let instants = instants(told);
    let hour = |row: usize| -> Option<f64> {
        let hour = minutes.get(row * 60..row * 60 + 60)?;
        let moment = || {
            let inside = instants
                .iter()
                .filter(|(at, _)| stamps.start(row) < *at && *at <= stamps.at(row));
            inside.filter_map(|(_, value)| *value).reduce(f64::max)
        };
        let mut sum = 0.0;
        let mut largest = f64::NEG_INFINITY;
        for minute in hour {
            match minute {
                Minute::Known(level) => {
                    sum += level;
                    largest = largest.max(*level);
                }
                // A gust of one moment is less than the gust of the hour, but it is what there is.
                Minute::Free if sort == Sort::Largest && hour.iter().all(|minute| *minute == Minute::Free) => {
                    return moment();
                }
                Minute::Free | Minute::Missing => return None,
            }
        }
        Some(match sort {
            Sort::Sum => sum,
            Sort::Mean => sum / 60.0,
            Sort::Instant | Sort::Direction | Sort::Largest => moment().map_or(largest, |moment| moment.max(largest)),
        })
    };
    Hours {
        series: Series::new((0..stamps.count).map(hour)),
        coarse_from,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(hour: u32) -> DateTime<Utc> {
        "2026-03-10T00:00:00Z".parse::<DateTime<Utc>>().unwrap() + TimeDelta::hours(i64::from(hour))
    }

    fn stamps(count: usize) -> Stamps {
        Stamps { first: at(1), count }
    }

    fn instant(hour: u32, value: f64) -> Told {
        Told {
            valid: Valid::At(at(hour)),
            value: Some(value),
        }
    }

    fn over(from: u32, to: u32, value: Option<f64>) -> Told {
        Told {
            valid: Valid::Over {
                from: at(from),
                to: at(to),
            },
            value,
        }
    }

    fn rounded(hours: &Hours) -> Vec<Option<f64>> {
        let two = |value: f64| (value * 100.0).round() / 100.0;
        hours.series.iter().map(|value| value.map(two)).collect()
    }

    #[test]
    fn rain_of_a_six_hour_block_makes_each_of_its_hours_wet_and_keeps_its_sum() {
        let found = hours(Quantity::Rain, &[over(0, 6, Some(1.8))], stamps(7));
        let wet = Some(0.3);
        assert_eq!(rounded(&found), [wet, wet, wet, wet, wet, wet, None]);
        assert_eq!(found.coarse_from, Some(0));
    }

    #[test]
    fn the_hourly_sum_is_believed_before_the_six_hour_sum_over_the_same_time() {
        let told = [over(0, 6, Some(6.0)), over(0, 1, Some(0.0)), over(1, 2, Some(0.4))];
        let found = hours(Quantity::Rain, &told, stamps(3));
        assert_eq!(rounded(&found), [Some(0.0), Some(0.4), Some(1.0)]);
        assert_eq!(found.coarse_from, Some(2));
    }

    #[test]
    fn quarters_of_an_hour_add_up_and_one_missing_quarter_makes_a_hole() {
        let quarter = |k: i64, value| Told {
            valid: Valid::Over {
                from: at(0) + TimeDelta::minutes(15 * k),
                to: at(0) + TimeDelta::minutes(15 * (k + 1)),
            },
            value,
        };
        let mut told: Vec<Told> = (0..8).map(|k| quarter(k, Some(0.25))).collect();
        assert_eq!(
            rounded(&hours(Quantity::Rain, &told, stamps(2))),
            [Some(1.0), Some(1.0)]
        );
        assert_eq!(hours(Quantity::Rain, &told, stamps(2)).coarse_from, None);
        told[5].value = None;
        assert_eq!(rounded(&hours(Quantity::Rain, &told, stamps(2))), [Some(1.0), None]);
        told.remove(5);
        assert_eq!(rounded(&hours(Quantity::Rain, &told, stamps(2))), [Some(1.0), None]);
    }

    #[test]
    fn a_gust_told_around_a_stamp_stands_in_both_hours_and_the_larger_counts() {
        let told = [over(0, 2, Some(9.0)), over(1, 3, Some(12.0))];
        let found = hours(Quantity::Gust, &told, stamps(3));
        assert_eq!(rounded(&found), [9.0, 12.0, 12.0].map(Some));
    }

    #[test]
    fn temperature_runs_straight_between_two_steps_but_never_across_a_missing_one() {
        let mut told = vec![instant(1, 10.0), instant(4, 16.0), instant(7, 10.0)];
        let found = hours(Quantity::Temperature, &told, stamps(7));
        let expected = [10.0, 12.0, 14.0, 16.0, 14.0, 12.0, 10.0].map(Some);
        assert_eq!(rounded(&found), expected);
        assert_eq!(found.coarse_from, Some(1));
        told[1].value = None;
        let found = hours(Quantity::Temperature, &told, stamps(7));
        assert_eq!(rounded(&found), [Some(10.0), None, None, None, None, None, Some(10.0)]);
    }

    #[test]
    fn two_steps_more_than_half_a_day_apart_leave_a_hole() {
        let told = [instant(1, 10.0), instant(14, 10.0)];
        let found = hours(Quantity::Temperature, &told, stamps(14));
        assert_eq!(found.series.known(), 2);
        assert_eq!(found.coarse_from, None);
    }

    #[test]
    fn a_wind_direction_turns_at_half_time_and_never_through_the_south() {
        let told = [instant(1, 350.0), instant(5, 10.0)];
        let found = hours(Quantity::WindDirection, &told, stamps(5));
        assert_eq!(rounded(&found), [350.0, 350.0, 10.0, 10.0, 10.0].map(Some));
    }

    #[test]
    fn a_block_of_wind_holds_at_each_stamp_inside_it_its_start_excluded() {
        let told = [over(1, 3, Some(4.0)), over(3, 4, None)];
        let found = hours(Quantity::Wind, &told, stamps(5));
        assert_eq!(rounded(&found), [None, Some(4.0), Some(4.0), None, None]);
        assert_eq!(found.coarse_from, None);
    }

    #[test]
    fn the_mean_of_sunshine_weighs_each_part_by_its_length() {
        let half = |from: i64, to: i64, value| Told {
            valid: Valid::Over {
                from: at(0) + TimeDelta::minutes(from),
                to: at(0) + TimeDelta::minutes(to),
            },
            value: Some(value),
        };
        let found = hours(Quantity::Shortwave, &[half(0, 15, 400.0), half(15, 60, 0.0)], stamps(1));
        assert_eq!(rounded(&found), [Some(100.0)]);
    }

    #[test]
    fn a_gust_read_at_a_moment_counts_for_its_hour() {
        let told = [
            Told {
                valid: Valid::At(at(0) + TimeDelta::minutes(20)),
                value: Some(7.0),
            },
            Told {
                valid: Valid::At(at(0) + TimeDelta::minutes(50)),
                value: Some(9.0),
            },
        ];
        assert_eq!(rounded(&hours(Quantity::Gust, &told, stamps(2))), [Some(9.0), None]);
    }
}
