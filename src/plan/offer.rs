//! What the weather offers one need: its openings, what holds them back, and how many chances are left.

use chrono::{DateTime, Datelike, NaiveDate, Utc};

use super::need::Need;
use super::{Held, NextJob};
use crate::farm::block::BlockId;
use crate::farm::harvest::Blackout;
use crate::farm::{Farm, Job};
use crate::workability::{BlockOutlook, Chance, Opening, Verdict};

pub(super) fn next_job(farm: &Farm, need: &Need, outlook: Option<&BlockOutlook>, now: DateTime<Utc>) -> NextJob {
    let today = farm.site.zone.day(now);
    let (from, last_day) = match outlook.and_then(|outlook| danger_day(farm, outlook)) {
        Some(danger) if need.job == Job::Check => (today, Some(danger.max(today))),
        _ => (need.from, need.last_day),
    };
    let until = need
        .possible_until
        .or(if need.job == Job::Check { last_day } else { None });
    let openings: Vec<Opening> = outlook
        .into_iter()
        .flat_map(|outlook| &outlook.openings)
        .filter(|opening| opening.best.job == need.job)
        .filter(|opening| until.is_none_or(|until| farm.site.zone.day(opening.start) <= until))
        .filter(|opening| !blacked_out(farm, &need.block, need.job, opening.best.start, opening.best.end))
        .cloned()
        .collect();
    let usable = |opening: &&Opening| opening.best.verdict >= Verdict::Maybe && works_that_day(farm, opening.start);
    let chances_left = openings.iter().filter(usable).count();
    NextJob {
        job: need.job,
        rows: need.rows,
        metres: need.metres,
        rolls: need.rolls,
        people: need.people,
        length: need.length,
        from,
        last_day,
        booked: None,
        chosen: None,
        held: need.held.clone().or_else(|| held(farm, need, outlook, &openings, now)),
        chances_left,
        any_chance: any_chance(openings.iter().filter(usable)),
        openings,
        if_missed: need.if_missed,
    }
}

/// The local day of the tie danger within 48 h, if it passes what acting costs.
fn danger_day(farm: &Farm, outlook: &BlockOutlook) -> Option<NaiveDate> {
    let worst = outlook.worst_hour?;
    let beaten = worst
        .beaten
        .map_or(worst.gust_high.0 >= outlook.critical_gust.0, |chance| {
            chance.share() > farm.limits.act_cost_share
        });
    // Walking the ties must be over before the wind: a danger before noon calls for the day before.
    let local = farm.site.zone.local(worst.at);
    let day = if local.time() < farm.crew.break_end {
        local.date().pred_opt()?
    } else {
        local.date()
    };
    beaten.then_some(day)
}

/// Why nothing can be taken although the weather offers something.
fn held(
    farm: &Farm,
    need: &Need,
    outlook: Option<&BlockOutlook>,
    openings: &[Opening],
    now: DateTime<Utc>,
) -> Option<Held> {
    let offered = outlook?
        .openings
        .iter()
        .filter(|opening| opening.best.job == need.job && opening.best.verdict >= Verdict::Maybe);
    if openings.iter().any(|opening| opening.best.verdict >= Verdict::Maybe) {
        let all_rest = openings
            .iter()
            .filter(|opening| opening.best.verdict >= Verdict::Maybe)
            .all(|opening| !works_that_day(farm, opening.start));
        return all_rest.then_some(Held::NoCrew);
    }
    let black = offered
        .flat_map(|opening| forbidding(farm, &need.block, need.job, opening.best.start, opening.best.end))
        .filter(|blackout| blackout.to > now)
        .max_by_key(|blackout| blackout.to)?;
    Some(Held::NoEntry {
        until: black.to,
        text: black.text.clone(),
    })
}

/// Members with at least one usable opening, counted.
fn any_chance<'a>(openings: impl Iterator<Item = &'a Opening>) -> Option<Chance> {
    let mut any: Vec<bool> = Vec::new();
    for opening in openings {
        let works = &opening.best.works_in;
        if any.len() < works.len() {
            any.resize(works.len(), false);
        }
        any.iter_mut().zip(works).for_each(|(any, works)| *any |= works);
    }
    (!any.is_empty()).then(|| Chance {
        good: any.iter().filter(|any| **any).count(),
        of: any.len(),
    })
}

pub(super) fn works_that_day(farm: &Farm, at: DateTime<Utc>) -> bool {
    farm.crew.workdays.contains(&farm.site.zone.day(at).weekday())
}

fn forbidding<'a>(
    farm: &'a Farm,
    block: &BlockId,
    job: Job,
    start: DateTime<Utc>,
    end: DateTime<Utc>,
) -> Vec<&'a Blackout> {
    farm.blackouts
        .iter()
        .filter(|black| black.forbids(block, job) && black.from < end && start < black.to)
        .collect()
}

pub(super) fn blacked_out(farm: &Farm, block: &BlockId, job: Job, start: DateTime<Utc>, end: DateTime<Utc>) -> bool {
    !forbidding(farm, block, job, start, end).is_empty()
}

/// A black-out that shuts the whole block now.
pub(super) fn no_entry(farm: &Farm, block: &BlockId, now: DateTime<Utc>) -> Option<(DateTime<Utc>, String)> {
    let mut shut = farm
        .blackouts
        .iter()
        .filter(|black| black.from <= now && now < black.to && black.jobs.is_empty())
        .filter(|black| black.blocks.is_empty() || black.blocks.contains(block));
    let first = shut.next()?;
    let longest = shut.fold(
        first,
        |longest, black| if black.to > longest.to { black } else { longest },
    );
    Some((longest.to, longest.text.clone()))
}
