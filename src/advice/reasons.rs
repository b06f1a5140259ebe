//! What holds a job back, in the grower's words.

use chrono::{DateTime, Utc};

use super::words::{self, Words};
use crate::farm::Job;
use crate::farm::limits::Limits;
use crate::units::{MetresPerSecond, Millimetres};
use crate::workability::{Factor, Missing, Reason, Remark, Window};

/// The working hours of one day, and the rain that falls on it.
#[derive(Debug, Clone, Copy)]
pub struct Day {
    /// Start of work.
    pub start: DateTime<Utc>,
    /// End of work.
    pub end: DateTime<Utc>,
    /// Middle sum of rain from midnight to midnight; `None` if not known.
    pub rain: Option<Millimetres>,
}

/// When a factor stops a job on one day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum When {
    AllDay,
    Until(DateTime<Utc>),
    From(DateTime<Utc>),
    Between(DateTime<Utc>, DateTime<Utc>),
}

impl When {
    /// `None` where the factor weakens the job but stops it in no hour.
    fn of(reason: &Reason, day: &Day) -> Option<Self> {
        let from = reason.from?;
        let until = reason.until.filter(|until| *until < day.end);
        Some(match (from <= day.start, until) {
            (true, None) => Self::AllDay,
            (true, Some(until)) => Self::Until(until),
            (false, None) => Self::From(from),
            (false, Some(until)) => Self::Between(from, until),
        })
    }

    fn said(self, words: &Words<'_>) -> String {
        match self {
            Self::AllDay => "all day".to_owned(),
            Self::Until(at) => format!("until {}", words.clock_word(words::half_up(at))),
            Self::From(at) => format!("from {}", words.clock_word(words::half_down(at))),
            Self::Between(from, until) => {
                format!(
                    "from {} to {}",
                    words.clock_word(words::half_down(from)),
                    words.clock_word(words::half_up(until))
                )
            }
        }
    }
}

/// One reason as a phrase without capital or full stop, such as "underside wet until noon".
pub fn phrase(words: &Words<'_>, limits: &Limits, job: Job, reason: &Reason, day: &Day) -> String {
    let Some(when) = When::of(reason, day) else {
        return weak_phrase(words, job, reason);
    };
    let when_said = when.said(words);
    match reason.factor {
        Factor::Daylight => format!("too dark {when_said}"),
        Factor::Lightning => format!("thunder about {when_said}"),
        Factor::Gust10 => format!(
            "gusts over {} {when_said}",
            words.wind(MetresPerSecond(limits.of(job).gust.bad))
        ),
        Factor::GustCover => format!("too breezy in the rows {when_said}"),
        Factor::Rain => match day.rain.and_then(|rain| words.rain(rain)) {
            Some(depth) => format!("rain {when_said}, {depth}"),
            None => format!("rain {when_said}"),
        },
        Factor::Film if job == Job::Lay => format!("grass too wet {when_said}"),
        Factor::Film => format!("top wet {when_said}"),
        Factor::Under => format!("underside wet {when_said}"),
        Factor::Pond => "puddles to tip off first".to_owned(),
        Factor::Cold => format!("too cold for the crew {when_said}"),
        Factor::Heat => format!("too hot for the crew {when_said}"),
        Factor::Snow => format!("snow {when_said}"),
    }
}

/// A factor that holds back without stopping.
fn weak_phrase(words: &Words<'_>, job: Job, reason: &Reason) -> String {
    match reason.factor {
        Factor::Gust10 => reason.value.map_or_else(
            || "gusty".to_owned(),
            |value| format!("gusts up to {}", words.wind(MetresPerSecond(value))),
        ),
        Factor::GustCover => "breezy in the rows".to_owned(),
        Factor::Daylight => "little light".to_owned(),
        Factor::Lightning => "thunder about".to_owned(),
        Factor::Rain => "a little rain".to_owned(),
        Factor::Film if job == Job::Lay => "damp grass".to_owned(),
        Factor::Film => "top only just dry".to_owned(),
        Factor::Under => "underside only just dry".to_owned(),
        Factor::Pond => "puddles to tip off first".to_owned(),
        Factor::Cold => "cold for the crew".to_owned(),
        Factor::Heat => "hot for the crew".to_owned(),
        Factor::Snow => "snow about".to_owned(),
    }
}

/// One or two words for a table.
pub fn short(job: Job, factor: Factor) -> &'static str {
    match factor {
        Factor::Daylight => "daylight",
        Factor::Lightning => "thunder",
        Factor::Gust10 => "wind",
        Factor::GustCover => "wind in the rows",
        Factor::Rain => "rain",
        Factor::Film if job == Job::Lay => "damp grass",
        Factor::Film => "top damp",
        Factor::Under => "underside",
        Factor::Pond => "puddles",
        Factor::Cold => "cold",
        Factor::Heat => "heat",
        Factor::Snow => "snow",
    }
}

