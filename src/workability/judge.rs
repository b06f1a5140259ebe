//! The verdict of one window.
//!
//! With members the chance is counted over them with full limits; a main forecast beside them can only
//! lower it. With one forecast the limits shrink with lead and no chance is given. Whatever is not
//! known makes the window unknown, and no rule here ever reads a gap as harmless.

use std::ops::Range;

use chrono::{DateTime, Utc};

use super::doubt::{self, FIRM_H, Passes};
use super::hour::{SUCCESS, window_score};
use super::middle::MiddleHour;
use super::model_run::{Member, ModelRun};
use super::outlook::JobRequest;
use super::reasons::reasons;
use super::table::{Cell, Column, Lead, Table, Unknown};
use super::verdict::{Factor, Missing, Remark, Verdict};
use super::window::{Chance, Margin, Window};
use crate::farm::Job;
use crate::farm::limits::Limits;
use crate::physics::{Row, Start, run};
use crate::units::Hours;
use crate::weather::forecast::Kind;
use crate::weather::{Freshness, Quantity, Timeline};

/// Least score of a go, 0 to 100.
const GO_SCORE: f64 = 60.0;
/// Least chance of a go.
const GO_CHANCE: f64 = 0.6;
/// Score and chance from which a window is a maybe even where going does not pay.
const MAYBE: (f64, f64) = (30.0, 0.3);
/// Most that counts as the chance where the main forecast fails.
const MAIN_FAILS: f64 = 0.5;
/// Score of the poorest window that succeeds.
const LEAST_SCORE: f64 = 100.0 * SUCCESS;
/// Dry times noted by the grower from which the modelled underside is believed.
const BELIEVED_NOTES: usize = 5;

/// Everything the windows of one request share.
pub(super) struct Judge<'a> {
    pub(super) request: JobRequest,
    pub(super) limits: &'a Limits,
    pub(super) model: &'a ModelRun,
    pub(super) timeline: &'a Timeline,
    pub(super) table: &'a Table,
    pub(super) middle: &'a [Option<MiddleHour>],
    pub(super) lead: Lead,
    pub(super) dry_notes: usize,
    pub(super) now: DateTime<Utc>,
}

/// What the runs say of a window.
struct Weighed {
    /// Members in which it works; empty with one forecast.
    works: Vec<bool>,
    /// Members in which it works and both faces are dry throughout.
    works_dry: Vec<bool>,
    /// Members in which it works once the puddles are tipped off; empty with one forecast.
    works_tipped: Vec<bool>,
    chance: f64,
    /// The chance once the puddles are tipped off.
    chance_tipped: f64,
    /// The chance that may make it a go.
    chance_dry: f64,
    /// The chance if the modelled underside is not believed.
    chance_without_under: f64,
    score: f64,
    /// Score that orders windows.
    order: f64,
    remarks: Vec<Remark>,
}

