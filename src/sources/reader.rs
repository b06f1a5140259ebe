//! Which reader reads what: by the kind a service was asked as, or by what stands in the reply.

use super::{Context, Form, Refusal, ServiceKind, open_meteo, recognise};
use crate::weather::Forecast;

/// Reads the reply of a service of a known kind.
pub(super) fn read(kind: ServiceKind, bytes: &[u8], context: &Context<'_>) -> Result<Forecast, Refusal> {
    match kind {
        ServiceKind::OpenMeteoForecast
        | ServiceKind::OpenMeteoEnsemble
        | ServiceKind::OpenMeteoQuarterHours
        | ServiceKind::OpenMeteoArchive => open_meteo::read(bytes, context),
        // A service of another kind that answers with a page or an error of its own says so by itself.
        ServiceKind::MetNorwayComplete
        | ServiceKind::MetNorwayCompact
        | ServiceKind::MetNorwayNowcast
        | ServiceKind::NwsGridpoint
        | ServiceKind::NwsObservations
        | ServiceKind::NwsAlerts
        | ServiceKind::Mosmix
        | ServiceKind::Cap => recognised(bytes, context),
    }
}

/// Reads a reply of any service as a forecast, or says why it is none.
pub(super) fn recognised(bytes: &[u8], context: &Context<'_>) -> Result<Forecast, Refusal> {
    let none = |holds| Err(Refusal::NoForecast { holds });
    match recognise(bytes) {
        Form::OpenMeteo => open_meteo::read(bytes, context),
        Form::MetNorway => none("a forecast of MET Norway"),
        Form::NwsGridpoint => none("a grid of the National Weather Service"),
        Form::Zip | Form::Kml => none("a station forecast"),
        Form::NwsPeriods => none("hours in words, without gusts and amounts of rain; ask for the grid"),
        Form::NwsPoint => none("what belongs to a place"),
        Form::NwsProblem => none("the service's own error"),
        Form::NwsObservations => none("readings of a station"),
        Form::WarningsJson | Form::Cap | Form::Index => none("official warnings"),
    }
}