/// The one or two strongest reasons of a day's windows of one job, in the order of the clock; empty if there are none.
pub fn of_day(words: &Words<'_>, limits: &Limits, windows: &[&Window], day: &Day) -> String {
    let Some(job) = windows.first().map(|window| window.job) else {
        return String::new();
    };
    let mut merged = merge(windows);
    merged.sort_by(|a, b| a.worth.total_cmp(&b.worth));
    let all_day = |factor: Factor, merged: &[Reason]| {
        merged
            .iter()
            .any(|reason| reason.factor == factor && When::of(reason, day) == Some(When::AllDay))
    };
    if job == Job::Lift && all_day(Factor::Film, &merged) && all_day(Factor::Under, &merged) {
        let rain = day
            .rain
            .and_then(|rain| words.rain(rain))
            .map_or_else(String::new, |rain| format!(", {rain} of rain"));
        return format!("wet on both faces all day{rain}");
    }
    // The face that dries last is the one to name.
    if merged
        .iter()
        .any(|reason| reason.factor == Factor::Under && reason.from.is_some())
    {
        merged.retain(|reason| reason.factor != Factor::Film);
    }
    merged.truncate(2);
    merged.sort_by_key(|reason| reason.from);
    let said: Vec<String> = merged
        .iter()
        .map(|reason| phrase(words, limits, job, reason, day))
        .collect();
    let whens: Vec<Option<When>> = merged.iter().map(|reason| When::of(reason, day)).collect();
    match (whens.as_slice(), said.as_slice()) {
        (
            [
                Some(When::Until(until)),
                Some(next @ (When::From(from) | When::Between(from, _))),
            ],
            [first, second],
        ) => {
            // "until noon, then ... from noon" says the same hour twice.
            let again = matches!(next, When::From(_)) && *from <= words::half_up(*until);
            let tail = format!(" {}", next.said(words));
            let second = second.strip_suffix(&tail).filter(|_| again).unwrap_or(second);
            format!("{first}, then {second}")
        }
        _ => said.join(", "),
    }
}

/// Each factor once: its worst worth, and the whole of the time in which it stops the job.
fn merge(windows: &[&Window]) -> Vec<Reason> {
    let mut merged: Vec<Reason> = Vec::new();
    for reason in windows.iter().flat_map(|window| &window.reasons) {
        let Some(known) = merged.iter_mut().find(|known| known.factor == reason.factor) else {
            merged.push(*reason);
            continue;
        };
        if reason.from.is_some() {
            let lasts = known.from.is_some() && known.until.is_none() || reason.until.is_none();
            known.until = if lasts { None } else { known.until.max(reason.until) };
            known.from = known
                .from
                .map_or(reason.from, |from| reason.from.map(|other| other.min(from)));
        }
        if reason.worth < known.worth {
            known.worth = reason.worth;
            known.value = reason.value;
        }
    }
    merged
}

/// A remark as a sentence; `None` where another part of the letter says it.
pub fn remark(words: &Words<'_>, job: Job, remark: &Remark) -> Option<String> {
    Some(match remark {
        Remark::TipPuddles => "Tip the puddles off first.".to_owned(),
        Remark::Damp => "Damp at best: the rolls must be opened to dry afterwards.".to_owned(),
        Remark::FeelUnderside { at } => {
            format!(
                "Feel the underside at the shaded edge at {}.",
                words.clock_word(words::half_up(*at))
            )
        }
        Remark::GaleAfter { at, gust } => {
            format!(
                "Gusts of {} follow on {}.",
                words.wind(*gust),
                words.moment(words::half_down(*at))
            )
        }
        Remark::OldForecast => "The forecast is old: look out of the window before you start.".to_owned(),
        Remark::EstimatedGust => "The gust is estimated from the wind: watch the trees.".to_owned(),
        Remark::NotTold { quantity } => format!("The forecast does not tell {}: look for yourself.", quantity.word()),
        Remark::LongSteps => {
            "The forecast tells this time in steps of several hours: look again nearer the day.".to_owned()
        }
        Remark::OfficialWarning => "An official wind warning holds then: read it below.".to_owned(),
        Remark::MainDisagrees { factor } => format!("The main forecast speaks against it: {}.", short(job, *factor)),
        Remark::OneForecast => return None,
        Remark::WetnessNotKnown => "How wet the cover is now is not known: feel both faces first.".to_owned(),
        Remark::Missing { missing, at } => format!("Not known from {}: {}.", words.moment(*at), lacking(*missing)),
    })
}

/// What is missing, as a phrase.
pub fn lacking(missing: Missing) -> String {
    match missing {
        Missing::TooOld => "the forecast is too old".to_owned(),
        Missing::BeyondForecast => "the forecast ends before".to_owned(),
        Missing::Weather(quantity) => format!("no {} in the forecast", quantity.word()),
    }
}
