//! Damp rolls with the day by which each is to be dry, and what the grower's notes taught of drying.

use super::morning::{Morning, Place};
use crate::advice::words;
use crate::farm::block::BlockId;
use crate::plan::Task;
use crate::workability::RollClock;
use crate::workability::roll::clocks;

/// A correction that is told: dry times are told to the half hour.
const TOLD_FROM_H: f64 = 0.25;

impl<'a> Morning<'a> {
    /// Every damp roll.
    pub(super) fn rolls(&self) -> Vec<String> {
        self.clocks()
            .iter()
            .map(|clock| {
                let (name, numbers) = (words::name(&clock.block.0), words::row_numbers(clock.rows));
                let lifted = words::date(self.words.day_of(clock.lifted));
                format!("{name} {numbers}: lifted damp on {lifted}. {}", self.due(clock))
            })
            .collect()
    }

    /// The rolls of one block, the first that is due.
    pub(super) fn damp_since(&self, place: Place<'a>) -> Vec<String> {
        self.first_due(place.block).map_or_else(Vec::new, |clock| {
            let lifted = words::date(self.words.day_of(clock.lifted));
            vec![format!("Lifted damp on {lifted}. {}", self.due(&clock))]
        })
    }

    /// The roll of a block that is due first.
    pub(super) fn first_due(&self, block: &BlockId) -> Option<RollClock> {
        let of_block = self.clocks().into_iter().filter(|clock| clock.block == *block);
        of_block.min_by_key(|clock| clock.redry_by)
    }

    /// "By your notes, drying is taken 1 hour later." where a dry time of that block is told.
    pub(super) fn learned(&self, place: Place<'a>, task: &Task) -> Option<String> {
        let outlook = self.outlook(place.block)?;
        let day = self.words.day_of(task.start);
        outlook.dry.iter().find(|dry| dry.day == day)?.both?;
        let late = outlook.dry_offset?.0;
        let halves = (late.abs() * 2.0).round();
        (late.abs() >= TOLD_FROM_H).then(|| {
            let far = match halves {
                one if one < 1.5 => "half an hour".to_owned(),
                two if two < 2.5 => "1 hour".to_owned(),
                _ => format!("{} hours", halves / 2.0),
            };
            let way = if late > 0.0 { "later" } else { "earlier" };
            format!("By your notes, drying is taken {far} {way} than computed.")
        })
    }

    fn clocks(&self) -> Vec<RollClock> {
        let outlooks = if self.weather.is_some() {
            self.inputs.outlooks
        } else {
            &[]
        };
        clocks(self.inputs.ground, outlooks)
    }

    fn due(&self, clock: &RollClock) -> String {
        let day = words::date(self.words.day_of(clock.redry_by));
        if clock.redry_by <= self.inputs.now {
            format!("Were to be dry by {day}: open them now.")
        } else {
            format!("To be dry by {day}.")
        }
    }
}
