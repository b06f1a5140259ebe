//! Which warnings hold for one farm, whatever order their messages came in.
//!
//! Only what concerns the farm is kept, in the language of its people. A message that was replaced or ended is
//! remembered by name, because it may come in later than the message that ended it.

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::area::Found;
use super::test_text::says_test;
use super::{Certainty, Farm, Info, Key, Kind, Message, Scope, Severity, Status, Urgency, Warning};

/// How long a warning without an end counts \[h\].
const OWN_LIMIT_H: i64 = 24;
/// How long an ended message is remembered \[days\].
const REMEMBERED_DAYS: i64 = 14;
/// Most messages kept and most names remembered; the oldest go first.
const MOST: usize = 2000;
/// How far ahead of now a message may be sent, for clocks \[h\]; one from further ahead is not believed.
const AHEAD_H: i64 = 1;

/// Warnings of a farm, and the names of those that are over. It outlives the process as it is.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Register {
    held: Vec<Held>,
    gone: Vec<Gone>,
    /// Warnings that were handed over and have ended since.
    over: Vec<Notice>,
}

/// A message that concerns the farm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Held {
    /// The service it came from; no other can end it.
    feed: String,
    key: Key,
    notices: Vec<Notice>,
    /// Whether somebody was told of it.
    told: bool,
}

/// A message that was replaced or ended.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Gone {
    feed: String,
    key: Key,
    since: DateTime<Utc>,
}

/// What a warning says to this farm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Notice {
    /// What it is about.
    pub kind: Kind,
    /// What the issuer calls it.
    pub event: String,
    /// Who issued it.
    pub issuer: String,
    /// When it was sent.
    pub sent: DateTime<Utc>,
    /// From when the event is expected.
    pub from: DateTime<Utc>,
    /// Until when it holds.
    pub until: DateTime<Utc>,
    /// How that end is known.
    pub until_is: Until,
    /// How bad.
    pub severity: Severity,
    /// How likely.
    pub certainty: Certainty,
    /// A line.
    pub headline: String,
    /// What is expected.
    pub description: String,
    /// What to do.
    pub instruction: String,
    /// What the issuer calls the area.
    pub area: String,
    /// How the area covers the farm.
    pub found: Found,
    /// Language of the text.
    pub language: String,
}

/// How the end of a warning is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Until {
    /// The issuer tells the end of the event.
    Ends,
    /// The issuer tells until when the text is good.
    Expires,
    /// The issuer tells nothing: a day from when it was sent.
    OwnLimit,
}

/// Something to tell.
#[derive(Debug, Clone, PartialEq)]
pub enum Change {
    /// A warning nobody was told of.
    Began(Notice),
    /// The end of one that somebody was told of.
    Ended(Notice),
}

impl Register {
    /// Takes what one service gave, in any order. The sentences are for the log.
    pub fn take(&mut self, feed: &str, warnings: &[Warning], farm: &Farm, now: DateTime<Utc>) -> Vec<String> {
        let mut in_order: Vec<&Warning> = warnings.iter().collect();
        in_order.sort_by_key(|warning| warning.key.sent);
        let notes = in_order
            .into_iter()
            .filter_map(|warning| self.take_one(feed, warning, farm, now))
            .collect();
        self.forget(now);
        notes
    }

    /// What holds at `now`, or will: the worst kind first, each once although several services tell it.
    pub fn active(&self, now: DateTime<Utc>) -> Vec<&Notice> {
        let mut active: Vec<&Notice> = Vec::new();
        let mut notices: Vec<&Notice> = self.held.iter().flat_map(|held| &held.notices).collect();
        notices.retain(|notice| now < notice.until);
        // Of two that say the same, the better match and the newer text stays.
        notices.sort_by_key(|notice| std::cmp::Reverse((notice.found, notice.sent)));
        for notice in notices {
            let same = |other: &&Notice| {
                other.kind == notice.kind
                    && other.event == notice.event
                    && other.issuer == notice.issuer
                    && other.from == notice.from
                    && other.until == notice.until
            };
            if !active.iter().any(same) {
                active.push(notice);
            }
        }
        active.sort_by_key(|notice| (notice.kind, notice.from, std::cmp::Reverse(notice.severity)));
        active
    }

    /// What is to be told now. Every warning is handed over once, and ended once if it was handed over.
    pub fn hand_over(&mut self, now: DateTime<Utc>) -> Vec<Change> {
        self.forget(now);
        let mut changes: Vec<Change> = self.over.drain(..).map(Change::Ended).collect();
        for held in self.held.iter_mut().filter(|held| !held.told) {
            held.told = true;
            changes.extend(held.notices.iter().cloned().map(Change::Began));
        }
        changes
    }

