//! What the marks mean.

use super::axis::{Axis, SMALL};
use super::panels::{BAR, GUST, MEAN, stroke};
use super::warmth::{AIR, DEW, SHEET};
use super::{DAYS, ModelPicture};
use crate::advice::chart::font::{self, Weight};
use crate::advice::chart::svg::{Close, INK, Label, NIGHT, Rect, Svg};

/// Draws the key; returns where it ends.
pub(super) fn key(svg: &mut Svg, axis: &Axis, picture: &ModelPicture) -> f64 {
    let mut base = axis.bottom() + 36.0;
    let mut x = 4.0;
    let bar = |svg: &mut Svg, x: f64, base: f64, fill: &str, height: f64| {
        let rect = Rect {
            left: x,
            top: base - 4.0 - height / 2.0,
            right: x + 22.0,
            bottom: base - 4.0 + height / 2.0,
        };
        svg.rect(rect, &format!(r#"fill="{fill}""#));
    };
    let lines = [
        (SHEET, "sheet"),
        (AIR, "air"),
        (DEW, "dew point"),
        (GUST, "gust"),
        (MEAN, "mean wind"),
    ];
    let bars = [
        (INK, BAR, "wet"),
        ("url(#under)", 11.0, "sheet below the dew point: dew forms"),
        (NIGHT, 11.0, "night"),
    ];
    for (looks, text) in lines {
        svg.path(&[(x, base - 4.0), (x + 22.0, base - 4.0)], Close::No, &stroke(looks));
        svg.text(Label::at(text, x + 27.0, base, SMALL));
        x += 27.0 + font::width(text, SMALL, Weight::Regular) + 18.0;
    }
    for (fill, height, text) in bars {
        bar(svg, x, base, fill, height);
        svg.text(Label::at(text, x + 27.0, base, SMALL));
        x += 27.0 + font::width(text, SMALL, Weight::Regular) + 18.0;
    }
    let mut remarks = vec![
        format!(
            "A face is wet from {} mm of water on. Arrow: the first of two dry hours after wet ones, between 05:00 \
             and 21:00.",
            picture.wet_from_mm
        ),
        "Ties: the most exposed row. Estimate for warning, not an engineering check.".to_owned(),
    ];
    let days = picture.hours.len().div_ceil(24);
    if days > DAYS {
        remarks.push(format!("Drawn are the last ten of {days} days in the file."));
    }
    for remark in &remarks {
        base += 18.0;
        svg.text(Label::at(remark, 4.0, base, SMALL));
    }
    base
}
