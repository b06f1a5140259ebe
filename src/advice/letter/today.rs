//! Jobs of today and of the days up to the next workday, and what would turn the verdict.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use super::headline::doing;
use super::lead::Lead;
use super::morning::{Morning, Place, share};
use super::{Ahead, Item, Today};
use crate::advice::words;
use crate::farm::Job;
use crate::plan::Task;
use crate::units::MetresPerSecond;
use crate::workability::{Opening, Verdict};

/// Most jobs in "Today".
const MOST_JOBS: usize = 4;

impl<'a> Morning<'a> {
    pub(super) fn today(&self, lead: &Lead<'a>) -> Today {
        let today = self.words.today;
        let tasks = self.tasks_on(|day| day == today);
        let items: Vec<Item> = tasks
            .iter()
            .take(MOST_JOBS)
            .filter_map(|task| self.item(task, lead))
            .collect();
        let note = if self.weather.is_none() {
            Some("No job can be advised without a forecast.".to_owned())
        } else if !items.is_empty() {
            None
        } else if matches!(lead, Lead::Nothing { .. } | Lead::Wait { .. }) {
            Some("Nothing is due today.".to_owned())
        } else {
            Some("Nothing can be advised today.".to_owned())
        };
        let rest = self.next_workday();
        let gap = (rest - today).num_days();
        let rest_note = (gap > 1).then(|| format!("{}. Next workday: {}.", self.rest_days(rest), words::date(rest)));
        let note = [note, rest_note].into_iter().flatten().collect::<Vec<_>>().join(" ");
        Today {
            items,
            note: (!note.is_empty()).then_some(note),
        }
    }

    fn rest_days(&self, next: NaiveDate) -> String {
        let first = self.words.today + TimeDelta::days(1);
        let last = next - TimeDelta::days(1);
        if first == last {
            format!("{} is a rest day", first.format("%a"))
        } else {
            let join = if first + TimeDelta::days(1) == last {
                "and"
            } else {
                "to"
            };
            format!("{} {join} {} are rest days", first.format("%a"), last.format("%a"))
        }
    }

    /// Jobs of tomorrow; before a rest day, of all days to the next workday.
    pub(super) fn ahead(&self) -> Option<Ahead> {
        let next = self.next_workday();
        let tasks = self.tasks_on(|day| day > self.words.today && day <= next);
        let items: Vec<Item> = tasks
            .iter()
            .take(MOST_JOBS)
            .filter_map(|task| self.item(task, &Lead::Unknown))
            .collect();
        let heading = if (next - self.words.today).num_days() == 1 {
            "Tomorrow".to_owned()
        } else {
            format!("Until {}", words::weekday(next))
        };
        (!items.is_empty()).then_some(Ahead { heading, items })
    }

    fn item(&self, task: &Task, lead: &Lead<'a>) -> Option<Item> {
        let place = self.place(task.block, task.job)?;
        let opening = self.chosen(place.job)?;
        let leads = matches!(lead, Lead::Do { task: leading, .. } if *leading == task);
        let what = match place.job.job {
            Job::Redry => doing(place),
            Job::Lay | Job::Check | Job::Fold | Job::Lift => {
                format!("{}, {}", doing(place), words::rows(place.job.rows))
            }
        };
        let edge = self
            .farm_block(place.block)
            .and_then(|block| block.exposed_edge.clone());
        let edge = edge
            .filter(|_| place.job.job == Job::Check)
            .map_or_else(String::new, |edge| format!(", {} first", words::name(&edge)));
        let mut notes = vec![self.hands(place), self.times(task)];
        if !leads {
            notes.extend(self.own_verdict(place, task, opening));
        }
        notes.extend(self.feel_first(place, task));
        Some(Item {
            at: self.words.moment(task.start),
            what: words::capital(&format!("{what}{edge}")),
            notes,
        })
    }

    /// "4 people, 1 h 10 min, 12 rolls of 21 kg."
    fn hands(&self, place: Place<'a>) -> String {
        let job = place.job;
        let mut said = format!("{}, {}", words::people(job.people), words::length(job.length));
        if job.rolls > 0 && matches!(job.job, Job::Lay | Job::Lift) {
            let rolls = if job.rolls == 1 {
                "1 roll".to_owned()
            } else {
                format!("{} rolls", job.rolls)
            };
            let weight = self.farm_block(place.block).map(|block| {
                let kilograms = job.metres.0 * block.alley.cover_width_m * block.alley.cover_mass_kg_m2;
                self.words.weight(kilograms / f64::from(job.rolls))
            });
            said = weight.map_or_else(
                || format!("{said}, {rolls}"),
                |weight| format!("{said}, {rolls} of {weight}"),
            );
        }
        format!("{said}.")
    }

