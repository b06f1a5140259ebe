//! Why not tomorrow, what is left if today fails, and all usable hours.

use chrono::{NaiveDate, TimeDelta};

use super::headline::doing;
use super::lead::Lead;
use super::morning::{Morning, Place, share};
use super::{DayLine, Days};
use crate::advice::{reasons, words};
use crate::farm::Job;
use crate::plan::{BlockPlan, IfMissed};
use crate::workability::{Opening, Remark, Verdict};

/// Most chances named in "If today fails".
const MOST_CHANCES: usize = 4;
/// What folding aside is.
const LAST_WAY_OUT: &str = "The last way out. Can be done wet.";
/// Picking this near makes the way out part of the letter.
const NEAR_PICK_DAYS: i64 = 14;

impl<'a> Morning<'a> {
    /// Reasons of a whole day as a phrase; empty if there are none.
    pub(super) fn day_reasons(&self, place: Place<'a>, day: NaiveDate) -> String {
        let windows = self.windows_on(place, day);
        let unknown = windows
            .iter()
            .filter(|window| window.verdict == Verdict::Unknown)
            .count();
        if unknown > 0 && unknown == windows.len() {
            let missing = windows
                .iter()
                .flat_map(|window| &window.remarks)
                .find_map(|remark| match remark {
                    Remark::Missing { missing, .. } => Some(reasons::lacking(*missing)),
                    Remark::Damp
                    | Remark::FeelUnderside { .. }
                    | Remark::GaleAfter { .. }
                    | Remark::OldForecast
                    | Remark::EstimatedGust
                    | Remark::TipPuddles
                    | Remark::MainDisagrees { .. }
                    | Remark::OneForecast
                    | Remark::WetnessNotKnown
                    | Remark::LongSteps
                    | Remark::OfficialWarning
                    | Remark::NotTold { .. } => None,
                });
            return missing.map_or_else(|| "not known".to_owned(), |missing| format!("not known: {missing}"));
        }
        reasons::of_day(&self.words, &self.inputs.farm.limits, &windows, &self.crew_day(day))
    }

    /// The next three days, or as many as there are to the next workday.
    pub(super) fn why(&self, lead: &Lead<'a>) -> Option<Days> {
        let (place, own) = self.concern(lead)?;
        let heading = match lead {
            _ if !own => format!("Why not {} today?", doing(place)),
            Lead::Wait { .. } => "Why wait?".to_owned(),
            Lead::Stopped { .. } => "Why not today?".to_owned(),
            Lead::Do { .. } | Lead::Dark { .. } | Lead::Unknown | Lead::Nothing { .. } => {
                "Why not tomorrow?".to_owned()
            }
        };
        let today = self.words.today;
        let span = (self.next_workday() - today).num_days().max(3);
        let first = i64::from(own && !matches!(lead, Lead::Stopped { .. }));
        let mut lines: Vec<DayLine> = Vec::new();
        if let Lead::Wait { opening, .. } = lead {
            lines.push(self.why_wait(place, opening));
        }
        lines.extend((first..=span).filter_map(|more| self.why_line(place, today + TimeDelta::days(more))));
        (!lines.is_empty()).then_some(Days {
            heading,
            lines,
            last: Vec::new(),
        })
    }

