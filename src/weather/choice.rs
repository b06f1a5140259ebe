//! Which of several forecasts decides, which stand beside it, and what the worst of them says.
//!
//! The worst of the sources decides the danger of an hour: gusts, rain and thunder of the deciding single
//! forecast are raised to those of the ones beside it. Members keep their own, for there the forecast
//! beside them lowers the chance as a whole; what tells only a part, such as rain seen by radar, cannot do
//! that and so raises them too. An hour that a source beside tells as missing is unknown:
//! if it were not, taking a gale away from one source would make the hour better.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::forecast::{Freshness, Kind, Offer};
use super::stitch::Source;
use super::{Forecast, Quantity, Run};

/// Where a source stands among the others.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// In its place.
    #[default]
    First,
    /// Behind others of its sort, because it failed lately.
    Second,
    /// Behind all others, because it failed so long that nothing of it could be used.
    Out,
    /// Meant to check the others: decides only where nobody else can.
    Check,
}

/// Where two sources differ most, in one quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Differ {
    /// In what.
    pub quantity: Quantity,
    /// In which row.
    pub row: usize,
    /// Who says less, and how much; of members the highest.
    pub lower: (String, f64),
    /// Who says more, and how much.
    pub higher: (String, f64),
}

/// What is raised to the worst.
const DANGER: [Quantity; 3] = [Quantity::Gust, Quantity::Rain, Quantity::Thunder];
/// How far ahead differences are looked for \[h\].
const LOOK_H: usize = 36;
/// Gusts differ from this much on \[m/s\], and by this factor.
const GUSTS_DIFFER: (f64, f64) = (3.0, 1.3);
/// It rains, and it does not \[mm\].
const RAIN_DIFFERS: (f64, f64) = (0.3, 0.1);

/// Who decides, and the single forecasts beside it in their order: usable ages before all else, then those
/// that are to decide before those that check and those that were lost, members before single forecasts.
pub(super) fn choose<'a>(sources: &[Source<'a>], now: DateTime<Utc>) -> Option<(Source<'a>, Vec<Source<'a>>)> {
    let rank = |source: &Source<'_>| {
        (
            source.freshness(now) == Freshness::Unknown,
            !is_whole(source.forecast),
            source.standing == Standing::Check,
            source.standing == Standing::Out,
            source.forecast.kind != Kind::Members,
            source.standing == Standing::Second,
        )
    };
    let deciding = *sources
        .iter()
        .filter(|source| !source.forecast.runs.is_empty())
        .min_by_key(|source| rank(source))?;
    let mut beside: Vec<Source<'a>> = sources
        .iter()
        .filter(|source| {
            !std::ptr::eq(source.forecast, deciding.forecast)
                && source.forecast.kind == Kind::Single
                && source.freshness(now) != Freshness::Unknown
        })
        .copied()
        .collect();
    beside.sort_by_key(rank);
    Some((deciding, beside))
}

/// Whether a forecast tells all that an hour is judged by, and not only rain from the radar. What fell out of it
/// lately counts as told: its hours are holes.
pub(super) fn is_whole(forecast: &Forecast) -> bool {
    Quantity::NEEDED
        .into_iter()
        .all(|quantity| forecast.offers.contains_key(&quantity))
}

/// Raises what is dangerous in `run` to what `other` says of the hours from row `from` on.
pub(super) fn worsen(run: &mut Run, other: &Run, offers: &BTreeMap<Quantity, Offer>, from: usize) {
    for quantity in DANGER {
        let told = other.of(quantity);
        let own = run.of_mut(quantity);
        // A series that nobody tells must not look like one full of holes.
        if offers.get(&quantity) != Some(&Offer::Given) || own.is_all_gaps() {
            continue;
        }
        let begin = told.iter().position(|value| value.is_some()).unwrap_or(0);
        for k in from.max(begin)..told.horizon() {
            let worst = own.get(k).and_then(|own| Some(own.max(told.get(k)?)));
            own.put(k, worst);
        }
    }
}

/// Where sources differ most from now on: at most one gust and one rain.
pub(super) fn differences(told: &[(Source<'_>, &[Run])], from: usize) -> Vec<Differ> {
    let differ = |quantity: Quantity| {
        let tells: Vec<_> = told
            .iter()
            .filter(|(source, _)| source.forecast.offers.get(&quantity) == Some(&Offer::Given))
            .collect();
        let worst = |runs: &[Run], k: usize| {
            let values = runs.iter().filter_map(|run| run.of(quantity).get(k));
            values.reduce(f64::max)
        };
        let at = |k: usize| {
            let said: Vec<(&str, f64)> = tells
                .iter()
                .filter_map(|(source, runs)| Some((source.name, worst(runs, k)?)))
                .collect();
            let (low, high) = (
                *said.iter().min_by(|a, b| a.1.total_cmp(&b.1))?,
                *said.iter().max_by(|a, b| a.1.total_cmp(&b.1))?,
            );
            matters(quantity, low.1, high.1).then(|| Differ {
                quantity,
                row: k,
                lower: (low.0.to_owned(), low.1),
                higher: (high.0.to_owned(), high.1),
            })
        };
        let found = (from..from + LOOK_H).filter_map(at);
        let gap = |differ: &Differ| differ.higher.1 - differ.lower.1;
        // The first of several alike.
        found.reduce(|most, next| if gap(&next) > gap(&most) { next } else { most })
    };
    [Quantity::Gust, Quantity::Rain]
        .into_iter()
        .filter_map(differ)
        .collect()
}

fn matters(quantity: Quantity, low: f64, high: f64) -> bool {
    if quantity == Quantity::Rain {
        high >= RAIN_DIFFERS.0 && low < RAIN_DIFFERS.1
    } else {
        high - low >= GUSTS_DIFFER.0 && high >= low * GUSTS_DIFFER.1
    }
}
