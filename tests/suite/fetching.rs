//! Asking a service: whatever it does, a forecast or a sentence comes within the limits, and the last
//! good forecast stays. Names such as N3 are rows of the fault catalogue.

use std::collections::BTreeSet;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use covercast::sources::fault::{Course, What};
use covercast::sources::{
    Fault, Limits, Pulled, Refusal, Role, Service, ServiceKind, ServiceState, Settings, cached, load_state,
    prepare_tls, pull_within, save_state,
};
use covercast::weather::{Freshness, IssueBasis, Offer, Product, Quantity};
use serde_json::{Value, json};
use tempfile::TempDir;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

use super::replies::{NOW, at, larkrise, reply};

const KEY: &str = "canary-5f2e91";

/// What a server does after it has read a request.
#[derive(Clone)]
pub(crate) enum Act {
    /// Sends bytes and closes.
    Say(Vec<u8>),
    /// Sends bytes and keeps silent with the line open.
    SayAndStall(Vec<u8>),
    /// Sends bytes, then one more of them every 50 ms for ever.
    Drip(Vec<u8>),
    /// Sends the first bytes, then the second again and again.
    Endless(Vec<u8>, Vec<u8>),
    /// Sends bytes and resets the line.
    Reset(Vec<u8>),
}

/// A server on a raw socket, so that it can be as wrong as it likes.
pub(crate) struct Server {
    pub(crate) address: String,
    requests: Arc<Mutex<Vec<String>>>,
}

impl Server {
    pub(crate) async fn that(answer: impl Fn(&str) -> Act + Send + Sync + 'static) -> Self {
        prepare_tls();
        prepare_tls();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap().to_string();
        let requests = Arc::new(Mutex::new(Vec::new()));
        let (seen, answer) = (requests.clone(), Arc::new(answer));
        tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                tokio::spawn(serve(stream, seen.clone(), answer.clone()));
            }
        });
        Self { address, requests }
    }

    pub(crate) async fn saying(act: Act) -> Self {
        Self::that(move |_| act.clone()).await
    }

    pub(crate) fn requests(&self) -> Vec<String> {
        self.requests.lock().unwrap().clone()
    }
}

async fn serve(mut stream: TcpStream, seen: Arc<Mutex<Vec<String>>>, answer: Arc<impl Fn(&str) -> Act>) {
    let mut head = Vec::new();
    let mut part = [0; 4096];
    while !head.windows(4).any(|end| end == b"\r\n\r\n") {
        match stream.read(&mut part).await {
            // A client that greets otherwise than by HTTP is answered too.
            Ok(count) if count > 0 && part[0] != 22 => head.extend_from_slice(&part[..count]),
            _ => break,
        }
    }
    let head = String::from_utf8_lossy(&head).into_owned();
    seen.lock().unwrap().push(head.clone());
    let act = answer(&head);
    let _ = match act {
        Act::Say(bytes) => stream.write_all(&bytes).await,
        Act::SayAndStall(bytes) => {
            let _ = stream.write_all(&bytes).await;
            stream.read(&mut part).await.map(|_| ())
        }
        Act::Drip(bytes) => {
            let _ = stream.write_all(&bytes).await;
            let mut tick = tokio::time::interval(Duration::from_millis(50));
            while stream.write_all(b" ").await.is_ok() {
                tick.tick().await;
            }
            Ok(())
        }
        Act::Endless(start, more) => {
            let _ = stream.write_all(&start).await;
            while stream.write_all(&more).await.is_ok() {}
            Ok(())
        }
        Act::Reset(bytes) => {
            let _ = stream.write_all(&bytes).await;
            stream.set_zero_linger()
        }
    };
}

pub(crate) fn ok(body: &[u8], headers: &str) -> Act {
    answer("200 OK", body, headers)
}

pub(crate) fn answer(status: &str, body: &[u8], headers: &str) -> Act {
    let head = format!("HTTP/1.1 {status}\r\nContent-Length: {}\r\n{headers}\r\n", body.len());
    Act::Say([head.as_bytes(), body].concat())
}

fn good() -> Act {
    ok(reply(10, 1).to_string().as_bytes(), "")
}

/// A farm that asks one service, with its cache in a folder of its own.
struct Asker {
    settings: Settings,
    limits: Limits,
    state: ServiceState,
    folder: TempDir,
}

impl Asker {
    fn of(server: &Server) -> Self {
        Self::at(&format!("http://{}", server.address), true)
    }

