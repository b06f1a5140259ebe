//! The two files of `trace`: numbers of a block as JSON, hourly weather as CSV.

use std::path::Path;

use chrono::{NaiveDateTime, TimeDelta};

use super::super::Failure;
use super::Weather;
use crate::alley::Alley;
use crate::physics::Hour;
use crate::weather::Stamps;

/// A column of the weather file: name, least and greatest value that weather has, and a hint.
struct Column {
    name: &'static str,
    min: f64,
    max: f64,
    hint: &'static str,
    needed: bool,
}

const fn column(name: &'static str, min: f64, max: f64, hint: &'static str) -> Column {
    Column {
        name,
        min,
        max,
        hint,
        needed: true,
    }
}

const fn may_lack(name: &'static str, min: f64, max: f64, hint: &'static str) -> Column {
    Column {
        name,
        min,
        max,
        hint,
        needed: false,
    }
}

// Wind and cloud may leave their range by a rounding; the model clamps them.
const COLUMNS: [Column; 10] = [
    column("t2m", -90.0, 60.0, "air temperature in °C"),
    column("td2m", -95.0, 60.0, "dew point in °C"),
    column("wind10", -1.0, 120.0, "mean wind at 10 m in m/s"),
    column("gust10", -1.0, 150.0, "gust at 10 m in m/s"),
    column("wind_dir", -360.0, 720.0, "where the wind comes from, in degrees"),
    column("rain", 0.0, 400.0, "rain of the hour in mm"),
    column("shortwave", 0.0, 1500.0, "mean global radiation of the hour in W/m2"),
    column("cloud", -0.1, 1.1, "cloud as a share of 1; divide per cent by 100"),
    may_lack("irrigation", 0.0, 400.0, "irrigation of the hour in mm"),
    may_lack("lightning", 0.0, 1e9, "above 0 where thunder is about"),
];

/// Reads the numbers of a block.
pub(super) fn alley(path: &Path, text: &str) -> Result<Alley, Failure> {
    let alley: Alley = serde_json::from_str(text).map_err(|error| {
        let mut reason = error.to_string();
        if let Some(cut) = reason.rfind(" at line ") {
            reason.truncate(cut);
        }
        refuse(
            path,
            error.line(),
            &format!("{reason}. Mend the JSON; a name that is left out has its default."),
        )
    })?;
    for number in Alley::NUMBERS {
        let value = alley.get(number.name).unwrap_or(number.default);
        if !(number.min..=number.max).contains(&value) {
            let line = text
                .lines()
                .position(|line| line.contains(&format!("\"{}\"", number.name)))
                .map_or(1, |at| at + 1);
            return Err(refuse(
                path,
                line,
                &format!(
                    "`{}` is {value}, but it lies between {} and {} {}. {}.",
                    number.name, number.min, number.max, number.unit, number.meaning
                ),
            ));
        }
    }
    if alley.row_spacing_m <= alley.hedge_width_m && alley.tree_height_m >= 0.5 {
        return Err(refuse(
            path,
            1,
            &format!(
                "`row_spacing_m` is {} and `hedge_width_m` is {}, so there is no alley between the rows. Mend one of them.",
                alley.row_spacing_m, alley.hedge_width_m
            ),
        ));
    }
    Ok(alley)
}

