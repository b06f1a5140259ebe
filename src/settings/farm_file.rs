//! `farm.toml` as a whole; its larger tables have their own files beside this one.

use super::block_file;
use super::cover_file;
use super::crew_file;
use super::file::File;
use super::hot_file;
use super::limits_file;
use super::quantity::Allowed;
use super::site_file;
use super::table::Table;
use super::zone_data::ZoneData;
use crate::farm::limits::Limits;
use crate::farm::{Costs, Farm, FarmId};

pub(super) const ROOT: &[&str] = &[
    "site",
    "people",
    "crew",
    "machine",
    "set",
    "limits",
    "costs",
    "alley",
    "block",
    "hot_cutting",
];
pub(super) const COSTS: &[&str] = &[
    "currency",
    "wage_per_hour",
    "tractor_per_hour",
    "fold_extra_per_m",
    "colour_value_per_m",
    "retie_per_m",
];

/// Reads `farm.toml`. What could not be read stands in `file` and is filled up only so that the rest can be
/// looked at: the farm is one only if `file` holds no mistake. `None` if it is no TOML at all.
pub(super) fn read(file: &File, folder_name: &str, zones: &ZoneData) -> Option<Farm> {
    let body = file.parse()?;
    let root = Table::root(file, &body);
    root.knows(ROOT);
    root.needs(&[
        ("site", "[site] with name, latitude, longitude, elevation_m and zone"),
        ("people", "[[people]] with name and email"),
        ("crew", "[crew] with people = 5"),
        ("block", "[[block]] with name, variety, rows and row_length_m"),
    ]);
    let (id, site) = match root.table("site") {
        Some(table) => (site_file::farm_id(&table, folder_name), site_file::site(&table, zones)?),
        None => (FarmId(String::new()), site_file::nowhere()?),
    };
    let sets = cover_file::read(&root);
    let blocks = block_file::read(&root, &site, &sets);
    let sets = cover_file::checked(&root, sets, &blocks);
    let hot_cutting = hot_file::read(&root, &blocks);
    let farm = Farm {
        id,
        site,
        people: crew_file::people(&root),
        crew: crew_file::crew(root.table("crew").as_ref()),
        machines: root.tables("machine").iter().filter_map(crew_file::machine).collect(),
        sets,
        limits: root
            .table("limits")
            .map_or_else(Limits::default, |table| limits_file::read(&table)),
        costs: root.table("costs").map_or_else(Costs::default, |table| costs(&table)),
        blocks: blocks.into_iter().map(|draft| draft.block).collect(),
        picks: Vec::new(),
        blackouts: Vec::new(),
        hot_cutting,
        climate: None,
    };
    Some(farm)
}

fn costs(table: &Table<'_>) -> Costs {
    table.knows(COSTS);
    let usual = Costs::default();
    let money = |key, most, usual| table.number(key, &Allowed::new(0.0, most, "")).unwrap_or(usual);
    Costs {
        currency: table.text("currency", 4).unwrap_or(usual.currency),
        wage_per_hour: money("wage_per_hour", 1.0e6, usual.wage_per_hour),
        tractor_per_hour: money("tractor_per_hour", 1.0e6, usual.tractor_per_hour),
        fold_extra_per_m: money("fold_extra_per_m", 1.0e5, usual.fold_extra_per_m),
        colour_value_per_m: money("colour_value_per_m", 1.0e5, usual.colour_value_per_m),
        retie_per_m: money("retie_per_m", 1.0e5, usual.retie_per_m),
    }
}