    fn times(&self, task: &Task) -> String {
        let (start, end) = (self.words.clock(task.latest_start), self.words.clock(task.end));
        format!("Start by {start}, be done by {end}.")
    }

    /// Verdict, chance and limit of a job that is not the headline.
    fn own_verdict(&self, place: Place<'a>, task: &Task, opening: &Opening) -> Vec<String> {
        let window = &opening.best;
        let chance = match share(window) {
            Some(share) => words::chance(share),
            None if self.one_forecast() => "one forecast only, no chance given".to_owned(),
            None => "chance not known".to_owned(),
        };
        let maybe = (window.verdict == Verdict::Maybe).then(|| {
            if task.start > self.inputs.next_letter {
                "Maybe: the next letter will tell.".to_owned()
            } else {
                format!(
                    "Maybe: look at {}.",
                    self.words.moment(self.look_again(window, task.start))
                )
            }
        });
        let stop = self.words.wind(self.stop_gust(place, opening));
        let weather = format!("Weather for it: {chance}. Stop if gusts pass {stop}.");
        maybe.into_iter().chain([weather]).collect()
    }

    pub(super) fn stop_gust(&self, place: Place<'a>, opening: &Opening) -> MetresPerSecond {
        let limit = MetresPerSecond(self.inputs.farm.limits.of(place.job.job).gust.bad);
        opening.best.margin.wind_limit.unwrap_or(limit)
    }

    /// What to feel or look at first.
    fn feel_first(&self, place: Place<'a>, task: &Task) -> Vec<String> {
        match place.job.job {
            Job::Lift => [self.underside_first(place, task)]
                .into_iter()
                .chain(self.learned(place, task))
                .collect(),
            Job::Check => self.ties_first(place),
            Job::Lay => vec!["Fix the first end, pull tight, then tie down the sides.".to_owned()],
            Job::Fold => vec!["Untie one side only and turn it over to the other.".to_owned()],
            Job::Redry => self.damp_since(place),
        }
    }

    fn underside_first(&self, place: Place<'a>, task: &Task) -> String {
        let day = self.words.day_of(task.start);
        let dry = self
            .outlook(place.block)
            .and_then(|outlook| outlook.dry.iter().find(|dry| dry.day == day));
        let waited = |at: DateTime<Utc>| Some(words::half_up(at)).filter(|at| *at > self.crew_day(day).start);
        let (under, both) = dry.map_or((None, None), |dry| (dry.under, dry.both));
        match (under.and_then(waited), both.and_then(waited)) {
            (Some(under), _) => {
                let at = self.words.clock_word(under);
                format!("Feel the underside first: it dries last, at about {at}.")
            }
            (None, Some(both)) => {
                let at = self.words.clock_word(both);
                format!("Feel the underside first. Both faces dry at about {at}.")
            }
            (None, None) => "Feel the underside first: it dries last.".to_owned(),
        }
    }

    /// The strongest gust of the next 48 hours beside what the ties carry.
    fn ties_first(&self, place: Place<'a>) -> Vec<String> {
        let Some(outlook) = self.outlook(place.block) else {
            return Vec::new();
        };
        let carry = format!(
            "These ties carry about {}.",
            self.words.wind_number(outlook.critical_gust)
        );
        let Some(worst) = outlook.worst_hour else {
            return vec![carry];
        };
        let day = match (self.words.day_of(worst.at - TimeDelta::seconds(1)) - self.words.today).num_days() {
            0 => "today".to_owned(),
            1 => "tomorrow".to_owned(),
            _ => self.words.day(self.words.day_of(worst.at)),
        };
        let high = (!self.one_forecast()).then_some(worst.gust_high);
        let high = high
            .map(|high| self.words.wind_number(high))
            .filter(|high| *high != self.words.wind_number(worst.gust));
        let perhaps = high.map_or_else(String::new, |high| format!(", perhaps {high}"));
        vec![
            format!("Gusts to {} {day}{perhaps}.", self.words.wind(worst.gust)),
            carry,
        ]
    }
}
