//! A sheet with a head line that names its columns.

use std::ops::Range;

use super::cells::{Cell, Line, cells, separator};
use super::file::File;
use super::mistake::Text;
use super::words::{closest, line_fault, listed};

/// Most lines read from one sheet.
const MOST_LINES: usize = 5000;

/// A sheet with known columns.
#[derive(Debug)]
pub(super) struct Sheet {
    pub(super) rows: Vec<SheetRow>,
}

/// One line below the head, in the order of the wanted columns.
#[derive(Debug)]
pub(super) struct SheetRow {
    cells: Vec<Option<Cell>>,
    /// Columns whose cell was refused and noted.
    refused: Vec<usize>,
    /// The whole line.
    pub(super) span: Range<usize>,
}

impl SheetRow {
    /// A cell that is there and not blank.
    pub(super) fn cell(&self, column: usize) -> Option<&Cell> {
        self.cells.get(column)?.as_ref().filter(|cell| !cell.text.is_empty())
    }

    /// Whether the cell was refused, which has been noted already.
    pub(super) fn refused(&self, column: usize) -> bool {
        self.refused.contains(&column)
    }
}

/// Reads a sheet whose head names `columns`; those after the first `needed` may be missing.
pub(super) fn read(file: &File, columns: &[&str], needed: usize) -> Option<Sheet> {
    let text: &Text = &file.text;
    let separator = separator(&text.text);
    let mut lines = match cells(&text.text, separator) {
        Ok(lines) => lines,
        Err(at) => {
            file.mistake(
                at,
                "a quotation mark is never closed",
                "it opens here",
                "is the file whole? Save it again",
            );
            return None;
        }
    };
    lines.retain(|line| line.iter().any(|cell| !cell.text.trim().is_empty()));
    let wanted = columns.join(&separator.to_string());
    let Some((head, body)) = lines.split_first() else {
        file.mistake(
            0..0,
            "is empty",
            "",
            &format!("the first line names the columns: {wanted}"),
        );
        return None;
    };
    let places = head_places(file, head, columns, needed, &wanted)?;
    if let Some(line) = body.get(MOST_LINES) {
        file.mistake(
            line_span(line),
            "too many lines",
            &format!("at most {MOST_LINES}"),
            "is it the right file?",
        );
    }
    let rows = body
        .iter()
        .take(MOST_LINES)
        .map(|line| row(file, line, head.len(), &places))
        .collect();
    Some(Sheet { rows })
}

/// Which place in a line holds which column.
fn head_places(file: &File, head: &Line, columns: &[&str], needed: usize, wanted: &str) -> Option<Vec<Option<usize>>> {
    let mut places = vec![None; columns.len()];
    let mut clear = true;
    for (place, cell) in head.iter().enumerate() {
        let name = cell.text.trim().to_lowercase().replace(['_', '-'], " ");
        match columns.iter().position(|column| *column == name) {
            Some(column) => {
                let slot = places.get_mut(column)?;
                if slot.is_some() {
                    file.mistake(cell.span.clone(), "a column stands twice", &name, "keep one of the two");
                }
                *slot = Some(place);
            }
            None if name.is_empty() => {}
            None => match closest(&name, columns) {
                Some(near) => {
                    clear = false;
                    let at = format!("{} is not known", file.text.slice(cell.span.clone()));
                    file.mistake(
                        cell.span.clone(),
                        "unknown column",
                        &at,
                        &format!("did you mean \"{near}\"?"),
                    );
                }
                None => file.remark(
                    cell.span.clone(),
                    "a column that is not read",
                    "",
                    &format!("read are: {}", listed(columns)),
                ),
            },
        }
    }
    for (column, place) in columns.iter().zip(&places).take(needed) {
        if place.is_none() && clear {
            let what = format!("column \"{column}\" is missing");
            file.mistake(
                line_span(head),
                &what,
                "the head line",
                &format!("the first line names the columns: {wanted}"),
            );
        }
    }
    places.iter().take(needed).all(Option::is_some).then_some(places)
}

fn row(file: &File, line: &Line, width: usize, places: &[Option<usize>]) -> SheetRow {
    if let Some(extra) = line
        .get(width..)
        .and_then(|rest| rest.iter().find(|cell| !cell.text.trim().is_empty()))
    {
        let at = format!("{} cells, the head has {width}", line.len());
        file.mistake(
            extra.span.clone(),
            "more cells than columns",
            &at,
            "a comma inside a cell? Put the cell in \"quotes\"",
        );
    }
    let (mut cells, mut refused) = (Vec::new(), Vec::new());
    for (column, place) in places.iter().enumerate() {
        let cell = place.and_then(|place| line.get(place));
        let read = cell.and_then(|cell| plain(file, cell));
        if cell.is_some() && read.is_none() {
            refused.push(column);
        }
        cells.push(read);
    }
    SheetRow {
        cells,
        refused,
        span: line_span(line),
    }
}

/// A cell as text, refused if it is a formula or holds control characters.
fn plain(file: &File, cell: &Cell) -> Option<Cell> {
    let text = cell.text.trim();
    if text.starts_with(['=', '+', '-', '@']) {
        let at = format!("{} begins like a formula", file.text.slice(cell.span.clone()));
        file.mistake(
            cell.span.clone(),
            "a formula in a cell",
            &at,
            "paste it as a value and save again",
        );
        return None;
    }
    match line_fault(text, 200) {
        Some(fault) if !text.is_empty() => {
            file.mistake(cell.span.clone(), "a cell cannot be used", &fault, "");
            None
        }
        _ => Some(Cell {
            text: text.to_owned(),
            span: cell.span.clone(),
        }),
    }
}

fn line_span(line: &Line) -> Range<usize> {
    line.first().map_or(0, |cell| cell.span.start)..line.last().map_or(0, |cell| cell.span.end)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::date::read_date;
    use super::*;

    proptest! {
        #[test]
        fn any_text_at_all_is_read_or_refused(text in "\\PC*|[\",;\r\n=a0-9-]{0,40}") {
            let file = File::new(Text::new("harvest.csv", &text));
            let _ = read(&file, &["block", "first pick"], 2);
            let _ = read_date(&text);
        }
    }
}
