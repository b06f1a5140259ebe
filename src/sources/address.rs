//! Which addresses may be asked: the open internet, and this machine only where the settings say so.
//! The names are looked up here and the connection goes to the very address that was checked.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};

use reqwest::Url;

use super::fault::What;

/// The addresses of a URL's host, all of them allowed, or what is wrong.
pub(super) async fn checked(url: &Url, allow_loopback: bool) -> Result<Vec<SocketAddr>, What> {
    let host = url.host_str().unwrap_or_default().to_owned();
    let bare = host.trim_start_matches('[').trim_end_matches(']');
    let port = url.port_or_known_default().unwrap_or(443);
    let found: Vec<SocketAddr> = tokio::net::lookup_host((bare, port))
        .await
        .map(Iterator::collect)
        .unwrap_or_default();
    if found.is_empty() {
        return Err(What::NoSuchHost { host });
    }
    let here = found.iter().all(|address| address.ip().is_loopback());
    match url.scheme() {
        "https" => {}
        "http" if allow_loopback && here => {}
        _ => {
            return Err(What::Settings(format!(
                "{host} is to be asked without encryption; write base_url with https (http only for a server \
                    on this machine, with allow_loopback)"
            )));
        }
    }
    // One forbidden address among several is enough: a name that leads both ways is a trap.
    let allowed = |ip: IpAddr| is_public(ip) || (allow_loopback && ip.is_loopback());
    if found.iter().all(|address| allowed(address.ip())) {
        Ok(found)
    } else {
        Err(What::Forbidden { host })
    }
}

/// Whether an address belongs to the open internet.
/// Source: IANA special-purpose address registries for IPv4 and IPv6 (from memory).
fn is_public(ip: IpAddr) -> bool {
    match ip {
        IpAddr::V4(ip) => is_public_v4(ip),
        IpAddr::V6(ip) => is_public_v6(ip),
    }
}

fn is_public_v4(ip: Ipv4Addr) -> bool {
    let [a, b, c, _] = ip.octets();
    let shared = a == 100 && (64..128).contains(&b);
    let benchmark = a == 198 && (b == 18 || b == 19);
    let protocols = (a, b, c) == (192, 0, 0);
    !(a == 0
        || a >= 240
        || shared
        || benchmark
        || protocols
        || ip.is_private()
        || ip.is_loopback()
        || ip.is_link_local()
        || ip.is_multicast()
        || ip.is_documentation())
}

fn is_public_v6(ip: Ipv6Addr) -> bool {
    let [a, b, ..] = ip.segments();
    if let Some(inside) = embedded(ip) {
        return is_public_v4(inside);
    }
    let documentation = a == 0x2001 && b == 0x0db8;
    let global = a & 0xe000 == 0x2000;
    global && !documentation
}

/// The IPv4 address inside a mapped, translated (64:ff9b::/96) or 6to4 (2002::/16) one.
fn embedded(ip: Ipv6Addr) -> Option<Ipv4Addr> {
    let [a, b, c, d, e, f, g, h] = ip.segments();
    let v4 = |high: u16, low: u16| {
        let ([a, b], [c, d]) = (high.to_be_bytes(), low.to_be_bytes());
        Ipv4Addr::new(a, b, c, d)
    };
    match (a, b) {
        (0x2002, _) => Some(v4(b, c)),
        (0x0064, 0xff9b) if (c, d, e, f) == (0, 0, 0, 0) => Some(v4(g, h)),
        _ => ip.to_ipv4_mapped(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// X11.
    #[test]
    fn private_and_local_addresses_are_not_public() {
        for local in [
            "127.0.0.1",
            "10.1.2.3",
            "172.16.0.1",
            "192.168.1.1",
            "169.254.169.254",
            "100.64.0.1",
            "0.0.0.0",
            "255.255.255.255",
            "224.0.0.1",
            "198.18.0.1",
            "192.0.2.1",
            "240.0.0.1",
            "::1",
            "::",
            "fe80::1",
            "fd00::1",
            "ff02::1",
            "::ffff:127.0.0.1",
            "64:ff9b::a00:1",
            "2002:7f00:1::",
            "2001:db8::1",
        ] {
            assert!(!is_public(local.parse().unwrap()), "{local}");
        }
        for open in ["8.8.8.8", "172.32.0.1", "2606:4700::1111", "::ffff:8.8.8.8"] {
            assert!(is_public(open.parse().unwrap()), "{open}");
        }
    }

    /// X11: whatever the spelling, the address behind it counts.
    #[tokio::test]
    async fn spellings_of_a_local_address_are_refused() {
        for spelt in [
            "https://127.0.0.1/",
            "https://2130706433/",
            "https://0x7f.1/",
            "https://0177.0.0.1/",
            "https://[::1]/",
            "https://10.0.0.7/",
            "https://169.254.169.254/",
            "https://localhost/",
        ] {
            let refused = checked(&Url::parse(spelt).unwrap(), false).await.unwrap_err();
            assert!(matches!(refused, What::Forbidden { .. }), "{spelt}: {refused:?}");
        }
        assert!(checked(&Url::parse("http://127.0.0.1/").unwrap(), true).await.is_ok());
        for plain in ["http://127.0.0.1/", "http://8.8.8.8/", "ftp://8.8.8.8/"] {
            let refused = checked(&Url::parse(plain).unwrap(), false).await.unwrap_err();
            assert!(matches!(refused, What::Settings(_)), "{plain}: {refused:?}");
        }
        assert!(checked(&Url::parse("https://10.0.0.7/").unwrap(), true).await.is_err());
    }
}
