//! The season ahead as a picture: for each week the half-days that are usually usable, and those that are needed.
//!
//! A pale bar is what there usually is, the dark bar inside of it what is due. Dark beyond pale, with a mark above, is
//! a week whose work does not fit into it: begin a week before.

use chrono::Datelike as _;

use super::chart::svg::{Anchor, GREY_BAND, INK, Label, PLUM, RULE, Rect, SLATE, Svg};
use super::chart::{ChartError, png_of_width};
use super::words;
use crate::farm::Farm;
use crate::plan::prospect::{Due, Prospect, Week};

const LEFT: f64 = 70.0;
const COLUMN: f64 = 38.0;
const PANEL: f64 = 120.0;
/// Height of a full week; the numbers stand above it.
const FULL: f64 = 102.0;
const TOP: f64 = 88.0;
const GAP: f64 = 46.0;
const SMALL: f64 = 11.0;
/// Width of the PNG for each unit of the drawing.
const SCALE: f32 = 2.0;

/// Draws the weeks as SVG.
pub fn svg(farm: &Farm, prospect: &Prospect) -> String {
    draw(farm, prospect).0
}

/// Draws the weeks as PNG, twice their own size.
///
/// # Errors
/// Says why it could not be drawn.
pub fn png(farm: &Farm, prospect: &Prospect) -> Result<Vec<u8>, ChartError> {
    let (svg, width) = draw(farm, prospect);
    #[expect(clippy::cast_possible_truncation, reason = "a few thousand pixels")]
    png_of_width(&svg, width as f32 * SCALE)
}

fn draw(farm: &Farm, prospect: &Prospect) -> (String, f64) {
    let weeks = &prospect.weeks;
    let width = (LEFT + weeks.len() as f64 * COLUMN + 24.0).max(560.0);
    let mut svg = Svg::default();
    let title = format!(
        "{}: half-days usable and needed, week by week",
        words::name(&farm.site.name)
    );
    svg.text(Label::at(&title, 12.0, 24.0, 15.0).ink().bold());
    key(&mut svg, prospect);
    let most = f64::from(weeks.iter().map(|week| week.half_days).max().unwrap_or(1).max(1));
    type Row = (&'static str, fn(&Week) -> f64, fn(&Week) -> &Due);
    let rows: [Row; 2] = [
        ("Laying", |week| week.lay_usable, |week| &week.lay),
        ("Lifting", |week| week.lift_usable, |week| &week.lift),
    ];
    for (place, (name, usable, due)) in rows.into_iter().enumerate() {
        let top = TOP + place as f64 * (PANEL + GAP);
        panel(&mut svg, prospect, name, top, most, usable, due);
    }
    let bottom = TOP + 2.0 * PANEL + GAP;
    days(&mut svg, weeks, bottom);
    let height = bottom + 46.0;
    (svg.finish(width, height, &title, &described(prospect)), width)
}

fn key(svg: &mut Svg, prospect: &Prospect) {
    let mut x = 12.0;
    for (colour, said) in [
        (GREY_BAND, "usually usable"),
        (SLATE, "needed for work due"),
        (PLUM, "needed beyond usable"),
    ] {
        svg.rect(
            Rect {
                left: x,
                top: 37.0,
                right: x + 12.0,
                bottom: 49.0,
            },
            &format!(r#"fill="{colour}""#),
        );
        let label = Label::at(said, x + 17.0, 47.0, SMALL);
        svg.text(label.ink());
        x += 17.0 + label.width() + 18.0;
    }
    if prospect.coarse {
        svg.text(Label::at("coarse numbers for anywhere", x, 47.0, SMALL));
    }
}

fn panel(
    svg: &mut Svg,
    prospect: &Prospect,
    name: &str,
    top: f64,
    most: f64,
    usable: fn(&Week) -> f64,
    due: fn(&Week) -> &Due,
) {
    let bottom = top + PANEL;
    let right = LEFT + prospect.weeks.len() as f64 * COLUMN;
    let y = |half_days: f64| bottom - (half_days / most).min(1.0) * FULL;
    let head = Label::at(name, LEFT, top - 10.0, 13.0).ink().bold();
    svg.text(head);
    svg.text(Label::at(
        "half-days a week",
        LEFT + head.width() + 10.0,
        top - 10.0,
        SMALL,
    ));
    for mark in [0.0, (most / 2.0).round(), most] {
        svg.line(
            (LEFT, y(mark)),
            (right, y(mark)),
            &format!(r#"stroke="{RULE}" stroke-width="1""#),
        );
        let said = format!("{mark:.0}");
        svg.text(Label::at(&said, LEFT - 6.0, y(mark) + 4.0, SMALL).anchor(Anchor::End));
    }
    for (place, week) in prospect.weeks.iter().enumerate() {
        let left = LEFT + place as f64 * COLUMN;
        let usable = usable(week);
        let needed = due(week).crew.0 / prospect.half_day.0.max(0.5);
        let mut bar = |from: f64, to: f64, inset: f64, colour: &str| {
            if y(to) < y(from) {
                svg.rect(
                    Rect {
                        left: left + inset,
                        top: y(to),
                        right: left + COLUMN - inset,
                        bottom: y(from),
                    },
                    &format!(r#"fill="{colour}""#),
                );
            }
        };
        bar(0.0, usable, 4.0, GREY_BAND);
        bar(0.0, needed.min(usable), 11.0, SLATE);
        bar(usable, needed.max(usable), 11.0, PLUM);
        if needed > 0.0 {
            let said = half_days(needed);
            let at = Label::at(&said, left + COLUMN / 2.0, y(needed.max(usable)) - 4.0, SMALL)
                .anchor(Anchor::Middle)
                .halo();
            let at = if needed > usable {
                at.colour(PLUM).bold()
            } else {
                at.colour(INK)
            };
            svg.text(at);
        }
    }
}

/// "0.6", "12"; a number that would be nothing is the least that is said.
fn half_days(count: f64) -> String {
    if count < 9.95 {
        format!("{:.1}", count.max(0.1))
    } else {
        format!("{count:.0}")
    }
}

/// The Monday of every week, months where they begin.
fn days(svg: &mut Svg, weeks: &[Week], top: f64) {
    let mut month = 0;
    for (place, week) in weeks.iter().enumerate() {
        let x = LEFT + (place as f64 + 0.5) * COLUMN;
        let day = week.monday.format("%-d").to_string();
        svg.text(Label::at(&day, x, top + 16.0, SMALL).anchor(Anchor::Middle));
        if week.monday.month() != month {
            month = week.monday.month();
            let said = week.monday.format("%b").to_string();
            svg.text(
                Label::at(&said, x, top + 32.0, SMALL)
                    .ink()
                    .bold()
                    .anchor(Anchor::Middle),
            );
        }
    }
    svg.text(Label::at("week of", 12.0, top + 16.0, SMALL));
}

fn described(prospect: &Prospect) -> String {
    let said = prospect.weeks.iter().map(|week| {
        format!(
            "{}: laying {:.1} of {:.1}, lifting {:.1} of {:.1}.",
            words::date(week.monday),
            week.lay.crew.0 / prospect.half_day.0.max(0.5),
            week.lay_usable,
            week.lift.crew.0 / prospect.half_day.0.max(0.5),
            week.lift_usable
        )
    });
    format!(
        "Half-days needed of those usable. {}",
        said.collect::<Vec<_>>().join(" ")
    )
}
