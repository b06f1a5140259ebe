//! When the letter is due: wall-clock times of the farm, each placed once.
//!
//! The `cron` crate misses a day in spring and doubles one in autumn when it is given a zone. So it only
//! proposes times on a wall clock without a zone; [`Zone::instant`] then places each of them once. What has
//! been done is never decided here: the store's key (farm, job, local date) does that.

use std::str::FromStr;

use chrono::{DateTime, Days, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Utc};
use cron::Schedule;

use super::LetterTime;
use crate::farm::zone::Zone;

/// Local time until which a missed morning letter is still worth sending.
const CATCH_UP_UNTIL: NaiveTime = match NaiveTime::from_hms_opt(12, 0, 0) {
    Some(noon) => noon,
    None => NaiveTime::MIN,
};

/// A letter set for the afternoon can be caught up this long.
const LATE_CATCH_UP: TimeDelta = TimeDelta::hours(2);

/// Services are not asked this close to a full hour.
const PULL_CLEARANCE: TimeDelta = TimeDelta::minutes(2);

/// How long before a letter the services are asked for it, half of that more or less \[s\].
const PULL_AHEAD_S: f64 = 900.0;

/// One due time of a daily job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Due {
    /// Local date it belongs to, by the clock time it was set for; the key of the job.
    pub date: NaiveDate,
    /// The instant.
    pub at: DateTime<Utc>,
    /// Until when it is still worth doing.
    pub until: DateTime<Utc>,
}

/// The next `n` instants after `after` at which a letter is due, one a local date.
pub fn next_runs(letter: &LetterTime, zone: &Zone, after: DateTime<Utc>, n: usize) -> Vec<DateTime<Utc>> {
    runs(letter, zone, after).take(n).map(|due| due.at).collect()
}

/// The next letter after `after`; `None` if the schedule never fires again.
pub fn next_due(letter: &LetterTime, zone: &Zone, after: DateTime<Utc>) -> Option<Due> {
    runs(letter, zone, after).next()
}

/// The latest letter time at or before `now`, if it is still worth sending.
pub fn due_now(letter: &LetterTime, zone: &Zone, now: DateTime<Utc>) -> Option<Due> {
    runs(letter, zone, now - TimeDelta::days(2))
        .take_while(|due| due.at <= now)
        .last()
        .filter(|due| now < due.until)
}

/// Local dates after `last` on which a letter was to go out and is no longer worth sending; at most the last year.
pub fn missed(letter: &LetterTime, zone: &Zone, last: NaiveDate, now: DateTime<Utc>) -> Vec<NaiveDate> {
    let from = zone.day_start(last).max(now - TimeDelta::days(366)) - TimeDelta::days(1);
    runs(letter, zone, from)
        .take_while(|due| due.until <= now)
        .map(|due| due.date)
        .filter(|date| *date > last)
        .collect()
}

/// When the services are asked next: after `minutes`, a tenth more or less by `luck` (−1 to 1), and never within
/// two minutes of a full hour, when everybody asks.
pub fn next_pull(now: DateTime<Utc>, minutes: u32, luck: f64) -> DateTime<Utc> {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "minutes of a pull, at most days, in seconds"
    )]
    let seconds = (f64::from(minutes) * 60.0 * (1.0 + 0.1 * luck.clamp(-1.0, 1.0))).round() as i64;
    clear_of_full_hour(now + TimeDelta::seconds(seconds.max(60)))
}

/// When the services are asked so that a letter finds fresh answers: some minutes before it, by `luck` (−1 to 1);
/// `None` if that is over.
pub fn pull_before(letter: DateTime<Utc>, now: DateTime<Utc>, luck: f64) -> Option<DateTime<Utc>> {
    #[expect(clippy::cast_possible_truncation, reason = "a few minutes in seconds")]
    let ahead = (PULL_AHEAD_S * (1.0 + 0.5 * luck.clamp(-1.0, 1.0))).round() as i64;
    let at = clear_of_full_hour(letter - TimeDelta::seconds(ahead));
    (at > now && at < letter).then_some(at)
}

