//! `trace --picture`: the hours drawn into a file.

use std::path::Path;

use chrono::NaiveDateTime;

use super::super::Failure;
use super::Trace;
use crate::advice::model_picture::{self, ModelPicture, PictureHour};
use crate::farm::Job;
use crate::farm::limits::Limits;
use crate::settings::clean;
use crate::workability::dry::in_day;

/// Draws a trace into a file; its ending says how.
pub(super) fn draw(trace: &Trace, params: &Path, file: &Path) -> Result<String, Failure> {
    let shown = clean(&file.display().to_string());
    let ending = file.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    let picture = picture(trace, params);
    let bytes = match ending.as_deref() {
        Some("svg") => model_picture::svg(&picture).into_bytes(),
        Some("png") => model_picture::png(&picture).map_err(|error| Failure {
            code: 1,
            text: format!("{shown} was not written: {error}; a file that ends in .svg always works"),
        })?,
        _ => {
            return Err(Failure {
                code: 2,
                text: format!("{shown} is no name for a picture. Let it end in .svg or .png."),
            });
        }
    };
    std::fs::write(file, bytes).map_err(|error| Failure {
        code: 1,
        text: format!("{shown} cannot be written: {error}. Check the folder and the room on the disk."),
    })?;
    Ok(format!("{shown} is written.\n"))
}

fn picture(trace: &Trace, params: &Path) -> ModelPicture {
    let local = trace.local();
    let hour = |k: usize| trace.cover.get(k);
    let top = |k: usize| hour(k).is_some_and(|hour| hour.top_is_wet(&trace.alley));
    let under = |k: usize| hour(k).is_some_and(|hour| hour.under_is_wet(&trace.alley));
    let offset = trace.alley.utc_offset_h;
    let name = params.file_stem().map(|stem| clean(&stem.to_string_lossy()));
    ModelPicture {
        name: name.unwrap_or_else(|| "the block".to_owned()),
        hours: hours(trace, &local),
        top_dries: drying(&local, top),
        under_dries: drying(&local, under),
        wet_from_mm: trace.alley.wet_thr_mm,
        lift_stops_m_s: Limits::default().of(Job::Lift).gust_cover.map(|ramp| ramp.bad),
        clock: if offset == 0.0 {
            "UTC".to_owned()
        } else {
            format!("UTC{offset:+}")
        },
    }
}

/// The first of two dry hours after each wet stretch that ends by day.
fn drying(local: &[NaiveDateTime], wet: impl Fn(usize) -> bool) -> Vec<NaiveDateTime> {
    let mut found = Vec::new();
    let mut was_wet = false;
    for (k, at) in local.iter().enumerate() {
        if wet(k) {
            was_wet = true;
        } else if was_wet && !wet(k + 1) {
            was_wet = false;
            found.extend(in_day(at).then_some(*at));
        }
    }
    found
}

fn hours(trace: &Trace, local: &[NaiveDateTime]) -> Vec<PictureHour> {
    let sun = &trace.light.hours;
    local
        .iter()
        .zip(&trace.cover)
        .zip(&trace.weather)
        .zip(&trace.wind)
        .zip(sun)
        .map(|((((end, cover), weather), wind), sun)| PictureHour {
            end: *end,
            dark: sun.elevation_deg < 0.0,
            rain_mm: weather.rain_mm,
            film_mm: cover.film_mm,
            under_mm: cover.under_mm,
            sheet_c: cover.sheet_c,
            air_c: weather.air_c,
            dew_c: weather.dew_c.min(weather.air_c),
            wind_m_s: cover.wind,
            gust_m_s: wind.inside,
            pull: wind.utilisation,
        })
        .collect()
}
