//! `covercast note`: what the crew did or saw, added to the record.

use std::fmt::Write as _;
use std::path::PathBuf;

use chrono::{DateTime, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Utc};
use clap::{Args, ValueEnum};

use super::{Failure, loaded};
use crate::daemon::Clock;
use crate::farm::Farm;
use crate::farm::block::{Block, BlockId, Rows};
use crate::farm::zone::Zone;
use crate::record::{Entry, Event, Face, Ground};
use crate::settings::clean;
use crate::store::Store;

/// A report may be this far ahead of the clock: two clocks seldom agree.
const AHEAD: TimeDelta = TimeDelta::minutes(15);

/// What is reported.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// What was done or seen
    what: What,
    /// Folder of the farm
    #[arg(long, default_value = ".", value_name = "DIR")]
    farm: PathBuf,
    /// Service file; `service.toml` in the farm folder if not named
    #[arg(long, value_name = "FILE")]
    service: Option<PathBuf>,
    /// Which block
    #[arg(long)]
    block: String,
    /// Which rows, as 1-12 or 7; all if not told
    #[arg(long)]
    rows: Option<String>,
    /// When, as 14:30 (today), "2026-03-10 14:30" (farm time) or RFC 3339; now if not told
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// With `lifted`: it went onto the roll damp or wet
    #[arg(long)]
    wet: bool,
    /// With `dry`: which face was felt
    #[arg(long)]
    face: Option<FaceWord>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum What {
    /// Unrolled and tied
    Laid,
    /// Ties walked and mended
    Checked,
    /// Wound up
    Lifted,
    /// One side untied and turned over
    Folded,
    /// A damp roll was spread and dried
    Redried,
    /// Felt and found dry
    Dry,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum FaceWord {
    /// The upper face
    Top,
    /// The lower face
    Underside,
}

/// Adds the report and prints what was understood and what lies out now.
pub(super) fn note(arguments: &Arguments) -> Result<String, Failure> {
    let now = Clock::Wall.now();
    let farm = loaded::farm(&arguments.farm)?;
    let entry = read(arguments, &farm, now)?;
    let service = loaded::service(arguments.service.as_ref(), &arguments.farm, now)?;
    let store = Store::open(&service.state)?;
    let before = Ground::at(&store.entries(&farm.id)?, entry.at);
    store.note(&farm.id, &entry)?;
    let after = Ground::at(&store.entries(&farm.id)?, now.max(entry.at));
    Ok(told(&farm, &entry, &before, &after, now))
}

fn usage(text: String) -> Failure {
    Failure { code: 2, text }
}

fn read(arguments: &Arguments, farm: &Farm, now: DateTime<Utc>) -> Result<Entry, Failure> {
    let block = block(farm, &arguments.block)?;
    let rows = match &arguments.rows {
        None => block.all_rows(),
        Some(text) => rows(text, block)?,
    };
    let at = match &arguments.at {
        None => now,
        Some(text) => instant(text, &farm.site.zone, now)?,
    };
    Ok(Entry {
        block: block.id.clone(),
        rows,
        event: event(arguments)?,
        at,
        noted: now,
    })
}

fn event(arguments: &Arguments) -> Result<Event, Failure> {
    if arguments.wet && arguments.what != What::Lifted {
        return Err(usage(
            "--wet goes with `lifted` only: it says that the roll is damp".to_owned(),
        ));
    }
    if arguments.face.is_some() && arguments.what != What::Dry {
        return Err(usage(
            "--face goes with `dry` only: it says which face was felt".to_owned(),
        ));
    }
    Ok(match (arguments.what, arguments.face) {
        (What::Laid, _) => Event::Laid,
        (What::Checked, _) => Event::Checked,
        (What::Lifted, _) => Event::Lifted { wet: arguments.wet },
        (What::Folded, _) => Event::Folded,
        (What::Redried, _) => Event::Redried,
        (What::Dry, Some(FaceWord::Top)) => Event::Dry { face: Face::Top },
        (What::Dry, Some(FaceWord::Underside)) => Event::Dry { face: Face::Underside },
        (What::Dry, None) => {
            return Err(usage(
                "`dry` needs --face top or --face underside: which one was felt?".to_owned(),
            ));
        }
    })
}

/// The block of that name; upper and lower case do not matter, and a slip is answered with the nearest name.
fn block<'a>(farm: &'a Farm, name: &str) -> Result<&'a Block, Failure> {
    let fits = |block: &&Block| block.id.0.to_lowercase() == name.trim().to_lowercase();
    if let Some(block) = farm
        .block(&BlockId(name.to_owned()))
        .or_else(|| farm.blocks.iter().find(fits))
    {
        return Ok(block);
    }
    let nearest = farm
        .blocks
        .iter()
        .map(|block| {
            (
                strsim::damerau_levenshtein(&block.id.0.to_lowercase(), &name.to_lowercase()),
                &block.id,
            )
        })
        .min_by_key(|(distance, _)| *distance)
        .filter(|(distance, _)| *distance <= 2);
    let hint = match nearest {
        Some((_, id)) => format!("did you mean {id}?"),
        None => format!(
            "there are {}",
            farm.blocks
                .iter()
                .map(|block| block.id.0.as_str())
                .collect::<Vec<_>>()
                .join(", ")
        ),
    };
    Err(usage(format!(
        "there is no block \"{}\"; {hint}; nothing was recorded",
        clean(name)
    )))
}

