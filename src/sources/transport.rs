//! One question and its answer over HTTP, within limits and to allowed addresses only.

use chrono::{DateTime, TimeDelta, Utc};
use reqwest::header::{self, HeaderMap, HeaderValue};
use reqwest::{StatusCode, Url};

use super::address;
use super::client::Limits;
use super::fault::What;
use super::key::Key;
use super::refusal::cleaned;

/// How questions are asked.
pub(super) struct Transport<'a> {
    pub(super) limits: &'a Limits,
    /// Stands in `User-Agent`.
    pub(super) contact: &'a str,
    pub(super) allow_loopback: bool,
    /// For the `Accept` header.
    pub(super) accept: &'static str,
    pub(super) now: DateTime<Utc>,
}

/// An answer with a body.
pub(super) struct Answer {
    pub(super) headers: HeaderMap,
    pub(super) status: StatusCode,
    pub(super) body: Vec<u8>,
}

impl Transport<'_> {
    /// One answer, redirects followed and body read.
    pub(super) async fn get(&self, mut url: Url, conditions: HeaderMap, key: Option<&Key>) -> Result<Answer, What> {
        let mut redirects = 0;
        loop {
            let response = self.send(&url, conditions.clone()).await?;
            let status = response.status();
            if status.is_redirection() && status != StatusCode::NOT_MODIFIED {
                if redirects == self.limits.redirects {
                    return Err(What::Redirect {
                        why: "one address after the other",
                    });
                }
                url = self.target(&url, response.headers())?;
                redirects += 1;
                continue;
            }
            if status == StatusCode::NOT_MODIFIED && conditions.is_empty() {
                return Err(What::NotChanged);
            }
            let headers = response.headers().clone();
            if !status.is_success() && status != StatusCode::NOT_MODIFIED {
                return Err(self.refused(status, &headers, response, key).await);
            }
            let body = self.body(response, self.limits.body).await?;
            return Ok(Answer { headers, status, body });
        }
    }

    async fn send(&self, url: &Url, conditions: HeaderMap) -> Result<reqwest::Response, What> {
        let addresses = address::checked(url, self.allow_loopback).await?;
        let host = url.host_str().unwrap_or_default().to_owned();
        let agent = format!("covercast/{} ({})", env!("CARGO_PKG_VERSION"), self.contact);
        let agent = HeaderValue::from_str(&agent).map_err(|_| {
            What::Settings("contact holds signs that no request can carry; use plain letters".to_owned())
        })?;
        let client = reqwest::Client::builder()
            .user_agent(agent)
            .redirect(reqwest::redirect::Policy::none())
            // A proxy would look the name up again and could be led elsewhere.
            .no_proxy()
            .resolve_to_addrs(&host, &addresses)
            .connect_timeout(self.limits.connect)
            .timeout(self.limits.total)
            .pool_max_idle_per_host(0)
            .build()
            .map_err(|_| {
                What::Settings(
                    "no encrypted connection can be set up on this machine; check its root certificates".to_owned(),
                )
            })?;
        let request = client
            .get(url.clone())
            .headers(conditions)
            .header(header::ACCEPT, self.accept);
        request.send().await.map_err(|error| self.network(&error, host))
    }

    /// Where a redirect leads, if it may be followed: same host and port, same encryption.
    fn target(&self, from: &Url, headers: &HeaderMap) -> Result<Url, What> {
        let location = headers.get(header::LOCATION).and_then(|value| value.to_str().ok());
        let Some(to) = location.and_then(|location| from.join(location).ok()) else {
            return Err(What::Redirect { why: "no address" });
        };
        if to.scheme() != from.scheme() {
            return Err(What::Redirect {
                why: "an address of another kind",
            });
        }
        if to.host() != from.host() || to.port_or_known_default() != from.port_or_known_default() {
            return Err(What::Redirect { why: "another host" });
        }
        Ok(to)
    }

    async fn body(&self, mut response: reqwest::Response, limit: usize) -> Result<Vec<u8>, What> {
        let mut body = Vec::new();
        loop {
            match response.chunk().await {
                Ok(Some(chunk)) if body.len() + chunk.len() > limit => return Err(What::TooBig { limit }),
                Ok(Some(chunk)) => body.extend_from_slice(&chunk),
                Ok(None) => return Ok(body),
                Err(error) => return Err(self.network(&error, String::new())),
            }
        }
    }

    async fn refused(
        &self,
        status: StatusCode,
        headers: &HeaderMap,
        response: reqwest::Response,
        key: Option<&Key>,
    ) -> What {
        /// Services name it differently; the longer name tells more.
        #[derive(serde::Deserialize)]
        struct Told {
            reason: Option<String>,
            detail: Option<String>,
            title: Option<String>,
        }
        let body = self.body(response, 64 << 10).await.unwrap_or_default();
        let told = serde_json::from_slice::<Told>(&body).ok();
        let reason = told.and_then(|told| told.reason.or(told.detail).or(told.title));
        let reason = reason.map(|reason| cleaned(&key.map_or_else(|| reason.clone(), |key| key.blotted(&reason))));
        What::Status {
            code: status.as_u16(),
            reason,
            retry_after: retry_after(headers, self.now),
        }
    }

    /// A fault of the network. The library's own text is dropped, for it holds the address and the key.
    fn network(&self, error: &reqwest::Error, host: String) -> What {
        if error.is_timeout() {
            let limit = if error.is_connect() {
                self.limits.connect
            } else {
                self.limits.total
            };
            return What::Silent {
                after_s: limit.as_secs(),
            };
        }
        if !error.is_connect() {
            return What::Cut;
        }
        let mut cause = std::error::Error::source(error);
        while let Some(inner) = cause {
            // The words come through an i/o error, so the type below it is not visible.
            let words = inner.to_string();
            if words.contains("certificate") || words.contains("corrupt message") || words.contains("alert") {
                return What::Certificate { host };
            }
            cause = inner.source();
        }
        What::Unreachable { host }
    }
}

pub(super) fn text(headers: &HeaderMap, name: &header::HeaderName) -> Option<String> {
    headers
        .get(name)
        .and_then(|value| value.to_str().ok())
        .filter(|text| text.len() < 300)
        .map(str::to_owned)
}

/// When to ask again, as seconds or as a date.
fn retry_after(headers: &HeaderMap, now: DateTime<Utc>) -> Option<TimeDelta> {
    let value = text(headers, &header::RETRY_AFTER)?;
    if let Ok(seconds) = value.trim().parse::<u32>() {
        return Some(TimeDelta::seconds(i64::from(seconds)));
    }
    let at = DateTime::<Utc>::from(httpdate::parse_http_date(value.trim()).ok()?);
    (at > now).then(|| at - now)
}

/// How long an answer is good by the service's own word: `Cache-Control: max-age`, else `Expires`
/// (RFC 9111 section 4.2.1).
pub(super) fn good_until(headers: &HeaderMap, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    let age = text(headers, &header::CACHE_CONTROL).and_then(|control| {
        control
            .split(',')
            .find_map(|part| part.trim().strip_prefix("max-age=")?.parse::<u32>().ok())
    });
    if let Some(seconds) = age {
        return Some(now + TimeDelta::seconds(i64::from(seconds)));
    }
    let expires = text(headers, &header::EXPIRES)?;
    let expires = DateTime::<Utc>::from(httpdate::parse_http_date(expires.trim()).ok()?);
    // Counted from the service's own clock, for ours may differ.
    let date = text(headers, &header::DATE).and_then(|date| httpdate::parse_http_date(date.trim()).ok());
    Some(date.map_or(expires, |date| now + (expires - DateTime::<Utc>::from(date))))
}
