//! Manners and failover: a server that counts shows what each service is asked, how often and when; and whatever
//! one service does, another steps in and nothing gets better for it. Names such as N13 are rows of the fault
//! catalogue.

use std::collections::BTreeSet;
use std::sync::atomic::{AtomicU16, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Timelike, Utc};
use covercast::daemon::road;
use covercast::farm::site::Site;
use covercast::sources::fault::{Course, What};
use covercast::sources::round::{Turn, at_hand, round_within};
use covercast::sources::{
    Limits, Role, Service, ServiceKind, ServiceState, Settings, cached, prepare_tls, pull_within,
};
use covercast::weather::{Freshness, Kind, Product, Quantity, Standing};
use serde_json::{Value, json};
use tempfile::TempDir;

use super::fetching::{Act, Server, answer, ok};
use super::replies::{NOW, at, larkrise, reply, site};
use super::services::own;

/// Services of a farm, with a cache of their own and a clock that is handed in.
struct Round {
    settings: Settings,
    limits: Limits,
    site: Site,
    _folder: TempDir,
}

fn service(name: &str, kind: ServiceKind, role: Role, server: &Server) -> Service {
    Service {
        name: name.to_owned(),
        kind,
        role,
        base_url: format!("http://{}", server.address),
        key_file: None,
        models: None,
        station: kind.wants_station().then(|| "KPDX".to_owned()),
        codes: BTreeSet::new(),
        days: 10,
        product: Product::HourlyModel,
        allow_loopback: true,
    }
}

impl Round {
    fn of(services: Vec<Service>, site: Site) -> Self {
        prepare_tls();
        let folder = tempfile::tempdir().unwrap();
        let settings = Settings {
            contact: "grower@larkrise.example".to_owned(),
            services,
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
            site,
            _folder: folder,
        }
    }

    async fn ask(&self, now: DateTime<Utc>) -> Vec<Turn> {
        round_within(&self.limits, &self.settings, &self.site, now).await
    }

    /// The first service asked alone.
    async fn pull(&self, state: &mut ServiceState, now: DateTime<Utc>) -> Result<(), What> {
        let service = &self.settings.services[0];
        pull_within(&self.limits, &self.settings, service, &self.site, now, state)
            .await
            .map(|_| ())
            .map_err(|fault| fault.what)
    }
}

fn north() -> Site {
    site(63.4, 10.4, 50.0)
}

fn west() -> Site {
    site(47.1, -121.42, 60.0)
}

/// Value of a header in a request, whatever the case of its name.
fn header(request: &str, name: &str) -> Option<String> {
    request.lines().find_map(|line| {
        let (found, value) = line.split_once(": ")?;
        found.eq_ignore_ascii_case(name).then(|| value.to_owned())
    })
}

fn first_line(request: &str) -> &str {
    request.lines().next().unwrap()
}

#[tokio::test]
async fn each_service_is_asked_by_its_own_path_with_a_name_and_at_most_four_decimals() {
    let server = Server::saying(answer("503 Busy", b"", "")).await;
    let exact = site(45.123_456_789, 7.987_654_321, 312.6);
    for (kind, path) in [
        (
            ServiceKind::OpenMeteoForecast,
            "/v1/forecast?latitude=45.1235&longitude=7.9877&elevation=313&",
        ),
        (ServiceKind::OpenMeteoEnsemble, "/v1/ensemble?latitude=45.1235&"),
        (ServiceKind::OpenMeteoQuarterHours, "/v1/forecast?latitude=45.1235&"),
        (ServiceKind::OpenMeteoArchive, "/v1/archive?latitude=45.1235&"),
        (
            ServiceKind::MetNorwayComplete,
            "/weatherapi/locationforecast/2.0/complete?lat=45.1235&lon=7.9877&altitude=313 ",
        ),
        (
            ServiceKind::MetNorwayCompact,
            "/weatherapi/locationforecast/2.0/compact?lat=45.1235&lon=7.9877&altitude=313 ",
        ),
        (
            ServiceKind::MetNorwayNowcast,
            "/weatherapi/nowcast/2.0/complete?lat=45.1235&lon=7.9877 ",
        ),
        (ServiceKind::NwsGridpoint, "/points/45.1235,7.9877 "),
        (ServiceKind::NwsObservations, "/stations/KPDX/observations?limit=24 "),
        (ServiceKind::NwsAlerts, "/alerts/active?point=45.1235%2C7.9877 "),
        (
            ServiceKind::Mosmix,
            "/weather/local_forecasts/mos/MOSMIX_L/single_stations/KPDX/kml/MOSMIX_L_LATEST_KPDX.kmz ",
        ),
        (ServiceKind::Cap, "/ "),
    ] {
        let round = Round::of(vec![service("one", kind, kind.role(), &server)], exact.clone());
        let before = server.requests().len();
        let turns = round.ask(at(NOW)).await;
        assert!(turns[0].fault.as_ref().unwrap().contains("status 503"), "{turns:?}");
        let requests = server.requests();
        assert_eq!(requests.len(), before + 1, "{kind:?} is asked once");
        let request = &requests[before];
        assert!(
            first_line(request).starts_with(&format!("GET {path}")),
            "{kind:?}: {request}"
        );
        let agent = header(request, "user-agent").unwrap();
        assert!(agent.starts_with("covercast/") && agent.ends_with("(grower@larkrise.example)"));
        assert!(header(request, "accept-encoding").unwrap().contains("gzip"));
        assert!(header(request, "accept").is_some());
        assert!(!request.contains("45.12345") && !request.contains("7.98765"));
    }
}

