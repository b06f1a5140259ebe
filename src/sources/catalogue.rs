//! What each service offers where, on which terms: a table that works without a network.
//!
//! Source: the services' own documentation and terms. The corners of areas are taken a little inside the
//! edges of the models and radars (from memory where the documents give none); near an edge the service's own
//! answer counts.

use super::ServiceKind;
use crate::farm::site::Site;

/// One service as the table knows it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Entry {
    /// What it is called.
    pub title: &'static str,
    /// Its kind.
    pub kind: ServiceKind,
    /// Where it is asked; empty where it depends on the country.
    pub base_url: &'static str,
    /// Where it answers; empty for the whole world.
    pub areas: &'static [Area],
    /// How that is called.
    pub area: &'static str,
    /// Where its gusts are its own and not estimated; `None` if it has none anywhere.
    pub gusts: Option<&'static [Area]>,
    /// Whether it tells sunshine.
    pub sunshine: bool,
    /// Whether it has members, so that chances can be given.
    pub members: bool,
    /// Where its 15-minute values are its own and not interpolated; `None` if it has none.
    pub quarter_hours: Option<&'static [Area]>,
    /// Whether it gives official warnings.
    pub warnings: bool,
    /// Whether a farm that sells its fruit may use it without paying.
    pub free_for_farms: bool,
    /// Its licence.
    pub licence: &'static str,
    /// The line its licence asks for.
    pub credit: &'static str,
    /// What else to know.
    pub note: &'static str,
}

/// A box of latitudes and longitudes \[degrees\], edges included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    south: f64,
    north: f64,
    west: f64,
    east: f64,
}

const fn area(south: f64, north: f64, west: f64, east: f64) -> Area {
    Area {
        south,
        north,
        west,
        east,
    }
}

const WORLD: &[Area] = &[];
/// Where MET Norway runs its own fine model.
const NORDIC: &[Area] = &[area(54.5, 71.5, 4.0, 31.6)];
/// The lower states, Alaska, Hawaii, Puerto Rico with the Virgin Islands, Guam.
const UNITED_STATES: &[Area] = &[
    area(24.4, 49.4, -124.8, -66.9),
    area(51.2, 71.4, -170.0, -130.0),
    area(18.9, 22.3, -160.3, -154.8),
    area(17.6, 18.6, -67.3, -64.5),
    area(13.2, 13.7, 144.6, 145.0),
];
/// Where MOSMIX stations stand close together.
const CENTRAL_EUROPE: &[Area] = &[area(45.8, 55.1, 5.0, 17.0)];
/// Native 15-minute values: HRRR in North America, ICON-D2 and AROME in Europe.
const QUARTER_HOURS: &[Area] = &[
    area(24.0, 50.0, -125.0, -66.0),
    area(43.5, 58.0, -3.5, 20.0),
    area(38.0, 53.0, -8.0, 12.0),
];
/// Members of the European warnings exchange.
const EUROPE: &[Area] = &[area(34.5, 71.5, -25.0, 32.0)];

const OPEN_METEO: &str = "Weather data by Open-Meteo.com (CC BY 4.0)";
const OPEN: &str = "CC BY 4.0 for the data; its free service is for non-commercial use only";