impl Judge<'_> {
    /// The window of `rows`; `day` holds the light rows of its local day.
    pub(super) fn window(&self, rows: Range<usize>, day: &Range<usize>) -> Window {
        let stamps = self.timeline.stamps;
        let (start, end) = (stamps.start(rows.start), stamps.start(rows.end));
        let lead_h = self.lead.of(rows.end - 1);
        let mut window = Window {
            job: self.request.job,
            start,
            end,
            verdict: Verdict::Unknown,
            chance: None,
            works_in: Vec::new(),
            planning_chance: 0.0,
            threshold: self.request.threshold,
            score: 0.0,
            lead: Hours((end - self.now).as_seconds_f64() / 3600.0),
            firm: lead_h <= FIRM_H,
            reasons: Vec::new(),
            remarks: Vec::new(),
            margin: Margin::default(),
        };
        if self.timeline.freshness == Freshness::Unknown {
            window.remarks.push(Remark::Missing {
                missing: Missing::TooOld,
                at: start,
            });
            return window;
        }
        let weighed = match self.weigh(&rows, lead_h) {
            Ok(weighed) => weighed,
            Err(remark) => {
                window.remarks.push(remark);
                return window;
            }
        };
        let mut remarks = weighed.remarks.clone();
        let mut verdict = self.verdict(&weighed, lead_h, start, &mut remarks);
        verdict = verdict.min(self.gale_after(rows.end, &mut remarks));
        verdict = verdict.min(self.trust(&rows, &mut remarks));
        if verdict != Verdict::Unknown {
            window.reasons = reasons(self.table, rows.clone(), day, stamps);
            window.margin = self.margin(&rows, lead_h);
            if self.timeline.kind == Kind::Members {
                let works = match verdict {
                    Verdict::Go => weighed.works_dry,
                    _ if remarks.contains(&Remark::TipPuddles) => weighed.works_tipped,
                    Verdict::Maybe | Verdict::No | Verdict::Unknown => weighed.works,
                };
                let good = works.iter().filter(|works| **works).count();
                window.chance = Some(Chance { good, of: works.len() });
                window.works_in = works;
            }
            window.planning_chance = match verdict {
                Verdict::Go => weighed.chance_dry,
                _ if remarks.contains(&Remark::TipPuddles) => weighed.chance_tipped,
                Verdict::Maybe | Verdict::No | Verdict::Unknown => weighed.chance,
            };
            // Puddles to tip make it the poorest window that works.
            window.score = if remarks.contains(&Remark::TipPuddles) {
                weighed.chance_tipped * LEAST_SCORE
            } else {
                weighed.order
            };
        }
        window.verdict = verdict;
        window.remarks = remarks;
        window
    }

    fn weigh(&self, rows: &Range<usize>, lead_h: f64) -> Result<Weighed, Remark> {
        match self.timeline.kind {
            Kind::Members => self.by_members(rows),
            Kind::Single => self.by_one(rows, lead_h),
        }
    }

    /// Counts over the members.
    fn by_members(&self, rows: &Range<usize>) -> Result<Weighed, Remark> {
        let (mut works, mut works_dry, mut without_under) = (Vec::new(), Vec::new(), Vec::new());
        let mut works_tipped = Vec::new();
        let (mut sum, mut counted) = (0.0, 0.0);
        for (member, column) in self.model.members.iter().zip(&self.table.members) {
            let cells = self.cells(column, rows)?;
            let good = self.succeeds(member, &cells, rows);
            works.push(good);
            works_dry.push(good && (self.request.job != Job::Lift || cells.iter().all(|cell| cell.dry)));
            without_under.push(cells.iter().all(|cell| cell.without_under >= SUCCESS));
            works_tipped.push(good || (self.request.job == Job::Lift && tipped(&cells)));
            if good {
                sum += window_score(cells.iter().map(|cell| cell.worth));
                counted += 1.0;
            } else if self.request.job == Job::Lift && cells.iter().any(|cell| cell.doubtful) {
                // It may have failed only because hours were missing: had it worked, it might have scored so.
                sum += LEAST_SCORE;
                counted += 1.0;
            }
        }
        if works.is_empty() {
            return Err(Remark::Missing {
                missing: Missing::BeyondForecast,
                at: self.timeline.stamps.start(rows.start),
            });
        }
        let mut remarks = Vec::new();
        let most = self.main_allows(rows, &mut remarks);
        let share = |works: &[bool]| {
            let good = works.iter().filter(|works| **works).count();
            Chance { good, of: works.len() }.share().min(most)
        };
        let chance = share(&works);
        let score = if counted > 0.0 { sum / counted } else { 0.0 };
        Ok(Weighed {
            chance,
            chance_dry: share(&works_dry),
            chance_without_under: share(&without_under),
            chance_tipped: share(&works_tipped),
            score,
            order: chance * score,
            works,
            works_tipped,
            works_dry,
            remarks,
        })
    }

    /// Full and reduced limits of the only forecast.
    fn by_one(&self, rows: &Range<usize>, lead_h: f64) -> Result<Weighed, Remark> {
        let beyond = Remark::Missing {
            missing: Missing::BeyondForecast,
            at: self.timeline.stamps.start(rows.start),
        };
        let member = self.model.members.first().ok_or(beyond)?;
        let full = self.cells(self.table.members.first().ok_or(beyond)?, rows)?;
        let reduced = self.cells(self.table.reduced.as_ref().ok_or(beyond)?, rows)?;
        let passes = |reduced_ok: bool, full_ok: bool| match (reduced_ok, full_ok) {
            (true, _) => Passes::Reduced,
            (false, true) => Passes::FullOnly,
            (false, false) => Passes::Neither,
        };
        let dries = self.succeeds(member, &full, rows);
        let how = passes(dries && good(&reduced), dries);
        let but_under = |cells: &[&Cell]| cells.iter().all(|cell| cell.without_under >= SUCCESS);
        let chance = doubt::single_chance(how, lead_h);
        let is_dry = self.request.job != Job::Lift || full.iter().all(|cell| cell.dry);
        let score = window_score(reduced.iter().map(|cell| cell.worth));
        let plain = window_score(full.iter().map(|cell| cell.worth));
        Ok(Weighed {
            works: Vec::new(),
            works_dry: Vec::new(),
            works_tipped: Vec::new(),
            chance_tipped: if self.request.job == Job::Lift {
                doubt::single_chance(passes(tipped(&reduced), tipped(&full)), lead_h)
            } else {
                chance
            },
            chance,
            chance_dry: if is_dry { chance } else { 0.0 },
            chance_without_under: doubt::single_chance(passes(but_under(&reduced), but_under(&full)), lead_h),
            score,
            order: chance * if how == Passes::FullOnly { plain } else { score },
            remarks: vec![Remark::OneForecast],
        })
    }

    /// The cells of a run, or why the window cannot be judged.
    fn cells<'c>(&self, column: &'c Column, rows: &Range<usize>) -> Result<Vec<&'c Cell>, Remark> {
        let cells = self.table.cells(column, rows.start, rows.len());
        let mut found = Vec::with_capacity(cells.len());
        for (k, cell) in rows.clone().zip(cells) {
            match cell {
                Ok(cell) => found.push(cell),
                Err(Unknown::Water) => return Err(Remark::WetnessNotKnown),
                Err(Unknown::Lacks(quantity)) => return Err(self.missing(k, *quantity)),
            }
        }
        if found.len() == rows.len() {
            Ok(found)
        } else {
            Err(self.missing(rows.end - 1, Quantity::Temperature))
        }
    }

    fn succeeds(&self, member: &Member, cells: &[&Cell], rows: &Range<usize>) -> bool {
        good(cells) && (self.request.job != Job::Redry || self.spread_dries(member, rows))
    }

    /// Whether a wet piece that is spread at the start of the window is dry at its end.
    fn spread_dries(&self, member: &Member, rows: &Range<usize>) -> bool {
        let (Some(weather), Some(light)) = (member.rows.get(rows.clone()), self.model.light.hours.get(rows.clone()))
        else {
            return false;
        };
        let alley = &self.model.alley;
        weather.iter().all(|row| matches!(row, Row::Known(_)))
            && run::stretch(alley, light, self.model.light.sky_view, weather, Start::Full)
                .last()
                .is_some_and(|hour| !hour.top_is_wet(alley) && !hour.under_is_wet(alley))
    }

    /// The most the chance may be in the light of the main forecast.
    fn main_allows(&self, rows: &Range<usize>, remarks: &mut Vec<Remark>) -> f64 {
        let (Some(main), Some(column)) = (&self.model.main, &self.table.main) else {
            return 1.0;
        };
        if rows.end > main.horizon {
            return 1.0;
        }
        match self.cells(column, rows) {
            Ok(cells) if self.succeeds(main, &cells, rows) => return 1.0,
            Ok(cells) => {
                let weakest = cells.iter().min_by(|a, b| a.worth.total_cmp(&b.worth));
                let factor = weakest.map_or(Factor::Daylight, |cell| cell.worths.weakest().1);
                remarks.push(Remark::MainDisagrees { factor });
            }
            Err(remark) => remarks.push(remark),
        }
        MAIN_FAILS
    }

    fn verdict(&self, weighed: &Weighed, lead_h: f64, start: DateTime<Utc>, remarks: &mut Vec<Remark>) -> Verdict {
        let threshold = self.request.threshold;
        let go = |chance: f64| {
            weighed.score >= GO_SCORE && chance >= GO_CHANCE && doubt::going_pays(chance, threshold) && lead_h <= FIRM_H
        };
        let maybe = |chance: f64| doubt::going_pays(chance, threshold) || chance >= MAYBE.1;
        if go(weighed.chance_dry) {
            return Verdict::Go;
        }
        let scores = weighed.score >= MAYBE.0 && weighed.chance >= MAYBE.1;
        if doubt::going_pays(weighed.chance, threshold) || scores {
            if self.request.job == Job::Lift && (go(weighed.chance) || !maybe(weighed.chance_dry)) {
                remarks.push(Remark::Damp);
            }
            return Verdict::Maybe;
        }
        if maybe(weighed.chance_tipped) {
            remarks.push(Remark::TipPuddles);
            return Verdict::Maybe;
        }
        if self.request.job == Job::Lift && self.dry_notes < BELIEVED_NOTES && maybe(weighed.chance_without_under) {
            remarks.push(Remark::FeelUnderside { at: start });
            return Verdict::Maybe;
        }
        Verdict::No
    }
}

