//! How numbers, times and places are said: one way each, in the farm's units and on its clock.

use chrono::{DateTime, Datelike, NaiveDate, TimeDelta, Timelike, Utc};

use crate::farm::Job;
use crate::farm::block::Rows;
use crate::farm::zone::Zone;
use crate::units::{DisplayUnits, Hours, Megajoules, Metres, MetresPerSecond, Millimetres};

/// Zone, units and day that a letter is worded in.
#[derive(Debug, Clone, Copy)]
pub struct Words<'a> {
    /// The site's zone.
    pub zone: &'a Zone,
    /// The farm's units.
    pub units: DisplayUnits,
    /// Local day of the letter.
    pub today: NaiveDate,
}

/// A chance as the reader sees it: tenths held to 1 to 9, words at the ends.
pub fn chance(share: f64) -> String {
    if share >= 0.95 {
        "almost sure".to_owned()
    } else if share <= 0.05 {
        "under 1 in 20".to_owned()
    } else {
        format!("{:.0} in 10", (share * 10.0).round().clamp(1.0, 9.0))
    }
}

/// A name of the grower's on one line, without signs that steer a printer.
pub fn name(text: &str) -> String {
    let clean = text.chars().map(|sign| if sign.is_control() { ' ' } else { sign });
    clean
        .collect::<String>()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

/// The first letter made a capital.
pub fn capital(text: &str) -> String {
    let mut signs = text.chars();
    signs.next().map_or_else(String::new, |first| {
        first.to_uppercase().collect::<String>() + signs.as_str()
    })
}

/// "rows 1-12" or "row 4".
pub fn rows(rows: Rows) -> String {
    if rows.count() == 1 {
        format!("row {}", rows.first)
    } else {
        format!("rows {}-{}", rows.first, rows.last)
    }
}

/// "1-12" or "4".
pub fn row_numbers(rows: Rows) -> String {
    if rows.count() == 1 {
        rows.first.to_string()
    } else {
        format!("{}-{}", rows.first, rows.last)
    }
}

/// What to do, before the name of the place.
pub fn imperative(job: Job) -> &'static str {
    match job {
        Job::Lay => "lay",
        Job::Check => "check ties on",
        Job::Fold => "fold aside",
        Job::Lift => "lift",
        Job::Redry => "open to dry",
    }
}

/// The job as a thing.
pub fn gerund(job: Job) -> &'static str {
    match job {
        Job::Lay => "laying",
        Job::Check => "tie checks",
        Job::Fold => "folding aside",
        Job::Lift => "lifting",
        Job::Redry => "drying rolls",
    }
}

/// What a chance is of.
pub fn chance_of(job: Job) -> &'static str {
    match job {
        Job::Lay => "no rain, wind light enough",
        Job::Check => "dry enough and calm enough to walk the rows",
        Job::Fold => "no rain to speak of, wind light enough",
        Job::Lift => "both faces dry, wind light enough",
        Job::Redry => "no rain, hardly any wind",
    }
}

/// "1 h 10 min", rounded up to ten minutes.
pub fn length(length: Hours) -> String {
    let minutes = (length.0 * 6.0 - 1e-6).ceil().max(1.0) * 10.0;
    let (hours, rest) = ((minutes / 60.0).floor(), minutes % 60.0);
    match (hours >= 1.0, rest >= 1.0) {
        (true, true) => format!("{hours:.0} h {rest:.0} min"),
        (true, false) => format!("{hours:.0} h"),
        _ => format!("{rest:.0} min"),
    }
}

/// Light to 5 MJ.
pub fn light(dose: Megajoules) -> String {
    format!("{:.0} MJ/m2", (dose.0 / 5.0).round() * 5.0)
}

/// An amount to 10 of the farm's currency.
pub fn money(currency: &str, amount: f64) -> String {
    format!("{}{:.0}", name(currency), ((amount / 10.0).round() * 10.0).max(10.0))
}

/// "1 day", "28 days".
pub fn days(count: i64) -> String {
    if count == 1 {
        "1 day".to_owned()
    } else {
        format!("{count} days")
    }
}

