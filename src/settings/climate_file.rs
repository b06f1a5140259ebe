//! `climate.csv`: what half-days of each week of the year have been like. `covercast outlook --from` writes it.

use super::cells::Cell;
use super::file::File;
use super::mistake::Text;
use super::sheet::{self, SheetRow};
use crate::farm::climate::{Climate, HalfClimate, WEEKS};

/// Columns of `climate.csv`.
pub(super) const CLIMATE: [&str; 8] = ["week", "half", "slots", "years", "lay", "lift", "beaten", "light"];

/// More light than any half-day has \[MJ/m²\].
const MOST_LIGHT: f64 = 30.0;

/// The text without its remarks: lines that begin with # are blanked, so that places in the file stay true.
pub(super) fn without_remarks(text: &Text) -> Text {
    let blank = |line: &str| {
        if line.trim_start().starts_with('#') {
            line.bytes()
                .map(|byte| {
                    if byte == b'\n' || byte == b'\r' {
                        char::from(byte)
                    } else {
                        ' '
                    }
                })
                .collect()
        } else {
            line.to_owned()
        }
    };
    let lines: String = text.text.split_inclusive('\n').map(blank).collect();
    Text::new(&text.name, &lines)
}

/// The table; halves of weeks without a line are unknown.
pub(super) fn read(file: &File) -> Climate {
    let mut climate = Climate {
        weeks: vec![[None, None]; WEEKS],
    };
    let Some(sheet) = sheet::read(file, &CLIMATE, CLIMATE.len()) else {
        return climate;
    };
    for row in &sheet.rows {
        let Some((week, half, read)) = line(file, row) else {
            continue;
        };
        let Some(place) = climate.weeks.get_mut(week - 1).and_then(|halves| halves.get_mut(half)) else {
            continue;
        };
        if place.is_some() {
            file.mistake(
                row.span.clone(),
                "one half of one week stands twice",
                &format!("week {week}"),
                "keep one of the two lines",
            );
        }
        *place = Some(read);
    }
    if climate.known() == 0 {
        file.mistake(
            0..0,
            "tells nothing of any week",
            "",
            "make it anew with covercast outlook --from FILE.csv, or delete it: coarse numbers are used then",
        );
    }
    climate
}

fn line(file: &File, row: &SheetRow) -> Option<(usize, usize, HalfClimate)> {
    for (column, name) in CLIMATE.iter().enumerate() {
        if row.cell(column).is_none() && !row.refused(column) {
            let cure = "fill it in, or delete the line: that half of the week is unknown then";
            file.mistake(row.span.clone(), &format!("{name} is blank"), "in this line", cure);
        }
    }
    let whole = |column: usize, name: &str, least: f64, most: f64| {
        let number = number(file, row.cell(column)?, name, least, most)?;
        if number.fract() > 0.0 {
            let cell = row.cell(column)?;
            file.mistake(cell.span.clone(), &format!("{name} is no whole number"), &cell.text, "");
            return None;
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "whole and in its range"
        )]
        Some(number as u32)
    };
    let share = |column: usize, name: &str| number(file, row.cell(column)?, name, 0.0, 1.0);
    let week = whole(0, "week", 1.0, WEEKS as f64);
    let half = row.cell(1).and_then(|cell| match cell.text.to_lowercase().as_str() {
        "morning" => Some(0),
        "afternoon" => Some(1),
        other => {
            let at = format!("{other}; allowed: morning, afternoon");
            file.mistake(cell.span.clone(), "half is no half of a day", &at, "");
            None
        }
    });
    let read = (
        whole(2, "slots", 1.0, 10_000.0),
        whole(3, "years", 1.0, 200.0),
        share(4, "lay"),
        share(5, "lift"),
        share(6, "beaten"),
        row.cell(7)
            .and_then(|cell| number(file, cell, "light", 0.0, MOST_LIGHT)),
    );
    let (Some(slots), Some(years), Some(lay), Some(lift), Some(beaten), Some(light)) = read else {
        return None;
    };
    Some((
        usize::try_from(week?).ok()?,
        half?,
        HalfClimate {
            slots,
            years,
            lay,
            lift,
            beaten,
            light,
        },
    ))
}

fn number(file: &File, cell: &Cell, name: &str, least: f64, most: f64) -> Option<f64> {
    match cell.text.parse::<f64>() {
        Ok(value) if (least..=most).contains(&value) => Some(value),
        Ok(value) => {
            let at = format!("{value}; allowed {least} to {most}");
            file.mistake(cell.span.clone(), &format!("{name} is out of range"), &at, "");
            None
        }
        Err(_) => {
            let cure = "digits and a decimal point";
            file.mistake(cell.span.clone(), &format!("{name} is not a number"), &cell.text, cure);
            None
        }
    }
}
