//! Every block: what lies out, what comes next, when it is picked.

use chrono::TimeDelta;

use super::headline::doing;
use super::morning::{Morning, Place};
use super::{BlockLine, Blocks};
use crate::advice::words;
use crate::farm::Job;
use crate::plan::booked::Booked;
use crate::plan::{BlockPlan, Held};
use crate::units::Megajoules;

/// Nothing told for so long makes the letter say as of when it speaks.
const QUIET_DAYS: i64 = 3;

impl<'a> Morning<'a> {
    pub(super) fn blocks(&self) -> Blocks {
        Blocks {
            told: self.told(),
            lines: self
                .inputs
                .plan
                .blocks
                .iter()
                .map(|block| self.block_line(block))
                .collect(),
        }
    }

    fn told(&self) -> Option<String> {
        let command = "covercast note lifted --block NAME";
        match self.inputs.ground.last_report {
            None => Some(format!(
                "Nothing was told yet. If covers lie out: {}",
                command.replace("lifted", "laid")
            )),
            Some(told) if self.inputs.now - told >= TimeDelta::days(QUIET_DAYS) => {
                let day = words::date(self.words.day_of(told));
                Some(format!("As told on {day}. If you have lifted since: {command}"))
            }
            Some(_) => None,
        }
    }

    fn block_line(&self, block: &'a BlockPlan) -> BlockLine {
        let out = block.out.map_or_else(
            || "nothing out".to_owned(),
            |out| {
                let days = words::days(out.days);
                let folded = if out.folded { ", folded aside" } else { "" };
                format!(
                    "out {days}{}{folded}",
                    self.light_so_far(block)
                        .map_or_else(String::new, |light| format!(", {light}"))
                )
            },
        );
        let pick = block.pick.map_or_else(
            || "not known".to_owned(),
            |pick| {
                let days = words::days(i64::from(pick.either_way));
                format!("{}, {days} either way", words::day_and_month(pick.first))
            },
        );
        BlockLine {
            block: words::name(&block.block.0),
            variety: words::name(&block.variety),
            out,
            pick,
            next: self.next_of(block),
        }
    }

    /// Light since laying, where the timeline reaches back that far.
    fn light_so_far(&self, block: &BlockPlan) -> Option<String> {
        let laid = self.words.day_of(block.out?.since);
        let outlook = self.outlook(&block.block)?;
        let mut day = laid + TimeDelta::days(1);
        let mut sum = 0.0;
        while day < self.words.today {
            sum += outlook.light.iter().find(|(of, _)| *of == day)?.1.0;
            day += TimeDelta::days(1);
        }
        (sum > 0.0).then(|| words::light(Megajoules(sum)))
    }

    fn next_of(&self, block: &'a BlockPlan) -> Vec<String> {
        if let Some((until, text)) = &block.no_entry {
            return vec![format!(
                "No entry until {}: {}.",
                self.words.moment(*until),
                words::name(text)
            )];
        }
        let mut said: Vec<String> = Vec::new();
        for job in &block.jobs {
            let place = Place {
                block: &block.block,
                job,
            };
            let walk = job.job == Job::Check;
            // Folding is the way out of a lift, said under "If today fails".
            let lifts = block.jobs.iter().any(|other| other.job == Job::Lift);
            if job.job == Job::Fold && lifts && self.chosen(job).is_none() {
                continue;
            }
            // The walk along the ties is routine: named only when it is the block's one job or is due.
            if walk && (!said.is_empty() || block.jobs.len() > 1) && job.from > self.words.today {
                continue;
            }
            said.push(self.next_said_of(place));
            if let (Job::Lift | Job::Lay, Some(more)) = (job.job, self.more_chances(place)) {
                said.push(more);
            }
            if said.len() >= 3 {
                break;
            }
        }
        if said.is_empty() {
            let no_date = block.pick.is_none() && block.out.is_none();
            said.push(
                if no_date {
                    "Nothing to plan without a pick date."
                } else {
                    "Nothing to do."
                }
                .to_owned(),
            );
        }
        said
    }

