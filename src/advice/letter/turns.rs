//! What would turn the verdict, and how far off it is.

use chrono::TimeDelta;

use super::Turns;
use super::lead::Lead;
use super::morning::Morning;
use crate::advice::spread;
use crate::farm::Job;
use crate::plan::Task;

impl<'a> Morning<'a> {
    /// The two nearest limits of the headline, and how far off they are.
    pub(super) fn turns(&self, lead: &Lead<'a>) -> Option<Turns> {
        let Lead::Do { place, task, opening } = lead else {
            return None;
        };
        let (job, margin) = (place.job.job, &opening.best.margin);
        let limit = format!("gusts pass {}", self.words.wind(self.stop_gust(*place, opening)));
        let latest = self.words.clock(task.latest_start);
        let turns = match job {
            Job::Lift => format!("the underside is still damp at {latest}, or {limit}"),
            Job::Lay | Job::Check | Job::Fold | Job::Redry => format!("rain sets in, or {limit}"),
        };
        let wind = match margin.wind {
            Some(spare) if spare.0 > 0.0 => format!("{} of wind", self.words.wind_at_least(spare)),
            Some(_) => "none of wind".to_owned(),
            None => "wind not known".to_owned(),
        };
        let other = if job == Job::Lift {
            match margin.drying {
                Some(spare) if spare.0 > 0.0 => format!("{} of drying", length_down(spare.0)),
                Some(_) => "none of drying".to_owned(),
                None => "drying not known".to_owned(),
            }
        } else {
            self.rain_chance(task)
        };
        Some(Turns {
            turns,
            margin: format!("{wind}, {other}"),
        })
    }

    /// What the runs say of rain while the job is done.
    fn rain_chance(&self, task: &Task) -> String {
        let rain = self.weather.and_then(|weather| {
            let from = task.start - TimeDelta::seconds(task.start.timestamp().rem_euclid(3600));
            let to = task.end + TimeDelta::seconds((-task.end.timestamp()).rem_euclid(3600));
            spread::rain_sum(weather, from, to)
        });
        match rain {
            None => "rain not known".to_owned(),
            Some(rain) if rain.high < 0.05 => "no rain in sight".to_owned(),
            Some(rain) if rain.middle < 0.05 => "rain in a few runs only".to_owned(),
            Some(_) => "some rain in most runs".to_owned(),
        }
    }
}

/// Hours rounded down to ten minutes.
fn length_down(hours: f64) -> String {
    let minutes = (hours * 6.0 + 1e-6).floor() * 10.0;
    if minutes < 60.0 {
        return format!("{minutes:.0} min");
    }
    let (whole, rest) = ((minutes / 60.0).floor(), minutes % 60.0);
    if rest < 1.0 {
        format!("{whole:.0} h")
    } else {
        format!("{whole:.0} h {rest:.0} min")
    }
}