/// Whole degrees stay whole: services that cut zeros themselves would send us on.
#[tokio::test]
async fn a_place_on_a_whole_degree_is_written_without_zeros() {
    let server = Server::saying(answer("503 Busy", b"", "")).await;
    let round = Round::of(
        vec![service("grid", ServiceKind::NwsGridpoint, Role::Main, &server)],
        site(40.0, -100.5, 700.0),
    );
    round.ask(at(NOW)).await;
    assert!(first_line(&server.requests()[0]).starts_with("GET /points/40,-100.5 "));
}

#[tokio::test]
async fn what_is_good_by_the_services_own_word_is_not_asked_for_before_it_runs_out() {
    let headers = "Date: Mon, 09 Mar 2026 16:29:00 GMT\r\nExpires: Mon, 09 Mar 2026 17:01:00 GMT\r\n\
                   Last-Modified: Mon, 09 Mar 2026 16:20:11 GMT\r\n";
    let body = own("met-norway/complete.json");
    let server = Server::that(move |request| {
        if header(request, "if-modified-since").is_some() {
            answer("304 Not Modified", b"", headers)
        } else {
            ok(&body, headers)
        }
    })
    .await;
    let round = Round::of(
        vec![service("met", ServiceKind::MetNorwayComplete, Role::Main, &server)],
        larkrise(),
    );
    let mut state = ServiceState::default();
    round.pull(&mut state, at(NOW)).await.unwrap();
    let kept = cached(&round.settings, &round.settings.services[0], &larkrise(), at(NOW)).unwrap();
    // 32 minutes by the service's clock, then a little more, so that not all come back at once, and clear of 17:00.
    for minutes in [1, 15, 31] {
        let now = at(NOW) + TimeDelta::minutes(minutes);
        assert!(matches!(round.pull(&mut state, now).await, Err(What::Waiting { .. })));
    }
    assert_eq!((server.requests().len(), state.last_fault.clone()), (1, None));
    let next = state.next_try.unwrap();
    assert!(
        next > at(NOW) + TimeDelta::minutes(32) && next < at(NOW) + TimeDelta::minutes(46),
        "{next}"
    );
    round.pull(&mut state, next).await.unwrap();
    let second = &server.requests()[1];
    assert_eq!(
        header(second, "if-modified-since").as_deref(),
        Some("Mon, 09 Mar 2026 16:20:11 GMT")
    );
    // A 304 renews the time to wait and leaves the age as it was.
    assert!(state.next_try.unwrap() > next + TimeDelta::minutes(32));
    let again = cached(&round.settings, &round.settings.services[0], &larkrise(), next).unwrap();
    assert_eq!(again.issue, kept.issue);
    // Lost, it is asked for whole, however good it would be.
    std::fs::remove_dir_all(&round.settings.cache).unwrap();
    round.pull(&mut state, next + TimeDelta::minutes(3)).await.unwrap();
    assert_eq!(header(&server.requests()[2], "if-modified-since"), None);
}

