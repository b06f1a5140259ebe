//! The facts of a chart, gathered from the morning.

use chrono::{DateTime, TimeDelta, Utc};

use super::facts::{BoxKind, ChartFacts, DAYS, DayFact, HourFact, Lane, LaneBox, Limit, Peak, Span};
use super::{lanes, night};
use crate::advice::letter::{Inputs, estimates};
use crate::advice::spread;
use crate::advice::words::{self, Words};
use crate::farm::block::BlockId;
use crate::units::MetresPerSecond;
use crate::weather::forecast::Kind;
use crate::weather::{Quantity, Timeline};
use crate::workability::BlockOutlook;

/// Gathers the chart of one morning; `block` is the one whose cover is shown.
pub(crate) fn gather(inputs: &Inputs<'_>, weather: &Timeline, block: &Option<BlockId>) -> ChartFacts {
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
    // Dry since the night is no news: the hour counts where the crew waits for it.
    let morning = words.zone.instant(date.and_time(inputs.farm.crew.start));
    let dry_at = dry_at.map(words::half_up).filter(|at| lift.is_some() && *at > morning);
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
    // The same words as under "Ties" where it is the same hour.
    let mut ties = inputs.outlooks.iter().filter_map(|outlook| outlook.worst_hour);
    let said = ties.find(|worst| worst.at == weather.stamps.at(k));
    let (middle, high) = said.map_or((gust.middle, gust.high), |worst| (worst.gust.0, worst.gust_high.0));
    let whole = |speed: f64| words.wind_number(MetresPerSecond(speed));
    let (middle, high) = (whole(middle), whole(high));
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