/// Every kind of service, the likeliest choice first.
pub const CATALOGUE: [Entry; 12] = [
    Entry {
        title: "US National Weather Service, grid",
        kind: ServiceKind::NwsGridpoint,
        base_url: "https://api.weather.gov",
        areas: UNITED_STATES,
        area: "United States",
        gusts: Some(UNITED_STATES),
        sunshine: false,
        members: false,
        quarter_hours: None,
        warnings: false,
        free_for_farms: true,
        licence: "public domain",
        credit: "Data: NOAA / National Weather Service",
        note: "rain is told in blocks of 1 to 12 hours; sunshine is estimated from cloud",
    },
    Entry {
        title: "DWD MOSMIX, one station",
        kind: ServiceKind::Mosmix,
        base_url: "https://opendata.dwd.de",
        areas: CENTRAL_EUROPE,
        area: "some 6000 stations, close together in Central Europe",
        gusts: Some(CENTRAL_EUROPE),
        sunshine: true,
        members: false,
        quarter_hours: None,
        warnings: false,
        free_for_farms: true,
        licence: "GeoNutzV",
        credit: "Source: Deutscher Wetterdienst (values converted)",
        note: "choose a station within 20 km and 150 m of height; gusts and sunshine differ by station",
    },
    Entry {
        title: "MET Norway, complete",
        kind: ServiceKind::MetNorwayComplete,
        base_url: "https://api.met.no",
        areas: WORLD,
        area: "the whole world",
        gusts: Some(NORDIC),
        sunshine: false,
        members: false,
        quarter_hours: None,
        warnings: false,
        free_for_farms: true,
        licence: "NLOD 2.0 and CC BY 4.0",
        credit: "Based on data from MET Norway",
        note: "hours for two to three days, then steps of six; sunshine is estimated from cloud",
    },
    Entry {
        title: "MET Norway, compact",
        kind: ServiceKind::MetNorwayCompact,
        base_url: "https://api.met.no",
        areas: WORLD,
        area: "the whole world",
        gusts: None,
        sunshine: false,
        members: false,
        quarter_hours: None,
        warnings: false,
        free_for_farms: true,
        licence: "NLOD 2.0 and CC BY 4.0",
        credit: "Based on data from MET Norway",
        note: "less than complete and nothing more; only where the line is very thin",
    },
    Entry {
        title: "MET Norway, nowcast",
        kind: ServiceKind::MetNorwayNowcast,
        base_url: "https://api.met.no",
        areas: NORDIC,
        area: "Norway, Sweden, Finland, Denmark",
        gusts: None,
        sunshine: false,
        members: false,
        quarter_hours: None,
        warnings: false,
        free_for_farms: true,
        licence: "NLOD 2.0 and CC BY 4.0",
        credit: "Based on data from MET Norway",
        note: "two hours of rain by radar; it checks the others",
    },
    Entry {
        title: "Open-Meteo, ensemble",
        kind: ServiceKind::OpenMeteoEnsemble,
        base_url: "https://ensemble-api.open-meteo.com",
        areas: WORLD,
        area: "the whole world",
        gusts: Some(WORLD),
        sunshine: true,
        members: true,
        quarter_hours: None,
        warnings: false,
        free_for_farms: false,
        licence: OPEN,
        credit: OPEN_METEO,
        note: "the only one with members: without it no chances are given",
    },
    Entry {
        title: "Open-Meteo, forecast",
        kind: ServiceKind::OpenMeteoForecast,
        base_url: "https://api.open-meteo.com",
        areas: WORLD,
        area: "the whole world",
        gusts: Some(WORLD),
        sunshine: true,
        members: false,
        quarter_hours: None,
        warnings: false,
        free_for_farms: false,
        licence: OPEN,
        credit: OPEN_METEO,
        note: "tells its own last five days, from which the covers' water is worked out",
    },
    Entry {
        title: "Open-Meteo, 15 minutes",
        kind: ServiceKind::OpenMeteoQuarterHours,
        base_url: "https://api.open-meteo.com",
        areas: WORLD,
        area: "the whole world",
        gusts: Some(WORLD),
        sunshine: true,
        members: false,
        quarter_hours: Some(QUARTER_HOURS),
        warnings: false,
        free_for_farms: false,
        licence: OPEN,
        credit: OPEN_METEO,
        note: "outside North America and Central Europe the quarters are only the hours, cut up",
    },
    Entry {
        title: "Open-Meteo, archive",
        kind: ServiceKind::OpenMeteoArchive,
        base_url: "https://archive-api.open-meteo.com",
        areas: WORLD,
        area: "the whole world",
        gusts: Some(WORLD),
        sunshine: true,
        members: false,
        quarter_hours: None,
        warnings: false,
        free_for_farms: false,
        licence: OPEN,
        credit: OPEN_METEO,
        note: "the past only",
    },
    Entry {
        title: "US National Weather Service, readings",
        kind: ServiceKind::NwsObservations,
        base_url: "https://api.weather.gov",
        areas: UNITED_STATES,
        area: "United States",
        gusts: Some(UNITED_STATES),
        sunshine: false,
        members: false,
        quarter_hours: None,
        warnings: false,
        free_for_farms: true,
        licence: "public domain",
        credit: "Data: NOAA / National Weather Service",
        note: "readings of one station, the past only; choose a near one",
    },
    Entry {
        title: "US National Weather Service, warnings",
        kind: ServiceKind::NwsAlerts,
        base_url: "https://api.weather.gov",
        areas: UNITED_STATES,
        area: "United States",
        gusts: None,
        sunshine: false,
        members: false,
        quarter_hours: None,
        warnings: true,
        free_for_farms: true,
        licence: "public domain",
        credit: "Data: NOAA / National Weather Service",
        note: "official warnings for the place of the farm",
    },
    Entry {
        title: "Official warnings as CAP feed",
        kind: ServiceKind::Cap,
        base_url: "",
        areas: EUROPE,
        area: "by country",
        gusts: None,
        sunshine: false,
        members: false,
        quarter_hours: None,
        warnings: true,
        free_for_farms: true,
        licence: "by issuer; read the terms of the feed before you use it",
        credit: "the issuing service, with the time of issue",
        note: "any feed of CAP 1.2 messages; in Europe MeteoAlarm has one a country",
    },
];

