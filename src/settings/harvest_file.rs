//! `harvest.csv` and `blackouts.csv`: when which block is picked, and when it may not be entered.

use chrono::{Days, NaiveDate, NaiveDateTime, NaiveTime};

use super::cells::Cell;
use super::date::{date, whole_days};
use super::file::File;
use super::sheet::{self, SheetRow};
use super::words::{closest, listed};
use crate::farm::block::{Block, BlockId};
use crate::farm::harvest::{Blackout, Pick};
use crate::farm::{Farm, Job};

/// Columns of `harvest.csv`; the last may be missing.
pub(super) const HARVEST: [&str; 5] = ["block", "variety", "first pick", "last pick", "days either way"];

/// Columns of `blackouts.csv`; the last three may be missing.
pub(super) const BLACKOUTS: [&str; 5] = ["from", "to", "blocks", "jobs", "text"];

/// A picking of one block is never longer.
const LONGEST_PICK_DAYS: i64 = 120;

/// A black-out is never longer.
const LONGEST_BLACKOUT_DAYS: i64 = 400;

const JOBS: [(&str, Job); 6] = [
    ("lay", Job::Lay),
    ("check", Job::Check),
    ("fold", Job::Fold),
    ("lift", Job::Lift),
    ("redry", Job::Redry),
    ("re-dry", Job::Redry),
];

/// Picks of a farm. Without a farm (its file cannot be read) names of blocks are not compared.
pub(super) fn picks(file: &File, farm: Option<&Farm>) -> Vec<Pick> {
    let Some(sheet) = sheet::read(file, &HARVEST, 4) else {
        return Vec::new();
    };
    let mut picks: Vec<Pick> = Vec::new();
    for row in &sheet.rows {
        let Some(pick) = pick(file, row, farm) else { continue };
        let overlaps =
            |other: &&Pick| other.block == pick.block && other.first <= pick.last && pick.first <= other.last;
        if let Some(other) = picks.iter().find(overlaps) {
            let at = format!(
                "{} is picked from {} to {} already",
                other.block, other.first, other.last
            );
            file.mistake(
                row.span.clone(),
                "two pickings of one block overlap",
                &at,
                "make one line of them",
            );
        }
        picks.push(pick);
    }
    picks
}

fn pick(file: &File, row: &SheetRow, farm: Option<&Farm>) -> Option<Pick> {
    for (column, name) in HARVEST.iter().enumerate().take(4) {
        if row.cell(column).is_none() && !row.refused(column) {
            file.mistake(
                row.span.clone(),
                &format!("{name} is blank"),
                "in this line",
                "fill it in or delete the line",
            );
        }
    }
    let block = row.cell(0).and_then(|cell| named(file, cell, &cell.text, farm));
    let first = row.cell(2).and_then(|cell| date(file, cell, "first pick"));
    let last = row.cell(3).and_then(|cell| date(file, cell, "last pick"));
    let either_way = row
        .cell(4)
        .and_then(|cell| whole_days(file, cell, "days either way", 30));
    if let (Some(first), Some(last), Some(cell)) = (first, last, row.cell(3)) {
        let days = (last - first).num_days();
        if days < 0 {
            let at = format!("{last} is before the first pick, {first}");
            file.mistake(
                cell.span.clone(),
                "last pick before first pick",
                &at,
                "are the two swapped?",
            );
        } else if days > LONGEST_PICK_DAYS {
            let at = format!("{days} days after the first pick; at most {LONGEST_PICK_DAYS}");
            file.mistake(cell.span.clone(), "a very long picking", &at, "is the year right?");
        }
    }
    let (variety, block) = (row.cell(1)?, block?);
    if let Some(known) = farm.and_then(|farm| farm.block(&block))
        && known.variety.to_lowercase() != variety.text.to_lowercase()
        && !known.variety.is_empty()
    {
        let at = format!("{} here, {} in farm.toml", variety.text, known.variety);
        file.remark(
            variety.span.clone(),
            &format!("two varieties for block {block}"),
            &at,
            "the letter uses the one in farm.toml",
        );
    }
    Some(Pick {
        block,
        variety: variety.text.clone(),
        first: first?,
        last: last?,
        either_way,
    })
}

