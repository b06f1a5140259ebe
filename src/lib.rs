//! covercast reads open weather forecasts and tells growers when to lay, check and lift the white
//! reflective covers between their tree rows.
//!
//! The modules stand in reading order and lean only on those above them; `DEVELOPERS.md` has the
//! table and `tests/suite/layers.rs` holds the code to it.
//!
//! ```text
//! sources → weather → physics → workability → plan → advice → deliver
//! ```
//!
//! Everything from [`weather`] to [`advice`] is plain functions: same inputs, same letter. Reading
//! the world and writing to it happens only at the two ends.

pub mod units;

pub mod alley;

pub mod farm;

pub mod weather;

pub mod record;

pub mod physics;

pub mod workability;

pub mod plan;

pub mod advice;

pub mod pipeline;

pub mod store;

pub mod sources;

pub mod deliver;

pub mod daemon;

pub mod settings;

pub mod cli;