/// Reads the hours of weather: a header row, then equally spaced full hours in UTC.
pub(super) fn weather(path: &Path, text: &str) -> Result<Weather, Failure> {
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let header = reader.headers().map_err(|error| broken(path, &error))?.clone();
    let places = places(path, &header)?;
    let mut first: Option<NaiveDateTime> = None;
    let mut weather = Weather {
        stamps: Stamps {
            first: chrono::DateTime::UNIX_EPOCH,
            count: 0,
        },
        hours: Vec::new(),
        thunder: Vec::new(),
    };
    for record in reader.records() {
        let record = record.map_err(|error| broken(path, &error))?;
        let line = record.position().map_or(0, csv::Position::line);
        let line = usize::try_from(line).unwrap_or(usize::MAX);
        let stamp = stamp(path, line, record.get(places.time).unwrap_or_default())?;
        let start = *first.get_or_insert(stamp);
        let due = start + TimeDelta::hours(i64::try_from(weather.hours.len()).unwrap_or(i64::MAX / 4_000_000));
        if stamp != due {
            return Err(refuse(
                path,
                line,
                &format!(
                    "the time is {stamp}, but the row after the last is {due}. Rows must follow hour by hour; fill or cut."
                ),
            ));
        }
        let mut values = [0.0; COLUMNS.len()];
        for ((value, column), place) in values.iter_mut().zip(&COLUMNS).zip(places.columns) {
            if let Some(place) = place {
                *value = number(path, line, column, record.get(place).unwrap_or_default())?;
            }
        }
        let [
            air_c,
            dew_c,
            wind,
            gust,
            direction_deg,
            rain_mm,
            shortwave,
            cloud,
            irrigation_mm,
            lightning,
        ] = values;
        weather.hours.push(Hour {
            air_c,
            dew_c,
            wind,
            gust,
            direction_deg,
            rain_mm,
            irrigation_mm,
            shortwave,
            cloud,
        });
        weather.thunder.push(lightning > 0.0);
    }
    let Some(first) = first else {
        return Err(refuse(
            path,
            2,
            "there are no hours below the header. Add at least one row.",
        ));
    };
    weather.stamps = Stamps {
        first: first.and_utc(),
        count: weather.hours.len(),
    };
    Ok(weather)
}

/// Where each column stands in a row.
struct Places {
    time: usize,
    columns: [Option<usize>; COLUMNS.len()],
}

fn places(path: &Path, header: &csv::StringRecord) -> Result<Places, Failure> {
    let find = |name: &str| header.iter().position(|field| field == name);
    for (at, field) in header.iter().enumerate() {
        if find(field) != Some(at) {
            return Err(refuse(
                path,
                1,
                &format!("the column `{field}` stands twice. Cut one of them."),
            ));
        }
        if field != "time" && !COLUMNS.iter().any(|column| column.name == field) {
            let names: Vec<&str> = COLUMNS.iter().map(|column| column.name).collect();
            return Err(refuse(
                path,
                1,
                &format!(
                    "the column `{field}` is not known. The columns are time, {}.",
                    names.join(", ")
                ),
            ));
        }
    }
    let lacking = |name: &str, hint: &str| refuse(path, 1, &format!("the column `{name}` is missing. Add it: {hint}."));
    let time = find("time").ok_or_else(|| lacking("time", "the end of each hour, YYYY-MM-DDTHH:MM in UTC"))?;
    let mut columns = [None; COLUMNS.len()];
    for (place, column) in columns.iter_mut().zip(&COLUMNS) {
        *place = find(column.name);
        if place.is_none() && column.needed {
            return Err(lacking(column.name, column.hint));
        }
    }
    Ok(Places { time, columns })
}

fn stamp(path: &Path, line: usize, text: &str) -> Result<NaiveDateTime, Failure> {
    let bare = text.strip_suffix('Z').unwrap_or(text);
    NaiveDateTime::parse_from_str(bare, "%Y-%m-%dT%H:%M")
        .or_else(|_| NaiveDateTime::parse_from_str(bare, "%Y-%m-%dT%H:%M:%S"))
        .ok()
        .filter(|stamp| stamp.and_utc().timestamp() % 3600 == 0)
        .ok_or_else(|| {
            refuse(
                path,
                line,
                &format!("`{text}` is no full hour. Write UTC as 2026-03-10T06:00."),
            )
        })
}

fn number(path: &Path, line: usize, column: &Column, text: &str) -> Result<f64, Failure> {
    if text.is_empty() {
        return Err(refuse(
            path,
            line,
            &format!("`{}` is empty. A value must stand here: {}.", column.name, column.hint),
        ));
    }
    match text.parse::<f64>() {
        Ok(value) if (column.min..=column.max).contains(&value) => Ok(value),
        Ok(value) => Err(refuse(
            path,
            line,
            &format!(
                "`{}` is {value}, but it lies between {} and {}: {}.",
                column.name, column.min, column.max, column.hint
            ),
        )),
        Err(_) => Err(refuse(
            path,
            line,
            &format!("`{}` is `{text}`, which is no number: {}.", column.name, column.hint),
        )),
    }
}

