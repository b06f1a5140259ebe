//! Hourly observations from any CSV with a head line, on one time axis. What is not there stays unknown.

use std::collections::BTreeMap;
use std::path::Path;

use chrono::{DateTime, NaiveDateTime, Utc};

use super::super::Failure;
use crate::physics::Sunlight;
use crate::settings::clean;
use crate::weather::{Quantity, Run, Series, Stamps, estimate};

/// Most hours of one file: forty years.
const MOST_HOURS: i64 = 40 * 8784;
/// A column with more impossible values than this share has another unit.
const IMPOSSIBLE: f64 = 0.01;
/// Below this a vane does not turn \[m/s\], and a blank direction is no hole.
const CALM_M_S: f64 = 0.5;

/// A column: names it goes by, what to multiply and add, what it is, its range after that, how values of one hour join.
struct Column {
    names: &'static [&'static str],
    of: Of,
    factor: f64,
    offset: f64,
    join: Join,
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Of {
    Quantity(Quantity),
    Humidity,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Join {
    Last,
    Highest,
    Sum,
    Mean,
}

const fn column(names: &'static [&'static str], of: Of, factor: f64, offset: f64, join: Join) -> Column {
    Column {
        names,
        of,
        factor,
        offset,
        join,
    }
}

use Join::{Highest, Last, Mean, Sum};
use Of::Humidity;
use Quantity::{Cloud, DewPoint, Gust, Rain, Shortwave, Temperature, Wind, WindDirection};

/// Conversions: SI Brochure (9th ed.) table 8 and NIST SP 811 appendix B.
const COLUMNS: [Column; 21] = [
    column(
        &["temp_c", "t2m", "temperature_c", "air_c", "temperature_2m"],
        Of::Quantity(Temperature),
        1.0,
        0.0,
        Last,
    ),
    column(
        &["temp_f", "temperature_f"],
        Of::Quantity(Temperature),
        5.0 / 9.0,
        -160.0 / 9.0,
        Last,
    ),
    column(
        &["dewpoint_c", "td2m", "dew_c", "dew_point_c", "dew_point_2m"],
        Of::Quantity(DewPoint),
        1.0,
        0.0,
        Last,
    ),
    column(
        &["dewpoint_f", "dew_f"],
        Of::Quantity(DewPoint),
        5.0 / 9.0,
        -160.0 / 9.0,
        Last,
    ),
    column(
        &["rh_pct", "humidity_pct", "relative_humidity_2m"],
        Humidity,
        0.01,
        0.0,
        Last,
    ),
    column(&["wind_ms", "wind10", "wind_m_s"], Of::Quantity(Wind), 1.0, 0.0, Last),
    column(&["wind_kmh", "wind_km_h"], Of::Quantity(Wind), 1.0 / 3.6, 0.0, Last),
    column(&["wind_mph"], Of::Quantity(Wind), 0.447_04, 0.0, Last),
    column(
        &["gust_ms", "gust10", "gust_m_s"],
        Of::Quantity(Gust),
        1.0,
        0.0,
        Highest,
    ),
    column(&["gust_kmh", "gust_km_h"], Of::Quantity(Gust), 1.0 / 3.6, 0.0, Highest),
    column(&["gust_mph"], Of::Quantity(Gust), 0.447_04, 0.0, Highest),
    column(
        &["wind_dir_deg", "wind_dir", "wind_direction_10m"],
        Of::Quantity(WindDirection),
        1.0,
        0.0,
        Last,
    ),
    column(&["rain_mm", "rain", "precipitation"], Of::Quantity(Rain), 1.0, 0.0, Sum),
    column(&["rain_in"], Of::Quantity(Rain), 25.4, 0.0, Sum),
    column(
        &["ghi_wm2", "shortwave", "shortwave_wm2", "shortwave_radiation"],
        Of::Quantity(Shortwave),
        1.0,
        0.0,
        Mean,
    ),
    column(&["cloud", "cloud_share"], Of::Quantity(Cloud), 1.0, 0.0, Last),
    column(&["cloud_pct", "cloud_cover"], Of::Quantity(Cloud), 0.01, 0.0, Last),
    column(
        &["thunder", "lightning"],
        Of::Quantity(Quantity::Thunder),
        1.0,
        0.0,
        Highest,
    ),
    column(&["fog"], Of::Quantity(Quantity::Fog), 1.0, 0.0, Highest),
    column(&["snow"], Of::Quantity(Quantity::Snow), 1.0, 0.0, Highest),
    column(&["cloud_oktas"], Of::Quantity(Cloud), 0.125, 0.0, Last),
];

