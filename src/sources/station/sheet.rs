//! Tables of a station: CSV with any separator, decimal sign, header and order.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use csv::{ByteRecord, ReaderBuilder};

use super::clock::Nearby;
use super::{Batch, Key, Layout, Order, number};

/// Most cells of a line that are looked at.
const MOST_CELLS: usize = 500;

/// Reads the lines of a table. `head` is the beginning of the file with its header, `lines` are whole lines
/// that may begin anywhere behind it, or the file itself.
///
/// # Errors
/// Names a column of the settings that is not there.
pub(super) fn read(head: &[u8], lines: &[u8], layout: &Layout, received: DateTime<Utc>) -> Result<Batch, String> {
    let names = header(head, layout);
    let place = |key: &Key| places(key, &names);
    let mut time = Vec::new();
    for key in &layout.time {
        time.push(place(key)?);
    }
    let mut columns = Vec::new();
    for column in &layout.columns {
        columns.push((place(&column.key)?, column));
    }
    let mut batch = Batch::default();
    let mut nearby = Nearby::Unknown;
    for record in records(lines, layout.separator) {
        let stamp: Vec<String> = time.iter().map(|place| cell(&record, *place)).collect();
        let stamp = stamp.join(" ");
        let Some(at) = layout.clock.read(&stamp, nearby) else {
            batch.unreadable(|| format!("\"{stamp}\" is not a time of the given form"));
            continue;
        };
        nearby = match layout.order {
            Order::OldestFirst => Nearby::After(at),
            Order::NewestFirst => Nearby::Before(at),
        };
        for (place, column) in &columns {
            let text = cell(&record, *place);
            if text.is_empty() || layout.missing.contains(&text) {
                batch.push(column, at, None, received);
                continue;
            }
            let value = number(&text, layout.decimal);
            if value.is_none() {
                batch.unreadable(|| format!("\"{text}\" is not a number"));
            }
            batch.push(column, at, value, received);
        }
    }
    if layout.order == Order::NewestFirst {
        // In order of time, so that of two lines for the same time the one written later counts.
        batch.readings.reverse();
    }
    Ok(batch)
}

fn records(bytes: &[u8], separator: u8) -> impl Iterator<Item = ByteRecord> {
    let reader = ReaderBuilder::new()
        .delimiter(separator)
        .has_headers(false)
        .flexible(true)
        .from_reader(bytes);
    reader.into_byte_records().map_while(Result::ok)
}

fn cell(record: &ByteRecord, place: usize) -> String {
    String::from_utf8_lossy(record.get(place).unwrap_or_default())
        .trim()
        .to_owned()
}

/// Every text of the header rows with its column; the first of equal ones counts.
fn header(head: &[u8], layout: &Layout) -> BTreeMap<String, usize> {
    let head = head.strip_prefix(b"\xef\xbb\xbf").unwrap_or(head);
    let mut names = BTreeMap::new();
    for record in records(head, layout.separator).take(layout.header_rows) {
        for place in 0..record.len().min(MOST_CELLS) {
            names.entry(cell(&record, place)).or_insert(place);
        }
    }
    names
}

fn places(key: &Key, names: &BTreeMap<String, usize>) -> Result<usize, String> {
    match key {
        Key::Number(number) => Ok(number.saturating_sub(1)),
        Key::Name(name) => names.get(name.trim()).copied().ok_or_else(|| {
            let found: Vec<&str> = names.keys().map(String::as_str).take(8).collect();
            let found = super::super::refusal::cleaned(&found.join(", "));
            format!("the table has no column \"{name}\"; found: {found}")
        }),
        Key::Pointer { pointer, .. } => Err(format!("{pointer} is a place in JSON, not a column")),
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Clock, Column, Form, Unit};
    use super::*;
    use crate::farm::zone::Zone;
    use crate::weather::reading::{Measured, Readings};

    fn column(key: Key, measured: Measured, unit: &str) -> Column {
        Column {
            key,
            measured,
            unit: Unit::named(measured, unit).unwrap(),
            over: None,
        }
    }

    fn layout() -> Layout {
        Layout {
            separator: b';',
            decimal: ',',
            header_rows: 1,
            order: Order::OldestFirst,
            missing: vec!["---".to_owned()],
            time: vec![Key::Name("Tag".to_owned()), Key::Name("Zeit".to_owned())],
            clock: Clock {
                form: Form::Parts("%d.%m.%y %H:%M".to_owned()),
                zone: Zone::named("UTC"),
            },
            columns: vec![
                column(Key::Name("Luft".to_owned()), Measured::Temperature, "°C"),
                column(Key::Number(4), Measured::RainCounter, "mm"),
            ],
        }
    }

    fn received() -> DateTime<Utc> {
        "2026-03-10T12:00:00Z".parse().unwrap()
    }

    const HEAD: &[u8] = "\u{feff}Tag;Zeit;Luft;Regen\r\n".as_bytes();

    #[test]
    fn decimal_commas_dashes_and_broken_lines_are_read_for_what_they_are() {
        let lines = b"10.03.26;05:00;7,4;135,3\r\n10.03.26;05:10;---;135,5\r\n10.03;05:20;7,1;1\n10.03.26;05:30;warm;135,5\n10.03.26;05:40\n";
        let batch = read(HEAD, lines, &layout(), received()).unwrap();
        let found = Readings::gather(batch.readings);
        let air: Vec<_> = found.of(Measured::Temperature).iter().map(|told| told.value).collect();
        assert_eq!(air, [Some(7.4), None, None, None]);
        assert_eq!(batch.unreadable, 2);
        assert_eq!(
            batch.first_unreadable.as_deref(),
            Some("\"10.03 05:20\" is not a time of the given form")
        );
        assert_eq!(found.of(Measured::RainCounter).len(), 4);
    }

    #[test]
    fn of_two_lines_for_one_time_the_one_written_later_counts_in_either_order() {
        let lines = b"10.03.26;05:00;7,4;1\n10.03.26;05:00;7,9;1\n";
        let value = |order: Order| {
            let layout = Layout { order, ..layout() };
            let batch = read(HEAD, lines, &layout, received()).unwrap();
            Readings::gather(batch.readings)
                .newest(Measured::Temperature)
                .unwrap()
                .1
        };
        assert!((value(Order::OldestFirst) - 7.9).abs() < 1e-9);
        assert!((value(Order::NewestFirst) - 7.4).abs() < 1e-9);
    }

    #[test]
    fn a_column_that_is_not_there_is_named_with_those_that_are() {
        let mut layout = layout();
        layout.columns[0].key = Key::Name("Air".to_owned());
        assert_eq!(
            read(HEAD, b"", &layout, received()).unwrap_err(),
            "the table has no column \"Air\"; found: Luft, Regen, Tag, Zeit"
        );
    }
}