fn broken(path: &Path, error: &csv::Error) -> Failure {
    let line = error.position().map_or(1, csv::Position::line);
    let what = if let csv::ErrorKind::UnequalLengths { expected_len, len, .. } = error.kind() {
        format!("the row has {len} fields, the header {expected_len}")
    } else {
        error.to_string()
    };
    refuse(
        path,
        usize::try_from(line).unwrap_or(usize::MAX),
        &format!("{what}. Mend the row."),
    )
}

fn refuse(path: &Path, line: usize, what: &str) -> Failure {
    Failure {
        code: 2,
        text: format!("{}, line {line}: {what}", path.display()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADER: &str = "time,t2m,td2m,wind10,gust10,wind_dir,rain,shortwave,cloud";

    fn refused(rows: &str) -> String {
        let failure = weather(Path::new("w.csv"), rows).err().unwrap();
        assert_eq!(failure.code, 2);
        failure.text
    }

    #[test]
    fn a_good_file_is_read_with_or_without_a_byte_order_mark() {
        let text = format!(
            "\u{feff}{HEADER},lightning\n2026-03-10T01:00,9,8,1,2,200,0,0,0.5,1\n2026-03-10T02:00Z,9,8,1,2,200,0,0,0.5,0\n"
        );
        let read = weather(Path::new("w.csv"), &text).ok().unwrap();
        assert_eq!((read.hours.len(), read.thunder[0], read.thunder[1]), (2, true, false));
        assert!((read.hours[1].direction_deg - 200.0).abs() < 1e-9);
    }

    #[test]
    fn each_mistake_is_named_with_its_line_and_cure() {
        let good = "2026-03-10T01:00,9,8,1,2,200,0,0,0.5\n";
        for (text, expected) in [
            (
                HEADER.replace("rain,", ""),
                "w.csv, line 1: the column `rain` is missing",
            ),
            (format!("{HEADER},rain\n"), "line 1: the column `rain` stands twice"),
            (format!("{HEADER},moon\n"), "line 1: the column `moon` is not known"),
            (format!("{HEADER}\n"), "there are no hours below the header"),
            (
                format!("{HEADER}\n{good}2026-03-10T03:00,9,8,1,2,200,0,0,0.5\n"),
                "line 3: the time is 2026-03-10 03:00:00",
            ),
            (
                format!("{HEADER}\n2026-03-10T01:30,9,8,1,2,200,0,0,0.5\n"),
                "line 2: `2026-03-10T01:30` is no full hour",
            ),
            (
                format!("{HEADER}\n{good}2026-03-10T02:00,9,,1,2,200,0,0,0.5\n"),
                "line 3: `td2m` is empty",
            ),
            (
                format!("{HEADER}\n2026-03-10T01:00,290,8,1,2,200,0,0,0.5\n"),
                "line 2: `t2m` is 290, but it lies between",
            ),
            (
                format!("{HEADER}\n2026-03-10T01:00,9,8,1,2,200,0,0,50\n"),
                "divide per cent by 100",
            ),
            (
                format!("{HEADER}\n2026-03-10T01:00,9,8,NaN,2,200,0,0,0\n"),
                "`wind10` is NaN",
            ),
            (
                format!("{HEADER}\n2026-03-10T01:00,9,8,1,2\n"),
                "line 2: the row has 5 fields, the header 9",
            ),
        ] {
            let said = refused(&text);
            assert!(said.contains(expected), "{said}");
        }
    }

    #[test]
    fn a_wrong_block_number_is_named_with_its_range() {
        let said = |text: &str| alley(Path::new("b.json"), text).err().unwrap().text;
        assert!(said("{\n \"albdo\": 0.5\n}").contains("b.json, line 2: unknown field `albdo`"));
        assert!(
            said("{\n \"lat\": 46,\n \"albedo\": 7.2\n}")
                .contains("line 3: `albedo` is 7.2, but it lies between 0 and 0.98")
        );
        assert!(said("{\"row_spacing_m\": 1.0}").contains("no alley between the rows"));
        assert!(alley(Path::new("b.json"), "{}").is_ok());
    }
}