/// "Gate", "Gate and Mill", "Gate, Mill and Top".
pub fn list(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// "1 person" or "4 people".
pub fn people(count: u32) -> String {
    if count == 1 {
        "1 person".to_owned()
    } else {
        format!("{count} people")
    }
}

/// The later half hour, or the instant itself if it is one.
pub fn half_up(at: DateTime<Utc>) -> DateTime<Utc> {
    at + TimeDelta::seconds((-at.timestamp()).rem_euclid(1800))
}

/// The earlier half hour, or the instant itself if it is one.
pub fn half_down(at: DateTime<Utc>) -> DateTime<Utc> {
    at - TimeDelta::seconds(at.timestamp().rem_euclid(1800))
}

impl Words<'_> {
    /// "13:30".
    pub fn clock(&self, at: DateTime<Utc>) -> String {
        self.zone.local(at).format("%H:%M").to_string()
    }

    /// "13:30", "noon" or "midnight".
    pub fn clock_word(&self, at: DateTime<Utc>) -> String {
        let local = self.zone.local(at);
        match (local.hour(), local.minute()) {
            (12, 0) => "noon".to_owned(),
            (0, 0) => "midnight".to_owned(),
            _ => self.clock(at),
        }
    }

    /// "13:00-17:00".
    pub fn span(&self, start: DateTime<Utc>, end: DateTime<Utc>) -> String {
        format!("{}-{}", self.clock(start), self.clock(end))
    }

    /// Hours for a chart: "13-17", or "13:30-17" where it is not a full hour.
    pub fn span_short(&self, start: DateTime<Utc>, end: DateTime<Utc>) -> String {
        let short = |at| {
            let local = self.zone.local(at);
            if local.minute() == 0 {
                local.hour().to_string()
            } else {
                local.format("%-H:%M").to_string()
            }
        };
        format!("{}-{}", short(start), short(end))
    }

    /// Local day of an instant.
    pub fn day_of(&self, at: DateTime<Utc>) -> NaiveDate {
        self.zone.day(at)
    }

    /// "today", "Sat" within a week, "Thu 19 Mar" later or before.
    pub fn day(&self, day: NaiveDate) -> String {
        match (day - self.today).num_days() {
            0 => "today".to_owned(),
            1..=6 => day.format("%a").to_string(),
            _ => date(day),
        }
    }

    /// "Wed 10:00", "10:00" for today.
    pub fn moment(&self, at: DateTime<Utc>) -> String {
        let day = self.day_of(at);
        if day == self.today {
            self.clock(at)
        } else {
            format!("{} {}", self.day(day), self.clock(at))
        }
    }

    /// "this morning", "this afternoon", "this evening".
    pub fn part_of_day(&self, at: DateTime<Utc>) -> &'static str {
        match self.zone.local(at).hour() {
            0..=11 => "this morning",
            12..=16 => "this afternoon",
            _ => "this evening",
        }
    }

    /// Wind as a whole number without its sign.
    pub fn wind_number(&self, speed: MetresPerSecond) -> String {
        format!("{:.0}", self.units.wind(speed).round().max(0.0))
    }

    /// "40 km/h".
    pub fn wind(&self, speed: MetresPerSecond) -> String {
        format!("{} {}", self.wind_number(speed), self.units.wind_sign())
    }

    /// Wind rounded down, for margins.
    pub fn wind_at_least(&self, speed: MetresPerSecond) -> String {
        let spare = (self.units.wind(speed) + 1e-9).floor().max(0.0);
        format!("{spare:.0} {}", self.units.wind_sign())
    }

    /// "57 km/h, perhaps 70": the middle run, then the ninetieth in a hundred.
    pub fn gust(&self, middle: MetresPerSecond, high: Option<MetresPerSecond>) -> String {
        match high.map(|high| self.wind_number(high)) {
            Some(high) if high != self.wind_number(middle) => format!("{}, perhaps {high}", self.wind(middle)),
            _ => self.wind(middle),
        }
    }

    /// "9 mm", "a trace", "0.35 in"; `None` for none at all.
    pub fn rain(&self, depth: Millimetres) -> Option<String> {
        if depth.0 < 0.05 {
            None
        } else if depth.0 < 0.5 {
            Some("a trace".to_owned())
        } else {
            Some(match self.units {
                DisplayUnits::Metric => format!("{:.0} mm", depth.0.round()),
                DisplayUnits::Imperial => format!("{:.2} in", self.units.rain(depth)),
            })
        }
    }

    /// "350 m" or "1150 ft", to ten.
    pub fn metres(&self, length: Metres) -> String {
        format!(
            "{:.0} {}",
            (self.units.length(length) / 10.0).round() * 10.0,
            self.units.length_sign()
        )
    }

    /// A weight of kilograms: "21 kg" or "46 lb" (1 lb = 0.453 592 37 kg, NIST SP 811 appendix B).
    pub fn weight(&self, kilograms: f64) -> String {
        match self.units {
            DisplayUnits::Metric => format!("{:.0} kg", kilograms.round().max(1.0)),
            DisplayUnits::Imperial => format!("{:.0} lb", (kilograms / 0.453_592_37).round().max(1.0)),
        }
    }
}

