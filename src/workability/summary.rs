//! What charts and sentences show of a block: wet and dry, ties in danger, light.

use std::collections::BTreeMap;
use std::ops::Range;

use chrono::{NaiveDate, NaiveDateTime};

use super::axis::Axis;
use super::dry::first_dry;
use super::middle::{MiddleHour, median};
use super::model_run::{Member, ModelRun};
use super::outlook::{DryDay, HourView, TieHour};
use super::window::Chance;
use crate::units::{Megajoules, MetresPerSecond};
use crate::weather::forecast::Kind;
use crate::weather::{Stamps, Timeline};

/// Hours ahead in which the ties are watched.
const TIES_H: usize = 48;

pub(super) fn view(hour: Option<&MiddleHour>) -> HourView {
    let water = hour.and_then(|hour| hour.water);
    HourView {
        wet_top: water.map(|water| water.wet_top),
        wet_under: water.map(|water| water.wet_under),
        frost: water.map(|water| water.frost),
        ties_beaten: hour.map(|hour| hour.beaten),
    }
}

pub(super) fn dry_days(axis: &Axis, stamps: Stamps, middle: &[Option<MiddleHour>], today: NaiveDate) -> Vec<DryDay> {
    let water = |k: usize| middle.get(k).copied().flatten().and_then(|hour| hour.water);
    let mut days: Vec<NaiveDate> = axis
        .local
        .iter()
        .map(NaiveDateTime::date)
        .filter(|day| *day >= today)
        .collect();
    days.dedup();
    let at = |day, dry: &dyn Fn(usize) -> bool| first_dry(&axis.local, day, dry).map(|k| stamps.at(k));
    days.into_iter()
        .map(|day| DryDay {
            day,
            top: at(day, &|k| water(k).is_some_and(|water| !water.wet_top)),
            under: at(day, &|k| water(k).is_some_and(|water| !water.wet_under)),
            both: at(day, &|k| {
                water(k).is_some_and(|water| !water.wet_top && !water.wet_under)
            }),
        })
        .collect()
}

pub(super) fn worst_hour(
    model: &ModelRun,
    timeline: &Timeline,
    middle: &[Option<MiddleHour>],
    allowance: f64,
) -> Option<TieHour> {
    let rows = timeline.now_row..timeline.now_row + TIES_H;
    let (k, worst) = rows
        .clone()
        .filter_map(|k| Some((k, middle.get(k).copied().flatten()?)))
        .max_by(|a, b| {
            (a.1.beaten, a.1.utilisation, a.1.gust_high)
                .partial_cmp(&(b.1.beaten, b.1.utilisation, b.1.gust_high))
                .unwrap_or(std::cmp::Ordering::Equal)
        })?;
    let beaten = |member: &Member| -> Option<bool> {
        let hours = member.hours.get(rows.clone())?;
        let over = |load: f64| load >= allowance;
        if hours
            .iter()
            .any(|hour| hour.weather.is_ok_and(|felt| over(felt.utilisation)))
        {
            return Some(true);
        }
        hours.iter().all(|hour| hour.weather.is_ok()).then_some(false)
    };
    let counted: Vec<bool> = model.members.iter().filter_map(beaten).collect();
    let chance = Chance {
        good: counted.iter().filter(|beaten| **beaten).count(),
        of: counted.len(),
    };
    Some(TieHour {
        at: timeline.stamps.at(k),
        gust: MetresPerSecond(worst.gust),
        gust_low: MetresPerSecond(worst.gust_low),
        gust_high: MetresPerSecond(worst.gust_high),
        beaten: (timeline.kind == Kind::Members && chance.of > 0).then_some(chance),
    })
}

/// Light of whole days, in the middle of the members' sums.
pub(super) fn light(axis: &Axis, model: &ModelRun) -> Vec<(NaiveDate, Megajoules)> {
    let mut rows: BTreeMap<NaiveDate, Range<usize>> = BTreeMap::new();
    for (k, at) in axis.local.iter().enumerate() {
        rows.entry(at.date()).or_insert(k..k).end = k + 1;
    }
    // A day of a clock change has 23 or 25 hours; the first and the last may be cut.
    let whole =
        |(_, rows): &(NaiveDate, Range<usize>)| rows.start > 0 && rows.end < axis.local.len() || rows.len() >= 24;
    let sum = |rows: &Range<usize>| -> Option<f64> {
        let of = |member: &Member| {
            let hours = member.hours.get(rows.clone())?;
            let known = hours.iter().all(|hour| hour.weather.is_ok());
            known.then(|| hours.iter().map(|hour| hour.water.light).sum::<f64>() * 3600.0 / 1e6)
        };
        let mut sums: Vec<f64> = model.members.iter().map(of).collect::<Option<_>>()?;
        median(&mut sums)
    };
    rows.into_iter()
        .filter(whole)
        .filter_map(|(day, rows)| Some((day, Megajoules(sum(&rows)?))))
        .collect()
}
