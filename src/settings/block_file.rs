//! The `[alley]` and `[[block]]` tables of `farm.toml`: rows, geometry, cloth and ties.

use std::ops::Range;

use chrono::NaiveTime;

use super::cover_file::SetDraft;
use super::quantity::Allowed;
use super::table::Table;
use crate::alley::{Alley, Number};
use crate::farm::block::{Block, BlockId, Irrigation};
use crate::farm::site::Site;
use crate::units::{Hours, Metres, Millimetres};

pub(super) const BLOCK: &[&str] = &[
    "name",
    "variety",
    "rows",
    "row_length_m",
    "row_lengths_m",
    "end_setback_m",
    "exposed_edge",
    "irrigation",
    "cover_advance_days",
    "check_every_days",
];
pub(super) const IRRIGATION: &[&str] = &["days", "from", "hours", "mm"];

/// Numbers of an alley that the site gives, or that `trace` alone uses.
const NOT_HERE: [&str; 4] = ["lat", "lon", "alt_m", "utc_offset_h"];

/// Longest name of a block: it stands in subjects of letters.
const LONGEST_NAME: usize = 24;

const ROW: Allowed = Allowed::new(5.0, 1500.0, "m");

/// The numbers of an alley that `farm.toml` may hold.
pub(super) fn numbers() -> impl Iterator<Item = &'static Number> {
    Alley::NUMBERS.iter().filter(|number| !NOT_HERE.contains(&number.name))
}

/// A block with the places that later checks point at.
#[derive(Debug)]
pub(super) struct BlockDraft {
    pub(super) block: Block,
    /// Where its name stands.
    pub(super) name_at: Range<usize>,
    /// Where its cover's width was told, if it was.
    pub(super) width_at: Option<Range<usize>>,
}

pub(super) fn read(root: &Table<'_>, site: &Site, sets: &[SetDraft<'_>]) -> Vec<BlockDraft> {
    let mut usual = Alley::default();
    let common = root.table("alley");
    if let Some(table) = &common {
        table.knows(&numbers().map(|number| number.name).collect::<Vec<_>>());
        set_numbers(table, &mut usual);
    }
    (usual.lat, usual.lon, usual.alt_m) = (site.latitude.0, site.longitude.0, site.elevation.0);
    let mut drafts: Vec<BlockDraft> = Vec::new();
    for table in root.tables("block") {
        let draft = block(&table, common.as_ref(), usual, sets);
        let same = |other: &&BlockDraft| other.block.id.0.to_lowercase() == draft.block.id.0.to_lowercase();
        if let Some(other) = drafts.iter().find(same).filter(|_| !draft.block.id.0.is_empty()) {
            let at = format!("{} is there already", other.block.id);
            table.wrong("name", "name stands twice", &at, "each block has its own name");
        }
        drafts.push(draft);
    }
    drafts
}

fn set_numbers(table: &Table<'_>, alley: &mut Alley) {
    for number in numbers() {
        if let Some(value) = table.number(number.name, &Allowed::from(number)) {
            alley.set(number.name, value);
        }
    }
}

