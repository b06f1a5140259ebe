//! The answers in words a foreman understands.

use super::Why;
use super::hindrance::{Change, Hindrance, Shared};
use super::job::{How, JobWhy, ReasonCode};

/// What can be said, job by job. `named` tells a slot in words.
pub(super) fn sentences(why: &Why, named: &dyn Fn(usize) -> String) -> Vec<String> {
    let lot = if why.block.is_empty() {
        format!("lot {}", why.lot)
    } else {
        format!("lot {} (block {})", why.lot, why.block)
    };
    let jobs = [&why.lay, &why.lift].into_iter().flatten();
    let mut sentences: Vec<String> = jobs.map(|job| sentence(job, &lot, named)).collect();
    if let Some(hindrance) = &why.hindrance {
        sentences.push(left(hindrance, &lot, why.lies_out, named));
    }
    sentences
}

/// Whole money, with cents only where there is less than one unit of it.
fn money(cents: i64) -> String {
    if cents.abs() >= 100 {
        format!("{}", (cents as f64 / 100.0).round())
    } else {
        format!("{:.2}", cents as f64 / 100.0)
    }
}

fn sentence(job: &JobWhy, lot: &str, named: &dyn Fn(usize) -> String) -> String {
    let (verb, end) = match job.how {
        How::LayMachine => ("Lay", "in time"),
        How::LayHand => ("Lay by hand", "in time"),
        How::Roll => ("Lift", "before picking"),
        How::Fold => ("Fold aside", "before picking"),
    };
    let mut text = format!("{verb} {lot} on {}.", named(job.slot));
    match job
        .ranked
        .iter()
        .find(|ranked| ranked.slot != job.slot)
        .zip(job.regret_cents)
    {
        Some((next, regret)) => {
            text += &format!(" Next best {}{} ", named(next.slot), manner(job.how, next.how));
            text += &match regret {
                0 => "costs the same".to_owned(),
                regret if regret < 0 => format!("would earn {} more", money(-regret)),
                regret => format!("costs {} more", money(regret)),
            };
            let reasons: Vec<String> = job
                .reasons
                .iter()
                .map(|reason| format!("{} {}", word(reason.code), money(reason.cents)))
                .collect();
            text += &if reasons.is_empty() {
                ".".to_owned()
            } else {
                format!(" ({}).", reasons.join(", "))
            };
        }
        None => text += " No other slot fits the plan.",
    }
    if let Some(held) = job.held.iter().find(|held| held.gain_cents.is_some()) {
        let gain = held.gain_cents.unwrap_or(0);
        text += &format!(
            " By itself {} would earn {} more, but {}.",
            named(held.slot),
            money(gain),
            busy(held.code)
        );
    }
    if job.how != How::Fold {
        text += &match job.any_permille {
            None if job.how == How::Roll => " If it fails: no dry slot is left; fold aside at picking.".to_owned(),
            None => " If it fails: no slot is left to lay it.".to_owned(),
            Some(any) => {
                let tenths = (job.chances_left_permille + 50) / 100;
                let noun = if tenths == 10 { "slot" } else { "slots" };
                let slots = if tenths % 10 == 0 {
                    format!("{}", tenths / 10)
                } else {
                    format!("{}.{}", tenths / 10, tenths % 10)
                };
                format!(" If it fails: {slots} usable {noun} expected {end}, {}.", sure(any))
            }
        };
    }
    text
}

fn manner(chosen: How, next: How) -> &'static str {
    match next {
        _ if chosen == next => "",
        How::LayHand => " by hand",
        How::LayMachine => " by machine",
        How::Fold => " folded aside",
        How::Roll => " rolled up",
    }
}

/// A chance in words and tenths, never as a percentage.
fn sure(permille: i64) -> String {
    match permille {
        950.. => "almost sure to have one".to_owned(),
        ..50 => "hardly a chance of one".to_owned(),
        _ => format!("{} in 10 to have one", (permille + 50) / 100),
    }
}

fn word(code: ReasonCode) -> &'static str {
    match code {
        ReasonCode::Colour => "colour",
        ReasonCode::Risk => "risk",
        ReasonCode::Crew => "crew",
        ReasonCode::Machine => "machine",
        ReasonCode::Cover => "cover",
        ReasonCode::Wind => "wind",
        ReasonCode::Blackout => "no entry",
        ReasonCode::Stability => "change of plan",
    }
}

fn busy(code: ReasonCode) -> &'static str {
    match code {
        ReasonCode::Crew => "the crew is busy",
        ReasonCode::Machine => "the machine is busy",
        ReasonCode::Cover => "the cover lies elsewhere",
        ReasonCode::Colour | ReasonCode::Risk | ReasonCode::Wind | ReasonCode::Blackout | ReasonCode::Stability => {
            "it is closed"
        }
    }
}

fn left(hindrance: &Hindrance, lot: &str, lies_out: bool, named: &dyn Fn(usize) -> String) -> String {
    let hours = |seconds: i64| format!("{:.1} h", seconds as f64 / 3600.0);
    let more = |change: &Change| match change.shared {
        Shared::Crew => format!("{} more of the crew on {}", hours(change.lacking), named(change.slot)),
        Shared::Machine => format!(
            "{} more of the machine on {}",
            hours(change.lacking),
            named(change.slot)
        ),
        Shared::Cover => format!("{} m more cover on {}", change.lacking, named(change.slot)),
    };
    let done = if lies_out { "lifted" } else { "covered" };
    let cannot = format!("{} cannot be {done} in time because", capital(lot));
    match hindrance {
        Hindrance::NoLaySlot => format!(
            "{cannot} no slot is open for laying: all are closed, too unlikely or too late. Open a slot or move the pick."
        ),
        Hindrance::NoLiftSlot => format!(
            "{} has no slot for lifting before picking. Open a slot or move the pick.",
            capital(lot)
        ),
        Hindrance::NoStock { lacking_m, family } => {
            format!(
                "{cannot} the stock of {family} is {lacking_m} m short of what it needs. Add that much, or split the lot."
            )
        }
        Hindrance::TooMuchWork { shared, lacking, slot } => {
            let who = if *shared == Shared::Machine {
                "the machine"
            } else {
                "the crew"
            };
            format!(
                "{cannot} {who} cannot do it in any one slot; the least that is missing is {} on {}. Add that, or split the lot.",
                hours(*lacking),
                named(*slot)
            )
        }
        Hindrance::TooShort { slots, least } => format!(
            "{cannot} there are at most {slots} slots from laying to lifting and {least} are needed. Open an earlier slot, or lower the least exposure."
        ),
        Hindrance::Taken {
            changes,
            gain_cents,
            together,
        } => {
            let list: Vec<String> = changes.iter().map(more).collect();
            let joined = list.join(if *together { " and " } else { ", or " });
            format!(
                "{cannot} other lots have what it needs. {} would make room; it would earn up to {}.",
                capital(&joined),
                money(*gain_cents)
            )
        }
        Hindrance::NotWorthIt { loss_cents } => {
            format!(
                "{} is left: covering it would cost {} more than its colour brings.",
                capital(lot),
                money(*loss_cents)
            )
        }
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
