//! The letter as plain text: one fact a line, no columns, no line over 80 signs.

use super::letter::verdict_word;
use super::letter::{DayLine, Item, Letter, Official, Season, TieLine, Ties, WindowLine};
use super::words;

/// Longest line.
pub const WIDTH: usize = 80;

/// Lays the letter out as text, with a line feed after every line.
pub fn render(letter: &Letter) -> String {
    let mut page = Page::default();
    head(&mut page, letter);
    today(&mut page, letter);
    days(&mut page, letter);
    chart(&mut page, letter);
    windows(&mut page, letter);
    blocks(&mut page, letter);
    if let Some(season) = &letter.season {
        season_part(&mut page, season);
    }
    if let Some(ties) = &letter.ties {
        ties_part(&mut page, ties);
    }
    if !letter.rolls.is_empty() {
        page.heading("Rolls to dry");
        letter.rolls.iter().for_each(|roll| page.line(roll));
    }
    if !letter.care.is_empty() {
        page.heading("Care today");
        letter.care.iter().for_each(|care| page.line(care));
    }
    end(&mut page, letter);
    page.text
}

fn head(page: &mut Page, letter: &Letter) {
    page.line(&format!("Issued: {}", letter.head.issued));
    page.line(&format!("Good until: {}", letter.head.good_until));
    page.line(&format!("Forecast: {}", letter.head.forecast));
    letter.head.remarks.iter().for_each(|remark| page.line(remark));
    page.blank();
    let headline = &letter.headline;
    page.line(&format!("{}: {}.", verdict_word(letter.verdict), headline.sentence));
    if letter.partly_unknown {
        page.line("PARTLY UNKNOWN: some working hours of today are not in the forecast.");
    }
    if let Some(look) = &headline.look {
        page.line(&format!("{}.", words::capital(look)));
    }
    if let Some(chance) = &headline.chance {
        page.line(&format!("{chance}."));
    }
    headline.because.iter().for_each(|sentence| page.line(sentence));
}

fn today(page: &mut Page, letter: &Letter) {
    page.heading("Today");
    page.items(&letter.today.items);
    if let Some(note) = &letter.today.note {
        if !letter.today.items.is_empty() {
            page.blank();
        }
        page.line(note);
    }
    if letter.turns.is_some() || letter.since_yesterday.is_some() {
        page.blank();
    }
    if let Some(turns) = &letter.turns {
        page.line(&format!("Turns to NO if {}.", turns.turns));
        page.line(&format!("Margin now: {}.", turns.margin));
    }
    if let Some(changed) = &letter.since_yesterday {
        page.line(&format!("Since yesterday: {changed}"));
    }
    warnings(page, &letter.warnings);
    if let Some(ahead) = &letter.ahead {
        page.heading(&ahead.heading);
        page.items(&ahead.items);
    }
}

fn warnings(page: &mut Page, warnings: &[Official]) {
    if warnings.is_empty() {
        return;
    }
    page.heading("Official warnings");
    for (number, warning) in warnings.iter().enumerate() {
        if number > 0 {
            page.blank();
        }
        page.line(&format!("{}, {}: {}.", warning.issuer, warning.event, warning.when));
        if !warning.quote.is_empty() {
            page.line(&format!("\"{}\"", warning.quote));
        }
        warning.notes.iter().for_each(|note| page.line(note));
    }
    page.blank();
    page.line("What the issuer says now counts, not this letter.");
}

fn days(page: &mut Page, letter: &Letter) {
    for part in [&letter.why, &letter.fails].into_iter().flatten() {
        page.heading(&part.heading);
        part.lines.iter().chain(&part.last).for_each(|line| page.day(line));
    }
}

/// What the chart draws, in words.
fn chart(page: &mut Page, letter: &Letter) {
    let Some(chart) = &letter.chart else { return };
    page.heading("Ten days");
    for day in chart.days_said() {
        page.line(&day);
    }
    chart
        .remarks
        .iter()
        .for_each(|remark| page.line(&format!("{}.", words::capital(remark))));
}

fn windows(page: &mut Page, letter: &Letter) {
    let Some(windows) = &letter.windows else { return };
    page.heading("Windows, best first");
    windows.lines.iter().for_each(|line| page.line(&window(line)));
    if let Some(none) = &windows.none {
        page.line(none);
    }
}

/// "Lift Sat 14:00-17:30, Creek: 6 in 10. Underside. Not firm."
fn window(line: &WindowLine) -> String {
    let held = if line.held_by == "nothing" {
        String::new()
    } else {
        format!(" {}.", words::capital(&line.held_by))
    };
    let firm = if line.firm { "" } else { " Not firm." };
    format!(
        "{} {}, {}: {}.{held}{firm}",
        line.job, line.when, line.blocks, line.odds
    )
}

