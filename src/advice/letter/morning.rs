//! The inputs with what every part of the letter asks of them.

use std::collections::BTreeMap;

use chrono::{DateTime, Datelike, NaiveDate, TimeDelta, Utc};

use super::{Inputs, Letter, SCHEMA};
use crate::advice::chart;
use crate::advice::reasons::Day;
use crate::advice::spread;
use crate::advice::words::{self, Words};
use crate::farm::block::{Block, BlockId};
use crate::plan::{NextJob, Task};
use crate::units::Millimetres;
use crate::weather::forecast::Kind;
use crate::weather::{Freshness, Timeline};
use crate::workability::{BlockOutlook, Opening, Remark, Verdict, Window};

/// A job with the block it belongs to.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place<'a> {
    pub(super) block: &'a BlockId,
    pub(super) job: &'a NextJob,
}

/// One morning.
#[derive(Debug)]
pub(super) struct Morning<'a> {
    pub(super) inputs: &'a Inputs<'a>,
    pub(super) words: Words<'a>,
    /// The weather, if it may be used.
    pub(super) weather: Option<&'a Timeline>,
}

impl<'a> Morning<'a> {
    pub(super) fn new(inputs: &'a Inputs<'a>) -> Self {
        let site = &inputs.farm.site;
        Self {
            inputs,
            words: Words {
                zone: &site.zone,
                units: site.units,
                today: site.zone.day(inputs.now),
            },
            weather: inputs
                .timeline
                .filter(|timeline| timeline.freshness != Freshness::Unknown),
        }
    }

    pub(super) fn letter(&self) -> Letter {
        let inputs = self.inputs;
        let lead = self.lead();
        let headline = self.headline(&lead);
        let partly_unknown = lead.verdict() != Verdict::Unknown && self.partly_unknown();
        let good_until = self.good_until();
        Letter {
            schema: SCHEMA.to_owned(),
            id: self.id(),
            farm: words::name(&inputs.farm.site.name),
            farm_id: inputs.farm.id.clone(),
            zone: inputs.farm.site.zone.name().to_owned(),
            units: inputs.farm.site.units,
            issued: inputs.now,
            good_until,
            next_letter: inputs.next_letter,
            subject: self.subject(&lead, partly_unknown),
            verdict: lead.verdict(),
            partly_unknown,
            head: self.head(good_until),
            headline,
            today: self.today(&lead),
            warnings: self.warnings(),
            ahead: self.ahead(),
            turns: self.turns(&lead),
            since_yesterday: self.since_yesterday(&lead),
            why: self.why(&lead),
            fails: self.fails(&lead),
            windows: self.windows(&lead),
            blocks: self.blocks(),
            season: self.season(),
            ties: self.ties(),
            rolls: self.rolls(),
            care: self.care(),
            end: self.end(&lead),
            chart: self
                .weather
                .map(|weather| chart::gather::gather(inputs, weather, &lead.chart_block(self))),
            jobs: self.job_facts(),
            digest: self.digest(&lead),
        }
    }

    pub(super) fn id(&self) -> String {
        format!("L-{:04}", self.inputs.number)
    }

    pub(super) fn today_is(&self, at: DateTime<Utc>) -> bool {
        self.words.day_of(at) == self.words.today
    }

