//! The polite client: asks a service for its forecast, within limits, and keeps the last good reply.

use std::collections::BTreeSet;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use reqwest::header::{self, HeaderMap, HeaderValue};
use reqwest::{StatusCode, Url};

use super::cache::{self, About, Cell, Fresh, Kept};
use super::context::Context;
use super::fault::{Fault, What};
use super::key::Key;
use super::state::{clear_of_full_hour, is_crowded};
use super::transport::{Answer, Transport, good_until, text};
use super::{Refusal, Service, ServiceKind, ServiceState, Settings, place_of, reader, request};
use crate::farm::site::Site;
use crate::weather::{Forecast, Freshness, Issue, IssueBasis};

/// Readings and warnings this old are asked for even close to a full hour.
const READINGS_HOLD: TimeDelta = TimeDelta::hours(1);

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
    let kept = cache::load(settings, service, site, now);
    let fresh = kept
        .as_ref()
        .map(|kept| service.product.freshness(kept.forecast.issue.at, now) == Freshness::Fresh);
    let asking = Asking::new(limits, settings, service, site, now);
    asking
        .politely(state, fresh, async |state| asking.forecast(kept, state).await)
        .await
}

/// Asks a service that gives no forecast for its readings or warnings. They are known to be of the right
/// form and not yet read.
pub async fn fetch(
    limits: &Limits,
    settings: &Settings,
    service: &Service,
    site: &Site,
    now: DateTime<Utc>,
    state: &mut ServiceState,
) -> Result<(Reply, Vec<String>), Fault> {
    let kept = cache::load_bytes(settings, service, site, now);
    let fresh = kept.as_ref().map(|(about, _)| now - about.fetched < READINGS_HOLD);
    let asking = Asking::new(limits, settings, service, site, now);
    asking
        .politely(state, fresh, async |state| asking.reply(kept, state).await)
        .await
}

/// The last good reply of a service, with the age it has by its content.
pub fn cached(settings: &Settings, service: &Service, site: &Site, now: DateTime<Utc>) -> Option<Forecast> {
    cache::load(settings, service, site, now).map(|kept| kept.forecast)
}

/// The last good reply of a service that gives readings or warnings.
pub fn cached_reply(settings: &Settings, service: &Service, site: &Site, now: DateTime<Utc>) -> Option<Reply> {
    cache::load_bytes(settings, service, site, now).map(|(about, bytes)| Reply {
        bytes,
        fetched: about.fetched,
    })
}

/// A reply as it came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reply {
    /// What the service sent, unpacked.
    pub bytes: Vec<u8>,
    /// When.
    pub fetched: DateTime<Utc>,
}

struct Asking<'a> {
    transport: Transport<'a>,
    settings: &'a Settings,
    service: &'a Service,
    site: &'a Site,
    now: DateTime<Utc>,
}

impl<'a> Asking<'a> {
    fn new(
        limits: &'a Limits,
        settings: &'a Settings,
        service: &'a Service,
        site: &'a Site,
        now: DateTime<Utc>,
    ) -> Self {
        let transport = Transport {
            limits,
            contact: &settings.contact,
            allow_loopback: service.allow_loopback,
            accept: request::accepted(service.kind),
            now,
        };
        Self {
            transport,
            settings,
            service,
            site,
            now,
        }
    }

    /// Asks if the service may be asked now, within the limits, and notes how it went. `fresh` tells whether
    /// what is kept is fresh; `None` if nothing is kept.
    async fn politely<T>(
        &self,
        state: &mut ServiceState,
        fresh: Option<bool>,
        ask: impl AsyncFnOnce(&mut ServiceState) -> Result<Good<T>, What>,
    ) -> Result<T, Fault> {
        let fault = |what| Fault {
            service: self.service.name.clone(),
            what,
        };
        state.asking(&cache::key(self.service, self.site));
        // What is good by the service's own word is not asked for again, unless it is lost.
        let waits = state
            .waiting(self.now)
            .filter(|_| state.last_fault.is_some() || fresh.is_some());
        let crowd = (fresh == Some(true) && is_crowded(self.now)).then(|| clear_of_full_hour(self.now));
        if let Some(until) = waits.max(crowd) {
            return Err(fault(What::Waiting { until }));
        }
        state.tried(self.now);
        let limit = self.transport.limits.total;
        let outcome = match tokio::time::timeout(limit, ask(state)).await {
            Ok(outcome) => outcome,
            Err(_) => Err(What::Silent {
                after_s: limit.as_secs(),
            }),
        };
        match outcome {
            Ok(good) => {
                state.worked(self.now, good.until);
                Ok(good.brought)
            }
            Err(what) => {
                let fault = fault(what);
                state.failed(&fault, self.now);
                Err(fault)
            }
        }
    }

