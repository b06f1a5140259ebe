//! Everything above the wind: days, nights, job lanes, wet faces, rain.

use super::facts::{BoxKind, ChartFacts, HourFact, LaneBox, rain_number};
use super::scale::Grid;
use super::svg::{Anchor, BARK, INK, Label, NIGHT, QUINCE, RULE, Rect, SLATE, Svg};

/// Bars reach no higher than this rate; the sum is the number. Assumed: a downpour is a downpour.
const MOST_RAIN_MM_H: f64 = 3.0;

pub(super) fn background(svg: &mut Svg, grid: &Grid, facts: &ChartFacts) {
    for night in facts.nights.iter().filter(|night| grid.shows(night)) {
        let rect = Rect {
            left: grid.x(night.start),
            top: grid.top,
            right: grid.x(night.end),
            bottom: grid.bottom,
        };
        svg.rect(rect, &format!(r#"fill="{NIGHT}""#));
    }
    let rule = format!(r#"stroke="{RULE}" stroke-width="1""#);
    for (number, day) in facts.days.iter().take(grid.days).enumerate() {
        let (left, right) = (grid.x(day.span.start), grid.x(day.span.end));
        svg.line((left, grid.top - 16.0), (left, grid.bottom), &rule);
        let label = Label::at(&day.label, (left + right) / 2.0, grid.day_labels, grid.text)
            .ink()
            .anchor(Anchor::Middle);
        svg.text(if number == 0 { label.bold() } else { label });
    }
    svg.line((grid.right, grid.top - 16.0), (grid.right, grid.bottom), &rule);
}

pub(super) fn lanes(svg: &mut Svg, grid: &Grid, facts: &ChartFacts) {
    let mut top = grid.top;
    for lane in grid.lanes.iter().filter_map(|number| facts.lanes.get(*number)) {
        let middle = top + grid.lane_height / 2.0;
        let name = Label::at(&lane.name, grid.left - 6.0, middle + 4.0, grid.text)
            .ink()
            .anchor(Anchor::End);
        svg.text(if lane.leads { name.bold() } else { name });
        for one in lane.boxes.iter().filter(|one| grid.shows(&one.span)) {
            lane_box(svg, grid, one, top);
        }
        for one in lane.boxes.iter().filter(|one| grid.shows(&one.span)) {
            box_label(svg, grid, one, &lane.boxes, top);
        }
        top += grid.lane_height;
        svg.line(
            (grid.left, top),
            (grid.right, top),
            &format!(r#"stroke="{RULE}" stroke-width="1""#),
        );
    }
}

fn box_rect(grid: &Grid, one: &LaneBox, top: f64) -> Rect {
    let (left, right) = (grid.x(one.span.start), grid.x(one.span.end));
    // Never thinner than a pencil line apart.
    Rect {
        left,
        top: top + 3.0,
        right: right.max(left + 4.0),
        bottom: top + grid.lane_height - 3.0,
    }
}

fn lane_box(svg: &mut Svg, grid: &Grid, one: &LaneBox, top: f64) {
    let fill = match one.kind {
        BoxKind::Planned => QUINCE,
        BoxKind::Possible => "none",
        BoxKind::Blocked => "url(#blocked)",
    };
    let (colour, width) = if one.kind == BoxKind::Planned {
        (INK, 1.6)
    } else {
        (BARK, 1.0)
    };
    let dash = if one.firm { "" } else { r#" stroke-dasharray="3 2""# };
    let looks = format!(r#"rx="2.5" fill="{fill}" stroke="{colour}" stroke-width="{width}"{dash}"#);
    svg.rect(box_rect(grid, one, top), &looks);
}

/// Hours beside the box, right of it if there is room, else left; dropped where there is none.
fn box_label(svg: &mut Svg, grid: &Grid, one: &LaneBox, others: &[LaneBox], top: f64) {
    let Some(text) = &one.label else { return };
    let rect = box_rect(grid, one, top);
    let base = top + grid.lane_height / 2.0 + 4.0;
    let clear = |label: &Label<'_>| {
        let own = label.rect();
        let mut apart = others.iter().filter(|other| *other != one);
        apart.all(|other| !box_rect(grid, other, top).overlaps(&own))
    };
    let style = |label| -> Label<'_> {
        let label: Label<'_> = label;
        if one.kind == BoxKind::Planned {
            label.ink().bold().halo()
        } else {
            label.halo()
        }
    };
    let mut order = Vec::new();
    // Where the next box is near, a smaller label closer by.
    for (gap, size) in [(4.0, grid.text), (2.0, grid.small), (1.5, grid.small - 1.0)] {
        let right = style(Label::at(text, rect.right + gap, base, size));
        let left = style(Label::at(text, rect.left - gap, base, size)).anchor(Anchor::End);
        order.extend(if one.kind == BoxKind::Planned {
            [right, left]
        } else {
            [left, right]
        });
    }
    let frame = Rect {
        left: grid.left + 1.0,
        right: grid.right - 1.0,
        ..grid.frame()
    };
    let free: Vec<Label<'_>> = order.into_iter().filter(clear).collect();
    svg.place(&free, &frame);
}

pub(super) fn wet(svg: &mut Svg, grid: &Grid, facts: &ChartFacts) {
    let base = |top: f64| top + grid.wet_height - 3.0;
    for (top, name) in [(grid.top_wet, "Top wet"), (grid.under_wet, "Under wet")] {
        svg.text(
            Label::at(name, grid.left - 6.0, base(top), grid.text)
                .ink()
                .anchor(Anchor::End),
        );
    }
    let slate = format!(r#"fill="{SLATE}""#);
    let hatch = format!(r#"fill="url(#under)" stroke="{SLATE}" stroke-width="1""#);
    band(svg, grid, facts, grid.top_wet, &slate, |hour| hour.wet_top);
    band(svg, grid, facts, grid.under_wet, &hatch, |hour| hour.wet_under);
    let frame = Rect {
        left: grid.left + 1.0,
        right: grid.right - 1.0,
        ..grid.frame()
    };
    for day in facts.days.iter().take(grid.days) {
        let (Some(text), Some(at)) = (&day.dry, day.dry_at) else {
            continue;
        };
        let label = Label::at(text, grid.x(at), grid.dry_label, grid.small)
            .ink()
            .bold()
            .halo()
            .anchor(Anchor::Middle);
        // Held inside the frame, never far from its hour.
        let half = label.width() / 2.0 + 2.0;
        let x = label.x.clamp(grid.left + half, grid.right - half);
        svg.place(&[Label { x, ..label }], &frame);
    }
}

/// Wet stretches drawn, dry ones as a dotted rule, unknown ones left open.
fn band(
    svg: &mut Svg,
    grid: &Grid,
    facts: &ChartFacts,
    top: f64,
    looks: &str,
    wet: impl Fn(&HourFact) -> Option<bool>,
) {
    let bottom = top + grid.wet_height;
    for (state, from, to) in runs_of(facts, |hour| wet(hour).map(|wet| (wet, hour.frost == Some(true)))) {
        let (left, right) = (grid.x(from), grid.x(to));
        if right - left < 0.05 {
            continue;
        }
        let rect = Rect {
            left,
            top,
            right,
            bottom,
        };
        match state {
            Some((true, frost)) => {
                svg.rect(rect, looks);
                if frost {
                    svg.rect(rect, r#"fill="url(#frost)""#);
                }
            }
            Some((false, _)) => {
                let middle = f64::midpoint(top, bottom);
                svg.line(
                    (left, middle),
                    (right, middle),
                    &format!(r#"stroke="{BARK}" stroke-width="1" stroke-dasharray="1 3""#),
                );
            }
            None => unknown(svg, grid, left, right, bottom - 3.0),
        }
    }
}

/// "?" in the middle of a gap.
pub(super) fn unknown(svg: &mut Svg, grid: &Grid, left: f64, right: f64, base: f64) {
    let label = Label::at("?", f64::midpoint(left, right), base, grid.text)
        .ink()
        .bold()
        .anchor(Anchor::Middle);
    svg.place(&[label], &grid.frame());
}

/// Stretches of hours that are alike, with their ends.
pub(super) fn runs_of<T: PartialEq>(
    facts: &ChartFacts,
    state: impl Fn(&HourFact) -> T,
) -> Vec<(T, chrono::DateTime<chrono::Utc>, chrono::DateTime<chrono::Utc>)> {
    let mut runs: Vec<(T, _, _)> = Vec::new();
    for hour in &facts.hours {
        let (state, end) = (state(hour), hour.start + chrono::TimeDelta::hours(1));
        match runs.last_mut().filter(|(last, _, _)| *last == state) {
            Some(last) => last.2 = end,
            None => runs.push((state, hour.start, end)),
        }
    }
    runs
}

pub(super) fn rain(svg: &mut Svg, grid: &Grid, facts: &ChartFacts) {
    let middle = f64::midpoint(grid.rain_top, grid.rain_base);
    svg.text(
        Label::at("Rain", grid.left - 6.0, middle, grid.text)
            .ink()
            .anchor(Anchor::End),
    );
    svg.text(Label::at(facts.units.rain_sign(), grid.left - 6.0, middle + 13.0, grid.small).anchor(Anchor::End));
    let tallest = grid.rain_base - grid.rain_top - 14.0;
    for hour in &facts.hours {
        let Some(rain) = hour.rain_mm.filter(|rain| *rain >= 0.05) else {
            continue;
        };
        let (left, right) = (grid.x(hour.start), grid.x(hour.start + chrono::TimeDelta::hours(1)));
        if right > left {
            let height = tallest * (rain / MOST_RAIN_MM_H).min(1.0);
            let rect = Rect {
                left,
                top: grid.rain_base - height,
                right: right - 0.3,
                bottom: grid.rain_base,
            };
            svg.rect(rect, &format!(r#"fill="{SLATE}""#));
        }
    }
    svg.line(
        (grid.left, grid.rain_base),
        (grid.right, grid.rain_base),
        &format!(r#"stroke="{BARK}" stroke-width="1""#),
    );
    for day in facts.days.iter().take(grid.days) {
        match day.rain_mm {
            Some(sum) if sum >= 0.5 => rain_sum(svg, grid, facts, day.span.start, day.span.end, sum),
            Some(_) => {}
            None => unknown(
                svg,
                grid,
                grid.x(day.span.start),
                grid.x(day.span.end),
                grid.rain_base - 4.0,
            ),
        }
    }
}

/// The day's sum above the middle of its rain.
fn rain_sum(
    svg: &mut Svg,
    grid: &Grid,
    facts: &ChartFacts,
    from: chrono::DateTime<chrono::Utc>,
    to: chrono::DateTime<chrono::Utc>,
    sum: f64,
) {
    let (mut weight, mut place) = (0.0, 0.0);
    for hour in facts.hours.iter().filter(|hour| from <= hour.start && hour.start < to) {
        let rain = hour.rain_mm.unwrap_or(0.0);
        weight += rain;
        place += rain * grid.x(hour.start + chrono::TimeDelta::minutes(30));
    }
    let x = if weight > 0.0 {
        place / weight
    } else {
        f64::midpoint(grid.x(from), grid.x(to))
    };
    let text = rain_number(sum, facts.units);
    let label = |x: f64| {
        Label::at(&text, x, grid.rain_top + 9.0, grid.text)
            .colour(SLATE)
            .bold()
            .anchor(Anchor::Middle)
    };
    let labels: Vec<Label<'_>> = [0.0, 6.0, -6.0, 12.0, -12.0, 20.0, -20.0]
        .map(|off| label(x + off))
        .into();
    svg.place(&labels, &grid.frame());
}
