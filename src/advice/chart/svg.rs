//! A small writer of SVG, which keeps the boxes of all texts so that no two are laid over each other.

use std::fmt::Write as _;

use super::font::{self, Weight};

pub(in crate::advice) const INK: &str = "#2A2622";
pub(in crate::advice) const BARK: &str = "#62584D";
pub(in crate::advice) const PAPER: &str = "#FBF8F1";
pub(in crate::advice) const RULE: &str = "#D8CFBF";
pub(in crate::advice) const NIGHT: &str = "#ECE6DA";
pub(in crate::advice) const GREY_BAND: &str = "#D9D2C6";
pub(in crate::advice) const SLATE: &str = "#2C5E86";
pub(in crate::advice) const QUINCE: &str = "#E9C65B";
pub(in crate::advice) const PLUM: &str = "#7A2348";

/// Room above the baseline and below it, as a share of the size: capitals and tails.
const ABOVE: f64 = 0.80;
const BELOW: f64 = 0.22;

/// A box of the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::advice) struct Rect {
    pub(in crate::advice) left: f64,
    pub(in crate::advice) top: f64,
    pub(in crate::advice) right: f64,
    pub(in crate::advice) bottom: f64,
}

impl Rect {
    pub(in crate::advice) fn overlaps(&self, other: &Self) -> bool {
        self.left < other.right && other.left < self.right && self.top < other.bottom && other.top < self.bottom
    }

    pub(in crate::advice) fn inside(&self, other: &Self) -> bool {
        self.left >= other.left && self.right <= other.right && self.top >= other.top && self.bottom <= other.bottom
    }
}

/// Where a text hangs on its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::advice) enum Anchor {
    Start,
    Middle,
    End,
}

/// A text with its looks.
#[derive(Debug, Clone, Copy)]
pub(in crate::advice) struct Label<'a> {
    pub(in crate::advice) text: &'a str,
    pub(in crate::advice) x: f64,
    pub(in crate::advice) y: f64,
    pub(in crate::advice) size: f64,
    pub(in crate::advice) weight: Weight,
    pub(in crate::advice) anchor: Anchor,
    pub(in crate::advice) colour: &'static str,
    pub(in crate::advice) halo: bool,
}

impl<'a> Label<'a> {
    /// Regular Bark text that starts at a point.
    pub(in crate::advice) fn at(text: &'a str, x: f64, y: f64, size: f64) -> Self {
        Self {
            text,
            x,
            y,
            size,
            weight: Weight::Regular,
            anchor: Anchor::Start,
            colour: BARK,
            halo: false,
        }
    }

    pub(in crate::advice) fn ink(self) -> Self {
        Self { colour: INK, ..self }
    }

    pub(in crate::advice) fn bold(self) -> Self {
        Self {
            weight: Weight::Semibold,
            ..self
        }
    }

    pub(in crate::advice) fn colour(self, colour: &'static str) -> Self {
        Self { colour, ..self }
    }

    pub(in crate::advice) fn anchor(self, anchor: Anchor) -> Self {
        Self { anchor, ..self }
    }

    pub(in crate::advice) fn halo(self) -> Self {
        Self { halo: true, ..self }
    }

    pub(in crate::advice) fn width(&self) -> f64 {
        font::width(self.text, self.size, self.weight)
    }

    pub(in crate::advice) fn rect(&self) -> Rect {
        let width = self.width();
        let left = match self.anchor {
            Anchor::Start => self.x,
            Anchor::Middle => self.x - width / 2.0,
            Anchor::End => self.x - width,
        };
        Rect {
            left,
            top: self.y - ABOVE * self.size,
            right: left + width,
            bottom: self.y + BELOW * self.size,
        }
    }
}

/// The picture while it is drawn.
#[derive(Debug, Default)]
pub(in crate::advice) struct Svg {
    body: String,
    texts: Vec<Rect>,
}

impl Svg {
    pub(in crate::advice) fn rect(&mut self, rect: Rect, looks: &str) {
        let _ = writeln!(
            self.body,
            r#"<rect x="{:.2}" y="{:.2}" width="{:.2}" height="{:.2}" {looks}/>"#,
            rect.left,
            rect.top,
            (rect.right - rect.left).max(0.0),
            (rect.bottom - rect.top).max(0.0)
        );
    }

    pub(in crate::advice) fn line(&mut self, from: (f64, f64), to: (f64, f64), looks: &str) {
        let _ = writeln!(
            self.body,
            r#"<line x1="{:.2}" y1="{:.2}" x2="{:.2}" y2="{:.2}" {looks}/>"#,
            from.0, from.1, to.0, to.1
        );
    }