    fn at(base_url: &str, allow_loopback: bool) -> Self {
        prepare_tls();
        let folder = tempfile::tempdir().unwrap();
        let key_file = folder.path().join("key");
        fs::write(&key_file, format!("{KEY}\n")).unwrap();
        fs::set_permissions(&key_file, fs::Permissions::from_mode(0o600)).unwrap();
        let service = Service {
            name: "Open forecast".to_owned(),
            kind: ServiceKind::OpenMeteoForecast,
            role: Role::Main,
            base_url: base_url.to_owned(),
            key_file: Some(key_file),
            models: None,
            station: None,
            codes: BTreeSet::new(),
            days: 10,
            product: Product::HourlyModel,
            allow_loopback,
        };
        let settings = Settings {
            contact: "grower@larkrise.example".to_owned(),
            services: vec![service],
            cache: folder.path().join("cache"),
            interval: TimeDelta::zero(),
        };
        let limits = Limits {
            total: Duration::from_millis(1500),
            connect: Duration::from_millis(500),
            ..Limits::default()
        };
        Self {
            settings,
            limits,
            state: ServiceState::default(),
            folder,
        }
    }

    fn service(&mut self) -> &mut Service {
        &mut self.settings.services[0]
    }

    async fn pull(&mut self, now: DateTime<Utc>) -> Result<Pulled, Fault> {
        let service = self.settings.services[0].clone();
        let pulled = pull_within(
            &self.limits,
            &self.settings,
            &service,
            &larkrise(),
            now,
            &mut self.state,
        )
        .await;
        if let Err(fault) = &pulled {
            for text in [fault.to_string(), format!("{fault:?}"), format!("{:?}", self.state)] {
                assert!(!text.contains(KEY) && !text.contains("apikey"), "{text}");
            }
        }
        pulled
    }

    async fn fault(&mut self) -> What {
        self.pull(at(NOW)).await.unwrap_err().what
    }

    fn cached(&self, now: DateTime<Utc>) -> Option<covercast::weather::Forecast> {
        cached(&self.settings, &self.settings.services[0], &larkrise(), now)
    }
}

#[tokio::test]
async fn a_forecast_is_asked_for_politely_read_and_kept() {
    let server = Server::saying(good()).await;
    let mut asker = Asker::of(&server);
    let pulled = asker.pull(at(NOW)).await.unwrap();
    assert_eq!((pulled.forecast.runs.len(), pulled.notes.len()), (1, 0));
    assert_eq!(asker.cached(at(NOW)), Some(pulled.forecast));
    let request = &server.requests()[0];
    let head = request.to_lowercase();
    assert!(head.contains(&format!(
        "user-agent: covercast/{} (grower@larkrise.example)",
        env!("CARGO_PKG_VERSION")
    )));
    assert!(head.contains("accept-encoding: ") && head.contains("gzip"));
    for part in [
        "GET /v1/forecast?",
        "latitude=-39.6000&longitude=176.7000",
        "timeformat=unixtime",
        "timezone=GMT",
        "past_days=5",
        "forecast_days=10",
        "wind_speed_unit=ms",
        "wind_gusts_10m",
        "apikey=canary-5f2e91",
    ] {
        assert!(request.contains(part), "{part} in {request}");
    }
    let entry = fs::read_dir(asker.folder.path().join("cache"))
        .unwrap()
        .next()
        .unwrap()
        .unwrap();
    assert_eq!(entry.metadata().unwrap().permissions().mode() & 0o777, 0o600);
    assert!(!String::from_utf8_lossy(&fs::read(entry.path()).unwrap()).contains(KEY));
}

#[tokio::test]
async fn a_packed_forecast_is_unpacked() {
    let server = Server::saying(ok(
        &gzip_stored(reply(10, 1).to_string().as_bytes()),
        "Content-Encoding: gzip\r\n",
    ))
    .await;
    assert!(Asker::of(&server).pull(at(NOW)).await.is_ok());
}

