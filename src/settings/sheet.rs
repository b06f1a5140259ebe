//! A spreadsheet's export: comma, semicolon or tab, quotes as spreadsheets write them, each cell with its place.
//!
//! The `csv` crate gives no place of a cell in the file, which a message to the grower needs; the tests
//! compare this reader with it.

use std::ops::Range;

use chrono::NaiveDate;

use super::mistake::Text;
use super::table::{File, closest, line_fault, listed};

/// Most lines read from one sheet.
const MOST_LINES: usize = 5000;

/// One cell: its text without quotes, and where it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Cell {
    pub(super) text: String,
    pub(super) span: Range<usize>,
}

/// A line of cells.
pub(super) type Line = Vec<Cell>;

/// Cells of a text; an open quote at the end is told by its place.
pub(super) fn cells(text: &str, separator: char) -> Result<Vec<Line>, Range<usize>> {
    let mut lines = Vec::new();
    let (mut line, mut cell, mut start, mut quoted, mut was_quoted) = (Line::new(), String::new(), 0, None, false);
    let mut signs = text.char_indices().peekable();
    while let Some((at, sign)) = signs.next() {
        match (sign, quoted) {
            ('"', Some(_)) if signs.peek().is_some_and(|(_, next)| *next == '"') => {
                cell.push('"');
                signs.next();
            }
            ('"', Some(_)) => quoted = None,
            (sign, Some(_)) => cell.push(sign),
            ('"', None) if cell.is_empty() && !was_quoted => (quoted, was_quoted) = (Some(at), true),
            (sign, None) if sign == separator => {
                line.push(Cell {
                    text: std::mem::take(&mut cell),
                    span: start..at,
                });
                (start, was_quoted) = (at + 1, false);
            }
            ('\r', None) if signs.peek().is_some_and(|(_, next)| *next == '\n') => {}
            ('\n' | '\r', None) => {
                let end = text
                    .get(..at)
                    .map_or(at, |before| before.trim_end_matches('\r').len().max(start));
                line.push(Cell {
                    text: std::mem::take(&mut cell),
                    span: start..end,
                });
                lines.push(std::mem::take(&mut line));
                (start, was_quoted) = (at + 1, false);
            }
            (sign, None) => cell.push(sign),
        }
    }
    if let Some(open) = quoted {
        return Err(open..open + 1);
    }
    if !line.is_empty() || start < text.len() {
        line.push(Cell {
            text: cell,
            span: start..text.len(),
        });
        lines.push(line);
    }
    Ok(lines)
}

/// The separator of a head line: the one that occurs most outside of quotes.
pub(super) fn separator(text: &str) -> char {
    let head = text.lines().find(|line| !line.trim().is_empty()).unwrap_or_default();
    let count = |sign| head.matches(sign).count();
    [';', '\t']
        .into_iter()
        .filter(|sign| count(*sign) > 0 && count(*sign) >= count(','))
        .max_by_key(|sign| count(*sign))
        .unwrap_or(',')
}

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

/// A day as `2026-03-14`. Anything else is refused: the order of day and month is never guessed.
pub(super) fn date(file: &File, cell: &Cell, what: &str) -> Option<NaiveDate> {
    match read_date(&cell.text) {
        Ok(day) => Some(day),
        Err((fault, cure)) => {
            file.mistake(
                cell.span.clone(),
                &format!("{what} cannot be read"),
                &format!("{}: {fault}", cell.text),
                &cure,
            );
            None
        }
    }
}

/// A day, or what is wrong with it and the cure.
pub(super) fn read_date(text: &str) -> Result<NaiveDate, (String, String)> {
    let shape = "write year-month-day: 2026-03-14".to_owned();
    let parts: Vec<&str> = text.split(|sign: char| !sign.is_ascii_digit()).collect();
    let numbers: Vec<u32> = parts.iter().filter_map(|part| part.parse().ok()).collect();
    let iso = text.len() == 10
        && text.bytes().enumerate().all(|(at, byte)| match at {
            4 | 7 => byte == b'-',
            _ => byte.is_ascii_digit(),
        });
    let ymd = |year: u32, month, day| NaiveDate::from_ymd_opt(i32::try_from(year).unwrap_or_default(), month, day);
    match numbers.as_slice() {
        [year, month, day] if iso => match ymd(*year, *month, *day) {
            Some(read) if (2000..=2100).contains(year) => Ok(read),
            Some(_) => Err(("year out of range; allowed 2000 to 2100".to_owned(), shape)),
            None => Err(("there is no such day".to_owned(), shape)),
        },
        [first, second, third] if parts.len() == 3 => {
            let long = |year: u32| if year < 100 { year + 2000 } else { year };
            let (dmy, mdy) = (ymd(long(*third), *second, *first), ymd(long(*third), *first, *second));
            match (dmy, mdy, ymd(*first, *second, *third)) {
                (.., Some(day)) if *first > 31 => {
                    Err(("not in the form year-month-day".to_owned(), format!("write {day}")))
                }
                (Some(one), Some(other), _) if one != other => {
                    let spoken = |day: NaiveDate| day.format("%-d %B").to_string();
                    Err((
                        format!("{} or {}?", spoken(one), spoken(other)),
                        format!("write {one} or {other}"),
                    ))
                }
                (Some(day), ..) | (None, Some(day), _) => {
                    Err(("not in the form year-month-day".to_owned(), format!("write {day}")))
                }
                (None, None, _) => Err(("there is no such day".to_owned(), shape)),
            }
        }
        [serial @ 36_526..=73_050] if parts.len() == 1 => {
            // Days since 1899-12-30, as spreadsheets count them.
            let day = NaiveDate::from_ymd_opt(1899, 12, 30)
                .and_then(|zero| zero.checked_add_days(chrono::Days::new(u64::from(*serial))));
            let cure = day.map_or(shape, |day| {
                format!("a spreadsheet's day number? It would be {day}; give the column the date form")
            });
            Err(("not in the form year-month-day".to_owned(), cure))
        }
        _ => Err(("not in the form year-month-day".to_owned(), shape)),
    }
}

