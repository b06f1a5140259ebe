//! What is due, sent, to be retried: mail by SMTP or into files.

pub mod due;
pub mod files;
pub mod mail;
pub mod outcome;
pub mod secret;
pub mod smtp;

use std::path::PathBuf;
use std::time::Duration;

pub use mail::{Mail, Picture};
pub use outcome::{Outcome, Site};

use crate::store::Waiting;

/// How letters leave the house.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Sender of every message, `Name <address>` or an address.
    pub from: String,
    /// The way out.
    pub transport: Transport,
    /// Most messages a day and farm.
    pub daily_limit: u32,
}

/// The way out.
#[derive(Debug, Clone, PartialEq)]
pub enum Transport {
    /// One `.eml` file a message into a folder.
    Files {
        /// The folder.
        folder: PathBuf,
    },
    /// A mail server.
    Smtp(Smtp),
}

/// A mail server that takes our messages.
#[derive(Debug, Clone, PartialEq)]
pub struct Smtp {
    /// Host name, as in its certificate.
    pub host: String,
    /// Port.
    pub port: u16,
    /// How the connection is protected; never in clear.
    pub tls: Tls,
    /// User name, if it wants one.
    pub user: Option<String>,
    /// File with the password, readable by the owner only.
    pub password_file: Option<PathBuf>,
    /// Further root certificate (PEM) to trust, for a farm's own server.
    pub root_certificate: Option<PathBuf>,
}

/// How a connection to a mail server is protected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tls {
    /// STARTTLS, required.
    StartTls,
    /// TLS from the first byte.
    Implicit,
}

/// Longest a whole dialogue about one message may take; the library's own limit covers only the connect.
pub const DIALOGUE_LIMIT: Duration = Duration::from_secs(120);

impl Settings {
    /// Whether handing a message over twice does no harm: a file is only written again under its own name.
    pub fn is_repeatable(&self) -> bool {
        matches!(self.transport, Transport::Files { .. })
    }

    /// Hands one message over, within `limit`, and says what became of it.
    pub async fn hand_over(&self, parcel: &Waiting, limit: Duration) -> Outcome {
        match &self.transport {
            Transport::Files { folder } => files::write(folder, &parcel.key, &parcel.message),
            Transport::Smtp(server) => smtp::send(server, &self.from, parcel, limit).await,
        }
    }
}