/// Least and greatest value that weather has.
fn range(of: Of) -> (f64, f64) {
    match of {
        Of::Quantity(Temperature | DewPoint) => (-90.0, 60.0),
        Of::Quantity(Wind) => (0.0, 75.0),
        Of::Quantity(Gust) => (0.0, 110.0),
        Of::Quantity(WindDirection) => (0.0, 360.0),
        Of::Quantity(Rain) => (0.0, 400.0),
        Of::Quantity(Shortwave) => (-20.0, 1500.0),
        // A gauge may read a little over full.
        Humidity => (0.0, 1.05),
        Of::Quantity(Cloud) => (0.0, 1.0),
        Of::Quantity(Quantity::Thunder | Quantity::Fog | Quantity::Snow) => (0.0, 1e6),
    }
}

/// Observations on one axis.
pub(super) struct Observed {
    pub(super) stamps: Stamps,
    pub(super) run: Run,
    /// What was filled in by a rule, and what was thrown away, in sentences.
    pub(super) remarks: Vec<String>,
}

/// What fell into one hour, column by column.
type Hours = BTreeMap<DateTime<Utc>, Vec<Gathered>>;

#[derive(Clone, Copy, Default)]
struct Gathered {
    value: Option<f64>,
    count: u32,
    hole: bool,
}

/// Reads a file.
pub(super) fn read(path: &Path, text: &str, latitude: f64, longitude: f64) -> Result<Observed, Failure> {
    let first = text
        .lines()
        .position(|line| !line.trim().is_empty() && !line.starts_with('#'))
        .unwrap_or(0);
    let body: String = text.split_inclusive('\n').skip(first).collect();
    let refuse = |line: usize, what: &str| Failure {
        code: 2,
        text: format!("{}, line {line}: {what}", clean(&path.display().to_string())),
    };
    let mut reader = ::csv::ReaderBuilder::new()
        .trim(::csv::Trim::All)
        .flexible(true)
        .comment(Some(b'#'))
        .from_reader(body.trim_start_matches('\u{feff}').as_bytes());
    let head = reader
        .headers()
        .map_err(|error| refuse(first + 1, &error.to_string()))?
        .clone();
    let names: Vec<String> = head
        .iter()
        .map(|name| name.to_lowercase().replace([' ', '-'], "_"))
        .collect();
    let (time, utc) = time_column(&names).ok_or_else(|| {
        refuse(
            first + 1,
            "no column of times. Name it time_utc, or time with the offset in each value (2026-03-10T06:00+13:00).",
        )
    })?;
    let mut used: Vec<(usize, &Column)> = Vec::new();
    for (place, name) in names.iter().enumerate() {
        if let Some(column) = COLUMNS.iter().find(|column| column.names.contains(&name.as_str())) {
            if let Some((other, _)) = used.iter().find(|(_, other)| other.of == column.of) {
                let other = names.get(*other).map_or("", String::as_str);
                return Err(refuse(
                    first + 1,
                    &format!("`{other}` and `{name}` tell the same. Cut one of them."),
                ));
            }
            used.push((place, column));
        }
    }
    let has = |of: Of| used.iter().any(|(_, column)| column.of == of);
    for (there, what, example) in [
        (has(Of::Quantity(Temperature)), "the air temperature", "temp_c"),
        (
            has(Of::Quantity(DewPoint)) || has(Humidity),
            "dew point or humidity",
            "dewpoint_c or rh_pct",
        ),
        (has(Of::Quantity(Wind)), "the mean wind", "wind_ms"),
        (has(Of::Quantity(WindDirection)), "the wind's direction", "wind_dir_deg"),
        (has(Of::Quantity(Rain)), "rain", "rain_mm"),
    ] {
        if !there {
            return Err(refuse(
                first + 1,
                &format!("no column tells {what}, without which no hour can be judged. Name it {example}."),
            ));
        }
    }
    let mut hours = Hours::new();
    let mut wrong: Vec<(u64, usize, String)> = vec![(0, 0, String::new()); used.len()];
    let mut told = vec![0_u64; used.len()];
    for record in reader.records() {
        let record = record.map_err(|error| refuse(first + 1, &error.to_string()))?;
        let line = record.position().map_or(0, ::csv::Position::line);
        let line = first + usize::try_from(line).unwrap_or(0);
        let at = stamp(record.get(time).unwrap_or_default(), utc).map_err(|what| refuse(line, &what))?;
        let end = DateTime::from_timestamp(
            at.timestamp().div_euclid(3600) * 3600 + i64::from(at.timestamp() % 3600 != 0) * 3600,
            0,
        )
        .unwrap_or(at);
        let hour = hours
            .entry(end)
            .or_insert_with(|| vec![Gathered::default(); used.len()]);
        for ((((place, column), gathered), wrong), told) in used.iter().zip(hour).zip(&mut wrong).zip(&mut told) {
            let cell = record.get(*place).unwrap_or_default();
            let blank = cell.is_empty() || ["na", "nan", "null", "m"].contains(&cell.to_lowercase().as_str());
            let value = cell.parse::<f64>().ok().map(|raw| raw * column.factor + column.offset);
            let (least, most) = range(column.of);
            let good = value.filter(|value| (least - 1e-9..=most + 1e-9).contains(value));
            *told += u64::from(!blank);
            if !blank && good.is_none() {
                wrong.0 += 1;
                if wrong.0 == 1 {
                    (wrong.1, wrong.2) = (line, cell.to_owned());
                }
            }
            gather(gathered, good, column.join);
        }
    }
    let mut remarks = Vec::new();
    for (((place, column), (count, line, cell)), told) in used.iter().zip(&wrong).zip(&told) {
        let name = names.get(*place).map_or("", String::as_str);
        let (least, most) = range(column.of);
        if *count as f64 > IMPOSSIBLE * *told as f64 && *count > 0 {
            let back = |value: f64| ((value - column.offset) / column.factor * 10.0).round() / 10.0;
            return Err(refuse(
                *line,
                &format!(
                    "`{name}` is {}, and {count} of {told} values of it lie outside of {} to {}. Another unit? Columns known for it: {}.",
                    clean(cell),
                    back(least),
                    back(most),
                    column.names.join(", ")
                ),
            ));
        }
        if *count > 0 {
            remarks.push(format!("{name}: {count} impossible values taken as unknown"));
        }
    }
    axis(path, hours, &used, remarks, latitude, longitude)
}

