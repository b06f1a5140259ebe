//! The wind: spread of the runs, middle gust, limits, peak, and now.

use super::bands::unknown;
use super::facts::{ChartFacts, HourFact, Limit, LimitKind};
use super::scale::{Grid, Width};
use super::svg::{Anchor, BARK, Close, GREY_BAND, INK, Label, PLUM, RULE, Rect, Svg};

pub(super) fn wind(svg: &mut Svg, grid: &Grid, facts: &ChartFacts, width: Width) {
    axis(svg, grid, facts);
    for stretch in known_stretches(grid, facts) {
        if facts.runs {
            let band = outline(grid, stretch, |gust| gust.1, |gust| gust.0);
            svg.path(&band, Close::Yes, &format!(r#"fill="{GREY_BAND}""#));
            beaten(svg, grid, facts, stretch);
        }
        if width == Width::Wide {
            let wind: Vec<(f64, f64)> = stretch
                .iter()
                .filter_map(|hour| Some((middle(grid, hour), grid.y(hour.wind_m_s?))))
                .collect();
            svg.path(
                &wind,
                Close::No,
                &format!(r#"fill="none" stroke="{BARK}" stroke-width="1.2" stroke-dasharray="1.5 2.5""#),
            );
        }
    }
    for limit in &facts.limits {
        limit_line(svg, grid, limit);
    }
    for stretch in known_stretches(grid, facts) {
        let line: Vec<(f64, f64)> = stretch
            .iter()
            .filter_map(|hour| Some((middle(grid, hour), grid.y(hour.gust_m_s?.middle))))
            .collect();
        svg.path(
            &line,
            Close::No,
            &format!(r#"fill="none" stroke="{INK}" stroke-width="2" stroke-linejoin="round""#),
        );
    }
    for (_, from, to) in super::bands::runs_of(facts, |hour| hour.gust_m_s.is_some())
        .into_iter()
        .filter(|run| !run.0)
    {
        let (left, right) = (grid.x(from), grid.x(to));
        if right > left {
            unknown(svg, grid, left, right, grid.bottom - 30.0);
        }
    }
    svg.rect(
        grid.frame(),
        &format!(r#"fill="none" stroke="{BARK}" stroke-width="1""#),
    );
    now(svg, grid, facts);
    peak_label(svg, grid, facts);
    for limit in &facts.limits {
        limit_label(svg, grid, facts, limit, width);
    }
}

fn middle(grid: &Grid, hour: &HourFact) -> f64 {
    grid.x(hour.start + chrono::TimeDelta::minutes(30))
}

fn axis(svg: &mut Svg, grid: &Grid, facts: &ChartFacts) {
    let mut names = grid.wind_top + 10.0;
    svg.text(
        Label::at("Gust", grid.left - 6.0, names, grid.text)
            .ink()
            .anchor(Anchor::End),
    );
    names += 12.0;
    svg.text(Label::at(facts.units.wind_sign(), grid.left - 6.0, names, grid.small).anchor(Anchor::End));
    for mark in grid.marks() {
        let y = grid.y_shown(mark);
        if mark > 0.0 {
            svg.line(
                (grid.left, y),
                (grid.right, y),
                &format!(r#"stroke="{RULE}" stroke-width="1""#),
            );
        }
        let text = format!("{mark:.0}");
        let label = Label::at(&text, grid.left - 6.0, y + 3.6, grid.small).anchor(Anchor::End);
        svg.place(
            &[label],
            &Rect {
                left: 0.0,
                top: 0.0,
                right: grid.width,
                bottom: grid.bottom + 9.0,
            },
        );
    }
}

/// Stretches of hours with a known gust, inside the frame.
fn known_stretches<'a>(grid: &Grid, facts: &'a ChartFacts) -> Vec<&'a [HourFact]> {
    let end = facts.days.get(grid.days.saturating_sub(1)).map(|day| day.span.end);
    let drawn = facts
        .hours
        .iter()
        .take_while(|hour| end.is_none_or(|end| hour.start < end))
        .count();
    let hours = facts.hours.get(..drawn).unwrap_or(&facts.hours);
    hours
        .split(|hour| hour.gust_m_s.is_none())
        .filter(|stretch| !stretch.is_empty())
        .collect()
}

/// The outline between an upper and a lower edge, from (low, high) of each hour.
fn outline(
    grid: &Grid,
    stretch: &[HourFact],
    upper: impl Fn((f64, f64)) -> f64,
    lower: impl Fn((f64, f64)) -> f64,
) -> Vec<(f64, f64)> {
    let edge = |hour: &HourFact| hour.gust_m_s.map(|gust| (middle(grid, hour), (gust.low, gust.high)));
    let there = stretch
        .iter()
        .filter_map(edge)
        .map(|(x, gust)| (x, grid.y(upper(gust))));
    let back = stretch
        .iter()
        .rev()
        .filter_map(edge)
        .map(|(x, gust)| (x, grid.y(lower(gust))));
    there.chain(back).collect()
}

/// The part of the spread above the weakest ties, dotted.
fn beaten(svg: &mut Svg, grid: &Grid, facts: &ChartFacts, stretch: &[HourFact]) {
    let Some(ties) = facts.limits.iter().find(|limit| limit.kind == LimitKind::Ties) else {
        return;
    };
    let carry = ties.gust_m_s;
    if stretch
        .iter()
        .any(|hour| hour.gust_m_s.is_some_and(|gust| gust.high > carry))
    {
        let dots = outline(grid, stretch, |gust| gust.1.max(carry), |gust| gust.0.max(carry));
        svg.path(&dots, Close::Yes, r#"fill="url(#beaten)""#);
    }
}

fn limit_line(svg: &mut Svg, grid: &Grid, limit: &Limit) {
    let (colour, dash) = match limit.kind {
        LimitKind::Lift => (INK, "1.5 3"),
        LimitKind::Lay => (INK, "5 3"),
        LimitKind::Ties => (PLUM, "9 4"),
    };
    let mut points = vec![(grid.left, limit_y(grid, limit, grid.left))];
    for step in &limit.steps {
        let x = grid.x(step.from);
        points.push((x, limit_y(grid, limit, x - 0.01)));
        points.push((x, grid.y(step.gust_m_s)));
    }
    points.push((grid.right, limit_y(grid, limit, grid.right)));
    if points.iter().all(|(_, y)| *y > grid.wind_top) {
        let looks = format!(r#"fill="none" stroke="{colour}" stroke-width="1.6" stroke-dasharray="{dash}""#);
        svg.path(&points, Close::No, &looks);
    }
}

/// Where a limit stands above a place of the time axis.
fn limit_y(grid: &Grid, limit: &Limit, x: f64) -> f64 {
    let step = limit
        .steps
        .iter()
        .rfind(|step| grid.x(step.from) <= x)
        .or(limit.steps.first());
    grid.y(step.map_or(limit.gust_m_s, |step| step.gust_m_s))
}

/// The label of a limit where the wind leaves most room: above or below its line, anywhere along it.
fn limit_label(svg: &mut Svg, grid: &Grid, facts: &ChartFacts, limit: &Limit, width: Width) {
    let text = if width == Width::Wide {
        &limit.label
    } else {
        &limit.short
    };
    let colour = if limit.kind == LimitKind::Ties { PLUM } else { INK };
    let frame = Rect {
        left: grid.left + 3.0,
        top: grid.wind_top - 2.0,
        right: grid.right - 3.0,
        bottom: grid.bottom - 1.0,
    };
    let mut best: Option<(f64, Label<'_>)> = None;
    for step in 0..=24 {
        let x = grid.right - 6.0 - f64::from(step) * 10.0;
        let y = limit_y(grid, limit, x);
        for base in [y - 4.0, y + grid.small + 0.5] {
            let label = Label::at(text, x, base, grid.small)
                .colour(colour)
                .bold()
                .halo()
                .anchor(Anchor::End);
            let rect = label.rect();
            if !rect.inside(&frame) || !svg.is_free(&rect) {
                continue;
            }
            let cost = crowd(grid, facts, limit, &rect) + f64::from(step) * 0.01;
            if best.as_ref().is_none_or(|(least, _)| cost < *least) {
                best = Some((cost, label));
            }
        }
    }
    if let Some((_, label)) = best {
        svg.text(label);
    }
}

/// How much of the wind lies behind a box: hours of the line count most, other limits and the spread less.
fn crowd(grid: &Grid, facts: &ChartFacts, own: &Limit, rect: &Rect) -> f64 {
    let mut cost = 0.0;
    for hour in &facts.hours {
        let x = middle(grid, hour);
        let Some(gust) = hour.gust_m_s.filter(|_| rect.left - 2.0 <= x && x <= rect.right + 2.0) else {
            continue;
        };
        let line = grid.y(gust.middle);
        if rect.top - 2.0 <= line && line <= rect.bottom + 2.0 {
            cost += 4.0;
        }
        if grid.y(gust.high) <= rect.bottom && rect.top <= grid.y(gust.low) {
            cost += 1.0;
        }
    }
    let crossed = facts
        .limits
        .iter()
        .filter(|limit| limit.kind != own.kind)
        .map(|limit| limit_y(grid, limit, rect.right));
    cost + 40.0 * f64::from(u8::try_from(crossed.filter(|y| rect.top <= *y && *y <= rect.bottom).count()).unwrap_or(3))
}

fn peak_label(svg: &mut Svg, grid: &Grid, facts: &ChartFacts) {
    let Some(peak) = &facts.peak else { return };
    let (x, y) = (grid.x(peak.at), grid.y(peak.gust_m_s));
    let label = Label::at(&peak.label, x, y, grid.small).ink().bold().halo();
    let frame = Rect {
        top: grid.wind_top - 2.0,
        left: grid.left + 2.0,
        right: grid.right - 2.0,
        bottom: grid.bottom,
    };
    let mut places = Vec::new();
    for up in [6.0, 12.0, 0.0, 18.0] {
        places.push(Label {
            x: x + 12.0,
            y: y - up,
            ..label
        });
        places.push(
            Label {
                x: x - 12.0,
                y: y - up,
                ..label
            }
            .anchor(Anchor::End),
        );
    }
    let clear = |label: &Label<'_>| {
        let rect = label.rect();
        facts.limits.iter().all(|limit| {
            let line = limit_y(grid, limit, rect.left);
            line < rect.top - 1.0 || line > rect.bottom + 1.0
        })
    };
    places.sort_by_key(|label| !clear(label));
    svg.place(&places, &frame);
}

fn now(svg: &mut Svg, grid: &Grid, facts: &ChartFacts) {
    let x = grid.x(facts.now);
    svg.line(
        (x, grid.top),
        (x, grid.bottom),
        &format!(r#"stroke="{INK}" stroke-width="1.6""#),
    );
    let tip = [
        (x, grid.bottom + 1.0),
        (x - 3.5, grid.bottom + 7.0),
        (x + 3.5, grid.bottom + 7.0),
    ];
    svg.path(&tip, Close::Yes, &format!(r#"fill="{INK}""#));
    let label = Label::at(&facts.now_label, x + 7.0, grid.bottom + 10.0, grid.small)
        .ink()
        .bold();
    let left = Label { x: x - 7.0, ..label }.anchor(Anchor::End);
    svg.place(
        &[label, left],
        &Rect {
            left: grid.left,
            top: 0.0,
            right: grid.right,
            bottom: grid.bottom + 14.0,
        },
    );
}