    fn take_one(&mut self, feed: &str, warning: &Warning, farm: &Farm, now: DateTime<Utc>) -> Option<String> {
        if warning.status != Status::Actual || warning.scope != Scope::Public || is_test(warning) {
            return None;
        }
        let key = &warning.key;
        if key.sent.is_some_and(|sent| sent > now + TimeDelta::hours(AHEAD_H)) {
            return Some(format!(
                "the warning {} was sent later than now and is left out",
                key.identifier
            ));
        }
        if warning.message == Message::Other {
            return None;
        }
        let mut lost = Vec::new();
        for named in &warning.references {
            self.end(feed, named, now, &mut lost);
        }
        let skipped = warning.message != Message::Cancel
            && (self.is_gone(feed, key)
                || self.is_outdone(feed, key)
                || self.is_told_as_well(feed, warning, farm, now));
        let mut note = None;
        let mut found = Vec::new();
        if !skipped {
            self.outdo(feed, key, &mut lost);
            if warning.message != Message::Cancel {
                found = notices(warning, farm, now, &mut note);
            }
        }
        // A chain that goes on is not over; its next message counts as told.
        let told = !lost.is_empty();
        if found.is_empty() {
            self.over.extend(lost);
        } else {
            self.held.push(Held {
                feed: feed.to_owned(),
                key: key.clone(),
                notices: found,
                told,
            });
        }
        note
    }

    /// Ends what a reference names and remembers the name. What somebody was told of goes into `lost`.
    fn end(&mut self, feed: &str, named: &Key, now: DateTime<Utc>, lost: &mut Vec<Notice>) {
        self.drop_held(lost, |held| held.feed == feed && named.reaches(&held.key));
        if !self.is_gone(feed, named) {
            self.gone.push(Gone {
                feed: feed.to_owned(),
                key: named.clone(),
                since: now,
            });
        }
    }

    /// Takes older versions of a message out, to be replaced.
    fn outdo(&mut self, feed: &str, key: &Key, lost: &mut Vec<Notice>) {
        self.drop_held(lost, |held| {
            held.feed == feed && (key.same(&held.key) || is_version_of(&held.key, key))
        });
    }

    fn drop_held(&mut self, lost: &mut Vec<Notice>, drops: impl Fn(&Held) -> bool) {
        self.held.retain(|held| {
            let dropped = drops(held);
            if dropped && held.told {
                lost.extend(held.notices.iter().cloned());
            }
            !dropped
        });
    }

    /// Whether a newer version of a message is held.
    fn is_outdone(&self, feed: &str, key: &Key) -> bool {
        self.held.iter().any(|held| {
            let alike = key.same(&held.key) || is_version_of(key, &held.key);
            held.feed == feed && alike && held.key.sent > key.sent
        })
    }

    /// Whether the very same message is held with at least as much text: an index tells less than the message.
    fn is_told_as_well(&self, feed: &str, warning: &Warning, farm: &Farm, now: DateTime<Utc>) -> bool {
        let same = |held: &&Held| held.feed == feed && held.key.same(&warning.key) && held.key.sent == warning.key.sent;
        let Some(held) = self.held.iter().find(same) else {
            return false;
        };
        let length = |notices: &[Notice]| notices.iter().map(|notice| notice.description.len()).sum::<usize>();
        length(&held.notices) >= length(&notices(warning, farm, now, &mut None))
    }

    fn is_gone(&self, feed: &str, key: &Key) -> bool {
        self.gone.iter().any(|gone| gone.feed == feed && gone.key.reaches(key))
    }

    /// Lets go of what has run out and of names that nothing will refer to any more.
    fn forget(&mut self, now: DateTime<Utc>) {
        let over = &mut self.over;
        self.held.retain_mut(|held| {
            let told = held.told;
            held.notices.retain(|notice| {
                let runs = now < notice.until;
                if !runs && told {
                    over.push(notice.clone());
                }
                runs
            });
            !held.notices.is_empty()
        });
        self.gone
            .retain(|gone| now - gone.since < TimeDelta::days(REMEMBERED_DAYS));
        let (held, gone) = (self.held.len(), self.gone.len());
        self.held.drain(..held.saturating_sub(MOST));
        self.gone.drain(..gone.saturating_sub(MOST));
        let over = self.over.len();
        self.over.drain(..over.saturating_sub(MOST));
    }
}

/// Whether two names are versions of one warning: alike up to a version written as ".v3.0" or "_v2" in them.
fn is_version_of(one: &Key, other: &Key) -> bool {
    let same_sender = one.sender.is_empty() || other.sender.is_empty() || one.sender == other.sender;
    match (stem(&one.identifier), stem(&other.identifier)) {
        (Some(a), Some(b)) => same_sender && a == b,
        _ => false,
    }
}

