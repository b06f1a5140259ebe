//! Days and numbers in cells. The order of day and month is never guessed.

use chrono::NaiveDate;

use super::cells::Cell;
use super::file::File;

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
    use super::super::mistake::Text;
    use super::*;

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
