//! Which reader reads what: by the kind a service was asked as, or by what stands in the reply.

use super::{Context, Form, Refusal, Service, ServiceKind, cap, met_norway, mosmix, nws, open_meteo, recognise};
use crate::weather::Forecast;

/// Reads the reply of a service.
pub(super) fn read(service: &Service, bytes: &[u8], context: &Context<'_>) -> Result<Forecast, Refusal> {
    match service.kind {
        ServiceKind::OpenMeteoForecast | ServiceKind::OpenMeteoEnsemble | ServiceKind::OpenMeteoQuarterHours => {
            open_meteo::read(bytes, context)
        }
        ServiceKind::OpenMeteoArchive => open_meteo::read_past(bytes, context),
        ServiceKind::MetNorwayComplete | ServiceKind::MetNorwayCompact | ServiceKind::MetNorwayNowcast => {
            met_norway::read(bytes, context)
        }
        ServiceKind::NwsGridpoint => nws::read(bytes, context),
        ServiceKind::Mosmix if matches!(recognise(bytes), Form::Zip | Form::Kml) => {
            mosmix::read_station(bytes, service.station.as_deref(), context)
        }
        ServiceKind::Mosmix => recognised(bytes, context),
        ServiceKind::NwsObservations | ServiceKind::NwsAlerts | ServiceKind::Cap => recognised(bytes, context),
    }
}

/// Reads a reply of any service as a forecast, or says why it is none.
pub(super) fn recognised(bytes: &[u8], context: &Context<'_>) -> Result<Forecast, Refusal> {
    let none = |holds| Err(Refusal::NoForecast { holds });
    match recognise(bytes) {
        Form::OpenMeteo => open_meteo::read(bytes, context),
        Form::MetNorway => met_norway::read(bytes, context),
        Form::NwsGridpoint | Form::NwsPeriods | Form::NwsPoint | Form::NwsProblem => nws::read(bytes, context),
        Form::Zip | Form::Kml => mosmix::read(bytes, context),
        Form::NwsObservations => none("readings of a station"),
        Form::WarningsJson | Form::Cap | Form::Index => none("official warnings"),
    }
}

/// Whether a reply that is no forecast is of the form its service gives.
pub(super) fn fits(kind: ServiceKind, bytes: &[u8]) -> Result<(), Refusal> {
    if is_web_page(bytes) {
        return Err(Refusal::WebPage);
    }
    let form = recognise(bytes);
    let right = match kind {
        ServiceKind::Cap => return cap::read(bytes).map(drop),
        ServiceKind::NwsAlerts if form == Form::WarningsJson => return cap::read(bytes).map(drop),
        ServiceKind::NwsAlerts => false,
        // A list without readings looks like a list without warnings.
        ServiceKind::NwsObservations => matches!(form, Form::NwsObservations | Form::WarningsJson),
        ServiceKind::OpenMeteoArchive => return open_meteo::tells_hours(bytes),
        ServiceKind::OpenMeteoForecast
        | ServiceKind::OpenMeteoEnsemble
        | ServiceKind::OpenMeteoQuarterHours
        | ServiceKind::MetNorwayComplete
        | ServiceKind::MetNorwayCompact
        | ServiceKind::MetNorwayNowcast
        | ServiceKind::NwsGridpoint
        | ServiceKind::Mosmix => true,
    };
    if right {
        return Ok(());
    }
    // Empty, a web page, broken: the strictest reader says it best.
    if form == Form::OpenMeteo {
        open_meteo::tells_hours(bytes)?;
    }
    Err(Refusal::NoForecast {
        holds: "something else than was asked for",
    })
}

/// A page for people, such as a log-in, where data were asked for.
fn is_web_page(bytes: &[u8]) -> bool {
    let head: Vec<u8> = bytes
        .iter()
        .skip_while(|byte| byte.is_ascii_whitespace())
        .take(14)
        .map(u8::to_ascii_lowercase)
        .collect();
    head.starts_with(b"<!doctype html") || head.starts_with(b"<html")
}

/// The grid cell in the reply about a point: office, column, row. They become part of an address, so their
/// reader takes no more than letters and numbers.
pub(super) fn cell(bytes: &[u8]) -> Result<(String, u32, u32), Refusal> {
    let points = nws::points(bytes)?;
    Ok((points.office, points.x, points.y))
}
