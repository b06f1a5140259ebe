//! What holds a window back: each factor with its worst value, its worth and its span of the day.

use std::ops::Range;

use super::hour::{FACTORS, SUCCESS, value};
use super::middle::median;
use super::table::{Column, Table};
use super::verdict::{Factor, Reason};
use crate::weather::Stamps;

/// Mean worth from which a factor holds nothing back.
const NOTHING_HELD: f64 = 0.9995;

/// Reasons of a window over all runs, strongest first. `day` holds the light rows of its local day.
pub(super) fn reasons(table: &Table, window: Range<usize>, day: &Range<usize>, stamps: Stamps) -> Vec<Reason> {
    let columns: Vec<&Column> = match &table.reduced {
        Some(reduced) => vec![reduced],
        None => table.members.iter().collect(),
    };
    let mut found: Vec<Reason> = FACTORS
        .into_iter()
        .filter_map(|factor| reason(table, &columns, factor, window.clone(), day, stamps))
        .collect();
    found.sort_by(|a, b| a.worth.total_cmp(&b.worth));
    found
}

fn reason(
    table: &Table,
    columns: &[&Column],
    factor: Factor,
    window: Range<usize>,
    day: &Range<usize>,
    stamps: Stamps,
) -> Option<Reason> {
    let (mut sum, mut of, mut values) = (0.0, 0.0, Vec::new());
    for column in columns {
        let cells = table.cells(column, window.start, window.len()).iter().flatten();
        let worst = cells.min_by(|a, b| a.worths.get(factor).total_cmp(&b.worths.get(factor)))?;
        sum += worst.worths.get(factor);
        of += 1.0;
        values.extend(value(factor, &worst.setting));
    }
    let worth = sum / of;
    if worth.is_nan() || worth >= NOTHING_HELD {
        return None;
    }
    let span = span(table, columns, factor, window, day);
    Some(Reason {
        factor,
        value: median(&mut values),
        worth,
        from: span.as_ref().map(|span| stamps.start(span.start)),
        until: span
            .filter(|span| span.end < day.end)
            .map(|span| stamps.at(span.end - 1)),
    })
}

/// The first stretch of the day's light that touches the window and in which half the runs are stopped.
fn span(
    table: &Table,
    columns: &[&Column],
    factor: Factor,
    window: Range<usize>,
    day: &Range<usize>,
) -> Option<Range<usize>> {
    let stopped = |k: usize| {
        let stops = |column: &&&Column| {
            table
                .cells(column, k, 1)
                .iter()
                .flatten()
                .any(|cell| cell.worths.get(factor) < SUCCESS)
        };
        day.contains(&k) && 2 * columns.iter().filter(stops).count() >= columns.len()
    };
    let touch = window.clone().find(|k| stopped(*k))?;
    let from = (day.start..=touch).rev().take_while(|k| stopped(*k)).last()?;
    let to = (touch..day.end).take_while(|k| stopped(*k)).last()?;
    Some(from..to + 1)
}