/// Whole days; a decimal comma is read as a point.
pub(super) fn whole_days(file: &File, cell: &Cell, what: &str, most: u32) -> Option<u32> {
    let read = cell.text.replace(',', ".").parse::<f64>().ok();
    let days = (0..=most).find(|days| read.is_some_and(|read| (read - f64::from(*days)).abs() < 1e-9));
    if days.is_none() {
        let at = format!("{}; allowed 0 to {most} whole days", cell.text);
        file.mistake(cell.span.clone(), &format!("{what} is out of range"), &at, "");
    }
    days
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn texts(text: &str, separator: char) -> Vec<Vec<String>> {
        cells(text, separator)
            .unwrap()
            .into_iter()
            .map(|line| line.into_iter().map(|cell| cell.text).collect())
            .collect()
    }

    proptest! {
        /// Reference: the `csv` crate (RFC 4180 with line feeds or CR LF).
        #[test]
        fn cells_agree_with_the_csv_crate(table in prop::collection::vec(prop::collection::vec("[a-z,;\" \n]{0,6}", 3), 1..6), crlf: bool) {
            let mut writer = csv::WriterBuilder::new()
                .terminator(if crlf { csv::Terminator::CRLF } else { csv::Terminator::Any(b'\n') })
                .from_writer(Vec::new());
            for line in &table {
                writer.write_record(line).unwrap();
            }
            let text = String::from_utf8(writer.into_inner().unwrap()).unwrap();
            let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(text.as_bytes());
            let expected: Vec<Vec<String>> =
                reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect();
            prop_assert_eq!(&texts(&text, ','), &expected, "{:?}", text);
        }

        #[test]
        fn any_text_at_all_is_read_or_refused(text in "\\PC*|[\",;\r\n=a0-9-]{0,40}") {
            let file = File::new(Text::new("harvest.csv", &text));
            let _ = read(&file, &["block", "first pick"], 2);
            let _ = read_date(&text);
        }
    }

    #[test]
    fn a_cell_knows_its_place() {
        let lines = cells("a;\"b \"\"x\"\"\"\r\nc;d\r\n", ';').unwrap();
        assert_eq!(
            lines[0][1],
            Cell {
                text: "b \"x\"".to_owned(),
                span: 2..11
            }
        );
        assert_eq!(
            lines[1][1],
            Cell {
                text: "d".to_owned(),
                span: 15..16
            }
        );
        assert_eq!(cells("a,\"b\nc", ','), Err(2..3));
    }

    #[test]
    fn a_date_is_never_guessed() {
        assert_eq!(read_date("2026-03-14").unwrap().to_string(), "2026-03-14");
        for (text, fault, cure) in [
            ("03/04/2026", "3 April or 4 March?", "write 2026-04-03 or 2026-03-04"),
            ("25/04/2026", "not in the form year-month-day", "write 2026-04-25"),
            ("4.25.26", "not in the form year-month-day", "write 2026-04-25"),
            ("2026/3/14", "not in the form year-month-day", "write 2026-03-14"),
            ("2026-02-30", "there is no such day", "write year-month-day: 2026-03-14"),
            (
                "46095",
                "not in the form year-month-day",
                "a spreadsheet's day number? It would be 2026-03-14; give the column the date form",
            ),
            (
                "14 March",
                "not in the form year-month-day",
                "write year-month-day: 2026-03-14",
            ),
            (
                "1926-03-14",
                "year out of range; allowed 2000 to 2100",
                "write year-month-day: 2026-03-14",
            ),
        ] {
            assert_eq!(read_date(text), Err((fault.to_owned(), cure.to_owned())), "{text}");
        }
    }

    #[test]
    fn a_decimal_comma_is_a_point() {
        let file = File::new(Text::new("harvest.csv", "2,0"));
        let cell = |text: &str| Cell {
            text: text.to_owned(),
            span: 0..1,
        };
        assert_eq!(whole_days(&file, &cell("2,0"), "days", 30), Some(2));
        assert_eq!(whole_days(&file, &cell("2,5"), "days", 30), None);
        assert_eq!(whole_days(&file, &cell("nan"), "days", 30), None);
    }
}