/// An identifier without its version, in two parts; `None` if it has none.
fn stem(identifier: &str) -> Option<(&str, &str)> {
    let signs = identifier.char_indices();
    let starts = signs
        .filter(|(_, sign)| matches!(sign, '.' | '_' | '-'))
        .map(|(at, _)| at);
    for at in starts {
        let Some(after) = identifier.get(at + 1..).and_then(|rest| rest.strip_prefix(['v', 'V'])) else {
            continue;
        };
        let version = after.len()
            - after
                .trim_start_matches(|sign: char| sign.is_ascii_digit() || sign == '.')
                .len();
        let digits = after.get(..version).unwrap_or_default().trim_end_matches('.').len();
        if digits > 0 {
            return Some((identifier.get(..at)?, after.get(digits..)?));
        }
    }
    None
}

fn is_test(warning: &Warning) -> bool {
    warning.infos.iter().any(|info| {
        says_test(
            &[&info.event, &info.headline],
            &[&info.description, &info.instruction, &warning.note],
        )
    })
}

/// What a message says to a farm: the infos of one language that hold there, each event once.
fn notices(warning: &Warning, farm: &Farm, now: DateTime<Utc>, note: &mut Option<String>) -> Vec<Notice> {
    let mut notices: Vec<Notice> = Vec::new();
    let language = language(&warning.infos, &farm.language);
    for info in warning.infos.iter().filter(|info| info.language == language) {
        if info.all_clear || info.green || info.marine || info.urgency == Urgency::Past {
            continue;
        }
        let kind = kind(info, &warning.infos);
        let Some((found, area)) = covers(info, farm) else {
            continue;
        };
        let sent = warning.key.sent.or(info.effective).or(info.onset).unwrap_or(now);
        let (until, until_is) = end(info, sent);
        if until <= sent {
            *note = Some(format!(
                "the warning {} ends before it was sent and is left out",
                warning.key.identifier
            ));
            continue;
        }
        if kind == Kind::Other || until <= now {
            continue;
        }
        let notice = Notice {
            kind,
            event: info.event.clone(),
            issuer: if info.issuer.is_empty() {
                warning.key.sender.clone()
            } else {
                info.issuer.clone()
            },
            sent,
            from: info.onset.or(info.effective).unwrap_or(sent).min(until),
            until,
            until_is,
            severity: info.severity,
            certainty: info.certainty,
            headline: info.headline.clone(),
            description: info.description.clone(),
            instruction: info.instruction.clone(),
            area: area.to_owned(),
            found,
            language: info.language.clone(),
        };
        let same = |other: &Notice| {
            (other.kind, other.from, other.until, &other.event)
                == (notice.kind, notice.from, notice.until, &notice.event)
        };
        if !notices.iter().any(same) {
            notices.push(notice);
        }
    }
    notices
}

/// The farm's language if the message has it, else English, else the first it has.
fn language<'a>(infos: &'a [Info], wanted: &str) -> &'a str {
    let primary = |tag: &str| tag.split(['-', '_']).next().unwrap_or_default().to_ascii_lowercase();
    let of = |wanted: &str| {
        let mut found = infos.iter().filter(|info| primary(&info.language) == primary(wanted));
        found.next().map(|info| info.language.as_str())
    };
    let first = || infos.first().map(|info| info.language.as_str());
    of(wanted).or_else(|| of("en")).or_else(first).unwrap_or_default()
}

/// What an info is about; the same event in another language may name it in a word that is known.
fn kind(info: &Info, all: &[Info]) -> Kind {
    if info.kind != Kind::Other {
        return info.kind;
    }
    let twin = |other: &&Info| {
        other.language != info.language
            && other.onset == info.onset
            && other.expires == info.expires
            && other.kind != Kind::Other
    };
    all.iter().find(twin).map_or(Kind::Other, |other| other.kind)
}

fn covers<'a>(info: &'a Info, farm: &Farm) -> Option<(Found, &'a str)> {
    let found = info
        .areas
        .iter()
        .filter_map(|area| Some((area.covers(&farm.spot)?, area.description.as_str())));
    found.max_by_key(|(found, _)| *found)
}

fn end(info: &Info, sent: DateTime<Utc>) -> (DateTime<Utc>, Until) {
    match (info.ends, info.expires) {
        (Some(ends), _) => (ends, Until::Ends),
        (None, Some(expires)) => (expires, Until::Expires),
        (None, None) => (sent + TimeDelta::hours(OWN_LIMIT_H), Until::OwnLimit),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(identifier: &str) -> Key {
        Key {
            sender: "met@example.org".to_owned(),
            identifier: identifier.to_owned(),
            sent: None,
        }
    }

    #[test]
    fn versions_of_one_warning_are_known_by_their_stem() {
        let version = |one: &str, other: &str| is_version_of(&key(one), &key(other));
        assert!(version(
            "2.49.0.0.826.0.GB_2212_8785e37a.v3.0.SI",
            "2.49.0.0.826.0.GB_2212_8785e37a.v2.0.SI"
        ));
        assert!(version("storm_v1", "storm_v12"));
        assert!(!version("storm_v1", "other_v1"));
        assert!(!version("a.v1.WI", "a.v2.TS"));
        assert!(!version("plain", "plain"));
        assert!(!version("the-valley-1", "the-valley-2"));
    }
}
