//! `trace --daily`: the summary by local day as JSON.

use std::collections::BTreeMap;

use chrono::{NaiveDate, Timelike};
use serde::Serialize;

use super::super::Failure;
use super::{JOBS, Trace};
use crate::workability::dry::first_dry;
use crate::workability::hour::window_score;

/// Hours of the windows that are listed, and how many of each job.
const WINDOW: usize = 3;
const LISTED: usize = 5;

#[derive(Serialize)]
struct Summary {
    windows_3h_start_score: BTreeMap<String, Vec<(String, f64)>>,
    svf: f64,
    critical_gust_ms: f64,
    max_energy_residual_wm2: f64,
    days: Vec<Day>,
}

#[derive(Serialize)]
struct Day {
    date: NaiveDate,
    dry_top: Option<f64>,
    dry_under: Option<f64>,
    dry_both: Option<f64>,
    light_mj: f64,
    max_util: f64,
    max_film: f64,
    max_under: f64,
}

pub(super) fn json(trace: &Trace) -> Result<String, Failure> {
    let mut windows = BTreeMap::new();
    for (job, name) in JOBS {
        let plain: Vec<f64> = (0..trace.stamps.count).map(|k| trace.plain(job, k).0).collect();
        windows.insert(format!("{name}_plain"), best(trace, &plain));
        #[expect(clippy::cast_precision_loss, reason = "three hours")]
        let reduced: Vec<f64> = (0..trace.stamps.count)
            .map(|k| trace.reduced(job, k, WINDOW as f64))
            .collect();
        windows.insert(format!("{name}_reduced"), best(trace, &reduced));
    }
    let summary = Summary {
        windows_3h_start_score: windows,
        svf: rounded(trace.light.sky_view, 5),
        critical_gust_ms: rounded(trace.critical_gust, 4),
        max_energy_residual_wm2: trace.cover.iter().map(|hour| hour.residual).fold(0.0, f64::max),
        days: days(trace),
    };
    let mut text = serde_json::to_string_pretty(&summary).map_err(|error| Failure {
        code: 1,
        text: format!("the summary could not be written: {error}"),
    })?;
    text.push('\n');
    Ok(text)
}

/// The best windows by score, earlier first on ties; overlaps allowed.
fn best(trace: &Trace, worths: &[f64]) -> Vec<(String, f64)> {
    let mut found: Vec<(usize, f64)> = worths
        .windows(WINDOW)
        .enumerate()
        .map(|(k, hours)| (k, window_score(hours.iter().copied())))
        .filter(|(_, score)| *score > 0.0)
        .collect();
    found.sort_by(|a, b| rounded(b.1, 6).total_cmp(&rounded(a.1, 6)).then(a.0.cmp(&b.0)));
    found.truncate(LISTED);
    found
        .into_iter()
        .map(|(k, score)| {
            (
                trace.stamps.start(k).format("%Y-%m-%dT%H:%M").to_string(),
                rounded(score, 3),
            )
        })
        .collect()
}

fn days(trace: &Trace) -> Vec<Day> {
    let local = trace.local();
    let mut dates: Vec<NaiveDate> = local.iter().map(chrono::NaiveDateTime::date).collect();
    dates.dedup();
    let dry = |wet_top: bool, wet_under: bool| {
        let local = &local;
        move |date| {
            let dry = |k: usize| {
                trace.cover.get(k).is_some_and(|hour| {
                    !(wet_top && hour.top_is_wet(&trace.alley) || wet_under && hour.under_is_wet(&trace.alley))
                })
            };
            let at = local.get(first_dry(local, date, dry)?)?;
            Some(f64::from(at.hour()) + f64::from(at.minute()) / 60.0)
        }
    };
    let (top, under, both) = (dry(true, false), dry(false, true), dry(true, true));
    let day = |date: NaiveDate| {
        let rows = || {
            local
                .iter()
                .enumerate()
                .filter(move |(_, at)| at.date() == date)
                .map(|(k, _)| k)
        };
        let hours = || rows().filter_map(|k| trace.cover.get(k));
        let most = |values: &mut dyn Iterator<Item = f64>| rounded(values.fold(0.0, f64::max), 4);
        Day {
            date,
            dry_top: top(date),
            dry_under: under(date),
            dry_both: both(date),
            light_mj: rounded(hours().map(|hour| hour.light * 3600.0 / 1e6).sum(), 4),
            max_util: most(&mut rows().filter_map(|k| trace.wind.get(k)).map(|wind| wind.utilisation)),
            max_film: most(&mut hours().map(|hour| hour.film_mm)),
            max_under: most(&mut hours().map(|hour| hour.under_mm)),
        }
    };
    dates.into_iter().map(day).collect()
}

fn rounded(value: f64, places: i32) -> f64 {
    let scale = 10.0_f64.powi(places);
    (value * scale).round() / scale
}
