//! What each block needs next, before any weather: job, rows, hands, and the days that make sense.

use chrono::{DateTime, Days, NaiveDate, Utc};

use super::effort::{effort, ties_in};
use super::{Held, IfMissed, OutView, PickView};
use crate::farm::block::{Block, BlockId, Rows};
use crate::farm::harvest::Pick;
use crate::farm::{Farm, Job};
use crate::record::{Ground, Lying};
use crate::units::{Hours, Metres};

/// One job a block needs.
#[derive(Debug, Clone, PartialEq)]
pub struct Need {
    /// The block.
    pub block: BlockId,
    /// The job.
    pub job: Job,
    /// Rows it is about.
    pub rows: Rows,
    /// Metres of cover.
    pub metres: Metres,
    /// Rolls to carry.
    pub rolls: u32,
    /// People it takes.
    pub people: u32,
    /// How long it takes them.
    pub length: Hours,
    /// First day on which it makes sense.
    pub from: NaiveDate,
    /// Last sensible day.
    pub last_day: Option<NaiveDate>,
    /// Last day on which it is possible at all, if picking keeps its date.
    pub possible_until: Option<NaiveDate>,
    /// Why it cannot be done although the weather may allow it.
    pub held: Option<Held>,
    /// What is left if all is missed.
    pub if_missed: IfMissed,
}

/// Least days out that give colour at all, and the target. Common practice: 3 weeks at the very least.
const LEAST_DAYS_OUT: u64 = 7;
const TARGET_DAYS_OUT: u64 = 21;
/// Assumed: laying more than seven weeks before picking gains nothing.
const EARLIEST_LAY_DAYS: u64 = 49;
/// Assumed: lifting more than ten days before picking gives away colour.
const EARLIEST_LIFT_DAYS: u64 = 10;
/// A job longer than this is split by rows, so that it fits one half-day. Assumed.
const HALF_DAY_H: f64 = 4.0;

/// The needs of all blocks, in the farm's order, the next job of a block first.
pub fn needs(farm: &Farm, ground: &Ground, now: DateTime<Utc>) -> Vec<Need> {
    let today = farm.site.zone.day(now);
    farm.blocks
        .iter()
        .flat_map(|block| block_needs(farm, ground, block, today))
        .collect()
}

/// Picking of a block as seen from `today`.
pub fn pick_view(pick: &Pick, today: NaiveDate) -> PickView {
    PickView {
        first: pick.first,
        last: pick.last,
        either_way: pick.either_way_on(today),
    }
}

/// What lies out in a block.
pub fn out_view(ground: &Ground, block: &BlockId, now: DateTime<Utc>) -> Option<OutView> {
    let lying = ground.lying(block);
    let first = lying.first()?;
    let since = ground.out_since(block)?;
    Some(OutView {
        rows: Rows {
            first: first.rows.first,
            last: lying.last().unwrap_or(first).rows.last,
        },
        since,
        days: (now - since).num_days(),
        folded: lying.iter().all(|lying| lying.folded),
    })
}

fn block_needs(farm: &Farm, ground: &Ground, block: &Block, today: NaiveDate) -> Vec<Need> {
    let pick = farm.next_pick(&block.id, today);
    let lying = ground.lying(&block.id);
    let mut needs = Vec::new();
    if lying.is_empty() {
        needs.extend(pick.and_then(|pick| lay(farm, ground, block, pick, today)));
    } else {
        needs.extend(lift(farm, block, lying, pick, today));
        needs.extend(fold(farm, block, lying, pick, today));
        needs.push(check(farm, block, lying, today));
    }
    needs.extend(redry(farm, ground, block, today));
    needs
}

fn lay(farm: &Farm, ground: &Ground, block: &Block, pick: &Pick, today: NaiveDate) -> Option<Need> {
    let ripe = pick.earliest(today) - Days::new(u64::from(block.cover_advance_days));
    let from = ripe.checked_sub_days(Days::new(EARLIEST_LAY_DAYS))?;
    let target = ripe.checked_sub_days(Days::new(TARGET_DAYS_OUT))?;
    let last = ripe.checked_sub_days(Days::new(LEAST_DAYS_OUT))?;
    if pick.first <= today {
        return None;
    }
    let held = if last < today {
        Some(Held::TooLate)
    } else {
        stock(farm, ground, block)
    };
    // A short plan of 7 to 20 days is still worth laying once the target has passed.
    let last_day = if target >= today { target } else { last };
    let rows = half_day(farm, block, Job::Lay, block.all_rows());
    Some(need(
        farm,
        block,
        Job::Lay,
        rows,
        Dates {
            from,
            last_day: Some(last_day),
            possible_until: Some(last),
        },
        held,
        IfMissed::LessColour,
    ))
}