    pub(in crate::advice) fn disc(&mut self, x: f64, y: f64, radius: f64, looks: &str) {
        let _ = writeln!(
            self.body,
            r#"<circle cx="{x:.2}" cy="{y:.2}" r="{radius:.2}" {looks}/>"#
        );
    }

    /// A path through points; closed if `close`.
    pub(in crate::advice) fn path(&mut self, points: &[(f64, f64)], close: Close, looks: &str) {
        if points.len() < 2 {
            return;
        }
        let _ = write!(self.body, r#"<path d=""#);
        for (number, (x, y)) in points.iter().enumerate() {
            let _ = write!(self.body, "{}{x:.2} {y:.2}", if number == 0 { 'M' } else { 'L' });
        }
        let _ = writeln!(
            self.body,
            r#"{}" {looks}/>"#,
            if close == Close::Yes { "Z" } else { "" }
        );
    }

    /// Writes a text whatever lies there.
    pub(in crate::advice) fn text(&mut self, label: Label<'_>) {
        self.texts.push(label.rect());
        let anchor = match label.anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let weight = if label.weight == Weight::Semibold {
            r#" font-weight="600""#
        } else {
            ""
        };
        let halo = if label.halo {
            format!(r#" stroke="{PAPER}" stroke-width="3" stroke-linejoin="round" paint-order="stroke""#)
        } else {
            String::new()
        };
        let _ = writeln!(
            self.body,
            r#"<text x="{:.2}" y="{:.2}" font-size="{:.2}" text-anchor="{anchor}" fill="{}"{weight}{halo}>{}</text>"#,
            label.x,
            label.y,
            label.size,
            label.colour,
            escape(label.text)
        );
    }

    /// Whether a text would lie free of all others, with a little air.
    pub(in crate::advice) fn is_free(&self, rect: &Rect) -> bool {
        let wide = Rect {
            left: rect.left - 2.0,
            right: rect.right + 2.0,
            ..*rect
        };
        !self.texts.iter().any(|other| wide.overlaps(other))
    }

    /// Writes the first of the labels that is free and inside `frame`; says whether one was.
    pub(in crate::advice) fn place(&mut self, labels: &[Label<'_>], frame: &Rect) -> bool {
        let fits = labels
            .iter()
            .find(|label| label.rect().inside(frame) && self.is_free(&label.rect()));
        match fits {
            Some(label) => {
                self.text(*label);
                true
            }
            None => false,
        }
    }

    /// The whole as a sheet of paper to print: white ground, lengths in millimetres.
    pub(in crate::advice) fn finish_sheet(self, width_mm: f64, height_mm: f64, title: &str) -> String {
        let family = font::FAMILY;
        format!(
            r##"<svg xmlns="http://www.w3.org/2000/svg" width="{width_mm}mm" height="{height_mm}mm" viewBox="0 0 {width_mm} {height_mm}" font-family="'{family}', sans-serif">
<title>{}</title>
<rect width="{width_mm}" height="{height_mm}" fill="#FFFFFF"/>
{}</svg>
"##,
            escape(title),
            self.body
        )
    }

    /// The whole picture.
    pub(in crate::advice) fn finish(self, width: f64, height: f64, title: &str, description: &str) -> String {
        let family = font::FAMILY;
        format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width:.0}" height="{height:.0}" viewBox="0 0 {width:.0} {height:.0}" role="img" font-family="'{family}', sans-serif">
<title>{}</title>
<desc>{}</desc>
{PATTERNS}
<rect width="{width:.0}" height="{height:.0}" fill="{PAPER}"/>
{}</svg>
"#,
            escape(title),
            escape(description),
            self.body
        )
    }
}

/// Whether a path ends where it began.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::advice) enum Close {
    Yes,
    No,
}

/// Hatches and dots; each says by shape what its colour says too.
const PATTERNS: &str = r##"<defs>
<pattern id="under" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="5" height="5" fill="#FBF8F1"/><rect width="2.4" height="5" fill="#2C5E86"/></pattern>
<pattern id="frost" width="5" height="5" patternUnits="userSpaceOnUse"><circle cx="2.5" cy="2.5" r="1.1" fill="#FFFFFF"/></pattern>
<pattern id="blocked" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)"><rect width="1.2" height="5" fill="#62584D"/></pattern>
<pattern id="beaten" width="4" height="4" patternUnits="userSpaceOnUse"><circle cx="2" cy="2" r="1" fill="#7A2348"/></pattern>
</defs>"##;

/// Text made harmless for XML.
pub(in crate::advice) fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for sign in text.chars() {
        match sign {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            sign if sign.is_control() => safe.push(' '),
            sign => safe.push(sign),
        }
    }
    safe
}
