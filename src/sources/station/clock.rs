//! Time stamps of stations.
//!
//! A stamp without zone means nothing by itself: the service file names the zone. The hour that comes twice in
//! autumn is told apart by the order in which lines stand or messages come.

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};

use crate::farm::zone::Zone;

/// How a station writes the time.
#[derive(Debug, Clone, PartialEq)]
pub struct Clock {
    /// The form.
    pub form: Form,
    /// Zone of a form without one.
    pub zone: Option<Zone>,
}

/// Form of a time stamp.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Form {
    /// RFC 3339, with its offset.
    Rfc3339,
    /// Seconds since 1970.
    UnixSeconds,
    /// Milliseconds since 1970.
    UnixMillis,
    /// Text in parts as `%d.%m.%Y %H:%M`.
    Parts(String),
}

/// Which of two possible instants is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Nearby {
    /// Nothing is known: the first one.
    Unknown,
    /// The first one not before this: lines in order of time.
    After(DateTime<Utc>),
    /// The last one not after this: lines with the newest first.
    Before(DateTime<Utc>),
    /// The one nearest to this: a message and its receipt.
    Close(DateTime<Utc>),
}

/// Lengths by which clocks are set back.
const SET_BACK: [TimeDelta; 2] = [TimeDelta::hours(1), TimeDelta::minutes(30)];

impl Form {
    /// Whether the form itself tells the zone.
    pub fn has_zone(&self) -> bool {
        match self {
            Self::Rfc3339 | Self::UnixSeconds | Self::UnixMillis => true,
            Self::Parts(parts) => ["%z", "%:z", "%#z", "%+"].iter().any(|part| parts.contains(part)),
        }
    }
}

impl Clock {
    /// Reads a stamp; `None` if it is none, or names a local time that does not exist.
    pub fn read(&self, text: &str, nearby: Nearby) -> Option<DateTime<Utc>> {
        let text = text.trim();
        if text.len() > 64 {
            return None;
        }
        match &self.form {
            Form::Rfc3339 => DateTime::parse_from_rfc3339(text).ok().map(|at| at.to_utc()),
            Form::UnixSeconds => {
                let whole = text.split('.').next().unwrap_or_default();
                DateTime::from_timestamp(whole.parse().ok()?, 0)
            }
            Form::UnixMillis => DateTime::from_timestamp_millis(text.parse().ok()?),
            Form::Parts(parts) if self.form.has_zone() => {
                DateTime::parse_from_str(text, parts).ok().map(|at| at.to_utc())
            }
            Form::Parts(parts) => {
                let local = NaiveDateTime::parse_from_str(text, parts).ok()?;
                self.instant(local, nearby)
            }
        }
    }

    fn instant(&self, local: NaiveDateTime, nearby: Nearby) -> Option<DateTime<Utc>> {
        let zone = self.zone.as_ref()?;
        let first = zone.instant(local);
        if zone.local(first) != local {
            return None;
        }
        let second = SET_BACK
            .into_iter()
            .map(|back| first + back)
            .find(|second| zone.local(*second) == local);
        let Some(second) = second else { return Some(first) };
        Some(match nearby {
            Nearby::Unknown => first,
            Nearby::After(earliest) if first < earliest => second,
            Nearby::After(_) => first,
            Nearby::Before(latest) if second > latest => first,
            Nearby::Before(_) => second,
            Nearby::Close(to) if (second - to).abs() < (first - to).abs() => second,
            Nearby::Close(_) => first,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn zurich() -> Clock {
        Clock {
            form: Form::Parts("%d.%m.%Y %H:%M".to_owned()),
            zone: Zone::named("Europe/Zurich"),
        }
    }

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    #[test]
    fn the_hour_that_comes_twice_is_told_apart_by_the_order_of_lines() {
        // IANA tz database: Zurich's clocks go back on 2026-10-25 at 03:00 to 02:00.
        let clock = zurich();
        let mut last = at("2026-10-25T00:00:00Z");
        let mut found = Vec::new();
        for text in ["02:30", "02:50", "02:10", "02:30", "03:00"] {
            last = clock.read(&format!("25.10.2026 {text}"), Nearby::After(last)).unwrap();
            found.push(last.format("%H:%M").to_string());
        }
        assert_eq!(found, ["00:30", "00:50", "01:10", "01:30", "02:00"]);
        let newest = clock
            .read("25.10.2026 02:30", Nearby::Before(at("2026-10-25T02:00:00Z")))
            .unwrap();
        assert_eq!(newest, at("2026-10-25T01:30:00Z"));
        let received = clock
            .read("25.10.2026 02:30", Nearby::Close(at("2026-10-25T01:30:20Z")))
            .unwrap();
        assert_eq!(received, at("2026-10-25T01:30:00Z"));
    }

    #[test]
    fn a_local_time_that_does_not_exist_is_no_time() {
        assert_eq!(zurich().read("29.03.2026 02:30", Nearby::Unknown), None);
        assert!(zurich().read("29.03.2026 03:30", Nearby::Unknown).is_some());
    }

    #[test]
    fn a_clock_without_zone_is_not_read() {
        let clock = Clock { zone: None, ..zurich() };
        assert_eq!(clock.read("25.10.2026 12:30", Nearby::Unknown), None);
        assert!(!clock.form.has_zone());
    }

    #[test]
    fn stamps_with_their_own_zone_need_none() {
        let read = |form: Form, text: &str| Clock { form, zone: None }.read(text, Nearby::Unknown);
        let noon = Some(at("2026-03-10T12:00:00Z"));
        assert_eq!(read(Form::Rfc3339, "2026-03-10T13:00:00+01:00"), noon);
        assert_eq!(read(Form::UnixSeconds, "1773144000"), noon);
        assert_eq!(read(Form::UnixMillis, "1773144000000"), noon);
        assert_eq!(
            read(
                Form::Parts("%Y-%m-%d %H:%M:%S %z".to_owned()),
                "2026-03-10 13:00:00 +0100"
            ),
            noon
        );
        for wrong in ["now", "", "1e9", "99999999999999999999", "2026-02-30T00:00:00Z"] {
            assert_eq!(read(Form::Rfc3339, wrong), None);
            assert_eq!(read(Form::UnixSeconds, wrong), None);
        }
    }
}
