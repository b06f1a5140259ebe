//! Past and future of one place on one time axis, shared by everything that follows.
//!
//! A timeline starts five days before now, so that what fell and dried is in the model's state.
//! All runs share the past.

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Utc};

use super::choice::{Differ, Standing, choose, differences, is_whole, worsen};
use super::forecast::{Freshness, Issue, Kind, Offer, Product};
use super::past::{self, Known, Past};
use super::{Credit, Forecast, Quantity, Run, Series, Stamps, estimate};

/// The weather a morning is judged by.
#[derive(Debug, Clone, PartialEq)]
pub struct Timeline {
    /// Common time axis, from five days back to the end of the longest series.
    pub stamps: Stamps,
    /// First row whose hour ends after now.
    pub now_row: usize,
    /// Members, or the single forecast.
    pub runs: Vec<Run>,
    /// A main forecast beside the members, which can only lower a chance.
    pub main: Option<Run>,
    /// Whether `runs` are members.
    pub kind: Kind,
    /// Quantities the services do not offer and a rule filled in.
    pub estimated: BTreeSet<Quantity>,
    /// Quantities of which the deciding forecast knows nothing at any hour: optional ones it does not
    /// tell, and those refused or gone.
    pub untold: BTreeSet<Quantity>,
    /// First row in which the deciding forecast tells steps longer than an hour.
    pub coarse_from: Option<usize>,
    /// Spans of official wind warnings, in which nothing is better than maybe.
    pub warned: Vec<(DateTime<Utc>, DateTime<Utc>)>,
    /// Known hours of past before now, short holes that can be bridged included; below 48 the model starts with full stores.
    pub past_hours: usize,
    /// Who told the past.
    pub past: Past,
    /// Issue of the forecast that decides.
    pub issue: Issue,
    /// Its kind, for the age.
    pub product: Product,
    /// How far it may be trusted now.
    pub freshness: Freshness,
    /// Everybody whose data are in it.
    pub credits: Vec<Credit>,
    /// Sentences for the reader about what is missing ("wind of 3 hours is missing").
    pub remarks: Vec<String>,
    /// The name of the source that decides.
    pub by: String,
    /// Where the sources differ most.
    pub differ: Vec<Differ>,
}

/// A forecast with the part it plays.
#[derive(Debug, Clone, Copy)]
pub struct Source<'a> {
    /// What its owner calls it.
    pub name: &'a str,
    /// The forecast.
    pub forecast: &'a Forecast,
    /// Its kind of product.
    pub product: Product,
    /// Where it stands among the others.
    pub standing: Standing,
}

/// Length of the past on a timeline.
const PAST_HOURS: i64 = 120;
/// Hours ahead in which a forecast counts as firm.
const FIRM_HOURS: usize = 72;
/// Longest hole that the wetness run bridges.
const BRIDGED_HOURS: usize = 3;

