//! What the chart draws, gathered from the morning: hours, days, lanes and limits.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::lanes;
use super::night;
use crate::advice::letter::Inputs;
use crate::advice::letter::estimates;
use crate::advice::spread::{self, Spread};
use crate::advice::words::{self, Words};
use crate::farm::block::BlockId;
use crate::units::{DisplayUnits, MetresPerSecond, Millimetres};
use crate::weather::forecast::Kind;
use crate::weather::{Quantity, Timeline};
use crate::workability::BlockOutlook;

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

/// Gathers the chart of one morning; `block` is the one whose cover is shown.
pub fn gather(inputs: &Inputs<'_>, weather: &Timeline, block: &Option<BlockId>) -> ChartFacts {
    let site = &inputs.farm.site;
    let words = Words {
        zone: &site.zone,
        units: site.units,
        today: site.zone.day(inputs.now),
    };
    let outlook = block
        .as_ref()
        .and_then(|id| inputs.outlooks.iter().find(|outlook| outlook.block == *id));
    let start = site.zone.day_start(words.today);
    let lanes = lanes::lanes(inputs, &words);
    let days: Vec<DayFact> = (0..DAYS)
        .map(|more| day(inputs, weather, &words, more, outlook, &lanes))
        .collect();
    let end = days.last().map_or(start, |day| day.span.end);
    let runs = weather.kind == Kind::Members;
    let limits = lanes::limits(inputs, weather, &words);
    let peak = peak(inputs, weather, &words, &limits);
    let mut facts = ChartFacts {
        block: block.as_ref().map(|block| words::name(&block.0)),
        start,
        now: inputs.now,
        now_label: format!("now {}", words.clock(inputs.now)),
        hours: hours(weather, outlook, start, end),
        nights: night::nights(site.latitude.0, site.longitude.0, start, end),
        days,
        lanes,
        limits,
        peak,
        runs,
        remarks: estimates(weather).into_iter().map(str::to_owned).collect(),
        units: site.units,
        alt: String::new(),
    };
    facts.alt = super::alt::alt(&facts);
    facts
}

fn day(
    inputs: &Inputs<'_>,
    weather: &Timeline,
    words: &Words<'_>,
    more: usize,
    outlook: Option<&BlockOutlook>,
    lanes: &[Lane],
) -> DayFact {
    let date = words.today + TimeDelta::days(i64::try_from(more).unwrap_or(0));
    let span = Span {
        start: words.zone.day_start(date),
        end: words.zone.day_start(date + TimeDelta::days(1)),
    };
    let hours_of = |name: &str| {
        let lane = lanes.iter().find(|lane| lane.name == name)?;
        let inside =
            |one: &&LaneBox| one.span.start >= span.start && one.span.start < span.end && one.kind != BoxKind::Blocked;
        let found = lane.boxes.iter().find(inside)?;
        Some(words.span_short(found.span.start, found.span.end))
    };
    let lift = hours_of("Lift");
    let dry_at = outlook
        .and_then(|outlook| outlook.dry.iter().find(|dry| dry.day == date))
        .and_then(|dry| dry.both);
    let dry_at = dry_at.map(words::half_up).filter(|_| lift.is_some());
    let rain = spread::rain_sum(weather, span.start, span.end);
    let gust = spread::highest_gust(weather, span.start, span.end);
    DayFact {
        date,
        label: date.format("%a %-d").to_string(),
        span,
        rest: !inputs.farm.crew.workdays.contains(&chrono::Datelike::weekday(&date)),
        rain_mm: rain.map(|rain| rain.middle),
        gust_m_s: gust,
        lay: hours_of("Lay"),
        lift,
        dry: dry_at.map(|at| format!("dry {}", words.clock(at))),
        dry_at,
        unknown: rain.is_none() && gust.is_none(),
    }
}

fn hours(
    weather: &Timeline,
    outlook: Option<&BlockOutlook>,
    start: DateTime<Utc>,
    end: DateTime<Utc>,
) -> Vec<HourFact> {
    let first = weather.stamps.first_row_from(start);
    let hour = |k: usize| {
        let view = outlook
            .and_then(|outlook| outlook.hours.get(k))
            .copied()
            .unwrap_or_default();
        HourFact {
            start: weather.stamps.start(k),
            gust_m_s: spread::at_row(weather, Quantity::Gust, k),
            wind_m_s: spread::at_row(weather, Quantity::Wind, k).map(|wind| wind.middle),
            rain_mm: spread::at_row(weather, Quantity::Rain, k).map(|rain| rain.middle),
            wet_top: view.wet_top,
            wet_under: view.wet_under,
            frost: view.frost,
        }
    };
    (first..weather.stamps.count)
        .map(hour)
        .take_while(|hour| hour.start < end)
        .collect()
}

fn peak(inputs: &Inputs<'_>, weather: &Timeline, words: &Words<'_>, limits: &[Limit]) -> Option<Peak> {
    let lowest = limits.iter().map(|limit| limit.gust_m_s).min_by(f64::total_cmp)?;
    let from = weather.stamps.first_row_from(inputs.now);
    let known = (from..(from + 72).min(weather.stamps.count))
        .filter_map(|k| Some((k, spread::at_row(weather, Quantity::Gust, k)?)));
    let (k, gust) = known.max_by(|a, b| a.1.middle.total_cmp(&b.1.middle))?;
    if gust.middle < lowest {
        return None;
    }
    let whole = |speed: f64| words.wind_number(MetresPerSecond(speed));
    let (middle, high) = (whole(gust.middle), whole(gust.high));
    let perhaps = if middle == high {
        String::new()
    } else {
        format!(", perhaps {high}")
    };
    let at = weather.stamps.start(k) + TimeDelta::minutes(30);
    Some(Peak {
        at,
        gust_m_s: gust.middle,
        label: format!("{middle}{perhaps}"),
        said: format!(
            "{} {} {}{perhaps}",
            words.zone.local(at).format("%a"),
            middle,
            words.units.wind_sign()
        ),
    })
}
