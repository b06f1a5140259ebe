//! The season as a whole: which lot is laid and lifted when, under the crew, the machines, the covers and the chances
//! there are.
//!
//! [`Case::checked`] → [`solve()`] → [`Solved`]; [`score()`] weighs any plan, apart from the solver.

pub mod case;
mod board;
mod checked;
pub mod colour;
pub mod costs;
mod dice;
mod improve;
mod prices;
pub mod schedule;
pub mod score;
pub mod solve;
pub mod wait;
pub mod why;
mod yard;

pub use case::Case;
pub use checked::{Checked, Fault};
pub use schedule::{Entry, Schedule};
pub use score::{Scored, Violation, score};
pub use solve::{Solved, solve};
pub use wait::wait_or_act;
pub use why::{Inquiry, Why};
