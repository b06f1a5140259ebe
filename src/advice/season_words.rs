//! The season's plan in the words of the letter.

use chrono::{Datelike, NaiveDate};

use super::words;
use crate::plan::of_farm::{HalfDay, PlannedLot, SeasonPlan, WhyNot, slot_of};
use crate::plan::season::why::{Hindrance, How, JobWhy, Reason, ReasonCode, Shared, Why};
use crate::workability::Half;

/// Money below this is not worth telling apart \[cents\].
const ABOUT_EQUAL_CENTS: i64 = 500;

/// Why rows cannot be planned for covering, as a phrase.
pub fn why_not(why: WhyNot) -> &'static str {
    match why {
        WhyNot::NoPick => "no pick date is known",
        WhyNot::FarAway => "picking is more than 12 weeks off",
        WhyNot::NoSet => "no set of covers serves this block",
        WhyNot::TooFewMetres => "the set has too few metres for these rows",
        WhyNot::TooLate => "fewer than 7 days before picking",
        WhyNot::NoCrew => "no half-day of the crew is long enough",
        WhyNot::Blackouts => "no entry on all days that would do",
        WhyNot::Weather => "no half-day with a fair chance of weather",
    }
}

/// "16-21 Mar", "30 Mar-6 Apr".
pub fn day_span(first: NaiveDate, last: NaiveDate) -> String {
    if first == last {
        words::day_and_month(first)
    } else if (first.year(), first.month()) == (last.year(), last.month()) {
        format!("{}-{}", first.day(), words::day_and_month(last))
    } else {
        format!("{}-{}", words::day_and_month(first), words::day_and_month(last))
    }
}

/// "Tue 10 Mar in the morning".
fn half_day(when: HalfDay) -> String {
    let half = match when.half {
        Half::Morning => "in the morning",
        Half::Afternoon => "in the afternoon",
    };
    format!("{} {half}", words::date(when.day))
}

/// What a move costs most, as a phrase.
fn phrase(reasons: &[Reason]) -> Option<&'static str> {
    let worst = reasons
        .iter()
        .filter(|reason| reason.cents > 0)
        .max_by_key(|reason| reason.cents)?;
    Some(match worst.code {
        ReasonCode::Colour => "less colour",
        ReasonCode::Risk => "fewer dry chances",
        ReasonCode::Crew => "more work by hand",
        ReasonCode::Machine => "winder in use",
        ReasonCode::Cover => "no rolls free",
        ReasonCode::Wind => "wind while it lies out",
        ReasonCode::Blackout => "no entry",
        ReasonCode::Stability => "told otherwise yesterday",
    })
}

/// Why a job no longer stands on its half-day of yesterday: what that one would cost now.
pub fn moved_because(plan: &SeasonPlan, why: Option<&JobWhy>, was: HalfDay) -> Option<String> {
    let why = why?;
    let slot = slot_of(plan.today, was)?;
    match why.ranked.iter().find(|ranked| ranked.slot == slot) {
        None => Some("the old time is no longer open".to_owned()),
        Some(old) => phrase(&old.reasons).map(|phrase| format!("{phrase} on the old day")),
    }
}

/// Why rows are planned as they are, in sentences a foreman understands.
pub fn why(plan: &SeasonPlan, planned: &PlannedLot, why: &Why, currency: &str) -> Vec<String> {
    let place = format!(
        "{}, {}",
        words::name(&planned.lot.block.0),
        words::rows(planned.lot.rows)
    );
    let mut said = Vec::new();
    for job in [&why.lay, &why.lift].into_iter().flatten() {
        said.extend(job_said(plan, job, &place, currency));
    }
    if let Some(hindrance) = &why.hindrance {
        said.extend(hindered(plan, hindrance, &place, why.lies_out, currency));
    }
    said
}

fn job_said(plan: &SeasonPlan, job: &JobWhy, place: &str, currency: &str) -> Vec<String> {
    let named = |slot: usize| half_day(plan.case.half_day(slot));
    let money = |cents: i64| {
        #[expect(clippy::cast_precision_loss, reason = "cents of one lot")]
        let amount = cents as f64 / 100.0;
        words::money(currency, amount)
    };
    let verb = match job.how {
        How::LayMachine => "Lay",
        How::LayHand => "Lay by hand",
        How::Roll => "Lift",
        How::Fold => "Fold aside",
    };
    let mut said = vec![format!("{verb} {place}, {}.", named(job.slot))];
    let next = job.ranked.iter().find(|ranked| ranked.slot != job.slot);
    said.push(match (next, job.regret_cents) {
        (Some(next), Some(regret)) if regret.abs() < ABOUT_EQUAL_CENTS => {
            format!("{} is about as good.", named(next.slot))
        }
        (Some(next), Some(regret)) if regret > 0 => {
            let reason = phrase(&next.reasons).map_or_else(String::new, |phrase| format!(": {phrase}"));
            format!("Next best: {}, {} dearer{reason}.", named(next.slot), money(regret))
        }
        (Some(next), Some(regret)) => format!(
            "{} would be {} better, but moving pays too little.",
            named(next.slot),
            money(-regret)
        ),
        _ => "No other half-day fits the plan.".to_owned(),
    });
    if let Some(held) = job
        .held
        .iter()
        .find(|held| held.gain_cents.is_some_and(|gain| gain >= ABOUT_EQUAL_CENTS))
    {
        let busy = match held.code {
            ReasonCode::Crew => "the crew is busy then",
            ReasonCode::Machine => "the winder is in use then",
            ReasonCode::Cover => "the rolls lie elsewhere then",
            ReasonCode::Colour | ReasonCode::Risk | ReasonCode::Wind | ReasonCode::Blackout | ReasonCode::Stability => {
                "there is no entry then"
            }
        };
        said.push(format!(
            "{} would be better for it alone, but {busy}.",
            named(held.slot)
        ));
    }
    if job.how != How::Fold {
        said.push(chances(job));
    }
    said
}

