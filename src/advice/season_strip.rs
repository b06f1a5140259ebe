//! The plan to harvest as a picture: a row a block, blocks that share rolls together, so that a move goes down.

use chrono::{Datelike, Days, NaiveDate};

use super::chart::svg::{Anchor, Close, INK, Label, PLUM, QUINCE, RULE, Rect, Svg};
use super::letter::{Season, SeasonLine};
use super::{season_words, words};

const WIDTH: f64 = 640.0;
/// Where the calendar begins and ends.
const LEFT: f64 = 112.0;
const RIGHT: f64 = 628.0;
const TOP: f64 = 44.0;
const ROW: f64 = 46.0;
const BAR: f64 = 17.0;
const SMALL: f64 = 11.0;
const TEXT: f64 = 12.0;
/// Longest calendar that is drawn.
const MOST_DAYS: i64 = 200;

/// Draws the plan as SVG; `None` if no line has a date.
pub fn svg(season: &Season, today: NaiveDate) -> Option<String> {
    let calendar = Calendar::of(season, today)?;
    let mut svg = Svg::default();
    #[expect(clippy::cast_precision_loss, reason = "a farm has few blocks")]
    let bottom = TOP + ROW * season.lines.len() as f64;
    calendar.months(&mut svg, bottom);
    let mut top = TOP;
    let mut set: Option<&str> = None;
    for line in &season.lines {
        if set.is_some_and(|set| set != line.set) {
            svg.line(
                (8.0, top),
                (WIDTH - 8.0, top),
                &format!(r#"stroke="{INK}" stroke-width="1""#),
            );
        } else if set.is_some() {
            svg.line(
                (8.0, top),
                (WIDTH - 8.0, top),
                &format!(r#"stroke="{RULE}" stroke-width="1""#),
            );
        }
        set = Some(&line.set);
        calendar.row(&mut svg, line, top);
        top += ROW;
    }
    svg.line(
        (8.0, bottom),
        (WIDTH - 8.0, bottom),
        &format!(r#"stroke="{RULE}" stroke-width="1""#),
    );
    for step in &season.moves {
        calendar.arrow(&mut svg, season, step.from, step.to);
    }
    let x = calendar.x(today);
    svg.line(
        (x, 18.0),
        (x, bottom),
        &format!(r#"stroke="{INK}" stroke-width="1.4" stroke-dasharray="1.5 3""#),
    );
    let said = format!("today, {}", words::day_and_month(today));
    svg.text(
        Label::at(&said, x.clamp(LEFT + 20.0, RIGHT - 40.0), 13.0, TEXT)
            .ink()
            .bold()
            .anchor(Anchor::Middle),
    );
    let height = key(&mut svg, season, bottom + 8.0);
    Some(svg.finish(WIDTH, height, "Plan to harvest", &season.alt()))
}

/// The days that are drawn, and where.
struct Calendar {
    first: NaiveDate,
    days: f64,
    today: NaiveDate,
}

impl Calendar {
    fn of(season: &Season, today: NaiveDate) -> Option<Self> {
        let dates = || {
            season.lines.iter().flat_map(|line| {
                let picks = line.picks.map(|(first, last, either)| {
                    let either = Days::new(u64::from(either));
                    [first - either, last + either]
                });
                [line.from, line.until]
                    .into_iter()
                    .flatten()
                    .chain(picks.into_iter().flatten())
            })
        };
        let (first, last) = (dates().min()?.min(today), dates().max()?.max(today));
        let first = first.max(today - Days::new(100)) - Days::new(3);
        // Room for the words behind the last bar.
        let days = ((last - first).num_days() + 4).clamp(20, MOST_DAYS);
        #[expect(clippy::cast_precision_loss, reason = "a season of days")]
        let days = days as f64 * 1.18;
        Some(Self { first, days, today })
    }

    fn x(&self, day: NaiveDate) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "a season of days")]
        let days = (day - self.first).num_days() as f64;
        (LEFT + (RIGHT - LEFT) * days / self.days).clamp(LEFT, RIGHT)
    }

    fn months(&self, svg: &mut Svg, bottom: f64) {
        let mut month = self.first.with_day(1).unwrap_or(self.first);
        loop {
            let next = month.checked_add_months(chrono::Months::new(1)).unwrap_or(month);
            let (from, to) = (self.x(month.max(self.first)), self.x(next));
            if from >= RIGHT || next == month {
                break;
            }
            if month > self.first {
                svg.line(
                    (from, 24.0),
                    (from, bottom),
                    &format!(r#"stroke="{RULE}" stroke-width="1.4""#),
                );
            }
            let name = month.format("%B").to_string();
            let label = Label::at(&name, from + 5.0, 33.0, TEXT);
            if to - from > label.width() + 8.0 {
                svg.text(label);
            }
            month = next;
        }
    }

    fn row(&self, svg: &mut Svg, line: &SeasonLine, top: f64) {
        let rows = line
            .rows
            .map_or_else(String::new, |rows| format!(" {}", words::row_numbers(rows)));
        let name = shortened(&format!("{}{rows}", line.block), LEFT - 14.0, 14.0);
        svg.text(Label::at(&name, 8.0, top + 19.0, 14.0).ink().bold());
        let variety = shortened(&line.variety, LEFT - 14.0, SMALL);
        svg.text(Label::at(&variety, 8.0, top + 34.0, SMALL));
        let frame = Rect {
            left: LEFT,
            top: top + 2.0,
            right: WIDTH - 2.0,
            bottom: top + ROW - 1.0,
        };
        self.bars(svg, line, top + 6.0, &frame);
        self.picking(svg, line, top + 6.0 + BAR / 2.0, &frame);
        self.good(svg, line, top + 29.0, &frame);
    }

    /// White boxes: solid for what lies out, dashed for what is planned; split at today where both.
    fn bars(&self, svg: &mut Svg, line: &SeasonLine, top: f64, frame: &Rect) {
        let Some(from) = line.from else {
            let said = Label::at(&line.cover, self.x(self.today) + 6.0, top + 13.0, SMALL);
            let left = Label::at(&line.cover, LEFT + 4.0, top + 13.0, SMALL);
            svg.place(&[said.halo(), left.halo()], frame);
            return;
        };
        let until = line.until.unwrap_or_else(|| self.today.max(from));
        let solid = format!(r##"fill="#FFFFFF" stroke="{INK}" stroke-width="1.8""##);
        let dashed = format!(r##"fill="#FFFFFF" stroke="{INK}" stroke-width="1.8" stroke-dasharray="5 3""##);
        let mut bar = |from: NaiveDate, until: NaiveDate, looks: &str| {
            let rect = Rect {
                left: self.x(from),
                top,
                right: self.x(until).max(self.x(from) + 4.0),
                bottom: top + BAR,
            };
            svg.rect(rect, looks);
            rect
        };
        let boxes = if !line.out {
            vec![bar(from, until, &dashed)]
        } else if until <= self.today {
            vec![bar(from, self.today, &solid)]
        } else {
            vec![bar(from, self.today, &solid), bar(self.today, until, &dashed)]
        };
        let days = (until - from).num_days();
        let texts = [
            format!("{}: {}", line.set, words::days(days)),
            words::days(days),
            days.to_string(),
        ];
        let widest = boxes
            .iter()
            .max_by(|a, b| (a.right - a.left).total_cmp(&(b.right - b.left)));
        if let Some(widest) = widest {
            let middle = f64::midpoint(widest.left, widest.right);
            let label = |text| Label::at(text, middle, top + 13.0, SMALL).ink().anchor(Anchor::Middle);
            if let Some(text) = texts
                .iter()
                .find(|text| label(text).width() < widest.right - widest.left - 6.0)
            {
                svg.text(label(text));
            }
        }
    }

    /// Discs on each day of picking; dotted how far it may shift.
    fn picking(&self, svg: &mut Svg, line: &SeasonLine, y: f64, frame: &Rect) {
        let Some((first, last, either)) = line.picks else {
            return;
        };
        let either = Days::new(u64::from(either));
        let (early, late) = (self.x(first - either), self.x(last + either));
        svg.line(
            (early, y),
            (late, y),
            &format!(r#"stroke="{PLUM}" stroke-width="1.6" stroke-dasharray="1.6 2.6""#),
        );
        let (left, right) = (self.x(first), self.x(last));
        let discs = ((right - left) / 8.5).floor().clamp(0.0, 60.0);
        let mut disc = 0.0;
        while disc <= discs {
            let x = if discs > 0.0 {
                left + (right - left) * disc / discs
            } else {
                left
            };
            svg.disc(x, y, 3.4, &format!(r#"fill="{PLUM}""#));
            disc += 1.0;
        }
        let behind = Label::at(&line.pick, late + 6.0, y + 4.0, SMALL).halo();
        let below = Label::at(&line.pick, left, y + 19.0, SMALL).halo();
        let before = Label::at(&line.pick, early - 6.0, y + 4.0, SMALL)
            .anchor(Anchor::End)
            .halo();
        svg.place(&[behind, below, before], frame);
    }

    /// Days on which lifting is about as good.
    fn good(&self, svg: &mut Svg, line: &SeasonLine, top: f64, frame: &Rect) {
        let Some((first, last)) = line.good else { return };
        let rect = Rect {
            left: self.x(first),
            top,
            right: self.x(last + Days::new(1)),
            bottom: top + 8.0,
        };
        svg.rect(rect, &format!(r#"fill="{QUINCE}" stroke="{INK}" stroke-width="1""#));
        let said = format!("lift {}", season_words::day_span(first, last));
        let behind = Label::at(&said, rect.right + 5.0, top + 8.5, SMALL).ink().halo();
        let before = Label::at(&said, rect.left - 5.0, top + 8.5, SMALL)
            .ink()
            .anchor(Anchor::End)
            .halo();
        svg.place(&[behind, before], frame);
    }

    /// The same rolls move on: from the end of one bar down, or up, to the begin of another.
    fn arrow(&self, svg: &mut Svg, season: &Season, from: usize, to: usize) {
        let (Some(one), Some(other)) = (season.lines.get(from), season.lines.get(to)) else {
            return;
        };
        let (Some(leaves), Some(arrives)) = (one.until, other.from) else {
            return;
        };
        #[expect(clippy::cast_precision_loss, reason = "a farm has few blocks")]
        let y = |row: usize| TOP + ROW * row as f64 + 6.0;
        let x = self.x(leaves) - 3.0;
        let end = self.x(arrives) - 1.0;
        let start = if to > from { y(from) + BAR } else { y(from) };
        let level = y(to) + BAR / 2.0;
        let looks = format!(r#"fill="none" stroke="{INK}" stroke-width="1.6""#);
        svg.path(&[(x, start), (x, level), (end.max(x + 5.0), level)], Close::No, &looks);
        let tip = end.max(x + 5.0);
        svg.path(
            &[(tip, level), (tip - 6.0, level - 3.5), (tip - 6.0, level + 3.5)],
            Close::Yes,
            &format!(r#"fill="{INK}""#),
        );
    }
}

/// A text cut to a width, with a full stop where it was cut.
fn shortened(text: &str, width: f64, size: f64) -> String {
    let fits = |text: &str| Label::at(text, 0.0, 0.0, size).bold().width() <= width;
    if fits(text) {
        return text.to_owned();
    }
    let signs: Vec<char> = text.chars().collect();
    (1..signs.len())
        .rev()
        .map(|count| format!("{}.", signs.iter().take(count).collect::<String>().trim_end()))
        .find(|short| fits(short))
        .unwrap_or_default()
}

/// Only marks that occur. Returns the height of the picture.
fn key(svg: &mut Svg, season: &Season, top: f64) -> f64 {
    let lines = &season.lines;
    let any = |is: &dyn Fn(&SeasonLine) -> bool| lines.iter().any(is);
    let mut x = 8.0;
    let mut y = top + 10.0;
    let mut mark = |svg: &mut Svg, text: &str, draw: &dyn Fn(&mut Svg, f64, f64)| {
        let label = Label::at(text, x + 28.0, y + 4.0, SMALL);
        if label.rect().right > WIDTH - 4.0 {
            x = 8.0;
            y += 18.0;
        }
        draw(svg, x, y);
        let label = Label::at(text, x + 28.0, y + 4.0, SMALL);
        svg.text(label);
        x = label.rect().right + 14.0;
    };
    let box_at = |x: f64, y: f64| Rect {
        left: x,
        top: y - 6.0,
        right: x + 22.0,
        bottom: y + 6.0,
    };
    if any(&|line| line.out) {
        mark(svg, "covers out", &|svg, x, y| {
            svg.rect(
                box_at(x, y),
                &format!(r##"fill="#FFFFFF" stroke="{INK}" stroke-width="1.8""##),
            );
        });
    }
    if any(&|line| line.until.is_some()) {
        mark(svg, "planned", &|svg, x, y| {
            let looks = format!(r##"fill="#FFFFFF" stroke="{INK}" stroke-width="1.8" stroke-dasharray="5 3""##);
            svg.rect(box_at(x, y), &looks);
        });
    }
    if any(&|line| line.good.is_some()) {
        mark(svg, "good days to lift", &|svg, x, y| {
            let rect = Rect {
                top: y - 4.0,
                bottom: y + 4.0,
                ..box_at(x, y)
            };
            svg.rect(rect, &format!(r#"fill="{QUINCE}" stroke="{INK}" stroke-width="1""#));
        });
    }
    if any(&|line| line.picks.is_some()) {
        mark(svg, "picking, dotted: may shift", &|svg, x, y| {
            for disc in [3.0, 11.0, 19.0] {
                svg.disc(x + disc, y, 3.4, &format!(r#"fill="{PLUM}""#));
            }
        });
    }
    if !season.moves.is_empty() {
        mark(svg, "same rolls move on", &|svg, x, y| {
            svg.line((x, y), (x + 18.0, y), &format!(r#"stroke="{INK}" stroke-width="1.6""#));
            svg.path(
                &[(x + 22.0, y), (x + 16.0, y - 3.5), (x + 16.0, y + 3.5)],
                Close::Yes,
                &format!(r#"fill="{INK}""#),
            );
        });
    }
    y + 16.0
}