    fn next_said_of(&self, place: Place<'a>) -> String {
        let job = place.job;
        let verb = short_verb(place);
        if let Some(held) = &job.held {
            return self.held_said(place, held);
        }
        if let Some(opening) = self.chosen(job) {
            let rolls = job.booked.as_ref().map_or_else(String::new, with_rolls);
            return format!("{verb} {}.", self.offer_said(opening, &rolls));
        }
        if let Some(booked) = job.booked.as_ref().filter(|booked| booked.when.day > self.words.today) {
            return planned_said(verb, booked);
        }
        let last = job
            .last_day
            .map(|day| format!(", last sensible day {}", words::date(day)));
        if self.weather.is_none() {
            let from = if job.from > self.words.today {
                format!(" from {}", words::date(job.from))
            } else {
                String::new()
            };
            return format!("Next: {}{from}{}.", words::gerund(job.job), last.unwrap_or_default());
        }
        if job.from > self.words.today {
            return format!("{verb} from {}{}.", words::date(job.from), last.unwrap_or_default());
        }
        if let Some(opening) = self.offers(place).first() {
            return format!(
                "{verb}: could be done {}, but no hands are free then.",
                self.offer_said(opening, "")
            );
        }
        let roof = if job.job == Job::Redry {
            "; under a roof at any time"
        } else {
            ""
        };
        format!("{verb}: no usable hours in sight{}{roof}.", last.unwrap_or_default())
    }

    fn more_chances(&self, place: Place<'a>) -> Option<String> {
        let chosen = self.chosen(place.job)?;
        let offers = self.offers(place);
        let mut later = offers
            .iter()
            .filter(|open| open.start > chosen.end && self.works(self.words.day_of(open.start)));
        let next = later.next();
        let more = 1 + later.count();
        match next {
            None if place.job.job == Job::Lift => Some("No other chance in sight after it.".to_owned()),
            None => None,
            Some(next) => {
                let count = if more == 1 {
                    "One more chance".to_owned()
                } else {
                    format!("{more} more chances")
                };
                let (day, odds) = (self.words.day(self.words.day_of(next.start)), self.odds(&next.best));
                let first = if more == 1 { "" } else { "first " };
                Some(format!("{count} after it: {first}{day}, {odds}."))
            }
        }
    }

    fn held_said(&self, place: Place<'a>, held: &Held) -> String {
        let verb = short_verb(place);
        match held {
            Held::NoRolls { with: Some(with) } => {
                format!("{verb} when rolls are free: they lie on {}.", words::name(&with.0))
            }
            Held::NoRolls { with: None } => format!("{verb} when rolls are free."),
            Held::NoCrew => format!("{verb}: no crew on the days that would do."),
            Held::NoEntry { until, text } => {
                format!("No entry until {}: {}.", self.words.moment(*until), words::name(text))
            }
            Held::NoStock => "No covers in stock for this block.".to_owned(),
            Held::TooLate => "Too late to lay: fewer than 7 days before picking.".to_owned(),
            Held::LeftUncovered { with: Some(with) } => format!(
                "Not covered in this plan: the rolls do more good on {}.",
                words::name(&with.0)
            ),
            Held::LeftUncovered { with: None } => {
                "Not covered in this plan: the colour would not pay for the work.".to_owned()
            }
        }
    }

    /// The same in a few words, for the list of windows.
    pub(super) fn held_word(&self, place: Place<'a>) -> Option<String> {
        Some(match place.job.held.as_ref()? {
            Held::NoRolls { .. } => "no rolls free".to_owned(),
            Held::NoCrew => "no crew".to_owned(),
            Held::NoEntry { until, .. } => format!("no entry until {}", self.words.moment(*until)),
            Held::NoStock => "no covers in stock".to_owned(),
            Held::TooLate => "too late".to_owned(),
            Held::LeftUncovered { .. } => "not in the plan".to_owned(),
        })
    }
}

/// "Lift about 26 Mar, at 30 days and 315 MJ/m2.", "Lay about 21 Mar with Gate's rolls.": days to come are no promise.
fn planned_said(verb: String, booked: &Booked) -> String {
    let day = words::day_and_month(booked.when.day);
    let reached = match (verb.as_str(), booked.days_at_lift, booked.light_at_lift) {
        ("Lift", Some(days), Some(light)) => format!(", at {} and {}", words::days(days), words::light(light)),
        ("Lift", Some(days), None) => format!(", at {}", words::days(days)),
        _ => String::new(),
    };
    format!("{verb} about {day}{}{reached}.", with_rolls(booked))
}

/// " with Gate's rolls".
fn with_rolls(booked: &Booked) -> String {
    let names: Vec<String> = booked
        .rolls_from
        .iter()
        .map(|block| format!("{}'s", words::name(&block.0)))
        .collect();
    if names.is_empty() {
        String::new()
    } else {
        format!(" with {} rolls", words::list(&names))
    }
}

/// "Lift", "Check ties".
fn short_verb(place: Place<'_>) -> String {
    match place.job.job {
        Job::Lay => "Lay".to_owned(),
        Job::Check => "Check ties".to_owned(),
        Job::Fold => "Fold aside".to_owned(),
        Job::Lift => "Lift".to_owned(),
        Job::Redry => words::capital(&doing(place)),
    }
}
