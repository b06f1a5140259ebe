//! Hands, hours and machines.

use chrono::{NaiveTime, Weekday};
use serde::{Deserialize, Serialize};

use crate::units::Metres;

/// Someone who gets letters or is rung.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// As written in letters.
    pub name: String,
    /// Mail address; `None` for somebody who only is rung or works.
    pub email: Option<String>,
    /// What they do.
    pub role: Role,
    /// Whether the morning letter goes to them.
    pub letter: bool,
}

/// What a person does on the farm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Decides; is rung when no letter comes.
    Manager,
    /// Leads the crew.
    Foreman,
    /// Does the work.
    Crew,
}

/// The crew's size and hours.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Crew {
    /// People who can lay and lift.
    pub people: u32,
    /// Days on which they work.
    pub workdays: Vec<Weekday>,
    /// Start of work, local time.
    pub start: NaiveTime,
    /// End of work, local time.
    pub end: NaiveTime,
    /// Start of the midday break; it splits morning from afternoon.
    pub break_start: NaiveTime,
    /// End of the break.
    pub break_end: NaiveTime,
}

/// A machine with its driver.
#[derive(Debug, Clone, PartialEq)]
pub struct Machine {
    /// As the crew calls it.
    pub name: String,
    /// Laying including turns and change of rolls, per hour; `None` if it cannot lay.
    pub lay_per_hour: Option<Metres>,
    /// Winding up, per hour; `None` if it cannot.
    pub lift_per_hour: Option<Metres>,
}
