//! The plan of the season in the farm's own words: which rows are laid and lifted on which half-day, with whose rolls.

use std::collections::{BTreeMap, VecDeque};

use chrono::NaiveDate;

use super::advice::{Advice, advice};
use super::{Before, FarmCase, FarmLot, HalfDay, Inputs, LeftOut, Standing, case_of};
use crate::farm::block::BlockId;
use crate::plan::season::case::{Kind, Mode};
use crate::plan::season::{Entry, Fault, solve};
use crate::units::Megajoules;

/// Tries a lot. Assumed: enough for a farm within a tenth of a second; the bound says what is left.
const TRIES_A_LOT: u64 = 300;

/// The season of one farm, planned.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonPlan {
    /// Day of the plan.
    pub today: NaiveDate,
    /// Every lot that could be planned, in the farm's order.
    pub lots: Vec<PlannedLot>,
    /// What could not be planned, and why.
    pub left_out: Vec<LeftOut>,
    /// What the plan is worth \[cents\].
    pub value_cents: i64,
    /// No plan is worth more \[cents\].
    pub bound_cents: i64,
    /// Whether the chances beyond the forecast are the coarse ones for anywhere.
    pub coarse: bool,
    /// The case and its solution, to be asked why.
    pub case: FarmCase,
}

/// One lot of the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct PlannedLot {
    /// Its name in the case: block and first row.
    pub id: String,
    /// What it is.
    pub lot: FarmLot,
    /// When it is laid; `None` if it lies out or is left uncovered.
    pub lay: Option<HalfDay>,
    /// Whether it is laid by hand.
    pub by_hand: bool,
    /// When it is lifted or folded aside; `None` if it is left uncovered, or not lifted within the horizon.
    pub lift: Option<HalfDay>,
    /// Whether it ends folded aside.
    pub fold: bool,
    /// Whole days out when it is lifted.
    pub days_at_lift: Option<i64>,
    /// Light since laying when it is lifted.
    pub light_at_lift: Option<Megajoules>,
    /// Blocks whose rolls it takes, if none are free before.
    pub rolls_from: Vec<BlockId>,
    /// For a cover that lies out: go today, or wait.
    pub advice: Option<Advice>,
}

impl SeasonPlan {
    /// What tomorrow's plan is held to, by lot id.
    pub fn as_before(&self) -> BTreeMap<String, Before> {
        let of = |planned: &PlannedLot| {
            let before = Before {
                lay: planned.lay,
                lift: planned.lift,
            };
            (before.lay.is_some() || before.lift.is_some()).then(|| (planned.id.clone(), before))
        };
        self.lots.iter().filter_map(of).collect()
    }

    /// The lots of a block, in row order.
    pub fn of_block<'a>(&'a self, block: &'a BlockId) -> impl Iterator<Item = &'a PlannedLot> {
        self.lots.iter().filter(move |planned| planned.lot.block == *block)
    }

    /// Family of covers of a lot.
    pub fn family(&self, planned: &PlannedLot) -> Option<&str> {
        let lot = self.case.case.lots.iter().find(|lot| lot.id == planned.id)?;
        Some(lot.family.as_str())
    }

    /// Family of covers of a block that is planned at all.
    pub fn family_of_block(&self, block: &BlockId) -> Option<&str> {
        self.of_block_any(block).and_then(|planned| self.family(planned))
    }

    fn of_block_any(&self, block: &BlockId) -> Option<&PlannedLot> {
        self.lots.iter().find(|planned| planned.lot.block == *block)
    }

    /// Rows of a block that could not be planned, and why.
    pub fn why_not<'a>(&'a self, block: &'a BlockId) -> impl Iterator<Item = &'a LeftOut> {
        self.left_out.iter().filter(move |left| left.block == *block)
    }
}

impl PlannedLot {
    /// Whether the plan leaves it without a cover.
    pub fn is_left_uncovered(&self) -> bool {
        self.lot.standing == Standing::Stored && self.lay.is_none()
    }
}

