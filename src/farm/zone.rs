//! Local days and clock times in the site's named zone: the only place that knows offsets.
//!
//! Inside the program every instant is UTC. At a clock change a missing local time moves on by the
//! length of the gap (02:30 runs at 03:30) and a doubled one means its first occurrence.

use chrono::{DateTime, Datelike, NaiveDate, NaiveDateTime, NaiveTime, Timelike, Utc};
use jiff::civil;
use jiff::tz::TimeZone;

/// A named zone of the IANA database.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Zone {
    zone: TimeZone,
    name: String,
}

impl Zone {
    /// The zone called `name` in the bundled data; `None` if there is none of that name.
    pub fn named(name: &str) -> Option<Self> {
        let zone = jiff::tz::TimeZoneDatabase::bundled().get(name).ok()?;
        let name = zone.iana_name()?.to_owned();
        Some(Self { zone, name })
    }

    /// The zone called `name` from compiled zone data, such as the system's newer file.
    pub fn from_data(name: &str, data: &[u8]) -> Option<Self> {
        Some(Self {
            zone: TimeZone::tzif(name, data).ok()?,
            name: name.to_owned(),
        })
    }

    /// Name in the IANA database.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Wall clock at an instant.
    pub fn local(&self, at: DateTime<Utc>) -> NaiveDateTime {
        let timestamp = jiff::Timestamp::from_second(at.timestamp()).unwrap_or(jiff::Timestamp::UNIX_EPOCH);
        let offset = self.zone.to_offset(timestamp).seconds();
        at.naive_utc() + chrono::TimeDelta::seconds(i64::from(offset))
    }

    /// Local calendar day of an instant.
    pub fn day(&self, at: DateTime<Utc>) -> NaiveDate {
        self.local(at).date()
    }

    /// The instant of a wall-clock time; a missing one moves on by the gap, a doubled one is the first.
    pub fn instant(&self, local: NaiveDateTime) -> DateTime<Utc> {
        let civil = to_civil(local);
        self.zone
            .to_ambiguous_timestamp(civil)
            .compatible()
            .ok()
            .and_then(|timestamp| DateTime::from_timestamp(timestamp.as_second(), 0))
            .unwrap_or_else(|| local.and_utc())
    }

    /// The instant a local day begins (00:00, or the end of a gap that swallows midnight).
    pub fn day_start(&self, day: NaiveDate) -> DateTime<Utc> {
        self.instant(day.and_time(NaiveTime::MIN))
    }

    /// Noon of that day on the clock without summer time: the lesser offset of January and July.
    pub fn standard_noon(&self, day: NaiveDate) -> DateTime<Utc> {
        let noon = day.and_time(NaiveTime::MIN) + chrono::TimeDelta::hours(12);
        let ahead = [1, 7].into_iter().filter_map(|month| {
            let at = NaiveDate::from_ymd_opt(day.year(), month, 1)?
                .and_time(NaiveTime::MIN)
                .and_utc();
            Some(self.local(at) - at.naive_utc())
        });
        noon.and_utc() - ahead.min().unwrap_or_default()
    }

    /// Whether the wall-clock time does not exist on that day.
    pub fn is_missing(&self, local: NaiveDateTime) -> bool {
        matches!(
            self.zone.to_ambiguous_timestamp(to_civil(local)).offset(),
            jiff::tz::AmbiguousOffset::Gap { .. }
        )
    }
}

/// chrono's wall clock as jiff's, both without zone.
fn to_civil(local: NaiveDateTime) -> civil::DateTime {
    let small = |value: u32| i8::try_from(value).unwrap_or_default();
    civil::DateTime::new(
        i16::try_from(local.year()).unwrap_or_default(),
        small(local.month()),
        small(local.day()),
        small(local.hour()),
        small(local.minute()),
        small(local.second()),
        0,
    )
    .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> NaiveDateTime {
        text.parse().unwrap()
    }

    #[test]
    fn a_missing_time_moves_on_by_the_gap_and_a_doubled_one_is_its_first() {
        // IANA tz database 2026f: Rome changes on 2027-03-28 and 2027-10-31, Lord Howe by half an hour.
        let rome = Zone::named("Europe/Rome").unwrap();
        assert_eq!(
            rome.instant(at("2027-03-28T02:30:00")),
            "2027-03-28T01:30:00Z".parse::<DateTime<Utc>>().unwrap()
        );
        assert_eq!(
            rome.local("2027-03-28T01:30:00Z".parse().unwrap()),
            at("2027-03-28T03:30:00")
        );
        assert_eq!(
            rome.instant(at("2027-10-31T02:30:00")),
            "2027-10-31T00:30:00Z".parse::<DateTime<Utc>>().unwrap()
        );
        assert!(rome.is_missing(at("2027-03-28T02:30:00")));
        let lord_howe = Zone::named("Australia/Lord_Howe").unwrap();
        assert_eq!(
            lord_howe.local(lord_howe.instant(at("2027-10-03T02:15:00"))),
            at("2027-10-03T02:45:00")
        );
    }

    #[test]
    fn a_day_without_midnight_begins_when_it_begins() {
        let santiago = Zone::named("America/Santiago").unwrap();
        let start = santiago.day_start("2027-09-05".parse().unwrap());
        assert_eq!(santiago.local(start), at("2027-09-05T01:00:00"));
    }

    /// IANA tz database: Auckland is 12 h ahead without and 13 h with summer time.
    #[test]
    fn standard_noon_does_not_follow_summer_time() {
        let auckland = Zone::named("Pacific/Auckland").unwrap();
        for day in ["2026-01-10", "2026-07-10"] {
            let noon = auckland.standard_noon(day.parse().unwrap());
            assert_eq!(noon.naive_utc(), at(&format!("{day}T00:00:00")), "{day}");
        }
    }

    #[test]
    fn an_unknown_name_is_no_zone() {
        assert!(Zone::named("Europe/Nowhere").is_none());
    }
}
