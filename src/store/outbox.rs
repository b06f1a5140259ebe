//! Messages waiting to go out, and what became of each.

use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::{Row, Transaction};

use super::fault::Fault;
use super::letters::{NewLetter, Number};
use super::{Store, seconds, time};
use crate::farm::FarmId;

/// A next try further off than this was set by a clock that has since been put back.
const LONGEST_WAIT: TimeDelta = TimeDelta::minutes(45);

/// One rendered message for one recipient.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Parcel {
    /// Key computed from the content's place (farm, kind, date, revision, recipient); a second one is not queued.
    pub key: String,
    /// Mail address.
    pub recipient: String,
    /// The message as it goes over the wire.
    pub message: Vec<u8>,
}

/// Row of a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ParcelId(pub i64);

/// What became of a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// To be sent, or sent again.
    Waiting,
    /// Accepted by the server after the last dot.
    Sent,
    /// Refused for good.
    Refused,
    /// Not sent any more: outlived, replaced, or its recipient is gone.
    Dropped,
}

impl State {
    fn word(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::Sent => "sent",
            Self::Refused => "refused",
            Self::Dropped => "dropped",
        }
    }

    fn read(word: &str) -> Self {
        match word {
            "sent" => Self::Sent,
            "refused" => Self::Refused,
            "dropped" => Self::Dropped,
            _ => Self::Waiting,
        }
    }
}

/// A message in the outbox.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Waiting {
    /// Its row.
    pub id: ParcelId,
    /// Its key.
    pub key: String,
    /// Whose.
    pub farm: FarmId,
    /// Of which letter.
    pub number: Option<Number>,
    /// To whom.
    pub recipient: String,
    /// The message; empty in lists.
    pub message: Vec<u8>,
    /// When it was put here.
    pub queued: DateTime<Utc>,
    /// After this it is not sent any more.
    pub valid_until: DateTime<Utc>,
    /// What became of it.
    pub state: State,
    /// Tries so far.
    pub attempts: u32,
    /// Next try.
    pub next_try: DateTime<Utc>,
    /// Whether an earlier try may have been accepted without our hearing of it.
    pub fate_unknown: bool,
    /// When its fate was sealed.
    pub ended: Option<DateTime<Utc>>,
    /// What the last try ended with, if not well.
    pub last_error: Option<String>,
}

const COLUMNS: &str = "id, dedupe_key, farm, number, recipient, message, queued, valid_until, state, attempts, next_try, \
                       fate_unknown, ended, last_error";
const COLUMNS_OF_LIST: &str = "id, dedupe_key, farm, number, recipient, x'', queued, valid_until, state, attempts, next_try, \
                               fate_unknown, ended, last_error";

impl Store {
    /// Messages whose time has come, the longest waiting first, those in hand left out.
    pub fn due(&self, now: DateTime<Utc>, at_most: usize) -> Result<Vec<Waiting>, Fault> {
        self.parcels(
            &format!(
                "select {COLUMNS} from outbox where state = 'waiting' and handing_since is null
                 and (next_try <= ?1 or next_try > ?2) and valid_until > ?1 order by next_try, id limit ?3"
            ),
            (
                seconds(now),
                seconds(now + LONGEST_WAIT),
                i64::try_from(at_most).unwrap_or(i64::MAX),
            ),
        )
    }

    /// Notes that a message is being handed over, so that a crash in the middle is known as such.
    pub fn handing(&self, id: ParcelId, now: DateTime<Utc>) -> Result<(), Fault> {
        self.connection.execute(
            "update outbox set handing_since = ?2 where id = ?1",
            (id.0, seconds(now)),
        )?;
        Ok(())
    }

    /// The server took it, or refused it for good, or it is not sent any more.
    pub fn end(&self, id: ParcelId, state: State, why: Option<&str>, now: DateTime<Utc>) -> Result<(), Fault> {
        self.connection.execute(
            "update outbox set state = ?2, ended = ?3, last_error = ?4, handing_since = null,
                attempts = attempts + (?2 <> 'dropped') where id = ?1",
            (id.0, state.word(), seconds(now), why),
        )?;
        Ok(())
    }

    /// To be tried again; `fate_unknown` if this try may have been accepted.
    pub fn again(&self, id: ParcelId, next_try: DateTime<Utc>, why: &str, fate_unknown: bool) -> Result<(), Fault> {
        self.connection.execute(
            "update outbox set next_try = ?2, last_error = ?3, fate_unknown = max(fate_unknown, ?4), handing_since = null,
                attempts = attempts + 1 where id = ?1",
            (id.0, seconds(next_try), why, fate_unknown),
        )?;
        Ok(())
    }

    /// Not tried at all, but put off.
    pub fn put_off(&self, id: ParcelId, next_try: DateTime<Utc>, why: &str) -> Result<(), Fault> {
        self.connection.execute(
            "update outbox set next_try = ?2, last_error = ?3, handing_since = null where id = ?1",
            (id.0, seconds(next_try), why),
        )?;
        Ok(())
    }

