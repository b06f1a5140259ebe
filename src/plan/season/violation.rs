//! What a plan of the season asks for and cannot have, and how that is said.

use std::fmt;

/// One thing a plan asks for and cannot have.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Violation {
    /// The plan says nothing of a lot.
    Forgotten {
        /// The lot.
        lot: String,
    },
    /// The plan names a lot that the case does not have.
    Stranger {
        /// The name.
        lot: String,
    },
    /// A job in a slot that is not offered for it.
    NotOffered {
        /// The lot.
        lot: String,
        /// The job in a word or two.
        job: &'static str,
        /// The slot with its name, if the plan names one.
        slot: Option<(usize, String)>,
    },
    /// A laying of what lies out already.
    LiesOut {
        /// The lot.
        lot: String,
    },
    /// Too few slots between laying and lifting.
    Exposure {
        /// The lot.
        lot: String,
        /// Slots it would lie out; negative if it is lifted before it is laid.
        slots: i64,
        /// Slots it must lie out.
        least: usize,
    },
    /// More of something than there is.
    Overbooked {
        /// What: people, machine, or a family of covers.
        resource: Resource,
        /// Whose.
        pool: String,
        /// When: slot and its name.
        slot: (usize, String),
        /// Asked for: seconds or metres.
        used: i64,
        /// There: seconds or metres.
        there: i64,
        /// Lots with a job, or with a cover, in that slot.
        lots: Vec<String>,
    },
}

/// What lots share.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Resource {
    /// Time of people.
    People,
    /// Time of machines.
    Machine,
    /// Metres of one family of covers.
    Cover(String),
}

impl fmt::Display for Violation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Forgotten { lot } => write!(f, "lot {lot}: the plan says nothing of it; say null if it is left out"),
            Self::Stranger { lot } => write!(f, "lot {lot}: the case has no such lot"),
            Self::NotOffered { lot, job, slot: None } => {
                write!(f, "lot {lot}: {job} has no slot, but it does not lie out yet")
            }
            Self::NotOffered {
                lot,
                job,
                slot: Some((slot, name)),
            } => {
                write!(f, "lot {lot}: {job} is not offered in slot {slot} ({name})")
            }
            Self::LiesOut { lot } => write!(f, "lot {lot}: it lies out already and cannot be laid"),
            Self::Exposure { lot, slots, least } => {
                write!(
                    f,
                    "lot {lot}: {slots} slots between laying and lifting, but at least {least} are needed"
                )
            }
            Self::Overbooked {
                resource,
                pool,
                slot: (slot, name),
                used,
                there,
                lots,
            } => {
                let (what, unit) = match resource {
                    Resource::People => ("people".to_owned(), "s"),
                    Resource::Machine => ("machine".to_owned(), "s"),
                    Resource::Cover(family) => (format!("cover {family}"), "m"),
                };
                write!(
                    f,
                    "{what} of pool {pool}, slot {slot} ({name}): {used} {unit} > {there} {unit} available"
                )?;
                if lots.is_empty() {
                    Ok(())
                } else {
                    write!(f, " (lots {})", lots.join(", "))
                }
            }
        }
    }
}