impl Area {
    fn holds(self, site: &Site) -> bool {
        (self.south..=self.north).contains(&site.latitude.0) && (self.west..=self.east).contains(&site.longitude.0)
    }
}

/// Whether a place lies in one of the areas; no areas are the whole world.
pub fn holds(areas: &[Area], site: &Site) -> bool {
    areas.is_empty() || areas.iter().any(|area| area.holds(site))
}

impl Entry {
    /// Whether it answers for a place.
    pub fn covers(&self, site: &Site) -> bool {
        holds(self.areas, site)
    }
}

/// The feed of the European warnings exchange for the country of a time zone, as far as a zone tells a country.
pub fn warnings_feed(zone: &str) -> Option<String> {
    const COUNTRIES: [(&str, &str); 27] = [
        ("Amsterdam", "netherlands"),
        ("Athens", "greece"),
        ("Belgrade", "serbia"),
        ("Berlin", "germany"),
        ("Bratislava", "slovakia"),
        ("Brussels", "belgium"),
        ("Bucharest", "romania"),
        ("Budapest", "hungary"),
        ("Copenhagen", "denmark"),
        ("Dublin", "ireland"),
        ("Helsinki", "finland"),
        ("Lisbon", "portugal"),
        ("Ljubljana", "slovenia"),
        ("London", "united-kingdom"),
        ("Luxembourg", "luxembourg"),
        ("Madrid", "spain"),
        ("Oslo", "norway"),
        ("Paris", "france"),
        ("Prague", "czechia"),
        ("Riga", "latvia"),
        ("Rome", "italy"),
        ("Sofia", "bulgaria"),
        ("Stockholm", "sweden"),
        ("Vienna", "austria"),
        ("Warsaw", "poland"),
        ("Zagreb", "croatia"),
        ("Zurich", "switzerland"),
    ];
    let city = zone.strip_prefix("Europe/")?;
    let (_, country) = COUNTRIES.iter().find(|(name, _)| *name == city)?;
    Some(format!(
        "https://feeds.meteoalarm.org/feeds/meteoalarm-legacy-atom-{country}"
    ))
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn every_kind_of_service_stands_in_the_table_once() {
        let kinds: BTreeSet<ServiceKind> = CATALOGUE.iter().map(|entry| entry.kind).collect();
        assert_eq!(kinds, ServiceKind::ALL.into_iter().collect());
        for entry in CATALOGUE {
            assert!(entry.base_url.is_empty() || entry.base_url.starts_with("https://"));
            assert!(!entry.credit.is_empty() && !entry.licence.is_empty());
        }
    }
}
