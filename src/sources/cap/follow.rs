//! Which links of an index are worth a question.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use reqwest::Url;

use super::Link;
use crate::weather::warning::{Farm, Kind, Urgency};

/// The links to follow in one round: of the feed's own house, over https, not seen before, about something that
/// matters, and not plainly for another area; at most `most`, in the order of the index.
pub fn follow(
    feed: &str,
    links: &[Link],
    seen: &BTreeSet<String>,
    farm: &Farm,
    most: usize,
    now: DateTime<Utc>,
) -> Vec<String> {
    let Some(home) = Url::parse(feed).ok() else {
        return Vec::new();
    };
    let mut chosen: Vec<String> = Vec::new();
    for link in links {
        if chosen.len() >= most {
            break;
        }
        let Some(url) = allowed(&home, &link.url) else { continue };
        if !seen.contains(&url) && !chosen.contains(&url) && matters(link, farm, now) {
            chosen.push(url);
        }
    }
    chosen
}

/// The address as it may be asked for.
fn allowed(home: &Url, written: &str) -> Option<String> {
    let url = home.join(written).ok()?;
    // Only a feed on this very machine comes without encryption, and it leads nowhere else.
    if home.scheme() == "http" {
        return (url.origin() == home.origin()).then(|| url.to_string());
    }
    let plain = url.username().is_empty()
        && url.password().is_none()
        && url.port_or_known_default() == home.port_or_known_default();
    let (Some(host), Some(own)) = (url.domain(), home.domain()) else {
        return None;
    };
    let same = host == own || registrable(host).is_some_and(|part| Some(part) == registrable(own));
    (url.scheme() == "https" && plain && same).then(|| url.to_string())
}

/// The part of a host that somebody registered. Assumed, without a list: the last two labels, three under
/// two-letter countries that register below a short second label such as `co.uk` or `gov.au`.
fn registrable(host: &str) -> Option<&str> {
    let mut labels = host.rsplit('.');
    let (last, second) = (labels.next()?, labels.next()?);
    let count = if last.len() == 2 && second.len() <= 3 { 3 } else { 2 };
    let starts = host.rmatch_indices('.').map(|(at, _)| at + 1);
    match starts.clone().nth(count - 1) {
        Some(start) => host.get(start..),
        None => (host.split('.').count() == count).then_some(host),
    }
}

/// Whether a message may be of use to the farm, as far as the index tells.
fn matters(link: &Link, farm: &Farm, now: DateTime<Utc>) -> bool {
    let info = &link.info;
    let told = info.areas.iter().any(crate::weather::warning::Area::is_told);
    let near = !told || info.areas.iter().any(|area| area.covers(&farm.spot).is_some());
    let about = info.event.is_empty() || info.kind != Kind::Other;
    let over = info.expires.is_some_and(|expires| expires <= now);
    near && about && !over && !info.marine && !info.green && info.urgency != Urgency::Past
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn x11_only_the_feeds_own_house_is_asked_and_only_over_https() {
        let home = Url::parse("https://feeds.weather.example/atom").unwrap();
        for (link, good) in [
            ("https://feeds.weather.example/a", true),
            ("/b", true),
            ("https://api.weather.example/c", true),
            ("http://feeds.weather.example/a", false),
            ("https://weather.example.evil.test/a", false),
            ("https://other.example/a", false),
            ("https://127.0.0.1/a", false),
            ("https://[::1]/a", false),
            ("https://me:pw@feeds.weather.example/a", false),
            ("https://feeds.weather.example:8443/a", false),
            ("file:///etc/passwd", false),
            ("javascript:alert(1)", false),
        ] {
            assert_eq!(allowed(&home, link).is_some(), good, "{link}");
        }
        let here = Url::parse("http://127.0.0.1:9/feed").unwrap();
        assert!(allowed(&here, "/a").is_some());
        assert!(allowed(&here, "http://127.0.0.1:10/a").is_none() && allowed(&here, "https://a.example/").is_none());
        assert_eq!(registrable("api.met.co.uk"), Some("met.co.uk"));
        assert_eq!(registrable("a.b.weather.gov"), Some("weather.gov"));
        assert_eq!(registrable("localhost"), None);
    }
}