#[tokio::test]
async fn max_age_counts_before_expires() {
    let headers = "Cache-Control: public, max-age=1200\r\nExpires: Tue, 10 Mar 2026 16:00:00 GMT\r\n";
    let server = Server::saying(ok(reply(10, 1).to_string().as_bytes(), headers)).await;
    let round = Round::of(
        vec![service("open", ServiceKind::OpenMeteoForecast, Role::Main, &server)],
        larkrise(),
    );
    let mut state = ServiceState::default();
    round.pull(&mut state, at(NOW)).await.unwrap();
    let wait = state.next_try.unwrap() - at(NOW);
    assert!(wait > TimeDelta::minutes(20) && wait < TimeDelta::minutes(24), "{wait}");
}

/// N5: what will end soon is used, and not asked about by condition.
#[tokio::test]
async fn an_interface_that_will_end_is_asked_for_whole_each_time() {
    let body = own("met-norway/complete.json");
    let server = Server::saying(answer(
        "203 Deprecated",
        &body,
        "Last-Modified: Mon, 09 Mar 2026 16:20:11 GMT\r\n",
    ))
    .await;
    let round = Round::of(
        vec![service("met", ServiceKind::MetNorwayComplete, Role::Main, &server)],
        larkrise(),
    );
    let mut state = ServiceState::default();
    round.pull(&mut state, at(NOW)).await.unwrap();
    round.pull(&mut state, at(NOW) + TimeDelta::minutes(10)).await.unwrap();
    assert_eq!(server.requests().len(), 2);
    assert!(
        server
            .requests()
            .iter()
            .all(|request| header(request, "if-modified-since").is_none())
    );
}

/// A day of looks every few minutes: one question in its time, and none near a full hour.
#[tokio::test]
async fn nobody_is_asked_near_a_full_hour_nor_more_often_than_the_settings_say() {
    let asked = Arc::new(Mutex::new(Vec::new()));
    let clock = Arc::new(Mutex::new(at(NOW)));
    let (seen, time) = (asked.clone(), clock.clone());
    let server = Server::that(move |_| {
        seen.lock().unwrap().push(*time.lock().unwrap());
        ok(reply(10, 1).to_string().as_bytes(), "")
    })
    .await;
    let mut round = Round::of(
        vec![service("open", ServiceKind::OpenMeteoForecast, Role::Main, &server)],
        larkrise(),
    );
    round.settings.interval = TimeDelta::minutes(20);
    let mut now = at(NOW);
    // Within the four hours in which a kept answer is fresh.
    while now < at(NOW) + TimeDelta::hours(4) {
        *clock.lock().unwrap() = now;
        round.ask(now).await;
        now += TimeDelta::seconds(61);
    }
    let asked = asked.lock().unwrap();
    assert!((9..=12).contains(&asked.len()), "{asked:?}");
    for pair in asked.windows(2) {
        assert!(pair[1] - pair[0] >= TimeDelta::minutes(20), "{pair:?}");
    }
    assert!(asked.iter().all(|at| (2..58).contains(&at.minute())), "{asked:?}");
}

/// A place outside is not asked for again before something about the request changes.
#[tokio::test]
async fn a_service_that_does_not_cover_the_place_is_left_alone_until_the_settings_change() {
    let server = Server::saying(answer("422 Unprocessable", b"<html>", "")).await;
    let mut round = Round::of(
        vec![service("radar", ServiceKind::MetNorwayNowcast, Role::Check, &server)],
        larkrise(),
    );
    let mut now = at(NOW);
    for _ in 0..20 {
        let turns = round.ask(now).await;
        let fault = turns[0].fault.clone().unwrap();
        assert!(
            fault.starts_with("radar: the service does not cover this place (status 422)"),
            "{fault}"
        );
        now += TimeDelta::hours(13);
    }
    assert_eq!(server.requests().len(), 1);
    round.settings.services[0].kind = ServiceKind::MetNorwayCompact;
    round.ask(now).await;
    assert_eq!(server.requests().len(), 2);
    let outside = What::Status {
        code: 422,
        reason: None,
        retry_after: None,
    };
    assert_eq!(outside.course(), Course::NotHere);
}

