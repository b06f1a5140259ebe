//! MOSMIX forecasts of the German weather service: statistics over two models, for some 6000 stations of the world.
//!
//! In:     KML, or a KMZ archive with one KML, of one station or of all.
//! Out:    a single forecast in canonical hours for the station asked for, or else the one that lies best.
//! Source: the service's list of elements; a value of the last hour stamped 13:00 holds from 12:00 to 13:00.
//!         Temperatures are in kelvin, sunshine in kJ/m2 an hour, rain in kg/m2, winds in m/s at 10 m.
//!         Which elements a station has differs, and is found out at each load.

mod element;
mod kml;

use std::io::Read;

use chrono::TimeDelta;

use self::kml::{Head, Station};
use super::Context;
use super::gather::{self, Extent, Gather};
use super::refusal::{Refusal, cleaned};
use super::unpack::{Archive, Markup};
use crate::units::{Degrees, Metres};
use crate::weather::forecast::{Apart, FAR_KM, FAR_M};
use crate::weather::{Credit, Forecast, Issue, IssueBasis, Place};

/// Furthest and highest or lowest a station may lie \[km, m\]. Assumed: beyond it is other weather.
const MOST_KM: f64 = 100.0;
const MOST_M: f64 = 500.0;
/// Most bytes of a file that is not packed.
const MOST_BYTES: u64 = 4 << 30;
/// Time from the issue to the first step, and a clock a little behind.
const FIRST_STEP_MIN: i64 = 75;

/// Reads the forecast of the station that lies best: near in distance and in height.
pub fn read(bytes: &[u8], context: &Context<'_>) -> Result<Forecast, Refusal> {
    read_station(bytes, None, context)
}

/// Reads the forecast of the station with this id, or of the one that lies best.
pub fn read_station(bytes: &[u8], station: Option<&str>, context: &Context<'_>) -> Result<Forecast, Refusal> {
    if bytes.iter().all(u8::is_ascii_whitespace) {
        return Err(Refusal::Empty);
    }
    let (head, found) = if bytes.starts_with(b"PK") {
        let mut archive = Archive::open(bytes)?;
        let [number] = archive.ending(".kml")[..] else {
            return Err(Refusal::Archive);
        };
        let (file, most) = archive.file(number)?;
        find(Markup::new(file, most), station, context.site)?
    } else {
        find(Markup::new(bytes, MOST_BYTES), station, context.site)?
    };
    forecast(&head, &found, context)
}

/// Walks to the wanted station, or through all of them.
fn find<R: Read>(markup: Markup<R>, wanted: Option<&str>, site: Place) -> Result<(Head, Station), Refusal> {
    let mut found: Option<(f64, Station)> = None;
    let mut stations = 0_usize;
    let head = kml::walk(markup, wanted, |_, station| {
        stations += 1;
        if let Some(wanted) = wanted {
            let is = station.id.trim().eq_ignore_ascii_case(wanted.trim());
            if is {
                found = Some((0.0, std::mem::take(station)));
            }
            return is;
        }
        if let Some(place) = place(station) {
            let off = distance(place, site);
            if found.as_ref().is_none_or(|(best, _)| off < *best) {
                found = Some((off, std::mem::take(station)));
            }
        }
        false
    })?;
    match (found, wanted) {
        (Some((_, station)), _) => Ok((head, station)),
        (None, Some(wanted)) if stations > 0 => Err(Refusal::NoStation(cleaned(wanted))),
        (None, None) if stations > 0 => Err(Refusal::NoPlace),
        (None, _) => Err(Refusal::NoSteps),
    }
}

fn place(station: &Station) -> Option<Place> {
    let (longitude, latitude, height) = station.coordinates()?;
    Some(Place {
        latitude: Degrees(latitude),
        longitude: Degrees(longitude),
        elevation: height.map(Metres),
    })
}

/// How badly a station stands for a site: its distance and its height, each as a share of what is far.
fn distance(station: Place, site: Place) -> f64 {
    let Apart { km, metres } = station.apart(&site);
    (km / FAR_KM).hypot(metres.unwrap_or(0.0) / FAR_M)
}

fn forecast(head: &Head, station: &Station, context: &Context<'_>) -> Result<Forecast, Refusal> {
    if head.steps.is_empty() {
        return Err(Refusal::NoSteps);
    }
    if let Some(position) = head.steps.windows(2).position(|pair| matches!(pair, [a, b] if b <= a)) {
        return Err(Refusal::NotAscending { position: position + 2 });
    }
    let place = place(station).ok_or(Refusal::NoPlace)?;
    let Apart { km, metres } = place.apart(&context.site);
    if km > MOST_KM || metres.is_some_and(|metres| metres.abs() > MOST_M) {
        return Err(Refusal::FarStation {
            station: station.called(),
            km,
            metres: metres.unwrap_or(0.0),
        });
    }
    let mut gather = Gather::new();
    element::tell(&mut gather, head, station)?;
    if gather.is_empty() {
        return Err(Refusal::NoSteps);
    }
    gather.forecast(credit(station), place, issue(head, context)?, Extent::Whole, context)
}

/// The time of issue; a file without one counts from its first step.
fn issue(head: &Head, context: &Context<'_>) -> Result<Issue, Refusal> {
    let written = head.issue.trim();
    if !written.is_empty() {
        return gather::said(Some(written), context.fetched);
    }
    let at = *head.steps.first().ok_or(Refusal::NoSteps)?;
    if at > context.fetched + TimeDelta::minutes(FIRST_STEP_MIN) {
        return Err(Refusal::Future { at });
    }
    Ok(Issue {
        at: at.min(context.fetched),
        basis: IssueBasis::Implied,
    })
}

fn credit(station: &Station) -> Credit {
    Credit {
        service: "DWD MOSMIX".to_owned(),
        line: format!(
            "Source: Deutscher Wetterdienst, station {}; values converted and checked for gaps",
            station.called()
        ),
        link: "https://www.dwd.de/copyright".to_owned(),
    }
}