    pub(super) fn place(&self, block: usize, job: usize) -> Option<Place<'a>> {
        let block = self.inputs.plan.blocks.get(block)?;
        Some(Place {
            block: &block.block,
            job: block.jobs.get(job)?,
        })
    }

    /// Every job of every block.
    pub(super) fn places(&self) -> impl Iterator<Item = Place<'a>> + use<'a> {
        let blocks = &self.inputs.plan.blocks;
        blocks.iter().flat_map(|block| {
            block.jobs.iter().map(|job| Place {
                block: &block.block,
                job,
            })
        })
    }

    pub(super) fn farm_block(&self, id: &BlockId) -> Option<&'a Block> {
        self.inputs.farm.block(id)
    }

    pub(super) fn outlook(&self, id: &BlockId) -> Option<&'a BlockOutlook> {
        self.weather?;
        self.inputs.outlooks.iter().find(|outlook| outlook.block == *id)
    }

    pub(super) fn one_forecast(&self) -> bool {
        self.weather.is_some_and(|weather| weather.kind == Kind::Single)
    }

    pub(super) fn works(&self, day: NaiveDate) -> bool {
        self.inputs.farm.crew.workdays.contains(&day.weekday())
    }

    /// The first workday after today; tomorrow if no day is one.
    pub(super) fn next_workday(&self) -> NaiveDate {
        let tomorrow = self.words.today + TimeDelta::days(1);
        (0..7)
            .map(|more| tomorrow + TimeDelta::days(more))
            .find(|day| self.works(*day))
            .unwrap_or(tomorrow)
    }

    pub(super) fn crew_day(&self, day: NaiveDate) -> Day {
        let (zone, crew) = (self.words.zone, &self.inputs.farm.crew);
        let (midnight, next) = (zone.day_start(day), zone.day_start(day + TimeDelta::days(1)));
        let rain = self
            .weather
            .and_then(|weather| spread::rain_sum(weather, midnight, next));
        Day {
            start: zone.instant(day.and_time(crew.start)),
            end: zone.instant(day.and_time(crew.end)),
            rain: rain.map(|rain| Millimetres(rain.middle)),
        }
    }

    /// Whether a whole block may not be entered now.
    pub(super) fn shut(&self, id: &BlockId) -> bool {
        self.inputs
            .plan
            .blocks
            .iter()
            .any(|block| block.block == *id && block.no_entry.is_some())
    }

    /// Openings of a job that may be offered, the best of each local day, in time order.
    pub(super) fn offers(&self, place: Place<'a>) -> Vec<&'a Opening> {
        if self.weather.is_none() || place.job.held.is_some() {
            return Vec::new();
        }
        self.best_of_each_day(&place.job.openings)
    }

    /// The chosen or else best usable opening of each local day, in time order.
    pub(super) fn best_of_each_day(&self, openings: &'a [Opening]) -> Vec<&'a Opening> {
        let mut best: BTreeMap<NaiveDate, &Opening> = BTreeMap::new();
        for opening in openings.iter().filter(|opening| usable(opening)) {
            let known = best.entry(self.words.day_of(opening.start)).or_insert(opening);
            let worth = |one: &Opening| (one.best.verdict, one.best.score);
            if worth(opening) > worth(known) {
                *known = opening;
            }
        }
        best.into_values().collect()
    }

    pub(super) fn chosen(&self, job: &'a NextJob) -> Option<&'a Opening> {
        self.weather?;
        job.openings.get(job.chosen?)
    }

    /// All windows of a job on one local day.
    pub(super) fn windows_on(&self, place: Place<'a>, day: NaiveDate) -> Vec<&'a Window> {
        let Some(outlook) = self.outlook(place.block) else {
            return Vec::new();
        };
        let of_job = outlook.windows.iter().filter(|window| window.job == place.job.job);
        of_job.filter(|window| self.words.day_of(window.start) == day).collect()
    }

    pub(super) fn tasks_on(&self, wanted: impl Fn(NaiveDate) -> bool) -> Vec<&'a Task> {
        if self.weather.is_none() {
            return Vec::new();
        }
        self.inputs
            .plan
            .tasks
            .iter()
            .filter(|task| wanted(self.words.day_of(task.start)))
            .collect()
    }

    /// "6 in 10", or the verdict's word where no chance is given.
    pub(super) fn odds(&self, window: &Window) -> String {
        share(window).map_or_else(
            || match window.verdict {
                Verdict::Go => "go".to_owned(),
                Verdict::Maybe => "maybe".to_owned(),
                Verdict::No => "no".to_owned(),
                Verdict::Unknown => "not known".to_owned(),
            },
            words::chance,
        )
    }
}

/// Go or maybe.
pub(super) fn usable(opening: &Opening) -> bool {
    opening.best.verdict >= Verdict::Maybe
}

/// The chance of a window; the main forecast can only lower it.
pub(super) fn share(window: &Window) -> Option<f64> {
    let share = window.chance?.share();
    let doubted = window
        .remarks
        .iter()
        .any(|remark| matches!(remark, Remark::MainDisagrees { .. }));
    Some(if doubted { share.min(0.5) } else { share })
}
