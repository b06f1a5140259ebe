//! A season as one piece of arithmetic: lots, crews, stock of covers, chances and costs, schema `plan-case/1`.
//!
//! Whole numbers only: cents, seconds, metres, per mille, milli-days of light, and slots. A slot is a part of a day,
//! usually a half-day, counted from 0 on. A lot is the smallest piece of work that is scheduled: some rows of one
//! block. These are the shapes as written; [`Case::checked`] makes a [`Checked`] of them, which all else asks for.
//!
//! [`Case::checked`]: Case::checked
//! [`Checked`]: super::Checked

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// The schema these types are written in.
pub const SCHEMA: &str = "plan-case/1";

/// One season to plan, as written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Case {
    /// Name and version of the form: [`SCHEMA`].
    pub schema: String,
    /// What the case is called.
    pub name: String,
    /// Size in a word, for people.
    #[serde(default)]
    pub scale: String,
    /// Where an invented case came from; the solver's own chance does not depend on it.
    #[serde(default)]
    pub seed: u64,
    /// Number of slots of the horizon.
    pub slots: usize,
    /// Length of a slot in seconds.
    pub slot_seconds: i64,
    /// Slots of one day.
    pub slots_per_day: usize,
    /// Slots that a forecast covers, from 0 on; later chances are what is usual.
    pub forecast_slots: usize,
    /// Slots from rolling up until the cover can be laid again.
    pub lag_roll: usize,
    /// Slots from folding aside until the cover can be laid again.
    pub lag_fold: usize,
    /// Light [milli-days] and share of the colour it brings [per mille]; linear between.
    pub curve: Vec<(i64, i64)>,
    /// Blocks in the case, for people.
    #[serde(default)]
    pub blocks: usize,
    /// Rows in the case, for people.
    #[serde(default)]
    pub rows: usize,
    /// Places with one weather and one light.
    pub sites: Vec<Site>,
    /// Crews with their machines and covers; they share nothing.
    pub pools: Vec<Pool>,
    /// The lots.
    #[serde(rename = "groups")]
    pub lots: Vec<Lot>,
}

/// Weather and light of one class of blocks, one value a slot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Site {
    /// Its name.
    pub id: String,
    /// Chance that the slot can be used for laying \[per mille\].
    pub p_lay: Vec<i64>,
    /// Chance that the slot can be used for rolling up \[per mille\].
    pub p_lift: Vec<i64>,
    /// Light on a cover \[milli-days\].
    pub light_md: Vec<i64>,
    /// What the wind is expected to cost a kilometre of cover that lies out \[cents\].
    pub hold_cents_per_km: Vec<i64>,
    /// One string a forecast member: 1 where it lets the crew lay.
    #[serde(default)]
    pub members_lay: Vec<String>,
    /// One string a forecast member: 1 where it lets the crew roll up.
    #[serde(default)]
    pub members_lift: Vec<String>,
}

/// A crew with its machines and its stock of covers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pool {
    /// Short name.
    pub id: String,
    /// Name for people.
    #[serde(default)]
    pub name: String,
    /// Where the crew works, for people; a lot names its own site.
    #[serde(default)]
    pub site: String,
    /// People in the crew.
    #[serde(default)]
    pub people: i64,
    /// Roller machines.
    #[serde(default)]
    pub machines: i64,
    /// People-seconds of each slot; 0 where nobody works.
    pub people_cap_s: Vec<i64>,
    /// Machine-seconds of each slot.
    pub machine_cap_s: Vec<i64>,
    /// Metres of cover of each family.
    pub stock_m: BTreeMap<String, i64>,
}

