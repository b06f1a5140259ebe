//! Why a job stands where it stands in a plan, what the next best costs, and what is left if it is missed.

mod hindrance;
mod job;
mod words;

use serde::Serialize;

use super::Checked;
use super::board::Board;
use super::case::Lot;
use super::costs::Rates;
use super::prices::{Bound, bound};
use super::schedule::{Entry, Schedule};
use super::yard::{Choice, Yard};

pub use hindrance::{Hindrance, Shared};
pub use job::{Held, JobWhy, Ranked, Reason, ReasonCode};

/// What can be said of one lot in a plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Why {
    /// The lot.
    pub lot: String,
    /// Its block.
    pub block: String,
    /// Whether it lies out already.
    pub lies_out: bool,
    /// What the plan does with it.
    pub entry: Option<Entry>,
    /// What it earns so \[cents\].
    pub profit_cents: i64,
    /// Its laying, if that is planned.
    pub lay: Option<JobWhy>,
    /// Its lifting, if that is planned.
    pub lift: Option<JobWhy>,
    /// Why it is left, if it is.
    pub hindrance: Option<Hindrance>,
    /// All of it in words.
    pub sentences: Vec<String>,
}

/// A plan that can be asked.
#[derive(Debug)]
pub struct Inquiry<'a> {
    case: &'a Checked,
    plan: &'a Schedule,
    rates: Rates,
    yards: Vec<(Yard, Bound)>,
}

/// One lot, taken off the board of an otherwise full plan.
struct Subject<'a> {
    case: &'a Checked,
    rates: &'a Rates,
    lot: &'a Lot,
    yard: &'a Yard,
    bound: &'a Bound,
    board: Board<'a>,
    /// Place in the yard.
    at: usize,
    choice: Choice,
}

impl<'a> Inquiry<'a> {
    /// Makes a plan ready to be asked; `rates` tell what a failed call-out costs.
    pub fn new(case: &'a Checked, plan: &'a Schedule, rates: Rates) -> Self {
        let yards = (0..case.pools.len()).map(|pool| {
            let yard = Yard::of(case, pool);
            let bound = bound(&yard);
            (yard, bound)
        });
        Self {
            case,
            plan,
            rates,
            yards: yards.collect(),
        }
    }

    /// What can be said of the lot called `id`; `None` if there is no such lot, or the plan asks for a job of it that
    /// is not offered.
    pub fn why(&self, id: &str) -> Option<Why> {
        let subject = self.subject(id)?;
        let planned = self.plan.entry(id);
        let lay = subject.lay();
        let lift = subject.lift();
        let hindrance = planned.is_none().then(|| subject.hindrance());
        let mut why = Why {
            lot: id.to_owned(),
            block: subject.lot.block.clone(),
            lies_out: subject.lot.already_out.is_some(),
            entry: planned,
            profit_cents: subject.cents(subject.profit()),
            lay,
            lift,
            hindrance,
            sentences: Vec::new(),
        };
        why.sentences = words::sentences(&why, &|slot| self.case.slot_name(slot));
        Some(why)
    }

    fn subject(&self, id: &str) -> Option<Subject<'_>> {
        let place = self.case.lots.iter().position(|lot| lot.id == id)?;
        let lot = self.case.lots.get(place)?;
        let (yard, bound) = self.yards.get(lot.pool)?;
        let mut board = Board::new(yard);
        let mut found = None;
        for (at, one) in yard.lots.iter().enumerate() {
            let name = &self.case.lots.get(one.place)?.id;
            let choice = match self.plan.entry(name) {
                Some(entry) => Some(one.choice(entry)?),
                None => None,
            };
            board.take(at);
            if one.place == place {
                found = Some((at, choice));
            } else {
                board.put(at, choice);
            }
        }
        let (at, choice) = found?;
        Some(Subject {
            case: self.case,
            rates: &self.rates,
            lot,
            yard,
            bound,
            board,
            at,
            choice,
        })
    }
}

impl Subject<'_> {
    fn profit(&self) -> f64 {
        self.yard.lots.get(self.at).map_or(0.0, |lot| lot.profit(self.choice))
    }

    #[expect(
        clippy::cast_possible_truncation,
        reason = "whole cents below 2^53; `as` keeps to the range"
    )]
    fn cents(&self, cents: f64) -> i64 {
        cents.round() as i64
    }
}
