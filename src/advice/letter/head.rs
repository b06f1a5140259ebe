//! The first three lines, and whether hours of today are missing.

use chrono::{DateTime, TimeDelta, Utc};

use super::Head;
use super::morning::Morning;
use crate::advice::words;
use crate::units::{MetresPerSecond, Millimetres};
use crate::weather::forecast::IssueBasis;
use crate::weather::reading::{Hearing, Owner, hearing};
use crate::weather::{Differ, Freshness, Quantity, Run, Timeline};

/// A line longer than this breaks on paper and on a phone.
const LINE: usize = 80;

impl Morning<'_> {
    /// Next letter plus half an hour, earlier if the forecast turns unknown before.
    pub(super) fn good_until(&self) -> DateTime<Utc> {
        let next = self.inputs.next_letter + TimeDelta::minutes(30);
        self.weather.map_or(next, |weather| {
            next.min(weather.product.turns_unknown(weather.issue.at))
        })
    }

    pub(super) fn head(&self, good_until: DateTime<Utc>) -> Head {
        let now = self.inputs.now;
        let until = self.words.day_of(good_until);
        let (forecast, remarks) = self.forecast_line();
        Head {
            issued: format!("{}, {}", words::date_with_year(self.words.today), self.words.clock(now)),
            good_until: format!("{}, {}", words::date(until), self.words.clock(good_until)),
            forecast,
            stale: self
                .inputs
                .timeline
                .is_none_or(|timeline| timeline.freshness != Freshness::Fresh),
            remarks,
        }
    }

    /// The forecast line, and what did not fit on it.
    fn forecast_line(&self) -> (String, Vec<String>) {
        let Some(timeline) = self.inputs.timeline else {
            return ("none could be read".to_owned(), Vec::new());
        };
        let age = age(timeline, self.inputs.now);
        if self.weather.is_none() {
            return (format!("{age}, too old to judge by"), Vec::new());
        }
        let runs = match timeline.runs.len() {
            _ if self.one_forecast() => "one forecast only, no chance given".to_owned(),
            count => format!("{count} runs"),
        };
        let mut line = format!("{runs}, {age}; {}", self.station(timeline));
        let sentences = timeline
            .remarks
            .iter()
            .map(|remark| words::name(remark).trim_end_matches('.').to_owned());
        let mut left = Vec::new();
        for extra in sentences {
            if "Forecast: ".len() + line.len() + 2 + extra.len() <= LINE {
                line = format!("{line}; {extra}");
            } else {
                left.push(format!("{}.", words::capital(&extra)));
            }
        }
        left.extend(
            timeline
                .differ
                .iter()
                .filter_map(|differ| self.difference(timeline, differ)),
        );
        (line, left)
    }

    /// "Gusts at 14:00: MET Norway 60 km/h, Open-Meteo 25; the worse one counts." Both are shown, so that
    /// nobody takes what decides for what all say.
    fn difference(&self, timeline: &Timeline, differ: &Differ) -> Option<String> {
        let (low, high) = (differ.lower.1, differ.higher.1);
        let (low, high) = match differ.quantity {
            Quantity::Gust => (
                self.words.wind_number(MetresPerSecond(low)),
                self.words.wind(MetresPerSecond(high)),
            ),
            Quantity::Rain => (
                self.words.rain(Millimetres(low)).unwrap_or_else(|| "none".to_owned()),
                self.words.rain(Millimetres(high))?,
            ),
            Quantity::Temperature
            | Quantity::DewPoint
            | Quantity::Wind
            | Quantity::WindDirection
            | Quantity::Shortwave
            | Quantity::Cloud
            | Quantity::Thunder
            | Quantity::Fog
            | Quantity::Snow => return None,
        };
        Some(format!(
            "{} {}: {} {high}, {} {low}; the worse one counts.",
            words::capital(differ.quantity.word()),
            self.words.moment(timeline.stamps.start(differ.row)),
            words::name(&differ.higher.0),
            words::name(&differ.lower.0),
        ))
    }

    /// The station and its last reading: its clock time while it is fresh, then its age too.
    fn station(&self, timeline: &Timeline) -> String {
        let Some(heard) = &timeline.past.station else {
            return "no station".to_owned();
        };
        let whose = match heard.owner {
            Owner::Own => "own station",
            Owner::Near => "near station",
        };
        let now = self.inputs.now;
        let (clock, minutes) = (self.words.clock(heard.last), (now - heard.last).num_minutes());
        match hearing(heard.last, now) {
            Hearing::Fresh => format!("{whose} {clock}"),
            Hearing::Stale => format!("{whose} {clock}, {minutes} min old"),
            Hearing::Silent if minutes < 48 * 60 => format!("{whose} silent for {} h", minutes / 60),
            Hearing::Silent => format!("{whose} silent for {} days", minutes / 1440),
        }
    }

    /// Whether some, but not all, of the coming crew hours of today are unknown.
    pub(super) fn partly_unknown(&self) -> bool {
        let Some(weather) = self.weather else { return false };
        if !self.works(self.words.today) {
            return false;
        }
        let day = self.crew_day(self.words.today);
        let from = day.start.max(self.inputs.now - TimeDelta::hours(1));
        let rows =
            (0..weather.stamps.count).filter(|k| weather.stamps.start(*k) >= from && weather.stamps.at(*k) <= day.end);
        // No window is judged on an hour that one of the runs does not know.
        let known = |k: usize| {
            let knows = |run: &Run| {
                Quantity::NEEDED
                    .iter()
                    .all(|quantity| run.of(*quantity).get(k).is_some())
            };
            weather.runs.iter().all(knows)
        };
        let (mut unknown, mut hours) = (0, 0_i64);
        for k in rows {
            hours += 1;
            unknown += i64::from(!known(k));
        }
        // Hours beyond the end of the forecast are unknown too.
        let wanted = (day.end - from).num_hours().max(0);
        unknown += (wanted - hours).max(0);
        unknown > 0
    }
}

/// "4.5 hours old"; at least that much where only a change of values tells the issue.
fn age(timeline: &Timeline, now: DateTime<Utc>) -> String {
    let half_hours = ((now - timeline.issue.at).num_minutes().max(0) + 15) / 30;
    let hours = if half_hours % 2 == 0 {
        (half_hours / 2).to_string()
    } else {
        format!("{}.5", half_hours / 2)
    };
    let at_least = match timeline.issue.basis {
        IssueBasis::Said => "",
        IssueBasis::Implied => "about ",
        IssueBasis::ValuesChanged => "at least ",
    };
    format!("{at_least}{hours} hour{} old", if half_hours == 2 { "" } else { "s" })
}

/// Quantities the services do not offer.
pub(crate) fn estimates(timeline: &Timeline) -> Vec<&'static str> {
    let mut said = Vec::new();
    for quantity in &timeline.estimated {
        said.extend(match quantity {
            Quantity::Gust => Some("gust estimated from wind"),
            Quantity::Shortwave => Some("sun estimated from cloud"),
            Quantity::Temperature
            | Quantity::DewPoint
            | Quantity::Wind
            | Quantity::WindDirection
            | Quantity::Rain
            | Quantity::Thunder
            | Quantity::Cloud
            | Quantity::Fog
            | Quantity::Snow => None,
        });
    }
    said
}
