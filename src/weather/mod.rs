//! Hourly weather of one place: past readings and forecast members on one time axis.
//!
//! Missing is a value of its own, never zero. Row `k` of every series stands for the hour that ends
//! at stamp `k`; what the quantity means inside that hour is said at [`Run`].

pub mod choice;
pub mod credit;
pub mod estimate;
pub mod forecast;
pub mod gates;
pub mod past;
pub mod reading;
pub mod run;
pub mod series;
pub mod stitch;
pub mod valid;
pub mod warning;

pub use choice::{Differ, Standing};
pub use credit::Credit;
pub use forecast::{Forecast, Freshness, Issue, IssueBasis, Kind, Offer, Place, Product};
pub use run::{Quantity, Run};
pub use series::{Series, Stamps};
pub use stitch::{Source, Timeline, stitch};
pub use valid::{Told, Valid};
