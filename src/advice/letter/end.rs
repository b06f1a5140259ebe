//! The end of the letter.

use chrono::TimeDelta;

use super::End;
use super::lead::Lead;
use super::morning::Morning;
use crate::advice::words;
use crate::farm::Job;

/// Minutes after which a missing letter means that something is wrong.
const LATE_MINUTES: i64 = 45;

impl<'a> Morning<'a> {
    pub(super) fn end(&self, lead: &Lead<'a>) -> End {
        let farm = self.inputs.farm;
        let next = self.inputs.next_letter;
        let day = self.words.zone.local(next).format("%a");
        let late = self.words.clock(next + TimeDelta::minutes(LATE_MINUTES));
        let ring = farm
            .contact()
            .map_or_else(String::new, |person| format!(": ring {}", words::name(&person.name)));
        let credits = self.inputs.timeline.map(|timeline| {
            timeline
                .credits
                .iter()
                .map(|credit| words::name(&credit.line))
                .collect()
        });
        End {
            next: format!(
                "{day} {}. None by {late}? Something is wrong here{ring}.",
                self.words.clock(next)
            ),
            report: self.report(lead),
            why: format!("covercast explain {}", self.id()),
            limits: "Estimates from open forecasts. Your own eyes, local rules, the makers' instructions and licensed \
                     practice come first."
                .to_owned(),
            credits: credits.unwrap_or_default(),
        }
    }

    /// The command that reports the headline's job, or the first job of today.
    fn report(&self, lead: &Lead<'a>) -> String {
        let first = || {
            let tasks = self.tasks_on(|day| day == self.words.today);
            tasks.first().and_then(|task| self.place(task.block, task.job))
        };
        let Some(place) = lead.place().or_else(first) else {
            return "covercast note laid|checked|lifted|folded|redried|dry --block NAME".to_owned();
        };
        let done = match place.job.job {
            Job::Lay => "laid",
            Job::Check => "checked",
            Job::Fold => "folded",
            Job::Lift => "lifted",
            Job::Redry => "redried",
        };
        let name = words::name(&place.block.0);
        let simple = name.chars().all(|sign| sign.is_alphanumeric() || "-_.".contains(sign));
        let name = if simple {
            name
        } else {
            format!("'{}'", name.replace('\'', "'\\''"))
        };
        format!(
            "covercast note {done} --block {name} --rows {}",
            words::row_numbers(place.job.rows)
        )
    }
}
