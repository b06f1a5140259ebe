//! What is asked: one address per service, with no more variables than the cover model reads.

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

/// The days a service is asked for.
pub(super) fn asked(service: &Service) -> Asked {
    Asked {
        past_days: PAST_DAYS,
        days: service.days,
    }
}

/// Address of the forecast, key and all.
pub(super) fn forecast(service: &Service, site: &Site, key: Option<&Key>) -> Result<Url, What> {
    if service.models.as_ref().is_some_and(|models| models.contains(',')) {
        return Err(What::Settings(
            "models names several models; name one, or write a service for each".to_owned(),
        ));
    }
    let mut url = base(service)?;
    let path = match service.kind {
        ServiceKind::OpenMeteoForecast => "v1/forecast",
        ServiceKind::OpenMeteoEnsemble => "v1/ensemble",
    };
    extend(&mut url, path);
    let asked = asked(service);
    let mut query = url.query_pairs_mut();
    query
        .append_pair("latitude", &format!("{:.4}", site.latitude.0))
        .append_pair("longitude", &format!("{:.4}", site.longitude.0))
        .append_pair("elevation", &format!("{:.0}", site.elevation.0))
        .append_pair("hourly", &VARIABLES.join(","))
        .append_pair("wind_speed_unit", "ms")
        .append_pair("timeformat", "unixtime")
        .append_pair("timezone", "GMT")
        .append_pair("past_days", &asked.past_days.to_string())
        .append_pair("forecast_days", &asked.days.to_string());
    if let Some(models) = &service.models {
        query.append_pair("models", models);
    }
    if let Some(key) = key {
        query.append_pair("apikey", key.reveal());
    }
    drop(query);
    Ok(url)
}

/// Address of the run-time file of the model asked for, if it is one model.
pub(super) fn run_file(service: &Service) -> Option<Url> {
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
    let text = text
        .strip_suffix("/v1/forecast")
        .or_else(|| text.strip_suffix("/v1/ensemble"))
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