/// The block of that name, whatever the case of its letters.
fn named(file: &File, cell: &Cell, name: &str, farm: Option<&Farm>) -> Option<BlockId> {
    let Some(farm) = farm else {
        return Some(BlockId(name.to_owned()));
    };
    let same = |block: &&Block| block.id.0.to_lowercase() == name.to_lowercase();
    let found = farm.blocks.iter().find(same).map(|block| block.id.clone());
    if found.is_none() {
        let names: Vec<&str> = farm.blocks.iter().map(|block| block.id.0.as_str()).collect();
        let cure = match closest(name, &names) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("blocks in farm.toml: {}", listed(&names)),
        };
        file.mistake(
            cell.span.clone(),
            "no such block",
            &format!("{name} is not in farm.toml"),
            &cure,
        );
    }
    found
}

/// Black-outs of a farm, in its local time.
pub(super) fn blackouts(file: &File, farm: Option<&Farm>) -> Vec<Blackout> {
    let Some(sheet) = sheet::read(file, &BLACKOUTS, 2) else {
        return Vec::new();
    };
    sheet.rows.iter().filter_map(|row| blackout(file, row, farm)).collect()
}

fn blackout(file: &File, row: &SheetRow, farm: Option<&Farm>) -> Option<Blackout> {
    for (column, name) in BLACKOUTS.iter().enumerate().take(2) {
        if row.cell(column).is_none() && !row.refused(column) {
            file.mistake(
                row.span.clone(),
                &format!("{name} is blank"),
                "in this line",
                "write 2026-03-16 or 2026-03-16 10:00",
            );
        }
    }
    let from = row.cell(0).and_then(|cell| moment(file, cell, "from", Edge::Start));
    let to = row.cell(1).and_then(|cell| moment(file, cell, "to", Edge::End));
    if let (Some(from), Some(to), Some(cell)) = (from, to, row.cell(1)) {
        if to <= from {
            file.mistake(
                cell.span.clone(),
                "ends before it begins",
                &format!(
                    "{} is not after {}",
                    to.format("%Y-%m-%d %H:%M"),
                    from.format("%Y-%m-%d %H:%M")
                ),
                "are the two swapped?",
            );
        } else if (to - from).num_days() > LONGEST_BLACKOUT_DAYS {
            file.mistake(
                cell.span.clone(),
                "a very long black-out",
                &format!("at most {LONGEST_BLACKOUT_DAYS} days"),
                "is the year right?",
            );
        }
    }
    let blocks = row
        .cell(2)
        .map(|cell| many(cell, |name| named(file, cell, name, farm)))
        .unwrap_or_default();
    let jobs = row
        .cell(3)
        .map(|cell| many(cell, |name| job(file, cell, name)))
        .unwrap_or_default();
    let text = row.cell(4).map(|cell| cell.text.clone()).unwrap_or_default();
    let zone = &farm?.site.zone;
    Some(Blackout {
        from: zone.instant(from?),
        to: zone.instant(to?),
        blocks,
        jobs,
        text,
    })
}

/// Names in one cell: `Creek, Mill` in quotes, or with semicolons or strokes; blank or `all` means all.
fn many<T>(cell: &Cell, read: impl Fn(&str) -> Option<T>) -> Vec<T> {
    if cell.text.eq_ignore_ascii_case("all") {
        return Vec::new();
    }
    cell.text
        .split([',', ';', '|', '/'])
        .map(str::trim)
        .filter(|name| !name.is_empty())
        .filter_map(read)
        .collect()
}