fn gather(into: &mut Gathered, value: Option<f64>, join: Join) {
    let Some(value) = value else {
        // A reading that is missing inside of an hour is missing from its sum.
        into.hole |= join == Sum;
        return;
    };
    into.count += 1;
    into.value = Some(match (into.value, join) {
        (None, _) | (_, Last) => value,
        (Some(before), Highest) => before.max(value),
        (Some(before), Sum) => before + value,
        (Some(before), Mean) => before + (value - before) / f64::from(into.count),
    });
}

fn time_column(names: &[String]) -> Option<(usize, bool)> {
    let place = |name: &str| names.iter().position(|other| other == name);
    ["time_utc", "valid_utc", "datetime_utc"]
        .iter()
        .find_map(|name| place(name))
        .map(|place| (place, true))
        .or_else(|| {
            ["time", "timestamp", "datetime", "date_time"]
                .iter()
                .find_map(|name| place(name))
                .map(|place| (place, false))
        })
}

/// An instant; a local time without its zone is refused.
fn stamp(text: &str, utc: bool) -> Result<DateTime<Utc>, String> {
    let text = text.trim().replacen(' ', "T", 1);
    for form in ["%Y-%m-%dT%H:%M:%S%#z", "%Y-%m-%dT%H:%M%#z"] {
        if let Ok(at) = DateTime::parse_from_str(&text.replace('Z', "+00:00"), form) {
            return Ok(at.with_timezone(&Utc));
        }
    }
    for form in ["%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M"] {
        if let Ok(at) = NaiveDateTime::parse_from_str(&text, form) {
            return if utc {
                Ok(at.and_utc())
            } else {
                Err(format!(
                    "`{text}` has no zone. Write 2026-03-10T06:00Z or 2026-03-10T06:00+13:00, or name the column time_utc."
                ))
            };
        }
    }
    Err(format!("`{}` is no time. Write 2026-03-10T06:00Z.", clean(&text)))
}

