//! Age of the data and standing troubles, for `covercast status`.

use chrono::{DateTime, Utc};
use rusqlite::OptionalExtension;

use super::fault::Fault;
use super::packed::Packed;
use super::{Store, seconds, time};
use crate::farm::FarmId;
use crate::weather::warning::Warned;

/// One service as last asked.
#[derive(Debug, Clone, PartialEq)]
pub struct Feed {
    /// Its name in the service file.
    pub service: String,
    /// Issue of the forecast at hand; its age counts from here.
    pub issued: Option<DateTime<Utc>>,
    /// When it was fetched.
    pub fetched: Option<DateTime<Utc>>,
    /// What is wrong now, if anything.
    pub fault: Option<String>,
    /// Since when.
    pub fault_since: Option<DateTime<Utc>>,
    /// When it may be asked again, for the round to come; not kept.
    pub next_try: Option<DateTime<Utc>>,
    /// The forecast at hand for the archive; never read back with the rest.
    pub packed: Option<Packed>,
    /// The warnings it gave, for the register; never read back with the rest.
    pub warned: Option<Warned>,
}

/// Something a person should look at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// With what: "mail", "farm larkrise".
    pub thing: String,
    /// What, in a sentence.
    pub text: String,
    /// Since when.
    pub since: DateTime<Utc>,
}

impl Store {
    /// Remembers what came of asking a service. A fault keeps the issue and the fetch time of the last good reply,
    /// and the time at which the fault began.
    pub fn note_feed(&self, farm: &FarmId, feed: &Feed, now: DateTime<Utc>) -> Result<(), Fault> {
        self.connection.execute(
            "insert into feed (farm, service, issued, fetched, fault, fault_since) values (?1, ?2, ?3, ?4, ?5, ?6)
             on conflict (farm, service) do update set
                issued = coalesce(excluded.issued, issued),
                fetched = coalesce(excluded.fetched, fetched),
                fault = excluded.fault,
                fault_since = case when excluded.fault is null then null else coalesce(fault_since, excluded.fault_since) end",
            (
                &farm.0,
                &feed.service,
                feed.issued.map(seconds),
                feed.fetched.map(seconds),
                &feed.fault,
                feed.fault.as_ref().map(|_| seconds(feed.fault_since.unwrap_or(now))),
            ),
        )?;
        Ok(())
    }

    /// The services of a farm.
    pub fn feeds(&self, farm: &FarmId) -> Result<Vec<Feed>, Fault> {
        let mut statement = self.connection.prepare(
            "select service, issued, fetched, fault, fault_since from feed where farm = ?1 order by service",
        )?;
        let rows = statement.query_map([&farm.0], |row| {
            let at = |column: usize| row.get::<_, Option<i64>>(column).map(|found| found.map(time));
            Ok(Feed {
                service: row.get(0)?,
                issued: at(1)?,
                fetched: at(2)?,
                fault: row.get(3)?,
                fault_since: at(4)?,
                next_try: None,
                packed: None,
                warned: None,
            })
        })?;
        rows.map(|row| row.map_err(Fault::from)).collect()
    }

    /// Remembers a trouble; `true` if it is new or reads differently, so that it is logged once.
    pub fn raise(&self, thing: &str, text: &str, now: DateTime<Utc>) -> Result<bool, Fault> {
        let before: Option<String> = self
            .connection
            .query_row("select text from trouble where thing = ?1", [thing], |row| row.get(0))
            .optional()?;
        self.connection.execute(
            "insert into trouble (thing, text, since) values (?1, ?2, ?3)
             on conflict (thing) do update set text = excluded.text",
            (thing, text, seconds(now)),
        )?;
        Ok(before.as_deref() != Some(text))
    }

    /// Forgets a trouble that is over; `true` if there was one.
    pub fn settle(&self, thing: &str) -> Result<bool, Fault> {
        Ok(self
            .connection
            .execute("delete from trouble where thing = ?1", [thing])?
            > 0)
    }

    /// All troubles, the oldest first.
    pub fn troubles(&self) -> Result<Vec<Trouble>, Fault> {
        let mut statement = self
            .connection
            .prepare("select thing, text, since from trouble order by since, thing")?;
        let rows = statement.query_map([], |row| {
            Ok(Trouble {
                thing: row.get(0)?,
                text: row.get(1)?,
                since: time(row.get(2)?),
            })
        })?;
        rows.map(|row| row.map_err(Fault::from)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_keeps_the_age_of_the_last_good_forecast_and_its_own_beginning() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).unwrap();
        let farm = FarmId("larkrise".to_owned());
        let at = |hour: u32| format!("2026-03-10T{hour:02}:00:00Z").parse::<DateTime<Utc>>().unwrap();
        let good = Feed {
            service: "first".to_owned(),
            issued: Some(at(0)),
            fetched: Some(at(3)),
            fault: None,
            fault_since: None,
            next_try: None,
            packed: None,
            warned: None,
        };
        let bad = Feed {
            issued: None,
            fetched: None,
            fault: Some("no answer".to_owned()),
            ..good.clone()
        };
        store.note_feed(&farm, &good, at(3)).unwrap();
        store.note_feed(&farm, &bad, at(4)).unwrap();
        store.note_feed(&farm, &bad, at(5)).unwrap();
        let found = store.feeds(&farm).unwrap().remove(0);
        assert_eq!(
            (found.issued, found.fetched, found.fault_since),
            (Some(at(0)), Some(at(3)), Some(at(4)))
        );
        store.note_feed(&farm, &good, at(6)).unwrap();
        assert_eq!(store.feeds(&farm).unwrap(), [good]);
    }

    #[test]
    fn a_standing_trouble_is_told_once() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).unwrap();
        let at: DateTime<Utc> = "2026-03-10T00:00:00Z".parse().unwrap();
        assert!(store.raise("mail", "535", at).unwrap());
        assert!(!store.raise("mail", "535", at + chrono::TimeDelta::hours(1)).unwrap());
        assert_eq!(store.troubles().unwrap()[0].since, at);
        assert!(store.settle("mail").unwrap());
        assert!(!store.settle("mail").unwrap());
    }
}
