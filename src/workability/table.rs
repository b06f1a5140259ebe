//! The worth of every hour for one job, run by run.

use std::ops::Range;

use super::doubt;
use super::hour::{Setting, Worths};
use super::model_run::{Member, ModelRun};
use super::verdict::Conditions;
use crate::farm::Job;
use crate::farm::limits::Limits;
use crate::units::{Celsius, MetresPerSecond, Millimetres};
use crate::weather::Quantity;

/// One hour of one run for one job.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cell {
    pub(super) worths: Worths,
    /// Worth of the hour.
    pub(super) worth: f64,
    /// The same without the underside.
    pub(super) without_under: f64,
    /// The same once the puddles are tipped off.
    pub(super) without_pond: f64,
    /// Both faces count as dry at its end.
    pub(super) dry: bool,
    /// An hour before it was not fully known.
    pub(super) doubtful: bool,
    /// The hour as the limits saw it, wind unreduced.
    pub(super) setting: Setting,
}

/// Hours of one run; an hour that is not known names what is missing.
pub(super) type Column = Vec<Result<Cell, Unknown>>;

/// Why an hour cannot be judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unknown {
    /// A quantity is missing.
    Lacks(Quantity),
    /// Water on the cover is not known.
    Water,
}

/// All runs for one job.
pub(super) struct Table {
    pub(super) rows: Range<usize>,
    pub(super) members: Vec<Column>,
    pub(super) main: Option<Column>,
    /// The first run under the limits of a single forecast.
    pub(super) reduced: Option<Column>,
}

/// How the limits of a single forecast shrink with the row.
#[derive(Clone, Copy)]
pub(super) struct Lead {
    /// Hours from the issue of the forecast to the stamp of row 0.
    pub(super) first_h: f64,
    /// Contingency: half the job's length \[h\].
    pub(super) half_job_h: f64,
}

impl Lead {
    /// Lead of row `k` \[h\].
    pub(super) fn of(self, k: usize) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "row numbers")]
        let rows = k as f64;
        self.first_h + rows + self.half_job_h
    }
}

impl Table {
    /// Judges the rows of all runs; `single` carries the lead if there is one forecast only.
    pub(super) fn of(job: Job, limits: &Limits, model: &ModelRun, rows: Range<usize>, single: Option<Lead>) -> Self {
        let column = |member: &Member, lead: Option<Lead>| -> Column {
            rows.clone()
                .map(|k| cell(job, limits, model, member, k, lead))
                .collect()
        };
        Self {
            members: model.members.iter().map(|member| column(member, None)).collect(),
            main: model.main.as_ref().map(|main| column(main, None)),
            reduced: single.and_then(|lead| Some(column(model.members.first()?, Some(lead)))),
            rows,
        }
    }

    /// The cells of a run from row `from` on, as many as `count`; none beyond the table.
    pub(super) fn cells<'a>(&self, column: &'a Column, from: usize, count: usize) -> &'a [Result<Cell, Unknown>] {
        let start = from.saturating_sub(self.rows.start);
        column.get(start..start + count).unwrap_or(&[])
    }
}

