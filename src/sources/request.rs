//! What is asked: one address per service, with no more variables than the cover model reads, and the
//! place to no more than four decimals, as the services want it.

use chrono::{DateTime, TimeDelta, Utc};
use reqwest::Url;

use super::fault::What;
use super::issue::Asked;
use super::key::Key;
use super::{Service, ServiceKind};
use crate::farm::site::Site;

/// Past days asked for; the cover's water needs them.
const PAST_DAYS: u32 = 5;

const VARIABLES: [&str; 10] = [
    "temperature_2m",
    "relative_humidity_2m",
    "dew_point_2m",
    "precipitation",
    "weather_code",
    "cloud_cover",
    "wind_speed_10m",
    "wind_direction_10m",
    "wind_gusts_10m",
    "shortwave_radiation",
];

/// What is asked for at 15-minute steps, beside the hours.
const QUARTERS: [&str; 5] = [
    "temperature_2m",
    "dew_point_2m",
    "precipitation",
    "wind_speed_10m",
    "wind_gusts_10m",
];

/// Paths of interfaces that somebody may have written behind the host.
const OWN_PATHS: [&str; 6] = [
    "/v1/forecast",
    "/v1/ensemble",
    "/v1/archive",
    "/weatherapi/locationforecast/2.0/complete",
    "/weatherapi/locationforecast/2.0/compact",
    "/weatherapi/nowcast/2.0/complete",
];

/// The days a service is asked for; `None` for one that answers with what it has.
pub(super) fn asked(service: &Service) -> Option<Asked> {
    match service.kind {
        ServiceKind::OpenMeteoForecast | ServiceKind::OpenMeteoEnsemble | ServiceKind::OpenMeteoQuarterHours => {
            Some(Asked {
                past_days: PAST_DAYS,
                days: service.days,
            })
        }
        ServiceKind::OpenMeteoArchive
        | ServiceKind::MetNorwayComplete
        | ServiceKind::MetNorwayCompact
        | ServiceKind::MetNorwayNowcast
        | ServiceKind::NwsGridpoint
        | ServiceKind::NwsObservations
        | ServiceKind::NwsAlerts
        | ServiceKind::Mosmix
        | ServiceKind::Cap => None,
    }
}

/// What an answer may be, for the `Accept` header.
pub(super) fn accepted(kind: ServiceKind) -> &'static str {
    match kind {
        ServiceKind::OpenMeteoForecast
        | ServiceKind::OpenMeteoEnsemble
        | ServiceKind::OpenMeteoQuarterHours
        | ServiceKind::OpenMeteoArchive
        | ServiceKind::MetNorwayComplete
        | ServiceKind::MetNorwayCompact
        | ServiceKind::MetNorwayNowcast => "application/json",
        ServiceKind::NwsGridpoint | ServiceKind::NwsObservations | ServiceKind::NwsAlerts => "application/geo+json",
        ServiceKind::Mosmix => "application/vnd.google-earth.kmz, application/zip;q=0.9, */*;q=0.5",
        ServiceKind::Cap => "application/cap+xml, application/atom+xml, application/xml;q=0.9, application/json;q=0.9",
    }
}

/// Address of what is asked first, key and all: the reply itself, for a National Weather Service grid the
/// point through which the grid is found.
pub(super) fn address(service: &Service, site: &Site, now: DateTime<Utc>, key: Option<&Key>) -> Result<Url, What> {
    let mut url = standing(service, site)?;
    if service.kind == ServiceKind::OpenMeteoArchive {
        let day = |back: u32| (now - TimeDelta::days(i64::from(back))).format("%Y-%m-%d").to_string();
        url.query_pairs_mut()
            .append_pair("start_date", &day(PAST_DAYS + 1))
            .append_pair("end_date", &day(0));
    }
    if let Some(key) = key {
        url.query_pairs_mut().append_pair("apikey", key.reveal());
    }
    Ok(url)
}

