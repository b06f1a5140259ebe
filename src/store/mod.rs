//! One SQLite database in the state folder: the record, letters, jobs done, and mail waiting to go out.
//!
//! A decision and its messages are committed together before the first byte of mail leaves ("decide, store,
//! send, mark"). The database runs with a write-ahead log and full synchronisation, so what was committed
//! survives a power cut. Calls are short and block; `now` is always an argument.

pub mod archive;
pub mod fault;
pub mod health;
pub mod letters;
pub mod lock;
pub mod open;
pub mod outbox;
pub mod packed;
pub mod readings;
pub mod record;
pub mod schema;
pub mod warnings;

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use rusqlite::Connection;

pub use archive::ArchiveSize;
pub use fault::Fault;
pub use health::{Feed, Trouble};
pub use letters::{Committed, Letter, LetterId, NewLetter, Number};
pub use lock::Lock;
pub use outbox::{Parcel, ParcelId, State, Waiting};
pub use packed::Packed;

/// The open database.
#[derive(Debug)]
pub struct Store {
    connection: Connection,
    folder: PathBuf,
}

impl Store {
    /// The state folder it lives in.
    pub fn folder(&self) -> &Path {
        &self.folder
    }
}

/// Seconds since 1970, as times stand in the database.
fn seconds(at: DateTime<Utc>) -> i64 {
    at.timestamp()
}

/// A time out of the database; one outside the calendar reads as its beginning.
fn time(seconds: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(seconds, 0).unwrap_or(DateTime::UNIX_EPOCH)
}
