//! What one letter promised, for the next one to say what changed.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::headline::word;
use super::lead::Lead;
use super::morning::{Morning, share, usable};
use crate::advice::words;
use crate::farm::Job;
use crate::farm::block::BlockId;
use crate::plan::of_farm::Before;
use crate::workability::{DryPair, Verdict};

/// A chance must move by so many tenths to be worth a line.
const WORTH_TENTHS: f64 = 2.0;

/// The promises of one letter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Digest {
    /// Local day of the letter.
    pub day: NaiveDate,
    /// Days on which a job could be done.
    pub promises: Vec<Promise>,
    /// Dry times noted beside the modelled ones, kept because the weather of that day is gone by the next letters.
    #[serde(default)]
    pub dry_times: Vec<DryPair>,
    /// Half-days of the season's plan, by lot.
    #[serde(default)]
    pub season: BTreeMap<String, Before>,
}

/// One job of one block on one day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Promise {
    /// The block.
    pub block: BlockId,
    /// The job.
    pub job: Job,
    /// Local day.
    pub day: NaiveDate,
    /// Verdict of the best window of that day.
    pub verdict: Verdict,
    /// Chance, 0 to 1, if one was given.
    pub chance: Option<f64>,
    /// Whether the plan took it.
    pub planned: bool,
}

impl<'a> Morning<'a> {
    pub(super) fn digest(&self, lead: &Lead<'a>) -> Digest {
        let mut promises = Vec::new();
        for place in self.places().filter(|place| !self.shut(place.block)) {
            let chosen = self.chosen(place.job);
            for opening in self.offers(place) {
                promises.push(Promise {
                    block: place.block.clone(),
                    job: place.job.job,
                    day: self.words.day_of(opening.start),
                    verdict: opening.best.verdict,
                    chance: share(&opening.best),
                    planned: usable(opening) && chosen == Some(opening),
                });
            }
        }
        // The headline's job first: it is what tomorrow's reader remembers.
        let first = lead.place().map(|place| (place.block.clone(), place.job.job));
        promises.sort_by_key(|promise| Some((promise.block.clone(), promise.job)) != first);
        Digest {
            day: self.words.today,
            promises,
            dry_times: Vec::new(),
            season: BTreeMap::new(),
        }
    }

    /// One line: the headline's planned day moved, its verdict changed, or the chance that moved most.
    pub(super) fn since_yesterday(&self, lead: &Lead<'a>) -> Option<String> {
        self.weather?;
        let before = self.inputs.yesterday?;
        let now = self.digest(lead);
        let place = lead.place();
        if let Some(place) = place {
            let planned = |digest: &Digest| {
                let own = |promise: &&Promise| {
                    promise.block == *place.block && promise.job == place.job.job && promise.planned
                };
                digest.promises.iter().find(own).cloned()
            };
            if let (Some(was), Some(is)) = (planned(before), planned(&now)) {
                let job = words::capital(words::gerund(place.job.job));
                let name = words::name(&place.block.0);
                if was.day != is.day && was.day >= self.words.today {
                    let (from, to) = (self.words.day(was.day), self.words.day(is.day));
                    return Some(format!("{job} {name} moved from {from} to {to}."));
                }
                if was.verdict != is.verdict && was.day == is.day {
                    return Some(format!(
                        "{job} {name} went from {} to {}.",
                        word(was.verdict),
                        word(is.verdict)
                    ));
                }
                if was.day < self.words.today {
                    let passed = words::capital(&words::weekday(was.day).to_lowercase());
                    return Some(format!("{passed} passed. Next: {}.", self.words.day(is.day)));
                }
            }
        }
        self.moved_most(before, &now)
    }

    fn moved_most(&self, before: &Digest, now: &Digest) -> Option<String> {
        let mut most: Option<(f64, String)> = None;
        for is in &now.promises {
            let same = |was: &&Promise| was.block == is.block && was.job == is.job && was.day == is.day;
            let Some(was) = before.promises.iter().find(same) else {
                continue;
            };
            let (Some(from), Some(to)) = (was.chance, is.chance) else {
                continue;
            };
            let moved = ((to * 10.0).round() - (from * 10.0).round()).abs();
            if moved >= WORTH_TENTHS && most.as_ref().is_none_or(|(known, _)| moved > *known) {
                let day = if is.day == self.words.today {
                    "Today"
                } else {
                    words::weekday(is.day)
                };
                let verb = if to < from { "fell" } else { "rose" };
                let of = format!("{} {}", words::gerund(is.job), words::name(&is.block.0));
                most = Some((
                    moved,
                    format!(
                        "{day} {verb} from {} to {} for {of}.",
                        words::chance(from),
                        words::chance(to)
                    ),
                ));
            }
        }
        most.map(|(_, said)| said)
    }
}
