//! Letters reach a real mail server once, protected, or wait with a clear word about it.

use std::os::unix::fs::PermissionsExt;
use std::path::PathBuf;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use covercast::deliver::{DIALOGUE_LIMIT, Mail, Outcome, Picture, Settings, Site, Smtp, Tls, Transport};
use covercast::farm::FarmId;
use covercast::store::{ParcelId, State, Waiting};

use crate::workplace::{Certificates, FakeClock, Sink, Workplace, forecast_service};

fn message(address: &str) -> Waiting {
    let issued: DateTime<Utc> = "2026-03-09T16:30:00Z".parse().unwrap();
    let mail = Mail {
        farm: "larkrise".to_owned(),
        kind: "morning",
        date: "2026-03-10".parse().unwrap(),
        revision: 0,
        name: "Tama Reyes".to_owned(),
        address: address.to_owned(),
        subject: "GO 13:30: lift Creek – 1-12 | Tue 10 Mar".to_owned(),
        text: "Lift Creek at 8 °C.\n.\n..\nA lone \r stays no lone one.\n".to_owned(),
        html: "<p>Lift Creek</p><img src=\"cid:chart\" alt=\"chart\">".to_owned(),
        pictures: vec![Picture {
            content_id: "chart".to_owned(),
            name: "chart.png".to_owned(),
            png: (0..9000_u32).map(|n| (n % 251) as u8).collect(),
        }],
        calendar: Some(
            "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//covercast//EN\r\nMETHOD:PUBLISH\r\nEND:VCALENDAR\r\n"
                .to_owned(),
        ),
        issued,
    };
    let parcel = mail.parcel("Larkrise <letters@farm.example>").unwrap();
    Waiting {
        id: ParcelId(1),
        key: parcel.key,
        farm: FarmId("larkrise".to_owned()),
        number: None,
        recipient: parcel.recipient,
        message: parcel.message,
        queued: issued,
        valid_until: issued,
        state: State::Waiting,
        attempts: 0,
        next_try: issued,
        fate_unknown: false,
        ended: None,
        last_error: None,
    }
}

struct Way {
    place: Workplace,
    certificates: Certificates,
}

impl Way {
    fn new() -> Self {
        let place = Workplace::new("Pacific/Auckland", "05:30", &["tama@farm.example"]);
        Self {
            certificates: place.certificates(),
            place,
        }
    }

    /// A server with this certificate and further options.
    fn sink(&self, tls: &str, options: &[&str]) -> Sink {
        let own = [
            "--tls",
            tls,
            "--certificate",
            &self.certificates.certificate,
            "--key",
            &self.certificates.key,
        ];
        Sink::start(&[&own, options].concat())
    }

    fn settings(&self, port: u16, tls: Tls) -> Settings {
        Settings {
            from: "Larkrise <letters@farm.example>".to_owned(),
            transport: Transport::Smtp(Smtp {
                host: "localhost".to_owned(),
                port,
                tls,
                user: None,
                password_file: None,
                root_certificate: Some(PathBuf::from(&self.certificates.authority)),
            }),
            daily_limit: 200,
        }
    }

    fn with_login(&self, port: u16, tls: Tls, password: &str) -> Settings {
        let file = self.place.path("password");
        std::fs::write(&file, password).unwrap();
        std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o600)).unwrap();
        let mut settings = self.settings(port, tls);
        if let Transport::Smtp(server) = &mut settings.transport {
            (server.user, server.password_file) = (Some("letters".to_owned()), Some(file));
        }
        settings
    }
}

fn hand_over(settings: &Settings, parcel: &Waiting, limit: Duration) -> Outcome {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(settings.hand_over(parcel, limit))
}

