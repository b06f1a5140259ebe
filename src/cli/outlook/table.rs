//! The climate table: shares of half-days of each week of the year, counted over the years observed.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::Path;

use chrono::Datelike as _;

use super::observed::Observed;
use crate::farm::block::{Block, BlockId};
use crate::farm::climate::{Climate, HalfClimate, WEEKS};
use crate::farm::{Farm, Job};
use crate::settings::clean;
use crate::workability::climate::observed_slots;
use crate::workability::{Half, Slot};

/// A table with where it comes from.
pub(super) struct Made {
    climate: Climate,
    /// The block whose numbers were used.
    block: BlockId,
    /// Half-days counted, and those of which an hour was not known.
    counted: usize,
    unknown: usize,
}

/// Counts the half-days of the class of blocks with the most cover; `None` if none is known whole.
pub(super) fn make(farm: &Farm, observed: &Observed) -> Option<Made> {
    let most = |block: &&Block| {
        let same = farm.blocks.iter().filter(|other| other.alley == block.alley);
        same.map(|other| other.cover().0).sum::<f64>()
    };
    let block = farm.blocks.iter().max_by(|a, b| most(a).total_cmp(&most(b)))?;
    let slots = observed_slots(farm, &block.alley, &observed.run, observed.stamps);
    let known: Vec<&Slot> = slots.iter().filter(|slot| seen(slot).is_some()).collect();
    let weeks = (0..WEEKS)
        .map(|week| [Half::Morning, Half::Afternoon].map(|half| of(&known, week, half)))
        .collect();
    (!known.is_empty()).then(|| Made {
        climate: Climate { weeks },
        block: block.id.clone(),
        counted: known.len(),
        unknown: slots.len() - known.len(),
    })
}

/// Laying, lifting, ties beaten, light; `None` where one of them is not known.
fn seen(slot: &Slot) -> Option<[f64; 4]> {
    let yes = |job| {
        slot.of(job)
            .and_then(<[bool]>::first)
            .map(|yes| f64::from(u8::from(*yes)))
    };
    let beaten = slot.beaten.filter(|chance| chance.of > 0)?;
    Some([
        yes(Job::Lay)?,
        yes(Job::Lift)?,
        if beaten.good > 0 { 1.0 } else { 0.0 },
        slot.light?.0,
    ])
}

/// One half of one week, with the weeks on both sides: seven half-days of a year are few.
fn of(slots: &[&Slot], week: usize, half: Half) -> Option<HalfClimate> {
    let near = |slot: &&&Slot| {
        let apart = (Climate::week(slot.day) + WEEKS - week) % WEEKS;
        slot.half == half && (apart <= 1 || apart == WEEKS - 1)
    };
    let taken: Vec<&&Slot> = slots.iter().filter(near).collect();
    let values: Vec<[f64; 4]> = taken.iter().filter_map(|slot| seen(slot)).collect();
    if values.is_empty() {
        return None;
    }
    let mean = |column: usize| values.iter().filter_map(|value| value.get(column)).sum::<f64>() / values.len() as f64;
    let years: BTreeSet<i32> = taken.iter().map(|slot| slot.day.year()).collect();
    Some(HalfClimate {
        slots: u32::try_from(values.len()).unwrap_or(u32::MAX),
        years: u32::try_from(years.len()).unwrap_or(u32::MAX),
        lay: mean(0),
        lift: mean(1),
        beaten: mean(2),
        light: mean(3),
    })
}

/// The file.
pub(super) fn csv(made: &Made, from: &Path, remarks: &[String]) -> String {
    let name = from
        .file_name()
        .map(|name| clean(&name.to_string_lossy()))
        .unwrap_or_default();
    let mut text = format!(
        "# What half-days have been like, by week of the year (1 January begins week 1), made by covercast outlook\n\
         # from {name} with the numbers of block {}; each week counts with the weeks before and after it.\n\
         # lay, lift: share of half-days with two usable hours in a row; beaten: share in which ties are beaten;\n\
         # light: MJ/m2 at the cover in the half-day; slots: half-days counted; years: years they come from.\n\
         # A week without a line is unknown, and coarse numbers stand in for it.\n",
        clean(&made.block.0)
    );
    for remark in remarks {
        let _ = writeln!(text, "# Note: {}.", clean(remark));
    }
    text.push_str("week,half,slots,years,lay,lift,beaten,light\n");
    for (week, halves) in (1..).zip(&made.climate.weeks) {
        for (name, half) in ["morning", "afternoon"].iter().zip(halves) {
            if let Some(half) = half {
                let _ = writeln!(
                    text,
                    "{week},{name},{},{},{:.3},{:.3},{:.4},{:.2}",
                    half.slots, half.years, half.lay, half.lift, half.beaten, half.light
                );
            }
        }
    }
    text
}

/// What is printed.
pub(super) fn report(made: &Made, file: &str, remarks: &[String]) -> String {
    let mut text = format!(
        "{file} is written: {} of {} half-days of the year, from {} half-days in {}.\n",
        made.climate.known(),
        2 * WEEKS,
        made.counted,
        match made.climate.years() {
            1 => "1 year".to_owned(),
            years => format!("{years} years"),
        }
    );
    if made.unknown > 0 {
        let _ = writeln!(
            text,
            "{} half-days had an hour without a value; they stay unknown and count for nothing.",
            made.unknown
        );
    }
    for remark in remarks {
        let _ = writeln!(text, "Note: {remark}.");
    }
    if made.climate.years() < 5 {
        text.push_str("Few years: take the shares as a first idea.\n");
    }
    text
}
