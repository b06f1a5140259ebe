//! Rolls of each set of covers, and the list of cuts in the order of cutting.

use super::code::code;
use super::cutting;
use super::length::Decimetres;
use super::{BlockTakeoff, Part, WORTH_KEEPING};
use crate::farm::Farm;
use crate::farm::cover::SetId;
use crate::units::Metres;

/// One set of covers counted; its parts may come from any of its rolls.
#[derive(Debug, Clone, PartialEq)]
pub struct SetTakeoff {
    /// The set, in words "the family" of its pieces.
    pub set: SetId,
    /// Width of the cloth.
    pub width: Metres,
    /// Length of one roll.
    pub roll_length: Decimetres,
    /// Metres that the farm says it has.
    pub stock: Decimetres,
    /// Metres that all its blocks take that were counted, overlaps included.
    pub cover: Decimetres,
    /// Parts that are a whole roll: labelled, not cut.
    pub uncut: Vec<Part>,
    /// Rolls that are cut, in the order of cutting.
    pub rolls: Vec<Roll>,
    /// Rolls that nobody could do without, uncut ones included.
    pub least_rolls: usize,
    /// Weight of the cloth of one roll \[kg\], its core not counted.
    pub roll_kg: f64,
}

impl SetTakeoff {
    /// Rolls, cut or not.
    pub fn roll_count(&self) -> usize {
        self.uncut.len() + self.rolls.len()
    }

    /// Offcuts worth keeping, longest first.
    pub fn kept(&self) -> Vec<Decimetres> {
        let mut kept: Vec<Decimetres> = self.rolls.iter().filter_map(Roll::kept).collect();
        kept.sort_unstable_by(|a, b| b.cmp(a));
        kept
    }

    /// Offcuts too short to keep, together.
    pub fn waste(&self) -> Decimetres {
        let waste = self.rolls.iter().filter(|roll| roll.kept().is_none());
        waste.map(|roll| roll.left).sum()
    }
}

/// One roll that is cut.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Roll {
    /// Its number in the set's cut list, from 1.
    pub number: usize,
    /// The cuts, longest first: after a wrong cut a shorter part can still be made of it.
    pub cuts: Vec<Cut>,
    /// What is left over.
    pub left: Decimetres,
    /// The code on the label of what is left over: block number 00, then the number of the set and of the roll.
    pub code: String,
}

impl Roll {
    /// What is left over, if it is worth keeping.
    pub fn kept(&self) -> Option<Decimetres> {
        (self.left >= WORTH_KEEPING).then_some(self.left)
    }
}

/// One cut.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cut {
    /// The part cut off.
    pub part: Part,
    /// Where on the roll it ends, measured from the roll's outer end.
    pub at: Decimetres,
}

pub(super) fn of(farm: &Farm, blocks: &[BlockTakeoff]) -> Vec<SetTakeoff> {
    let mut found = Vec::new();
    for (number, set) in (1..).zip(&farm.sets) {
        let served: Vec<&BlockTakeoff> = blocks.iter().filter(|block| block.set == set.id).collect();
        if served.is_empty() {
            continue;
        }
        let roll = Decimetres::nearest(set.roll_length);
        let parts = served.iter().flat_map(|block| &block.parts);
        let (uncut, short): (Vec<Part>, Vec<Part>) = parts.cloned().partition(|part| part.length == roll);
        let lengths: Vec<u64> = short.iter().map(|part| part.length.0).collect();
        let mass = served
            .first()
            .and_then(|block| farm.block(&block.block))
            .map_or(0.0, |block| block.alley.cover_mass_kg_m2);
        found.push(SetTakeoff {
            set: set.id.clone(),
            width: set.width,
            roll_length: roll,
            stock: Decimetres::nearest(set.length),
            cover: served.iter().map(|block| block.quantities.cover).sum(),
            least_rolls: uncut.len() + cutting::least_rolls(&lengths, roll.0),
            rolls: rolls(&short, cutting::cut(&lengths, roll.0), roll, number),
            uncut,
            roll_kg: set.width.0 * set.roll_length.0 * mass,
        });
    }
    found
}

/// Fullest rolls first, so that the one with the long offcut is opened last.
fn rolls(parts: &[Part], places: Vec<Vec<usize>>, length: Decimetres, set: u32) -> Vec<Roll> {
    let mut rolls: Vec<Roll> = places
        .into_iter()
        .map(|places| {
            let mut at = Decimetres(0);
            let cuts: Vec<Cut> = places
                .into_iter()
                .filter_map(|place| parts.get(place))
                .map(|part| {
                    at = at + part.length;
                    Cut { part: part.clone(), at }
                })
                .collect();
            Roll {
                number: 0,
                code: String::new(),
                cuts,
                left: Decimetres(length.0.saturating_sub(at.0)),
            }
        })
        .collect();
    rolls.sort_by_key(|roll| roll.left);
    for (number, roll) in (1..).zip(&mut rolls) {
        roll.number = number;
        roll.code = code(0, set, number);
    }
    rolls
}
