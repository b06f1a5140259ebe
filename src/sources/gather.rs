//! Told values of one single forecast, collected quantity by quantity, checked, and made into hours.
//!
//! The readers of services that tell values with a validity of their own say here what holds when;
//! [`crate::weather::valid`] makes hours of it. What no weather is like is taken out and counted, what a
//! service does not offer is filled in by the rules of [`crate::weather::estimate`], and what it used to
//! offer is left a hole.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};

use super::context::Context;
use super::json::Cell;
use super::refusal::{Refusal, cleaned};
use crate::units::{Degrees, Metres};
use crate::weather::{
    Credit, Forecast, Issue, IssueBasis, Kind, Offer, Place, Quantity, Run, Series, Stamps, Told, Valid, estimate,
    valid,
};

/// Share of impossible values above which none of a quantity is trusted.
pub(super) const TOO_MANY_REJECTED: f64 = 0.05;
/// By how much a dew point may lie above the temperature, for rounding \[K\].
pub(super) const DEW_ABOVE_AIR_K: f64 = 1.0;
/// Longest axis: 92 past and 35 coming days, and one more.
const MOST_HOURS: i64 = 128 * 24;
/// Furthest that a single forecast's place may lie from the site \[degrees\] or above or below it \[m\].
pub(super) const OFF_SINGLE_DEG: f64 = 0.1;
const OFF_HEIGHT_M: f64 = 300.0;
/// A clock that much behind the service's is no fault \[min\].
const CLOCK_SLACK_MIN: i64 = 15;

/// Lowest and highest value that is kept, in canonical units. What lies outside is like no weather
/// on a farm: WMO records of 2 m temperature are -89 and 57 °C, of a gust 113 m/s (a cyclone), of an
/// hour's rain about 305 mm; the ends for wind and rain are taken lower on purpose, because an hour
/// beyond them is better unknown.
pub(super) fn range(quantity: Quantity) -> (f64, f64) {
    match quantity {
        Quantity::Temperature => (-70.0, 60.0),
        Quantity::DewPoint => (-90.0, 40.0),
        Quantity::Rain => (0.0, 200.0),
        Quantity::Wind => (0.0, 70.0),
        Quantity::Gust => (0.0, 100.0),
        Quantity::WindDirection => (0.0, 360.0),
        Quantity::Shortwave => (0.0, 1500.0),
        Quantity::Cloud => (0.0, 1.0001),
        Quantity::Thunder | Quantity::Fog | Quantity::Snow => (0.0, 1.0),
    }
}

/// Lowest and highest relative humidity that is kept.
pub(super) const HUMIDITY: (f64, f64) = (0.0, 1.05);

/// Factor and offset from a told unit to the canonical one.
pub(super) type Factor = (f64, f64);

/// How much of the weather a product tells by its nature.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Extent {
    /// All that an hour is judged by.
    Whole,
    /// A few quantities, to check another forecast with.
    Part,
}

/// Everything that a reply told.
pub(super) struct Gather {
    told: BTreeMap<Quantity, Vec<Told>>,
    humidity: Vec<Told>,
    /// Rejected and all values by quantity.
    counts: BTreeMap<Quantity, (usize, usize)>,
    refused: BTreeSet<Quantity>,
}

impl Gather {
    /// Nothing yet.
    pub(super) fn new() -> Self {
        Self {
            told: BTreeMap::new(),
            humidity: Vec::new(),
            counts: BTreeMap::new(),
            refused: BTreeSet::new(),
        }
    }

    /// Whether nothing was told.
    pub(super) fn is_empty(&self) -> bool {
        self.told.is_empty() && self.humidity.is_empty()
    }

    /// Adds a value as written.
    pub(super) fn tell(&mut self, quantity: Quantity, valid: Valid, cell: Cell, factor: Factor) {
        let (value, odd) = canonical(cell, factor, range(quantity));
        let count = self.counts.entry(quantity).or_default();
        count.0 += usize::from(odd);
        count.1 += usize::from(odd || value.is_some());
        self.told.entry(quantity).or_default().push(Told { valid, value });
    }

    /// Adds a value that is in canonical units and known to be sound.
    pub(super) fn tell_sound(&mut self, quantity: Quantity, valid: Valid, value: Option<f64>) {
        self.told.entry(quantity).or_default().push(Told { valid, value });
    }

    /// Adds a relative humidity, from which the dew point comes where none is told.
    pub(super) fn tell_humidity(&mut self, valid: Valid, cell: Cell, factor: Factor) {
        let (value, odd) = canonical(cell, factor, HUMIDITY);
        // Humidity stands in for the dew point, and is judged as it.
        let count = self.counts.entry(Quantity::DewPoint).or_default();
        count.0 += usize::from(odd);
        count.1 += usize::from(odd || value.is_some());
        self.humidity.push(Told { valid, value });
    }

