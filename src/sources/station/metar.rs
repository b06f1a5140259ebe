//! METAR reports, alone or in bulletins.
//!
//! In:     text with reports of any stations; only those of one are read.
//! Out:    temperature and dew point (tenths from the T group), wind, gust, peak wind, thunder, fog, rain of the hour.
//! Source: WMO-No. 306, Manual on Codes, FM 15; remarks after the Federal Meteorological Handbook No. 1, ch. 12
//!         (T, P and PK WND groups, PNO).
//!
//! A gust that is not reported is not reported, and no calm: the groups name gusts only well above the mean.
//! Month and year are not in a report; they come from the time of receipt.

use chrono::{DateTime, Datelike, Months, NaiveDate, TimeDelta, Utc};

use super::Batch;
use crate::weather::reading::{Measured, Reading};
use crate::weather::{Told, Valid};

/// Most characters of a group.
const LONGEST_GROUP: usize = 24;
/// Most groups of a report.
const MOST_GROUPS: usize = 120;
/// A report may be ahead of its receipt by this.
const AHEAD: TimeDelta = TimeDelta::hours(1);
const KNOT: f64 = 1852.0 / 3600.0;
const INCH_MM: f64 = 25.4;
/// What a trace of rain, less than half a hundredth of an inch, is told as \[mm\]: wet, not dry.
const TRACE_MM: f64 = 0.1;

/// Reads every report of the station called `code`.
pub(super) fn read(text: &[u8], code: &str, received: DateTime<Utc>) -> Batch {
    let text: String = String::from_utf8_lossy(text)
        .chars()
        .map(|sign| if sign.is_control() { ' ' } else { sign })
        .collect();
    let mut batch = Batch::default();
    let mut report: Vec<&str> = Vec::new();
    // A report ends with "=" or where the next one begins.
    for part in text.split_inclusive('=') {
        let groups: Vec<&str> = part.trim_end_matches('=').split_whitespace().collect();
        for (k, group) in groups.iter().enumerate() {
            let begins = is_code(group) && groups.get(k + 1).is_some_and(|next| is_time(next));
            if begins {
                one(&report, code, received, &mut batch);
                report.clear();
            }
            if report.len() < MOST_GROUPS && (begins || !report.is_empty()) {
                report.push(group);
            }
        }
        one(&report, code, received, &mut batch);
        report.clear();
    }
    batch
}

fn is_code(group: &str) -> bool {
    group.len() == 4
        && group.starts_with(|sign: char| sign.is_ascii_uppercase())
        && group
            .chars()
            .all(|sign| sign.is_ascii_uppercase() || sign.is_ascii_digit())
}

fn is_time(group: &str) -> bool {
    group.len() == 7 && group.ends_with('Z') && digits(group.get(..6).unwrap_or_default()).is_some()
}

fn digits(text: &str) -> Option<u32> {
    let all = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    all.then(|| text.parse().ok()).flatten()
}

