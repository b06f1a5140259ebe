//! The ten-day strip: usable hours, wet faces, rain and wind on one time axis.

mod alt;
pub mod facts;
mod lanes;
mod night;

pub use facts::ChartFacts;
