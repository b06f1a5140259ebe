//! The take-off: what covers, rolls, ties and hours a season takes, per block and in total.
//!
//! Every row has its own piece: the row less the set-back at both ends. A piece longer than a roll has parts that
//! overlap by half a metre. Lengths are whole decimetres throughout.

pub mod code;
mod cutting;
mod length;
mod parts;
mod sets;

use crate::farm::block::{Block, BlockId};
use crate::farm::cover::{CoverSet, SetId};
use crate::farm::{Farm, Job};
use crate::plan::effort::{crew_hours, person_hours, tie_work};
use crate::units::{Hours, Metres};

pub use length::Decimetres;
pub use parts::OVERLAP;
pub use sets::{Cut, Roll, SetTakeoff};

/// Offcuts from this length on are kept, labelled, as stock. Assumed: 15 m, common practice from memory.
pub const WORTH_KEEPING: Decimetres = Decimetres(150);
/// Two widths are one if they differ by less \[m\].
const SAME_WIDTH_M: f64 = 0.051;

/// Everything counted.
#[derive(Debug, Clone, PartialEq)]
pub struct Takeoff {
    /// Blocks in the farm's order.
    pub blocks: Vec<BlockTakeoff>,
    /// Sets of covers in the farm's order, with their rolls and cut lists.
    pub sets: Vec<SetTakeoff>,
    /// All blocks together.
    pub total: Quantities,
}

/// One block counted.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockTakeoff {
    /// Its name.
    pub block: BlockId,
    /// What grows there.
    pub variety: String,
    /// The set that serves it.
    pub set: SetId,
    /// Its parts, in order of rows and then along the row.
    pub parts: Vec<Part>,
    /// What it takes.
    pub quantities: Quantities,
}

/// One part: a length of cover on a core of its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// The block.
    pub block: BlockId,
    /// Number of the row, from 1.
    pub row: u32,
    /// Number of the part along the row, from 1.
    pub part: usize,
    /// Parts of this row.
    pub of: usize,
    /// Its length.
    pub length: Decimetres,
    /// The code on its labels; [`code`] says how it is made.
    pub code: String,
}

/// Amounts of one block or of all.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Quantities {
    /// Rows.
    pub rows: usize,
    /// Parts; each has a core, and a label at both ends.
    pub parts: usize,
    /// Cover, overlaps included.
    pub cover: Decimetres,
    /// Parts that are a whole roll.
    pub uncut: usize,
    /// Length of the other parts together.
    pub to_cut: Decimetres,
    /// Ties that are fixed.
    pub ties: u64,
    /// Hours of the crew to lay all.
    pub lay: Hours,
    /// Hours of the crew to lift all.
    pub lift: Hours,
    /// Hours of work of all people together to lay all; waiting is not counted.
    pub lay_person: Hours,
    /// The same for lifting.
    pub lift_person: Hours,
    /// Hours of one person to look at every tie once.
    pub round_person: Hours,
}

impl Quantities {
    /// Ties to order: 5 % spare. Assumed.
    pub fn ties_to_order(&self) -> u64 {
        (self.ties * 21).div_ceil(20)
    }

    /// Hooks in use: one at each end of a tie's cord.
    pub fn hooks(&self) -> u64 {
        2 * self.ties
    }

    /// Hooks to order, for the spare ties too.
    pub fn hooks_to_order(&self) -> u64 {
        2 * self.ties_to_order()
    }

    /// One core pipe a part.
    pub fn cores(&self) -> usize {
        self.parts
    }

    /// One label at each end of a part.
    pub fn labels(&self) -> usize {
        2 * self.parts
    }

    fn and(self, other: Self) -> Self {
        let hours = |a: Hours, b: Hours| Hours(a.0 + b.0);
        Self {
            rows: self.rows + other.rows,
            parts: self.parts + other.parts,
            cover: self.cover + other.cover,
            uncut: self.uncut + other.uncut,
            to_cut: self.to_cut + other.to_cut,
            ties: self.ties + other.ties,
            lay: hours(self.lay, other.lay),
            lift: hours(self.lift, other.lift),
            lay_person: hours(self.lay_person, other.lay_person),
            lift_person: hours(self.lift_person, other.lift_person),
            round_person: hours(self.round_person, other.round_person),
        }
    }
}

