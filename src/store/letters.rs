//! Letters as decided, and which jobs are done on which local date.

use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::{OptionalExtension, Row, Transaction, TransactionBehavior};

use super::fault::Fault;
use super::outbox::{self, Parcel};
use super::{Store, archive, seconds, time};
use crate::farm::FarmId;

/// Number of a letter, counted up for each farm from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Number(pub u32);

/// Prints as the reader sees it: `L-0001`.
impl std::fmt::Display for Number {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "L-{:04}", self.0)
    }
}

impl std::str::FromStr for Number {
    type Err = ();

    /// Reads `L-0001`, also without the letter or the zeros.
    fn from_str(text: &str) -> Result<Self, ()> {
        let digits = text.trim().trim_start_matches(['L', 'l']).trim_start_matches('-');
        digits.parse().map(Self).map_err(|_| ())
    }
}

/// Which letter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LetterId {
    /// Of which farm.
    pub farm: FarmId,
    /// Which one.
    pub number: Number,
}

/// A letter to be stored with its messages.
#[derive(Debug, Clone, PartialEq)]
pub struct NewLetter {
    /// Whose and which; the number from [`Store::next_number`].
    pub id: LetterId,
    /// Kind of job, the key together with the date ("morning").
    pub kind: &'static str,
    /// Local date it is for.
    pub date: NaiveDate,
    /// Its subject.
    pub subject: String,
    /// Its text.
    pub text: String,
    /// The letter's facts, as `explain` prints them.
    pub facts: serde_json::Value,
    /// What it was decided from: age and names of the data, reports, settings.
    pub inputs: serde_json::Value,
    /// The forecasts it was decided from, by service and issue; they are kept longer than others.
    pub forecasts: Vec<(String, DateTime<Utc>)>,
    /// When it was decided.
    pub issued: DateTime<Utc>,
    /// Until when it may be acted on.
    pub valid_until: DateTime<Utc>,
}

/// A letter out of the database.
#[derive(Debug, Clone, PartialEq)]
pub struct Letter {
    /// Whose and which.
    pub id: LetterId,
    /// Kind of job.
    pub kind: String,
    /// Local date it is for.
    pub date: NaiveDate,
    /// Its subject.
    pub subject: String,
    /// Its text.
    pub text: String,
    /// Its facts.
    pub facts: serde_json::Value,
    /// What it was decided from.
    pub inputs: serde_json::Value,
    /// When it was decided.
    pub issued: DateTime<Utc>,
    /// Until when it may be acted on.
    pub valid_until: DateTime<Utc>,
}

/// What came of storing a letter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Committed {
    /// Stored, with so many messages to send; so many older ones are not sent any more.
    Stored {
        /// Messages waiting now.
        queued: usize,
        /// Messages of older letters dropped for it.
        superseded: usize,
    },
    /// That job had been done on that date; nothing was stored.
    DoneBefore,
}

impl Store {
    /// The number the next letter of a farm gets.
    pub fn next_number(&self, farm: &FarmId) -> Result<Number, Fault> {
        let last: u32 = self.connection.query_row(
            "select coalesce(max(number), 0) from letter where farm = ?1",
            [&farm.0],
            |row| row.get(0),
        )?;
        Ok(Number(last.saturating_add(1)))
    }

    /// Stores a letter, its messages and the job's key in one step, before anything is sent. Older messages of the
    /// same kind that still wait for the same farm are dropped: only the newest advice goes out.
    pub fn commit(&mut self, letter: &NewLetter, parcels: &[Parcel]) -> Result<Committed, Fault> {
        let step = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        if !mark_job(&step, &letter.id.farm, letter.kind, letter.date, letter.issued, "done")? {
            return Ok(Committed::DoneBefore);
        }
        step.execute(
            "insert into letter (farm, number, kind, local_date, subject, text, facts, inputs, issued, valid_until)
             values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
            (
                &letter.id.farm.0,
                letter.id.number.0,
                letter.kind,
                letter.date.to_string(),
                &letter.subject,
                &letter.text,
                letter.facts.to_string(),
                letter.inputs.to_string(),
                seconds(letter.issued),
                seconds(letter.valid_until),
            ),
        )?;
        let superseded = outbox::drop_older(&step, letter)?;
        let mut queued = 0;
        for parcel in parcels {
            queued += outbox::queue(&step, letter, parcel)?;
        }
        archive::mark(&step, &letter.id.farm, &letter.forecasts)?;
        step.commit()?;
        self.fold_log();
        Ok(Committed::Stored { queued, superseded })
    }

    /// Whether a job of that date is done or noted as missed.
    pub fn is_done(&self, farm: &FarmId, job: &str, date: NaiveDate) -> Result<bool, Fault> {
        let mut statement = self
            .connection
            .prepare("select 1 from job_run where farm = ?1 and job = ?2 and local_date = ?3")?;
        Ok(statement.exists((&farm.0, job, date.to_string()))?)
    }

