//! The chart in two sentences, for readers without pictures.

use super::facts::rain_number;
use super::facts::{BoxKind, ChartFacts, LaneBox};

/// Windows with days and hours; peak gust, limits, rain.
pub(super) fn alt(facts: &ChartFacts) -> String {
    let mut windows = Vec::new();
    for lane in facts.lanes.iter().filter(|lane| !lane.wide_only) {
        for one in lane.boxes.iter().filter(|one| one.kind != BoxKind::Blocked).take(3) {
            if let Some(day) = facts
                .days
                .iter()
                .find(|day| day.span.start <= one.span.start && one.span.start < day.span.end)
            {
                let hours = if lane.name == "Lift" { &day.lift } else { &day.lay };
                let planned = if one.kind == BoxKind::Planned { " (planned)" } else { "" };
                windows.push(format!(
                    "{} {} {}{planned}",
                    lane.name,
                    day.label,
                    hours.clone().unwrap_or_else(|| hours_of(one))
                ));
            }
        }
    }
    let windows = if windows.is_empty() {
        "No usable hours for lifting or laying".to_owned()
    } else {
        windows.join(", ")
    };
    let peak = facts.peak.as_ref().map_or_else(
        || "Gusts stay below the limits for 72 hours".to_owned(),
        |peak| format!("Highest gust {}", peak.said),
    );
    let limits: Vec<&str> = facts.limits.iter().map(|limit| limit.label.as_str()).collect();
    let mut rain = Vec::new();
    for day in facts.days.iter().take(5) {
        if let Some(sum) = day.rain_mm.filter(|sum| *sum >= 0.5) {
            rain.push(format!(
                "{} {} {}",
                day.label,
                rain_number(sum, facts.units),
                facts.units.rain_sign()
            ));
        }
    }
    let rain = if rain.is_empty() {
        "no rain to speak of in five days".to_owned()
    } else {
        format!("rain {}", rain.join(", "))
    };
    let limits = if limits.is_empty() {
        String::new()
    } else {
        format!(" ({})", limits.join(", "))
    };
    format!("{windows}. {peak}{limits}; {rain}.")
}

fn hours_of(one: &LaneBox) -> String {
    one.label.clone().unwrap_or_default()
}
