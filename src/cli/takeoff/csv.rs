//! The cut list for a spreadsheet: a line for each part and for what is left of each roll. Lengths are metres.

use super::super::Failure;
use crate::advice::words::name;
use crate::farm::Farm;
use crate::plan::takeoff::{Decimetres, Part, SetTakeoff, Takeoff};

const HEAD: [&str; 11] = [
    "set",
    "width_m",
    "roll",
    "what",
    "block",
    "row",
    "part",
    "of",
    "length_m",
    "ends_at_m",
    "code",
];

/// The file, in the order of cutting; whole rolls come first and are numbered after the cut ones.
pub(super) fn render(farm: &Farm, counted: &Takeoff) -> Result<String, Failure> {
    let failed = |what: String| Failure {
        code: 1,
        text: format!(
            "the cut list of {} cannot be put into CSV: {what}. Report this.",
            farm.id.0
        ),
    };
    let mut out = ::csv::Writer::from_writer(Vec::new());
    let mut lines = vec![HEAD.map(str::to_owned)];
    for set in &counted.sets {
        for (number, part) in (set.rolls.len() + 1..).zip(&set.uncut) {
            lines.push(of_part(set, number, "whole roll", part, part.length));
        }
        for roll in &set.rolls {
            for cut in &roll.cuts {
                lines.push(of_part(set, roll.number, "cut", &cut.part, cut.at));
            }
            let (what, code) = match roll.kept() {
                Some(_) => ("stock", roll.code.as_str()),
                None => ("waste", ""),
            };
            if roll.left > Decimetres(0) {
                let [set_name, width] = of_set(set);
                let none = String::new;
                let (number, left) = (roll.number.to_string(), metres(roll.left));
                lines.push([
                    set_name,
                    width,
                    number,
                    what.to_owned(),
                    none(),
                    none(),
                    none(),
                    none(),
                    left,
                    metres(set.roll_length),
                    code.to_owned(),
                ]);
            }
        }
    }
    for line in lines {
        out.write_record(line).map_err(|error| failed(error.to_string()))?;
    }
    let bytes = out.into_inner().map_err(|error| failed(error.to_string()))?;
    String::from_utf8(bytes).map_err(|error| failed(error.to_string()))
}

fn of_set(set: &SetTakeoff) -> [String; 2] {
    [cell(&set.set.0), set.width.0.to_string()]
}

fn of_part(set: &SetTakeoff, roll: usize, what: &str, part: &Part, at: Decimetres) -> [String; 11] {
    let [set_name, width] = of_set(set);
    [
        set_name,
        width,
        roll.to_string(),
        what.to_owned(),
        cell(&part.block.0),
        part.row.to_string(),
        part.part.to_string(),
        part.of.to_string(),
        metres(part.length),
        metres(at),
        part.code.clone(),
    ]
}

fn metres(length: Decimetres) -> String {
    format!("{}.{}", length.0 / 10, length.0 % 10)
}

/// A name that no spreadsheet takes for a formula.
fn cell(text: &str) -> String {
    let text = name(text);
    if text.starts_with(['=', '+', '-', '@']) {
        format!("'{text}")
    } else {
        text
    }
}