fn one(report: &[&str], code: &str, received: DateTime<Utc>, batch: &mut Batch) {
    let [station, stamp, groups @ ..] = report else { return };
    if *station != code {
        return;
    }
    let Some(at) = instant(stamp, received) else {
        batch.unreadable(|| format!("{station} {stamp} is not a time"));
        return;
    };
    if groups.contains(&"NIL") {
        return;
    }
    let remarks = groups.iter().position(|group| *group == "RMK");
    let (body, remarks) = groups.split_at(remarks.unwrap_or(groups.len()));
    // What comes after is a forecast.
    let body = body
        .iter()
        .position(|group| ["NOSIG", "TEMPO", "BECMG"].contains(group))
        .and_then(|end| body.get(..end))
        .unwrap_or(body);
    let mut put = |measured, valid, value| {
        let told = Told {
            valid,
            value: Some(value),
        };
        batch.readings.push(Reading {
            measured,
            told,
            received,
        });
    };
    let now = Valid::At(at);
    for group in body.iter().filter(|group| group.len() <= LONGEST_GROUP) {
        if let Some(wind) = wind(group) {
            put(Measured::Wind, now, wind.mean);
            if let Some(gust) = wind.gust {
                put(Measured::Gust, now, gust);
            }
            if let Some(direction) = wind.direction.filter(|_| wind.mean > 0.0) {
                put(Measured::WindDirection, now, direction);
            }
        }
    }
    let tenths = remarks.iter().find_map(|group| t_group(group));
    let whole = body.iter().find_map(|group| air_and_dew(group));
    let (air, dew) = tenths.or(whole).unwrap_or_default();
    for (measured, value) in [(Measured::Temperature, air), (Measured::DewPoint, dew)] {
        if let Some(value) = value {
            put(measured, now, value);
        }
    }
    let silent = body.iter().any(|group| *group == "//");
    if !silent {
        let any = |word: &str| body.iter().any(|group| is_weather(group) && group.contains(word));
        put(Measured::Thunder, now, if any("TS") { 1.0 } else { 0.0 });
        put(Measured::Fog, now, if any("FG") { 1.0 } else { 0.0 });
    }
    for pair in remarks.windows(3) {
        if let ["PK", "WND", peak] = pair
            && let Some((when, speed)) = peak_wind(peak, at)
        {
            put(Measured::Gust, Valid::At(when), speed);
        }
    }
    if let Some(mm) = rain(remarks, stamp) {
        put(Measured::Rain, Valid::before(at, 1), mm);
    }
}

/// Day, hour and minute in the month that ends at the time of receipt.
fn instant(stamp: &str, received: DateTime<Utc>) -> Option<DateTime<Utc>> {
    let part = |from: usize| digits(stamp.get(from..from + 2)?);
    let (day, hour, minute) = (part(0)?, part(2)?, part(4)?);
    let month = |back: u32| {
        let first = received
            .date_naive()
            .with_day(1)?
            .checked_sub_months(Months::new(back))?;
        let date = NaiveDate::from_ymd_opt(first.year(), first.month(), day)?;
        Some(date.and_hms_opt(hour, minute, 0)?.and_utc())
    };
    (0..3).filter_map(month).find(|at| *at <= received + AHEAD)
}

struct Wind {
    direction: Option<f64>,
    mean: f64,
    gust: Option<f64>,
}

/// `dddff(f)(Gff(f))KT|MPS|KMH`; speeds of 100 and more are written P99.
fn wind(group: &str) -> Option<Wind> {
    let units = [("KT", KNOT), ("MPS", 1.0), ("KMH", 1.0 / 3.6)];
    let (rest, factor) = units
        .into_iter()
        .find_map(|(unit, factor)| Some((group.strip_suffix(unit)?, factor)))?;
    let (direction, speeds) = (rest.get(..3)?, rest.get(3..)?);
    let (mean, gust) = match speeds.split_once('G') {
        Some((mean, gust)) => (mean, Some(gust)),
        None => (speeds, None),
    };
    let speed = |text: &str| {
        let text = text.strip_prefix('P').unwrap_or(text);
        let usual = (2..=3).contains(&text.len());
        usual
            .then(|| digits(text))
            .flatten()
            .map(|value| f64::from(value) * factor)
    };
    let direction = match direction {
        "VRB" => None,
        degrees => Some(f64::from(digits(degrees)?)),
    };
    Some(Wind {
        direction,
        mean: speed(mean)?,
        gust: gust.and_then(speed),
    })
}

/// `T/Td` in whole degrees, `M` for minus; either may be slashes.
fn air_and_dew(group: &str) -> Option<(Option<f64>, Option<f64>)> {
    let (air, dew) = group.split_once('/')?;
    let degrees = |text: &str| {
        let (sign, text) = text.strip_prefix('M').map_or((1.0, text), |rest| (-1.0, rest));
        (text.len() == 2)
            .then(|| digits(text))
            .flatten()
            .map(|value| sign * f64::from(value))
    };
    let found = (degrees(air)?, degrees(dew));
    let none = dew.is_empty() || dew.chars().all(|sign| sign == '/');
    (found.1.is_some() || none).then_some((Some(found.0), found.1))
}