/// A time, or a few minutes later if it lies within two minutes of a full hour, when everybody asks.
pub fn clear_of_full_hour(at: DateTime<Utc>) -> DateTime<Utc> {
    let into_hour = at.timestamp().rem_euclid(3600);
    let crowd = PULL_CLEARANCE.num_seconds();
    if into_hour < crowd {
        at + TimeDelta::seconds(2 * crowd - into_hour)
    } else if into_hour >= 3600 - crowd {
        at + TimeDelta::seconds(3600 - into_hour + 2 * crowd)
    } else {
        at
    }
}

/// Due times after `after`, in order: the first of each local date, none before the one before it.
fn runs(letter: &LetterTime, zone: &Zone, after: DateTime<Utc>) -> impl Iterator<Item = Due> {
    // From the day before: a clock change may place a wall time of yesterday after now.
    let start = (zone.day(after) - Days::new(1)).and_time(NaiveTime::MIN) - TimeDelta::seconds(1);
    let (mut last_date, mut last_at) = (None, None);
    let zone = zone.clone();
    wall_times(letter, start.and_utc())
        .filter_map(move |wall| {
            let at = zone.instant(wall);
            if last_date == Some(wall.date()) || last_at.is_some_and(|last| at <= last) {
                return None;
            }
            (last_date, last_at) = (Some(wall.date()), Some(at));
            let until = zone
                .instant(wall.date().and_time(CATCH_UP_UNTIL))
                .max(at + LATE_CATCH_UP);
            Some(Due {
                date: wall.date(),
                at,
                until,
            })
        })
        .filter(move |due| due.at > after)
}

/// Wall-clock times after `start`, all read as if the farm kept UTC.
fn wall_times(letter: &LetterTime, start: DateTime<Utc>) -> Box<dyn Iterator<Item = NaiveDateTime>> {
    match letter {
        LetterTime::Daily(time) => {
            let time = *time;
            let days = start.date_naive().iter_days();
            Box::new(
                days.map(move |day| day.and_time(time))
                    .filter(move |wall| *wall > start.naive_utc()),
            )
        }
        LetterTime::Cron(text) => match Schedule::from_str(text) {
            Ok(schedule) => Box::new(schedule.after_owned(start).map(|wall| wall.naive_utc())),
            // A text that was checked cannot fail here; one that was not never fires.
            Err(_) => Box::new(std::iter::empty()),
        },
    }
}

/// What is wrong with a cron text.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CronMistake {
    /// Nothing there.
    #[error(
        "the schedule is empty; write six fields: second minute hour day month weekday, such as \"0 30 5 * * MON-FRI\""
    )]
    Empty,
    /// Five fields, as the classic cron has.
    #[error(
        "{found} fields where six are wanted: second minute hour day month weekday; put \"0 \" in front of a five-field text"
    )]
    Fields {
        /// How many there are.
        found: usize,
    },
    /// A weekday as a number, which two conventions count differently.
    #[error("weekday \"{found}\": write names (MON, MON-FRI, SAT,SUN) or *, since numbers are counted in two ways")]
    WeekdayNumber {
        /// The field.
        found: String,
    },
    /// Not readable.
    #[error("\"{found}\" is not a schedule; six fields are wanted: second minute hour day month weekday")]
    Unreadable {
        /// The text.
        found: String,
    },
    /// Never comes true.
    #[error("\"{found}\" has no run in the year to come; check day and month")]
    Never {
        /// The text.
        found: String,
    },
}