/// N1.
#[tokio::test]
async fn a_service_that_cannot_be_reached_is_left_alone_for_minutes_and_the_last_forecast_stays() {
    let server = Server::saying(good()).await;
    let mut asker = Asker::of(&server);
    asker.pull(at(NOW)).await.unwrap();
    let kept = asker.cached(at(NOW)).unwrap();
    let closed = TcpListener::bind("127.0.0.1:0").await.unwrap().local_addr().unwrap();
    asker.service().base_url = format!("http://{closed}");
    let fault = asker.pull(at(NOW)).await.unwrap_err();
    assert_eq!(
        fault.to_string(),
        "Open forecast: 127.0.0.1 cannot be reached; the last forecast stays in use and the next pull tries again. \
         Check the network if it lasts"
    );
    assert_eq!(asker.state.failing_since, Some(at(NOW)));
    let wait = asker.state.next_try.unwrap() - at(NOW);
    assert!(wait >= TimeDelta::minutes(1) && wait <= TimeDelta::minutes(30));
    asker.service().base_url = format!("http://{}", server.address);
    assert!(matches!(asker.fault().await, What::Waiting { .. }));
    assert_eq!(server.requests().len(), 1);
    let later = asker.state.next_try.unwrap();
    let pulled = asker.pull(later).await.unwrap();
    assert_eq!((asker.state.failing_since, asker.state.failures), (None, 0));
    assert_eq!(pulled.forecast.issue.at, kept.issue.at);
    asker.service().base_url = "http://no-such-host.invalid".to_owned();
    assert!(matches!(
        asker.fault().await,
        What::NoSuchHost { .. } | What::Silent { .. }
    ));
}

/// N2, N3, N4, X13.
#[tokio::test]
async fn each_error_status_is_met_as_it_should_be() {
    for (status, headers, course, wait_min) in [
        ("500 Oops", "", Course::Again, 1),
        ("502 Bad Gateway", "", Course::Again, 1),
        ("503 Busy", "Retry-After: 7200\r\n", Course::Again, 120),
        (
            "503 Busy",
            "Retry-After: Mon, 09 Mar 2026 19:30:00 GMT\r\n",
            Course::Again,
            180,
        ),
        ("504 Late", "Retry-After: 999999\r\n", Course::Again, 360),
        ("429 Too Many", "Retry-After: 60\r\n", Course::Blocked, 60),
        ("403 No", "", Course::Blocked, 60),
        ("401 Who", "", Course::Settings, 360),
        ("404 Where", "", Course::Settings, 360),
        ("400 What", "", Course::Settings, 360),
    ] {
        let body = json!({"error": true, "reason": format!("bad key {KEY}\u{1b}[31m in apiKey")}).to_string();
        let server = Server::saying(answer(status, body.as_bytes(), headers)).await;
        let mut asker = Asker::of(&server);
        let fault = asker.pull(at(NOW)).await.unwrap_err();
        assert_eq!(fault.what.course(), course, "{status}");
        let text = fault.to_string();
        assert!(
            text.contains(&format!("status {}", &status[..3])) && text.contains("bad key …"),
            "{text}"
        );
        assert!(!text.contains('\u{1b}'));
        let wait = (asker.state.next_try.unwrap() - at(NOW)).num_minutes();
        assert!(
            wait == wait_min || (course == Course::Again && wait_min == 1 && wait <= 30),
            "{status}: {wait} min"
        );
    }
}

/// N5.
#[tokio::test]
async fn a_service_that_will_end_is_used_and_said_once_a_day() {
    let server = Server::saying(ok(
        reply(10, 1).to_string().as_bytes(),
        "Sunset: Wed, 01 Apr 2026 00:00:00 GMT\r\n",
    ))
    .await;
    let mut asker = Asker::of(&server);
    assert_eq!(
        asker.pull(at(NOW)).await.unwrap().notes,
        ["Open forecast: the service says that this interface will end; look for its successor"]
    );
    assert!(
        asker
            .pull(at(NOW) + TimeDelta::hours(1))
            .await
            .unwrap()
            .notes
            .is_empty()
    );
}

/// N6, D7.
#[tokio::test]
async fn not_changed_keeps_the_reply_and_its_age() {
    let server = Server::that(|request| {
        if request.to_lowercase().contains("if-none-match: \"a1\"") {
            answer("304 Not Modified", b"", "")
        } else {
            ok(reply(10, 1).to_string().as_bytes(), "ETag: \"a1\"\r\n")
        }
    })
    .await;
    let mut asker = Asker::of(&server);
    let first = asker.pull(at(NOW)).await.unwrap().forecast;
    let later = at(NOW) + TimeDelta::hours(8);
    let again = asker.pull(later).await.unwrap();
    assert_eq!(again.forecast, first);
    assert_eq!(
        Product::HourlyModel.freshness(again.forecast.issue.at, later),
        Freshness::Old
    );
    assert_eq!(
        again.notes,
        [
            "Open forecast: the same forecast since 2026-03-09 16:30 UTC; the service seems stuck and its age goes on counting"
        ]
    );
    fs::remove_dir_all(asker.folder.path().join("cache")).unwrap();
    assert_eq!(asker.pull(later).await.unwrap().forecast.runs, first.runs);
    let always = Server::saying(answer("304 Not Modified", b"", "")).await;
    assert_eq!(Asker::of(&always).fault().await, What::NotChanged);
}