    /// The job that the weather decides, and whether it is the headline's. Behind a walk along the ties or a roll to
    /// dry stands the most pressing one that cannot be done today, if there is one.
    fn concern(&self, lead: &Lead<'a>) -> Option<(Place<'a>, bool)> {
        let place = lead.place()?;
        if matches!(place.job.job, Job::Lay | Job::Lift | Job::Fold) {
            return Some((place, true));
        }
        let today = self.words.today;
        let wanted = |other: &Place<'a>| {
            let waits = !self
                .chosen(other.job)
                .is_some_and(|opening| self.today_is(opening.start));
            let bound = matches!(other.job.job, Job::Lay | Job::Lift) && other.job.held.is_none();
            bound && waits && other.job.from <= today && !self.shut(other.block)
        };
        let pressing = self
            .places()
            .filter(wanted)
            .min_by_key(|other| other.job.last_day.unwrap_or(NaiveDate::MAX));
        pressing.map(|place| (place, false))
    }

    fn why_wait(&self, place: Place<'a>, opening: &Opening) -> DayLine {
        let offers = self.offers(place);
        let today = offers.iter().find(|offer| self.today_is(offer.start));
        let left = offers
            .iter()
            .filter(|offer| offer.start > opening.end && self.works(self.words.day_of(offer.start)))
            .count();
        let chances = match left {
            0 => "no other chance".to_owned(),
            1 => "1 more chance".to_owned(),
            more => format!("{more} more chances"),
        };
        let day = self.words.day(self.words.day_of(opening.start));
        let close = place
            .job
            .booked
            .as_ref()
            .and_then(|booked| booked.advice)
            .is_some_and(|advice| advice.close_call);
        DayLine {
            day: "Today".to_owned(),
            text: today.map_or_else(
                || "would do".to_owned(),
                |offer| format!("would do, {}", self.hours_and_odds(offer)),
            ),
            notes: if close {
                vec![format!("A close call. Waiting for {day} is about as good.")]
            } else {
                vec![format!(
                    "Each day out adds colour. Waiting for {day} leaves {chances} after it."
                )]
            },
        }
    }

    fn why_line(&self, place: Place<'a>, day: NaiveDate) -> Option<DayLine> {
        let beyond = place.job.last_day.is_some_and(|last| day > last + TimeDelta::days(7));
        if beyond {
            return None;
        }
        let open: Vec<&Opening> = self
            .offers(place)
            .into_iter()
            .filter(|open| self.words.day_of(open.start) == day)
            .collect();
        let best = open.iter().max_by(|a, b| a.best.score.total_cmp(&b.best.score));
        let text = match (self.works(day), best) {
            (true, Some(opening)) if self.chosen(place.job) == Some(*opening) => {
                format!("planned, {}", self.hours_and_odds(opening))
            }
            (true, Some(opening)) => format!("also possible, {}", self.hours_and_odds(opening)),
            (false, Some(opening)) => format!("{}, but a rest day", self.hours_and_odds(opening)),
            (false, None) => "a rest day".to_owned(),
            (true, None) => {
                let said = self.day_reasons(place, day);
                if said.is_empty() {
                    "no hours of work and daylight".to_owned()
                } else {
                    said
                }
            }
        };
        let line_day = if day == self.words.today {
            "Today".to_owned()
        } else {
            self.words.day(day)
        };
        Some(DayLine {
            day: line_day,
            text,
            notes: self.good_for(place, day).into_iter().collect(),
        })
    }

    /// What the day is good for instead.
    fn good_for(&self, place: Place<'a>, day: NaiveDate) -> Option<String> {
        if !self.works(day) {
            return None;
        }
        let work = |other: &Place<'_>| other.job.job != place.job.job && matches!(other.job.job, Job::Lay | Job::Lift);
        let others = self.places().filter(work);
        let open = others
            .filter(|other| !self.shut(other.block) && other.job.from <= day)
            .flat_map(|other| {
                self.offers(other)
                    .into_iter()
                    .map(move |opening| (other.job.job, opening))
            });
        let on_day = open.filter(|(_, opening)| self.words.day_of(opening.start) == day);
        let (job, opening) = on_day.max_by(|a, b| a.1.best.score.total_cmp(&b.1.best.score))?;
        Some(format!(
            "Fine for {}, {}.",
            words::gerund(job),
            self.words.span(opening.start, opening.end)
        ))
    }

    fn hours_and_odds(&self, opening: &Opening) -> String {
        format!(
            "{}, {}",
            self.words.span(opening.start, opening.end),
            self.odds(&opening.best)
        )
    }

    pub(super) fn fails(&self, lead: &Lead<'a>) -> Option<Days> {
        let last = self.ways_out();
        let mut lines = Vec::new();
        if let Some((place, _)) = self.concern(lead) {
            let pick = self.block_plan(place).and_then(|block| block.pick);
            let far = pick.is_none_or(|pick| (pick.first - self.words.today).num_days() > NEAR_PICK_DAYS);
            if pick.is_some() && far && place.job.chances_left > 0 {
                let left = place.job.chances_left;
                let days = if left == 1 {
                    "1 more day".to_owned()
                } else {
                    format!("{left} more days")
                };
                let text = format!("There is time: {days} with usable hours");
                lines.push(DayLine {
                    day: String::new(),
                    text,
                    notes: Vec::new(),
                });
            } else if pick.is_some() {
                lines.extend(self.chances(lead, place));
            }
        }
        let heading = if matches!(lead, Lead::Do { .. }) {
            "If today fails"
        } else {
            "What is left"
        };
        (!lines.is_empty() || !last.is_empty()).then(|| Days {
            heading: heading.to_owned(),
            lines,
            last,
        })
    }

    fn chances(&self, lead: &Lead<'a>, place: Place<'a>) -> Vec<DayLine> {
        let later = |opening: &&Opening| match lead {
            Lead::Do {
                task, place: leading, ..
            } if *leading.block == *place.block && leading.job.job == place.job.job => opening.start > task.end,
            Lead::Do { .. }
            | Lead::Unknown
            | Lead::Stopped { .. }
            | Lead::Wait { .. }
            | Lead::Dark { .. }
            | Lead::Nothing { .. } => self.words.day_of(opening.start) > self.words.today,
        };
        let offers: Vec<&Opening> = self.offers(place).into_iter().filter(later).collect();
        let mut lines: Vec<DayLine> = offers
            .into_iter()
            .take(MOST_CHANCES)
            .map(|open| self.chance_line(open))
            .collect();
        if lines.is_empty() && matches!(place.job.job, Job::Lift | Job::Lay) {
            let (day, text) = (String::new(), "No other usable hours before picking".to_owned());
            lines.push(DayLine {
                day,
                text,
                notes: Vec::new(),
            });
        }
        lines
    }

    fn chance_line(&self, opening: &Opening) -> DayLine {
        let day = self.words.day_of(opening.start);
        let firm = (!opening.best.firm).then(|| "Not firm yet.".to_owned());
        if self.works(day) {
            let day = self.words.day(day);
            return DayLine {
                day,
                text: self.hours_and_odds(opening),
                notes: firm.into_iter().collect(),
            };
        }
        let call = share(&opening.best).map(|share| {
            let odds = words::chance(share);
            if odds.ends_with("in 10") {
                format!("Calling the crew in would add a {odds} chance.")
            } else {
                format!("Calling the crew in: {odds}.")
            }
        });
        DayLine {
            day: self.words.day(day),
            text: format!("{}, but a rest day", self.words.span(opening.start, opening.end)),
            notes: call.into_iter().chain(firm).collect(),
        }
    }

    fn block_plan(&self, place: Place<'_>) -> Option<&'a BlockPlan> {
        self.inputs.plan.blocks.iter().find(|block| block.block == *place.block)
    }

    /// Fold aside, with its price, for every block with covers out and picking near, in the order of picking.
    fn ways_out(&self) -> Vec<DayLine> {
        let near = |block: &&BlockPlan| {
            let out = block.out.is_some_and(|out| !out.folded);
            out && block
                .pick
                .is_some_and(|pick| (pick.first - self.words.today).num_days() <= NEAR_PICK_DAYS)
        };
        let mut blocks: Vec<&BlockPlan> = self.inputs.plan.blocks.iter().filter(near).collect();
        blocks.sort_by_key(|block| block.pick.map(|pick| pick.first));
        let mut ways: Vec<DayLine> = blocks.into_iter().filter_map(|block| self.way_out(block)).collect();
        // What folding means is said once, at the end.
        let all_but_last = ways.len().saturating_sub(1);
        for way in ways.iter_mut().take(all_but_last) {
            way.notes.retain(|note| note != LAST_WAY_OUT);
        }
        ways
    }

    fn way_out(&self, block: &BlockPlan) -> Option<DayLine> {
        let pick = block.pick?;
        let missed = block.jobs.iter().find_map(|job| match job.if_missed {
            IfMissed::FoldAside { extra_cost, .. } => Some(extra_cost),
            IfMissed::LessColour | IfMissed::Nothing => None,
        });
        let currency = &self.inputs.farm.costs.currency;
        let price = missed.map_or_else(
            || "What it costs is not known".to_owned(),
            |extra| {
                format!(
                    "About {} dearer than a dry lift, and slower picking",
                    words::money(currency, extra)
                )
            },
        );
        let day = pick.first.max(self.words.today);
        Some(DayLine {
            day: if day == self.words.today {
                "Today".to_owned()
            } else {
                self.words.day(day)
            },
            text: format!(
                "picking day of {}: untie one side and fold aside",
                words::name(&block.block.0)
            ),
            notes: vec![LAST_WAY_OUT.to_owned(), format!("{price}.")],
        })
    }
}
