//! The farm folder and the service file: read raw, checked whole, every mistake with its place and cure.

use std::path::PathBuf;

use crate::{daemon, deliver, sources};

/// The service file, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Service {
    /// Folder of the one database, the cache and the lock.
    pub state: PathBuf,
    /// Weather services.
    pub sources: sources::Settings,
    /// Mail.
    pub deliver: deliver::Settings,
    /// Schedules.
    pub daemon: daemon::Settings,
    /// How the log is written.
    pub log: Log,
}

/// How the log is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Log {
    /// For people and the journal.
    Text,
    /// One JSON object a line.
    Json,
}