/// N4: better settings are tried at once, the same ones are not.
#[tokio::test]
async fn a_refused_request_is_repeated_only_when_it_has_changed() {
    let server = Server::saying(answer(
        "404 Not Found",
        br#"{"title":"No such place","detail":"Look elsewhere"}"#,
        "",
    ))
    .await;
    let mut round = Round::of(
        vec![service("open", ServiceKind::OpenMeteoForecast, Role::Main, &server)],
        larkrise(),
    );
    let turns = round.ask(at(NOW)).await;
    assert!(
        turns[0]
            .fault
            .as_ref()
            .unwrap()
            .contains("status 404 (\"Look elsewhere\")")
    );
    round.ask(at(NOW) + TimeDelta::hours(5)).await;
    assert_eq!(server.requests().len(), 1);
    round.settings.services[0].days = 7;
    round.ask(at(NOW) + TimeDelta::hours(5)).await;
    assert_eq!(server.requests().len(), 2);
}

fn weather_service() -> impl Fn(&str) -> Act + Send + Sync + 'static {
    |request| {
        if first_line(request).contains("/points/") {
            ok(&own("nws/points.json"), "")
        } else {
            ok(&own("nws/gridpoint.json"), "")
        }
    }
}

fn paths(server: &Server, part: &str) -> usize {
    server
        .requests()
        .iter()
        .filter(|request| first_line(request).contains(part))
        .count()
}

#[tokio::test]
async fn a_grid_is_found_through_its_point_which_is_renewed_weekly() {
    let server = Server::that(weather_service()).await;
    let round = Round::of(
        vec![service("grid", ServiceKind::NwsGridpoint, Role::Main, &server)],
        west(),
    );
    let mut state = ServiceState::default();
    round.pull(&mut state, at(NOW)).await.unwrap();
    let forecast = cached(&round.settings, &round.settings.services[0], &west(), at(NOW)).unwrap();
    assert_eq!(forecast.kind, Kind::Single);
    assert_eq!((paths(&server, "/points/"), paths(&server, "/gridpoints/")), (1, 1));
    assert_eq!(
        header(&server.requests()[1], "accept").as_deref(),
        Some("application/geo+json")
    );
    round.pull(&mut state, at(NOW) + TimeDelta::hours(1)).await.unwrap();
    assert_eq!((paths(&server, "/points/"), paths(&server, "/gridpoints/")), (1, 2));
    // By then the recorded grid is too old to be read; the point is asked for all the same.
    let _ = round.pull(&mut state, at(NOW) + TimeDelta::days(8)).await;
    assert_eq!((paths(&server, "/points/"), paths(&server, "/gridpoints/")), (2, 3));
}