/// "If it fails: 3 usable half-days expected before picking, almost sure to have one."
fn chances(job: &JobWhy) -> String {
    let lift = job.how == How::Roll;
    let Some(any) = job.any_permille else {
        return if lift {
            "If it fails: no other half-day fits this plan. It is made anew each morning; folding aside is the last way out."
                .to_owned()
        } else {
            "If it fails: no other half-day fits this plan. It is made anew each morning.".to_owned()
        };
    };
    let end = if lift { "before picking" } else { "in time" };
    let expected = (job.chances_left_permille + 500) / 1000;
    let noun = match expected {
        0 => "less than one usable half-day".to_owned(),
        1 => "1 usable half-day".to_owned(),
        more => format!("{more} usable half-days"),
    };
    #[expect(clippy::cast_precision_loss, reason = "a share in thousandths")]
    let any = words::chance(any as f64 / 1000.0);
    let counted = if job.counted { "" } else { ", taken one by one" };
    format!("If it fails: {noun} expected {end}, {any} to have one{counted}.")
}

fn hindered(plan: &SeasonPlan, hindrance: &Hindrance, place: &str, lies_out: bool, currency: &str) -> Vec<String> {
    let named = |slot: usize| half_day(plan.case.half_day(slot));
    #[expect(clippy::cast_precision_loss, reason = "seconds and cents of one lot")]
    let real = |value: i64| value as f64;
    let hours = |seconds: i64| format!("{:.1} h", (real(seconds) / 360.0).ceil() / 10.0);
    let what = |shared: Shared, lacking: i64, slot: usize| match shared {
        Shared::Crew => format!("{} more of crew time on {}", hours(lacking), named(slot)),
        Shared::Machine => format!("{} more of the winder on {}", hours(lacking), named(slot)),
        Shared::Cover => format!(
            "{lacking} m more cover from {} on",
            words::date(plan.case.half_day(slot).day)
        ),
    };
    let done = if lies_out { "lifted" } else { "covered" };
    let cannot = format!("{place} cannot be {done} in time");
    match hindrance {
        Hindrance::NoLaySlot => vec![
            format!("{cannot}: every half-day for laying is closed, too unlikely or too late."),
            "An open half-day or a later pick would make room.".to_owned(),
        ],
        Hindrance::NoLiftSlot => vec![
            format!("{place}: no half-day for lifting is left before picking."),
            "An open half-day or a later pick would make room.".to_owned(),
        ],
        Hindrance::NoStock { lacking_m, family } => {
            vec![format!("{cannot}: {} is {lacking_m} m short.", words::name(family))]
        }
        Hindrance::TooMuchWork { shared, lacking, slot } => vec![
            format!("{cannot}: no half-day is long enough."),
            format!("{} would do.", words::capital(&what(*shared, *lacking, *slot))),
        ],
        Hindrance::TooShort { slots, least } => vec![format!(
            "{cannot}: at most {} days from laying to lifting, and {} are the least.",
            slots / 2,
            least / 2
        )],
        Hindrance::Taken {
            changes,
            gain_cents,
            together,
        } => {
            let list: Vec<String> = changes
                .iter()
                .map(|change| what(change.shared, change.lacking, change.slot))
                .collect();
            let joined = list.join(if *together { " and " } else { ", or " });
            vec![
                format!("{cannot}: other blocks have what it needs, and earn more with it."),
                format!(
                    "{} would make room, worth up to {}.",
                    words::capital(&joined),
                    words::money(currency, real(*gain_cents) / 100.0)
                ),
            ]
        }
        Hindrance::Nothing { gain_cents } => vec![format!(
            "{place} is left, but would fit and earn {} more.",
            words::money(currency, real(*gain_cents) / 100.0)
        )],
        Hindrance::NotWorthIt { loss_cents } => vec![format!(
            "{place} is left: covering would cost {} more than its colour brings.",
            words::money(currency, real(*loss_cents) / 100.0)
        )],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_span_of_days_names_each_month_once() {
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        assert_eq!(day_span(day("2026-03-16"), day("2026-03-21")), "16-21 Mar");
        assert_eq!(day_span(day("2026-03-30"), day("2026-04-06")), "30 Mar-6 Apr");
        assert_eq!(day_span(day("2026-03-30"), day("2026-03-30")), "30 Mar");
    }

    #[test]
    fn the_dearest_part_of_a_move_is_its_reason() {
        let reason = |code, cents| Reason { code, cents };
        let reasons = [
            reason(ReasonCode::Risk, -900),
            reason(ReasonCode::Colour, 300),
            reason(ReasonCode::Wind, 700),
        ];
        assert_eq!(phrase(&reasons), Some("wind while it lies out"));
        assert_eq!(phrase(&reasons[..1]), None);
    }
}