fn rows(text: &str, block: &Block) -> Result<Rows, Failure> {
    let all = block.all_rows();
    let mut ends = text.trim().splitn(2, ['-', '–']).map(|end| end.trim().parse::<u32>());
    let read = match (ends.next(), ends.next()) {
        (Some(Ok(row)), None) => Some(Rows { first: row, last: row }),
        (Some(Ok(first)), Some(Ok(last))) => Some(Rows { first, last }),
        _ => None,
    };
    match read {
        Some(rows) if rows.first >= 1 && rows.first <= rows.last && rows.last <= all.last => Ok(rows),
        _ => Err(usage(format!(
            "rows \"{}\" are not in {}, which has rows 1-{}; write --rows 1-{} or --rows 7; nothing was recorded",
            clean(text),
            block.id,
            all.last,
            all.last
        ))),
    }
}

fn instant(text: &str, zone: &Zone, now: DateTime<Utc>) -> Result<DateTime<Utc>, Failure> {
    let text = text.trim();
    let today = zone.day(now);
    let time = |text: &str| {
        ["%H:%M", "%H:%M:%S"]
            .iter()
            .find_map(|form| NaiveTime::parse_from_str(text, form).ok())
    };
    let date_and_time = |text: &str| {
        let (date, clock) = text.split_once([' ', 'T'])?;
        Some(NaiveDateTime::new(date.parse::<NaiveDate>().ok()?, time(clock)?))
    };
    let at = if let Ok(at) = DateTime::parse_from_rfc3339(text) {
        at.to_utc()
    } else if let Some(local) = time(text)
        .map(|clock| today.and_time(clock))
        .or_else(|| date_and_time(text))
    {
        zone.instant(local)
    } else {
        return Err(usage(format!(
            "\"{}\" is no time; write 14:30, \"{today} 14:30\" or an RFC 3339 time; nothing was recorded",
            clean(text)
        )));
    };
    if at > now + AHEAD {
        let local = zone.local(at).format("%a %-d %b %H:%M");
        return Err(usage(format!(
            "{local} is still to come; report it when it has been done; nothing was recorded"
        )));
    }
    Ok(at)
}