#[tokio::test]
async fn a_grid_cell_that_has_moved_is_looked_up_again_at_once() {
    let grids = Arc::new(AtomicU16::new(0));
    let count = grids.clone();
    let answers = weather_service();
    let server = Server::that(move |request| {
        let grid = first_line(request).contains("/gridpoints/");
        if grid && count.fetch_add(1, Ordering::Relaxed) == 1 {
            answer("404 Not Found", br#"{"title":"Marine Forecast Not Supported"}"#, "")
        } else {
            answers(request)
        }
    })
    .await;
    let round = Round::of(
        vec![service("grid", ServiceKind::NwsGridpoint, Role::Main, &server)],
        west(),
    );
    let mut state = ServiceState::default();
    round.pull(&mut state, at(NOW)).await.unwrap();
    round.pull(&mut state, at(NOW) + TimeDelta::hours(1)).await.unwrap();
    assert_eq!((paths(&server, "/points/"), paths(&server, "/gridpoints/")), (2, 3));
}

/// A reply of single values, each hour alike.
fn forecast_with(quantity: &str, value: f64) -> Value {
    let mut one = reply(10, 1);
    let count = one["hourly"][quantity].as_array().unwrap().len();
    one["hourly"][quantity] = json!(vec![value; count]);
    one
}

fn two(first: &Server, second: &Server) -> Round {
    let services = vec![
        service("first", ServiceKind::OpenMeteoForecast, Role::Main, first),
        service("second", ServiceKind::OpenMeteoForecast, Role::Main, second),
    ];
    Round::of(services, larkrise())
}

fn decides(round: &Round, turns: &[Turn], now: DateTime<Utc>) -> String {
    road::timeline(&farm(&round.site), turns, now).map_or_else(|| "nobody".to_owned(), |line| line.by)
}

fn farm(site: &Site) -> covercast::farm::Farm {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/farm");
    let mut farm = covercast::settings::load_farm(&root).unwrap().farm;
    farm.site = site.clone();
    farm
}

/// N1: the other source is there with the same round, long before a minute is over.
#[tokio::test]
async fn when_the_first_source_hangs_the_next_one_decides_within_the_same_round() {
    let silent = Server::saying(Act::SayAndStall(b"HTTP/1.1 200 OK\r\n".to_vec())).await;
    let good = Server::saying(ok(reply(10, 1).to_string().as_bytes(), "")).await;
    let round = two(&silent, &good);
    let began = std::time::Instant::now();
    let turns = round.ask(at(NOW)).await;
    assert!(began.elapsed() < Duration::from_secs(5));
    assert_eq!(decides(&round, &turns, at(NOW)), "second");
    assert_eq!((turns[0].standing, turns[1].standing), (Standing::Out, Standing::First));
    assert_eq!(turns[0].failing_since, Some(at(NOW)));
    assert!(turns[0].next_try.is_some_and(|next| next > at(NOW)));
    let line = road::timeline(&farm(&round.site), &turns, at(NOW)).unwrap();
    assert!(
        line.remarks
            .iter()
            .any(|remark| remark.starts_with("No forecast of first since ")),
        "{:?}",
        line.remarks
    );
    let usual = Limits::default();
    assert!(usual.total <= Duration::from_secs(30) && usual.connect <= Duration::from_secs(5));
}

/// N13: 500, good, 500, good …: it stays second until three good answers in a row, also over a restart.
#[tokio::test]
async fn a_source_that_flaps_stays_second_until_three_good_rounds() {
    let mode = Arc::new(AtomicU16::new(200));
    let told = mode.clone();
    let flapping = Server::that(move |_| match told.load(Ordering::Relaxed) {
        200 => ok(reply(10, 1).to_string().as_bytes(), ""),
        _ => answer("500 Oops", b"", ""),
    })
    .await;
    let steady = Server::saying(ok(reply(10, 1).to_string().as_bytes(), "")).await;
    let round = two(&flapping, &steady);
    // Clear of full hours, when nobody is asked.
    let mut now = at(NOW) + TimeDelta::minutes(2);
    let mut story = Vec::new();
    for code in [200, 500, 200, 500, 200, 200, 500, 200, 200, 200, 200] {
        mode.store(code, Ordering::Relaxed);
        let turns = round.ask(now).await;
        story.push(decides(&round, &turns, now));
        // What was decided is read from disk again, as after a restart.
        let kept = at_hand(&round.settings, &round.site, now);
        assert_eq!(decides(&round, &kept, now), *story.last().unwrap());
        now += TimeDelta::minutes(31);
    }
    let (first, second) = ("first".to_owned(), "second".to_owned());
    let mut wanted = vec![second; 11];
    (wanted[0], wanted[9], wanted[10]) = (first.clone(), first.clone(), first);
    assert_eq!(story, wanted);
}

/// N14: gusts of 25 and of 60 km/h: the worse decides, whoever comes first, and both are shown.
#[tokio::test]
async fn where_sources_differ_the_worse_one_decides_and_both_are_shown() {
    let calm = Server::saying(ok(
        forecast_with("wind_gusts_10m", 25.0 / 3.6).to_string().as_bytes(),
        "",
    ))
    .await;
    let rough = Server::saying(ok(
        forecast_with("wind_gusts_10m", 60.0 / 3.6).to_string().as_bytes(),
        "",
    ))
    .await;
    for (first, second) in [(&calm, &rough), (&rough, &calm)] {
        let round = two(first, second);
        let turns = round.ask(at(NOW)).await;
        let line = road::timeline(&farm(&round.site), &turns, at(NOW)).unwrap();
        assert_eq!(line.by, "first");
        for k in line.now_row..line.now_row + 48 {
            let gust = line.runs[0].of(Quantity::Gust).get(k).unwrap();
            assert!((gust - 60.0 / 3.6).abs() < 0.01, "{gust}");
        }
        let differ = &line.differ[0];
        assert_eq!(differ.quantity, Quantity::Gust);
        assert!((differ.lower.1 - 25.0 / 3.6).abs() < 0.01 && (differ.higher.1 - 60.0 / 3.6).abs() < 0.01);
        assert_ne!(differ.lower.0, differ.higher.0);
    }
}

/// N14 and rule 1: an hour that the second source has lost is unknown, not as good as the first source says.
#[tokio::test]
async fn an_hour_that_one_source_has_lost_does_not_get_better() {
    let calm = Server::saying(ok(forecast_with("wind_gusts_10m", 7.0).to_string().as_bytes(), "")).await;
    let mut holed = forecast_with("wind_gusts_10m", 16.0);
    for k in 150..160 {
        holed["hourly"]["wind_gusts_10m"][k] = Value::Null;
    }
    let rough = Server::saying(ok(holed.to_string().as_bytes(), "")).await;
    let round = two(&calm, &rough);
    let line = road::timeline(&farm(&round.site), &round.ask(at(NOW)).await, at(NOW)).unwrap();
    let gusts: Vec<Option<f64>> = (line.now_row..line.stamps.count)
        .map(|k| line.runs[0].of(Quantity::Gust).get(k))
        .collect();
    assert!(gusts.iter().flatten().all(|gust| *gust > 15.0));
    assert_eq!(gusts.iter().filter(|gust| gust.is_none()).count(), 10);
}

/// N14: a radar's two hours of rain make every run wet, though it cannot decide anything itself.
#[tokio::test]
async fn a_nowcast_only_makes_rain_worse() {
    let mut dry = reply(10, 3);
    (dry["latitude"], dry["longitude"], dry["elevation"]) = (json!(63.4), json!(10.4), json!(50.0));
    let ensemble = Server::saying(ok(dry.to_string().as_bytes(), "")).await;
    let radar = Server::saying(ok(&own("met-norway/nowcast.json"), "")).await;
    let services = vec![
        service("radar", ServiceKind::MetNorwayNowcast, Role::Check, &radar),
        service("ensemble", ServiceKind::OpenMeteoEnsemble, Role::Members, &ensemble),
    ];
    let round = Round::of(services, north());
    let turns = round.ask(at(NOW)).await;
    assert!(turns.iter().all(|turn| turn.forecast.is_some()), "{turns:?}");
    let line = road::timeline(&farm(&round.site), &turns, at(NOW)).unwrap();
    assert_eq!((line.by.as_str(), line.main.is_none()), ("ensemble", true));
    let radar = turns[0].forecast.as_ref().unwrap();
    let wettest = radar.runs[0].of(Quantity::Rain).iter().flatten().fold(0.0, f64::max);
    assert!(wettest > 0.1, "the recorded radar sees rain: {wettest}");
    for run in &line.runs {
        let most = (line.now_row..line.stamps.count)
            .filter_map(|k| run.of(Quantity::Rain).get(k))
            .fold(0.0, f64::max);
        assert!(most >= wettest - 1e-6, "{most}");
    }
}

/// N15 and the ages: what is kept grows old and unknown by its content, and nobody decides any more.
#[tokio::test]
async fn with_all_sources_down_for_three_days_the_forecast_turns_unknown_and_says_since_when() {
    let up = Arc::new(AtomicU16::new(1));
    let told = up.clone();
    let server = Server::that(move |_| match told.load(Ordering::Relaxed) {
        1 => ok(reply(10, 1).to_string().as_bytes(), ""),
        _ => answer("502 Bad Gateway", b"", ""),
    })
    .await;
    let round = two(&server, &server);
    round.ask(at(NOW)).await;
    up.store(0, Ordering::Relaxed);
    let began = at(NOW) + TimeDelta::hours(1);
    let mut fresh = Vec::new();
    for hour in 1..72 {
        let now = at(NOW) + TimeDelta::hours(hour);
        let turns = round.ask(now).await;
        assert!(
            turns
                .iter()
                .all(|turn| turn.failing_since == Some(began) && turn.fault.is_some())
        );
        let line = road::timeline(&farm(&round.site), &turns, now).unwrap();
        fresh.push(line.freshness);
    }
    let until = |freshness| fresh.iter().filter(|found| **found == freshness).count();
    assert!(fresh.is_sorted(), "{fresh:?}");
    assert!(
        until(Freshness::Unknown) > 60,
        "an hourly model is used for at most ten hours"
    );
    // N2: at most five tries an hour and service; here one an hour.
    assert!(server.requests().len() <= 2 + 2 * 71);
}
