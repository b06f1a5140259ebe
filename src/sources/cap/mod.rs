//! Official warnings in the Common Alerting Protocol, in the forms in which services hand them out.
//!
//! In:     one message, several in a wrapper, an Atom or RSS index with short fields and links, a zip of
//!         messages, or JSON that wraps messages (lists under `warnings`, GeoJSON of the US and Norwegian services).
//! Out:    messages as [`Warning`], every text cleaned; nothing is judged here.
//! Source: OASIS Common Alerting Protocol 1.2 (2010), and 1.1, which is read alike; the services' documentation.

mod follow;
mod json;
mod raw;
mod text;
mod xml;

pub use follow::follow;

use super::refusal::Refusal;
use super::unpack::Archive;
use crate::weather::warning::{Info, Warning};

/// Most bytes of one message in an archive.
const MOST_BYTES: u64 = 4 << 20;

/// What a reply holds.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Feed {
    /// Messages, whole or with the short fields of an index.
    pub warnings: Vec<Warning>,
    /// Links of an index to whole messages.
    pub links: Vec<Link>,
}

/// A link of an index.
#[derive(Debug, Clone, PartialEq)]
pub struct Link {
    /// Where, as written.
    pub url: String,
    /// What the index tells of it.
    pub info: Info,
    /// What the index calls it.
    pub identifier: String,
}

/// Reads a reply. Broken messages in an archive are left out; a reply that is none of the forms is refused.
pub fn read(bytes: &[u8]) -> Result<Feed, Refusal> {
    let plain = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    match plain.iter().find(|byte| !byte.is_ascii_whitespace()) {
        None => Err(Refusal::Empty),
        Some(_) if plain.starts_with(b"PK") => archive(plain),
        Some(b'<') if is_page(plain) => Err(Refusal::WebPage),
        Some(b'<') => xml::read(plain),
        Some(_) => json::read(plain),
    }
}

/// Whether it is a web page, such as that of a network that wants a login.
fn is_page(bytes: &[u8]) -> bool {
    let head = bytes.trim_ascii_start();
    let starts = |with: &[u8]| {
        head.get(..with.len())
            .is_some_and(|head| head.eq_ignore_ascii_case(with))
    };
    starts(b"<!doctype html") || starts(b"<html")
}

fn archive(bytes: &[u8]) -> Result<Feed, Refusal> {
    let mut archive = Archive::open(bytes)?;
    let mut feed = Feed::default();
    let (mut read, mut refused) = (0, None);
    let mut files = archive.ending(".xml");
    files.extend(archive.ending(".cap"));
    for number in files {
        let message = archive.whole(number, MOST_BYTES)?;
        match xml::read(&message) {
            Ok(message) => {
                read += 1;
                feed.warnings.extend(message.warnings);
            }
            Err(refusal) => refused = Some(refusal),
        }
    }
    match refused {
        Some(refusal) if read == 0 => Err(refusal),
        // An archive without files says that there are no warnings.
        _ => Ok(feed),
    }
}

/// Entries of an index; several that tell parts of one message become one.
fn joined(entries: Vec<(Option<Warning>, Option<Link>)>) -> Feed {
    let mut feed = Feed::default();
    for (warning, link) in entries {
        if let Some(warning) = warning {
            let same = |other: &&mut Warning| other.key == warning.key && !other.key.identifier.is_empty();
            match feed.warnings.iter_mut().find(same) {
                Some(known) => known.infos.extend(warning.infos),
                None => feed.warnings.push(warning),
            }
        }
        feed.links.extend(link);
    }
    feed
}