/// `TsTTTsTTT`: tenths of a degree, s = 1 for minus; without the second half where the dew point is missing.
fn t_group(group: &str) -> Option<(Option<f64>, Option<f64>)> {
    let rest = group.strip_prefix('T')?;
    let tenths = |text: &str| {
        let sign = match text.get(..1)? {
            "0" => 1.0,
            "1" => -1.0,
            _ => return None,
        };
        Some(sign * f64::from(digits(text.get(1..)?)?) / 10.0)
    };
    match rest.len() {
        8 => Some((tenths(rest.get(..4)?), tenths(rest.get(4..)?))),
        4 => Some((tenths(rest), None)),
        _ => None,
    }
    .filter(|(air, _)| air.is_some())
}

fn is_weather(group: &str) -> bool {
    let bare = group.trim_start_matches(['-', '+']);
    let usual = bare.len() >= 2 && bare.len() <= 8 && bare.len() % 2 == 0;
    let known = [
        "VC", "MI", "BC", "PR", "DR", "BL", "SH", "TS", "FZ", "DZ", "RA", "SN", "SG", "IC", "PL", "GR", "GS", "UP",
        "BR", "FG", "FU", "VA", "DU", "SA", "HZ", "PY", "PO", "SQ", "FC", "SS", "DS", "RE",
    ];
    let pair = |k: usize| bare.get(k..k + 2).is_some_and(|pair| known.contains(&pair));
    usual && (0..bare.len()).step_by(2).all(pair)
}

/// `dddff(f)/(hh)mm`: knots, and when in the hour before the report.
fn peak_wind(group: &str, report: DateTime<Utc>) -> Option<(DateTime<Utc>, f64)> {
    let (wind, when) = group.split_once('/')?;
    digits(wind)?;
    let speed = f64::from(digits(wind.get(3..)?)?) * KNOT;
    let minute = match when.len() {
        2 => i64::from(digits(when)?),
        4 => i64::from(digits(when.get(2..)?)?),
        _ => return None,
    };
    if minute > 59 {
        return None;
    }
    let hour = report.timestamp() - report.timestamp().rem_euclid(3600);
    let at = |back: i64| DateTime::from_timestamp(hour - back * 3600 + minute * 60, 0);
    let found = (0..2).filter_map(at).find(|at| *at <= report)?;
    Some((found, speed))
}

