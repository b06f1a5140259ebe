//! Clock, schedule, event loop and stopping.

pub mod clock;
pub mod event;
pub mod letters;
pub mod memory;
pub mod orders;
pub mod post;
pub mod road;
pub mod run;
pub mod schedule;
pub mod stations;
pub mod supervisor;
pub mod warned;
pub mod work;

pub use clock::Clock;
pub use event::Event;
pub use memory::Memory;
pub use orders::{Files, Orders, Reread};
pub use run::{Wakes, run};
pub use work::{Decided, Question, Work};

use chrono::NaiveTime;

/// When things are done.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// When the letter goes out, in the zone of each farm.
    pub letter: LetterTime,
    /// Minutes between two pulls of the forecast.
    pub pull_minutes: u32,
}

/// When the letter goes out.
#[derive(Debug, Clone, PartialEq)]
pub enum LetterTime {
    /// Every day at this local time.
    Daily(NaiveTime),
    /// Cron text with seconds and weekday names, on the farm's wall clock.
    Cron(String),
}