/// D7: the same values with a new fetch, byte for byte other or not, for a day.
#[tokio::test]
async fn the_same_forecast_for_a_day_grows_old() {
    let server = Server::that(|request| {
        let mut same = reply(10, 1);
        same["generationtime_ms"] = json!(request.len());
        ok(same.to_string().as_bytes(), "")
    })
    .await;
    let mut asker = Asker::of(&server);
    let start = at("2026-03-09T00:30:00Z");
    for (hours, freshness, notes) in [
        (0, Freshness::Fresh, 0),
        (4, Freshness::Fresh, 0),
        (8, Freshness::Old, 1),
        (23, Freshness::Unknown, 1),
    ] {
        let now = start + TimeDelta::hours(hours);
        let pulled = asker.pull(now).await.unwrap();
        assert_eq!(
            Product::HourlyModel.freshness(pulled.forecast.issue.at, now),
            freshness,
            "{hours} h"
        );
        assert_eq!(pulled.notes.len(), notes, "{hours} h");
        assert_eq!(asker.cached(now).unwrap().issue, pulled.forecast.issue);
    }
}

/// D6: what was asked for is known, so an answer for other days is seen.
#[tokio::test]
async fn an_answer_made_for_yesterday_is_as_old_as_that() {
    let server = Server::saying(good()).await;
    let mut asker = Asker::of(&server);
    let now = at("2026-03-10T16:30:00Z");
    let forecast = asker.pull(now).await.unwrap().forecast;
    assert_eq!(
        (forecast.issue.at, forecast.issue.basis),
        (at("2026-03-09T00:00:00Z"), IssueBasis::Implied)
    );
    assert_eq!(
        Product::HourlyModel.freshness(forecast.issue.at, now),
        Freshness::Unknown
    );
}

/// N7, D5.
#[tokio::test]
async fn an_answer_that_is_no_forecast_changes_nothing() {
    let mut elsewhere = reply(10, 1);
    elsewhere["latitude"] = json!(-41.0);
    let elsewhere = elsewhere.to_string();
    for body in [
        "",
        "<html>log in</html>",
        "{\"login\":true}",
        "{\"error\":true,\"reason\":\"no\"}",
        "{\"latitude\":nan,",
        &elsewhere,
    ] {
        let bodies = Mutex::new(vec![body.as_bytes().to_vec(), reply(10, 1).to_string().into_bytes()]);
        let server = Server::that(move |_| ok(&bodies.lock().unwrap().pop().unwrap(), "")).await;
        let mut asker = Asker::of(&server);
        let kept = asker.pull(at(NOW)).await.unwrap().forecast;
        let refused = asker.fault().await;
        assert!(matches!(refused, What::Reply(_)), "{body}: {refused:?}");
        assert_eq!(asker.cached(at(NOW)), Some(kept), "{body}");
    }
}

