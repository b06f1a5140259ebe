//! Lines of the report: at most 100 columns, broken between words, numbers in the farm's units.

use chrono::Weekday;

use crate::farm::Farm;
use crate::units::Metres;

/// Columns of the report.
const WIDTH: usize = 96;

/// Lines, broken between words.
#[derive(Debug, Default)]
pub(in crate::cli) struct Report {
    pub(in crate::cli) text: String,
}

impl Report {
    pub(in crate::cli) fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    /// Breaks a text between words; it keeps its own indent.
    pub(in crate::cli) fn wrapped(&mut self, text: &str) {
        let indent = " ".repeat(text.len() - text.trim_start().len());
        let mut line = indent.clone();
        for word in text.split_whitespace() {
            if line.chars().count() + word.chars().count() + 1 > WIDTH && !line.trim().is_empty() {
                self.line(&line);
                line = format!("{indent}   ");
            }
            if line.len() != indent.len() {
                line.push(' ');
            }
            line.push_str(word);
        }
        self.line(&line);
    }
}

/// "1 block", "8 blocks".
pub(super) fn count(many: usize, what: &str) -> String {
    if many == 1 {
        format!("1 {what}")
    } else {
        format!("{many} {what}s")
    }
}

/// Whole metres or feet, thousands set apart.
pub(super) fn length(farm: &Farm, length: Metres) -> String {
    let digits = format!("{:.0}", farm.site.units.length(length));
    let (head, tail) = digits.split_at(digits.len().saturating_sub(3));
    let number = if head.is_empty() {
        tail.to_owned()
    } else {
        format!("{head},{tail}")
    };
    format!("{number} {}", farm.site.units.length_sign())
}

/// "Mon to Sat" for days in a row, else each.
pub(super) fn days(days: &[Weekday]) -> String {
    let in_a_row = days
        .windows(2)
        .all(|pair| matches!(pair, [one, next] if one.succ() == *next));
    match (days.first(), days.last()) {
        (Some(first), Some(last)) if in_a_row && days.len() > 2 => format!("{first} to {last}"),
        _ => days.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "),
    }
}
