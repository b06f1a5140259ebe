//! The last good reply of each service on disk, with its fetch time and issue.
//!
//! One file: a line of JSON about the reply, then the reply as it came. It is written beside, flushed
//! and renamed, so that a crash leaves the old one; the line holds a hash over everything, so that a
//! damaged file is no file.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Write};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::context::{Context, offered as offers};
use super::{Service, ServiceState, Settings, place_of, reader, request};
use crate::farm::site::Site;
use crate::weather::{Forecast, Issue, Quantity};

/// Version of the file's form.
const VERSION: u32 = 1;
/// Largest file read.
const LARGEST: u64 = 9 << 20;
/// How long the cell of a place is not asked for again.
const CELL_HOLDS: TimeDelta = TimeDelta::days(7);
/// How long a quantity counts as offered after the last reply that gave it.
const OFFER_HOLDS: TimeDelta = TimeDelta::hours(24);

/// The first line of the file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct About {
    version: u32,
    /// Everything that makes it another forecast if it changes.
    asked: String,
    pub(super) fetched: DateTime<Utc>,
    pub(super) issue: Issue,
    /// When each quantity was last given.
    given: BTreeMap<Quantity, DateTime<Utc>>,
    etag: Option<String>,
    last_modified: Option<String>,
    /// Of this line with an empty hash, and of the reply.
    sha256: String,
}

impl About {
    /// `ETag` and `Last-Modified`.
    pub(super) fn validators(&self) -> (Option<String>, Option<String>) {
        (self.etag.clone(), self.last_modified.clone())
    }

    fn hash(&self, body: &[u8]) -> Option<String> {
        let mut bytes = serde_json::to_vec(&Self {
            sha256: String::new(),
            ..self.clone()
        })
        .ok()?;
        bytes.extend_from_slice(body);
        Some(hash(&bytes))
    }
}

/// A kept reply.
pub(super) struct Kept {
    pub(super) about: About,
    pub(super) forecast: Forecast,
}

/// The quantities that count as offered at `now`.
pub(super) fn offered(about: Option<&About>, now: DateTime<Utc>) -> BTreeSet<Quantity> {
    let given = about.map(|about| about.given.clone()).unwrap_or_default();
    given
        .into_iter()
        .filter(|(_, at)| now - *at < OFFER_HOLDS)
        .map(|(quantity, _)| quantity)
        .collect()
}

/// The kept reply of a service for a site as bytes. `None` if there is none, it is damaged, for another place
/// or request, or from after `now`.
pub(super) fn load_bytes(
    settings: &Settings,
    service: &Service,
    site: &Site,
    now: DateTime<Utc>,
) -> Option<(About, Vec<u8>)> {
    let mut bytes = Vec::new();
    let file = File::open(path(settings, service, site, "reply")).ok()?;
    file.take(LARGEST).read_to_end(&mut bytes).ok()?;
    let end = bytes.iter().position(|byte| *byte == b'\n')?;
    let (line, body) = (bytes.get(..end)?, bytes.get(end + 1..)?);
    let about: About = serde_json::from_slice(line).ok()?;
    let fits = about.version == VERSION
        && about.asked == key(service, site)
        && about.hash(body).as_ref() == Some(&about.sha256);
    if !fits || about.fetched > now + TimeDelta::minutes(15) {
        return None;
    }
    let body = body.to_vec();
    Some((about, body))
}

/// The kept forecast of a service for a site.
pub(super) fn load(settings: &Settings, service: &Service, site: &Site, now: DateTime<Utc>) -> Option<Kept> {
    let (about, body) = load_bytes(settings, service, site, now)?;
    let offered = offered(Some(&about), about.fetched);
    let context = Context {
        site: place_of(site),
        fetched: about.fetched,
        previous: None,
        offered: &offered,
        asked: request::asked(service),
    };
    let mut forecast = reader::read(service, &body, &context).ok()?;
    forecast.issue = about.issue;
    Some(Kept { about, forecast })
}

/// The reply that is to be kept.
pub(super) struct Fresh<'a> {
    pub(super) body: &'a [u8],
    pub(super) fetched: DateTime<Utc>,
    pub(super) issue: Issue,
    /// What it gives, for a forecast.
    pub(super) given: BTreeSet<Quantity>,
    /// `ETag` and `Last-Modified`.
    pub(super) validators: (Option<String>, Option<String>),
}