/// N8.
#[tokio::test]
async fn half_an_answer_is_none() {
    let whole = reply(10, 1).to_string().into_bytes();
    let half = whole[..whole.len() / 2].to_vec();
    let head =
        |length: usize, more: &str| format!("HTTP/1.1 200 OK\r\nContent-Length: {length}\r\n{more}\r\n").into_bytes();
    let mut broken = gzip_stored(&whole);
    let middle = broken.len() / 2;
    broken.truncate(middle);
    for (what, act) in [
        ("cut", Act::Say([head(whole.len(), ""), half.clone()].concat())),
        ("reset", Act::Reset([head(whole.len(), ""), half.clone()].concat())),
        (
            "length too small",
            Act::Say([head(half.len(), ""), whole.clone()].concat()),
        ),
        (
            "no length",
            Act::Say([b"HTTP/1.1 200 OK\r\n\r\n".to_vec(), half.clone()].concat()),
        ),
        ("half packed", ok(&broken, "Content-Encoding: gzip\r\n")),
        ("not packed", ok(&whole, "Content-Encoding: gzip\r\n")),
        (
            "chunk cut",
            Act::Say(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nff\r\n{\"hourly\"".to_vec()),
        ),
        ("garbage", Act::Say(b"220 mail.example ESMTP\r\n".to_vec())),
        ("nothing", Act::Say(Vec::new())),
    ] {
        let server = Server::saying(act).await;
        let mut asker = Asker::of(&server);
        let fault = asker.fault().await;
        assert!(
            matches!(fault, What::Cut | What::Reply(Refusal::NotJson { .. })),
            "{what}: {fault:?}"
        );
        assert!(asker.cached(at(NOW)).is_none(), "{what}");
    }
}

/// N9.
#[tokio::test]
async fn a_slow_service_costs_no_more_than_the_limit() {
    let head = b"HTTP/1.1 200 OK\r\nContent-Length: 100000\r\n\r\n{".to_vec();
    for act in [
        Act::SayAndStall(Vec::new()),
        Act::SayAndStall(b"HTTP/1.1 200 OK\r\nContent-".to_vec()),
        Act::SayAndStall(head.clone()),
        Act::Drip(head),
    ] {
        let server = Server::saying(act).await;
        let mut asker = Asker::of(&server);
        asker.limits.total = Duration::from_millis(300);
        let began = tokio::time::Instant::now();
        assert!(matches!(asker.fault().await, What::Silent { .. }));
        assert!(began.elapsed() < Duration::from_millis(1500), "{:?}", began.elapsed());
    }
}

/// N10.
#[tokio::test]
async fn an_answer_without_end_is_stopped_at_eight_mebibytes_unpacked() {
    let chunk = [b"4000\r\n".to_vec(), vec![b' '; 0x4000], b"\r\n".to_vec()].concat();
    let endless = Act::Endless(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n".to_vec(), chunk);
    let bomb = ok(&gzip_of_zeros(200 << 20), "Content-Encoding: gzip\r\n");
    for act in [endless, bomb] {
        let mut asker = Asker::of(&Server::saying(act).await);
        asker.limits.total = Duration::from_secs(20);
        assert_eq!(asker.fault().await, What::TooBig { limit: 8 << 20 });
    }
    let long = ok(b"{}", &format!("X-Long: {}\r\n", "x".repeat(600_000)));
    let many = ok(b"{}", &(0..300).map(|k| format!("X-{k}: 1\r\n")).collect::<String>());
    for act in [long, many] {
        let fault = Asker::of(&Server::saying(act).await).fault().await;
        assert_eq!(fault, What::Cut);
    }
}

/// N11, X11.
#[tokio::test]
async fn only_a_redirect_within_the_same_host_is_followed() {
    let forbidden = Server::saying(good()).await;
    let port = forbidden.address.rsplit(':').next().unwrap().to_owned();
    for to in [
        format!("http://{}/v1/forecast", forbidden.address),
        format!("http://localhost:{port}/"),
        format!("http://[::1]:{port}/"),
        "https://other.example/".to_owned(),
        "file:///etc/passwd".to_owned(),
        "gopher://x".to_owned(),
        String::new(),
    ] {
        let server = Server::saying(answer("302 Found", b"", &format!("Location: {to}\r\n"))).await;
        let mut asker = Asker::of(&server);
        let fault = asker.fault().await;
        assert!(matches!(fault, What::Redirect { .. }), "{to}: {fault:?}");
        assert!(forbidden.requests().is_empty(), "{to}");
    }
    let turning = Server::that(|request| match request.split(' ').nth(1) {
        Some("/new") => good(),
        _ => answer("301 Moved", b"", "Location: /new\r\n"),
    })
    .await;
    assert!(Asker::of(&turning).pull(at(NOW)).await.is_ok());
    let circle = Server::saying(answer("302 Found", b"", "Location: /again\r\n")).await;
    assert!(matches!(Asker::of(&circle).fault().await, What::Redirect { .. }));
    assert_eq!(circle.requests().len(), 4);
}

/// X11, N12.
#[tokio::test]
async fn this_machine_and_unproven_hosts_are_not_trusted() {
    let server = Server::saying(good()).await;
    let mut plain = Asker::at(&format!("http://{}", server.address), false);
    assert!(matches!(plain.fault().await, What::Settings(_)));
    let mut local = Asker::at(&format!("https://{}", server.address), false);
    assert!(matches!(local.fault().await, What::Forbidden { .. }));
    assert!(server.requests().is_empty());
    // A server that answers in plain text on the encrypted port is refused, and not asked in plain text.
    let mut unproven = Asker::at(&format!("https://{}", server.address), true);
    let fault = unproven.fault().await;
    assert!(
        matches!(fault, What::Certificate { .. } | What::Unreachable { .. } | What::Cut),
        "{fault:?}"
    );
    assert!(server.requests().iter().all(|request| !request.contains("GET")));
}

/// N12.
#[tokio::test]
async fn a_certificate_that_nobody_vouches_for_is_refused() {
    for certificate in ["unknown.pem", "elsewhere.pem"] {
        let address = encrypted_server(certificate);
        let mut asker = Asker::at(&format!("https://{address}"), true);
        let fault = asker.pull(at(NOW)).await.unwrap_err();
        assert_eq!(
            fault.what,
            What::Certificate {
                host: "127.0.0.1".to_owned()
            },
            "{certificate}"
        );
        assert!(
            fault
                .to_string()
                .contains("127.0.0.1 has no valid certificate and is not trusted")
        );
    }
}

/// A server that would answer any question once its certificate is taken.
fn encrypted_server(certificate: &str) -> String {
    use rustls::pki_types::pem::PemObject;
    use rustls::pki_types::{CertificateDer, PrivateKeyDer};

    prepare_tls();
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/tls");
    let chain = vec![CertificateDer::from_pem_file(folder.join(certificate)).unwrap()];
    let key = PrivateKeyDer::from_pem_file(folder.join("server.key")).unwrap();
    let config = rustls::ServerConfig::builder()
        .with_no_client_auth()
        .with_single_cert(chain, key)
        .unwrap();
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap().to_string();
    std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().unwrap();
        let mut connection = rustls::ServerConnection::new(Arc::new(config)).unwrap();
        while connection
            .complete_io(&mut stream)
            .is_ok_and(|(read, written)| read + written > 0)
        {}
    });
    address
}

