//! Clock, schedule, event loop and stopping.

pub mod schedule;

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