/// Some rows of a block that are laid and lifted together.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lot {
    /// Its name: no two lots share it.
    pub id: String,
    /// The block.
    #[serde(default)]
    pub block: String,
    /// What grows there.
    #[serde(default)]
    pub variety: String,
    /// Place of its crew in [`Case::pools`].
    pub pool: usize,
    /// Place of its weather in [`Case::sites`].
    pub site: usize,
    /// Family of covers it takes; metres of one family stand in for each other.
    pub family: String,
    /// Metres of cover.
    pub metres: i64,
    /// Pieces of cover.
    #[serde(default)]
    pub pieces: i64,
    /// Ties to fix and to loosen.
    #[serde(default)]
    pub ties: i64,
    /// Whether people walk uphill.
    #[serde(default)]
    pub hilly: bool,
    /// Worth of full colour \[cents\].
    pub value_cents: i64,
    /// First slot of picking.
    pub pick_slot: usize,
    /// Least slots between laying and lifting.
    pub min_exposure_slots: usize,
    /// Time of its tie checks in each working slot while it lies out \[people-seconds\].
    pub check_s: i64,
    /// Time of each kind of work, as if every slot were good.
    pub work: Work,
    /// Slots for laying by machine, with their cost.
    pub lay_machine: Vec<LaySlot>,
    /// Slots for laying by hand, with their cost.
    pub lay_hand: Vec<LaySlot>,
    /// Slots for lifting, with their kind and cost.
    pub lift: Vec<LiftSlot>,
    /// What lies out already, if anything.
    pub already_out: Option<Out>,
    /// Cost of leaving a lot uncovered that yesterday's plan covered \[cents\].
    pub drop_cents: i64,
    /// Cost of never lifting a lot that lies out \[cents\].
    pub stranded_cents: i64,
    /// Slots of yesterday's plan.
    pub previous: Option<Yesterday>,
}

/// Time of each kind of work on a lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Work {
    /// Laying by machine.
    pub lay_machine: Seconds,
    /// Laying by hand.
    pub lay_hand: Seconds,
    /// Rolling up by machine.
    pub lift_machine: Seconds,
    /// Folding aside.
    pub fold: Seconds,
}

/// Time of people and machines.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seconds {
    /// Of people.
    pub people_s: i64,
    /// Of machines.
    pub machine_s: i64,
}

/// A slot a lot can be laid in, and what that costs \[cents\].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct LaySlot(pub usize, pub i64);

/// A slot a lot can be lifted in, how, and what that costs \[cents\].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct LiftSlot(pub usize, pub Kind, pub i64);

/// How a cover is laid.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mode {
    /// From the roller machine.
    LayMachine,
    /// By hand.
    LayHand,
}

/// How a cover leaves the alley; 0 and 1 in files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "u8", into = "u8")]
pub enum Kind {
    /// Rolled up dry.
    Roll,
    /// Untied on one side and folded aside, in any weather.
    Fold,
}

impl TryFrom<u8> for Kind {
    type Error = &'static str;

    fn try_from(number: u8) -> Result<Self, Self::Error> {
        match number {
            0 => Ok(Self::Roll),
            1 => Ok(Self::Fold),
            _ => Err("a kind of lifting is 0 (roll up) or 1 (fold aside)"),
        }
    }
}

impl From<Kind> for u8 {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Roll => 0,
            Kind::Fold => 1,
        }
    }
}

/// What a lot that lies out has behind it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Out {
    /// Slots since it was laid.
    pub slots_before: usize,
    /// Light since it was laid \[milli-days\].
    pub light_before_md: i64,
}

/// The slots of a lot in yesterday's plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Yesterday {
    /// Laying.
    pub lay: Option<usize>,
    /// Lifting.
    pub lift: Option<usize>,
}

impl Case {
    /// Slots from lifting so until the cover can be laid again.
    pub fn lag(&self, kind: Kind) -> usize {
        match kind {
            Kind::Roll => self.lag_roll,
            Kind::Fold => self.lag_fold,
        }
    }

    /// A slot in words: the day from 0 (today) on, and the part of it.
    pub fn slot_name(&self, slot: usize) -> String {
        let per_day = self.slots_per_day.max(1);
        let (day, part) = (slot / per_day, slot % per_day);
        match (per_day, part) {
            (1, _) => format!("day {day}"),
            (2, 0) => format!("day {day} am"),
            (2, _) => format!("day {day} pm"),
            _ => format!("day {day} part {}", part + 1),
        }
    }
}

impl Lot {
    /// Time of laying so.
    pub fn lay_work(&self, mode: Mode) -> Seconds {
        match mode {
            Mode::LayMachine => self.work.lay_machine,
            Mode::LayHand => self.work.lay_hand,
        }
    }

    /// Time of lifting so.
    pub fn lift_work(&self, kind: Kind) -> Seconds {
        match kind {
            Kind::Roll => self.work.lift_machine,
            Kind::Fold => self.work.fold,
        }
    }

    /// Slots for laying so.
    pub fn lay_slots(&self, mode: Mode) -> &[LaySlot] {
        match mode {
            Mode::LayMachine => &self.lay_machine,
            Mode::LayHand => &self.lay_hand,
        }
    }
}