#[test]
fn a_letter_arrives_whole_over_starttls_and_over_tls_with_login() {
    let way = Way::new();
    let login = ["--user", "letters", "--password", "correct horse"];
    for (word, tls) in [("starttls", Tls::StartTls), ("implicit", Tls::Implicit)] {
        let mut sink = way.sink(word, &login);
        let settings = way.with_login(sink.port, tls, "correct horse\n");
        let sent = message("tama@farm.example");
        assert_eq!(hand_over(&settings, &sent, DIALOGUE_LIMIT), Outcome::Accepted, "{word}");
        let got = sink.wait_for("message");
        assert_eq!((&got["tls"], &got["login"]), (&true.into(), &true.into()), "{word}");
        assert_eq!(got["to"], serde_json::json!(["tama@farm.example"]));
        assert_eq!(got["id"], format!("<{}@farm.example>", sent.key));
        assert_eq!(got["subject"], "GO 13:30: lift Creek – 1-12 | Tue 10 Mar");
        assert_eq!(got["auto_submitted"], "auto-generated");
        assert_eq!(
            got["text"].as_str().unwrap().replace("\r\n", "\n"),
            "Lift Creek at 8 °C.\n.\n..\nA lone \n stays no lone one.\n"
        );
        // RFC 2046: the parts in the order in which readers choose among them.
        let types = [
            "multipart/mixed",
            "multipart/alternative",
            "text/plain",
            "multipart/related",
            "text/html",
            "image/png",
            "text/calendar",
        ];
        assert_eq!(got["types"], serde_json::json!(types));
        let headers = [
            "Auto-Submitted",
            "Content-Type",
            "Date",
            "From",
            "MIME-Version",
            "Message-ID",
            "Subject",
            "To",
        ];
        let mut found: Vec<&str> = got["headers"]
            .as_array()
            .unwrap()
            .iter()
            .map(|name| name.as_str().unwrap())
            .collect();
        found.retain(|name| *name != "Content-Transfer-Encoding");
        assert_eq!(found, headers);
        assert!(
            got["longest_line"].as_u64().unwrap() <= 78 && got["bare_ends"] == 0,
            "{word}"
        );
        let (got, sent) = (got["bytes"].as_str().unwrap(), String::from_utf8(sent.message).unwrap());
        for (got, sent) in got.split("\r\n").zip(sent.split("\r\n")) {
            assert_eq!(got, sent, "the bytes on the wire are those in the outbox");
        }
        assert_eq!(got.len(), sent.len());
    }
}

#[test]
fn a_wrong_password_stops_mail_and_is_a_fault_of_the_site() {
    let way = Way::new();
    let mut sink = way.sink("starttls", &["--user", "letters", "--password", "correct horse"]);
    let settings = way.with_login(sink.port, Tls::StartTls, "canary-7f3a");
    let outcome = hand_over(&settings, &message("tama@farm.example"), DIALOGUE_LIMIT);
    assert!(matches!(outcome, Outcome::Site(Site::Login { .. })), "{outcome:?}");
    assert!(!format!("{outcome:?}").contains("canary"), "{outcome:?}");
    let events = sink.events_within(Duration::from_millis(300));
    assert_eq!(events.len(), 1, "one login, no message: {events:?}");
    assert_eq!((&events[0]["good"], &events[0]["tls"]), (&false.into(), &true.into()));
}

#[test]
fn a_recipient_is_refused_or_put_off_without_the_others() {
    let way = Way::new();
    let mut sink = way.sink("starttls", &["--refuse", "gone@farm.example", "--defer", "1"]);
    let settings = way.settings(sink.port, Tls::StartTls);
    let try_for = |address| hand_over(&settings, &message(address), DIALOGUE_LIMIT);
    assert!(matches!(try_for("tama@farm.example"), Outcome::Later { .. }));
    assert!(matches!(try_for("gone@farm.example"), Outcome::Refused { .. }));
    assert_eq!(try_for("tama@farm.example"), Outcome::Accepted);
    assert_eq!(sink.wait_for("message")["to"], serde_json::json!(["tama@farm.example"]));
}

#[test]
fn a_line_cut_after_the_message_leaves_its_fate_unknown_and_the_next_try_is_the_same_message() {
    let way = Way::new();
    let mut sink = way.sink("starttls", &["--lose", "1"]);
    let settings = way.settings(sink.port, Tls::StartTls);
    let outcome = hand_over(&settings, &message("tama@farm.example"), DIALOGUE_LIMIT);
    assert!(matches!(outcome, Outcome::Unknown { .. }), "{outcome:?}");
    assert_eq!(
        hand_over(&settings, &message("tama@farm.example"), DIALOGUE_LIMIT),
        Outcome::Accepted
    );
    let (first, second) = (sink.wait_for("message"), sink.wait_for("message"));
    assert_eq!(first["id"], second["id"]);
    assert!(first["bytes"] == second["bytes"], "the same bytes");
}

#[test]
fn a_server_that_never_says_a_word_is_left_in_time() {
    let way = Way::new();
    let mut sink = Sink::start(&["--silent"]);
    let began = std::time::Instant::now();
    let outcome = hand_over(
        &way.settings(sink.port, Tls::StartTls),
        &message("tama@farm.example"),
        Duration::from_millis(500),
    );
    assert!(
        matches!(outcome, Outcome::Site(Site::Unreachable { .. })),
        "{outcome:?}"
    );
    assert!(began.elapsed() < Duration::from_secs(5));
    sink.wait_for("connected");
}