#[tokio::test]
async fn a_key_that_everybody_may_read_is_refused_without_showing_it() {
    let server = Server::saying(good()).await;
    let mut asker = Asker::of(&server);
    let file = asker.service().key_file.clone().unwrap();
    fs::set_permissions(&file, fs::Permissions::from_mode(0o644)).unwrap();
    let text = asker.pull(at(NOW)).await.unwrap_err().to_string();
    assert!(
        text.contains("can be read by everybody on this machine; run chmod 600 on it"),
        "{text}"
    );
    assert!(text.contains(file.to_str().unwrap()) && server.requests().is_empty());
    fs::remove_file(&file).unwrap();
    asker.state.settings_changed();
    assert!(
        asker
            .pull(at(NOW))
            .await
            .unwrap_err()
            .to_string()
            .contains("cannot be found")
    );
}

#[tokio::test]
async fn a_damaged_or_foreign_cache_is_no_forecast() {
    let server = Server::saying(good()).await;
    let mut asker = Asker::of(&server);
    asker.pull(at(NOW)).await.unwrap();
    let file = fs::read_dir(asker.folder.path().join("cache"))
        .unwrap()
        .next()
        .unwrap()
        .unwrap()
        .path();
    let bytes = fs::read(&file).unwrap();
    for k in (0..bytes.len()).step_by(97) {
        let mut damaged = bytes.clone();
        damaged[k] ^= 0x15;
        fs::write(&file, damaged).unwrap();
        assert_eq!(asker.cached(at(NOW)), None, "byte {k}");
    }
    fs::write(&file, &bytes[..bytes.len() / 2]).unwrap();
    assert_eq!(asker.cached(at(NOW)), None);
    fs::write(&file, &bytes).unwrap();
    assert!(asker.cached(at(NOW)).is_some());
    assert_eq!(asker.cached(at("1970-01-02T00:00:00Z")), None);
    asker.service().days = 16;
    assert_eq!(asker.cached(at(NOW)), None);
}

