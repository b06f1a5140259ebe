//! All usable hours, best first.

use chrono::TimeDelta;

use super::headline::place_name;
use super::lead::Lead;
use super::morning::{Morning, Place};
use super::{WindowLine, Windows};
use crate::advice::reasons;
use crate::farm::Job;
use crate::workability::{Opening, Remark};

/// Most windows of one job.
const MOST_WINDOWS: usize = 4;

impl<'a> Morning<'a> {
    /// Usable hours of every job in force.
    pub(super) fn windows(&self, lead: &Lead<'a>) -> Option<Windows> {
        self.weather?;
        let first = lead.place().map(|place| place.job.job);
        let mut jobs: Vec<Job> = Job::ALL.into_iter().filter(|job| *job != Job::Redry).collect();
        jobs.sort_by_key(|job| (Some(*job) != first, *job != Job::Lift, *job != Job::Lay));
        let lines: Vec<WindowLine> = jobs.into_iter().flat_map(|job| self.windows_of(job)).collect();
        let soon = self.words.today + TimeDelta::days(10);
        let wanted = self.places().any(|place| place.job.from <= soon);
        let none = if wanted {
            "No usable hours in ten days."
        } else {
            "No job waits for the weather in the next ten days."
        };
        let none = lines.is_empty().then(|| none.to_owned());
        Some(Windows { lines, none })
    }

    fn windows_of(&self, job: Job) -> Vec<WindowLine> {
        let mut all: Vec<(Place<'a>, &'a Opening)> = Vec::new();
        for place in self
            .places()
            .filter(|place| place.job.job == job && !self.shut(place.block))
        {
            let open = self
                .best_of_each_day(&place.job.openings)
                .into_iter()
                .filter(|opening| {
                    let day = self.words.day_of(opening.start);
                    self.works(day) && place.job.from <= day
                });
            all.extend(open.map(|opening| (place, opening)));
        }
        all.sort_by(|a, b| {
            b.1.best
                .score
                .total_cmp(&a.1.best.score)
                .then(a.1.start.cmp(&b.1.start))
        });
        // Walks and the way out fit most days: two lines say it.
        let most = if matches!(job, Job::Lift | Job::Lay) {
            MOST_WINDOWS
        } else {
            MOST_WINDOWS / 2
        };
        let mut lines: Vec<WindowLine> = Vec::new();
        for (place, opening) in all {
            let line = self.window_line(place, opening);
            let same = |known: &&mut WindowLine| {
                known.when == line.when && known.odds == line.odds && known.held_by == line.held_by
            };
            if let Some(known) = lines.iter_mut().find(same) {
                known.blocks = format!("{}, {}", known.blocks, line.blocks);
            } else if lines.len() < most {
                lines.push(line);
            }
        }
        lines
    }

    fn window_line(&self, place: Place<'a>, opening: &Opening) -> WindowLine {
        let job = place.job.job;
        let day = self.words.day_of(opening.start);
        let damp = opening.best.remarks.contains(&Remark::Damp);
        let held = self
            .held_word(place)
            .or_else(|| damp.then(|| "damp: dry the rolls after".to_owned()));
        let mut reasons: Vec<&str> = opening
            .best
            .reasons
            .iter()
            .map(|reason| reasons::short(job, reason.factor))
            .collect();
        reasons.dedup();
        reasons.truncate(2);
        let held_by = match (held, reasons.is_empty()) {
            (Some(held), _) => held,
            (None, true) => "nothing".to_owned(),
            (None, false) => reasons.join(", "),
        };
        let day_said = if day == self.words.today {
            day.format("%a").to_string()
        } else {
            self.words.day(day)
        };
        WindowLine {
            job: match job {
                Job::Lay => "Lay",
                Job::Check => "Ties",
                Job::Fold => "Fold aside",
                Job::Lift => "Lift",
                Job::Redry => "Dry rolls",
            }
            .to_owned(),
            blocks: place_name(place),
            when: format!("{day_said} {}", self.words.span(opening.start, opening.end)),
            odds: self.odds(&opening.best),
            firm: opening.best.firm,
            held_by,
        }
    }
}