#[test]
fn nothing_is_said_over_a_line_that_is_not_protected() {
    let way = Way::new();
    let mut sink = Sink::start(&["--tls", "none", "--user", "letters", "--password", "x"]);
    let settings = way.with_login(sink.port, Tls::StartTls, "canary-7f3a");
    let outcome = hand_over(&settings, &message("tama@farm.example"), DIALOGUE_LIMIT);
    assert!(
        matches!(outcome, Outcome::Site(Site::Unprotected { .. })),
        "{outcome:?}"
    );
    assert_eq!(
        sink.events_within(Duration::from_millis(300)),
        [serde_json::Value::Null; 0],
        "no login, no message"
    );
}

#[test]
fn a_certificate_of_an_unknown_authority_or_for_another_name_is_not_taken() {
    let way = Way::new();
    for (word, tls) in [("starttls", Tls::StartTls), ("implicit", Tls::Implicit)] {
        let mut sink = way.sink(word, &[]);
        let mut unknown = way.settings(sink.port, tls);
        let mut misnamed = way.settings(sink.port, tls);
        if let (Transport::Smtp(first), Transport::Smtp(second)) = (&mut unknown.transport, &mut misnamed.transport) {
            first.root_certificate = None;
            "127.0.0.2".clone_into(&mut second.host);
        }
        let outcome = hand_over(&unknown, &message("tama@farm.example"), DIALOGUE_LIMIT);
        assert!(
            matches!(outcome, Outcome::Site(Site::Unprotected { .. })),
            "{word}: {outcome:?}"
        );
        // 127.0.0.2 reaches nobody here, or somebody whose certificate does not say so: never a message.
        let outcome = hand_over(&misnamed, &message("tama@farm.example"), DIALOGUE_LIMIT);
        assert!(matches!(outcome, Outcome::Site(_)), "{word}: {outcome:?}");
        assert_eq!(
            sink.events_within(Duration::from_millis(200)),
            [serde_json::Value::Null; 0]
        );
    }
}

#[test]
fn a_closed_port_is_a_fault_of_the_site() {
    let way = Way::new();
    let outcome = hand_over(
        &way.settings(9, Tls::Implicit),
        &message("tama@farm.example"),
        DIALOGUE_LIMIT,
    );
    assert!(
        matches!(outcome, Outcome::Site(Site::Unreachable { .. })),
        "{outcome:?}"
    );
}

/// A place whose daemon sends through this server, for these readers, with a letter due at 05:30 in Rome.
fn at_work(way: &Way, port: u16, password: Option<&str>, readers: &[&str]) -> Workplace {
    let place = Workplace::new("Europe/Rome", "05:30", readers);
    let mut mail = format!(
        "transport = \"smtp\"\nhost = \"localhost\"\nport = {port}\ntls = \"starttls\"\nroot_certificate = \"{}\"",
        way.certificates.authority
    );
    if let Some(password) = password {
        let file = place.path("password");
        std::fs::write(&file, password).unwrap();
        std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o600)).unwrap();
        mail += &format!("\nuser = \"letters\"\npassword_file = \"{}\"", file.display());
    }
    place.service("05:30", &mail);
    place
}

const AT_SIX: &str = "2026-03-10T05:00:00Z";

#[test]
fn one_reader_refused_and_one_put_off_keep_no_other_from_the_letter() {
    let way = Way::new();
    let mut sink = way.sink("starttls", &["--refuse", "gone@farm.example", "--defer", "1"]);
    let readers = [
        "first@farm.example",
        "gone@farm.example",
        "third@farm.example",
        "fourth@farm.example",
    ];
    let place = at_work(&way, sink.port, None, &readers);
    let mut clock = FakeClock::at(&place, AT_SIX);
    let mut program = clock.run();
    program.wait_until_told("INFO sent", 2);
    let (_, letter, _) = place.command(&["explain", "L-0001"]);
    assert!(
        letter.contains("gone@farm.example: refused for good") && letter.contains("5.1.1"),
        "{letter}"
    );
    // The first, put off with 451, is tried again after a minute or so.
    clock.jump(&mut program, TimeDelta::minutes(3));
    program.wait_until_told("INFO sent", 3);
    let mut to: Vec<String> = (0..3)
        .map(|_| sink.wait_for("message")["to"][0].as_str().unwrap().to_owned())
        .collect();
    to.sort();
    assert_eq!(to, ["first@farm.example", "fourth@farm.example", "third@farm.example"]);
    assert!(
        !program.said().contains("@farm.example"),
        "the log holds no addresses:\n{}",
        program.said()
    );
}

