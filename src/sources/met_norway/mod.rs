//! Replies of MET Norway: Locationforecast 2.0 (complete, compact) and Nowcast 2.0.
//!
//! In:     GeoJSON with times in UTC and units in `meta.units`.
//! Out:    a single forecast in canonical hours, or from the nowcast the few quantities it has.
//! Source: the service's documentation of the data model and its JSON schema: `instant` holds at the
//!         time of its step, `next_1_hours` and `next_6_hours` from it on; the gust stands under
//!         `instant` and is the highest of a period, so it counts in the steps on both sides.
//!         There is no radiation, and outside the Nordic and Arctic area no gust.

mod reply;
mod symbol;

use chrono::{DateTime, TimeDelta, Utc};

use self::reply::{Details, Period, Reply, Step, Units};
use super::context::Context;
use super::gather::{self, Extent, Factor, Gather};
use super::json::{self, Cell, Text};
use super::refusal::{Refusal, cleaned};
use crate::weather::{Credit, Forecast, Quantity, Valid};

/// Share of the sky filled by fog from which on the hour counts as foggy. Assumed: half.
const FOGGY: f64 = 0.5;
/// Chance of thunder from which on the hour counts as one with thunder. Assumed: one in ten, because
/// lightning leaves no second try; the symbol names thunder only where it is likelier than that.
const THUNDERY: f64 = 0.1;
/// Longest time between two steps that is a step and not a hole \[h\].
const LONGEST_STEP_H: i64 = 12;

/// Reads a reply, or says why it cannot be used. A nowcast becomes a forecast of rain, and of the
/// temperature and wind of its first step; it can check another forecast and stands for none.
pub fn read(bytes: &[u8], context: &Context<'_>) -> Result<Forecast, Refusal> {
    let reply: Reply = json::parse(bytes)?;
    let properties = reply.properties.ok_or(Refusal::NoSteps)?;
    let meta = properties.meta.unwrap_or_default();
    let steps = properties.timeseries.unwrap_or_default().0;
    let radar = meta.radar_coverage.get();
    if let Some(state) = radar.filter(|state| *state != "ok") {
        return Err(Refusal::NoRadar(cleaned(state)));
    }
    let times = times(&steps)?;
    let has_rate = |step: &Step| details(step).is_some_and(|details| details.precipitation_rate.is_some());
    let is_nowcast = radar.is_some() || steps.iter().any(has_rate);
    let mut gather = Gather::new();
    let timed: Vec<(DateTime<Utc>, &Step)> = times.into_iter().zip(&steps).collect();
    instants(&mut gather, &timed, &meta.units)?;
    if is_nowcast {
        radar_rain(&mut gather, &timed, &meta.units)?;
    }
    periods(&mut gather, &timed, &meta.units)?;
    let issue = gather::said(meta.updated_at.get(), context.fetched)?;
    let place = reply.geometry.and_then(|geometry| geometry.coordinates);
    let coordinate = |place: usize, from: &[Cell]| match from.get(place) {
        Some(Cell::Number(value)) => Some(*value),
        _ => None,
    };
    let from = place.unwrap_or_default().0;
    let place = gather::place(
        (coordinate(1, &from), coordinate(0, &from)),
        coordinate(2, &from),
        context.site,
        gather::OFF_SINGLE_DEG,
    )?;
    let extent = if is_nowcast { Extent::Part } else { Extent::Whole };
    gather.forecast(credit(is_nowcast), place, issue, extent, context)
}

fn credit(is_nowcast: bool) -> Credit {
    let service = if is_nowcast { "MET Norway nowcast" } else { "MET Norway" };
    Credit {
        service: service.to_owned(),
        line: "Based on data from MET Norway (CC BY 4.0), changed: checked for gaps and made hourly".to_owned(),
        link: "https://api.met.no/".to_owned(),
    }
}

fn details(step: &Step) -> Option<&Details> {
    step.data.instant.as_ref()?.details.as_ref()
}

/// The times of the steps, each later than the one before.
fn times(steps: &[Step]) -> Result<Vec<DateTime<Utc>>, Refusal> {
    let times: Vec<DateTime<Utc>> = steps
        .iter()
        .map(|step| step.time.get().and_then(gather::instant))
        .collect::<Option<_>>()
        .ok_or(Refusal::StepTimes)?;
    if times.is_empty() {
        return Err(Refusal::NoSteps);
    }
    match times.windows(2).position(|pair| matches!(pair, [a, b] if b <= a)) {
        Some(position) => Err(Refusal::NotAscending { position: position + 2 }),
        None => Ok(times),
    }
}

