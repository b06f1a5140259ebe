//! What stations measured, kept for the past of the coming letters.

use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::TransactionBehavior;

use super::fault::Fault;
use super::{Store, seconds, time};
use crate::weather::reading::{Measured, Reading};
use crate::weather::{Told, Valid};

/// How long readings are kept.
const KEPT: TimeDelta = TimeDelta::days(14);
/// Most rows taken away at once.
const AT_ONCE: u32 = 20_000;

impl Store {
    /// Keeps readings of a station. Of one minute the last counts, of gusts the largest.
    pub fn note_readings(&mut self, station: &str, readings: &[Reading]) -> Result<(), Fault> {
        let step = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        {
            let mut statement = step.prepare(
                "insert into reading (station, measured, begins, ends, value, received) values (?1, ?2, ?3, ?4, ?5, ?6)
                 on conflict (station, measured, ends, begins) do update set
                    value = case when measured = 'gust' and value > excluded.value then value else excluded.value end,
                    received = excluded.received",
            )?;
            for reading in readings {
                let (begins, ends) = match reading.told.valid {
                    Valid::At(at) => (minute(at), minute(at)),
                    Valid::Over { from, to } => (minute(from), minute(to)),
                };
                statement.execute((
                    station,
                    reading.measured.name(),
                    begins,
                    ends,
                    reading.told.value,
                    seconds(reading.received),
                ))?;
            }
        }
        step.commit()?;
        Ok(())
    }

    /// Readings of a station since then, in order of time.
    pub fn readings(&self, station: &str, since: DateTime<Utc>) -> Result<Vec<Reading>, Fault> {
        if !self.knows("reading")? {
            return Ok(Vec::new());
        }
        let mut statement = self.connection.prepare(
            "select measured, begins, ends, value, received from reading where station = ?1 and ends >= ?2
             order by ends, begins",
        )?;
        let rows = statement.query_map((station, seconds(since)), |row| {
            let (begins, ends) = (time(row.get(1)?), time(row.get(2)?));
            let valid = if begins == ends {
                Valid::At(ends)
            } else {
                Valid::Over { from: begins, to: ends }
            };
            let told = Told {
                valid,
                value: row.get(3)?,
            };
            Ok((row.get::<_, String>(0)?, told, time(row.get(4)?)))
        })?;
        let mut readings = Vec::new();
        for row in rows {
            let (name, told, received) = row?;
            let Some(measured) = Measured::named(&name) else {
                return Err(Fault::Unreadable {
                    what: "a reading",
                    detail: format!("\"{name}\" is nothing a station measures"),
                });
            };
            readings.push(Reading {
                measured,
                told,
                received,
            });
        }
        Ok(readings)
    }

    /// Takes away what is older than the past of any letter; how many are gone.
    pub fn prune_readings(&self, now: DateTime<Utc>) -> Result<usize, Fault> {
        Ok(self.connection.execute(
            "delete from reading where (station, measured, ends, begins) in
             (select station, measured, ends, begins from reading where ends < ?1 limit ?2)",
            (seconds(now - KEPT), AT_ONCE),
        )?)
    }
}

fn minute(at: DateTime<Utc>) -> i64 {
    let second = seconds(at);
    second - second.rem_euclid(60)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn readings_survive_a_restart_and_the_largest_gust_of_a_minute_counts() {
        let folder = tempfile::tempdir().unwrap();
        let at: DateTime<Utc> = "2026-03-10T05:20:00Z".parse().unwrap();
        let reading = |measured, second: i64, value| Reading {
            measured,
            told: Told {
                valid: Valid::At(at + TimeDelta::seconds(second)),
                value,
            },
            received: at,
        };
        let rain = Reading {
            told: Told {
                valid: Valid::before(at, 1),
                value: Some(0.2),
            },
            ..reading(Measured::Rain, 0, None)
        };
        let mut store = Store::open(folder.path()).unwrap();
        let all = [
            reading(Measured::Gust, 0, Some(9.0)),
            reading(Measured::Gust, 16, Some(7.0)),
            reading(Measured::Wind, 0, Some(3.0)),
            reading(Measured::Wind, 16, None),
            rain,
        ];
        store.note_readings("mast", &all).unwrap();
        drop(store);
        let store = Store::open(folder.path()).unwrap();
        let found = store.readings("mast", at - TimeDelta::hours(2)).unwrap();
        let of = |measured| found.iter().find(|reading| reading.measured == measured).unwrap();
        assert_eq!(found.len(), 3);
        assert_eq!(of(Measured::Gust).told.value, Some(9.0));
        assert_eq!(of(Measured::Wind).told.value, None);
        assert_eq!(of(Measured::Rain).told, rain.told);
        assert_eq!(store.prune_readings(at + TimeDelta::days(15)).unwrap(), 3);
    }
}
