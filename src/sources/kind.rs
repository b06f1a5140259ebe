//! The kinds of service that can be named in the service file.

use super::Role;
use crate::weather::Product;

/// What a service replies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ServiceKind {
    /// Open-Meteo forecast interface: one best forecast, hourly.
    OpenMeteoForecast,
    /// Open-Meteo ensemble interface: members, hourly.
    OpenMeteoEnsemble,
    /// Open-Meteo forecast interface, 15-minute values.
    OpenMeteoQuarterHours,
    /// Open-Meteo archive interface: the past by reanalysis.
    OpenMeteoArchive,
    /// MET Norway Locationforecast, complete.
    MetNorwayComplete,
    /// MET Norway Locationforecast, compact.
    MetNorwayCompact,
    /// MET Norway Nowcast: the next two hours in the Nordic countries.
    MetNorwayNowcast,
    /// United States National Weather Service: raw grid of the forecast office.
    NwsGridpoint,
    /// United States National Weather Service: readings of one station.
    NwsObservations,
    /// United States National Weather Service: warnings for a point.
    NwsAlerts,
    /// DWD MOSMIX: the forecast for one station.
    Mosmix,
    /// Warnings in the Common Alerting Protocol: one message, an index of messages, or JSON that wraps them.
    Cap,
}

/// What sort of weather a service gives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Gives {
    /// A forecast.
    Forecast,
    /// What was measured or analysed: the past only.
    Past,
    /// Official warnings.
    Warnings,
}

impl ServiceKind {
    /// All of them, in the order in which they are explained.
    pub const ALL: [Self; 12] = [
        Self::OpenMeteoForecast,
        Self::OpenMeteoEnsemble,
        Self::OpenMeteoQuarterHours,
        Self::OpenMeteoArchive,
        Self::MetNorwayComplete,
        Self::MetNorwayCompact,
        Self::MetNorwayNowcast,
        Self::NwsGridpoint,
        Self::NwsObservations,
        Self::NwsAlerts,
        Self::Mosmix,
        Self::Cap,
    ];

    /// Its word in the service file.
    pub fn word(self) -> &'static str {
        match self {
            Self::OpenMeteoForecast => "open-meteo-forecast",
            Self::OpenMeteoEnsemble => "open-meteo-ensemble",
            Self::OpenMeteoQuarterHours => "open-meteo-15-minute",
            Self::OpenMeteoArchive => "open-meteo-archive",
            Self::MetNorwayComplete => "met-norway-complete",
            Self::MetNorwayCompact => "met-norway-compact",
            Self::MetNorwayNowcast => "met-norway-nowcast",
            Self::NwsGridpoint => "nws-gridpoint",
            Self::NwsObservations => "nws-observations",
            Self::NwsAlerts => "nws-alerts",
            Self::Mosmix => "mosmix",
            Self::Cap => "cap",
        }
    }

    /// What its forecast is used for if nothing is told.
    pub fn role(self) -> Role {
        match self {
            Self::OpenMeteoEnsemble => Role::Members,
            Self::MetNorwayNowcast => Role::Check,
            Self::OpenMeteoForecast
            | Self::OpenMeteoQuarterHours
            | Self::OpenMeteoArchive
            | Self::MetNorwayComplete
            | Self::MetNorwayCompact
            | Self::NwsGridpoint
            | Self::NwsObservations
            | Self::NwsAlerts
            | Self::Mosmix
            | Self::Cap => Role::Main,
        }
    }

    /// How soon it counts as old if nothing is told.
    pub fn product(self) -> Product {
        match self {
            Self::MetNorwayNowcast | Self::NwsGridpoint => Product::HourlyModel,
            Self::OpenMeteoForecast
            | Self::OpenMeteoEnsemble
            | Self::OpenMeteoQuarterHours
            | Self::OpenMeteoArchive
            | Self::MetNorwayComplete
            | Self::MetNorwayCompact
            | Self::NwsObservations
            | Self::NwsAlerts
            | Self::Mosmix
            | Self::Cap => Product::SixHourlyModel,
        }
    }

    /// Whether it answers by station, so that one must be named.
    pub fn wants_station(self) -> bool {
        matches!(self, Self::Mosmix | Self::NwsObservations)
    }

    /// What sort of weather it gives.
    pub fn gives(self) -> Gives {
        match self {
            Self::OpenMeteoForecast
            | Self::OpenMeteoEnsemble
            | Self::OpenMeteoQuarterHours
            | Self::MetNorwayComplete
            | Self::MetNorwayCompact
            | Self::MetNorwayNowcast
            | Self::NwsGridpoint
            | Self::Mosmix => Gives::Forecast,
            Self::OpenMeteoArchive | Self::NwsObservations => Gives::Past,
            Self::NwsAlerts | Self::Cap => Gives::Warnings,
        }
    }
}
