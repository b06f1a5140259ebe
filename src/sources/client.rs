//! The polite client: asks a service for its forecast, within limits, and keeps the last good reply.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use reqwest::header::{self, HeaderMap, HeaderValue};
use reqwest::{StatusCode, Url};

use super::context::Context;
use super::fault::{Fault, What};
use super::key::Key;
use super::transport::{Answer, Transport, text};
use super::{Refusal, Service, ServiceState, Settings, cache, place_of, reader, request};
use crate::farm::site::Site;
use crate::weather::{Forecast, Issue, IssueBasis};

/// What a pull may cost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limits {
    /// For the whole pull, names and redirects included.
    pub total: Duration,
    /// For each connection.
    pub connect: Duration,
    /// Most bytes of an answer, unpacked.
    pub body: usize,
    /// Most redirects.
    pub redirects: usize,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            total: Duration::from_secs(30),
            connect: Duration::from_secs(5),
            body: 8 << 20,
            redirects: 3,
        }
    }
}

/// What a pull brought.
#[derive(Debug, Clone, PartialEq)]
pub struct Pulled {
    /// The forecast.
    pub forecast: Forecast,
    /// Sentences for the log and the status: a service that is stuck or will end, a cache not written.
    pub notes: Vec<String>,
}

/// Sets up encryption for every client of the process. To be called first thing; twice does no harm.
pub fn prepare_tls() {
    // An error only says that it is set up already.
    let _ = rustls::crypto::ring::default_provider().install_default();
}

/// Asks a service for its forecast, or says why there is none. `state` tells when it may be asked and
/// is brought up to date.
pub async fn pull(
    settings: &Settings,
    service: &Service,
    site: &Site,
    now: DateTime<Utc>,
    state: &mut ServiceState,
) -> Result<Pulled, Fault> {
    pull_within(&Limits::default(), settings, service, site, now, state).await
}

/// [`pull`] with other limits.
pub async fn pull_within(
    limits: &Limits,
    settings: &Settings,
    service: &Service,
    site: &Site,
    now: DateTime<Utc>,
    state: &mut ServiceState,
) -> Result<Pulled, Fault> {
    let fault = |what| Fault {
        service: service.name.clone(),
        what,
    };
    if let Some(until) = state.waiting(now) {
        return Err(fault(What::Waiting { until }));
    }
    state.tried(now);
    let transport = Transport {
        limits,
        contact: &settings.contact,
        allow_loopback: service.allow_loopback,
        now,
    };
    let asking = Asking {
        transport,
        settings,
        service,
        site,
        now,
    };
    let outcome = match tokio::time::timeout(limits.total, asking.ask(state)).await {
        Ok(outcome) => outcome,
        Err(_) => Err(What::Silent {
            after_s: limits.total.as_secs(),
        }),
    };
    match outcome {
        Ok(pulled) => {
            state.worked(now);
            Ok(pulled)
        }
        Err(what) => {
            let fault = fault(what);
            state.failed(&fault, now);
            Err(fault)
        }
    }
}

/// The last good reply of a service, with the age it has by its content.
pub fn cached(settings: &Settings, service: &Service, site: &Site, now: DateTime<Utc>) -> Option<Forecast> {
    cache::load(settings, service, site, now).map(|kept| kept.forecast)
}

struct Asking<'a> {
    transport: Transport<'a>,
    settings: &'a Settings,
    service: &'a Service,
    site: &'a Site,
    now: DateTime<Utc>,
}