fn cell(
    job: Job,
    limits: &Limits,
    model: &ModelRun,
    member: &Member,
    k: usize,
    lead: Option<Lead>,
) -> Result<Cell, Unknown> {
    let (alpha, margin) = lead.map_or((1.0, 0), |lead| {
        (doubt::alpha(lead.of(k)), doubt::dry_margin(lead.of(k)))
    });
    let lacking = Unknown::Lacks(Quantity::Temperature);
    let hour = member.hours.get(k).ok_or(lacking)?;
    let felt = hour.weather.map_err(Unknown::Lacks)?;
    let before = member
        .hours
        .get(k.saturating_sub(1 + margin)..=k)
        .unwrap_or(std::slice::from_ref(hour));
    if job == Job::Lift && before.iter().any(|hour| !hour.water.known) {
        return Err(Unknown::Water);
    }
    let worst = |of: fn(&super::model_run::Water) -> f64| {
        Millimetres(before.iter().map(|hour| of(&hour.water)).fold(0.0, f64::max))
    };
    let mut setting = Setting {
        elevation_deg: model.light.hours.get(k).map_or(-90.0, |sun| sun.elevation_deg),
        thunder: felt.thunder,
        snow: felt.snow,
        conditions: Conditions {
            gust: MetresPerSecond(felt.gust / alpha),
            gust_cover: MetresPerSecond(felt.gust_cover / alpha),
            rain: Millimetres(felt.rain),
            film: worst(|water| water.film),
            under: worst(|water| water.under),
            pond: worst(|water| water.pond),
            air: Celsius(felt.air),
        },
    };
    let worths = Worths::of(job, limits, &setting);
    setting.conditions.gust = MetresPerSecond(felt.gust);
    setting.conditions.gust_cover = MetresPerSecond(felt.gust_cover);
    Ok(Cell {
        worth: worths.weakest().0,
        without_under: worths.without(super::verdict::Factor::Under),
        without_pond: worths.without(super::verdict::Factor::Pond),
        worths,
        dry: hour.water.dry(),
        doubtful: hour.water.doubtful,
        setting,
    })
}

#[cfg(test)]
mod tests {
    use super::super::model_run::{Felt, MemberHour, Water};
    use super::*;
    use crate::alley::Alley;
    use crate::physics::Sunlight;

    /// A fine dry hour of which the water on the cover is known.
    const FINE: MemberHour = MemberHour {
        weather: Ok(Felt {
            gust: 3.0,
            gust_cover: 1.0,
            utilisation: 0.1,
            rain: 0.0,
            air: 15.0,
            thunder: false,
            snow: false,
        }),
        water: Water {
            film: 0.0,
            pond: 0.0,
            under: 0.0,
            wet_top: false,
            wet_under: false,
            frost: false,
            known: true,
            doubtful: false,
            light: 0.0,
        },
    };

    /// Row 5 of ten fine hours of which that of row `k` has other water, at a lead of `lead_h` hours if there is one
    /// forecast only.
    fn row_5(job: Job, k: usize, change: fn(&mut Water), lead_h: Option<f64>) -> Result<Cell, Unknown> {
        let mut hours = vec![FINE; 10];
        change(&mut hours[k].water);
        let member = Member {
            hours,
            rows: Vec::new(),
            horizon: 10,
        };
        let model = ModelRun {
            alley: Alley::default(),
            irrigation: Vec::new(),
            light: Sunlight {
                hours: Vec::new(),
                sky_view: 1.0,
            },
            members: Vec::new(),
            main: None,
            critical_gust: 20.0,
        };
        let lead = lead_h.map(|lead_h| Lead {
            first_h: lead_h - 6.0,
            half_job_h: 1.0,
        });
        cell(job, &Limits::default(), &model, &member, 5, lead)
    }

    fn reads(k: usize, lead_h: Option<f64>) -> bool {
        let unknown = row_5(Job::Lift, k, |water| water.known = false, lead_h);
        let wet = row_5(Job::Lift, k, |water| water.film = 0.5, lead_h);
        let wet = wet.is_ok_and(|cell| cell.setting.conditions.film.0 > 0.4);
        assert_eq!(unknown == Err(Unknown::Water), wet, "row {k} at {lead_h:?}");
        wet
    }

    /// The wetness of an hour is the worst of rows k-1-margin to k; the margin is 0 up to 12 h ahead, 1 up to 48 h, then 2.
    #[test]
    fn water_that_is_not_known_in_the_hours_before_makes_a_lift_unknown() {
        for (lead_h, first) in [
            (None, 4),
            (Some(12.0), 4),
            (Some(12.5), 3),
            (Some(48.0), 3),
            (Some(48.5), 2),
        ] {
            for k in 0..10 {
                assert_eq!(reads(k, lead_h), (first..=5).contains(&k), "row {k} at {lead_h:?}");
            }
        }
    }

    #[test]
    fn a_job_that_needs_no_dry_cover_is_judged_on_water_that_is_not_known() {
        for job in [Job::Lay, Job::Fold, Job::Check] {
            assert!(row_5(job, 4, |water| water.known = false, None).is_ok());
        }
    }
}