    async fn forecast(&self, kept: Option<Kept>, state: &mut ServiceState) -> Result<Good<Pulled>, What> {
        let key = self.key()?;
        let answer = self.answer(kept.as_ref().map(|kept| &kept.about), key.as_ref()).await?;
        let until = good_until(&answer.headers, self.now);
        if answer.status == StatusCode::NOT_MODIFIED {
            // The kept reply keeps its issue: a 304 makes nothing younger.
            let forecast = kept.ok_or(What::NotChanged)?.forecast;
            let notes = self.notes(Some(&forecast), &answer, state);
            return Ok(Good {
                brought: Pulled { forecast, notes },
                until,
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
            reader::read(self.service, &answer.body, &context).map_err(|refusal| What::Reply(blotted(refusal)))?;
        if let Some(run) = self.run_time(state).await {
            let at = run.min(forecast.issue.at);
            forecast.issue = Issue {
                at,
                basis: IssueBasis::Said,
            };
        }
        let mut notes = self.notes(Some(&forecast), &answer, state);
        let before = kept.as_ref().map(|kept| &kept.about);
        let fresh = Fresh::forecast(&forecast, &answer.body, validators(&answer));
        notes.extend(self.keep(before, fresh));
        Ok(Good {
            brought: Pulled { forecast, notes },
            until,
        })
    }

    async fn reply(
        &self,
        kept: Option<(About, Vec<u8>)>,
        state: &mut ServiceState,
    ) -> Result<Good<(Reply, Vec<String>)>, What> {
        let key = self.key()?;
        let answer = self.answer(kept.as_ref().map(|(about, _)| about), key.as_ref()).await?;
        let until = good_until(&answer.headers, self.now);
        let mut notes = self.notes(None, &answer, state);
        let (before, body) = match kept {
            Some((about, bytes)) if answer.status == StatusCode::NOT_MODIFIED => (Some(about), bytes),
            None if answer.status == StatusCode::NOT_MODIFIED => return Err(What::NotChanged),
            kept => {
                reader::fits(self.service.kind, &answer.body).map_err(What::Reply)?;
                (kept.map(|(about, _)| about), answer.body.clone())
            }
        };
        let validators = match &before {
            Some(about) if answer.status == StatusCode::NOT_MODIFIED => about.validators(),
            _ => validators(&answer),
        };
        let fresh = Fresh {
            body: &body,
            fetched: self.now,
            issue: Issue {
                at: self.now,
                basis: IssueBasis::Implied,
            },
            given: BTreeSet::new(),
            validators,
        };
        notes.extend(self.keep(before.as_ref(), fresh));
        let reply = Reply {
            bytes: body,
            fetched: self.now,
        };
        Ok(Good {
            brought: (reply, notes),
            until,
        })
    }

    fn key(&self) -> Result<Option<Key>, What> {
        self.service.key_file.as_deref().map(Key::read).transpose()
    }

    /// The answer to the one question, or to the second of two where the first tells what to ask.
    async fn answer(&self, kept: Option<&About>, key: Option<&Key>) -> Result<Answer, What> {
        let conditions = kept.map(conditions).unwrap_or_default();
        if self.service.kind != ServiceKind::NwsGridpoint {
            let url = request::address(self.service, self.site, self.now, key)?;
            return self.transport.get(url, conditions, key).await;
        }
        let known = cache::load_cell(self.settings, self.service, self.site, self.now);
        let was_known = known.is_some();
        let cell = match known {
            Some(cell) => cell,
            None => self.cell(key).await?,
        };
        let ask = async |cell: &Cell, conditions| {
            let url = request::grid(self.service, &cell.office, cell.x, cell.y)?;
            self.transport.get(url, conditions, key).await
        };
        match ask(&cell, conditions).await {
            // The grid has moved since the cell was told.
            Err(What::Status { code: 404, .. }) if was_known => {
                let cell = self.cell(key).await?;
                ask(&cell, HeaderMap::new()).await
            }
            outcome => outcome,
        }
    }

    /// The grid cell of the site, asked for and kept.
    async fn cell(&self, key: Option<&Key>) -> Result<Cell, What> {
        let url = request::address(self.service, self.site, self.now, key)?;
        let answer = self.transport.get(url, HeaderMap::new(), key).await?;
        let told = reader::cell(&answer.body).map_err(What::Reply)?;
        let cell = Cell::new(self.service, self.site, told, self.now);
        // Not kept, it is asked for again next time; the forecast is worth more than that.
        let _ = cache::save_cell(self.settings, self.service, self.site, &cell);
        Ok(cell)
    }

    /// Keeps a reply; a sentence if it could not be done.
    fn keep(&self, before: Option<&About>, fresh: Fresh<'_>) -> Option<String> {
        let error = cache::save(self.settings, self.service, self.site, before, fresh).err()?;
        Some(format!(
            "{}: the reply could not be kept in {} ({}); it is used all the same. Check space and rights",
            self.service.name,
            self.settings.cache.display(),
            error.kind()
        ))
    }

    fn notes(&self, forecast: Option<&Forecast>, answer: &Answer, state: &mut ServiceState) -> Vec<String> {
        let mut notes = Vec::new();
        let name = &self.service.name;
        let issued = forecast.map(|forecast| forecast.issue.at);
        if let Some(at) = issued.filter(|at| self.service.product.is_stuck(*at, self.now)) {
            let since = at.format("%Y-%m-%d %H:%M UTC");
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

/// What a good answer brought, and until when it is good by the service's own word.
struct Good<T> {
    brought: T,
    until: Option<DateTime<Utc>>,
}

/// What the next question may be bound to. What may end soon (203) is asked for whole each time.
fn validators(answer: &Answer) -> (Option<String>, Option<String>) {
    if answer.status == StatusCode::NON_AUTHORITATIVE_INFORMATION {
        return (None, None);
    }
    (
        text(&answer.headers, &header::ETAG),
        text(&answer.headers, &header::LAST_MODIFIED),
    )
}

fn conditions(about: &About) -> HeaderMap {
    let mut headers = HeaderMap::new();
    let mut put = |name, value: Option<String>| {
        if let Some(value) = value.and_then(|value| HeaderValue::from_str(&value).ok()) {
            headers.insert(name, value);
        }
    };
    let (etag, last_modified) = about.validators();
    put(header::IF_NONE_MATCH, etag);
    put(header::IF_MODIFIED_SINCE, last_modified);
    headers
}