impl<'a> Fresh<'a> {
    pub(super) fn forecast(forecast: &Forecast, body: &'a [u8], validators: (Option<String>, Option<String>)) -> Self {
        Self {
            body,
            fetched: forecast.fetched,
            issue: forecast.issue,
            given: offers(forecast),
            validators,
        }
    }
}

/// Keeps a reply in place of the one before.
pub(super) fn save(
    settings: &Settings,
    service: &Service,
    site: &Site,
    before: Option<&About>,
    fresh: Fresh<'_>,
) -> io::Result<()> {
    let now = fresh.fetched;
    let mut given = before.map(|about| about.given.clone()).unwrap_or_default();
    given.retain(|_, at| now - *at < OFFER_HOLDS);
    given.extend(fresh.given.into_iter().map(|quantity| (quantity, now)));
    let (etag, last_modified) = fresh.validators;
    let mut about = About {
        version: VERSION,
        asked: key(service, site),
        fetched: now,
        issue: fresh.issue,
        given,
        etag,
        last_modified,
        sha256: String::new(),
    };
    about.sha256 = about.hash(fresh.body).unwrap_or_default();
    let mut bytes = serde_json::to_vec(&about)?;
    bytes.push(b'\n');
    bytes.extend_from_slice(fresh.body);
    write(&path(settings, service, site, "reply"), &bytes)
}

/// A grid cell that belongs to a place, as last told by the service.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Cell {
    asked: String,
    pub(super) office: String,
    pub(super) x: u32,
    pub(super) y: u32,
    fetched: DateTime<Utc>,
}

impl Cell {
    pub(super) fn new(service: &Service, site: &Site, (office, x, y): (String, u32, u32), now: DateTime<Utc>) -> Self {
        Self {
            asked: key(service, site),
            office,
            x,
            y,
            fetched: now,
        }
    }
}

/// The kept cell of a place, unless it is older than a week: cells have moved between versions of the grid.
pub(super) fn load_cell(settings: &Settings, service: &Service, site: &Site, now: DateTime<Utc>) -> Option<Cell> {
    let bytes = fs::read(path(settings, service, site, "cell")).ok()?;
    let cell: Cell = serde_json::from_slice(&bytes).ok()?;
    let age = now - cell.fetched;
    let young = age > -TimeDelta::minutes(15) && age < CELL_HOLDS;
    (young && cell.asked == key(service, site)).then_some(cell)
}

/// Keeps the cell of a place.
pub(super) fn save_cell(settings: &Settings, service: &Service, site: &Site, cell: &Cell) -> io::Result<()> {
    write(&path(settings, service, site, "cell"), &serde_json::to_vec(cell)?)
}

/// The state of a service as last saved; a fresh one if there is none.
pub fn load_state(settings: &Settings, service: &Service, site: &Site) -> ServiceState {
    let text = fs::read(path(settings, service, site, "state")).unwrap_or_default();
    serde_json::from_slice(&text).unwrap_or_default()
}

/// Saves the state of a service beside its kept reply, so that waits outlast a restart.
pub fn save_state(settings: &Settings, service: &Service, site: &Site, state: &ServiceState) -> io::Result<()> {
    write(&path(settings, service, site, "state"), &serde_json::to_vec(state)?)
}

fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = path.parent().unwrap_or(Path::new("."));
    fs::DirBuilder::new().recursive(true).mode(0o700).create(folder)?;
    let beside = path.with_extension("new");
    // What a crash left there, or somebody planted, goes first; the file itself must be new.
    match fs::remove_file(&beside) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    let mut file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(&beside)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    fs::rename(&beside, path)?;
    File::open(folder)?.sync_all()
}

/// One file per service and place; the hash keeps apart names that look alike once cleaned.
fn path(settings: &Settings, service: &Service, site: &Site, ending: &str) -> PathBuf {
    let plain = |sign: char| {
        if sign.is_ascii_alphanumeric() {
            sign.to_ascii_lowercase()
        } else {
            '-'
        }
    };
    let name: String = service.name.chars().take(40).map(plain).collect();
    let of = format!("{}|{:.4}|{:.4}", service.name, site.latitude.0, site.longitude.0);
    let short: String = hash(of.as_bytes()).chars().take(8).collect();
    settings.cache.join(format!("{name}-{short}.{ending}"))
}

pub(super) fn key(service: &Service, site: &Site) -> String {
    request::standing(service, site)
        .map(|url| url.to_string())
        .unwrap_or_default()
}

fn hash(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}
