//! Cautions of the day: at most three, only where they apply in crew hours, the ones that can kill first.

use chrono::{DateTime, TimeDelta, Timelike, Utc};

use super::morning::Morning;
use crate::advice::spread;
use crate::farm::Job;
use crate::physics::lightning::RESUME_AFTER_MIN;
use crate::units::MetresPerSecond;
use crate::weather::{Quantity, Timeline};

/// Most cautions a day.
const MOST_CAUTIONS: usize = 3;
/// Thunder is about where one of so many runs has it, as a chance of 20 % is in a forecast without runs.
const THUNDER_IN_ONE_OF: usize = 5;
/// Air at which hands are slow and cords are stiff. Common practice.
const COLD_C: f64 = 2.0;
/// Sun from which a white cover dazzles \[W/m2\]. Assumed: half of a clear summer noon; a low sun never gives it.
const GLARE_W_M2: f64 = 400.0;

/// What a caution is about, the most dangerous first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Danger {
    Lightning,
    Heat,
    Fire,
    Wind,
    PerhapsHeat,
    Winder,
    Cold,
    Glare,
}

impl Morning<'_> {
    /// Cautions that apply today.
    pub(super) fn care(&self) -> Vec<String> {
        let mut care: Vec<(Danger, String)> = Vec::new();
        care.extend(self.hot_tool().map(|said| (Danger::Fire, said)));
        match self.weather {
            None => care.push((
                Danger::Lightning,
                "Without a forecast: stop at the first thunder, and when the wind gets up.".to_owned(),
            )),
            Some(weather) => care.extend(self.of_weather(weather)),
        }
        care.sort_by_key(|(danger, _)| *danger);
        care.truncate(MOST_CAUTIONS);
        care.into_iter().map(|(_, said)| said).collect()
    }

    /// Cautions of weather and work, if there is work today.
    fn of_weather(&self, weather: &Timeline) -> Vec<(Danger, String)> {
        let tasks = self.tasks_on(|day| day == self.words.today);
        if tasks.is_empty() {
            return Vec::new();
        }
        let places: Vec<_> = tasks
            .iter()
            .filter_map(|task| self.place(task.block, task.job))
            .collect();
        let jobs: Vec<Job> = places.iter().map(|place| place.job.job).collect();
        let day = self.crew_day(self.words.today);
        let hours = Hours {
            weather,
            from: day.start.max(self.inputs.now - TimeDelta::hours(1)),
            to: day.end,
        };
        let mut care = Vec::new();
        care.extend(self.thunder(&hours).map(|said| (Danger::Lightning, said)));
        care.extend(self.heat(&hours));
        care.extend(self.wind(&hours, &jobs).map(|said| (Danger::Wind, said)));
        if jobs.iter().any(|job| matches!(job, Job::Lift | Job::Lay)) && !self.inputs.farm.machines.is_empty() {
            let said = "Two people to a roll. Keep sleeves and hair away from the winder.".to_owned();
            care.push((Danger::Winder, said));
        }
        let frosty = |k: usize| {
            let mut outlooks = places.iter().filter_map(|place| self.outlook(place.block));
            outlooks.any(|outlook| outlook.hours.get(k).is_some_and(|hour| hour.frost == Some(true)))
        };
        let frost = hours.rows().next().is_some_and(frosty);
        care.extend(self.cold(&hours, frost).map(|said| (Danger::Cold, said)));
        care.extend(self.glare(&hours).map(|said| (Danger::Glare, said)));
        care
    }

    /// Stop at any thunder, resume 30 minutes after the last: Holle, Lopez and Zimmermann 1999, BAMS 80.
    fn thunder(&self, hours: &Hours<'_>) -> Option<String> {
        let back = format!("back {RESUME_AFTER_MIN} minutes after the last");
        if hours.weather.untold.contains(&Quantity::Thunder) {
            return Some(format!(
                "Thunder is not in this forecast: stop at the first one; {back}."
            ));
        }
        let runs = &hours.weather.runs;
        let first_of_run = runs.iter().filter_map(|run| {
            let mut rows = hours.rows();
            rows.find(|k| run.thunder.get(*k).is_some_and(|thunder| thunder >= 0.5))
        });
        let firsts: Vec<usize> = first_of_run.collect();
        let known = |k: usize| runs.iter().filter(|run| run.thunder.get(k).is_some()).count();
        // A fifth of the runs, at whatever crew hour, is thunder about.
        let at = *firsts.iter().min()?;
        let from = self.words.clock(hours.weather.stamps.start(at));
        (firsts.len() * THUNDER_IN_ONE_OF >= known(at))
            .then(|| format!("Thunder possible from {from}: stop at the first thunder; {back}."))
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

    fn cold(&self, hours: &Hours<'_>, frost: bool) -> Option<String> {
        if frost {
            return Some(
                "Frost on the cover to begin with: slippery, cords are stiff. Gloves, and watch your footing."
                    .to_owned(),
            );
        }
        let cold = |k: &usize| {
            spread::at_row(hours.weather, Quantity::Temperature, *k).is_some_and(|air| air.middle <= COLD_C)
        };
        let (first, last) = (hours.rows().find(cold)?, hours.rows().rfind(cold)?);
        let stamps = &hours.weather.stamps;
        let when = match (first == hours.rows().start, last + 1 == hours.rows().end) {
            (true, true) => "all day".to_owned(),
            (true, false) => format!("until {}", self.words.clock(stamps.at(last))),
            (false, _) => format!("from {}", self.words.clock(stamps.start(first))),
        };
        Some(format!("Cold hands {when}: warm gloves, and watch your footing."))
    }
}

/// Crew hours that are still to come.
pub(super) struct Hours<'a> {
    pub(super) weather: &'a Timeline,
    pub(super) from: DateTime<Utc>,
    pub(super) to: DateTime<Utc>,
}

impl Hours<'_> {
    pub(super) fn rows(&self) -> std::ops::Range<usize> {
        let stamps = &self.weather.stamps;
        let first = stamps.first_row_from(self.from - TimeDelta::minutes(i64::from(self.from.minute())));
        first..stamps.first_row_from(self.to)
    }
}