#[tokio::test]
async fn a_series_that_vanishes_is_a_hole_for_a_day_and_then_not_offered() {
    let gone = Arc::new(Mutex::new(false));
    let flag = gone.clone();
    let server = Server::that(move |_| {
        let mut reply = reply(10, 1);
        if *flag.lock().unwrap() {
            reply["hourly"]["wind_gusts_10m"] = Value::Null;
        }
        ok(reply.to_string().as_bytes(), "")
    })
    .await;
    let mut asker = Asker::of(&server);
    asker.pull(at(NOW)).await.unwrap();
    *gone.lock().unwrap() = true;
    for (hours, offer) in [
        (1, Offer::Gone),
        (2, Offer::Gone),
        (23, Offer::Gone),
        (25, Offer::Estimated),
    ] {
        let forecast = asker.pull(at(NOW) + TimeDelta::hours(hours)).await.unwrap().forecast;
        assert_eq!(forecast.offers[&Quantity::Gust], offer, "{hours} h");
        assert_eq!(
            asker.cached(at(NOW) + TimeDelta::hours(hours)).unwrap().offers,
            forecast.offers
        );
    }
}

#[tokio::test]
async fn the_services_own_run_file_says_how_old_a_forecast_is() {
    let server = Server::that(|request| {
        if request.starts_with("GET /data/some_model/static/meta.json ") {
            let run = at("2026-03-09T12:00:00Z").timestamp();
            ok(
                json!({"last_run_initialisation_time": run, "last_run_availability_time": run + 9000})
                    .to_string()
                    .as_bytes(),
                "",
            )
        } else {
            good()
        }
    })
    .await;
    let mut asker = Asker::of(&server);
    asker.service().models = Some("some_model".to_owned());
    let issue = asker.pull(at(NOW)).await.unwrap().forecast.issue;
    assert_eq!((issue.at, issue.basis), (at("2026-03-09T12:00:00Z"), IssueBasis::Said));
    asker.service().models = Some("other_model".to_owned());
    let issue = asker.pull(at(NOW)).await.unwrap().forecast.issue;
    assert_eq!((issue.at, issue.basis), (at(NOW), IssueBasis::Implied));
    assert_eq!(asker.state.no_run_file_until, Some(at(NOW) + TimeDelta::days(1)));
}

#[tokio::test]
async fn waits_outlast_a_restart() {
    let server = Server::saying(answer("429 Too Many", b"", "")).await;
    let mut asker = Asker::of(&server);
    asker.fault().await;
    let service = asker.settings.services[0].clone();
    save_state(&asker.settings, &service, &larkrise(), &asker.state).unwrap();
    let state = load_state(&asker.settings, &service, &larkrise());
    assert_eq!(state, asker.state);
    assert_eq!(state.waiting(at(NOW)), Some(at(NOW) + TimeDelta::hours(1)));
}

/// Bytes in gzip form, unpressed.
fn gzip_stored(bytes: &[u8]) -> Vec<u8> {
    let mut out = vec![0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 255];
    let blocks: Vec<&[u8]> = bytes.chunks(0xffff).collect();
    for (k, block) in blocks.iter().enumerate() {
        let length = u16::try_from(block.len()).unwrap();
        out.push(u8::from(k + 1 == blocks.len()));
        out.extend_from_slice(&length.to_le_bytes());
        out.extend_from_slice(&(!length).to_le_bytes());
        out.extend_from_slice(block);
    }
    out.extend_from_slice(&crc32(bytes).to_le_bytes());
    out.extend_from_slice(&u32::try_from(bytes.len()).unwrap().to_le_bytes());
    out
}

/// CRC-32 of RFC 1952, section 8.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte), |sum, _| {
            if sum & 1 == 1 { sum >> 1 ^ 0xedb8_8320 } else { sum >> 1 }
        })
    })
}

/// About `count` zeros in gzip form: one zero, then "258 times the last byte" again and again, in the
/// fixed code of RFC 1951 (3.2.6). It has no end, as it needs none.
fn gzip_of_zeros(count: usize) -> Vec<u8> {
    let mut out = vec![0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 255];
    let (mut byte, mut used) = (0_u8, 0);
    let mut put = |bit: u8| {
        byte |= bit << used;
        used += 1;
        if used == 8 {
            out.push(byte);
            (byte, used) = (0, 0);
        }
    };
    // Last block, fixed code; literal 0; then length code 285 and distance code 0.
    [1, 1, 0].into_iter().for_each(&mut put);
    [0, 0, 1, 1, 0, 0, 0, 0].into_iter().for_each(&mut put);
    for _ in 0..count / 258 {
        [1, 1, 0, 0, 0, 1, 0, 1, 0, 0, 0, 0, 0].into_iter().for_each(&mut put);
    }
    out
}
