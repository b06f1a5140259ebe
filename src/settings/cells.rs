//! Cells of a spreadsheet's export: comma, semicolon or tab, quotes as spreadsheets write them, each cell with
//! its place.
//!
//! The `csv` crate gives no place of a cell in the file, which a message to the grower needs; the tests
//! compare this reader with it.

use std::ops::Range;

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
}
