//! What was laid, checked, lifted and found, folded into what lies where.

pub mod entry;
pub mod ground;

pub use entry::{Entry, Event, Face};
pub use ground::{Ground, Lying};
