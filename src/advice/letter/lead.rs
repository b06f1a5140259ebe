//! Which job leads the letter.

use super::morning::{Morning, Place, usable};
use crate::farm::block::BlockId;
use crate::plan::Task;
use crate::workability::{Opening, Verdict, Window};

/// What the letter leads with.
#[derive(Debug, Clone, Copy)]
pub(super) enum Lead<'a> {
    /// No forecast may be used.
    Unknown,
    /// A job of today.
    Do {
        place: Place<'a>,
        task: &'a Task,
        opening: &'a Opening,
    },
    /// A job that is wanted but cannot be done today.
    Stopped {
        place: Place<'a>,
        next: Option<&'a Opening>,
    },
    /// A job that could be done today but is worth more later.
    Wait { place: Place<'a>, opening: &'a Opening },
    /// A job that is wanted, on a day of which nothing is known.
    Dark { place: Place<'a>, window: &'a Window },
    /// Nothing is due; the job that comes next.
    Nothing {
        next: Option<(Place<'a>, Option<&'a Opening>)>,
    },
}

impl<'a> Lead<'a> {
    pub(super) fn verdict(&self) -> Verdict {
        match self {
            Self::Unknown | Self::Dark { .. } => Verdict::Unknown,
            Self::Do { opening, .. } => opening.best.verdict,
            Self::Stopped { .. } | Self::Wait { .. } | Self::Nothing { .. } => Verdict::No,
        }
    }

    /// The job in the headline.
    pub(super) fn place(&self) -> Option<Place<'a>> {
        match self {
            Self::Do { place, .. }
            | Self::Stopped { place, .. }
            | Self::Wait { place, .. }
            | Self::Dark { place, .. } => Some(*place),
            Self::Unknown | Self::Nothing { .. } => None,
        }
    }

    /// The block whose cover the chart shows: the headline's, else the first with covers out, else the first.
    pub(super) fn chart_block(&self, morning: &Morning<'a>) -> Option<BlockId> {
        let blocks = &morning.inputs.plan.blocks;
        let lead = self.place().map(|place| place.block.clone());
        let out = blocks.iter().find(|block| block.out.is_some()).or(blocks.first());
        lead.or_else(|| out.map(|block| block.block.clone()))
    }
}

impl<'a> Morning<'a> {
    pub(super) fn lead(&self) -> Lead<'a> {
        if self.weather.is_none() {
            return Lead::Unknown;
        }
        let plan = self.inputs.plan;
        let first_task = || {
            self.tasks_on(|day| day == self.words.today)
                .first()
                .map(|task| (task.block, task.job))
        };
        let Some((block, job)) = plan.headline.map(|head| (head.block, head.job)).or_else(first_task) else {
            return Lead::Nothing { next: self.next_job() };
        };
        let Some(place) = self.place(block, job) else {
            return Lead::Nothing { next: self.next_job() };
        };
        let task = plan
            .tasks
            .iter()
            .find(|task| task.block == block && task.job == job && self.today_is(task.start));
        let chosen = self.chosen(place.job);
        if let (Some(task), Some(opening)) = (task, chosen) {
            return Lead::Do { place, task, opening };
        }
        if self.shut(place.block) || place.job.held.is_some() {
            return Lead::Nothing { next: self.next_job() };
        }
        let today = self.windows_on(place, self.words.today);
        let dark = !today.is_empty() && today.iter().all(|window| window.verdict == Verdict::Unknown);
        match (dark, today.first(), chosen) {
            (true, Some(window), _) => Lead::Dark { place, window },
            (_, _, Some(opening)) if self.open_today(place) => Lead::Wait { place, opening },
            _ => Lead::Stopped {
                place,
                next: chosen.or_else(|| self.next_offer(place)),
            },
        }
    }

    fn open_today(&self, place: Place<'a>) -> bool {
        let works = self.works(self.words.today);
        works && self.offers(place).iter().any(|opening| self.today_is(opening.start))
    }

    /// The first offer after today, on a workday.
    pub(super) fn next_offer(&self, place: Place<'a>) -> Option<&'a Opening> {
        let later = |opening: &&Opening| {
            let day = self.words.day_of(opening.start);
            day > self.words.today && self.works(day) && usable(opening)
        };
        self.offers(place).into_iter().find(later)
    }

    /// The chosen job that starts first, else the job that makes sense first.
    fn next_job(&self) -> Option<(Place<'a>, Option<&'a Opening>)> {
        let open = || self.places().filter(|place| !self.shut(place.block));
        let chosen = open().filter_map(|place| Some((place, self.chosen(place.job)?)));
        if let Some((place, opening)) = chosen.min_by_key(|(_, opening)| opening.best.start) {
            return Some((place, Some(opening)));
        }
        let waiting = open().filter(|place| place.job.held.is_none() && place.job.from > self.words.today);
        waiting.min_by_key(|place| place.job.from).map(|place| (place, None))
    }
}
