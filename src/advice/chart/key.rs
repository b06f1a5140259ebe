//! The key: only marks that occur, in the order of use.

use super::facts::{BoxKind, ChartFacts, LaneBox, LimitKind};
use super::font;
use super::scale::{Grid, Width};
use super::svg::{BARK, Close, GREY_BAND, INK, Label, NIGHT, QUINCE, RULE, Rect, Svg};

#[derive(Debug, Clone, Copy, PartialEq)]
enum Mark {
    Box(BoxKind, bool),
    Night,
    Gust,
    Runs,
    Beaten,
    Wind,
    Frost,
}

const MARK_WIDTH: f64 = 16.0;

/// Draws the key from `top` on; returns where it ends.
pub(super) fn key(svg: &mut Svg, grid: &Grid, facts: &ChartFacts, width: Width, top: f64) -> f64 {
    let (mut x, mut base) = (2.0, top + 10.0);
    for (mark, text) in marks(grid, facts, width) {
        let wide = MARK_WIDTH + 5.0 + font::width(text, grid.small, font::Weight::Regular);
        if x + wide > grid.width - 4.0 {
            x = 2.0;
            base += 17.0;
        }
        draw(svg, mark, x, base);
        svg.text(Label::at(text, x + MARK_WIDTH + 5.0, base, grid.small));
        x += wide + 12.0;
    }
    for remark in &facts.remarks {
        base += 17.0;
        svg.text(Label::at(remark, 2.0, base, grid.small).ink());
    }
    base + 6.0
}

fn marks(grid: &Grid, facts: &ChartFacts, width: Width) -> Vec<(Mark, &'static str)> {
    let boxes: Vec<&LaneBox> = grid
        .lanes
        .iter()
        .filter_map(|number| facts.lanes.get(*number))
        .flat_map(|lane| &lane.boxes)
        .filter(|one| grid.shows(&one.span))
        .collect();
    let has = |kind: BoxKind, firm: bool| boxes.iter().any(|one| one.kind == kind && one.firm == firm);
    let mut marks = Vec::new();
    for (kind, firm, text) in [
        (BoxKind::Planned, true, "planned"),
        (BoxKind::Planned, false, "planned, not firm"),
        (BoxKind::Possible, true, "possible"),
        (BoxKind::Possible, false, "possible, not firm"),
    ] {
        if has(kind, firm) {
            marks.push((Mark::Box(kind, firm), text));
        }
    }
    if has(BoxKind::Blocked, true) || has(BoxKind::Blocked, false) {
        marks.push((Mark::Box(BoxKind::Blocked, true), "no crew or no rolls"));
    }
    if facts.hours.iter().any(|hour| hour.frost == Some(true)) {
        marks.push((Mark::Frost, "frost"));
    }
    if width == Width::Wide {
        marks.push((Mark::Night, "night"));
    }
    marks.push((
        Mark::Gust,
        if facts.runs {
            "gust at 10 m, middle run"
        } else {
            "gust at 10 m, one forecast"
        },
    ));
    if facts.runs {
        marks.push((Mark::Runs, "8 of 10 runs"));
    }
    let carry = facts
        .limits
        .iter()
        .find(|limit| limit.kind == LimitKind::Ties)
        .map(|limit| limit.gust_m_s);
    let end = facts.days.get(grid.days.saturating_sub(1)).map(|day| day.span.end);
    let beaten = |carry: f64| {
        let drawn = facts
            .hours
            .iter()
            .take_while(|hour| end.is_none_or(|end| hour.start < end));
        drawn.filter_map(|hour| hour.gust_m_s).any(|gust| gust.high > carry)
    };
    if facts.runs && carry.is_some_and(beaten) {
        marks.push((Mark::Beaten, "could beat the ties"));
    }
    if width == Width::Wide {
        marks.push((Mark::Wind, "mean wind"));
    }
    marks
}

fn draw(svg: &mut Svg, mark: Mark, x: f64, base: f64) {
    let rect = Rect {
        left: x,
        top: base - 9.0,
        right: x + MARK_WIDTH,
        bottom: base + 1.0,
    };
    let middle = base - 4.0;
    let line = [(x, middle), (x + MARK_WIDTH, middle)];
    match mark {
        Mark::Box(kind, firm) => {
            let fill = match kind {
                BoxKind::Planned => QUINCE,
                BoxKind::Possible => "none",
                BoxKind::Blocked => "url(#blocked)",
            };
            let (colour, width) = if kind == BoxKind::Planned {
                (INK, 1.6)
            } else {
                (BARK, 1.0)
            };
            let dash = if firm { "" } else { r#" stroke-dasharray="3 2""# };
            svg.rect(
                rect,
                &format!(r#"rx="2.5" fill="{fill}" stroke="{colour}" stroke-width="{width}"{dash}"#),
            );
        }
        Mark::Night => svg.rect(rect, &format!(r#"fill="{NIGHT}" stroke="{RULE}" stroke-width="0.5""#)),
        Mark::Gust => svg.path(&line, Close::No, &format!(r#"stroke="{INK}" stroke-width="2""#)),
        Mark::Runs => svg.rect(rect, &format!(r#"fill="{GREY_BAND}""#)),
        Mark::Beaten => {
            svg.rect(rect, &format!(r#"fill="{GREY_BAND}""#));
            svg.rect(rect, r#"fill="url(#beaten)""#);
        }
        Mark::Wind => svg.path(
            &line,
            Close::No,
            &format!(r#"stroke="{BARK}" stroke-width="1.2" stroke-dasharray="1.5 2.5""#),
        ),
        Mark::Frost => {
            svg.rect(rect, &format!(r#"fill="{}""#, super::svg::SLATE));
            svg.rect(rect, r#"fill="url(#frost)""#);
        }
    }
}