/// Why a block cannot be counted.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Problem {
    /// No rows.
    #[error("{0} has no rows. Give it rows and row_length_m, or row_lengths_m, in farm.toml.")]
    NoRows(BlockId),
    /// No set serves the block.
    #[error(
        "{0}: no set of covers serves it, so there are no rolls to cut. Name it in the blocks of a [[set]] in farm.toml, or leave it out with --block."
    )]
    NoSet(BlockId),
    /// A row that is all set-back.
    #[error(
        "{block}, row {row}: {row_m} m long, and {setback_m} m stay free at each end, so no cover fits. Take a smaller end_setback_m, or leave the row out."
    )]
    ShortRow {
        /// The block.
        block: BlockId,
        /// Number of the row.
        row: u32,
        /// Its length \[m\].
        row_m: f64,
        /// Set-back at each end \[m\].
        setback_m: f64,
    },
    /// The block wants another width.
    #[error(
        "{block} is to have covers {wanted_m} m wide, but the rolls of {set} are {roll_m} m wide. Leave cover_width_m out to use those, or give the block a [[set]] of its width."
    )]
    NoSuchWidth {
        /// The block.
        block: BlockId,
        /// Width the block is told to have \[m\].
        wanted_m: f64,
        /// The set.
        set: String,
        /// Width of its rolls \[m\].
        roll_m: f64,
    },
    /// Cloth wider than the alley.
    #[error(
        "{block}: covers {width_m} m wide do not fit between rows {spacing_m} m apart. Usual is about four fifths of the row spacing: {usual_m:.1} m."
    )]
    TooWide {
        /// The block.
        block: BlockId,
        /// Width of the cover \[m\].
        width_m: f64,
        /// Row spacing \[m\].
        spacing_m: f64,
        /// Four fifths of it \[m\].
        usual_m: f64,
    },
    /// A roll that cannot be divided into parts.
    #[error(
        "{set}: a roll of {roll_m} m cannot be cut into parts that overlap by half a metre. Give its true roll_length_m, usually about 80."
    )]
    NoRoll {
        /// The set.
        set: String,
        /// Length of its rolls \[m\].
        roll_m: f64,
    },
    /// Ties that are nowhere.
    #[error("{0}: ties with no distance between them cannot be counted. Give tie_spacing_m, usually up to 6.")]
    NoTieSpacing(BlockId),
    /// A block that is not on the farm.
    #[error("no block is called {name}. Blocks of this farm: {blocks}.")]
    NoSuchBlock {
        /// As asked for.
        name: String,
        /// What there is.
        blocks: String,
    },
}

