//! The `[[set]]` tables of `farm.toml`: which metres of cover serve which blocks.

use std::ops::Range;

use super::block_file::BlockDraft;
use super::quantity::Allowed;
use super::table::Table;
use super::words::{closest, listed};
use crate::farm::block::{Block, BlockId};
use crate::farm::cover::{CoverSet, SetId};
use crate::units::Metres;

pub(super) const SET: &[&str] = &["name", "width_m", "metres", "roll_length_m", "blocks"];

/// Length of a factory roll. Common practice: about 80 m, varies by maker.
const ROLL: Metres = Metres(80.0);

/// A set with the table it was read from.
#[derive(Debug)]
pub(super) struct SetDraft<'a> {
    pub(super) set: CoverSet,
    /// Where each of its blocks is named.
    places: Vec<Range<usize>>,
    table: Table<'a>,
}

pub(super) fn read<'a>(root: &Table<'a>) -> Vec<SetDraft<'a>> {
    let mut drafts: Vec<SetDraft<'a>> = Vec::new();
    for table in root.tables("set") {
        let (set, places) = set(&table);
        if drafts
            .iter()
            .any(|other| other.set.id == set.id && !set.id.0.is_empty())
        {
            table.wrong("name", "name stands twice", "a set of that name is there already", "");
        }
        drafts.push(SetDraft { set, places, table });
    }
    drafts
}

fn set(table: &Table<'_>) -> (CoverSet, Vec<Range<usize>>) {
    table.knows(SET);
    table.needs(&[
        ("name", "name = \"set A\""),
        ("width_m", "width_m = 2.4"),
        ("metres", "metres = 1200"),
        ("blocks", "blocks = [\"Creek\", \"Hill\"]"),
    ]);
    let length = |key, min, max| table.number(key, &Allowed::new(min, max, "m")).map(Metres);
    let blocks = table.list("blocks", "a list of block names").unwrap_or_default();
    if blocks.is_empty() && table.find("blocks").is_some() {
        table.wrong("blocks", "a set that serves no block", "at least one name", "");
    }
    let (mut ids, mut places) = (Vec::new(), Vec::new());
    for value in blocks {
        if let Some(name) = table.text_in("blocks", value, 24) {
            ids.push(BlockId(name));
            places.push(value.span());
        }
    }
    let set = CoverSet {
        id: SetId(table.text("name", 20).unwrap_or_default()),
        width: length("width_m", 0.3, 8.0).unwrap_or_default(),
        length: length("metres", 1.0, 200_000.0).unwrap_or_default(),
        roll_length: length("roll_length_m", 10.0, 500.0).unwrap_or(ROLL),
        blocks: ids,
    };
    (set, places)
}

/// The sets, checked against the blocks; without any `[[set]]`, one for each block with just its metres.
pub(super) fn checked(root: &Table<'_>, drafts: Vec<SetDraft<'_>>, blocks: &[BlockDraft]) -> Vec<CoverSet> {
    if root.find("set").is_none() {
        return blocks.iter().map(|draft| own_set(&draft.block)).collect();
    }
    for (place, draft) in drafts.iter().enumerate() {
        let before: Vec<&BlockId> = drafts.iter().take(place).flat_map(|draft| &draft.set.blocks).collect();
        check_blocks(draft, &before, blocks);
    }
    for draft in blocks {
        if !drafts.iter().any(|set| set.set.blocks.contains(&draft.block.id)) && !draft.block.id.0.is_empty() {
            root.file.remark(
                draft.name_at.clone(),
                &format!("block {}: no set of covers serves it", draft.block.id),
                "in no [[set]]",
                "it gets no windows for laying; name it in the blocks of a set if it has covers",
            );
        }
    }
    drafts.into_iter().map(|draft| draft.set).collect()
}

fn own_set(block: &Block) -> CoverSet {
    CoverSet {
        id: SetId(block.id.0.clone()),
        width: Metres(block.alley.cover_width_m),
        length: block.cover(),
        roll_length: ROLL,
        blocks: vec![block.id.clone()],
    }
}

fn check_blocks(draft: &SetDraft<'_>, before: &[&BlockId], blocks: &[BlockDraft]) {
    let SetDraft { set, places, table } = draft;
    let names: Vec<&str> = blocks
        .iter()
        .map(|draft| draft.block.id.0.as_str())
        .filter(|name| !name.is_empty())
        .collect();
    for (place, (id, span)) in set.blocks.iter().zip(places).enumerate() {
        let Some(block) = blocks.iter().find(|draft| draft.block.id == *id) else {
            let cure = match closest(&id.0, &names) {
                Some(near) => format!("did you mean \"{near}\"?"),
                None => format!("blocks in this file: {}", listed(&names)),
            };
            table.file.mistake(
                span.clone(),
                &table.say("no such block"),
                &format!("no [[block]] is called {id}"),
                &cure,
            );
            continue;
        };
        if before.contains(&id) || set.blocks.iter().take(place).any(|other| other == id) {
            let cure = "a block belongs to one set";
            table.file.mistake(
                span.clone(),
                &table.say("a block is served twice"),
                &format!("{id} is named before"),
                cure,
            );
        }
        check_width(draft, block);
        let wanted = block.block.cover();
        if set.length.0 > 0.0 && wanted.0 > set.length.0 + 0.05 {
            let at = format!("{} m in stock, {} takes {:.0} m", set.length.0, id, wanted.0);
            table.doubt(
                "metres",
                "covers a block only in part",
                &at,
                "the rest of its rows stay bare",
            );
        }
    }
}

fn check_width(draft: &SetDraft<'_>, block: &BlockDraft) {
    let (set, table, alley) = (&draft.set, &draft.table, &block.block.alley);
    let (width, id) = (set.width.0, &block.block.id);
    let told = block.width_at.is_some();
    if width <= 0.0 {
        return;
    }
    // Without a width of its own the block took that of the set and was checked with it.
    if told && width >= alley.row_spacing_m {
        let at = format!("{width} m wide, rows in {id} {} m apart", alley.row_spacing_m);
        table.wrong(
            "width_m",
            "a cover as wide as the row spacing cannot be laid",
            &at,
            "about four fifths of the row spacing",
        );
    } else if told && (width - alley.cover_width_m).abs() > 0.05 {
        let at = format!("{width} m wide, {id} is told to have {} m", alley.cover_width_m);
        table.doubt(
            "width_m",
            "two widths for one cover",
            &at,
            "the block's own is used; leave cover_width_m out to use the set's",
        );
    } else if width < alley.row_spacing_m && width > 0.92 * alley.row_spacing_m {
        let at = format!("{width} m wide, rows in {id} {} m apart", alley.row_spacing_m);
        table.doubt(
            "width_m",
            "hardly room beside the cover",
            &at,
            "usual is about four fifths of the row spacing",
        );
    }
}