    /// After a crash: messages that were in hand may have been accepted. They go again `after` that, with the same
    /// bytes; `None` for a way out where handing over twice does no harm. How many there were.
    pub fn recover(&self, after: Option<TimeDelta>) -> Result<usize, Fault> {
        let wait = after.unwrap_or_default().num_seconds();
        let found = self.connection.execute(
            "update outbox set next_try = max(next_try, handing_since + ?1), fate_unknown = ?2, attempts = attempts + 1,
                last_error = 'the program ended while handing it over', handing_since = null
             where state = 'waiting' and handing_since is not null",
            (wait, after.is_some()),
        )?;
        Ok(found)
    }

    /// Ends the wait of messages that outlived their advice; says which.
    pub fn drop_outlived(&self, now: DateTime<Utc>) -> Result<Vec<Waiting>, Fault> {
        self.parcels(
            &format!(
                "update outbox set state = 'dropped', ended = ?1,
                    last_error = 'not sent in time' || coalesce(': ' || last_error, '')
                 where state = 'waiting' and handing_since is null and valid_until <= ?1 returning {COLUMNS_OF_LIST}"
            ),
            [seconds(now)],
        )
    }

    /// Ends the wait of messages whose farm or recipient is no longer there; says which.
    pub fn drop_strangers(&self, known: &[(FarmId, Vec<String>)], now: DateTime<Utc>) -> Result<Vec<Waiting>, Fault> {
        let waiting = self.waiting()?;
        let is_known = |parcel: &Waiting| {
            known
                .iter()
                .any(|(farm, people)| *farm == parcel.farm && people.contains(&parcel.recipient))
        };
        let strangers: Vec<Waiting> = waiting.into_iter().filter(|parcel| !is_known(parcel)).collect();
        for parcel in &strangers {
            self.end(
                parcel.id,
                State::Dropped,
                Some("farm or recipient is no longer in the settings"),
                now,
            )?;
        }
        Ok(strangers)
    }

    /// Messages of a farm accepted since then.
    pub fn sent_since(&self, farm: &FarmId, since: DateTime<Utc>) -> Result<u32, Fault> {
        let mut statement = self
            .connection
            .prepare("select count(*) from outbox where farm = ?1 and state = 'sent' and ended > ?2")?;
        Ok(statement.query_row((&farm.0, seconds(since)), |row| row.get(0))?)
    }

    /// Messages still to be sent, without their bytes.
    pub fn waiting(&self) -> Result<Vec<Waiting>, Fault> {
        self.parcels(
            &format!("select {COLUMNS_OF_LIST} from outbox where state = 'waiting' order by next_try, id"),
            [],
        )
    }

    /// Messages of one farm that came to their end since then, without their bytes, in order.
    pub fn ended_since(&self, farm: &FarmId, since: DateTime<Utc>) -> Result<Vec<Waiting>, Fault> {
        self.parcels(
            &format!("select {COLUMNS_OF_LIST} from outbox where farm = ?1 and ended > ?2 order by ended, id"),
            (&farm.0, seconds(since)),
        )
    }

    /// Messages of one letter, without their bytes.
    pub fn parcels_of(&self, farm: &FarmId, number: Number) -> Result<Vec<Waiting>, Fault> {
        self.parcels(
            &format!("select {COLUMNS_OF_LIST} from outbox where farm = ?1 and number = ?2 order by id"),
            (&farm.0, number.0),
        )
    }

    fn parcels(&self, query: &str, values: impl rusqlite::Params) -> Result<Vec<Waiting>, Fault> {
        let mut statement = self.connection.prepare(query)?;
        let rows = statement.query_map(values, read)?;
        rows.map(|row| row.map_err(Fault::from)).collect()
    }
}

/// Puts a message into the outbox, once for each key.
pub(super) fn queue(step: &Transaction<'_>, letter: &NewLetter, parcel: &Parcel) -> Result<usize, rusqlite::Error> {
    step.execute(
        "insert into outbox (dedupe_key, farm, kind, number, recipient, message, queued, valid_until, state, next_try)
         values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, 'waiting', ?7) on conflict do nothing",
        (
            &parcel.key,
            &letter.id.farm.0,
            letter.kind,
            letter.id.number.0,
            &parcel.recipient,
            &parcel.message,
            seconds(letter.issued),
            seconds(letter.valid_until),
        ),
    )
}

/// Messages of older letters of this kind that are not in hand are not sent any more.
pub(super) fn drop_older(step: &Transaction<'_>, letter: &NewLetter) -> Result<usize, rusqlite::Error> {
    step.execute(
        "update outbox set state = 'dropped', ended = ?3, last_error = 'a newer letter took its place'
         where farm = ?1 and kind = ?2 and state = 'waiting' and handing_since is null",
        (&letter.id.farm.0, letter.kind, seconds(letter.issued)),
    )
}

fn read(row: &Row<'_>) -> Result<Waiting, rusqlite::Error> {
    Ok(Waiting {
        id: ParcelId(row.get(0)?),
        key: row.get(1)?,
        farm: FarmId(row.get(2)?),
        number: row.get::<_, Option<u32>>(3)?.map(Number),
        recipient: row.get(4)?,
        message: row.get(5)?,
        queued: time(row.get(6)?),
        valid_until: time(row.get(7)?),
        state: State::read(&row.get::<_, String>(8)?),
        attempts: row.get(9)?,
        next_try: time(row.get(10)?),
        fate_unknown: row.get(11)?,
        ended: row.get::<_, Option<i64>>(12)?.map(time),
        last_error: row.get(13)?,
    })
}
