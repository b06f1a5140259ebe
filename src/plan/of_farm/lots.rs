//! Lots: rows of one block that are laid and lifted together, small enough for one half-day.

use chrono::{DateTime, NaiveDate, Utc};

use super::costs::{self, Effort};
use crate::farm::Farm;
use crate::farm::block::{Block, Rows};
use crate::farm::harvest::Pick;
use crate::record::Ground;

/// Metres of cover in a common lot. Assumed: what a crew moves in half a day.
const LOT_M: f64 = 1000.0;
/// Chance at which a lot shall still fit a half-day. Assumed.
const FITS_AT: f64 = 0.65;

/// Where a lot's cover is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// On its roll.
    Stored,
    /// In the alley, tied.
    Out {
        /// Since when.
        since: DateTime<Utc>,
    },
    /// In the alley, folded aside.
    Folded {
        /// Since when it was laid.
        since: DateTime<Utc>,
    },
}

impl Standing {
    /// Since when it lies out.
    pub fn since(self) -> Option<DateTime<Utc>> {
        match self {
            Self::Stored => None,
            Self::Out { since } | Self::Folded { since } => Some(since),
        }
    }
}

/// Rows of one block in one state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Segment<'a> {
    /// The rows.
    pub rows: Rows,
    /// Where their covers are.
    pub standing: Standing,
    /// The picking they work towards.
    pub pick: Option<&'a Pick>,
}

/// The lots of a block, in row order.
pub(super) fn segments<'a>(farm: &'a Farm, ground: &Ground, block: &Block, today: NaiveDate) -> Vec<Segment<'a>> {
    let pick = farm.next_pick(&block.id, today);
    let mut found = Vec::new();
    let mut next = 1;
    let all = block.all_rows().last;
    let mut push = |rows: Rows, standing| {
        found.extend(
            split(farm, block, rows)
                .into_iter()
                .map(|rows| Segment { rows, standing, pick }),
        );
    };
    for lying in ground.lying(&block.id) {
        let last = lying.rows.last.min(all);
        if lying.rows.first > last {
            continue;
        }
        if next < lying.rows.first {
            let rows = Rows {
                first: next,
                last: lying.rows.first - 1,
            };
            push(rows, Standing::Stored);
        }
        let standing = if lying.folded {
            Standing::Folded { since: lying.laid }
        } else {
            Standing::Out { since: lying.laid }
        };
        let rows = Rows {
            first: lying.rows.first,
            last,
        };
        push(rows, standing);
        next = last + 1;
    }
    if next <= all && !block.rows.is_empty() {
        push(Rows { first: next, last: all }, Standing::Stored);
    }
    found
}

/// Cuts rows into lots of about equal metres, in row order.
fn split(farm: &Farm, block: &Block, rows: Rows) -> Vec<Rows> {
    let metres = block.cover_in(rows).0;
    let effort = Effort::of(farm, &costs::rates(farm), block, rows);
    let crew = &farm.crew;
    let morning = (crew.break_start - crew.start).num_seconds();
    let afternoon = (crew.end - crew.break_end).num_seconds();
    let slot_s = costs::real(morning.max(afternoon).max(1)) * FITS_AT;
    let people = slot_s * f64::from(crew.people.max(1));
    let machines = slot_s * costs::real(i64::try_from(farm.machines.len().max(1)).unwrap_or(1));
    let busiest = [effort.lay(), effort.work.lift_machine]
        .iter()
        .map(|work| (costs::real(work.people_s) / people).max(costs::real(work.machine_s) / machines))
        .fold(0.0, f64::max);
    let parts = (metres / LOT_M)
        .round()
        .max(busiest.ceil())
        .max(1.0)
        .min(f64::from(rows.count()));
    let mut found = Vec::new();
    let (mut first, mut sum) = (rows.first, 0.0);
    let mut cut = 1.0;
    for row in rows.numbers() {
        sum += block.cover_in(Rows { first: row, last: row }).0;
        if row == rows.last || sum + 1e-9 >= metres * cut / parts {
            found.push(Rows { first, last: row });
            first = row + 1;
            while sum + 1e-9 >= metres * cut / parts {
                cut += 1.0;
            }
        }
    }
    found
}
