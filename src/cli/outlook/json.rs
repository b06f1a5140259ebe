//! The season ahead for other programs. `outlook.schema.json` says what every key means.

use serde_json::{Value, json};

use super::super::Failure;
use super::Season;
use crate::plan::prospect::{Binds, Due, LeftOut, MORE_METRES, More};

/// The whole as JSON.
pub(super) fn render(season: &Season<'_>) -> Result<String, Failure> {
    let prospect = &season.prospect;
    let weeks: Vec<Value> = prospect
        .weeks
        .iter()
        .map(|week| {
            json!({
                "monday": week.monday,
                "crew_half_days": week.half_days,
                "usable_to_lay": tidy(week.lay_usable),
                "usable_to_lift": tidy(week.lift_usable),
                "lay": due(&week.lay),
                "lift": due(&week.lift),
            })
        })
        .collect();
    let late: Vec<Value> = prospect
        .late
        .iter()
        .map(|late| {
            json!({
                "block": late.block,
                "job": late.job,
                "by": late.by,
                "missing_crew_h": tidy(late.missing.0),
                "missing_m": tidy(late.metres.0),
                "binds": match late.binds { Binds::Machine => "machine", Binds::Crew => "crew" },
            })
        })
        .collect();
    let short: Vec<Value> = prospect
        .short
        .iter()
        .map(|short| {
            json!({
                "set": short.set,
                "from": short.from,
                "to": short.to,
                "missing_m": tidy(short.missing.0),
                "missing_with_21_days_m": tidy(short.missing_at_least.0),
            })
        })
        .collect();
    let pays = season.pays.as_ref().map(|pays| {
        pays.iter()
            .map(|pay| {
                let (more, set, amount) = match &pay.more {
                    More::Person => ("people", None, 1.0),
                    More::Machine => ("machines", None, 1.0),
                    More::Cover(set) => ("metres", Some(set), MORE_METRES.0),
                };
                json!({"more": more, "set": set, "amount": amount, "gain_cents": pay.gain_cents})
            })
            .collect::<Vec<_>>()
    });
    let left_out: Vec<Value> = prospect
        .left_out
        .iter()
        .map(|(block, why)| {
            let why = match why {
                LeftOut::NoPick => "no-pick",
                LeftOut::NoSet => "no-set",
                LeftOut::TooLate => "too-late",
            };
            json!({"block": block, "why": why})
        })
        .collect();
    let value = json!({
        "schema": "outlook/1",
        "farm": season.farm.id,
        "today": prospect.today,
        "coarse": prospect.coarse,
        "years": season.years,
        "half_day_h": tidy(prospect.half_day.0),
        "weeks": weeks,
        "late": late,
        "short": short,
        "pays": pays,
        "left_out": left_out,
    });
    let text = serde_json::to_string_pretty(&value).map_err(|error| Failure {
        code: 1,
        text: format!("the outlook cannot be put into JSON: {error}. Report this."),
    })?;
    Ok(text + "\n")
}

fn due(due: &Due) -> Value {
    json!({
        "blocks": due.blocks,
        "cover_m": tidy(due.metres.0),
        "crew_h": tidy(due.crew.0),
        "machine_h": tidy(due.machine.0),
    })
}

fn tidy(number: f64) -> f64 {
    (number * 100.0).round() / 100.0
}
