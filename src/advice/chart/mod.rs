//! The ten-day strip: usable hours, wet faces, rain and wind on one time axis.
//!
//! From top to bottom: days, job lanes, wet top and underside, rain, wind with its limits. Shapes and labels carry the
//! meaning as well as colour. The narrow chart draws five days and lists the others; it is the one for mail and phone.

mod alt;
mod bands;
pub mod facts;
pub(in crate::advice) mod font;
pub(crate) mod gather;
mod key;
mod lanes;
mod night;
mod png;
mod scale;
pub(in crate::advice) mod svg;
mod table;
mod wind;

pub use facts::ChartFacts;
pub use png::{ChartError, png, png_of_width};
pub use scale::Width;

use scale::Grid;
use svg::{Anchor, Label, Svg};

/// Draws a chart as SVG.
pub fn svg(facts: &ChartFacts, width: Width) -> String {
    let grid = Grid::new(facts, width);
    let mut svg = Svg::default();
    let title = if width == Width::Narrow {
        "Next five days"
    } else {
        "Next ten days"
    };
    svg.text(Label::at(title, 2.0, 15.0, grid.heading).ink().bold());
    let cover = facts
        .block
        .as_ref()
        .map(|block| format!("wet and dry: cover on {block}"));
    if let Some(cover) = &cover {
        let label = Label::at(cover, grid.right, 15.0, grid.small).anchor(Anchor::End);
        svg.place(
            &[label],
            &svg::Rect {
                left: 0.0,
                top: 0.0,
                right: grid.width,
                bottom: 30.0,
            },
        );
    }
    bands::background(&mut svg, &grid, facts);
    bands::lanes(&mut svg, &grid, facts);
    bands::wet(&mut svg, &grid, facts);
    bands::rain(&mut svg, &grid, facts);
    wind::wind(&mut svg, &grid, facts, width);
    let mut bottom = key::key(&mut svg, &grid, facts, width, grid.bottom + 18.0);
    if width == Width::Narrow {
        bottom = table::table(&mut svg, &grid, facts, bottom + 4.0);
    }
    svg.finish(grid.width, (bottom + 4.0).ceil(), title, &facts.alt)
}
