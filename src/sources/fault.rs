//! What goes wrong when a service is asked. One sentence each: what happened, to which service, what
//! the program does now, what can be done.

use std::fmt;

use chrono::{DateTime, TimeDelta, Utc};

use super::Refusal;

/// A pull that brought no forecast.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// The service's name in the settings.
    pub service: String,
    /// What happened.
    pub what: What,
}

/// What happened to a pull.
#[derive(Debug, Clone, PartialEq)]
pub enum What {
    /// It is not yet time to ask again.
    Waiting {
        /// From when on.
        until: DateTime<Utc>,
    },
    /// The settings of the service cannot work.
    Settings(String),
    /// The address leads to this machine or its private network.
    Forbidden {
        /// Host that was asked for.
        host: String,
    },
    /// The name of the host is not known.
    NoSuchHost {
        /// Host that was asked for.
        host: String,
    },
    /// Nobody listens, or no way leads there.
    Unreachable {
        /// Host that was asked for.
        host: String,
    },
    /// The host cannot prove who it is.
    Certificate {
        /// Host that was asked for.
        host: String,
    },
    /// No whole answer within the time limit.
    Silent {
        /// The limit \[s\].
        after_s: u64,
    },
    /// The answer broke off or is no HTTP.
    Cut,
    /// The answer is bigger than any forecast.
    TooBig {
        /// The limit \[bytes\], unpacked.
        limit: usize,
    },
    /// An answer with an error status.
    Status {
        /// HTTP status.
        code: u16,
        /// What the service says about it, cleaned.
        reason: Option<String>,
        /// When the service wants to be asked again, counted from now.
        retry_after: Option<TimeDelta>,
    },
    /// Sent on to a place that is not followed.
    Redirect {
        /// Why not.
        why: &'static str,
    },
    /// "Not changed" although nothing was kept.
    NotChanged,
    /// An answer that is no usable forecast.
    Reply(Refusal),
}

/// How a fault is met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Course {
    /// It may pass by itself: growing waits of 1 to 30 minutes.
    Again,
    /// The service has shut us out: at least an hour.
    Blocked,
    /// Only a change of the settings helps: six hours.
    Settings,
    /// The service does not cover the place: no further question before the settings change.
    NotHere,
}

impl What {
    /// How it is met.
    pub fn course(&self) -> Course {
        match self {
            Self::Status { code: 403 | 429, .. } => Course::Blocked,
            Self::Status { code: 422, .. } => Course::NotHere,
            Self::Status { code: 400..=499, .. } | Self::Settings(_) | Self::Forbidden { .. } => Course::Settings,
            Self::Status { .. }
            | Self::Waiting { .. }
            | Self::NoSuchHost { .. }
            | Self::Unreachable { .. }
            | Self::Certificate { .. }
            | Self::Silent { .. }
            | Self::Cut
            | Self::TooBig { .. }
            | Self::Redirect { .. }
            | Self::NotChanged
            | Self::Reply(_) => Course::Again,
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const STAYS: &str = "the last forecast stays in use and the next pull tries again";
        write!(f, "{}: ", self.service)?;
        match &self.what {
            What::Waiting { until } => {
                write!(
                    f,
                    "not asked before {}; the last forecast stays in use",
                    until.format("%Y-%m-%d %H:%M UTC")
                )
            }
            What::Settings(text) => write!(f, "{text}"),
            What::Forbidden { host } => write!(
                f,
                "{host} is an address of this machine or a private network and is not asked; correct \
                    base_url, or set allow_loopback for an own server on this machine"
            ),
            What::NoSuchHost { host } => {
                write!(
                    f,
                    "no address is known for {host}; {STAYS}. Check base_url and the machine's name service"
                )
            }
            What::Unreachable { host } => {
                write!(f, "{host} cannot be reached; {STAYS}. Check the network if it lasts")
            }
            What::Certificate { host } => write!(
                f,
                "{host} has no valid certificate and is not trusted; {STAYS}. Check base_url and this \
                    machine's clock and root certificates"
            ),
            What::Silent { after_s } => {
                write!(
                    f,
                    "no whole answer within {after_s} s; {STAYS}. Check the network if it lasts"
                )
            }
            What::Cut => write!(
                f,
                "the answer broke off or is no proper HTTP; {STAYS}. Check the network if it lasts"
            ),
            What::TooBig { limit } => write!(
                f,
                "the answer is bigger than {} MiB and was dropped; {STAYS}. Check base_url if it lasts",
                limit >> 20
            ),
            What::Status { code, reason, .. } => {
                let said = reason
                    .as_ref()
                    .map(|reason| format!(" (\"{reason}\")"))
                    .unwrap_or_default();
                match self.what.course() {
                    Course::Blocked => write!(
                        f,
                        "we are blocked with status {code}{said}; no question for at least an hour, and the \
                            last forecast stays in use. Check contact, key and how often the service is asked"
                    ),
                    Course::Settings => write!(
                        f,
                        "the request was refused with status {code}{said}; no question for 6 h or until the \
                            settings change, and the last forecast stays in use. Check base_url, models and key"
                    ),
                    Course::NotHere => write!(
                        f,
                        "the service does not cover this place (status {code}){said}; it is not asked again until \
                            the settings change. Take it out of the service file or correct the site"
                    ),
                    Course::Again => write!(f, "the service answered with status {code}{said}; {STAYS}"),
                }
            }
            What::Redirect { why } => {
                write!(
                    f,
                    "the service sends us on to {why}, which is not followed; {STAYS}. Check base_url"
                )
            }
            What::NotChanged => write!(f, "the service says nothing has changed, but nothing is kept; {STAYS}"),
            What::Reply(refusal) => write!(f, "{refusal}; {STAYS}"),
        }
    }
}

impl std::error::Error for Fault {}