impl Asking<'_> {
    async fn ask(&self, state: &mut ServiceState) -> Result<Pulled, What> {
        let key = self.service.key_file.as_deref().map(Key::read).transpose()?;
        let url = request::address(self.service, self.site, self.now, key.as_ref())?;
        let kept = cache::load(self.settings, self.service, self.site, self.now);
        let conditions = kept.as_ref().map(|kept| conditions(&kept.about)).unwrap_or_default();
        let answer = self.transport.get(url, conditions, key.as_ref()).await?;
        if answer.status == StatusCode::NOT_MODIFIED {
            // The kept reply keeps its issue: a 304 makes nothing younger.
            let kept = kept.ok_or(What::NotChanged)?;
            let notes = self.notes(&kept.forecast, &answer, state);
            return Ok(Pulled {
                forecast: kept.forecast,
                notes,
            });
        }
        let offered = cache::offered(kept.as_ref().map(|kept| &kept.about), self.now);
        let context = Context {
            site: place_of(self.site),
            fetched: self.now,
            previous: kept.as_ref().map(|kept| &kept.forecast),
            offered: &offered,
            asked: request::asked(self.service),
        };
        let blotted = |refusal| match (refusal, &key) {
            (Refusal::ServiceError(reason), Some(key)) => Refusal::ServiceError(key.blotted(&reason)),
            (refusal, _) => refusal,
        };
        let mut forecast =
            reader::read(self.service.kind, &answer.body, &context).map_err(|refusal| What::Reply(blotted(refusal)))?;
        if let Some(run) = self.run_time(state).await {
            let at = run.min(forecast.issue.at);
            forecast.issue = Issue {
                at,
                basis: IssueBasis::Said,
            };
        }
        let mut notes = self.notes(&forecast, &answer, state);
        let validators = (
            text(&answer.headers, &header::ETAG),
            text(&answer.headers, &header::LAST_MODIFIED),
        );
        let before = kept.as_ref().map(|kept| &kept.about);
        if let Err(error) = cache::save(
            self.settings,
            self.service,
            self.site,
            before,
            &forecast,
            &answer.body,
            validators,
        ) {
            notes.push(format!(
                "{}: the forecast could not be kept in {} ({}); it is used all the same. Check space and rights",
                self.service.name,
                self.settings.cache.display(),
                error.kind()
            ));
        }
        Ok(Pulled { forecast, notes })
    }

    fn notes(&self, forecast: &Forecast, answer: &Answer, state: &mut ServiceState) -> Vec<String> {
        let mut notes = Vec::new();
        let name = &self.service.name;
        if self.service.product.is_stuck(forecast.issue.at, self.now) {
            let since = forecast.issue.at.format("%Y-%m-%d %H:%M UTC");
            notes.push(format!(
                "{name}: the same forecast since {since}; the service seems stuck and its age goes on counting"
            ));
        }
        let ending = answer.status == StatusCode::NON_AUTHORITATIVE_INFORMATION
            || answer.headers.contains_key("deprecation")
            || answer.headers.contains_key("sunset");
        if ending && state.may_warn(self.now) {
            notes.push(format!(
                "{name}: the service says that this interface will end; look for its successor"
            ));
        }
        notes
    }

    /// Start of the newest model run by the service's own file, where one model is asked for.
    async fn run_time(&self, state: &mut ServiceState) -> Option<DateTime<Utc>> {
        if state.no_run_file_until.is_some_and(|until| until > self.now) {
            return None;
        }
        let url = request::run_file(self.service)?;
        let run = self.run_file(url).await;
        if run.is_none() {
            state.no_run_file_until = Some(self.now + TimeDelta::days(1));
        }
        run
    }

    async fn run_file(&self, url: Url) -> Option<DateTime<Utc>> {
        #[derive(serde::Deserialize)]
        struct RunFile {
            last_run_initialisation_time: i64,
        }
        // The forecast is here already: its file may not take long.
        let patience = (self.transport.limits.total / 6).min(self.transport.limits.connect);
        let answer = tokio::time::timeout(patience, self.transport.get(url, HeaderMap::new(), None))
            .await
            .ok()?
            .ok()?;
        let file: RunFile = serde_json::from_slice(&answer.body).ok()?;
        let run = DateTime::from_timestamp(file.last_run_initialisation_time, 0)?;
        (run <= self.now).then_some(run)
    }
}

fn conditions(about: &cache::About) -> HeaderMap {
    let mut headers = HeaderMap::new();
    let mut put = |name, value: &Option<String>| {
        if let Some(value) = value.as_ref().and_then(|value| HeaderValue::from_str(value).ok()) {
            headers.insert(name, value);
        }
    };
    put(header::IF_NONE_MATCH, &about.etag);
    put(header::IF_MODIFIED_SINCE, &about.last_modified);
    headers
}