fn axis(
    path: &Path,
    hours: Hours,
    used: &[(usize, &Column)],
    mut remarks: Vec<String>,
    latitude: f64,
    longitude: f64,
) -> Result<Observed, Failure> {
    let refuse = |what: &str| Failure {
        code: 2,
        text: format!("{}: {what}", clean(&path.display().to_string())),
    };
    let (Some((first, _)), Some((last, _))) = (hours.first_key_value(), hours.last_key_value()) else {
        return Err(refuse(
            "there are no hours below the head line. Add some weeks of them.",
        ));
    };
    let span = (*last - *first).num_hours() + 1;
    if span > MOST_HOURS {
        return Err(refuse("the hours span more than forty years. Is a year misspelt?"));
    }
    let count = usize::try_from(span).unwrap_or(0);
    let stamps = Stamps { first: *first, count };
    let value = |k: usize, of: Of| -> Option<f64> {
        let hour = hours.get(&stamps.at(k))?;
        let place = used.iter().position(|(_, column)| column.of == of)?;
        let gathered = hour.get(place)?;
        (!gathered.hole).then_some(gathered.value).flatten()
    };
    let has = |of: Of| used.iter().any(|(_, column)| column.of == of);
    let quantity = |k: usize, quantity: Quantity| value(k, Of::Quantity(quantity));
    let mut run = Run::unknown(count);
    for one in Quantity::ALL {
        for k in 0..count {
            run.of_mut(one).put(k, quantity(k, one));
        }
    }
    if !has(Of::Quantity(DewPoint)) {
        for k in 0..count {
            let share = value(k, Humidity).map(|share| share.min(1.0));
            let dew = quantity(k, Temperature)
                .zip(share)
                .and_then(|(air, share)| estimate::dew_point(air, share));
            run.dew_point.put(k, dew);
        }
        remarks.push("dew point from temperature and humidity".to_owned());
    }
    let winds = (0..count).filter(|k| quantity(*k, Wind).is_some()).count();
    let gusts = (0..count).filter(|k| quantity(*k, Gust).is_some()).count();
    let gusts_seldom = 2 * gusts < winds;
    for k in 0..count {
        let wind = quantity(k, Wind);
        if gusts_seldom && run.gust.get(k).is_none() {
            run.gust.put(k, wind.map(estimate::gust));
        }
        if let (Some(wind), Some(gust)) = (wind, run.gust.get(k)) {
            run.gust.put(k, Some(gust.max(wind)));
        }
        if wind.is_some_and(|wind| wind < CALM_M_S) && run.wind_direction.get(k).is_none() {
            run.wind_direction.put(k, Some(0.0));
        }
    }
    if gusts_seldom {
        remarks.push(
            "gusts told in less than half of the hours; the others estimated from the wind, on the rough side"
                .to_owned(),
        );
    }
    sky(&mut run, stamps, latitude, longitude, &mut remarks);
    Ok(Observed { stamps, run, remarks })
}

/// Cloud and sunshine, where a column is missing altogether.
fn sky(run: &mut Run, stamps: Stamps, latitude: f64, longitude: f64, remarks: &mut Vec<String>) {
    let (no_cloud, no_sun) = (run.cloud.is_all_gaps(), run.shortwave.is_all_gaps());
    if no_cloud {
        // Assumed: half a sky, and a full one while it rains.
        let cloud: Vec<Option<f64>> = (0..stamps.count)
            .map(|k| run.rain.get(k).map(|rain| if rain > 0.0 { 1.0 } else { 0.5 }))
            .collect();
        run.cloud = Series::new(cloud);
        remarks.push("no column of cloud: half a sky taken, a full one in rain; what dries when is rough".to_owned());
    }
    if no_sun {
        let alley = crate::alley::Alley {
            lat: latitude,
            lon: longitude,
            ..crate::alley::Alley::default()
        };
        let sun = Sunlight::of(&alley, stamps);
        let light: Vec<Option<f64>> = sun
            .hours
            .iter()
            .enumerate()
            .map(|(k, hour)| {
                let steps = hour.steps.len().max(1) as f64;
                let cloud = run.cloud.get(k)?;
                Some(
                    hour.steps
                        .iter()
                        .map(|step| estimate::shortwave(step.sin_elevation, cloud))
                        .sum::<f64>()
                        / steps,
                )
            })
            .collect();
        run.shortwave = Series::new(light);
        remarks.push("no column of sunshine: estimated from the sun's height and the cloud".to_owned());
    }
}
