//! Replies of the US National Weather Service: grids, points and observations.
//!
//! In:     GeoJSON; layers of blocks with a unit, times as ISO intervals with an offset.
//! Out:    a single forecast in canonical hours; the grid of a point; readings of a station.
//! Source: the service's documentation of its grids and its general questions: a value holds from the
//!         start of its block to before its end, rain is the sum of its block. There is no radiation.

mod block;
mod grid;
mod layers;
pub mod observations;
pub mod points;
mod unit;

pub use grid::read;
pub use observations::{Observation, observations};
pub use points::{Points, points};
