//! Cautions of the day, and the end of the letter.

use chrono::{DateTime, TimeDelta, Timelike, Utc};

use super::End;
use super::lead::Lead;
use super::morning::Morning;
use crate::advice::{spread, words};
use crate::farm::Job;
use crate::units::MetresPerSecond;
use crate::weather::{Quantity, Timeline};

/// Most cautions a day.
const MOST_CAUTIONS: usize = 3;
/// Air from which work over a white cover wants water and shade. The crew's limits of heat begin here too.
const HOT_C: f64 = 28.0;
/// Air below which feet slip and hands are slow.
const COLD_C: f64 = 2.0;
/// Sun from which a white cover dazzles \[W/m2\]. Assumed: half of a clear summer noon.
const GLARE_W_M2: f64 = 400.0;
/// Minutes after which a missing letter means that something is wrong.
const LATE_MINUTES: i64 = 45;

impl<'a> Morning<'a> {
    /// Cautions that apply today, the ones that can kill first.
    pub(super) fn care(&self) -> Vec<String> {
        let Some(weather) = self.weather else {
            return vec!["Without a forecast: stop at the first thunder, and when the wind gets up.".to_owned()];
        };
        let tasks = self.tasks_on(|day| day == self.words.today);
        if tasks.is_empty() {
            return Vec::new();
        }
        let jobs: Vec<Job> = tasks
            .iter()
            .filter_map(|task| Some(self.place(task.block, task.job)?.job.job))
            .collect();
        let day = self.crew_day(self.words.today);
        let hours = Hours {
            weather,
            from: day.start.max(self.inputs.now - TimeDelta::hours(1)),
            to: day.end,
        };
        let mut care = Vec::new();
        care.extend(self.thunder(&hours));
        care.extend(self.wind(&hours, &jobs));
        care.extend(warmth(&hours));
        if jobs.iter().any(|job| matches!(job, Job::Lift | Job::Lay)) && !self.inputs.farm.machines.is_empty() {
            care.push("Two people to a roll. Keep sleeves and hair away from the winder.".to_owned());
        }
        care.extend(self.glare(&hours));
        care.truncate(MOST_CAUTIONS);
        care
    }

    /// Stop at any thunder, resume 30 minutes after the last: Holle, Lopez and Zimmermann 1999, BAMS 80.
    fn thunder(&self, hours: &Hours<'_>) -> Option<String> {
        if hours.weather.untold.contains(&Quantity::Thunder) {
            return Some(
                "Thunder is not in this forecast: stop at the first one; back 30 minutes after the last.".to_owned(),
            );
        }
        // A tenth of the runs is enough for a caution.
        let at = hours.rows().find(|k| {
            let runs = || hours.weather.runs.iter().filter_map(|run| run.thunder.get(*k));
            let known = runs().count();
            known > 0 && runs().filter(|thunder| *thunder >= 0.5).count() * 10 >= known
        })?;
        let from = self.words.clock(hours.weather.stamps.start(at));
        Some(format!(
            "Thunder possible from {from}: stop at the first thunder; back 30 minutes after the last."
        ))
    }

    fn wind(&self, hours: &Hours<'_>, jobs: &[Job]) -> Option<String> {
        let limits = &self.inputs.farm.limits;
        let limit = jobs.iter().map(|job| limits.of(*job).gust.bad).min_by(f64::total_cmp)?;
        let at = hours
            .rows()
            .find(|k| spread::at_row(hours.weather, Quantity::Gust, *k).is_some_and(|gust| gust.high >= limit))?;
        let from = self.words.clock(hours.weather.stamps.start(at));
        Some(format!(
            "Wind: gusts may pass {} from {from}. Nobody holds a loose cover then.",
            self.words.wind(MetresPerSecond(limit))
        ))
    }

    fn glare(&self, hours: &Hours<'_>) -> Option<String> {
        let bright = |k: &usize| {
            spread::at_row(hours.weather, Quantity::Shortwave, *k).is_some_and(|sun| sun.middle >= GLARE_W_M2)
        };
        let (first, last) = (hours.rows().find(bright)?, hours.rows().rfind(bright)?);
        let (from, to) = (hours.weather.stamps.start(first), hours.weather.stamps.at(last));
        Some(format!(
            "White glare: dark glasses from {} to {}.",
            self.words.clock(from),
            self.words.clock(to)
        ))
    }

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

/// Crew hours that are still to come.
struct Hours<'a> {
    weather: &'a Timeline,
    from: DateTime<Utc>,
    to: DateTime<Utc>,
}

impl Hours<'_> {
    fn rows(&self) -> std::ops::Range<usize> {
        let stamps = &self.weather.stamps;
        let first = stamps.first_row_from(self.from - TimeDelta::minutes(i64::from(self.from.minute())));
        first..stamps.first_row_from(self.to)
    }
}

fn warmth(hours: &Hours<'_>) -> Option<String> {
    let air: Vec<f64> = hours
        .rows()
        .filter_map(|k| Some(spread::at_row(hours.weather, Quantity::Temperature, k)?.middle))
        .collect();
    let (low, high) = (
        air.iter().copied().reduce(f64::min)?,
        air.iter().copied().reduce(f64::max)?,
    );
    if high >= HOT_C {
        Some("Heat: the white cover throws the sun back at you. Water, shade, short turns.".to_owned())
    } else if low < 0.0 {
        Some("Frost: the cover and the grass are slippery, cords are stiff.".to_owned())
    } else if low < COLD_C {
        Some("Cold: warm gloves, and watch your footing.".to_owned())
    } else {
        None
    }
}