    /// The last local date on which a job was done or noted as missed.
    pub fn last_done(&self, farm: &FarmId, job: &str) -> Result<Option<NaiveDate>, Fault> {
        let found: Option<String> = self.connection.query_row(
            "select max(local_date) from job_run where farm = ?1 and job = ?2",
            (&farm.0, job),
            |row| row.get(0),
        )?;
        found.map(|text| read_date(&text)).transpose()
    }

    /// Notes that a job of a past date was not done and will not be.
    pub fn note_missed(&mut self, farm: &FarmId, job: &str, date: NaiveDate, now: DateTime<Utc>) -> Result<(), Fault> {
        let step = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        mark_job(&step, farm, job, date, now, "missed")?;
        step.commit()?;
        Ok(())
    }

    /// Every date of a job with what came of it ("done", "missed"), in order.
    pub fn jobs_done(&self, farm: &FarmId, job: &str) -> Result<Vec<(NaiveDate, String)>, Fault> {
        let mut statement = self
            .connection
            .prepare("select local_date, outcome from job_run where farm = ?1 and job = ?2 order by local_date")?;
        let rows = statement.query_map((&farm.0, job), |row| Ok((row.get::<_, String>(0)?, row.get(1)?)))?;
        rows.map(|row| {
            row.map_err(Fault::from)
                .and_then(|(date, outcome): (String, String)| Ok((read_date(&date)?, outcome)))
        })
        .collect()
    }

    /// One letter.
    pub fn letter(&self, id: &LetterId) -> Result<Option<Letter>, Fault> {
        self.one_letter("where farm = ?1 and number = ?2", (&id.farm.0, id.number.0))
    }

    /// The newest letter of a farm.
    pub fn last_letter(&self, farm: &FarmId) -> Result<Option<Letter>, Fault> {
        self.one_letter("where farm = ?1 order by number desc limit 1", [&farm.0])
    }

    /// The newest letter of a farm for a day before `date`.
    pub fn letter_before(&self, farm: &FarmId, date: NaiveDate) -> Result<Option<Letter>, Fault> {
        self.one_letter(
            "where farm = ?1 and local_date < ?2 order by number desc limit 1",
            (&farm.0, date.to_string()),
        )
    }

    /// Farms that have letters, for commands that are not told which.
    pub fn farms_with_letters(&self) -> Result<Vec<FarmId>, Fault> {
        let mut statement = self
            .connection
            .prepare("select distinct farm from letter order by farm")?;
        let rows = statement.query_map([], |row| row.get(0).map(FarmId))?;
        rows.map(|row| row.map_err(Fault::from)).collect()
    }

    fn one_letter(&self, which: &str, values: impl rusqlite::Params) -> Result<Option<Letter>, Fault> {
        let columns =
            "select farm, number, kind, local_date, subject, text, facts, inputs, issued, valid_until from letter";
        let found = self
            .connection
            .query_row(&format!("{columns} {which}"), values, RawLetter::read)
            .optional()?;
        found.map(RawLetter::checked).transpose()
    }
}

/// `false` if that job had been marked on that date.
fn mark_job(
    step: &Transaction<'_>,
    farm: &FarmId,
    job: &str,
    date: NaiveDate,
    at: DateTime<Utc>,
    outcome: &str,
) -> Result<bool, rusqlite::Error> {
    let added = step.execute(
        "insert into job_run (farm, job, local_date, at, outcome) values (?1, ?2, ?3, ?4, ?5) on conflict do nothing",
        (&farm.0, job, date.to_string(), seconds(at), outcome),
    )?;
    Ok(added == 1)
}

struct RawLetter {
    letter: Letter,
    date: String,
    facts: String,
    inputs: String,
}

impl RawLetter {
    fn read(row: &Row<'_>) -> Result<Self, rusqlite::Error> {
        let id = LetterId {
            farm: FarmId(row.get(0)?),
            number: Number(row.get(1)?),
        };
        Ok(Self {
            letter: Letter {
                id,
                kind: row.get(2)?,
                date: NaiveDate::MIN,
                subject: row.get(4)?,
                text: row.get(5)?,
                facts: serde_json::Value::Null,
                inputs: serde_json::Value::Null,
                issued: time(row.get(8)?),
                valid_until: time(row.get(9)?),
            },
            date: row.get(3)?,
            facts: row.get(6)?,
            inputs: row.get(7)?,
        })
    }

    fn checked(self) -> Result<Letter, Fault> {
        let json = |text: &str| {
            serde_json::from_str(text).map_err(|error| Fault::Unreadable {
                what: "letter",
                detail: error.to_string(),
            })
        };
        Ok(Letter {
            date: read_date(&self.date)?,
            facts: json(&self.facts)?,
            inputs: json(&self.inputs)?,
            ..self.letter
        })
    }
}