/// Joins the forecasts of one place into one past and future. `None` if there is none to join.
///
/// The first members that are not too old decide, else the first single forecast; further single
/// forecasts stand beside them as `main`, the worst of them hour by hour. All runs share the past of `main`
/// or, if its axis begins later, of the control run. `sin_elevation` gives the sine of the sun's elevation at the place, for
/// sources that offer no radiation.
pub fn stitch(
    sources: &[Source<'_>],
    now: DateTime<Utc>,
    sin_elevation: impl Fn(DateTime<Utc>) -> f64,
) -> Option<Timeline> {
    stitch_told(sources, &[], now, sin_elevation)
}

/// As [`stitch`], with a past told by others than the forecasts, the best teller first.
pub fn stitch_told(
    sources: &[Source<'_>],
    tellers: &[Known],
    now: DateTime<Utc>,
    sin_elevation: impl Fn(DateTime<Utc>) -> f64,
) -> Option<Timeline> {
    let (deciding, besides) = choose(sources, now)?;
    let beside = besides.iter().find(|source| is_whole(source.forecast)).copied();
    let stamps = axis(deciding.forecast, beside.map(|source| source.forecast), now);
    let now_row = usize::try_from(PAST_HOURS).unwrap_or_default().min(stamps.count);
    let place = |source: Source<'_>| -> Vec<Run> {
        source
            .forecast
            .runs
            .iter()
            .map(|run| moved(source.forecast, run, stamps, &sin_elevation))
            .collect()
    };
    let mut runs = place(deciding);
    let mut main = beside.and_then(|source| place(source).into_iter().next());
    let main_reaches_further =
        beside.is_some_and(|source| reach(source.forecast, stamps) >= reach(deciding.forecast, stamps));
    let mut shared = main.as_ref().filter(|_| main_reaches_further).or(runs.first())?.clone();
    for run in runs.iter_mut().chain(main.as_mut()) {
        share_past(run, &shared, now_row);
    }
    let others: Vec<(Source<'_>, Vec<Run>)> = besides.iter().map(|source| (*source, place(*source))).collect();
    let told: Vec<(Source<'_>, &[Run])> = std::iter::once((deciding, runs.as_slice()))
        .chain(others.iter().map(|(source, runs)| (*source, runs.as_slice())))
        .collect();
    let differ = differences(&told, now_row);
    for (other, said) in others.iter().filter_map(|(source, runs)| Some((source, runs.first()?))) {
        let offers = &other.forecast.offers;
        if let Some(main) = &mut main {
            worsen(main, said, offers, now_row);
        }
        if deciding.forecast.kind == Kind::Single || !is_whole(other.forecast) {
            runs.iter_mut().for_each(|run| worsen(run, said, offers, now_row));
        }
    }
    let mut all: Vec<&mut Run> = runs.iter_mut().chain(main.as_mut()).chain([&mut shared]).collect();
    let past = past::tell(&mut all, tellers, now_row);
    let mut credits = vec![deciding.forecast.credit.clone()];
    credits.extend(tellers.iter().filter_map(|known| known.credit.clone()));
    credits.extend(besides.iter().map(|source| source.forecast.credit.clone()));
    let mut seen = BTreeSet::new();
    credits.retain(|credit| seen.insert(credit.clone()));
    let mut remarks = remarks(sources, deciding, &runs, now_row, now);
    remarks.extend(past.sentences());
    remarks.extend(tellers.iter().flat_map(|known| known.remarks.clone()));
    Some(Timeline {
        stamps,
        now_row,
        main,
        kind: deciding.forecast.kind,
        estimated: with_offer(deciding.forecast, |offer| offer == Some(Offer::Estimated)),
        untold: with_offer(deciding.forecast, |offer| {
            !matches!(offer, Some(Offer::Given | Offer::Estimated))
        }),
        coarse_from: deciding
            .forecast
            .coarse_from
            .and_then(|stamp| coarse_row(stamps, stamp)),
        warned: Vec::new(),
        past_hours: past_hours(&shared, now_row),
        past,
        issue: deciding.forecast.issue,
        product: deciding.product,
        freshness: deciding.freshness(now),
        credits,
        remarks,
        by: deciding.name.to_owned(),
        differ,
        runs,
    })
}

impl Source<'_> {
    pub(super) fn freshness(&self, now: DateTime<Utc>) -> Freshness {
        self.product.freshness(self.forecast.issue.at, now)
    }
}

/// From [`PAST_HOURS`] before the last full hour to the end of the longest series.
fn axis(deciding: &Forecast, beside: Option<&Forecast>, now: DateTime<Utc>) -> Stamps {
    let full_hour = now - TimeDelta::seconds(now.timestamp().rem_euclid(3600));
    let full_hour = DateTime::from_timestamp(full_hour.timestamp(), 0).unwrap_or(full_hour);
    let first = full_hour - TimeDelta::hours(PAST_HOURS - 1);
    let end = |forecast: &Forecast| {
        let hours = forecast.runs.iter().map(Run::horizon).max().unwrap_or(0);
        // Hours of the source's first stamp before the axis begins count against it.
        let offset = (forecast.stamps.first - first).num_hours();
        usize::try_from(offset + i64::try_from(hours).unwrap_or(0)).unwrap_or(0)
    };
    let past = usize::try_from(PAST_HOURS).unwrap_or(0);
    let count = end(deciding).max(beside.map_or(0, end)).max(past);
    Stamps { first, count }
}

/// A run on another axis, with the radiation of a source that offers none.
fn moved(forecast: &Forecast, run: &Run, stamps: Stamps, sin_elevation: &impl Fn(DateTime<Utc>) -> f64) -> Run {
    let offset = (stamps.first - forecast.stamps.first).num_hours();
    let mut moved = Run {
        any_direction: forecast.offers.get(&Quantity::WindDirection) == Some(&Offer::Estimated),
        ..Run::default()
    };
    for quantity in Quantity::ALL {
        let series = run.of(quantity);
        let hours = (0..stamps.count).map(|k| {
            let row = i64::try_from(k).ok()?.checked_add(offset)?;
            series.get(usize::try_from(row).ok()?)
        });
        *moved.of_mut(quantity) = Series::new(hours);
    }
    if forecast.offers.get(&Quantity::Shortwave) == Some(&Offer::Estimated) {
        moved.shortwave = estimate::shortwave_series(stamps, &moved.cloud, sin_elevation);
    }
    moved
}

/// How many hours of an axis a forecast's own axis begins before the end of. Holes do not count: if
/// they did, taking a wet hour away from one source would let a drier one tell the past.
fn reach(forecast: &Forecast, stamps: Stamps) -> i64 {
    (stamps.at(stamps.count) - forecast.stamps.first.max(stamps.first)).num_hours()
}

fn share_past(run: &mut Run, past: &Run, now_row: usize) {
    for quantity in Quantity::ALL {
        let from = past.of(quantity);
        // What only one of the two sources tells must not look like a series full of holes.
        if run.of(quantity).is_all_gaps() || (from.is_all_gaps() && Quantity::OPTIONAL.contains(&quantity)) {
            continue;
        }
        if from.is_all_gaps() && past.any_direction && quantity == Quantity::WindDirection {
            continue;
        }
        for k in 0..now_row {
            run.of_mut(quantity).put(k, from.get(k));
        }
    }
}

/// Hours before now without a hole that the wetness run cannot bridge.
fn past_hours(past: &Run, now_row: usize) -> usize {
    const BRIDGED: [Quantity; 4] = [
        Quantity::Temperature,
        Quantity::DewPoint,
        Quantity::Wind,
        Quantity::Cloud,
    ];
    const STRICT: [Quantity; 3] = [Quantity::Rain, Quantity::Shortwave, Quantity::WindDirection];
    let (mut known, mut hole) = (0, 0);
    for (count, k) in (0..now_row).rev().enumerate() {
        let lacks = |quantity: &Quantity| past.of(*quantity).get(k).is_none();
        let strictly = |quantity: &Quantity| !(past.any_direction && *quantity == Quantity::WindDirection);
        if STRICT.iter().filter(|quantity| strictly(quantity)).any(lacks) {
            break;
        }
        hole = if BRIDGED.iter().any(lacks) { hole + 1 } else { 0 };
        if hole > BRIDGED_HOURS {
            break;
        }
        if hole == 0 {
            known = count + 1;
        }
    }
    known
}

/// The row of a stamp; steps from before the axis begins count from its first row.
fn coarse_row(stamps: Stamps, stamp: DateTime<Utc>) -> Option<usize> {
    if stamp < stamps.first {
        Some(0)
    } else {
        stamps.row(stamp)
    }
}

fn with_offer(forecast: &Forecast, keep: impl Fn(Option<Offer>) -> bool) -> BTreeSet<Quantity> {
    Quantity::ALL
        .into_iter()
        .filter(|quantity| keep(forecast.offers.get(quantity).copied()))
        .collect()
}

/// What a reader should know about gaps: sources left out, quantities filled in, hours missing.
fn remarks(
    sources: &[Source<'_>],
    deciding: Source<'_>,
    runs: &[Run],
    now_row: usize,
    now: DateTime<Utc>,
) -> Vec<String> {
    let mut found = Vec::new();
    for source in sources
        .iter()
        .filter(|source| !std::ptr::eq(source.forecast, deciding.forecast))
    {
        if source.freshness(now) == Freshness::Unknown {
            let hours = (now - source.forecast.issue.at).num_hours();
            found.push(format!(
                "{} is {hours} h old and left out.",
                source.forecast.credit.service
            ));
        }
    }
    for (quantity, offer) in &deciding.forecast.offers {
        let word = quantity.word();
        match (offer, quantity) {
            (Offer::Given, _) => {}
            (Offer::Estimated, Quantity::Gust) => {
                found.push("The forecast has no gusts: taken as twice the wind, at least 3 m/s more.".to_owned());
            }
            (Offer::Estimated, Quantity::DewPoint) => {
                found.push("The forecast has no dew point: worked out from temperature and humidity.".to_owned());
            }
            (Offer::Estimated, Quantity::WindDirection) => {
                found.push(
                    "The forecast has no wind direction: each hour counts with the worst for the block.".to_owned(),
                );
            }
            (Offer::Estimated, _) => found.push(format!("The forecast has no {word}: estimated from sun and cloud.")),
            (Offer::Refused, _) => found.push(format!("Not known: {word}. The forecast's values were not usable.")),
            (Offer::Gone, _) => found.push(format!("Not known: {word}. The forecast had it until now.")),
        }
    }
    found.extend(gaps(runs, now_row));
    found
}

/// What is missing between now and the end of the longest series; quantities missing alike in one sentence.
fn gaps(runs: &[Run], now_row: usize) -> Vec<String> {
    let end = runs.iter().map(Run::horizon).max().unwrap_or(0);
    let mut alike: Vec<((usize, usize), Vec<&str>)> = Vec::new();
    for quantity in Quantity::NEEDED {
        let missing = |run: &Run| {
            if quantity == Quantity::WindDirection && run.any_direction {
                0
            } else {
                holes(run.of(quantity), now_row, end)
            }
        };
        let holes: Vec<usize> = runs.iter().map(missing).collect();
        let most = holes.iter().copied().max().unwrap_or(0);
        let short = holes.iter().filter(|holes| **holes > 0).count();
        match alike.iter_mut().find(|(gap, _)| *gap == (most, short)) {
            _ if most == 0 => {}
            Some((_, words)) => words.push(quantity.word()),
            None => alike.push(((most, short), vec![quantity.word()])),
        }
    }
    let sentence = |((hours, short), words): ((usize, usize), Vec<&str>)| {
        let plural = if hours == 1 { "" } else { "s" };
        let in_runs = if short < runs.len() {
            format!(", in {short} of {} runs", runs.len())
        } else {
            String::new()
        };
        format!(
            "Missing in the forecast: {} of {hours} hour{plural}{in_runs}.",
            words.join(", ")
        )
    };
    alike.into_iter().map(sentence).collect()
}

/// Gaps between now and the last value. A series that ends within the firm days is counted to the end of the
/// longest one, for it darkens them as a hole does; a later end is usual and shows in the days themselves.
fn holes(series: &Series, now_row: usize, end: usize) -> usize {
    let own = series.horizon();
    let until = if own < now_row + FIRM_HOURS { end } else { own };
    (now_row..until).filter(|k| series.get(*k).is_none()).count()
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::super::forecast::{IssueBasis, Place};
    use super::*;
    use crate::units::Degrees;

    const NOW: &str = "2026-03-09T16:30:00Z";

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    /// A forecast whose every value is `value`, from `first` for `count` hours.
    fn forecast(kind: Kind, runs: usize, value: f64, first: &str, count: usize) -> Forecast {
        let mut run = Run::unknown(count);
        for quantity in Quantity::NEEDED {
            *run.of_mut(quantity) = Series::new(vec![Some(value); count]);
        }
        Forecast {
            credit: Credit {
                service: format!("{kind:?}"),
                line: String::new(),
                link: String::new(),
            },
            place: Place {
                latitude: Degrees(-39.6),
                longitude: Degrees(176.7),
                elevation: None,
            },
            stamps: Stamps {
                first: at(first),
                count,
            },
            runs: vec![run; runs],
            kind,
            offers: Quantity::NEEDED
                .into_iter()
                .map(|quantity| (quantity, Offer::Given))
                .collect::<BTreeMap<_, _>>(),
            issue: Issue {
                at: at("2026-03-09T12:00:00Z"),
                basis: IssueBasis::ValuesChanged,
            },
            fetched: at("2026-03-09T12:00:00Z"),
            rejected: 0,
            coarse_from: None,
        }
    }

    fn source(forecast: &Forecast) -> Source<'_> {
        Source {
            name: "one",
            forecast,
            product: Product::SixHourlyModel,
            standing: Standing::First,
        }
    }

    #[test]
    fn the_axis_begins_five_days_back_and_ends_with_the_longest_series() {
        let members = forecast(Kind::Members, 3, 1.0, "2026-03-04T00:00:00Z", 15 * 24);
        let line = stitch(&[source(&members)], at(NOW), |_| 1.0).unwrap();
        assert_eq!(line.stamps.first, at("2026-03-04T17:00:00Z"));
        assert_eq!(line.stamps.at(line.now_row), at("2026-03-09T17:00:00Z"));
        assert_eq!(line.stamps.at(line.stamps.count - 1), at("2026-03-18T23:00:00Z"));
        assert_eq!(line.past_hours, 120);
        assert_eq!(line.freshness, Freshness::Fresh);
        let on_the_hour = stitch(&[source(&members)], at("2026-03-09T17:00:00Z"), |_| 1.0).unwrap();
        assert_eq!(on_the_hour.stamps.at(on_the_hour.now_row), at("2026-03-09T18:00:00Z"));
    }

    #[test]
    fn members_share_the_past_of_the_main_forecast_and_keep_their_own_future() {
        let members = forecast(Kind::Members, 2, 1.0, "2026-03-09T00:00:00Z", 240);
        let main = forecast(Kind::Single, 1, 2.0, "2026-03-04T00:00:00Z", 10 * 24);
        let line = stitch(&[source(&main), source(&members)], at(NOW), |_| 1.0).unwrap();
        assert_eq!(line.kind, Kind::Members);
        let wind = |k: usize| line.runs.iter().map(|run| run.wind.get(k)).collect::<Vec<_>>();
        assert_eq!(wind(line.now_row - 1), [Some(2.0); 2]);
        assert_eq!(wind(line.now_row), [Some(1.0); 2]);
        assert_eq!(line.main.unwrap().wind.get(line.now_row), Some(2.0));
        assert_eq!(line.credits.len(), 2);
    }

    #[test]
    fn a_short_past_is_counted_and_never_filled() {
        let members = forecast(Kind::Members, 2, 1.0, "2026-03-09T00:00:00Z", 240);
        let line = stitch(&[source(&members)], at(NOW), |_| 1.0).unwrap();
        assert_eq!(line.past_hours, 17);
        assert_eq!(line.runs[0].wind.get(line.now_row - 18), None);
    }

    #[test]
    fn a_hole_of_wind_is_bridged_in_the_past_and_a_hole_of_rain_is_not() {
        let mut members = forecast(Kind::Members, 1, 1.0, "2026-03-04T00:00:00Z", 360);
        let ten_before = 5 * 24 + 17 - 10;
        for k in ten_before..ten_before + 3 {
            members.runs[0].wind.put(k, None);
        }
        assert_eq!(stitch(&[source(&members)], at(NOW), |_| 1.0).unwrap().past_hours, 120);
        members.runs[0].rain.put(ten_before, None);
        assert_eq!(stitch(&[source(&members)], at(NOW), |_| 1.0).unwrap().past_hours, 7);
    }

    #[test]
    fn each_quantity_ends_where_its_own_forecast_ends() {
        let mut main = forecast(Kind::Single, 1, 1.0, "2026-03-04T00:00:00Z", 360);
        for k in 240..360 {
            main.runs[0].gust.put(k, None);
        }
        let line = stitch(&[source(&main)], at(NOW), |_| 1.0).unwrap();
        assert_eq!(line.stamps.at(line.stamps.count - 1), at("2026-03-18T23:00:00Z"));
        assert_eq!(line.runs[0].missing(line.stamps.count - 1), Some(Quantity::Gust));
        assert!(line.remarks.is_empty(), "{:?}", line.remarks);
    }

    #[test]
    fn an_ensemble_that_is_too_old_gives_way_to_a_forecast_that_is_not() {
        let mut members = forecast(Kind::Members, 2, 1.0, "2026-03-04T00:00:00Z", 360);
        members.issue.at = at("2026-03-08T12:00:00Z");
        let main = forecast(Kind::Single, 1, 2.0, "2026-03-04T00:00:00Z", 360);
        let line = stitch(&[source(&members), source(&main)], at(NOW), |_| 1.0).unwrap();
        assert_eq!((line.kind, line.main), (Kind::Single, None));
        assert_eq!(line.remarks, ["Members is 28 h old and left out."]);
        let alone = stitch(&[source(&members)], at(NOW), |_| 1.0).unwrap();
        assert_eq!(alone.freshness, Freshness::Unknown);
        assert!(stitch(&[], at(NOW), |_| 1.0).is_none());
    }

    #[test]
    fn sunshine_that_is_not_offered_is_estimated_and_said_so() {
        let mut main = forecast(Kind::Single, 1, 0.5, "2026-03-04T00:00:00Z", 360);
        main.runs[0].shortwave = Series::gaps(360);
        main.offers.insert(Quantity::Shortwave, Offer::Estimated);
        let line = stitch(&[source(&main)], at(NOW), |_| 1.0).unwrap();
        assert_eq!(line.runs[0].shortwave.get(line.now_row), Some(650.0));
        assert!(line.estimated.contains(&Quantity::Shortwave));
        assert_eq!(
            line.remarks,
            ["The forecast has no sunshine: estimated from sun and cloud."]
        );
    }

    #[test]
    fn missing_hours_are_said() {
        let mut main = forecast(Kind::Single, 1, 0.5, "2026-03-04T00:00:00Z", 360);
        for k in 200..203 {
            main.runs[0].wind.put(k, None);
        }
        let line = stitch(&[source(&main)], at(NOW), |_| 1.0).unwrap();
        assert_eq!(line.remarks, ["Missing in the forecast: wind of 3 hours."]);
    }

    /// A series that ends early, or a run that knows nothing, darkens as many hours as a hole would.
    #[test]
    fn sun_that_ends_early_and_a_run_without_gusts_are_said() {
        let mut members = forecast(Kind::Members, 3, 0.5, "2026-03-04T00:00:00Z", 360);
        for k in 180..360 {
            members.runs.iter_mut().for_each(|run| run.shortwave.put(k, None));
        }
        members.runs[1].gust = Series::gaps(360);
        let line = stitch(&[source(&members)], at(NOW), |_| 1.0).unwrap();
        assert_eq!(
            line.remarks,
            [
                "Missing in the forecast: gusts of 223 hours, in 1 of 3 runs.",
                "Missing in the forecast: sunshine of 180 hours."
            ]
        );
    }
}