/// Puddles alone stop nobody: a crew tips them off before it winds up.
fn tipped(cells: &[&Cell]) -> bool {
    cells.iter().all(|cell| cell.without_pond >= SUCCESS)
}

fn good(cells: &[&Cell]) -> bool {
    cells.iter().all(|cell| cell.worth >= SUCCESS)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alley::Alley;
    use crate::physics::Sunlight;
    use crate::weather::{Run, Stamps};
    use crate::workability::climate;

    /// A poor window for which going does not pay at any of the chances below.
    fn weighed() -> Weighed {
        Weighed {
            works: Vec::new(),
            works_dry: Vec::new(),
            works_tipped: Vec::new(),
            chance: 0.1,
            chance_tipped: 0.1,
            chance_dry: 0.1,
            chance_without_under: 0.1,
            score: 20.0,
            order: 2.0,
            remarks: Vec::new(),
        }
    }

    /// The verdict on lifting at a threshold of 0.9, with so many noted dry times.
    fn verdict(weighed: &Weighed, dry_notes: usize) -> (Verdict, Vec<Remark>) {
        let stamps = Stamps {
            first: "2026-03-10T01:00:00Z".parse().unwrap(),
            count: 3,
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
        let judge = Judge {
            request: JobRequest {
                job: Job::Lift,
                length: Hours(2.0),
                threshold: 0.9,
            },
            limits: &Limits::default(),
            model: &model,
            timeline: &climate::timeline(&Run::unknown(3), stamps, 0, 3),
            table: &Table {
                rows: 0..0,
                members: Vec::new(),
                main: None,
                reduced: None,
            },
            middle: &[],
            lead: Lead {
                first_h: 1.0,
                half_job_h: 1.0,
            },
            dry_notes,
            now: stamps.first,
        };
        let mut remarks = Vec::new();
        let verdict = judge.verdict(weighed, 10.0, stamps.first, &mut remarks);
        (verdict, remarks)
    }

    /// Verdict rules of the cover model: maybe from a score of 30 and a chance of 0.3 on, where going does not pay.
    #[test]
    fn a_window_is_a_maybe_from_a_score_of_thirty_and_a_chance_of_three_in_ten() {
        let told = |score: f64, chance: f64| {
            let window = Weighed {
                score,
                chance,
                ..weighed()
            };
            verdict(&window, 5).0
        };
        assert_eq!(told(30.0, 0.3), Verdict::Maybe);
        assert_eq!(told(29.9, 0.3), Verdict::No);
        assert_eq!(told(30.0, 0.29), Verdict::No);
        assert_eq!(told(20.0, 0.91), Verdict::Maybe, "going pays");
        assert_eq!(told(20.0, 0.9), Verdict::No, "as dear as staying");
    }

    #[test]
    fn a_maybe_is_called_damp_where_dry_faces_alone_would_not_make_one() {
        let remarks = |chance_dry: f64| {
            let window = Weighed {
                score: 50.0,
                chance: 0.4,
                chance_dry,
                ..weighed()
            };
            let (verdict, remarks) = verdict(&window, 5);
            assert_eq!(verdict, Verdict::Maybe);
            remarks
        };
        assert_eq!(remarks(0.3), []);
        assert_eq!(remarks(0.29), [Remark::Damp]);
    }

    #[test]
    fn puddles_are_to_be_tipped_where_three_runs_in_ten_work_without_them() {
        let told = |chance_tipped: f64| {
            let window = Weighed {
                chance_tipped,
                ..weighed()
            };
            verdict(&window, 5)
        };
        assert_eq!(told(0.3), (Verdict::Maybe, vec![Remark::TipPuddles]));
        assert_eq!(told(0.29), (Verdict::No, Vec::new()));
    }

    /// Verdict rules of the cover model: until five dry times are noted, the modelled underside alone holds nobody back.
    #[test]
    fn the_underside_is_to_be_felt_where_it_alone_holds_back_and_five_notes_are_not_there() {
        let told = |chance_without_under: f64, notes: usize| {
            let window = Weighed {
                chance_without_under,
                ..weighed()
            };
            verdict(&window, notes)
        };
        let at = "2026-03-10T01:00:00Z".parse().unwrap();
        assert_eq!(told(0.3, 4), (Verdict::Maybe, vec![Remark::FeelUnderside { at }]));
        assert_eq!(told(0.29, 4), (Verdict::No, Vec::new()));
        assert_eq!(told(0.3, 5), (Verdict::No, Vec::new()));
    }
}
