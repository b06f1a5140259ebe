//! Labels for the parts of a take-off, as sheets of paper to print: two for each part, in the order of cutting.
//!
//! Plain paper, cut along the thin lines. Lengths on the sheet are millimetres.

use super::chart::font::{self, Weight};
use super::chart::svg::{Anchor, BARK, Label, Rect, Svg};
use super::words;
use crate::farm::Farm;
use crate::plan::takeoff::{Decimetres, Part, Roll, SetTakeoff, Takeoff};
use crate::units::{DisplayUnits, Metres};

/// Paper that is printed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// 210 by 297 mm (ISO 216).
    A4,
    /// 8 1/2 by 11 in: 215.9 by 279.4 mm (ANSI/ASME Y14.1, size A).
    Letter,
}

impl Paper {
    fn size(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
        }
    }

    fn css(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "letter",
        }
    }

    /// Labels side by side and one under the other.
    fn grid(self) -> (usize, usize) {
        match self {
            Self::A4 => (3, 8),
            Self::Letter => (3, 7),
        }
    }
}

/// Size of a label, the air inside of it, and the paper kept free above (printers need some, the head line more).
const WIDE: f64 = 63.0;
const HIGH: f64 = 33.0;
const AIR: f64 = 3.0;
const TOP: f64 = 19.0;

/// One label as words.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Said {
    block: String,
    row: String,
    part: String,
    length: String,
    family: String,
    code: String,
    end: String,
}

/// The sheets, each an SVG of its own.
pub fn sheets(farm: &Farm, takeoff: &Takeoff, paper: Paper) -> Vec<String> {
    let labels = labels(farm, takeoff);
    let (across, down) = paper.grid();
    let pages: Vec<&[Said]> = labels.chunks(across * down).collect();
    let count = pages.len();
    (1..)
        .zip(pages)
        .map(|(number, page)| sheet(farm, paper, page, number, count))
        .collect()
}

/// All sheets in one HTML page, which a browser prints one below the other.
pub fn html(farm: &Farm, sheets: &[String], paper: Paper) -> String {
    format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>Labels, {}</title>\n<style>@page{{size:{};margin:0}}body{{margin:0}}svg{{display:block;break-after:page}}</style></head><body>\n{}</body></html>\n",
        super::chart::svg::escape(&words::name(&farm.site.name)),
        paper.css(),
        sheets.concat()
    )
}

/// "2.4 m" or "7 ft 10 in".
pub fn width(width: Metres, units: DisplayUnits) -> String {
    match units {
        DisplayUnits::Metric => format!("{} m", (width.0 * 100.0).round() / 100.0),
        DisplayUnits::Imperial => {
            let inches = (width.0 / 0.0254).round();
            format!("{:.0} ft {:.0} in", (inches / 12.0).floor(), inches % 12.0)
        }
    }
}

fn labels(farm: &Farm, takeoff: &Takeoff) -> Vec<Said> {
    let mut found = Vec::new();
    for set in &takeoff.sets {
        for part in &set.uncut {
            found.extend(of_part(farm, set, part, "whole roll"));
        }
        for roll in &set.rolls {
            for cut in &roll.cuts {
                found.extend(of_part(farm, set, &cut.part, &format!("roll {}", roll.number)));
            }
            found.extend(of_offcut(farm, set, roll));
        }
    }
    found
}

fn size(farm: &Farm, set: &SetTakeoff, length: Decimetres) -> String {
    let units = farm.site.units;
    format!("{} x {}", length.said(units), width(set.width, units))
}

fn family(set: &SetTakeoff) -> String {
    words::name(&set.set.0)
}

fn of_part(farm: &Farm, set: &SetTakeoff, part: &Part, from: &str) -> [Said; 2] {
    ["start", "end"].map(|end| Said {
        block: words::name(&part.block.0),
        row: format!("row {}", part.row),
        part: format!("part {} of {}", part.part, part.of),
        length: size(farm, set, part.length),
        family: family(set),
        code: part.code.clone(),
        end: format!("{end} · {from}"),
    })
}

fn of_offcut(farm: &Farm, set: &SetTakeoff, roll: &Roll) -> Option<Said> {
    Some(Said {
        block: "Stock".to_owned(),
        row: "offcut".to_owned(),
        part: "no row yet".to_owned(),
        length: size(farm, set, roll.kept()?),
        family: family(set),
        code: roll.code.clone(),
        end: format!("roll {}", roll.number),
    })
}

fn sheet(farm: &Farm, paper: Paper, page: &[Said], number: usize, count: usize) -> String {
    let (width, height) = paper.size();
    let (across, _) = paper.grid();
    let left = (width - across as f64 * WIDE) / 2.0;
    let mut svg = Svg::default();
    let farm = words::name(&farm.site.name);
    let title = format!("Labels of {farm}, sheet {number} of {count}");
    let right = left + across as f64 * WIDE;
    let head = fitted(&title, left, 10.5, 4.2, (right - left) * 0.95);
    svg.text(head.ink().bold());
    let how = "Print at full size. Cut along the lines. Code: block-row-part-check digit; tie one label to each end of the part.";
    svg.text(fitted(how, left, 15.5, 3.0, right - left));
    for (place, said) in page.iter().enumerate() {
        let (column, line) = (place % across, place / across);
        label(&mut svg, said, left + column as f64 * WIDE, TOP + line as f64 * HIGH);
    }
    svg.finish_sheet(width, height, &title)
}

fn label(svg: &mut Svg, said: &Said, x: f64, y: f64) {
    let frame = Rect {
        left: x,
        top: y,
        right: x + WIDE,
        bottom: y + HIGH,
    };
    svg.rect(frame, &format!(r#"fill="none" stroke="{BARK}" stroke-width="0.15""#));
    let (left, right) = (x + AIR, x + WIDE - AIR);
    let inside = right - left;
    svg.text(fitted(&said.block, left, y + 8.6, 7.0, inside).ink().bold());
    svg.text(fitted(&said.row, left, y + 15.6, 5.4, 0.55 * inside).ink().bold());
    svg.text(
        fitted(&said.part, right, y + 15.6, 4.2, 0.42 * inside)
            .ink()
            .anchor(Anchor::End),
    );
    svg.text(fitted(&said.length, left, y + 22.6, 5.4, 0.60 * inside).ink().bold());
    svg.text(
        fitted(&said.family, right, y + 22.6, 4.2, 0.37 * inside)
            .ink()
            .anchor(Anchor::End),
    );
    let rule = y + 24.8;
    svg.line(
        (left, rule),
        (right, rule),
        &format!(r#"stroke="{BARK}" stroke-width="0.15""#),
    );
    svg.text(fitted(&said.code, left, y + 30.4, 5.0, 0.5 * inside).ink().bold());
    svg.text(fitted(&said.end, right, y + 30.4, 3.2, 0.48 * inside).anchor(Anchor::End));
}

/// A text as big as wanted, or as small as its room asks for. Bold letters are the wider ones, so they are counted.
fn fitted(text: &str, x: f64, y: f64, size: f64, room: f64) -> Label<'_> {
    let wide = font::width(text, 1.0, Weight::Semibold).max(0.01);
    Label::at(text, x, y, size.min(0.98 * room / wide))
}
