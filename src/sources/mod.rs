//! Forecast services: what each replies, turned into [`crate::weather`]; fetched politely, kept on disk.

mod address;
pub mod cache;
pub mod cap;
pub mod catalogue;
pub mod client;
pub mod context;
pub mod fault;
mod gather;
pub mod issue;
mod json;
mod key;
pub mod kind;
pub mod links;
pub mod met_norway;
pub mod mosmix;
pub mod nws;
pub mod open_meteo;
mod reader;
mod recognise;
pub mod refusal;
pub mod round;
mod request;
pub mod state;
pub mod station;
mod transport;
mod unpack;

use std::collections::BTreeSet;
use std::path::PathBuf;

use chrono::{DateTime, TimeDelta, Utc};

pub use cache::{load_state, save_state};
pub use client::{Limits, Pulled, Reply, cached, prepare_tls, pull, pull_within};
pub use context::{Context, offered};
pub use fault::Fault;
pub use kind::{Gives, ServiceKind};
pub use recognise::{Form, recognise};
pub use refusal::Refusal;
pub use state::ServiceState;

use crate::farm::site::Site;
use crate::weather::warning::Code;
use crate::weather::{Forecast, Place, Product};

/// Reads a reply whose service is recognised from its content, such as a file given on the command line.
///
/// `fetched` is when it was fetched, or now for a file of unknown age; see [`issue`] for what that
/// means for its age. `previous` is the reply of the same service before this one.
pub fn read_reply(
    bytes: &[u8],
    site: &Site,
    fetched: DateTime<Utc>,
    previous: Option<&Forecast>,
) -> Result<Forecast, Refusal> {
    let offered = previous.map(offered).unwrap_or_default();
    let context = Context {
        site: place_of(site),
        fetched,
        previous,
        offered: &offered,
        asked: None,
    };
    reader::recognised(bytes, &context)
}

/// A site as a point of a forecast.
pub fn place_of(site: &Site) -> Place {
    Place {
        latitude: site.latitude,
        longitude: site.longitude,
        elevation: Some(site.elevation),
    }
}

/// Which services to ask, in order, and who is asking.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Mail address or web page of the operator, sent in `User-Agent`.
    pub contact: String,
    /// Services in order of trust.
    pub services: Vec<Service>,
    /// Folder of the disk cache.
    pub cache: PathBuf,
    /// A round does not ask a service again that gave a good answer so lately.
    pub interval: TimeDelta,
}

/// One service to ask.
#[derive(Debug, Clone, PartialEq)]
pub struct Service {
    /// Name in status and log, unique.
    pub name: String,
    /// What it replies.
    pub kind: ServiceKind,
    /// What its forecast is used for.
    pub role: Role,
    /// Address up to the interface's own path, such as `https://api.open-meteo.com`; `https`, or `http`
    /// to loopback with `allow_loopback`.
    pub base_url: String,
    /// File that holds the key, if the service wants one.
    pub key_file: Option<PathBuf>,
    /// Model to ask for; `None` for the service's own choice.
    pub models: Option<String>,
    /// Station to ask for, by the id the service gives it; for services that answer by station.
    pub station: Option<String>,
    /// Codes of the regions the farms lie in, for warnings that name regions only.
    pub codes: BTreeSet<Code>,
    /// Days ahead.
    pub days: u32,
    /// For the age.
    pub product: Product,
    /// Plain http and loopback addresses are allowed; for tests and own servers only.
    pub allow_loopback: bool,
}

/// What a forecast is used for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Its members give the chances.
    Members,
    /// A single forecast: decides alone, or beside members can only lower a chance.
    Main,
    /// A single forecast that never decides while another can: it only makes wind and rain worse where it is worse.
    Check,
}
