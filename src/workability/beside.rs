//! The simple rules beside the model: hours a day that each calls wet, so that a reader sees where they differ.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::outlook::BlockOutlook;
use crate::farm::zone::Zone;
use crate::physics::wetness_rules::Rules;
use crate::weather::{Run, Timeline};

/// Wet hours of one block on one local day, each by its own measure; hours that are not known count for none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct WetDay {
    /// The day.
    pub day: NaiveDate,
    /// Hours in which all measures could be taken.
    pub hours: u32,
    /// Top wet by the model, middle member.
    pub model_top: u32,
    /// Underside wet by the model, middle member.
    pub model_under: u32,
    /// Relative humidity of 90 % or more in most runs.
    pub humid: u32,
    /// Less than 2 K above the dew point in most runs.
    pub close: u32,
    /// Either of the two, or rain in the hour, in most runs.
    pub either_or_rain: u32,
}

/// The days from now on, at most `count` of them.
pub fn wet_days(timeline: &Timeline, outlook: &BlockOutlook, zone: &Zone, count: usize) -> Vec<WetDay> {
    let mut days: Vec<WetDay> = Vec::new();
    for k in timeline.now_row..timeline.stamps.count {
        // The hour belongs to the day in which it begins.
        let day = zone.day(timeline.stamps.start(k));
        if days.last().is_none_or(|last| last.day != day) {
            if days.len() == count {
                break;
            }
            days.push(WetDay {
                day,
                hours: 0,
                model_top: 0,
                model_under: 0,
                humid: 0,
                close: 0,
                either_or_rain: 0,
            });
        }
        let (Some(last), Some(hour)) = (days.last_mut(), outlook.hours.get(k)) else {
            continue;
        };
        let (Some(top), Some(under), Some(rules)) = (hour.wet_top, hour.wet_under, most(&timeline.runs, k)) else {
            continue;
        };
        last.hours += 1;
        last.model_top += u32::from(top);
        last.model_under += u32::from(under);
        last.humid += u32::from(rules.humid);
        last.close += u32::from(rules.close);
        last.either_or_rain += u32::from(rules.either_or_rain);
    }
    days
}

/// What the rules say in most runs; `None` unless every run knows the hour.
fn most(runs: &[Run], k: usize) -> Option<Rules> {
    let said: Option<Vec<Rules>> = runs
        .iter()
        .map(|run| {
            Some(Rules::of(
                run.temperature.get(k)?,
                run.dew_point.get(k)?,
                run.rain.get(k)?,
            ))
        })
        .collect();
    let said = said.filter(|said| !said.is_empty())?;
    let most = |of: fn(&Rules) -> bool| 2 * said.iter().filter(|rules| of(rules)).count() > said.len();
    Some(Rules {
        humid: most(|rules| rules.humid),
        close: most(|rules| rules.close),
        either_or_rain: most(|rules| rules.either_or_rain),
    })
}
