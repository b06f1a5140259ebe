//! Recommended jobs as plain values.

use chrono::TimeDelta;

use super::JobFact;
use super::headline::doing;
use super::morning::{Morning, Place, share};
use crate::advice::words;
use crate::plan::Task;
use crate::units::Hours;
use crate::workability::Opening;

impl<'a> Morning<'a> {
    /// Every job with a chosen window, in time order.
    pub(super) fn job_facts(&self) -> Vec<JobFact> {
        let mut facts = Vec::new();
        for (number, block) in self.inputs.plan.blocks.iter().enumerate() {
            for (place_in_block, job) in block.jobs.iter().enumerate() {
                let place = Place {
                    block: &block.block,
                    job,
                };
                let task = self
                    .inputs
                    .plan
                    .tasks
                    .iter()
                    .find(|task| task.block == number && task.job == place_in_block);
                if let Some(opening) = self.chosen(job).filter(|_| !self.shut(&block.block)) {
                    facts.push(self.job_fact(place, task, opening));
                }
            }
        }
        facts.sort_by_key(|fact: &JobFact| fact.start);
        facts
    }

    fn job_fact(&self, place: Place<'a>, task: Option<&Task>, opening: &Opening) -> JobFact {
        let (job, window) = (place.job, &opening.best);
        let odds = share(window).map_or_else(
            || {
                if self.one_forecast() {
                    "One forecast only, no chance given".to_owned()
                } else {
                    "Chance not known".to_owned()
                }
            },
            |share| words::capital(&format!("{}: {}", words::chance(share), words::chance_of(job.job))),
        );
        let firm = if window.firm { "" } else { " Not firm yet." };
        let stop = self.stop_gust(place, opening);
        JobFact {
            block: place.block.clone(),
            rows: job.rows,
            job: job.job,
            start: task.map_or(window.start, |task| task.start),
            end: task.map_or(window.end, |task| task.end),
            latest_start: task.map(|task| task.latest_start),
            people: job.people,
            minutes: minutes(job.length),
            verdict: window.verdict,
            chance: window.chance,
            threshold: window.threshold,
            firm: window.firm,
            stops_at_gust_m_s: stop,
            reasons: window.reasons.clone(),
            words: format!(
                "{}, {}. {odds}.{firm} Stop if gusts pass {}.",
                words::capital(&doing(place)),
                words::rows(job.rows),
                self.words.wind(stop)
            ),
        }
    }
}

fn minutes(length: Hours) -> u32 {
    #[expect(clippy::cast_possible_truncation, reason = "a job takes hours")]
    let seconds = (length.0 * 3600.0).round() as i64;
    u32::try_from(TimeDelta::seconds(seconds).num_minutes()).unwrap_or(0)
}
