//! The sentence that leads the letter, with its chance and its reasons.

use chrono::{DateTime, TimeDelta, Utc};

use super::Headline;
use super::lead::Lead;
use super::morning::{Morning, Place, share};
use crate::advice::{reasons, words};
use crate::farm::Job;
use crate::plan::Task;
use crate::workability::{Opening, Remark, Verdict, Window};

/// Room for the verdict word, the sentence and its full stop.
const MOST_SIGNS: usize = 60;

impl<'a> Morning<'a> {
    pub(super) fn headline(&self, lead: &Lead<'a>) -> Headline {
        let plain = |sentence: String, because: Vec<String>| Headline {
            sentence,
            look: None,
            chance: None,
            because,
        };
        match lead {
            Lead::Unknown => plain(self.no_forecast(), self.what_holds()),
            Lead::Do { place, task, opening } => self.go(*place, task, opening),
            Lead::Stopped { place, next } => plain(
                format!("{} today", cannot(*place)),
                vec![
                    words::capital(&format!("{}.", self.why_not_today(*place))),
                    self.next_said(*next),
                ],
            ),
            Lead::Wait { place, opening } => plain(
                format!(
                    "{} can wait until {}",
                    place_name(*place),
                    self.words.moment(opening.best.start)
                ),
                vec![self.next_said(Some(opening))],
            ),
            Lead::Dark { place, window } => {
                let missing = window
                    .remarks
                    .iter()
                    .filter_map(|remark| reasons::remark(&self.words, place.job.job, remark));
                plain(
                    format!("not known whether {} today", can(*place)),
                    missing.chain([hand_test(place.job.job)]).collect(),
                )
            }
            Lead::Nothing { next } => plain(
                "no work is due today".to_owned(),
                self.next_job_said(*next).into_iter().collect(),
            ),
        }
    }

    fn go(&self, place: Place<'a>, task: &Task, opening: &Opening) -> Headline {
        let window = &opening.best;
        let from = format!("from {}", self.words.clock(task.start));
        let doing = doing(place);
        let sentence = fitting(
            MOST_SIGNS - word(window.verdict).len() - 3,
            &[
                format!("{doing} {}, {from}", self.words.part_of_day(task.start)),
                format!("{doing} {from}"),
                doing,
            ],
        );
        let look = (window.verdict == Verdict::Maybe)
            .then(|| format!("look at {}", self.words.clock(self.look_again(window, task.start))));
        let of = words::chance_of(place.job.job);
        let chance = match share(window) {
            Some(share) => format!("{}: {of}", words::chance(share)),
            None if self.one_forecast() => "one forecast only, no chance given".to_owned(),
            None => "chance not known".to_owned(),
        };
        Headline {
            sentence,
            look,
            chance: Some(words::capital(&chance)),
            because: self.because(place, opening),
        }
    }

    /// What holds a window back, and what else to know before starting: three sentences at most.
    fn because(&self, place: Place<'a>, opening: &Opening) -> Vec<String> {
        let (window, job) = (&opening.best, place.job.job);
        let mut said = Vec::new();
        if window.verdict == Verdict::Maybe {
            let reasons = self.reasons_of(window);
            if !reasons.is_empty() {
                said.push(format!("Held back by: {reasons}."));
            }
        }
        said.extend(
            window
                .remarks
                .iter()
                .filter_map(|remark| reasons::remark(&self.words, job, remark)),
        );
        said.extend(self.now_or_later(place, opening));
        said.truncate(3);
        said
    }

    /// What waiting would leave, for a job of today.
    fn now_or_later(&self, place: Place<'a>, opening: &Opening) -> Option<String> {
        let window = &opening.best;
        let advice = place.job.booked.as_ref().and_then(|booked| booked.advice);
        let advice = advice.filter(|advice| advice.when.day == self.words.day_of(opening.start));
        let near = share(window).is_some_and(|share| (share - window.threshold).abs() <= 0.05 + 1e-9);
        let close = advice.map_or(near, |advice| advice.close_call);
        if let (true, Some(next)) = (close, self.next_offer(place)) {
            let day = self.words.day(self.words.day_of(next.start));
            return Some(format!("A close call. Waiting for {day} is about as good."));
        }
        let advice = advice?;
        if !advice.go {
            let waiting = self.waiting_for_rolls_of(place)?;
            return Some(format!(
                "Waiting would do for this cover, but {waiting} needs the rolls."
            ));
        }
        let left = match advice.chances_left {
            0 => return Some("Go now: no other chance before picking is in sight.".to_owned()),
            1 => "1 half-day".to_owned(),
            more => format!("{more} half-days"),
        };
        let any = advice.any_later.map_or_else(String::new, |any| {
            let which = if advice.chances_left == 1 { "it" } else { "one of them" };
            format!(", {} for {which}", words::chance(any.share()))
        });
        Some(format!("Go now: waiting leaves {left} before picking{any}."))
    }

    /// The block that is laid next with the rolls of this one.
    fn waiting_for_rolls_of(&self, place: Place<'a>) -> Option<String> {
        let season = self.inputs.plan.season.as_ref()?;
        let next = season
            .lots
            .iter()
            .filter(|planned| planned.rolls_from.contains(place.block))
            .min_by_key(|planned| planned.lay)?;
        Some(words::name(&next.lot.block.0))
    }

    /// The two strongest reasons of one window.
    pub(super) fn reasons_of(&self, window: &Window) -> String {
        let day = self.crew_day(self.words.day_of(window.start));
        reasons::of_day(&self.words, &self.inputs.farm.limits, &[window], &day)
    }