/// "Sat 14 Mar".
pub fn date(day: NaiveDate) -> String {
    day.format("%a %-d %b").to_string()
}

/// "Tue 10 Mar 2026".
pub fn date_with_year(day: NaiveDate) -> String {
    day.format("%a %-d %b %Y").to_string()
}

/// "16 Mar".
pub fn day_and_month(day: NaiveDate) -> String {
    day.format("%-d %b").to_string()
}

/// "Saturday".
pub fn weekday(day: NaiveDate) -> &'static str {
    match day.weekday() {
        chrono::Weekday::Mon => "Monday",
        chrono::Weekday::Tue => "Tuesday",
        chrono::Weekday::Wed => "Wednesday",
        chrono::Weekday::Thu => "Thursday",
        chrono::Weekday::Fri => "Friday",
        chrono::Weekday::Sat => "Saturday",
        chrono::Weekday::Sun => "Sunday",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chance_is_a_number_in_ten_and_never_certain() {
        let said: Vec<_> = [0.0, 0.05, 0.06, 0.14, 0.5, 0.949, 0.95, 1.0].map(chance).into();
        let words = [
            "under 1 in 20",
            "under 1 in 20",
            "1 in 10",
            "1 in 10",
            "5 in 10",
            "9 in 10",
            "almost sure",
            "almost sure",
        ];
        assert_eq!(said, words);
    }

    #[test]
    fn lengths_are_rounded_up_to_ten_minutes() {
        let said: Vec<_> = [0.05, 0.5, 1.0, 1.15, 2.0 / 3.0, 2.99]
            .map(|hours| length(Hours(hours)))
            .into();
        assert_eq!(said, ["10 min", "30 min", "1 h", "1 h 10 min", "40 min", "3 h"]);
    }

    #[test]
    fn a_name_cannot_break_a_line() {
        assert_eq!(name("Cre\r\nBcc: x\u{7}ek "), "Cre Bcc: x ek");
    }

    #[test]
    fn noon_is_a_word_and_days_of_the_week_have_names() {
        let zone = Zone::named("Europe/Rome").unwrap();
        let words = Words {
            zone: &zone,
            units: DisplayUnits::Metric,
            today: "2026-09-22".parse().unwrap(),
        };
        assert_eq!(words.clock_word("2026-09-22T10:00:00Z".parse().unwrap()), "noon");
        assert_eq!(words.moment("2026-09-23T08:00:00Z".parse().unwrap()), "Wed 10:00");
        assert_eq!(words.day("2026-09-30".parse().unwrap()), "Wed 30 Sep");
    }

    #[test]
    fn a_grower_in_miles_never_reads_kilometres() {
        let zone = Zone::named("America/New_York").unwrap();
        let words = Words {
            zone: &zone,
            units: DisplayUnits::Imperial,
            today: "2026-09-22".parse().unwrap(),
        };
        assert_eq!(
            words.gust(MetresPerSecond(16.0), Some(MetresPerSecond(19.5))),
            "36 mph, perhaps 44"
        );
        assert_eq!(words.rain(Millimetres(9.0)).as_deref(), Some("0.35 in"));
        assert_eq!(words.weight(21.0), "46 lb");
    }
}
