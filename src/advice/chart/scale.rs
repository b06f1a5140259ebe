//! Where things stand: the two grids, the time axis and the axis of the wind.

use chrono::{DateTime, Utc};

use super::facts::{ChartFacts, DRAWN_DAYS, Span};
use super::svg::Rect;
use crate::units::{DisplayUnits, MetresPerSecond};

/// Which of the two charts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Width {
    /// 360 units: mail and phone.
    Narrow,
    /// 640 units: from 700 px up.
    Wide,
}

/// Places and sizes of one chart, in its own units.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    pub(super) width: f64,
    pub(super) left: f64,
    pub(super) right: f64,
    /// Sizes of headings, labels and small text.
    pub(super) heading: f64,
    pub(super) text: f64,
    pub(super) small: f64,
    pub(super) day_labels: f64,
    pub(super) top: f64,
    pub(super) lanes: Vec<usize>,
    pub(super) lane_height: f64,
    pub(super) top_wet: f64,
    pub(super) under_wet: f64,
    pub(super) wet_height: f64,
    pub(super) dry_label: f64,
    pub(super) rain_top: f64,
    pub(super) rain_base: f64,
    pub(super) wind_top: f64,
    pub(super) bottom: f64,
    pub(super) days: usize,
    start: DateTime<Utc>,
    end: DateTime<Utc>,
    units: DisplayUnits,
    most: f64,
}

impl Grid {
    pub(super) fn new(facts: &ChartFacts, width: Width) -> Self {
        let narrow = width == Width::Narrow;
        let days = if narrow { DRAWN_DAYS } else { facts.days.len() };
        let lanes: Vec<usize> = facts
            .lanes
            .iter()
            .enumerate()
            .filter(|(_, lane)| !(narrow && lane.wide_only))
            .map(|(number, _)| number)
            .collect();
        let (lane_height, top) = if narrow { (23.0, 48.0) } else { (20.0, 44.0) };
        let wet_height = if narrow { 14.0 } else { 12.0 };
        #[expect(clippy::cast_precision_loss, reason = "four lanes")]
        let top_wet = top + lane_height * lanes.len() as f64 + 6.0;
        let under_wet = top_wet + wet_height + 4.0;
        let dry_label = under_wet + wet_height + 11.0;
        let rain_top = dry_label + 6.0;
        let rain_base = rain_top + if narrow { 44.0 } else { 46.0 };
        let wind_top = rain_base + 4.0;
        let span = facts.days.get(..days).unwrap_or(&facts.days);
        Self {
            width: if narrow { 360.0 } else { 640.0 },
            left: if narrow { 70.0 } else { 66.0 },
            right: if narrow { 356.0 } else { 634.0 },
            heading: 13.0,
            text: if narrow { 11.5 } else { 11.0 },
            small: if narrow { 10.5 } else { 10.0 },
            day_labels: top - 8.0,
            top,
            lanes,
            lane_height,
            top_wet,
            under_wet,
            wet_height,
            dry_label,
            rain_top,
            rain_base,
            wind_top,
            bottom: wind_top + 140.0,
            days,
            start: facts.start,
            end: span.last().map_or(facts.start, |day| day.span.end),
            units: facts.units,
            most: most(facts, days),
        }
    }

    /// Where an instant stands, held inside the frame.
    pub(super) fn x(&self, at: DateTime<Utc>) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "ten days of seconds")]
        let share = (at - self.start).num_seconds() as f64 / (self.end - self.start).num_seconds().max(1) as f64;
        self.left + (self.right - self.left) * share.clamp(0.0, 1.0)
    }

    /// Where a wind stands, from metres a second.
    pub(super) fn y(&self, wind_m_s: f64) -> f64 {
        self.y_shown(self.units.wind(MetresPerSecond(wind_m_s)))
    }

    /// Where a wind in the reader's unit stands.
    pub(super) fn y_shown(&self, wind: f64) -> f64 {
        let air = 8.0;
        self.bottom - (self.bottom - self.wind_top - air) * (wind / self.most).clamp(0.0, 1.06)
    }

    /// Marks of the wind axis, in the reader's unit.
    pub(super) fn marks(&self) -> Vec<f64> {
        let step = step(self.units);
        let mut marks = Vec::new();
        let mut mark = 0.0;
        while mark <= self.most + 0.5 {
            marks.push(mark);
            mark += step;
        }
        marks
    }

    pub(super) fn shows(&self, span: &Span) -> bool {
        span.start < self.end && self.start < span.end
    }

    pub(super) fn frame(&self) -> Rect {
        Rect {
            left: self.left,
            top: self.top,
            right: self.right,
            bottom: self.bottom,
        }
    }
}

fn step(units: DisplayUnits) -> f64 {
    match units {
        DisplayUnits::Metric => 20.0,
        DisplayUnits::Imperial => 10.0,
    }
}

/// 80 km/h or 50 mph, stretched to the next mark if a run passes it.
fn most(facts: &ChartFacts, days: usize) -> f64 {
    let step = step(facts.units);
    let usual = step * if facts.units == DisplayUnits::Metric { 4.0 } else { 5.0 };
    let end = facts.days.get(..days).and_then(<[_]>::last).map(|day| day.span.end);
    let hours = facts.hours.iter().filter(|hour| end.is_none_or(|end| hour.start < end));
    let highest = hours
        .filter_map(|hour| hour.gust_m_s)
        .map(|gust| facts.units.wind(MetresPerSecond(gust.high)));
    highest.fold(
        usual,
        |most, gust| if gust > most { (gust / step).ceil() * step } else { most },
    )
}