fn blocks(page: &mut Page, letter: &Letter) {
    page.heading("Blocks");
    if let Some(told) = &letter.blocks.told {
        page.line(told);
        page.blank();
    }
    for (number, block) in letter.blocks.lines.iter().enumerate() {
        if number > 0 {
            page.blank();
        }
        page.line(&format!(
            "{}, {}: {}. First pick: {}.",
            block.block, block.variety, block.out, block.pick
        ));
        block.next.iter().for_each(|next| page.line(next));
    }
}

/// "Creek: out since 11 Feb, lift 10 Mar at 27 days. Pick 16-21 Mar."
fn season_part(page: &mut Page, season: &Season) {
    page.heading("Plan to harvest");
    for line in &season.lines {
        let rows = line
            .rows
            .map_or_else(String::new, |rows| format!(", {}", words::rows(rows)));
        let parts: Vec<&str> = [&line.cover, &line.lift]
            .into_iter()
            .map(String::as_str)
            .filter(|part| !part.is_empty())
            .collect();
        page.line(&format!(
            "{}{rows}: {}. Pick {}.",
            line.block,
            parts.join(", "),
            line.pick
        ));
    }
    if !season.changes.is_empty() {
        page.blank();
        season.changes.iter().for_each(|change| page.line(change));
    }
    if let Some(note) = &season.note {
        page.blank();
        page.line(note);
    }
}

fn ties_part(page: &mut Page, ties: &Ties) {
    page.heading("Ties, next 48 hours");
    page.line("Estimate for warning, not an engineering check. Gusts are at 10 m.");
    if let Some(note) = &ties.note {
        page.line(note);
    }
    let worst = |line: &TieLine| {
        let could = line
            .could_be
            .as_ref()
            .map_or_else(String::new, |could| format!(", 8 of 10 runs {could}"));
        format!("Worst hour: {}, gust {}{could}.", line.when, line.gust)
    };
    let mut said = String::new();
    for line in &ties.lines {
        if worst(line) != said {
            said = worst(line);
            page.line(&said);
        }
        let more = line
            .more
            .as_ref()
            .map_or_else(String::new, |more| format!(" Chance of more: {more}."));
        let range = line.carry_range.as_ref().map_or_else(
            || " by your pull test".to_owned(),
            |range| format!(", {range} until pull-tested"),
        );
        page.line(&format!(
            "{}: ties carry about {}{range}.{more}",
            line.block, line.carry
        ));
    }
}

fn end(page: &mut Page, letter: &Letter) {
    page.blank();
    page.line("--");
    page.line(&format!("Next letter: {}", letter.end.next));
    page.line(&format!("Report work: {}", letter.end.report));
    page.line(&format!("Why: {}", letter.end.why));
    page.line(&letter.end.limits);
    letter.end.credits.iter().for_each(|credit| page.line(credit));
    page.line(&format!("{}, letter {}.", letter.farm, letter.id));
}

#[derive(Debug, Default)]
struct Page {
    text: String,
}

impl Page {
    fn blank(&mut self) {
        self.text.push('\n');
    }

    fn heading(&mut self, heading: &str) {
        self.blank();
        self.line(&heading.to_uppercase());
        self.blank();
    }

    /// One line, broken at spaces where it is too long.
    fn line(&mut self, text: &str) {
        let mut line = String::new();
        // A tied blank keeps the time apart from the job on one line; it is printed as a plain one.
        for word in text.split([' ', '\n']).filter(|word| !word.is_empty()) {
            if !line.is_empty() && line.chars().count() + 1 + word.chars().count() > WIDTH {
                self.text.push_str(&line);
                self.text.push('\n');
                line.clear();
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(&word.replace('\u{a0}', " "));
        }
        self.text.push_str(&line);
        self.text.push('\n');
    }

    fn items(&mut self, items: &[Item]) {
        for (number, item) in items.iter().enumerate() {
            if number > 0 {
                self.blank();
            }
            self.line(&format!("{}\u{a0} {}.", item.at, item.what));
            item.notes.iter().for_each(|note| self.line(note));
        }
    }

    fn day(&mut self, line: &DayLine) {
        if line.day.is_empty() {
            self.line(&format!("{}.", words::capital(&line.text)));
        } else {
            self.line(&format!("{}: {}.", line.day, line.text));
        }
        line.notes.iter().for_each(|note| self.line(note));
    }
}
