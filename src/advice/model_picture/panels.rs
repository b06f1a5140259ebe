//! Days, rain, water, wind and ties.

use std::collections::BTreeMap;

use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};

use super::axis::{Axis, Panel, SMALL, TEXT, WIDTH};
use super::{ModelPicture, PictureHour};
use crate::advice::chart::svg::{Anchor, BARK, Close, INK, Label, NIGHT, PLUM, RULE, Rect, SLATE, Svg};

pub(super) const GUST: (&str, f64, &str) = (INK, 1.8, "");
pub(super) const MEAN: (&str, f64, &str) = (BARK, 1.4, "1.5 2.5");
const PULL: (&str, f64, &str) = (PLUM, 1.8, "");
/// Height of the bar that says wet.
pub(super) const BAR: f64 = 6.0;

/// Nights, midnights, names of days, frames.
pub(super) fn background(svg: &mut Svg, axis: &Axis, picture: &ModelPicture) {
    for hour in axis.drawn(picture).iter().filter(|hour| hour.dark) {
        let rect = Rect {
            left: axis.x_before(hour),
            top: axis.top(),
            right: axis.x_of(hour) + 0.3,
            bottom: axis.bottom(),
        };
        svg.rect(rect, &format!(r#"fill="{NIGHT}""#));
    }
    let (start, end) = axis.span();
    let mut midnight = start.date().and_time(NaiveTime::MIN);
    while midnight < end {
        let next = midnight + TimeDelta::days(1);
        let (left, right) = (axis.x(midnight), axis.x(next));
        svg.line(
            (left, axis.top() - 18.0),
            (left, axis.bottom()),
            &format!(r#"stroke="{RULE}" stroke-width="1""#),
        );
        let long = midnight.format("%a %-d %b").to_string();
        let short = midnight.format("%a").to_string();
        let middle = |text| {
            Label::at(text, (left + right) / 2.0, axis.top() - 8.0, TEXT)
                .ink()
                .bold()
                .anchor(Anchor::Middle)
        };
        let frame = Rect {
            left,
            top: 0.0,
            right,
            bottom: axis.bottom(),
        };
        svg.place(&[middle(&long), middle(&short)], &frame);
        let noon = midnight + TimeDelta::hours(12);
        if axis.shows(noon) {
            let label = Label::at("noon", axis.x(noon), axis.bottom() + 13.0, SMALL).anchor(Anchor::Middle);
            let below = Rect {
                left: axis.left,
                top: axis.bottom(),
                right: WIDTH - 2.0,
                bottom: axis.bottom() + 20.0,
            };
            svg.place(&[label], &below);
        }
        midnight = next;
    }
    for panel in [
        &axis.rain,
        &axis.film,
        &axis.under,
        &axis.warmth,
        &axis.wind,
        &axis.ties,
    ] {
        let frame = Rect {
            left: axis.left,
            top: panel.top,
            right: axis.right,
            bottom: panel.base,
        };
        svg.rect(frame, &format!(r#"fill="none" stroke="{RULE}" stroke-width="1""#));
    }
}

/// Name of a panel and its unit, in the left margin.
pub(super) fn name(svg: &mut Svg, panel: &Panel, lines: &[&str]) {
    let mut base = panel.top + 12.0;
    for (place, text) in lines.iter().enumerate() {
        let label = Label::at(text, 4.0, base, if place == 0 { TEXT } else { SMALL });
        svg.text(if place == 0 { label.ink().bold() } else { label });
        base += 14.0;
    }
}

/// Marks of a panel's scale.
pub(super) fn marks(svg: &mut Svg, axis: &Axis, panel: &Panel, step: f64, said: impl Fn(f64) -> String) {
    let mut mark = (panel.least / step).ceil() * step;
    while mark <= panel.most + step / 100.0 {
        let y = panel.y(mark);
        svg.line(
            (axis.left, y),
            (axis.right, y),
            &format!(r#"stroke="{RULE}" stroke-width="0.7""#),
        );
        // Adding zero turns a rounded -0 into 0.
        let text = said(mark + 0.0);
        let label = Label::at(&text, axis.left - 6.0, y + 4.0, SMALL).anchor(Anchor::End);
        let everywhere = Rect {
            left: 0.0,
            top: 0.0,
            right: WIDTH,
            bottom: axis.bottom() + 20.0,
        };
        svg.place(&[label], &everywhere);
        mark += step;
    }
}

/// A line through the ends of the hours.
pub(super) fn line(
    svg: &mut Svg,
    axis: &Axis,
    hours: &[PictureHour],
    panel: &Panel,
    looks: (&str, f64, &str),
    of: impl Fn(&PictureHour) -> f64,
) {
    let points: Vec<(f64, f64)> = hours.iter().map(|hour| (axis.x_of(hour), panel.y(of(hour)))).collect();
    svg.path(&points, Close::No, &stroke(looks));
}

pub(super) fn stroke((colour, width, dash): (&str, f64, &str)) -> String {
    let dash = if dash.is_empty() {
        String::new()
    } else {
        format!(r#" stroke-dasharray="{dash}""#)
    };
    format!(r#"fill="none" stroke="{colour}" stroke-width="{width}" stroke-linejoin="round"{dash}"#)
}

pub(super) fn rain(svg: &mut Svg, axis: &Axis, picture: &ModelPicture) {
    let panel = &axis.rain;
    name(svg, panel, &["Rain", "mm an hour"]);
    marks(svg, axis, panel, panel.most, |mark| format!("{mark:.0}"));
    for hour in axis.drawn(picture).iter().filter(|hour| hour.rain_mm > 0.0) {
        let bar = Rect {
            left: axis.x_before(hour) + 0.3,
            top: panel.y(hour.rain_mm).min(panel.base - 1.5),
            right: axis.x_of(hour) - 0.3,
            bottom: panel.base,
        };
        svg.rect(bar, &format!(r#"fill="{SLATE}""#));
    }
    let mut sums: BTreeMap<NaiveDate, f64> = BTreeMap::new();
    for hour in axis.drawn(picture) {
        *sums.entry((hour.end - TimeDelta::hours(1)).date()).or_default() += hour.rain_mm;
    }
    for (day, sum) in sums.iter().filter(|(_, sum)| **sum >= 0.05) {
        let text = if *sum < 9.95 {
            format!("{sum:.1} mm")
        } else {
            format!("{sum:.0} mm")
        };
        let midnight = day.and_time(NaiveTime::MIN);
        let middle = (axis.x(midnight) + axis.x(midnight + TimeDelta::days(1))) / 2.0;
        let label = Label::at(&text, middle, panel.top + 13.0, SMALL);
        svg.text(label.colour(SLATE).bold().halo().anchor(Anchor::Middle));
    }
}

/// Both faces: how much water, a bar for the wet hours, and when they are dry.
pub(super) fn water(svg: &mut Svg, axis: &Axis, picture: &ModelPicture) {
    let unit = "water, mm";
    face(
        svg,
        axis,
        picture,
        &axis.film,
        ("Top", unit, SLATE),
        |hour| hour.film_mm,
        &picture.top_dries,
    );
    let hatch = "url(#under)";
    face(
        svg,
        axis,
        picture,
        &axis.under,
        ("Underside", unit, hatch),
        |hour| hour.under_mm,
        &picture.under_dries,
    );
}

fn face(
    svg: &mut Svg,
    axis: &Axis,
    picture: &ModelPicture,
    panel: &Panel,
    (title, unit, fill): (&str, &str, &str),
    of: fn(&PictureHour) -> f64,
    dry: &[NaiveDateTime],
) {
    name(svg, panel, &[title, unit]);
    let step = if panel.most > 0.45 { 0.2 } else { 0.1 };
    marks(svg, axis, panel, step, |mark| format!("{mark:.1}"));
    let hours = axis.drawn(picture);
    let mut shape: Vec<(f64, f64)> = hours.iter().map(|hour| (axis.x_of(hour), panel.y(of(hour)))).collect();
    if let (Some(first), Some(last)) = (shape.first().copied(), shape.last().copied()) {
        shape.push((last.0, panel.base));
        shape.push((first.0, panel.base));
        svg.path(
            &shape,
            Close::Yes,
            &format!(r#"fill="{fill}" stroke="{SLATE}" stroke-width="1""#),
        );
    }
    for hour in hours.iter().filter(|hour| of(hour) >= picture.wet_from_mm) {
        let bar = Rect {
            left: axis.x_before(hour),
            top: panel.base + 1.0,
            right: axis.x_of(hour) + 0.3,
            bottom: panel.base + 1.0 + BAR,
        };
        svg.rect(bar, &format!(r#"fill="{INK}""#));
    }
    for at in dry.iter().filter(|at| axis.shows(**at)) {
        dry_mark(svg, axis, panel, *at);
    }
}

/// A line at the hour at which a face is dry, and the hour.
fn dry_mark(svg: &mut Svg, axis: &Axis, panel: &Panel, at: NaiveDateTime) {
    let x = axis.x(at);
    let tall = panel.top + 18.0;
    svg.line(
        (x, tall),
        (x, panel.base),
        &format!(r#"stroke="{INK}" stroke-width="1.4""#),
    );
    let tip = [
        (x, panel.base),
        (x - 4.0, panel.base - 7.0),
        (x + 4.0, panel.base - 7.0),
    ];
    svg.path(&tip, Close::Yes, &format!(r#"fill="{INK}""#));
    let text = at.format("dry %H:%M").to_string();
    let frame = Rect {
        left: axis.left,
        top: panel.top,
        right: axis.right,
        bottom: panel.base,
    };
    let label = |x, y| Label::at(&text, x, y, SMALL).ink().bold().halo();
    let y = panel.top + 14.0;
    svg.place(
        &[
            label(x, y).anchor(Anchor::Middle),
            label(x + 5.0, y + 12.0),
            label(x - 5.0, y + 12.0).anchor(Anchor::End),
        ],
        &frame,
    );
}

pub(super) fn wind(svg: &mut Svg, axis: &Axis, picture: &ModelPicture) {
    let panel = &axis.wind;
    name(svg, panel, &["Wind", "at the cover,", "km/h"]);
    let step = if panel.most > 40.0 { 20.0 } else { 10.0 };
    marks(svg, axis, panel, step, |mark| format!("{mark:.0}"));
    let hours = axis.drawn(picture);
    line(svg, axis, hours, panel, MEAN, |hour| 3.6 * hour.wind_m_s);
    line(svg, axis, hours, panel, GUST, |hour| 3.6 * hour.gust_m_s);
    if let Some(stops) = picture.lift_stops_m_s.map(|stops| 3.6 * stops) {
        limit(svg, axis, panel, stops, INK, &format!("lifting stops at {stops:.0}"));
    }
}

pub(super) fn ties(svg: &mut Svg, axis: &Axis, picture: &ModelPicture) {
    let panel = &axis.ties;
    name(svg, panel, &["Pull on the ties", "% of what they", "may carry"]);
    let step = if panel.most > 300.0 { 200.0 } else { 50.0 };
    marks(svg, axis, panel, step, |mark| format!("{mark:.0}"));
    let hours = axis.drawn(picture);
    for hour in hours.iter().filter(|hour| hour.pull >= 1.0) {
        let over = Rect {
            left: axis.x_before(hour),
            top: panel.y(100.0 * hour.pull),
            right: axis.x_of(hour),
            bottom: panel.base,
        };
        svg.rect(over, r#"fill="url(#beaten)""#);
    }
    line(svg, axis, hours, panel, PULL, |hour| 100.0 * hour.pull);
    limit(svg, axis, panel, 100.0, PLUM, "ties may give way from here");
}

/// A dashed line across a panel with its label, at the right if there is room, else at the left.
fn limit(svg: &mut Svg, axis: &Axis, panel: &Panel, value: f64, colour: &'static str, said: &str) {
    let y = panel.y(value);
    svg.line((axis.left, y), (axis.right, y), &stroke((colour, 1.4, "6 4")));
    let frame = Rect {
        left: axis.left,
        top: panel.top,
        right: axis.right,
        bottom: panel.base,
    };
    let label = |x, y| Label::at(said, x, y, SMALL).colour(colour).bold().halo();
    let places = [
        label(axis.right - 6.0, y - 4.0).anchor(Anchor::End),
        label(axis.right - 6.0, y + 13.0).anchor(Anchor::End),
        label(axis.left + 6.0, y - 4.0),
    ];
    svg.place(&places, &frame);
}
