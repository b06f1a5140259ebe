//! The farm as meant: site, blocks and rows, covers, ties, crew, limits, harvest dates.
//!
//! A [`Farm`] has been checked whole by `settings`; nothing below checks it again.

pub mod block;
pub mod climate;
pub mod cover;
pub mod crew;
pub mod harvest;
pub mod limits;
pub mod site;
pub mod zone;

use serde::{Deserialize, Serialize};

use block::{Block, BlockId};
use climate::Climate;
use cover::CoverSet;
use crew::{Crew, Machine, Person};
use harvest::{Blackout, HotCutting, Pick};
use limits::Limits;
use site::Site;

/// One grower's farm.
#[derive(Debug, Clone, PartialEq)]
pub struct Farm {
    /// Short name used in keys of messages and of the record, from `id` or the folder's name.
    pub id: FarmId,
    /// Where it is and how its people read numbers.
    pub site: Site,
    /// Who reads letters and who is rung when something is wrong; at least one.
    pub people: Vec<Person>,
    /// Hours and hands.
    pub crew: Crew,
    /// Machines that lay and wind; may be empty (all by hand).
    pub machines: Vec<Machine>,
    /// Stock of covers.
    pub sets: Vec<CoverSet>,
    /// Where each job stops.
    pub limits: Limits,
    /// Wages and prices for "what if missed".
    pub costs: Costs,
    /// Blocks in the grower's order.
    pub blocks: Vec<Block>,
    /// Pick dates; a block may be missing ("First pick: not known").
    pub picks: Vec<Pick>,
    /// Times in which a block may not be entered.
    pub blackouts: Vec<Blackout>,
    /// Days on which cords or cloth are cut with a hot tool; mostly none.
    pub hot_cutting: Vec<HotCutting>,
    /// What is usual for the season, if there is a table of it.
    pub climate: Option<Climate>,
}

impl Farm {
    /// The block of that name.
    pub fn block(&self, id: &BlockId) -> Option<&Block> {
        self.blocks.iter().find(|block| block.id == *id)
    }

    /// The next pick of a block that is not over by `today`: the earliest by first day.
    pub fn next_pick(&self, id: &BlockId, today: chrono::NaiveDate) -> Option<&Pick> {
        self.picks
            .iter()
            .filter(|pick| pick.block == *id && pick.last >= today)
            .min_by_key(|pick| pick.first)
    }

    /// The set of covers that serves a block, if any.
    pub fn set_of(&self, id: &BlockId) -> Option<&CoverSet> {
        self.sets.iter().find(|set| set.blocks.contains(id))
    }

    /// Who is rung when no letter comes: the first manager, else the first person.
    pub fn contact(&self) -> Option<&Person> {
        self.people
            .iter()
            .find(|person| person.role == crew::Role::Manager)
            .or(self.people.first())
    }
}

/// Short name of a farm: lower-case letters, digits and hyphens.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct FarmId(pub String);

/// Wages and prices, all in the farm's currency.
#[derive(Debug, Clone, PartialEq)]
pub struct Costs {
    /// Sign printed before an amount.
    pub currency: String,
    /// Wage of one person \[1/h\]. Assumed: 18, common practice from memory.
    pub wage_per_hour: f64,
    /// Tractor with winder \[1/h\]. Assumed: 15, common practice from memory.
    pub tractor_per_hour: f64,
    /// What a folded cover costs beside its labour: flattening, slower picking \[1/m\]. Assumed: 0.12.
    pub fold_extra_per_m: f64,
    /// What full colour is worth over none \[1/m of cover\]. Assumed: 0.60; the plan weighs work against it.
    pub colour_value_per_m: f64,
    /// Tying and mending again after the wind has beaten the ties \[1/m of cover\]. Assumed: 0.05.
    pub retie_per_m: f64,
}

impl Default for Costs {
    fn default() -> Self {
        Self {
            currency: "$".to_owned(),
            wage_per_hour: 18.0,
            tractor_per_hour: 15.0,
            fold_extra_per_m: 0.12,
            colour_value_per_m: 0.60,
            retie_per_m: 0.05,
        }
    }
}

/// The jobs of the trade that need weather. A move is a lift followed by a lay.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Job {
    /// Unroll and tie a cover.
    Lay,
    /// Walk the ties and mend them.
    Check,
    /// Untie one side and turn the cover over to the other.
    Fold,
    /// Untie and wind up.
    Lift,
    /// Spread a wet piece to dry.
    Redry,
}

impl Job {
    /// All five, in the order of the season.
    pub const ALL: [Self; 5] = [Self::Lay, Self::Check, Self::Fold, Self::Lift, Self::Redry];
}