/// Whether enough metres of the set that serves the block are on their rolls.
fn stock(farm: &Farm, ground: &Ground, block: &Block) -> Option<Held> {
    let Some(set) = farm.set_of(&block.id) else {
        return Some(Held::NoStock);
    };
    let out = |other: &Block| {
        ground
            .lying(&other.id)
            .iter()
            .map(|lying| other.cover_in(lying.rows).0)
            .sum::<f64>()
    };
    let sharing = farm.blocks.iter().filter(|other| set.blocks.contains(&other.id));
    let used: f64 = sharing.clone().map(out).sum();
    // The stock is cut to length; a metre of slack is no lack.
    if used + block.cover().0 <= set.length.0 + 1.0 {
        return None;
    }
    let with = sharing
        .filter(|other| out(other) > 0.0)
        .min_by_key(|other| ground.out_since(&other.id))
        .map(|other| other.id.clone());
    if with.is_none() {
        Some(Held::NoStock)
    } else {
        Some(Held::NoRolls { with })
    }
}

fn lift(farm: &Farm, block: &Block, lying: &[Lying], pick: Option<&Pick>, today: NaiveDate) -> Option<Need> {
    let rows = span(lying)?;
    let Some(pick) = pick else {
        let over = farm.picks.iter().any(|pick| pick.block == block.id);
        // Without a date nothing presses; after picking the cover only waits to be stored.
        let dates = Dates {
            from: if over { today } else { today + Days::new(365) },
            last_day: None,
            possible_until: None,
        };
        return Some(need(
            farm,
            block,
            Job::Lift,
            half_day(farm, block, Job::Lift, rows),
            dates,
            None,
            IfMissed::Nothing,
        ));
    };
    let ripe = pick.earliest(today) - Days::new(u64::from(block.cover_advance_days));
    let before_picking = pick.first.pred_opt()?;
    if before_picking < today {
        return None;
    }
    let dates = Dates {
        from: pick.first.checked_sub_days(Days::new(EARLIEST_LIFT_DAYS))?,
        last_day: Some(ripe.pred_opt()?.max(today)),
        possible_until: Some(before_picking),
    };
    let rows = half_day(farm, block, Job::Lift, rows);
    let missed = IfMissed::FoldAside {
        day: pick.first,
        extra_cost: fold_cost(farm, block, rows),
    };
    Some(need(farm, block, Job::Lift, rows, dates, None, missed))
}

/// Folding is the next job only when picking is upon us; before, it is the way out.
fn fold(farm: &Farm, block: &Block, lying: &[Lying], pick: Option<&Pick>, today: NaiveDate) -> Option<Need> {
    let pick = pick?;
    if lying.iter().all(|lying| lying.folded) {
        return None;
    }
    let from = pick.earliest(today);
    let dates = Dates {
        from,
        last_day: Some(pick.first.max(today)),
        possible_until: Some(pick.last.max(today)),
    };
    Some(need(
        farm,
        block,
        Job::Fold,
        span(lying)?,
        dates,
        None,
        IfMissed::Nothing,
    ))
}

fn check(farm: &Farm, block: &Block, lying: &[Lying], today: NaiveDate) -> Need {
    let oldest = lying.iter().map(|lying| lying.checked).min();
    let due = oldest
        .map(|checked| farm.site.zone.day(checked) + Days::new(u64::from(block.check_every_days)))
        .map_or(today, |due| due.max(today));
    let rows = span(lying).unwrap_or_else(|| block.all_rows());
    let dates = Dates {
        from: due,
        last_day: Some(due + Days::new(2)),
        possible_until: None,
    };
    need(farm, block, Job::Check, rows, dates, None, IfMissed::Nothing)
}

fn redry(farm: &Farm, ground: &Ground, block: &Block, today: NaiveDate) -> Option<Need> {
    let rolls = ground.damp.iter().filter(|roll| roll.block == block.id);
    let rows = rolls.map(|roll| roll.rows).reduce(|a, b| Rows {
        first: a.first.min(b.first),
        last: a.last.max(b.last),
    })?;
    let dates = Dates {
        from: today,
        last_day: None,
        possible_until: None,
    };
    Some(need(farm, block, Job::Redry, rows, dates, None, IfMissed::Nothing))
}