fn job(file: &File, cell: &Cell, name: &str) -> Option<Job> {
    let words = JOBS.map(|(word, _)| word);
    let found = JOBS
        .iter()
        .find(|(word, _)| word.eq_ignore_ascii_case(name))
        .map(|(_, job)| *job);
    if found.is_none() {
        let near = closest(name, &words).map(|near| format!("did you mean \"{near}\"?"));
        let at = format!("{name}; allowed lay, check, fold, lift, redry");
        file.mistake(cell.span.clone(), "no such job", &at, &near.unwrap_or_default());
    }
    found
}

/// Which end of a day a date without time means.
#[derive(Debug, Clone, Copy)]
enum Edge {
    Start,
    End,
}

/// `2026-03-16`, `2026-03-16 10:00` or with a `T` between, on the farm's clock.
fn moment(file: &File, cell: &Cell, what: &str, edge: Edge) -> Option<NaiveDateTime> {
    let (day_text, time_text) = match cell.text.split_once([' ', 'T']) {
        Some((day, time)) => (day, Some(time.trim())),
        None => (cell.text.as_str(), None),
    };
    let day_cell = Cell {
        text: day_text.to_owned(),
        span: cell.span.clone(),
    };
    let day: NaiveDate = date(file, &day_cell, what)?;
    let Some(time_text) = time_text else {
        let day = match edge {
            Edge::Start => day,
            Edge::End => day + Days::new(1),
        };
        return Some(day.and_time(NaiveTime::MIN));
    };
    let read = ["%H:%M", "%H:%M:%S"]
        .iter()
        .find_map(|form| NaiveTime::parse_from_str(time_text, form).ok());
    if read.is_none() {
        let cure = "the farm's own clock, 24 hours, without a zone: 2026-03-16 10:00";
        file.mistake(
            cell.span.clone(),
            &format!("{what} has no readable time"),
            &cell.text,
            cure,
        );
    }
    read.map(|time| day.and_time(time))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::mistake::{Found, Text};

    fn found(text: &str) -> (Vec<Pick>, Found) {
        let file = File::new(Text::new("harvest.csv", text));
        let picks = picks(&file, None);
        let mut found = Found::default();
        file.give(&mut found);
        (picks, found)
    }

    #[test]
    fn a_semicolon_export_with_carriage_returns_reads_like_a_comma_one() {
        let comma = "block,variety,first pick,last pick,days either way\nCreek,Gala,2026-03-16,2026-03-20,2\nHill,Fuji,2026-04-20,2026-04-27,\n";
        let semicolon = format!("\u{feff}{}", comma.replace(',', ";").replace('\n', "\r\n"));
        let (picks, first) = found(comma);
        assert!(first.mistakes.is_empty(), "{:?}", first.mistakes);
        assert_eq!(picks[0].either_way, Some(2));
        assert_eq!(picks[1].either_way, None);
        assert_eq!(found(&semicolon).0, picks);
    }

    #[test]
    fn every_wrong_cell_is_told_and_none_hides_another() {
        let (picks, found) = found(
            "block,variety,first pick,last pick,days either way\n\
             Creek,Gala,03/04/2026,2026-04-10,2,5\n\
             =A1,Fuji,2026-04-20,2026-04-18,2\n\
             Hill,,2026-04-20,2027-04-18,90\n",
        );
        let found = found.sorted(&["harvest.csv"]);
        let told: Vec<String> = found
            .mistakes
            .iter()
            .map(|one| format!("{}:{} {}", one.line, one.column, one.what))
            .collect();
        assert_eq!(
            told,
            [
                "2:12 first pick cannot be read",
                "2:36 more cells than columns",
                "3:1 a formula in a cell",
                "3:21 last pick before first pick",
                "4:1 variety is blank",
                "4:18 a very long picking",
                "4:29 days either way is out of range",
            ]
            .map(str::to_owned)
        );
        assert!(picks.is_empty());
    }
}
