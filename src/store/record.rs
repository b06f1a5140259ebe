//! Reports of the crew: added, never changed.

use chrono::{DateTime, Utc};

use super::fault::Fault;
use super::{Store, seconds, time};
use crate::farm::FarmId;
use crate::farm::block::{BlockId, Rows};
use crate::record::Entry;

impl Store {
    /// Adds a report.
    pub fn note(&self, farm: &FarmId, entry: &Entry) -> Result<(), Fault> {
        let event = serde_json::to_string(&entry.event).map_err(unreadable)?;
        self.connection.execute(
            "insert into record (farm, block, first_row, last_row, event, at, noted) values (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            (&farm.0, &entry.block.0, entry.rows.first, entry.rows.last, event, seconds(entry.at), seconds(entry.noted)),
        )?;
        Ok(())
    }

    /// All reports of a farm in the order in which they were written down.
    pub fn entries(&self, farm: &FarmId) -> Result<Vec<Entry>, Fault> {
        let mut statement = self.connection.prepare(
            "select block, first_row, last_row, event, at, noted from record where farm = ?1 order by noted, id",
        )?;
        let rows = statement.query_map([&farm.0], |row| {
            let (block, event): (String, String) = (row.get(0)?, row.get(3)?);
            let rows = Rows {
                first: row.get(1)?,
                last: row.get(2)?,
            };
            Ok((BlockId(block), rows, event, time(row.get(4)?), time(row.get(5)?)))
        })?;
        rows.map(|row| row.map_err(Fault::from).and_then(read)).collect()
    }
}

fn read(
    (block, rows, event, at, noted): (BlockId, Rows, String, DateTime<Utc>, DateTime<Utc>),
) -> Result<Entry, Fault> {
    let event = serde_json::from_str(&event).map_err(unreadable)?;
    Ok(Entry {
        block,
        rows,
        event,
        at,
        noted,
    })
}

#[expect(clippy::needless_pass_by_value, reason = "the form map_err wants")]
fn unreadable(error: serde_json::Error) -> Fault {
    Fault::Unreadable {
        what: "record",
        detail: error.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{Event, Face};

    #[test]
    fn what_was_reported_is_read_back_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).unwrap();
        let farm = FarmId("larkrise".to_owned());
        let at: DateTime<Utc> = "2026-03-10T02:00:00Z".parse().unwrap();
        let entry = |event, minutes| Entry {
            block: BlockId("Creek".to_owned()),
            rows: Rows { first: 1, last: 12 },
            event,
            at,
            noted: at + chrono::TimeDelta::minutes(minutes),
        };
        let events = [
            Event::Laid,
            Event::Lifted { wet: true },
            Event::Dry { face: Face::Underside },
        ];
        let written: Vec<Entry> = events
            .into_iter()
            .zip(0..)
            .map(|(event, minutes)| entry(event, minutes))
            .collect();
        for entry in &written {
            store.note(&farm, entry).unwrap();
        }
        assert_eq!(store.entries(&farm).unwrap(), written);
        assert_eq!(store.entries(&FarmId("other".to_owned())).unwrap(), []);
    }
}