/// The address without key and without what changes from day to day: it names the request.
pub(super) fn standing(service: &Service, site: &Site) -> Result<Url, What> {
    if service.models.as_ref().is_some_and(|models| models.contains(',')) {
        return Err(What::Settings(
            "models names several models; name one, or write a service for each".to_owned(),
        ));
    }
    let mut url = base(service)?;
    match service.kind {
        ServiceKind::OpenMeteoForecast | ServiceKind::OpenMeteoQuarterHours => extend(&mut url, "v1/forecast"),
        ServiceKind::OpenMeteoEnsemble => extend(&mut url, "v1/ensemble"),
        ServiceKind::OpenMeteoArchive => extend(&mut url, "v1/archive"),
        ServiceKind::MetNorwayComplete => extend(&mut url, "weatherapi/locationforecast/2.0/complete"),
        ServiceKind::MetNorwayCompact => extend(&mut url, "weatherapi/locationforecast/2.0/compact"),
        ServiceKind::MetNorwayNowcast => extend(&mut url, "weatherapi/nowcast/2.0/complete"),
        ServiceKind::NwsGridpoint => extend(&mut url, &format!("points/{}", point(site))),
        ServiceKind::NwsObservations => extend(&mut url, &format!("stations/{}/observations", station(service)?)),
        ServiceKind::NwsAlerts => extend(&mut url, "alerts/active"),
        ServiceKind::Mosmix => {
            let id = station(service)?;
            let path =
                format!("weather/local_forecasts/mos/MOSMIX_L/single_stations/{id}/kml/MOSMIX_L_LATEST_{id}.kmz");
            extend(&mut url, &path);
        }
        // The feed is named whole.
        ServiceKind::Cap => {}
    }
    match service.kind {
        ServiceKind::OpenMeteoForecast
        | ServiceKind::OpenMeteoEnsemble
        | ServiceKind::OpenMeteoQuarterHours
        | ServiceKind::OpenMeteoArchive => open_meteo(&mut url, service, site),
        ServiceKind::MetNorwayComplete | ServiceKind::MetNorwayCompact => {
            met_norway(&mut url, site)
                .query_pairs_mut()
                .append_pair("altitude", &format!("{:.0}", site.elevation.0));
        }
        // The nowcast knows no height.
        ServiceKind::MetNorwayNowcast => {
            met_norway(&mut url, site);
        }
        ServiceKind::NwsAlerts => {
            url.query_pairs_mut().append_pair("point", &point(site));
        }
        ServiceKind::NwsObservations => {
            url.query_pairs_mut().append_pair("limit", "24");
        }
        ServiceKind::NwsGridpoint | ServiceKind::Mosmix | ServiceKind::Cap => {}
    }
    Ok(url)
}

fn open_meteo(url: &mut Url, service: &Service, site: &Site) {
    let mut query = url.query_pairs_mut();
    query
        .append_pair("latitude", &format!("{:.4}", site.latitude.0))
        .append_pair("longitude", &format!("{:.4}", site.longitude.0))
        .append_pair("elevation", &format!("{:.0}", site.elevation.0))
        .append_pair("hourly", &VARIABLES.join(","))
        .append_pair("wind_speed_unit", "ms")
        .append_pair("timeformat", "unixtime")
        .append_pair("timezone", "GMT");
    if service.kind == ServiceKind::OpenMeteoQuarterHours {
        query.append_pair("minutely_15", &QUARTERS.join(","));
    }
    if let Some(asked) = asked(service) {
        query
            .append_pair("past_days", &asked.past_days.to_string())
            .append_pair("forecast_days", &asked.days.to_string());
    }
    if let Some(models) = &service.models {
        query.append_pair("models", models);
    }
}

fn met_norway<'a>(url: &'a mut Url, site: &Site) -> &'a mut Url {
    url.query_pairs_mut()
        .append_pair("lat", &short(site.latitude.0))
        .append_pair("lon", &short(site.longitude.0));
    url
}

fn point(site: &Site) -> String {
    format!("{},{}", short(site.latitude.0), short(site.longitude.0))
}

/// Degrees to four decimals at most; a service that cuts zeros itself would send us on to that address.
fn short(degrees: f64) -> String {
    let text = format!("{degrees:.4}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

fn station(service: &Service) -> Result<&str, What> {
    let named = service.station.as_deref().unwrap_or_default();
    if named.is_empty() || named.len() > 10 || !named.bytes().all(|sign| sign.is_ascii_alphanumeric()) {
        return Err(What::Settings(
            "no station is named; write station = with the id the service gives it".to_owned(),
        ));
    }
    Ok(named)
}

/// Address of a grid cell of the National Weather Service.
pub(super) fn grid(service: &Service, office: &str, x: u32, y: u32) -> Result<Url, What> {
    let mut url = base(service)?;
    extend(&mut url, &format!("gridpoints/{office}/{x},{y}"));
    Ok(url)
}

/// Address of the run-time file of the model asked for, if it is one model.
pub(super) fn run_file(service: &Service) -> Option<Url> {
    asked(service)?;
    let model = service.models.as_deref()?;
    if model.is_empty() || !model.bytes().all(|sign| sign.is_ascii_alphanumeric() || sign == b'_') {
        return None;
    }
    let mut url = base(service).ok()?;
    extend(&mut url, &format!("data/{model}/static/meta.json"));
    Some(url)
}

/// `base_url` without the path of an interface, should it have been written with one.
fn base(service: &Service) -> Result<Url, What> {
    let wrong = |why: &str| What::Settings(format!("base_url {why}; write it like https://api.open-meteo.com"));
    let text = service.base_url.trim().trim_end_matches('/');
    let text = OWN_PATHS
        .into_iter()
        .find_map(|path| text.strip_suffix(path))
        .unwrap_or(text);
    let url = Url::parse(text).map_err(|_| wrong("is no web address"))?;
    if !url.has_host() || url.query().is_some() || url.fragment().is_some() {
        return Err(wrong("must be a host and at most a path"));
    }
    if !url.username().is_empty() || url.password().is_some() {
        return Err(wrong("holds a name or password, which belong into key_file"));
    }
    Ok(url)
}

fn extend(url: &mut Url, path: &str) {
    let start = url.path().trim_end_matches('/').to_owned();
    url.set_path(&format!("{start}/{path}"));
}