/// What was understood, what is odd about it, and what lies out now.
fn told(farm: &Farm, entry: &Entry, before: &Ground, after: &Ground, now: DateTime<Utc>) -> String {
    let zone = &farm.site.zone;
    let moment = |at: DateTime<Utc>| zone.local(at).format("%a %-d %b %H:%M").to_string();
    let mut text = format!(
        "Recorded: {} {} {}, {}.\n",
        entry.block,
        span(entry.rows),
        done(entry.event),
        moment(entry.at)
    );
    let missing = rows_not_out(entry, before);
    if !missing.is_empty() && !matches!(entry.event, Event::Laid | Event::Redried) {
        let _ = writeln!(
            text,
            "Note: nothing was reported lying in {} of {}. If that is wrong, report the laying too.",
            list(&missing),
            entry.block
        );
    }
    let lying = after.lying(&entry.block);
    if lying.is_empty() {
        let _ = writeln!(text, "Now nothing lies out in {}.", entry.block);
    }
    for piece in lying {
        let days = (zone.day(now) - zone.day(piece.laid)).num_days();
        let folded = if piece.folded { ", folded aside" } else { "" };
        let since = zone.local(piece.laid).format("%-d %b");
        let _ = writeln!(
            text,
            "Now out in {}: {} since {since} ({days} days){folded}.",
            entry.block,
            span(piece.rows)
        );
    }
    for roll in after.damp.iter().filter(|roll| roll.block == entry.block) {
        let _ = writeln!(
            text,
            "Damp on the roll: {}, lifted {}. Open and dry it soon, or it will mould.",
            span(roll.rows),
            moment(roll.lifted)
        );
    }
    text
}

fn rows_not_out(entry: &Entry, before: &Ground) -> Vec<u32> {
    let lies = |row: &u32| {
        before
            .lying(&entry.block)
            .iter()
            .any(|lying| lying.rows.numbers().contains(row))
    };
    entry.rows.numbers().filter(|row| !lies(row)).collect()
}

fn list(rows: &[u32]) -> String {
    match (rows.first(), rows.last()) {
        (Some(first), Some(last)) if usize::try_from(last - first).is_ok_and(|length| length + 1 == rows.len()) => {
            span(Rows {
                first: *first,
                last: *last,
            })
        }
        _ => format!(
            "rows {}",
            rows.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
        ),
    }
}

fn span(rows: Rows) -> String {
    if rows.first == rows.last {
        format!("row {}", rows.first)
    } else {
        format!("rows {}-{}", rows.first, rows.last)
    }
}

fn done(event: Event) -> &'static str {
    match event {
        Event::Laid => "laid",
        Event::Checked => "checked",
        Event::Lifted { wet: false } => "lifted, dry",
        Event::Lifted { wet: true } => "lifted, damp",
        Event::Folded => "folded aside",
        Event::Redried => "dried again",
        Event::Dry { face: Face::Top } => "felt dry on top",
        Event::Dry { face: Face::Underside } => "felt dry on the underside",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rome() -> Zone {
        Zone::named("Europe/Rome").unwrap()
    }

    fn now() -> DateTime<Utc> {
        "2026-03-10T15:00:00Z".parse().unwrap()
    }

    #[test]
    fn a_time_is_read_as_the_farm_says_it() {
        for (text, wanted) in [
            ("14:30", "2026-03-10T13:30:00Z"),
            ("2026-03-09 08:00", "2026-03-09T07:00:00Z"),
            ("2026-03-09T08:00", "2026-03-09T07:00:00Z"),
            ("2026-03-09T08:00:00+13:00", "2026-03-08T19:00:00Z"),
        ] {
            assert_eq!(
                instant(text, &rome(), now()).unwrap(),
                wanted.parse::<DateTime<Utc>>().unwrap(),
                "{text}"
            );
        }
        for text in ["", "half two", "10/03/2026 14:30", "25:00"] {
            assert!(
                instant(text, &rome(), now()).unwrap_err().text.contains("is no time"),
                "{text}"
            );
        }
        assert!(
            instant("18:30", &rome(), now())
                .unwrap_err()
                .text
                .contains("still to come")
        );
    }
}
