//! The `[[hot_cutting]]` tables of `farm.toml`: days on which a hot tool is used among dry grass.

use chrono::NaiveDate;

use super::block_file::BlockDraft;
use super::date::read_date;
use super::table::Table;
use super::words::{closest, listed};
use crate::farm::block::BlockId;
use crate::farm::harvest::HotCutting;

pub(super) const HOT_CUTTING: &[&str] = &["from", "to", "blocks"];

pub(super) fn read(root: &Table<'_>, blocks: &[BlockDraft]) -> Vec<HotCutting> {
    let tables = root.tables("hot_cutting");
    tables.iter().filter_map(|table| hot_cutting(table, blocks)).collect()
}

fn hot_cutting(table: &Table<'_>, blocks: &[BlockDraft]) -> Option<HotCutting> {
    table.knows(HOT_CUTTING);
    table.needs(&[("from", "from = \"2026-06-01\""), ("to", "to = \"2026-06-05\"")]);
    let named = named(table, blocks);
    let (from, to) = (day(table, "from"), day(table, "to"));
    let (from, to) = (from?, to?);
    if to < from {
        table.wrong("to", "to comes before from", &format!("{to} is before {from}"), "");
        return None;
    }
    Some(HotCutting {
        from,
        to,
        blocks: named,
    })
}

fn named(table: &Table<'_>, blocks: &[BlockDraft]) -> Vec<BlockId> {
    let known: Vec<&str> = blocks
        .iter()
        .map(|draft| draft.block.id.0.as_str())
        .filter(|name| !name.is_empty())
        .collect();
    let mut ids = Vec::new();
    for value in table.list("blocks", "a list of block names").unwrap_or_default() {
        let Some(name) = table.text_in("blocks", value, 24) else {
            continue;
        };
        if known.contains(&name.as_str()) {
            ids.push(BlockId(name));
            continue;
        }
        let cure = match closest(&name, &known) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("blocks in this file: {}", listed(&known)),
        };
        table.file.mistake(
            value.span(),
            &table.say("no such block"),
            &format!("no [[block]] is called {name}"),
            &cure,
        );
    }
    ids
}

/// A day, with or without quotes.
fn day(table: &Table<'_>, key: &str) -> Option<NaiveDate> {
    let value = table.find(key)?;
    let here = value.get_ref();
    if here.as_str().is_none() && here.as_datetime().is_none() {
        return table.wrong_type(key, value, "a day such as \"2026-06-01\"");
    }
    let text = table.file.text.slice(value.span());
    let text = text.trim_matches(|sign| sign == '"' || sign == '\'').trim();
    match read_date(text) {
        Ok(day) => Some(day),
        Err((fault, cure)) => {
            table.wrong(
                key,
                &format!("{key} cannot be read"),
                &format!("{text}: {fault}"),
                &cure,
            );
            None
        }
    }
}
