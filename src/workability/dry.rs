//! When the faces are dry: the first of two dry hours in a local day, from 05:00 to 21:00.

use chrono::{NaiveDate, NaiveDateTime, Timelike};

/// The first row of `day` from which a face is dry, if there is one.
///
/// `local` is the local time of each row's stamp, `dry` whether the face is dry at its end. A row
/// belongs to the day of its stamp; 05:00 means "dry at dawn". A last row without successor counts.
pub fn first_dry(local: &[NaiveDateTime], day: NaiveDate, dry: impl Fn(usize) -> bool) -> Option<usize> {
    (0..local.len()).find(|&k| {
        local.get(k).is_some_and(|at| at.date() == day && in_day(at)) && dry(k) && (k + 1 >= local.len() || dry(k + 1))
    })
}

/// Whether a local time lies between 05:00 and 21:00, both included.
pub fn in_day(at: &NaiveDateTime) -> bool {
    let minute = at.hour() * 60 + at.minute();
    (5 * 60..=21 * 60).contains(&minute)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn local(from: &str, hours: i64) -> Vec<NaiveDateTime> {
        let first: NaiveDateTime = from.parse().unwrap();
        (0..hours).map(|hour| first + chrono::TimeDelta::hours(hour)).collect()
    }

    #[test]
    fn one_dry_hour_between_showers_is_not_dry() {
        let hours = local("2026-03-10T00:00:00", 24);
        let wet = [8, 10];
        let day = hours[0].date();
        assert_eq!(first_dry(&hours, day, |k| k > 7 && !wet.contains(&k)), Some(11));
        assert_eq!(first_dry(&hours, day, |_| false), None);
    }

    #[test]
    fn a_cover_dry_all_night_is_dry_at_dawn_and_the_last_row_counts_alone() {
        let hours = local("2026-03-10T00:00:00", 13);
        let day = hours[0].date();
        assert_eq!(first_dry(&hours, day, |_| true), Some(5));
        assert_eq!(first_dry(&hours, day, |k| k == 12), Some(12));
    }

    #[test]
    fn a_cover_may_dry_until_nine_in_the_evening_and_not_later() {
        let hours = local("2026-03-10T00:00:00", 24);
        let day = hours[0].date();
        assert_eq!(first_dry(&hours, day, |k| k >= 21), Some(21));
        assert_eq!(first_dry(&hours, day, |k| k >= 22), None);
    }
}