fn read_date(text: &str) -> Result<NaiveDate, Fault> {
    text.parse().map_err(|_| Fault::Unreadable {
        what: "a local date",
        detail: text.to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::State;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn farm() -> FarmId {
        FarmId("larkrise".to_owned())
    }

    fn letter(store: &Store, date: &str) -> NewLetter {
        NewLetter {
            id: LetterId {
                farm: farm(),
                number: store.next_number(&farm()).unwrap(),
            },
            kind: "morning",
            date: date.parse().unwrap(),
            subject: "GO 13:30: lift Creek".to_owned(),
            text: "Lift Creek".to_owned(),
            facts: serde_json::json!({ "gust": 7.5 }),
            inputs: serde_json::json!({ "entries": 3 }),
            forecasts: Vec::new(),
            issued: at(&format!("{date}T05:30:00Z")),
            valid_until: at(&format!("{date}T20:00:00Z")),
        }
    }

    fn parcel(date: &str, recipient: &str) -> Parcel {
        Parcel {
            key: format!("{date}-{recipient}"),
            recipient: recipient.to_owned(),
            message: b"From: us\r\n\r\nhi\r\n".to_vec(),
        }
    }

    #[test]
    fn a_job_is_done_once_a_local_date_and_its_mail_queued_once() {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        let first = letter(&store, "2026-03-10");
        let parcels = [
            parcel("2026-03-10", "a@example.org"),
            parcel("2026-03-10", "b@example.org"),
        ];
        assert_eq!(
            store.commit(&first, &parcels).unwrap(),
            Committed::Stored {
                queued: 2,
                superseded: 0
            }
        );
        let again = letter(&store, "2026-03-10");
        assert_eq!(again.id.number, Number(2));
        assert_eq!(store.commit(&again, &parcels).unwrap(), Committed::DoneBefore);
        assert_eq!(store.letter(&again.id).unwrap(), None);
        let kept = store.letter(&first.id).unwrap().unwrap();
        assert_eq!(
            (kept.subject, kept.facts, kept.date),
            (first.subject, first.facts, first.date)
        );
        assert!(store.is_done(&farm(), "morning", first.date).unwrap());
    }

    #[test]
    fn only_the_newest_advice_goes_out_after_a_long_outage() {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        for date in ["2026-03-10", "2026-03-11"] {
            store
                .commit(&letter(&store, date), &[parcel(date, "a@example.org")])
                .unwrap();
        }
        let due = store.due(at("2026-03-11T06:00:00Z"), 10).unwrap();
        assert_eq!(
            due.iter().map(|parcel| parcel.key.as_str()).collect::<Vec<_>>(),
            ["2026-03-11-a@example.org"]
        );
        assert_eq!(store.drop_outlived(at("2026-03-11T20:00:00Z")).unwrap().len(), 1);
        assert!(store.due(at("2026-03-11T20:00:00Z"), 10).unwrap().is_empty());
        let ended = store.ended_since(&farm(), at("2026-03-01T00:00:00Z")).unwrap();
        assert_eq!(
            ended.iter().map(|parcel| parcel.state).collect::<Vec<_>>(),
            [State::Dropped, State::Dropped]
        );
    }

    #[test]
    fn a_message_in_hand_at_a_crash_goes_again_later_with_the_same_bytes() {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        let new = letter(&store, "2026-03-10");
        store.commit(&new, &[parcel("2026-03-10", "a@example.org")]).unwrap();
        let now = at("2026-03-10T05:31:00Z");
        let before = store.due(now, 1).unwrap().remove(0);
        store.handing(before.id, now).unwrap();
        assert!(store.due(now, 1).unwrap().is_empty(), "in hand");
        drop(store);
        let store = Store::open(folder.path()).unwrap();
        assert_eq!(store.recover(Some(chrono::TimeDelta::minutes(10))).unwrap(), 1);
        assert!(store.due(at("2026-03-10T05:40:59Z"), 1).unwrap().is_empty());
        let after = store.due(at("2026-03-10T05:41:00Z"), 1).unwrap().remove(0);
        assert_eq!(
            (after.message, after.fate_unknown, after.attempts),
            (before.message, true, 1)
        );
    }

    #[test]
    fn mail_for_somebody_who_left_is_dropped_and_named() {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        let new = letter(&store, "2026-03-10");
        store
            .commit(
                &new,
                &[
                    parcel("2026-03-10", "a@example.org"),
                    parcel("2026-03-10", "b@example.org"),
                ],
            )
            .unwrap();
        let known = [(farm(), vec!["b@example.org".to_owned()])];
        let dropped = store.drop_strangers(&known, new.issued).unwrap();
        assert_eq!(
            dropped
                .iter()
                .map(|parcel| parcel.recipient.as_str())
                .collect::<Vec<_>>(),
            ["a@example.org"]
        );
        assert_eq!(store.waiting().unwrap().len(), 1);
    }

    #[test]
    fn the_number_reads_as_it_prints() {
        assert_eq!(Number(7).to_string(), "L-0007");
        for text in ["L-0007", "l-7", "7", " L0007 "] {
            assert_eq!(text.parse(), Ok(Number(7)), "{text}");
        }
        assert!("L-x".parse::<Number>().is_err());
    }
}