/// Time from a step to the next, and to the one before; an hour where there is none or a hole follows.
fn length(times: &[(DateTime<Utc>, &Step)], k: usize) -> TimeDelta {
    let (Some((at, _)), Some((next, _))) = (times.get(k), times.get(k + 1)) else {
        return TimeDelta::hours(1);
    };
    let step = *next - *at;
    if step > TimeDelta::hours(LONGEST_STEP_H) {
        TimeDelta::hours(1)
    } else {
        step
    }
}

fn instants(gather: &mut Gather, timed: &[(DateTime<Utc>, &Step)], units: &Units) -> Result<(), Refusal> {
    type Of = fn(&Details) -> Option<Cell>;
    let plain: [(Quantity, Of, &Text, &str); 5] = [
        (
            Quantity::Temperature,
            |d| d.air_temperature,
            &units.air_temperature,
            "air_temperature",
        ),
        (
            Quantity::DewPoint,
            |d| d.dew_point_temperature,
            &units.dew_point_temperature,
            "dew_point_temperature",
        ),
        (Quantity::Wind, |d| d.wind_speed, &units.wind_speed, "wind_speed"),
        (
            Quantity::WindDirection,
            |d| d.wind_from_direction,
            &units.wind_from_direction,
            "wind_from_direction",
        ),
        (
            Quantity::Cloud,
            |d| d.cloud_area_fraction,
            &units.cloud_area_fraction,
            "cloud_area_fraction",
        ),
    ];
    let cell = |step: &Step, of: Of| details(step).and_then(of).unwrap_or(Cell::Null);
    let told = |of: Of| timed.iter().any(|(_, step)| cell(step, of) != Cell::Null);
    for (quantity, of, unit, key) in plain {
        if told(of) {
            let factor = factor(unit, key)?;
            for (at, step) in timed {
                gather.tell(quantity, Valid::At(*at), cell(step, of), factor);
            }
        }
    }
    let humidity: Of = |d| d.relative_humidity;
    if told(humidity) {
        let factor = factor(&units.relative_humidity, "relative_humidity")?;
        for (at, step) in timed {
            gather.tell_humidity(Valid::At(*at), cell(step, humidity), factor);
        }
    }
    gusts(gather, timed, &units.wind_speed_of_gust)
}

/// The gust of a step is the highest of a period around it. Between two steps the larger counts, and
/// where one of the two is missing the time between is a hole: what is there may be the smaller.
fn gusts(gather: &mut Gather, timed: &[(DateTime<Utc>, &Step)], unit: &Text) -> Result<(), Refusal> {
    let cell = |step: &Step| details(step).and_then(|details| details.wind_speed_of_gust);
    let count = timed.iter().filter(|(_, step)| cell(step).is_some()).count();
    if count == 0 {
        return Ok(());
    }
    let factor = factor(unit, "wind_speed_of_gust")?;
    // A nowcast tells it once, for the hour to come.
    if let [(at, first), ..] = timed
        && count == 1
    {
        let from = *at - TimeDelta::seconds(at.timestamp().rem_euclid(3600));
        let to = *at + TimeDelta::hours(1);
        let value = cell(first).unwrap_or(Cell::Null);
        gather.tell(Quantity::Gust, Valid::Over { from, to }, value, factor);
        return Ok(());
    }
    for pair in timed.windows(2) {
        let [(at, step), (next, after)] = pair else { continue };
        let larger = match (cell(step), cell(after)) {
            (Some(Cell::Number(a)), Some(Cell::Number(b))) => Cell::Number(a.max(b)),
            (None | Some(Cell::Number(_) | Cell::Null), None | Some(Cell::Number(_) | Cell::Null)) => Cell::Null,
            _ => Cell::Odd,
        };
        let step = *next - *at <= TimeDelta::hours(LONGEST_STEP_H);
        let larger = if step { larger } else { Cell::Null };
        gather.tell(Quantity::Gust, Valid::Over { from: *at, to: *next }, larger, factor);
    }
    Ok(())
}

