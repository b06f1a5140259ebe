//! From the model's hours to work windows: verdict per job and hour, joined into windows, each with
//! its reasons and its chance.

pub mod verdict;
pub mod hour;
pub mod doubt;
pub mod dry;
mod rows;
pub mod model_run;
mod table;
mod reasons;
mod middle;
mod judge;
mod further;
mod axis;
pub mod beside;
mod summary;
pub mod learned;
pub mod roll;
pub mod slots;
pub mod climate;
mod usual_light;
pub mod window;
pub mod outlook;

pub use learned::DryPair;
pub use model_run::ModelRun;
pub use outlook::{BlockOutlook, DryDay, HourView, JobRequest, outlook, outlooks};
pub use roll::RollClock;
pub use slots::{Half, Slot};
pub use usual_light::usual_light;
pub use verdict::{Factor, Missing, Reason, Remark, Verdict};
pub use window::{Chance, Margin, Opening, Window};
