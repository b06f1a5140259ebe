//! Where things stand: time from left to right, panels from top to bottom.

use chrono::{NaiveDateTime, TimeDelta};

use super::{DAYS, ModelPicture, PictureHour};

pub(super) const WIDTH: f64 = 980.0;
pub(super) const SMALL: f64 = 11.0;
pub(super) const TEXT: f64 = 12.0;
const HOURS_A_DAY: usize = 24;

/// A panel from `top` to `base`, with values from `least` to `most`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Panel {
    pub(super) top: f64,
    pub(super) base: f64,
    pub(super) least: f64,
    pub(super) most: f64,
}

impl Panel {
    fn new(top: f64, height: f64, least: f64, most: f64) -> Self {
        Self {
            top,
            base: top + height,
            least,
            most,
        }
    }

    /// Where a value stands, held inside the panel.
    pub(super) fn y(&self, value: f64) -> f64 {
        let share = (value - self.least) / (self.most - self.least);
        self.base - (self.base - self.top) * share.clamp(0.0, 1.0)
    }
}

/// Places of everything.
#[derive(Debug)]
pub(super) struct Axis {
    pub(super) left: f64,
    pub(super) right: f64,
    pub(super) rain: Panel,
    pub(super) film: Panel,
    pub(super) under: Panel,
    pub(super) warmth: Panel,
    pub(super) wind: Panel,
    pub(super) ties: Panel,
    /// First hour that is drawn, a place in the picture's hours.
    pub(super) first: usize,
    start: NaiveDateTime,
    end: NaiveDateTime,
}

impl Axis {
    pub(super) fn of(picture: &ModelPicture) -> Self {
        let first = picture.hours.len().saturating_sub(DAYS * HOURS_A_DAY);
        let drawn = picture.hours.get(first..).unwrap_or_default();
        let start = drawn.first().map_or(NaiveDateTime::default(), |hour| hour.end) - TimeDelta::hours(1);
        let end = drawn
            .last()
            .map_or(start, |hour| hour.end)
            .max(start + TimeDelta::hours(6));
        let highest = |of: fn(&PictureHour) -> f64| drawn.iter().map(of).fold(0.0, f64::max);
        let up_to = |most: f64, least: f64, step: f64| ((most / step).ceil() * step).max(least);
        let water = up_to(
            highest(|hour| hour.film_mm).max(highest(|hour| hour.under_mm)),
            0.1,
            0.1,
        );
        let warm = |of: fn(&PictureHour) -> f64| drawn.iter().map(of);
        let all = || {
            warm(|hour| hour.sheet_c)
                .chain(warm(|hour| hour.air_c))
                .chain(warm(|hour| hour.dew_c))
        };
        let coldest = all().fold(f64::INFINITY, f64::min).min(40.0);
        let hottest = all().fold(f64::NEG_INFINITY, f64::max).max(coldest + 10.0);
        let (coldest, hottest) = ((coldest / 5.0).floor() * 5.0, (hottest / 5.0).ceil() * 5.0);
        let gust = up_to(
            3.6 * highest(|hour| hour.gust_m_s).max(picture.lift_stops_m_s.unwrap_or(0.0)),
            20.0,
            10.0,
        );
        let pull = up_to(100.0 * highest(|hour| hour.pull), 120.0, 20.0);
        let mut top = 62.0;
        let mut panel = |height: f64, least: f64, most: f64| {
            let panel = Panel::new(top, height, least, most);
            top += height + 20.0;
            panel
        };
        Self {
            left: 132.0,
            right: WIDTH - 10.0,
            rain: panel(44.0, 0.0, up_to(highest(|hour| hour.rain_mm).min(10.0), 3.0, 1.0)),
            film: panel(84.0, 0.0, water),
            under: panel(84.0, 0.0, water),
            warmth: panel(150.0, coldest, hottest),
            wind: panel(90.0, 0.0, gust),
            ties: panel(84.0, 0.0, pull),
            first,
            start,
            end,
        }
    }

    /// Where a local time stands.
    pub(super) fn x(&self, at: NaiveDateTime) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "ten days of seconds")]
        let share = (at - self.start).num_seconds() as f64 / (self.end - self.start).num_seconds().max(1) as f64;
        self.left + (self.right - self.left) * share.clamp(0.0, 1.0)
    }

    /// Where an hour ends.
    pub(super) fn x_of(&self, hour: &PictureHour) -> f64 {
        self.x(hour.end)
    }

    /// Where an hour begins.
    pub(super) fn x_before(&self, hour: &PictureHour) -> f64 {
        self.x(hour.end - TimeDelta::hours(1))
    }

    /// The hours that are drawn.
    pub(super) fn drawn<'a>(&self, picture: &'a ModelPicture) -> &'a [PictureHour] {
        picture.hours.get(self.first..).unwrap_or_default()
    }

    pub(super) fn top(&self) -> f64 {
        self.rain.top
    }

    pub(super) fn bottom(&self) -> f64 {
        self.ties.base
    }

    pub(super) fn shows(&self, at: NaiveDateTime) -> bool {
        self.start < at && at <= self.end
    }

    pub(super) fn span(&self) -> (NaiveDateTime, NaiveDateTime) {
        (self.start, self.end)
    }
}