/// Plans the season of a farm.
///
/// # Errors
/// The mistakes of the case, which no checked farm should make; the letter goes out without a season's plan then.
pub fn plan_season(inputs: &Inputs<'_>) -> Result<SeasonPlan, Vec<Fault>> {
    let made = case_of(inputs);
    let checked = made.case.clone().checked()?;
    let solved = solve(&checked, Some(TRIES_A_LOT));
    let entries: Vec<Option<Entry>> = made
        .case
        .lots
        .iter()
        .map(|lot| solved.schedule.entry(&lot.id))
        .collect();
    let rolls = rolls_from(&made, &entries);
    let lots = made
        .case
        .lots
        .iter()
        .zip(&made.lots)
        .zip(entries.iter().zip(rolls))
        .map(|((lot, of_farm), (entry, rolls_from))| {
            let lay = entry.and_then(|entry| entry.lay);
            let lift = entry.map(|entry| entry.lift);
            let began = of_farm
                .standing
                .since()
                .map(|since| inputs.farm.site.zone.day(since))
                .or(lay.map(|slot| made.half_day(slot).day));
            let ends = lift.map(|slot| made.half_day(slot).day);
            PlannedLot {
                id: lot.id.clone(),
                lot: of_farm.clone(),
                lay: lay.map(|slot| made.half_day(slot)),
                by_hand: entry.and_then(|entry| entry.mode) == Some(Mode::LayHand),
                lift: lift.map(|slot| made.half_day(slot)),
                fold: entry.is_some_and(|entry| entry.kind == Kind::Fold),
                days_at_lift: began.zip(ends).map(|(began, ends)| (ends - began).num_days()),
                light_at_lift: lift.and_then(|lift| light(&made, lot, lay, lift)),
                rolls_from,
                advice: advice(inputs.farm, &made, lot),
            }
        })
        .collect();
    Ok(SeasonPlan {
        today: made.today,
        lots,
        left_out: made.left_out.clone(),
        value_cents: solved.objective_cents,
        bound_cents: solved.bound_cents,
        coarse: inputs.usual.is_coarse(),
        case: made,
    })
}

/// Light from laying to lifting.
fn light(made: &FarmCase, lot: &crate::plan::season::case::Lot, lay: Option<usize>, lift: usize) -> Option<Megajoules> {
    let site = made.case.sites.get(lot.site)?;
    let reference = *made.reference_mj.get(lot.site)?;
    let from = lay.map_or(0, |lay| lay + 1);
    let ahead: i64 = site.light_md.get(from..lift)?.iter().sum();
    let before = lot.already_out.map_or(0, |out| out.light_before_md);
    Some(Megajoules(super::costs::real(before + ahead) / 1000.0 * reference))
}

/// Metres of one family that come off a block.
struct Lifted {
    slot: usize,
    metres: i64,
    block: BlockId,
}

/// For each lot, the blocks whose rolls it takes: what lies free in the store goes first, then what was lifted first.
fn rolls_from(made: &FarmCase, entries: &[Option<Entry>]) -> Vec<Vec<BlockId>> {
    let case = &made.case;
    let mut found = vec![Vec::new(); case.lots.len()];
    let Some(pool) = case.pools.first() else { return found };
    for (family, stock) in &pool.stock_m {
        let own: Vec<usize> = (0..case.lots.len())
            .filter(|place| case.lots.get(*place).is_some_and(|lot| lot.family == *family))
            .collect();
        let out: i64 = own
            .iter()
            .filter_map(|place| case.lots.get(*place))
            .filter(|lot| lot.already_out.is_some())
            .map(|lot| lot.metres)
            .sum();
        let mut free = (stock - out).max(0);
        let mut lifted: Vec<Lifted> = own
            .iter()
            .filter_map(|place| {
                let (lot, entry) = (case.lots.get(*place)?, (*entries.get(*place)?)?);
                Some(Lifted {
                    slot: entry.lift + case.lag(entry.kind),
                    metres: lot.metres,
                    block: BlockId(lot.block.clone()),
                })
            })
            .collect();
        lifted.sort_by_key(|lifted| lifted.slot);
        let mut lifted: VecDeque<Lifted> = lifted.into();
        let mut lays: Vec<(usize, usize)> = own
            .iter()
            .filter_map(|place| Some(((*entries.get(*place)?)?.lay?, *place)))
            .collect();
        lays.sort_unstable();
        for (_, place) in lays {
            let Some(lot) = case.lots.get(place) else { continue };
            let mut wanted = lot.metres;
            let taken = wanted.min(free);
            free -= taken;
            wanted -= taken;
            // Stock is cut to length; a metre of slack is no roll.
            while wanted > 1 {
                let Some(next) = lifted.front_mut() else { break };
                let taken = wanted.min(next.metres);
                next.metres -= taken;
                wanted -= taken;
                if let Some(from) = found.get_mut(place)
                    && !from.contains(&next.block)
                {
                    from.push(next.block.clone());
                }
                if next.metres <= 1 {
                    lifted.pop_front();
                }
            }
        }
    }
    found
}