/// What folding costs beyond a dry lift: flattening and slower picking, and its labour three times.
fn fold_cost(farm: &Farm, block: &Block, rows: Rows) -> f64 {
    let metres = block.cover_in(rows);
    let folding = effort(farm, Job::Fold, metres, tie_count(block, rows));
    let lifting = effort(farm, Job::Lift, metres, tie_count(block, rows));
    let labour = |hours: Hours, people: u32| hours.0 * f64::from(people) * farm.costs.wage_per_hour;
    let fold = farm.costs.fold_extra_per_m * metres.0 + 3.0 * labour(folding.length, folding.people);
    let lift = labour(lifting.length, lifting.people) + lifting.length.0 * farm.costs.tractor_per_hour;
    (fold - lift).max(0.0)
}

/// The same need about other rows of its block.
pub(super) fn for_rows(farm: &Farm, need: &Need, rows: Rows) -> Need {
    let Some(block) = farm.block(&need.block).filter(|_| rows != need.rows) else {
        return need.clone();
    };
    let metres = block.cover_in(rows);
    let effort = effort(farm, need.job, metres, tie_count(block, rows));
    let if_missed = match need.if_missed {
        IfMissed::FoldAside { day, .. } => IfMissed::FoldAside {
            day,
            extra_cost: fold_cost(farm, block, rows),
        },
        other @ (IfMissed::LessColour | IfMissed::Nothing) => other,
    };
    Need {
        rows,
        metres,
        rolls: rolls(farm, block, rows),
        people: effort.people,
        length: effort.length,
        if_missed,
        ..need.clone()
    }
}

struct Dates {
    from: NaiveDate,
    last_day: Option<NaiveDate>,
    possible_until: Option<NaiveDate>,
}

fn need(
    farm: &Farm,
    block: &Block,
    job: Job,
    rows: Rows,
    dates: Dates,
    held: Option<Held>,
    if_missed: IfMissed,
) -> Need {
    let metres = block.cover_in(rows);
    let effort = effort(farm, job, metres, tie_count(block, rows));
    Need {
        block: block.id.clone(),
        job,
        rows,
        metres,
        rolls: rolls(farm, block, rows),
        people: effort.people,
        length: effort.length,
        from: dates.from,
        last_day: dates.last_day,
        possible_until: dates.possible_until,
        held,
        if_missed,
    }
}

/// Rolls of these rows: one a row, more where the piece is longer than a roll.
fn rolls(farm: &Farm, block: &Block, rows: Rows) -> u32 {
    let roll = farm.set_of(&block.id).map_or(80.0, |set| set.roll_length.0).max(1.0);
    pieces(block, rows)
        .map(|piece| {
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "a row has few rolls"
            )]
            let parts = (piece.0 / roll - 1e-9).ceil().max(1.0) as u32;
            parts
        })
        .sum()
}

fn tie_count(block: &Block, rows: Rows) -> f64 {
    ties_in(block, row_lengths(block, rows))
}

fn row_lengths(block: &Block, rows: Rows) -> impl Iterator<Item = Metres> + '_ {
    rows.numbers()
        .filter_map(|row| block.rows.get(usize::try_from(row).ok()?.checked_sub(1)?).copied())
}

fn pieces(block: &Block, rows: Rows) -> impl Iterator<Item = Metres> + '_ {
    row_lengths(block, rows).map(|row| Block::piece(row, block.end_setback))
}

/// The first rows that lie out without a hole between them.
fn span(lying: &[Lying]) -> Option<Rows> {
    let first = lying.first()?.rows;
    let together = lying.iter().skip(1).fold(first, |all, next| {
        if next.rows.first == all.last + 1 {
            Rows {
                last: next.rows.last,
                ..all
            }
        } else {
            all
        }
    });
    Some(together)
}

/// The first rows that one half-day holds; all of them if they fit.
fn half_day(farm: &Farm, block: &Block, job: Job, rows: Rows) -> Rows {
    let fits = |last: u32| {
        let part = Rows {
            first: rows.first,
            last,
        };
        effort(farm, job, block.cover_in(part), tie_count(block, part)).length.0 <= HALF_DAY_H
    };
    let last = (rows.first..=rows.last)
        .rev()
        .find(|last| fits(*last))
        .unwrap_or(rows.first);
    Rows {
        first: rows.first,
        last,
    }
}
