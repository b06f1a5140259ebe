//! The take-off for other programs. `takeoff.schema.json` says what every key means.

use serde_json::{Value, json};

use super::super::Failure;
use crate::farm::Farm;
use crate::plan::takeoff::{Decimetres, Part, Quantities, SetTakeoff, Takeoff};
use crate::units::Hours;

/// The whole as JSON.
pub(super) fn render(farm: &Farm, counted: &Takeoff) -> Result<String, Failure> {
    let blocks: Vec<Value> = counted
        .blocks
        .iter()
        .map(|block| {
            json!({
                "block": block.block,
                "variety": block.variety,
                "set": block.set,
                "quantities": quantities(&block.quantities),
            })
        })
        .collect();
    let value = json!({
        "schema": "takeoff/1",
        "farm": farm.id,
        "blocks": blocks,
        "sets": counted.sets.iter().map(of_set).collect::<Vec<_>>(),
        "total": quantities(&counted.total),
    });
    let text = serde_json::to_string_pretty(&value).map_err(|error| Failure {
        code: 1,
        text: format!("the take-off cannot be put into JSON: {error}. Report this."),
    })?;
    Ok(text + "\n")
}

fn quantities(of: &Quantities) -> Value {
    json!({
        "rows": of.rows,
        "parts": of.parts,
        "cover_m": of.cover.metres().0,
        "whole_rolls": of.uncut,
        "to_cut_m": of.to_cut.metres().0,
        "ties": of.ties,
        "ties_to_order": of.ties_to_order(),
        "hooks": of.hooks(),
        "hooks_to_order": of.hooks_to_order(),
        "cores": of.cores(),
        "labels": of.labels(),
        "lay_crew_h": hundredths(of.lay),
        "lift_crew_h": hundredths(of.lift),
        "lay_person_h": hundredths(of.lay_person),
        "lift_person_h": hundredths(of.lift_person),
        "tie_round_person_h": hundredths(of.round_person),
    })
}

fn of_set(set: &SetTakeoff) -> Value {
    let rolls: Vec<Value> = set
        .rolls
        .iter()
        .map(|roll| {
            json!({
                "roll": roll.number,
                "cuts": roll.cuts.iter().map(|cut| part(&cut.part, Some(cut.at))).collect::<Vec<_>>(),
                "left_m": roll.left.metres().0,
                "left_is_stock": roll.kept().is_some(),
                "left_code": roll.kept().map(|_| &roll.code),
            })
        })
        .collect();
    json!({
        "set": set.set,
        "width_m": set.width.0,
        "roll_length_m": set.roll_length.metres().0,
        "stock_m": set.stock.metres().0,
        "cover_m": set.cover.metres().0,
        "rolls": set.roll_count(),
        "least_rolls": set.least_rolls,
        "waste_m": set.waste().metres().0,
        "whole_rolls": set.uncut.iter().map(|one| part(one, None)).collect::<Vec<_>>(),
        "cut_rolls": rolls,
    })
}

fn part(part: &Part, at: Option<Decimetres>) -> Value {
    json!({
        "block": part.block,
        "row": part.row,
        "part": part.part,
        "of": part.of,
        "length_m": part.length.metres().0,
        "ends_at_m": at.unwrap_or(part.length).metres().0,
        "code": part.code,
    })
}

fn hundredths(hours: Hours) -> f64 {
    (hours.0 * 100.0).round() / 100.0
}
