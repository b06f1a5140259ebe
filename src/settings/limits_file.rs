//! The `[limits]` of `farm.toml`: where each job stops.

use super::quantity::Allowed;
use super::table::Table;
use crate::farm::limits::{JobLimits, Limits, Ramp};

pub(super) const LIMITS: &[&str] = &[
    "lift",
    "lay",
    "fold",
    "check",
    "cold_c",
    "heat_c",
    "redry_gust_cover_m_s",
    "act_cost_share",
];
pub(super) const JOB: &[&str] = &[
    "gust_m_s",
    "gust_cover_m_s",
    "rain_mm_h",
    "film_mm",
    "under_mm",
    "pond_mm",
];

const GUST: Allowed = Allowed::new(0.0, 20.0, "m/s");
const RAIN: Allowed = Allowed::new(0.0, 10.0, "mm/h");
const WATER: Allowed = Allowed::new(0.0, 5.0, "mm");
const CREW: Allowed = Allowed::new(-30.0, 50.0, "°C");
const SHARE: Allowed = Allowed::new(0.0, 0.95, "");

/// The word that frees a job from a limit.
const OFF: &str = "off";

pub(super) fn read(table: &Table<'_>) -> Limits {
    table.knows(LIMITS);
    let usual = Limits::default();
    let job = |key, usual: JobLimits| table.table(key).map_or(usual, |table| job(&table, usual));
    let limits = Limits {
        lift: job("lift", usual.lift),
        lay: job("lay", usual.lay),
        fold: job("fold", usual.fold),
        check: job("check", usual.check),
        cold: ramp(table, "cold_c", &CREW, Way::Down).unwrap_or(usual.cold),
        heat: ramp(table, "heat_c", &CREW, Way::Up).unwrap_or(usual.heat),
        redry_gust_cover: table
            .number("redry_gust_cover_m_s", &GUST)
            .unwrap_or(usual.redry_gust_cover),
        act_cost_share: table
            .number("act_cost_share", &Allowed::new(0.01, 0.9, ""))
            .unwrap_or(usual.act_cost_share),
    };
    if limits.cold.good >= limits.heat.good {
        let key = if table.find("cold_c").is_some() {
            "cold_c"
        } else {
            "heat_c"
        };
        let at = format!("cold from {} °C, heat from {} °C", limits.cold.good, limits.heat.good);
        table.wrong(
            key,
            "cold and heat overlap",
            &at,
            "the first number of cold_c is below the first of heat_c",
        );
    }
    limits
}

fn job(table: &Table<'_>, usual: JobLimits) -> JobLimits {
    table.knows(JOB);
    let maybe = |key, allowed, usual| match table.find(key).and_then(|value| value.get_ref().as_str()) {
        Some(OFF) => None,
        _ => ramp(table, key, allowed, Way::Up).or(usual),
    };
    let limits = JobLimits {
        gust: ramp(table, "gust_m_s", &GUST, Way::Up).unwrap_or(usual.gust),
        gust_cover: maybe("gust_cover_m_s", &GUST, usual.gust_cover),
        rain: ramp(table, "rain_mm_h", &RAIN, Way::Up).unwrap_or(usual.rain),
        film: maybe("film_mm", &WATER, usual.film),
        under: maybe("under_mm", &WATER, usual.under),
        pond: maybe("pond_mm", &WATER, usual.pond),
    };
    if let Some(cover) = limits.gust_cover.filter(|cover| cover.bad > limits.gust.bad) {
        let at = format!(
            "stops at {} m/s between the rows, at {} m/s in the open",
            cover.bad, limits.gust.bad
        );
        table.doubt(
            "gust_cover_m_s",
            "a limit that never holds",
            &at,
            "the rows shelter: the limit at the cover is the lower one",
        );
    }
    limits
}

/// Which way a quantity gets worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Way {
    Up,
    Down,
}

/// `[good, bad]` or `[good, bad, floor]`.
fn ramp(table: &Table<'_>, key: &str, allowed: &Allowed, way: Way) -> Option<Ramp> {
    let wanted = "[good, bad]";
    let values = table.list(key, wanted)?;
    let (Some(good), Some(bad), true) = (values.first(), values.get(1), values.len() <= 3) else {
        let what = format!("{key} has {} values", values.len());
        table.wrong(
            key,
            &what,
            "[good, bad] or [good, bad, floor]",
            "full worth up to good, no work from bad on",
        );
        return None;
    };
    let good = table.number_in(key, good, allowed);
    let bad = table.number_in(key, bad, allowed);
    let floor = values.get(2).map(|floor| table.number_in(key, floor, &SHARE));
    let (good, bad, floor) = (good?, bad?, floor.unwrap_or(Some(0.0))?);
    let ordered = match way {
        Way::Up => good < bad,
        Way::Down => bad < good,
    };
    if !ordered {
        let (at, cure) = match way {
            Way::Up => (
                format!("full worth up to {good}, but stops at {bad}"),
                "the first number is the smaller one",
            ),
            Way::Down => (
                format!("full worth from {good} up, but stops at {bad}"),
                "the first number is the greater one",
            ),
        };
        table.wrong(key, &format!("{key} contradicts itself"), &at, cure);
        return None;
    }
    Some(Ramp { good, bad, floor })
}