/// Rain as the radar sees it move: a rate every few minutes. The larger of two neighbouring rates counts
/// between them, and what falls at the first step has fallen since its hour began.
fn radar_rain(gather: &mut Gather, timed: &[(DateTime<Utc>, &Step)], units: &Units) -> Result<(), Refusal> {
    let cell = |k: usize| {
        let step = timed.get(k).map(|(_, step)| *step);
        step.and_then(details)
            .and_then(|details| details.precipitation_rate)
            .unwrap_or(Cell::Null)
    };
    if (0..timed.len()).all(|k| cell(k) == Cell::Null) {
        return Err(Refusal::NoRadar("no precipitation_rate".to_owned()));
    }
    let (factor, _) = factor(&units.precipitation_rate, "precipitation_rate")?;
    for (k, (at, _)) in timed.iter().enumerate() {
        let Some((next, _)) = timed.get(k + 1) else { break };
        let larger = match (cell(k), cell(k + 1)) {
            (Cell::Number(a), Cell::Number(b)) => Cell::Number(a.max(b)),
            (Cell::Number(_) | Cell::Null, Cell::Number(_) | Cell::Null) => Cell::Null,
            _ => Cell::Odd,
        };
        let mut from = *at;
        if k == 0 {
            from -= TimeDelta::seconds(at.timestamp().rem_euclid(3600));
        }
        // A rate over a hole of the series is no rate.
        let larger = if *next - *at > TimeDelta::minutes(30) {
            Cell::Null
        } else {
            larger
        };
        let hours = (*next - from).as_seconds_f64() / 3600.0;
        gather.tell(
            Quantity::Rain,
            Valid::Over { from, to: *next },
            larger,
            (factor * hours, 0.0),
        );
    }
    Ok(())
}

/// Sums and symbols of the hours after each step. Where an entry tells the next hour and the next six,
/// the hour counts and the six are its own hours told again.
fn periods(gather: &mut Gather, timed: &[(DateTime<Utc>, &Step)], units: &Units) -> Result<(), Refusal> {
    let told: Vec<(Valid, &Period)> = timed
        .iter()
        .filter_map(|(at, step)| match (&step.data.next_1_hours, &step.data.next_6_hours) {
            (Some(hour), _) => Some((Valid::after(*at, 1), hour)),
            (None, Some(six)) => Some((Valid::after(*at, 6), six)),
            (None, None) => None,
        })
        .collect();
    let amount = |period: &Period| period.details.as_ref().and_then(|details| details.precipitation_amount);
    if told.iter().any(|(_, period)| amount(period).is_some()) {
        let factor = factor(&units.precipitation_amount, "precipitation_amount")?;
        for (valid, period) in &told {
            gather.tell(Quantity::Rain, *valid, amount(period).unwrap_or(Cell::Null), factor);
        }
    }
    let fog_factor = match units.fog_area_fraction.get() {
        Some("%") => Some(0.01),
        _ => None,
    };
    let thunder_factor = match units.probability_of_thunder.get() {
        Some("%") => Some(0.01),
        _ => None,
    };
    let flag = |is: bool| Some(f64::from(u8::from(is)));
    for (valid, period) in &told {
        let symbol = period.summary.as_ref().and_then(|summary| summary.symbol_code.get());
        let seen = symbol.and_then(symbol::Seen::of);
        let chance = period
            .details
            .as_ref()
            .and_then(|details| details.probability_of_thunder);
        let likely = match (chance, thunder_factor) {
            (Some(Cell::Number(chance)), Some(factor)) => chance * factor >= THUNDERY,
            _ => false,
        };
        let thunder = seen.map(|seen| seen.thunder || likely).or(likely.then_some(true));
        gather.tell_sound(Quantity::Thunder, *valid, thunder.and_then(flag));
        gather.tell_sound(Quantity::Snow, *valid, seen.and_then(|seen| flag(seen.snow)));
        gather.tell_sound(Quantity::Fog, *valid, seen.and_then(|seen| flag(seen.fog)));
    }
    for (k, (at, step)) in timed.iter().enumerate() {
        let fog = details(step).and_then(|details| details.fog_area_fraction);
        if let (Some(Cell::Number(share)), Some(factor)) = (fog, fog_factor)
            && share * factor >= FOGGY
        {
            let valid = Valid::Over {
                from: *at - TimeDelta::hours(1),
                to: *at + length(timed, k),
            };
            gather.tell_sound(Quantity::Fog, valid, Some(1.0));
        }
    }
    Ok(())
}

fn factor(unit: &Text, key: &str) -> Result<Factor, Refusal> {
    match unit.get() {
        Some("celsius" | "m/s" | "degrees" | "mm" | "mm/h") if fits(unit.get(), key) => Ok((1.0, 0.0)),
        Some("%") if fits(Some("%"), key) => Ok((0.01, 0.0)),
        other => Err(gather::unknown_unit(key, other)),
    }
}

/// Whether a unit is the one its quantity comes in.
fn fits(unit: Option<&str>, key: &str) -> bool {
    let expected = match key {
        "air_temperature" | "dew_point_temperature" => "celsius",
        "wind_speed" | "wind_speed_of_gust" => "m/s",
        "wind_from_direction" => "degrees",
        "precipitation_amount" => "mm",
        "precipitation_rate" => "mm/h",
        _ => "%",
    };
    unit == Some(expected)
}