/// Rain of the hour: the P group; nothing where an automatic station that measures rain tells none in its
/// report of the hour; unknown elsewhere.
fn rain(remarks: &[&str], stamp: &str) -> Option<f64> {
    if remarks.contains(&"PNO") {
        return None;
    }
    let told = remarks.iter().find_map(|group| {
        let hundredths = group.strip_prefix('P').filter(|text| text.len() == 4)?;
        Some(f64::from(digits(hundredths)?) * INCH_MM / 100.0)
    });
    let minute = stamp.get(4..6).and_then(digits)?;
    match told {
        Some(mm) if mm > 0.0 => Some(mm),
        Some(_) => Some(TRACE_MM),
        None if remarks.contains(&"AO2") && minute >= 50 => Some(0.0),
        None => None,
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::weather::reading::Readings;

    fn received() -> DateTime<Utc> {
        "2026-03-09T12:00:00Z".parse().unwrap()
    }

    fn readings(text: &str, code: &str) -> Readings {
        Readings::gather(read(text.as_bytes(), code, received()).readings)
    }

    fn newest(text: &str, code: &str) -> BTreeMap<&'static str, f64> {
        let found = readings(text, code);
        Measured::ALL
            .into_iter()
            .filter_map(|measured| Some((measured.name(), (found.newest(measured)?.1 * 10.0).round() / 10.0)))
            .collect()
    }

    #[test]
    fn tenths_of_a_degree_come_from_the_remark() {
        let found = newest(
            "KBTV 090954Z 18013G21KT 10SM BKN041 M05/M13 A2986 RMK AO2 T10501133 P0009 $=",
            "KBTV",
        );
        assert_eq!(
            found.into_iter().collect::<Vec<_>>(),
            [
                ("dew-point", -13.3),
                ("fog", 0.0),
                ("gust", 10.8),
                ("rain", 2.3),
                ("temperature", -5.0),
                ("thunder", 0.0),
                ("wind", 6.7),
                ("wind-direction", 180.0)
            ]
        );
    }

    #[test]
    fn a_gust_that_is_not_reported_is_not_reported_and_no_calm() {
        let found = newest(
            "METAR LFBA 090100Z AUTO 26009KT 220V280 9999 ///TCU 17/14 Q1013=",
            "LFBA",
        );
        assert_eq!(found.get("gust"), None);
        assert_eq!(found["temperature"], 17.0);
        assert_eq!(found.get("rain"), None);
        let calm = newest("LFBA 090200Z 00000KT CAVOK 07/07 Q1013=", "LFBA");
        assert_eq!((calm["wind"], calm.get("wind-direction")), (0.0, None));
        let variable = newest("LFBA 090200Z VRB02MPS 0400 FZFG M01/// Q1013=", "LFBA");
        assert_eq!(
            (variable["wind"], variable["fog"], variable["temperature"]),
            (2.0, 1.0, -1.0)
        );
        assert_eq!(variable.get("dew-point"), None);
    }

    #[test]
    fn peak_wind_counts_at_its_own_minute() {
        let found = readings(
            "KALO 090354Z 17027KT 19/16 A2979 RMK AO2 PK WND 18051/0325 T01890156=",
            "KALO",
        );
        let (at, gust) = found.newest(Measured::Gust).unwrap();
        assert_eq!(at, "2026-03-09T03:25:00Z".parse::<DateTime<Utc>>().unwrap());
        assert!((gust - 51.0 * 0.514_444).abs() < 1e-3);
        let before = readings("KALO 090304Z 17027KT RMK PK WND 18051/25=", "KALO");
        assert_eq!(
            before.newest(Measured::Gust).unwrap().0,
            "2026-03-09T02:25:00Z".parse::<DateTime<Utc>>().unwrap()
        );
    }

    #[test]
    fn a_trace_of_rain_is_wet_and_an_unmeasured_hour_is_unknown() {
        assert_eq!(newest("KDSM 090354Z 10/09 RMK AO2 P0000=", "KDSM")["rain"], 0.1);
        assert_eq!(newest("KDSM 090354Z 10/09 RMK AO2=", "KDSM")["rain"], 0.0);
        assert_eq!(newest("KDSM 090354Z 10/09 RMK AO2 PNO=", "KDSM").get("rain"), None);
        assert_eq!(newest("KDSM 090354Z 10/09 RMK AO1=", "KDSM").get("rain"), None);
    }

    #[test]
    fn the_month_is_the_one_before_the_receipt() {
        let found = readings("KDMH 312354Z AUTO 00/M06 A3012=", "KDMH");
        assert_eq!(
            found.last(),
            Some("2026-01-31T23:54:00Z".parse::<DateTime<Utc>>().unwrap())
        );
    }

    #[test]
    fn other_stations_broken_times_and_control_signs_are_passed_over() {
        let text = "\u{1}\r\r\n776 \r\nQQQQ O81354Z AUTO 17027G37KT=\r\n1QQQ 081354Z 10/09=\r\nRJSK 081330Z 22003KT 15/12\r\nRMK \u{0}\u{1b}[2J T01510122=\u{3}";
        assert!(read(text.as_bytes(), "QQQQ", received()).readings.is_empty());
        assert!((newest(text, "RJSK")["temperature"] - 15.1).abs() < 1e-9);
        let batch = read(b"RJSK 399999Z 15/12=", "RJSK", received());
        assert_eq!((batch.readings.len(), batch.unreadable), (0, 1));
    }
}
