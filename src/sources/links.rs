//! Whole warnings behind the links of an index: asked one after the other, few a round, each once.

use std::collections::BTreeSet;
use std::time::Duration;

use chrono::{DateTime, Utc};
use reqwest::Url;
use reqwest::header::HeaderMap;

use super::cap::{self, Link};
use super::client::Limits;
use super::fault::What;
use super::transport::Transport;
use super::{Service, Settings, request};
use crate::weather::warning::{Farm, Warning};

/// Most links followed in one round.
pub const MOST: usize = 20;
/// Longest that the links of one index may take.
const PATIENCE: Duration = Duration::from_secs(20);

/// The messages behind the links of an index that may matter to the farm. `seen` holds the links that are not to
/// be asked again; it is brought up to date and holds no more than the index. At the first sign that
/// the service does not answer, the rest waits for the next round.
pub async fn follow(
    settings: &Settings,
    service: &Service,
    links: &[Link],
    farm: &Farm,
    seen: &mut BTreeSet<String>,
    now: DateTime<Utc>,
) -> Vec<Warning> {
    let home = Url::parse(&service.base_url).ok();
    let whole = |link: &Link| Some(home.as_ref()?.join(&link.url).ok()?.to_string());
    let listed: BTreeSet<String> = links.iter().filter_map(whole).collect();
    seen.retain(|url| listed.contains(url));
    let limits = Limits {
        total: PATIENCE / 2,
        body: 4 << 20,
        ..Limits::default()
    };
    let transport = Transport {
        limits: &limits,
        contact: &settings.contact,
        allow_loopback: service.allow_loopback,
        accept: request::accepted(service.kind),
        now,
    };
    let mut found = Vec::new();
    let ask = async {
        for address in cap::follow(&service.base_url, links, seen, farm, MOST, now) {
            let Ok(url) = Url::parse(&address) else { continue };
            match transport.get(url, HeaderMap::new(), None).await {
                Ok(answer) => match cap::read(&answer.body) {
                    Ok(feed) => found.extend(feed.warnings),
                    Err(refusal) => {
                        tracing::warn!(service = ?service.name, %refusal, "a warning behind a link was not read");
                    }
                },
                // It was taken back between index and question.
                Err(What::Status { code: 404 | 410, .. }) => {}
                Err(_) => break,
            }
            seen.insert(address);
        }
    };
    // What came before the time was up counts.
    let _ = tokio::time::timeout(PATIENCE, ask).await;
    found
}