#[test]
fn a_message_that_may_have_arrived_goes_again_after_ten_minutes_with_the_same_bytes() {
    let way = Way::new();
    let mut sink = way.sink("starttls", &["--lose", "1"]);
    let place = at_work(&way, sink.port, None, &["a@farm.example"]);
    let mut clock = FakeClock::at(&place, AT_SIX);
    let mut program = clock.run();
    program.wait_until_told("fate_unknown=true", 1);
    let first = sink.wait_for("message");
    clock.jump(&mut program, TimeDelta::minutes(9));
    assert_eq!(
        sink.events_within(Duration::from_millis(500)),
        [serde_json::Value::Null; 0],
        "not before ten minutes"
    );
    clock.jump(&mut program, TimeDelta::minutes(4));
    program.wait_until_told("INFO sent", 1);
    let second = sink.wait_for("message");
    assert_eq!(first["id"], second["id"]);
    assert!(first["bytes"] == second["bytes"], "the same bytes");
}

#[test]
fn a_wrong_password_is_tried_twice_an_hour_and_stands_in_no_log() {
    let way = Way::new();
    let mut sink = way.sink("starttls", &["--user", "letters", "--password", "correct horse"]);
    let place = at_work(
        &way,
        sink.port,
        Some("canary-7f3a"),
        &["a@farm.example", "b@farm.example", "c@farm.example"],
    );
    let mut clock = FakeClock::at(&place, AT_SIX);
    let mut program = clock.run_with(&[("COVERCAST_LOG", "trace")]);
    sink.wait_for("login");
    program.wait_until_told("does not take user name", 1);
    for _ in 0..11 {
        clock.jump(&mut program, TimeDelta::minutes(5));
    }
    let logins = 1 + sink.events_within(Duration::from_millis(500)).len();
    assert_eq!(logins, 2, "in 55 minutes");
    let (_, status, _) = place.command(&["status"]);
    assert!(
        status.contains("3 waiting") && status.contains("check the password file"),
        "{status}"
    );
    // The right one is used as soon as the file changes.
    std::fs::write(place.path("password"), "correct horse").unwrap();
    program.wait_until_told("INFO sent", 3);
    let state = std::fs::read(place.path("state/covercast.db")).unwrap();
    for text in [program.said(), status, String::from_utf8_lossy(&state).into_owned()] {
        assert!(
            !text.contains("canary") && !text.contains("correct horse"),
            "a password stands in:\n{text}"
        );
    }
}

/// The whole way in the real program: forecast asked for, letter decided, stored and handed over, memory given back.
#[test]
fn a_morning_goes_from_the_forecast_service_to_the_mailboxes() {
    let way = Way::new();
    let mut sink = way.sink("starttls", &["--user", "letters", "--password", "correct horse"]);
    let password = way.place.path("password");
    std::fs::write(&password, "correct horse").unwrap();
    std::fs::set_permissions(&password, std::fs::Permissions::from_mode(0o600)).unwrap();
    let mail = format!(
        "transport = \"smtp\"\nhost = \"localhost\"\nport = {}\ntls = \"starttls\"\nuser = \"letters\"\n\
         password_file = \"{}\"\nroot_certificate = \"{}\"",
        sink.port,
        password.display(),
        way.certificates.authority
    );
    let place = Workplace::demo(forecast_service(), &mail);
    let mut clock = FakeClock::at(&place, "2026-03-09T16:20:00Z");
    let mut program = clock.run();
    program.wait_for("forecast at hand");
    clock.jump(&mut program, TimeDelta::minutes(11));
    program.wait_until_told("INFO sent", 2);
    let letters = [sink.wait_for("message"), sink.wait_for("message")];
    assert_ne!(letters[0]["to"], letters[1]["to"]);
    assert_ne!(letters[0]["id"], letters[1]["id"]);
    for letter in &letters {
        let subject = letter["subject"].as_str().unwrap();
        assert!(
            subject.starts_with("GO ") && subject.ends_with("Tue 10 Mar"),
            "{subject}"
        );
        assert!(
            letter["types"]
                .as_array()
                .unwrap()
                .iter()
                .any(|kind| kind == "image/png"),
            "{letter}"
        );
        assert!(
            letter["types"]
                .as_array()
                .unwrap()
                .iter()
                .any(|kind| kind == "text/calendar"),
            "{letter}"
        );
    }
    // Idle again: the thread that decided has ended.
    program.lines_within(Duration::from_secs(3));
    let resident = program.resident_kib();
    println!("{resident} KiB resident after the letter");
    assert!(resident <= 30 * 1024, "{resident} KiB resident after the letter");
    let (code, text, errors) = place.command(&["explain", "L-0001"]);
    assert_eq!(code, 0, "{errors}");
    assert!(
        text.contains("\"openings\"") && text.contains(letters[0]["subject"].as_str().unwrap()),
        "{text}"
    );
}