/// Counts the blocks named, or all if none is.
///
/// # Errors
/// Everything that keeps a block from being counted, all at once.
pub fn take_off(farm: &Farm, only: &[BlockId]) -> Result<Takeoff, Vec<Problem>> {
    let mut problems: Vec<Problem> = only
        .iter()
        .filter(|name| farm.block(name).is_none())
        .map(|name| Problem::NoSuchBlock {
            name: name.0.clone(),
            blocks: farm
                .blocks
                .iter()
                .map(|block| block.id.0.as_str())
                .collect::<Vec<_>>()
                .join(", "),
        })
        .collect();
    let mut blocks = Vec::new();
    for (place, block) in farm.blocks.iter().enumerate() {
        if !only.is_empty() && !only.contains(&block.id) {
            continue;
        }
        match of_block(farm, block, place + 1) {
            Ok(counted) => blocks.push(counted),
            Err(found) => problems.extend(found),
        }
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    let total = blocks
        .iter()
        .fold(Quantities::default(), |sum, block| sum.and(block.quantities));
    Ok(Takeoff {
        sets: sets::of(farm, &blocks),
        blocks,
        total,
    })
}

fn of_block(farm: &Farm, block: &Block, number: usize) -> Result<BlockTakeoff, Vec<Problem>> {
    let set = check(farm, block)?;
    let roll = Decimetres::nearest(set.roll_length);
    let mut found = Vec::new();
    for (row, length) in (1_u32..).zip(&block.rows) {
        let cover = Decimetres::nearest(Block::piece(*length, block.end_setback));
        let lengths = parts::parts(cover, roll).ok_or_else(|| {
            vec![Problem::NoRoll {
                set: set.id.0.clone(),
                roll_m: set.roll_length.0,
            }]
        })?;
        let of = lengths.len();
        found.extend((1..).zip(lengths).map(|(part, length)| Part {
            block: block.id.clone(),
            row,
            part,
            of,
            length,
            code: code::code(number, row, part),
        }));
    }
    Ok(BlockTakeoff {
        block: block.id.clone(),
        variety: block.variety.clone(),
        set: set.id.clone(),
        quantities: quantities(farm, block, &found, roll),
        parts: found,
    })
}

fn check<'a>(farm: &'a Farm, block: &Block) -> Result<&'a CoverSet, Vec<Problem>> {
    let mut problems = Vec::new();
    if block.rows.is_empty() {
        problems.push(Problem::NoRows(block.id.clone()));
    }
    let short = |row: &Metres| Decimetres::nearest(Block::piece(*row, block.end_setback)).0 == 0;
    if let Some((row, length)) = (1_u32..).zip(&block.rows).find(|(_, length)| short(length)) {
        problems.push(Problem::ShortRow {
            block: block.id.clone(),
            row,
            row_m: length.0,
            setback_m: block.end_setback.0,
        });
    }
    let (width, spacing) = (block.alley.cover_width_m, block.alley.row_spacing_m);
    if width >= spacing {
        problems.push(Problem::TooWide {
            block: block.id.clone(),
            width_m: width,
            spacing_m: spacing,
            usual_m: 0.8 * spacing,
        });
    }
    if block.alley.tie_spacing_m <= 0.0 {
        problems.push(Problem::NoTieSpacing(block.id.clone()));
    }
    let Some(set) = farm.set_of(&block.id) else {
        problems.push(Problem::NoSet(block.id.clone()));
        return Err(problems);
    };
    if (set.width.0 - width).abs() > SAME_WIDTH_M {
        problems.push(Problem::NoSuchWidth {
            block: block.id.clone(),
            wanted_m: width,
            set: set.id.0.clone(),
            roll_m: set.width.0,
        });
    }
    if Decimetres::nearest(set.roll_length) <= OVERLAP {
        problems.push(Problem::NoRoll {
            set: set.id.0.clone(),
            roll_m: set.roll_length.0,
        });
    }
    if problems.is_empty() { Ok(set) } else { Err(problems) }
}

fn quantities(farm: &Farm, block: &Block, parts: &[Part], roll: Decimetres) -> Quantities {
    let spacing = Decimetres::nearest(Metres(block.alley.tie_spacing_m)).0.max(1);
    let cover: Decimetres = parts.iter().map(|part| part.length).sum();
    let uncut = parts.iter().filter(|part| part.length == roll).count();
    let to_cut = parts
        .iter()
        .map(|part| part.length)
        .filter(|length| *length != roll)
        .sum();
    // On both sides one tie at each end and at most the spacing between two.
    let ties: u64 = parts.iter().map(|part| 2 * (part.length.0.div_ceil(spacing) + 1)).sum();
    let (metres, count) = (cover.metres(), ties as f64);
    Quantities {
        rows: block.rows.len(),
        parts: parts.len(),
        cover,
        uncut,
        to_cut,
        ties,
        lay: crew_hours(farm, Job::Lay, metres, count),
        lift: crew_hours(farm, Job::Lift, metres, count),
        lay_person: person_hours(farm, Job::Lay, metres, count),
        lift_person: person_hours(farm, Job::Lift, metres, count),
        round_person: tie_work(Job::Check, count),
    }
}
