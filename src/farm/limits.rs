//! Where each job stops. All defaults are engineering estimates: set your own.

use serde::{Deserialize, Serialize};

use super::Job;

/// A limit with a soft shoulder: up to `good` nothing is held back, from `bad` on the hour is worth
/// `floor` (0 stops the job).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Ramp {
    /// Full worth up to here.
    pub good: f64,
    /// Least worth from here.
    pub bad: f64,
    /// Least worth, 0 to 1.
    #[serde(default)]
    pub floor: f64,
}

impl Ramp {
    const fn stop(good: f64, bad: f64) -> Self {
        Self { good, bad, floor: 0.0 }
    }

    const fn floored(good: f64, bad: f64, floor: f64) -> Self {
        Self { good, bad, floor }
    }
}

/// Limits of one job. `None` means that the quantity does not hold this job back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JobLimits {
    /// Gust at 10 m \[m/s\].
    pub gust: Ramp,
    /// Gust at the cover inside the rows \[m/s\].
    pub gust_cover: Option<Ramp>,
    /// Rain \[mm/h\].
    pub rain: Ramp,
    /// Water on top \[mm\]; for laying it stands for wet grass.
    pub film: Option<Ramp>,
    /// Water on the underside \[mm\].
    pub under: Option<Ramp>,
    /// Puddles in the sags \[mm\].
    pub pond: Option<Ramp>,
}

/// Limits of all jobs, and of the crew's cold and heat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Lifting.
    pub lift: JobLimits,
    /// Laying.
    pub lay: JobLimits,
    /// Folding aside.
    pub fold: JobLimits,
    /// Walking the ties.
    pub check: JobLimits,
    /// Cold for the crew \[°C\]: full worth from `good` up, none at `bad`.
    pub cold: Ramp,
    /// Heat for the crew \[°C\].
    pub heat: Ramp,
    /// Spreading a wet piece: gust at the cover up to here \[m/s\].
    pub redry_gust_cover: f64,
    /// Cost of acting over loss avoided, for warnings of wind.
    pub act_cost_share: f64,
}

impl Limits {
    /// Limits of a job; re-drying has its own rule and borrows those of lifting for light and thunder.
    pub fn of(&self, job: Job) -> &JobLimits {
        match job {
            Job::Lift | Job::Redry => &self.lift,
            Job::Lay => &self.lay,
            Job::Fold => &self.fold,
            Job::Check => &self.check,
        }
    }
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            lift: JobLimits {
                gust: Ramp::stop(7.0, 11.0),
                gust_cover: Some(Ramp::stop(2.5, 5.0)),
                rain: Ramp::stop(0.0, 0.2),
                film: Some(Ramp::stop(0.01, 0.08)),
                under: Some(Ramp::stop(0.02, 0.10)),
                pond: Some(Ramp::floored(0.1, 0.5, 0.3)),
            },
            lay: JobLimits {
                gust: Ramp::stop(6.0, 10.0),
                gust_cover: Some(Ramp::stop(2.0, 4.0)),
                rain: Ramp::stop(0.0, 0.5),
                film: Some(Ramp::floored(0.05, 0.40, 0.4)),
                under: None,
                pond: None,
            },
            fold: JobLimits {
                gust: Ramp::stop(7.0, 11.0),
                gust_cover: Some(Ramp::stop(2.5, 5.0)),
                rain: Ramp::stop(0.0, 1.0),
                film: Some(Ramp::floored(0.05, 0.50, 0.5)),
                under: None,
                pond: None,
            },
            check: JobLimits {
                gust: Ramp::stop(9.0, 14.0),
                gust_cover: None,
                rain: Ramp::stop(0.2, 2.0),
                film: None,
                under: None,
                pond: None,
            },
            cold: Ramp::stop(2.0, -5.0),
            heat: Ramp::stop(28.0, 36.0),
            redry_gust_cover: 3.0,
            act_cost_share: 0.2,
        }
    }
}
