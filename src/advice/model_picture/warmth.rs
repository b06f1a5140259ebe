//! Sheet, air and dew point; where the sheet is colder than the dew point, dew forms on it.

use super::ModelPicture;
use super::axis::Axis;
use super::panels::{line, marks, name};
use crate::advice::chart::svg::{BARK, Close, INK, PLUM, SLATE, Svg};

/// Looks of the three lines, as in the key.
pub(super) const SHEET: (&str, f64, &str) = (PLUM, 2.0, "");
pub(super) const AIR: (&str, f64, &str) = (INK, 1.4, "");
pub(super) const DEW: (&str, f64, &str) = (SLATE, 1.8, "5 3");

pub(super) fn warmth(svg: &mut Svg, axis: &Axis, picture: &ModelPicture) {
    let panel = &axis.warmth;
    name(svg, panel, &["Warmth", "°C"]);
    let step = if panel.most - panel.least > 30.0 { 10.0 } else { 5.0 };
    marks(svg, axis, panel, step, |mark| format!("{mark:.0}"));
    let hours = axis.drawn(picture);
    for pair in hours.windows(2) {
        if let [before, after] = pair
            && before.sheet_c < before.dew_c
            && after.sheet_c < after.dew_c
        {
            let (left, right) = (axis.x_of(before), axis.x_of(after));
            let patch = [
                (left, panel.y(before.sheet_c)),
                (right, panel.y(after.sheet_c)),
                (right, panel.y(after.dew_c)),
                (left, panel.y(before.dew_c)),
            ];
            svg.path(&patch, Close::Yes, r#"fill="url(#under)""#);
        }
    }
    line(svg, axis, hours, panel, AIR, |hour| hour.air_c);
    line(svg, axis, hours, panel, DEW, |hour| hour.dew_c);
    line(svg, axis, hours, panel, SHEET, |hour| hour.sheet_c);
    if panel.least < 0.0 && panel.most > 0.0 {
        let y = panel.y(0.0);
        svg.line(
            (axis.left, y),
            (axis.right, y),
            &format!(r#"stroke="{BARK}" stroke-width="1""#),
        );
    }
}
