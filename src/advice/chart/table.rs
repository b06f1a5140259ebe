//! The days the narrow chart does not draw, one line each, as part of the picture.

use super::facts::{ChartFacts, DayFact, gust_range, rain_number};
use super::scale::Grid;
use super::svg::{Anchor, Label, RULE, SLATE, Svg};

const ROW: f64 = 20.0;

/// Right edge of the columns lift and lay are centred in; the numbers end there.
const LIFT: f64 = 104.0;
const LAY: f64 = 184.0;
const RAIN: f64 = 262.0;
const GUST: f64 = 352.0;

/// Draws the table from `top` on; returns where it ends.
pub(super) fn table(svg: &mut Svg, grid: &Grid, facts: &ChartFacts, top: f64) -> f64 {
    let days = facts.days.get(grid.days..).unwrap_or_default();
    if days.is_empty() {
        return top;
    }
    let mut base = top + 14.0;
    svg.text(Label::at("After that, not firm", 2.0, base, grid.heading).ink().bold());
    base += ROW;
    let rain = format!("Rain {}", facts.units.rain_sign());
    let gust = format!("Gust {}", facts.units.wind_sign());
    svg.text(Label::at("Lift, h", LIFT, base, grid.small).anchor(Anchor::Middle));
    svg.text(Label::at("Lay, h", LAY, base, grid.small).anchor(Anchor::Middle));
    svg.text(Label::at(&rain, RAIN, base, grid.small).anchor(Anchor::End));
    svg.text(Label::at(&gust, GUST, base, grid.small).anchor(Anchor::End));
    for day in days {
        svg.line(
            (2.0, base + 6.0),
            (grid.width - 4.0, base + 6.0),
            &format!(r#"stroke="{RULE}" stroke-width="1""#),
        );
        base += ROW;
        row(svg, grid, facts, day, base);
    }
    base + 8.0
}

fn row(svg: &mut Svg, grid: &Grid, facts: &ChartFacts, day: &DayFact, base: f64) {
    svg.text(Label::at(&day.label, 2.0, base, grid.text).ink());
    if day.unknown {
        svg.text(Label::at("not known", GUST, base, grid.text).ink().anchor(Anchor::End));
        return;
    }
    for (hours, x) in [(&day.lift, LIFT), (&day.lay, LAY)] {
        let said = match hours {
            _ if day.rest => "no crew",
            Some(hours) => hours.as_str(),
            None => "–",
        };
        let label = Label::at(said, x, base, grid.text).anchor(Anchor::Middle);
        svg.text(if hours.is_some() && !day.rest {
            label.ink()
        } else {
            label
        });
    }
    let rain = day
        .rain_mm
        .map_or_else(|| "not known".to_owned(), |rain| rain_number(rain, facts.units));
    let label = Label::at(&rain, RAIN, base, grid.text).anchor(Anchor::End);
    svg.text(if day.rain_mm.is_some_and(|rain| rain >= 0.5) {
        label.bold().colour(SLATE)
    } else {
        label
    });
    let gust = day
        .gust_m_s
        .map_or_else(|| "not known".to_owned(), |gust| gust_range(gust, facts.units));
    svg.text(Label::at(&gust, GUST, base, grid.text).ink().anchor(Anchor::End));
}