    /// Why a wanted job is not done today, as a phrase.
    pub(super) fn why_not_today(&self, place: Place<'a>) -> String {
        let today = self.words.today;
        if !self.works(today) {
            return "a rest day".to_owned();
        }
        let said = self.day_reasons(place, today);
        if !said.is_empty() {
            said
        } else if self.offers(place).iter().any(|opening| self.today_is(opening.start)) {
            "no crew free at the right hours".to_owned()
        } else {
            "no hours of work and daylight left today".to_owned()
        }
    }

    fn next_said(&self, next: Option<&Opening>) -> String {
        next.map_or_else(
            || "No other usable hours in sight.".to_owned(),
            |opening| format!("Next: {}.", self.offer_said(opening, "")),
        )
    }

    /// "Sat 14:00-17:30, 6 in 10, not firm".
    /// "Fri 13 Mar 07:00-17:00, 9 in 10, not firm"; `with` stands after the hours.
    pub(super) fn offer_said(&self, opening: &Opening, with: &str) -> String {
        let day = self.words.day(self.words.day_of(opening.start));
        let firm = if opening.best.firm { "" } else { ", not firm" };
        let span = self.words.span(opening.start, opening.end);
        format!("{day} {span}{with}, {}{firm}", self.odds(&opening.best))
    }

    fn next_job_said(&self, next: Option<(Place<'a>, Option<&Opening>)>) -> Option<String> {
        let (place, opening) = next?;
        Some(match opening {
            Some(opening) => format!("Next: {}, {}.", doing(place), self.offer_said(opening, "")),
            None => format!("Next: {}, from {}.", doing(place), words::date(place.job.from)),
        })
    }

    /// When to look again: at the time to feel the underside, else two hours before the start.
    pub(super) fn look_again(&self, window: &Window, start: DateTime<Utc>) -> DateTime<Utc> {
        let feel = window.remarks.iter().find_map(|remark| match remark {
            Remark::FeelUnderside { at } => Some(words::half_up(*at)),
            Remark::Damp
            | Remark::GaleAfter { .. }
            | Remark::OldForecast
            | Remark::EstimatedGust
            | Remark::TipPuddles
            | Remark::NotTold { .. }
            | Remark::LongSteps
            | Remark::OfficialWarning
            | Remark::MainDisagrees { .. }
            | Remark::OneForecast
            | Remark::WetnessNotKnown
            | Remark::Missing { .. } => None,
        });
        // An early job leaves no two hours to wait: look just before it.
        let early = start - TimeDelta::hours(2) < self.inputs.now + TimeDelta::minutes(30);
        let before = if early {
            TimeDelta::minutes(30)
        } else {
            TimeDelta::hours(2)
        };
        let look = feel.unwrap_or_else(|| words::half_down(start - before));
        look.max(words::half_up(self.inputs.now)).min(start)
    }

    /// "no forecast since Mon 18:00".
    pub(super) fn no_forecast(&self) -> String {
        self.inputs.timeline.map_or_else(
            || "no forecast could be read".to_owned(),
            |timeline| {
                let issued = self.words.zone.local(timeline.issue.at);
                format!("no forecast since {}", issued.format("%a %H:%M"))
            },
        )
    }

    fn what_holds(&self) -> Vec<String> {
        vec![
            "Not known: rain, wind, sun, and when the covers dry.".to_owned(),
            "What still holds: pick dates, days out, what the ties carry.".to_owned(),
            hand_test(Job::Lift),
        ]
    }
}

/// What a grower can find out without a forecast.
fn hand_test(job: Job) -> String {
    match job {
        Job::Lift => {
            "Hand test before lifting: turn a corner over at three places, one in the shade. Dry on both faces, \
                      no rain cloud upwind, leaves hardly moving for an hour: you may lift. Tell us what you found."
                .to_owned()
        }
        Job::Lay | Job::Check | Job::Fold | Job::Redry => {
            "Look yourself: no rain cloud upwind and leaves hardly moving for an hour: you may start.".to_owned()
        }
    }
}

/// The verdict's word.
pub(crate) fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Go => "GO",
        Verdict::Maybe => "MAYBE",
        Verdict::No => "NO",
        Verdict::Unknown => "UNKNOWN",
    }
}

pub(super) fn place_name(place: Place<'_>) -> String {
    words::name(&place.block.0)
}

/// "lift Creek", "fold Creek aside", "open rolls Creek 1-4 to dry".
pub(super) fn doing(place: Place<'_>) -> String {
    let name = place_name(place);
    match place.job.job {
        Job::Fold => format!("fold {name} aside"),
        Job::Redry => format!("open rolls {name} {} to dry", words::row_numbers(place.job.rows)),
        Job::Lay | Job::Check | Job::Lift => format!("{} {name}", words::imperative(place.job.job)),
    }
}

fn done(place: Place<'_>) -> (String, &'static str) {
    let name = place_name(place);
    match place.job.job {
        Job::Lay => (name, "be laid"),
        Job::Check => (format!("the ties on {name}"), "be checked"),
        Job::Fold => (name, "be folded aside"),
        Job::Lift => (name, "be lifted"),
        Job::Redry => (format!("rolls of {name}"), "be opened to dry"),
    }
}

fn cannot(place: Place<'_>) -> String {
    let (what, done) = done(place);
    format!("{what} cannot {done}")
}

fn can(place: Place<'_>) -> String {
    let (what, done) = done(place);
    format!("{what} can {done}")
}

/// The first text that fits, else the last one cut.
pub(super) fn fitting(most: usize, texts: &[String]) -> String {
    let fits = texts.iter().find(|text| text.chars().count() <= most);
    fits.cloned().unwrap_or_else(|| {
        texts
            .last()
            .map(|text| text.chars().take(most).collect())
            .unwrap_or_default()
    })
}