/// Reads a cron text: six or seven fields, weekdays by name, at least one run in the year after `now`.
pub fn read_cron(text: &str, now: DateTime<Utc>) -> Result<LetterTime, CronMistake> {
    let text = text.trim();
    let fields: Vec<&str> = text.split_whitespace().collect();
    if fields.is_empty() {
        return Err(CronMistake::Empty);
    }
    if !text.starts_with('@') {
        if !matches!(fields.len(), 6 | 7) {
            return Err(CronMistake::Fields { found: fields.len() });
        }
        if let Some(weekday) = fields
            .get(5)
            .filter(|field| field.chars().any(|sign| sign.is_ascii_digit()))
        {
            return Err(CronMistake::WeekdayNumber {
                found: (*weekday).to_owned(),
            });
        }
    }
    let Ok(schedule) = Schedule::from_str(text) else {
        return Err(CronMistake::Unreadable { found: text.to_owned() });
    };
    if schedule
        .after_owned(now)
        .next()
        .is_none_or(|first| first > now + TimeDelta::days(366))
    {
        return Err(CronMistake::Never { found: text.to_owned() });
    }
    Ok(LetterTime::Cron(text.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utc(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn daily(hour: u32, minute: u32) -> LetterTime {
        LetterTime::Daily(NaiveTime::from_hms_opt(hour, minute, 0).unwrap())
    }

    /// Six zones with gaps and folds of an hour and of half an hour, by day, at midnight and before it.
    const ZONES: [&str; 6] = [
        "Europe/Rome",
        "America/New_York",
        "Pacific/Auckland",
        "America/Santiago",
        "Australia/Lord_Howe",
        "America/Nuuk",
    ];

    #[test]
    fn each_local_date_has_exactly_one_letter_in_six_zones_over_a_year() {
        // The year holds 29 February 2028, the turn of the year and ISO week 53 of 2026.
        for name in ZONES {
            let zone = Zone::named(name).unwrap();
            for begin in [utc("2026-12-20T00:00:00Z"), utc("2027-06-15T12:00:00Z")] {
                for (hour, minute) in [(0, 30), (1, 45), (2, 15), (2, 30), (5, 30), (23, 30)] {
                    for letter in [
                        daily(hour, minute),
                        LetterTime::Cron(format!("0 {minute} {hour} * * *")),
                    ] {
                        let dues: Vec<Due> = runs(&letter, &zone, begin).take(366).collect();
                        for pair in dues.windows(2) {
                            assert_eq!(pair[1].date, pair[0].date.succ_opt().unwrap(), "{name} {hour}:{minute}");
                            assert!(pair[0].at < pair[1].at, "{name} {hour}:{minute} {pair:?}");
                        }
                        for due in &dues {
                            let set = due.date.and_hms_opt(hour, minute, 0).unwrap();
                            let late = zone.local(due.at) - set;
                            let gap = if zone.is_missing(set) {
                                TimeDelta::minutes(60)
                            } else {
                                TimeDelta::zero()
                            };
                            assert!(
                                late == gap || (name.ends_with("Lord_Howe") && late == gap / 2),
                                "{name} {due:?} {late}"
                            );
                        }
                    }
                }
            }
        }
    }

    /// The table of printed instants: IANA rules for 2027 (Rome, Santiago, Lord Howe).
    #[test]
    fn a_missing_time_runs_after_the_gap_and_a_doubled_one_at_its_first() {
        for (name, hour, minute, after, first) in [
            ("Europe/Rome", 2, 30, "2027-03-27T12:00:00Z", "2027-03-28T01:30:00Z"),
            ("Europe/Rome", 2, 30, "2027-10-30T12:00:00Z", "2027-10-31T00:30:00Z"),
            (
                "America/Santiago",
                0,
                30,
                "2027-09-04T12:00:00Z",
                "2027-09-05T04:30:00Z",
            ),
            (
                "Australia/Lord_Howe",
                2,
                15,
                "2027-10-02T12:00:00Z",
                "2027-10-02T15:45:00Z",
            ),
        ] {
            let zone = Zone::named(name).unwrap();
            let cron = LetterTime::Cron(format!("0 {minute} {hour} * * *"));
            assert_eq!(next_runs(&cron, &zone, utc(after), 1), [utc(first)], "{name}");
            assert_eq!(
                next_runs(&daily(hour, minute), &zone, utc(after), 1),
                [utc(first)],
                "{name}"
            );
        }
    }

    #[test]
    fn several_times_a_day_still_mean_one_letter_a_date() {
        let zone = Zone::named("Europe/Rome").unwrap();
        let letter = LetterTime::Cron("0 */30 1-6 * * *".to_owned());
        let runs = next_runs(&letter, &zone, utc("2027-10-30T12:00:00Z"), 2);
        assert_eq!(runs, [utc("2027-10-30T23:00:00Z"), utc("2027-11-01T00:00:00Z")]);
    }

    #[test]
    fn a_letter_is_caught_up_until_noon_and_not_later() {
        let zone = Zone::named("Europe/Rome").unwrap();
        let letter = daily(5, 30);
        assert_eq!(
            due_now(&letter, &zone, utc("2027-03-28T03:29:00Z")),
            None,
            "05:29, and yesterday's is over"
        );
        let due = due_now(&letter, &zone, utc("2027-03-28T09:59:00Z")).unwrap();
        assert_eq!(
            (due.date.to_string().as_str(), due.at),
            ("2027-03-28", utc("2027-03-28T03:30:00Z"))
        );
        assert_eq!(due_now(&letter, &zone, utc("2027-03-28T10:00:00Z")), None);
        let evening = daily(17, 0);
        assert!(due_now(&evening, &zone, utc("2027-07-01T16:30:00Z")).is_some());
        assert!(due_now(&evening, &zone, utc("2027-07-01T17:01:00Z")).is_none());
    }

    #[test]
    fn missed_dates_are_named_and_today_is_not_missed_before_noon() {
        let zone = Zone::named("Europe/Rome").unwrap();
        let letter = LetterTime::Cron("0 30 5 * * MON-FRI".to_owned());
        let missed = |now: &str| {
            let dates = missed(&letter, &zone, "2026-03-05".parse().unwrap(), utc(now));
            dates.iter().map(ToString::to_string).collect::<Vec<_>>()
        };
        assert_eq!(missed("2026-03-10T10:00:00Z"), ["2026-03-06", "2026-03-09"]);
        assert_eq!(
            missed("2026-03-10T11:00:00Z"),
            ["2026-03-06", "2026-03-09", "2026-03-10"]
        );
        assert_eq!(missed("2026-03-05T23:00:00Z"), [""; 0]);
    }

    proptest::proptest! {
        #[test]
        fn nobody_is_asked_at_the_full_hour(start in 0_i64..86_400, minutes in 5_u32..600, luck in -1.0..1.0_f64) {
            let now = utc("2026-03-10T00:00:00Z") + TimeDelta::seconds(start);
            let next = next_pull(now, minutes, luck);
            let into_hour = next.timestamp().rem_euclid(3600);
            assert!((120..3480).contains(&into_hour), "{next}");
            let waited = (next - now).num_minutes();
            assert!(waited >= i64::from(minutes) * 9 / 10 - 1 && waited <= i64::from(minutes) * 11 / 10 + 7, "{waited}");
        }
    }

    #[test]
    fn a_schedule_that_is_unclear_or_never_fires_is_refused() {
        let now = utc("2026-03-10T00:00:00Z");
        let mistake = |text: &str| read_cron(text, now).unwrap_err();
        assert_eq!(mistake("  "), CronMistake::Empty);
        assert_eq!(mistake("30 5 * * *"), CronMistake::Fields { found: 5 });
        assert!(matches!(mistake("0 30 5 * * 1"), CronMistake::WeekdayNumber { .. }));
        assert!(matches!(mistake("0 30 5 30 2 *"), CronMistake::Never { .. }));
        assert!(matches!(mistake("0 99 5 * * *"), CronMistake::Unreadable { .. }));
        assert!(matches!(mistake("@every 5m"), CronMistake::Unreadable { .. }));
        assert_eq!(
            read_cron(" 0 30 5 * * MON-FRI ", now).unwrap(),
            LetterTime::Cron("0 30 5 * * MON-FRI".to_owned())
        );
    }
}