fn block(table: &Table<'_>, common: Option<&Table<'_>>, usual: Alley, sets: &[SetDraft<'_>]) -> BlockDraft {
    let known: Vec<&str> = BLOCK
        .iter()
        .copied()
        .chain(numbers().map(|number| number.name))
        .collect();
    table.knows(&known);
    table.needs(&[("name", "name = \"Creek\""), ("variety", "variety = \"Gala\"")]);
    let id = BlockId(table.text("name", LONGEST_NAME).unwrap_or_default());
    let mut alley = usual;
    let width_key = "cover_width_m";
    let told = [Some(table), common]
        .into_iter()
        .flatten()
        .find(|table| table.find(width_key).is_some());
    if told.is_none()
        && let Some(set) = sets
            .iter()
            .find(|set| set.set.blocks.contains(&id) && set.set.width.0 > 0.0)
    {
        alley.cover_width_m = set.set.width.0;
    }
    set_numbers(table, &mut alley);
    let end_setback = Metres(
        table
            .number("end_setback_m", &Allowed::new(0.0, 20.0, "m"))
            .unwrap_or(1.0),
    );
    let block = Block {
        id,
        variety: table.text("variety", 30).unwrap_or_default(),
        rows: rows(table, end_setback),
        end_setback,
        alley,
        tie_tested: [Some(table), common]
            .into_iter()
            .flatten()
            .any(|table| table.find("tie_allow_n").is_some()),
        exposed_edge: table.text("exposed_edge", 40),
        irrigation: irrigation(table),
        cover_advance_days: table.whole("cover_advance_days", 0, 21).unwrap_or(0),
        check_every_days: table.whole("check_every_days", 1, 60).unwrap_or(10),
    };
    check_shape(table, common, &block.alley);
    BlockDraft {
        name_at: table.span("name"),
        width_at: told.map(|table| table.span(width_key)),
        block,
    }
}

/// Row lengths in row order, each longer than its two set-backs.
fn rows(table: &Table<'_>, setback: Metres) -> Vec<Metres> {
    let most = 400;
    let count = table.whole("rows", 1, most);
    let one = table.number("row_length_m", &ROW);
    let listed = table.list("row_lengths_m", "a list of lengths in metres");
    let rows: Vec<Metres> = match (&listed, table.find("rows"), table.find("row_length_m")) {
        (Some(values), rows, single) => {
            if single.is_some() {
                table.wrong(
                    "row_length_m",
                    "row lengths stand twice",
                    "row_lengths_m is there too",
                    "keep one of the two",
                );
            }
            if let (Some(count), Some(_)) = (count, rows)
                && usize::try_from(count).is_ok_and(|count| count != values.len())
            {
                let at = format!("{} lengths, but rows = {count}", values.len());
                table.wrong(
                    "row_lengths_m",
                    "rows and row_lengths_m differ",
                    &at,
                    "rows may be left out beside row_lengths_m",
                );
            }
            if values.is_empty() {
                table.wrong("row_lengths_m", "a block without rows", "at least one length", "");
            }
            let lengths = values
                .iter()
                .take(400)
                .filter_map(|value| table.number_in("row_lengths_m", value, &ROW));
            lengths.map(Metres).collect()
        }
        (None, Some(_), Some(_)) => match (count, one) {
            (Some(count), Some(length)) => (0..count).map(|_| Metres(length)).collect(),
            _ => Vec::new(),
        },
        // A list of the wrong kind was noted already.
        (None, ..) if table.find("row_lengths_m").is_some() => Vec::new(),
        (None, ..) => {
            table.needs(&[("rows", "rows = 12, or all lengths: row_lengths_m = [118, 116.5, 112]")]);
            if table.find("rows").is_some() {
                table.needs(&[("row_length_m", "row_length_m = 110")]);
            }
            Vec::new()
        }
    };
    if let Some(short) = rows.iter().find(|row| row.0 <= 2.0 * setback.0) {
        let key = if listed.is_some() {
            "row_lengths_m"
        } else {
            "row_length_m"
        };
        let at = format!("a row of {} m, {} m kept free at each end", short.0, setback.0);
        table.wrong(
            key,
            "no cover fits into a row",
            &at,
            "a longer row or a smaller end_setback_m",
        );
    }
    rows
}

fn irrigation(table: &Table<'_>) -> Vec<Irrigation> {
    table.tables("irrigation").iter().map(irrigation_set).collect()
}

fn irrigation_set(table: &Table<'_>) -> Irrigation {
    table.knows(IRRIGATION);
    table.needs(&[
        ("days", "days = [\"Mon\", \"Thu\"]"),
        ("from", "from = \"20:00\""),
        ("hours", "hours = 4"),
        ("mm", "mm = 3"),
    ]);
    Irrigation {
        days: table.weekdays("days").unwrap_or_default(),
        from: table.time("from").unwrap_or(NaiveTime::MIN),
        length: Hours(table.number("hours", &Allowed::new(0.1, 24.0, "h")).unwrap_or_default()),
        depth: Millimetres(table.number("mm", &Allowed::new(0.0, 100.0, "mm")).unwrap_or_default()),
    }
}

/// Numbers that are each in range but cannot be true together.
fn check_shape(table: &Table<'_>, common: Option<&Table<'_>>, alley: &Alley) {
    let wrong = |keys: [&str; 2], what: &str, at: &str, cure: &str| {
        let tables = [Some(table), common];
        let mut places = keys
            .iter()
            .flat_map(|key| tables.into_iter().flatten().map(move |table| (table, *key)));
        let place = places.find(|(table, key)| table.find(key).is_some());
        match place {
            Some((at_table, key)) => table.file.mistake(at_table.span(key), &table.say(what), at, cure),
            None => table.file.mistake(table.head(), &table.say(what), at, cure),
        }
    };
    if alley.cover_width_m >= alley.row_spacing_m {
        let at = format!(
            "cover {} m wide, rows {} m apart",
            alley.cover_width_m, alley.row_spacing_m
        );
        let cure = format!(
            "about four fifths of the row spacing: cover_width_m = {:.1}",
            alley.row_spacing_m * 0.8
        );
        wrong(
            ["cover_width_m", "row_spacing_m"],
            "a cover as wide as the row spacing cannot be laid",
            &at,
            &cure,
        );
    }
    if alley.hedge_width_m + 0.3 > alley.row_spacing_m {
        let at = format!(
            "foliage {} m thick, rows {} m apart",
            alley.hedge_width_m, alley.row_spacing_m
        );
        wrong(
            ["hedge_width_m", "row_spacing_m"],
            "no alley is left between the rows",
            &at,
            "",
        );
    }
    if alley.tree_height_m >= 0.5 && alley.skirt_m >= alley.tree_height_m {
        let at = format!(
            "lowest foliage at {} m, trees {} m high",
            alley.skirt_m, alley.tree_height_m
        );
        wrong(
            ["skirt_m", "tree_height_m"],
            "the trees have no foliage",
            &at,
            "skirt_m is the height of the lowest leaves",
        );
    }
}
