//! Forecasts kept for later learning, and for the past of the next days.
//!
//! Members are kept of one issue a day, the one the letter was decided from; of the others for 14 days. Single
//! forecasts are kept whole. Nothing stays longer than 400 days.

use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::Transaction;

use super::fault::Fault;
use super::packed::Packed;
use super::{Store, seconds, time};
use crate::farm::FarmId;

/// How long the letter's members and single forecasts are kept.
const KEPT: TimeDelta = TimeDelta::days(400);
/// How long members are kept that no letter was decided from.
const OTHERS_KEPT: TimeDelta = TimeDelta::days(14);
/// Most rows taken away at once, so that nobody waits for it.
const AT_ONCE: u32 = 200;

/// How much is in the archive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ArchiveSize {
    /// Forecasts.
    pub forecasts: u64,
    /// Their bytes, packed.
    pub bytes: u64,
}

impl Store {
    /// Keeps a forecast; one of that service and issue that is there already stays as it is.
    pub fn keep(&self, farm: &FarmId, packed: &Packed) -> Result<(), Fault> {
        self.connection.execute(
            "insert into forecast (farm, service, issued, fetched, members, body) values (?1, ?2, ?3, ?4, ?5, ?6)
             on conflict (farm, service, issued) do nothing",
            (
                &farm.0,
                &packed.service,
                seconds(packed.issued),
                seconds(packed.fetched),
                packed.members,
                &packed.body,
            ),
        )?;
        Ok(())
    }

    /// Forecasts of a farm issued since then, the oldest first.
    pub fn kept_since(&self, farm: &FarmId, since: DateTime<Utc>) -> Result<Vec<Packed>, Fault> {
        if !self.knows("forecast")? {
            return Ok(Vec::new());
        }
        let mut statement = self.connection.prepare(
            "select service, issued, fetched, members, body from forecast where farm = ?1 and issued >= ?2
             order by issued, service",
        )?;
        let rows = statement.query_map((&farm.0, seconds(since)), |row| {
            Ok(Packed {
                service: row.get(0)?,
                issued: time(row.get(1)?),
                fetched: time(row.get(2)?),
                members: row.get(3)?,
                body: row.get(4)?,
            })
        })?;
        rows.map(|row| row.map_err(Fault::from)).collect()
    }

    /// How much a farm has in the archive.
    pub fn archive_size(&self, farm: &FarmId) -> Result<ArchiveSize, Fault> {
        if !self.knows("forecast")? {
            return Ok(ArchiveSize::default());
        }
        let (forecasts, bytes): (i64, i64) = self.connection.query_row(
            "select count(*), coalesce(sum(length(body)), 0) from forecast where farm = ?1",
            [&farm.0],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        Ok(ArchiveSize {
            forecasts: forecasts.unsigned_abs(),
            bytes: bytes.unsigned_abs(),
        })
    }

    /// Takes away what has been kept long enough, in small steps; how many are gone.
    pub fn prune_archive(&self, now: DateTime<Utc>) -> Result<usize, Fault> {
        Ok(self.connection.execute(
            "delete from forecast where id in (select id from forecast
             where issued < ?1 or (members and not letter and issued < ?2) limit ?3)",
            (seconds(now - KEPT), seconds(now - OTHERS_KEPT), AT_ONCE),
        )?)
    }

    /// Whether the database has that table; one of an older program that is only looked at may not.
    pub(super) fn knows(&self, table: &str) -> Result<bool, Fault> {
        let mut statement = self
            .connection
            .prepare("select 1 from sqlite_schema where type = 'table' and name = ?1")?;
        Ok(statement.exists([table])?)
    }
}

/// Marks the forecasts a letter was decided from, in the letter's own step.
pub(super) fn mark(
    step: &Transaction<'_>,
    farm: &FarmId,
    forecasts: &[(String, DateTime<Utc>)],
) -> Result<(), rusqlite::Error> {
    for (service, issued) in forecasts {
        step.execute(
            "update forecast set letter = 1 where farm = ?1 and service = ?2 and issued = ?3",
            (&farm.0, service, seconds(*issued)),
        )?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(day: i64) -> DateTime<Utc> {
        "2026-01-01T00:00:00Z".parse::<DateTime<Utc>>().unwrap() + TimeDelta::days(day)
    }

    fn packed(service: &str, day: i64, members: bool) -> Packed {
        Packed {
            service: service.to_owned(),
            issued: at(day),
            fetched: at(day),
            members,
            body: vec![1, 2, 3],
        }
    }

    #[test]
    fn other_members_stay_a_fortnight_and_all_else_four_hundred_days() {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        let farm = FarmId("larkrise".to_owned());
        for day in [0, 1] {
            store.keep(&farm, &packed("ensemble", day, true)).unwrap();
            store.keep(&farm, &packed("forecast", day, false)).unwrap();
        }
        store.keep(&farm, &packed("ensemble", 1, true)).unwrap();
        let step = store.connection.transaction().unwrap();
        mark(&step, &farm, &[("ensemble".to_owned(), at(1))]).unwrap();
        step.commit().unwrap();
        let left = |store: &Store| -> Vec<(String, DateTime<Utc>)> {
            let all = store.kept_since(&farm, at(-1)).unwrap();
            all.into_iter().map(|one| (one.service, one.issued)).collect()
        };
        assert_eq!(store.prune_archive(at(10)).unwrap(), 0);
        assert_eq!(store.archive_size(&farm).unwrap().forecasts, 4);
        assert_eq!(store.prune_archive(at(20)).unwrap(), 1);
        assert_eq!(
            left(&store),
            [
                ("forecast".to_owned(), at(0)),
                ("ensemble".to_owned(), at(1)),
                ("forecast".to_owned(), at(1))
            ]
        );
        assert_eq!(store.prune_archive(at(402)).unwrap(), 3);
        assert_eq!(store.archive_size(&farm).unwrap(), ArchiveSize::default());
    }
}