    /// Makes hours of everything told.
    pub(super) fn forecast(
        mut self,
        credit: Credit,
        place: Place,
        issue: Issue,
        extent: Extent,
        context: &Context<'_>,
    ) -> Result<Forecast, Refusal> {
        self.judge()?;
        let stamps = self.axis()?;
        let mut run = Run::unknown(stamps.count);
        let mut coarse_from = None;
        for (quantity, told) in &self.told {
            if self.refused.contains(quantity) {
                continue;
            }
            let hours = valid::hours(*quantity, told, stamps);
            if let Some(row) = hours.coarse_from.filter(|_| Quantity::NEEDED.contains(quantity)) {
                coarse_from = Some(coarse_from.map_or(row, |first: usize| first.min(row)));
            }
            *run.of_mut(*quantity) = hours.series;
        }
        if run.dew_point.is_all_gaps() && !self.humidity.is_empty() {
            let humidity = valid::hours(Quantity::DewPoint, &self.humidity, stamps);
            let dew = humidity
                .series
                .iter()
                .zip(run.temperature.iter())
                .map(|(share, air)| estimate::dew_point(air?, share?.min(1.0)));
            run.dew_point = Series::new(dew);
        }
        let too_moist = refuse_dew_above_air(&mut run)?;
        let offers = self.offers(&run, extent, context.offered);
        if extent == Extent::Whole {
            missing(&run)?;
            fill(&mut run, &offers);
        }
        raise_gusts(&mut run);
        let last = stamps.at(stamps.count.saturating_sub(1));
        if last <= context.fetched {
            return Err(Refusal::Past { last });
        }
        Ok(Forecast {
            credit,
            place,
            stamps,
            runs: vec![run],
            kind: Kind::Single,
            offers,
            issue,
            fetched: context.fetched,
            rejected: self.counts.values().map(|(rejected, _)| rejected).sum::<usize>() + too_moist,
            coarse_from: coarse_from.map(|row| stamps.at(row)),
        })
    }

    /// Whether so many values were impossible that none of a quantity is trusted.
    fn judge(&mut self) -> Result<(), Refusal> {
        for (quantity, (rejected, of)) in &self.counts {
            if !too_many(*rejected, *of) {
                continue;
            }
            if Quantity::NEEDED.contains(quantity) {
                return Err(Refusal::Impossible {
                    word: quantity.word(),
                    rejected: *rejected,
                    of: *of,
                });
            }
            self.refused.insert(*quantity);
        }
        Ok(())
    }

    /// From the first to the last moment told.
    fn axis(&self) -> Result<Stamps, Refusal> {
        let told = || self.told.values().flatten().chain(&self.humidity);
        let hour = |at: DateTime<Utc>| at.timestamp().div_euclid(3600);
        let first = told().map(|told| match told.valid {
            Valid::At(at) => hour(at - TimeDelta::seconds(1)) + 1,
            Valid::Over { from, .. } => hour(from) + 1,
        });
        let last = told().map(|told| match told.valid {
            Valid::At(at) | Valid::Over { to: at, .. } => hour(at),
        });
        let (Some(first), Some(last)) = (first.min(), last.max()) else {
            return Err(Refusal::NoSteps);
        };
        if last - first >= MOST_HOURS {
            return Err(Refusal::TooLong);
        }
        let count = usize::try_from(last - first + 1).unwrap_or(0);
        let first = DateTime::from_timestamp(first * 3600, 0).ok_or(Refusal::Times)?;
        if count == 0 {
            return Err(Refusal::NoSteps);
        }
        Ok(Stamps { first, count })
    }

    fn offers(&self, run: &Run, extent: Extent, offered_before: &BTreeSet<Quantity>) -> BTreeMap<Quantity, Offer> {
        let offer = |quantity: Quantity| {
            let optional = Quantity::OPTIONAL.contains(&quantity);
            if !run.of(quantity).is_all_gaps() {
                Some(Offer::Given)
            } else if self.refused.contains(&quantity) {
                Some(Offer::Refused)
            } else if offered_before.contains(&quantity) {
                Some(Offer::Gone)
            } else if optional || extent == Extent::Part {
                None
            } else {
                Some(Offer::Estimated)
            }
        };
        Quantity::ALL
            .into_iter()
            .filter_map(|quantity| Some((quantity, offer(quantity)?)))
            .collect()
    }
}

