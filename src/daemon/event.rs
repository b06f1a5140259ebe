//! Everything that can wake the loop.

use super::schedule::Due;
use super::work::Decided;
use crate::deliver::Outcome;
use crate::farm::FarmId;
use crate::sources::station::News;
use crate::store::{Feed, ParcelId};

/// What has happened. Slow work runs beside the loop and reports back as one of these.
#[derive(Debug)]
pub enum Event {
    /// Time to look at the wall clock.
    Tick,
    /// The services of a farm were asked.
    Pulled {
        /// The farm.
        farm: FarmId,
        /// What each answered; `None` if the work broke off.
        feeds: Option<Vec<Feed>>,
    },
    /// A letter has been decided.
    Decided {
        /// The farm.
        farm: FarmId,
        /// What it was due for.
        due: Due,
        /// The letter; `None` if the work broke off.
        decided: Option<Box<Decided>>,
    },
    /// A message was handed over, or not.
    HandedOver {
        /// The message.
        id: ParcelId,
        /// Whose.
        farm: FarmId,
        /// Tries, this one included.
        tries: u32,
        /// What became of it.
        outcome: Outcome,
    },
    /// A station was heard, or not.
    Heard(Box<News>),
    /// Somebody asks to read the settings again.
    Reread,
    /// Time to stop.
    Stop,
}
