//! What the chart draws, gathered from the morning: hours, days, lanes and limits.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

use crate::advice::spread::Spread;
use crate::units::{DisplayUnits, MetresPerSecond, Millimetres};

/// Days of the chart, today included.
pub const DAYS: usize = 10;
/// Days of the narrow chart that are drawn; the others stand in its table.
pub const DRAWN_DAYS: usize = 5;

/// Everything a chart draws. Winds are metric here; labels are worded already.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChartFacts {
    /// The block whose cover is shown wet or dry.
    pub block: Option<String>,
    /// Local midnight at which the chart begins.
    pub start: DateTime<Utc>,
    /// Time of issue.
    pub now: DateTime<Utc>,
    /// "now 05:30".
    pub now_label: String,
    /// Days in order.
    pub days: Vec<DayFact>,
    /// Hours in order from `start`.
    pub hours: Vec<HourFact>,
    /// Sunset to sunrise.
    pub nights: Vec<Span>,
    /// Job lanes.
    pub lanes: Vec<Lane>,
    /// Lines across the wind.
    pub limits: Vec<Limit>,
    /// The highest gust of the next 72 hours, if it passes a limit.
    pub peak: Option<Peak>,
    /// Whether the spread of runs may be drawn.
    pub runs: bool,
    /// Phrases below the chart, such as "gust estimated from wind".
    pub remarks: Vec<String>,
    /// Units of the axis.
    pub units: DisplayUnits,
    /// The picture in two sentences.
    pub alt: String,
}

/// A span of time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Span {
    /// From.
    pub start: DateTime<Utc>,
    /// To.
    pub end: DateTime<Utc>,
}

/// One local day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DayFact {
    /// The date.
    pub date: NaiveDate,
    /// "Tue 10".
    pub label: String,
    /// Midnight to midnight.
    pub span: Span,
    /// Whether nobody works.
    pub rest: bool,
    /// Middle sum of rain \[mm\].
    pub rain_mm: Option<f64>,
    /// Highest gust of the day over the runs \[m/s\].
    pub gust_m_s: Option<Spread>,
    /// "13-17" for lifting, if it can be done.
    pub lift: Option<String>,
    /// "8-12" for laying.
    pub lay: Option<String>,
    /// "dry 13:00", on days on which it matters.
    pub dry: Option<String>,
    /// When that is.
    pub dry_at: Option<DateTime<Utc>>,
    /// Whether nothing of the day is known.
    pub unknown: bool,
}

/// One hour.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HourFact {
    /// Start.
    pub start: DateTime<Utc>,
    /// Gust over the runs \[m/s\].
    pub gust_m_s: Option<Spread>,
    /// Middle mean wind \[m/s\].
    pub wind_m_s: Option<f64>,
    /// Middle rain \[mm\].
    pub rain_mm: Option<f64>,
    /// Top of the cover.
    pub wet_top: Option<bool>,
    /// Underside of the cover.
    pub wet_under: Option<bool>,
    /// Whether the water is frost.
    pub frost: Option<bool>,
}

/// Usable hours of one job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Lane {
    /// "Lift".
    pub name: String,
    /// Whether the headline's job is in it.
    pub leads: bool,
    /// Whether the narrow chart drops it.
    pub wide_only: bool,
    /// Boxes in time order.
    pub boxes: Vec<LaneBox>,
}

/// One box of a lane.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LaneBox {
    /// The hours.
    pub span: Span,
    /// What it means.
    pub kind: BoxKind,
    /// Whether it is near enough to count on.
    pub firm: bool,
    /// Hours or words beside it.
    pub label: Option<String>,
}

/// What a box means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BoxKind {
    /// The plan means to do it.
    Planned,
    /// It could be done.
    Possible,
    /// The weather allows it, but crew or rolls are missing.
    Blocked,
}

/// A line across the wind.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// Which.
    pub kind: LimitKind,
    /// Where \[m/s\].
    pub gust_m_s: f64,
    /// With one forecast only: lower values with growing lead, in time order; else empty.
    pub steps: Vec<LimitStep>,
    /// "lifting stops at 40".
    pub label: String,
    /// "lifting stops: 40".
    pub short: String,
}

/// A limit from some time on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LimitStep {
    /// From when.
    pub from: DateTime<Utc>,
    /// Where \[m/s\].
    pub gust_m_s: f64,
}

/// Which limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LimitKind {
    /// Of lifting.
    Lift,
    /// Of laying.
    Lay,
    /// Of the weakest ties.
    Ties,
}

/// The highest gust.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Peak {
    /// Middle of the hour.
    pub at: DateTime<Utc>,
    /// Middle gust \[m/s\].
    pub gust_m_s: f64,
    /// "57, perhaps 70".
    pub label: String,
    /// "Wed 57 km/h, perhaps 70", for the alternative text.
    pub said: String,
}

impl ChartFacts {
    /// One line a day for the text letter.
    pub fn days_said(&self) -> Vec<String> {
        self.days.iter().map(|day| day_said(day, self.units)).collect()
    }
}

fn day_said(day: &DayFact, units: DisplayUnits) -> String {
    if day.unknown {
        return format!("{}: not known.", day.label);
    }
    let rain = day.rain_mm.map_or_else(
        || "rain not known".to_owned(),
        |rain| {
            rain_said(Millimetres(rain), units).map_or_else(|| "no rain".to_owned(), |rain| format!("{rain} of rain"))
        },
    );
    let gust = day.gust_m_s.map_or_else(
        || "gust not known".to_owned(),
        |gust| format!("gusts {} {}", gust_range(gust, units), units.wind_sign()),
    );
    let work = match (&day.lift, &day.lay) {
        _ if day.rest => "; a rest day".to_owned(),
        (None, None) => String::new(),
        (lift, lay) => {
            let said = [("lift", lift), ("lay", lay)];
            let said = said
                .iter()
                .filter_map(|(job, hours)| hours.as_ref().map(|hours| format!("; {job} {hours}")));
            said.collect()
        }
    };
    format!("{}: {rain}, {gust}{work}.", day.label)
}

/// "22 to 32", or one number with one forecast.
pub(super) fn gust_range(gust: Spread, units: DisplayUnits) -> String {
    let whole = |speed: f64| format!("{:.0}", units.wind(MetresPerSecond(speed)).round());
    let (low, high) = (whole(gust.low), whole(gust.high));
    if low == high {
        format!("to {high}")
    } else {
        format!("{low} to {high}")
    }
}

fn rain_said(rain: Millimetres, units: DisplayUnits) -> Option<String> {
    if rain.0 < 0.05 {
        None
    } else if rain.0 < 0.5 {
        Some("a trace".to_owned())
    } else {
        Some(format!("{} {}", rain_number(rain.0, units), units.rain_sign()))
    }
}

/// A sum of rain as a number: whole millimetres, or hundredths of an inch.
pub(super) fn rain_number(rain_mm: f64, units: DisplayUnits) -> String {
    match units {
        DisplayUnits::Metric => format!("{:.0}", rain_mm.round()),
        DisplayUnits::Imperial => format!("{:.2}", units.rain(Millimetres(rain_mm))),
    }
}