/// A value in canonical units, if it is one, and whether something impossible stood there.
pub(super) fn canonical(cell: Cell, (factor, offset): Factor, (lowest, highest): (f64, f64)) -> (Option<f64>, bool) {
    let value = match cell {
        Cell::Null => return (None, false),
        Cell::Quoted(_) | Cell::Odd => return (None, true),
        Cell::Number(value) => value * factor + offset,
    };
    if (lowest..=highest).contains(&value) {
        (Some(value), false)
    } else {
        (None, true)
    }
}

#[expect(clippy::cast_precision_loss, reason = "counts of values stay far below 2^52")]
pub(super) fn too_many(rejected: usize, of: usize) -> bool {
    rejected as f64 > TOO_MANY_REJECTED * of as f64
}

fn refuse_dew_above_air(run: &mut Run) -> Result<usize, Refusal> {
    let of = run.dew_point.known();
    let mut rejected = 0;
    for k in 0..run.dew_point.len() {
        if let (Some(dew), Some(air)) = (run.dew_point.get(k), run.temperature.get(k))
            && dew > air + DEW_ABOVE_AIR_K
        {
            run.dew_point.put(k, None);
            rejected += 1;
        }
    }
    if too_many(rejected, of) {
        let word = Quantity::DewPoint.word();
        return Err(Refusal::Impossible { word, rejected, of });
    }
    Ok(rejected)
}

/// Refuses a reply without a quantity that no rule fills in.
fn missing(run: &Run) -> Result<(), Refusal> {
    let bare = [
        Quantity::Temperature,
        Quantity::Wind,
        Quantity::Rain,
        Quantity::Cloud,
        Quantity::DewPoint,
    ];
    let missing: Vec<&str> = bare
        .into_iter()
        .filter(|quantity| run.of(*quantity).is_all_gaps())
        .map(Quantity::word)
        .collect();
    if missing.is_empty() {
        Ok(())
    } else {
        Err(Refusal::Lacks(missing))
    }
}

/// Gusts by rule where the service has none. Sunshine is left to `weather::stitch`, which knows the sun,
/// and the direction to the block, which knows its worst.
fn fill(run: &mut Run, offers: &BTreeMap<Quantity, Offer>) {
    if offers.get(&Quantity::Gust) == Some(&Offer::Estimated) {
        run.gust = Series::new(run.wind.iter().map(|wind| wind.map(estimate::gust)));
    }
}

fn raise_gusts(run: &mut Run) {
    let gusts: Vec<Option<f64>> = run
        .gust
        .iter()
        .zip(run.wind.iter())
        .map(|(gust, wind)| Some(gust?.max(wind.unwrap_or(0.0))))
        .collect();
    run.gust = Series::new(gusts);
}

/// The issue time that a reply tells of itself.
pub(super) fn said(written: Option<&str>, fetched: DateTime<Utc>) -> Result<Issue, Refusal> {
    let at = written.and_then(instant).ok_or(Refusal::NoIssueTime)?;
    if at > fetched + TimeDelta::minutes(CLOCK_SLACK_MIN) {
        return Err(Refusal::Future { at });
    }
    Ok(Issue {
        at,
        basis: IssueBasis::Said,
    })
}

/// A time with its offset, between 2000 and 2100.
pub(super) fn instant(written: &str) -> Option<DateTime<Utc>> {
    let at = DateTime::parse_from_rfc3339(written.trim()).ok()?.to_utc();
    (946_684_800..4_102_444_800).contains(&at.timestamp()).then_some(at)
}

/// The place a reply is for, if it is the site's.
pub(super) fn place(
    (latitude, longitude): (Option<f64>, Option<f64>),
    elevation: Option<f64>,
    site: Place,
    allowed: f64,
) -> Result<Place, Refusal> {
    let (Some(latitude), Some(longitude)) = (latitude, longitude) else {
        return Err(Refusal::NoPlace);
    };
    if !(-90.0..=90.0).contains(&latitude) || !(-180.0..=360.0).contains(&longitude) {
        return Err(Refusal::NoPlace);
    }
    let east = (longitude - site.longitude.0).rem_euclid(360.0);
    let degrees = (latitude - site.latitude.0).abs().max(east.min(360.0 - east));
    if degrees > allowed + 1e-6 {
        return Err(Refusal::OtherPlace { degrees, allowed });
    }
    if let (Some(told_m), Some(Metres(site_m))) = (elevation, site.elevation)
        && (told_m - site_m).abs() > OFF_HEIGHT_M
    {
        return Err(Refusal::OtherHeight { told_m, site_m });
    }
    Ok(Place {
        latitude: Degrees(latitude),
        longitude: Degrees(longitude),
        elevation: elevation.map(Metres),
    })
}

/// The refusal of a unit that is not known.
pub(super) fn unknown_unit(key: &str, unit: Option<&str>) -> Refusal {
    Refusal::Unit {
        key: cleaned(key),
        unit: unit.map(cleaned),
    }
}
