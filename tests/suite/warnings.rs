//! Official warnings: what is read, which of them hold for a farm, and what the letter says of them.
//!
//! Names such as D8 and X21 are rows of the fault catalogue that the project is tested against.

use std::collections::BTreeSet;
use std::fs;
use std::io::{Cursor, Write as _};
use std::path::Path;

use chrono::{DateTime, TimeDelta, Utc};
use covercast::advice::{html, json, text};
use covercast::farm::FarmId;
use covercast::sources::links::follow;
use covercast::sources::{Refusal, Role, Service, ServiceKind, Settings, cap};
use covercast::store::Store;
use covercast::weather::Product;
use covercast::weather::warning::{Change, Code, Farm, Found, Kind, Message, Notice, Register, Until, Warning, apply};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use crate::fetching::{Server, answer, ok};
use crate::replies::at;
use crate::small_orchard::SmallOrchard;

const NOW: &str = "2026-03-10T04:00:00Z";

fn farm(latitude: f64, longitude: f64, codes: &[&str]) -> Farm {
    let codes: BTreeSet<Code> = codes.iter().filter_map(|code| Code::parse(code)).collect();
    Farm::new(latitude, longitude, codes)
}

fn here() -> Farm {
    farm(46.5, 11.3, &["EMMA_ID:XX001"])
}

/// A made-up message.
#[derive(Clone)]
struct Made {
    id: &'static str,
    sent: &'static str,
    status: &'static str,
    kind: &'static str,
    references: String,
    infos: Vec<String>,
}

fn made(id: &'static str) -> Made {
    Made {
        id,
        sent: "2026-03-10T03:00:00Z",
        status: "Actual",
        kind: "Alert",
        references: String::new(),
        infos: vec![info("en-GB", "Wind warning", "Gusts to 90 km/h.")],
    }
}

const ROUND_HERE: &str = "<polygon>46.0,11.0 46.0,12.0 47.0,12.0 47.0,11.0 46.0,11.0</polygon>";

fn info(language: &str, event: &str, description: &str) -> String {
    format!(
        "<info><language>{language}</language><category>Met</category><event>{event}</event><urgency>Expected</urgency>\
         <severity>Severe</severity><certainty>Likely</certainty><onset>2026-03-10T12:00:00Z</onset>\
         <expires>2026-03-10T20:00:00Z</expires><senderName>Invented Met Office</senderName><headline>{event}</headline>\
         <description>{description}</description><area><areaDesc>The valley</areaDesc>{ROUND_HERE}</area></info>"
    )
}

impl Made {
    fn xml(&self) -> String {
        let Self {
            id,
            sent,
            status,
            kind,
            references,
            infos,
        } = self;
        format!(
            "<alert xmlns=\"urn:oasis:names:tc:emergency:cap:1.2\"><identifier>{id}</identifier><sender>met@example.org\
             </sender><sent>{sent}</sent><status>{status}</status><msgType>{kind}</msgType><scope>Public</scope>\
             <references>{references}</references>{}</alert>",
            infos.concat()
        )
    }

    fn refer(mut self, kind: &'static str, to: &Self, sent: &'static str) -> Self {
        self.kind = kind;
        self.sent = sent;
        self.references = format!("met@example.org,{},{}", to.id, to.sent);
        self
    }

    fn read(&self) -> Vec<Warning> {
        cap::read(self.xml().as_bytes()).unwrap().warnings
    }

    fn change(mut self, from: &str, to: &str) -> Self {
        for info in &mut self.infos {
            assert!(info.contains(from), "{from}");
            *info = info.replace(from, to);
        }
        self
    }
}

fn taken(messages: &[&Made]) -> Register {
    let mut register = Register::default();
    for message in messages {
        register.take("met", &message.read(), &here(), at(NOW));
    }
    register
}

fn active(messages: &[&Made]) -> usize {
    taken(messages).active(at(NOW)).len()
}

#[test]
fn a_wind_warning_over_the_farm_holds_until_it_runs_out() {
    let register = taken(&[&made("a")]);
    let notice = register.active(at(NOW))[0].clone();
    assert_eq!(
        (notice.kind, notice.found, notice.until_is),
        (Kind::Wind, Found::Inside, Until::Expires)
    );
    assert_eq!(
        (notice.from, notice.until),
        (at("2026-03-10T12:00:00Z"), at("2026-03-10T20:00:00Z"))
    );
    assert_eq!(notice.issuer, "Invented Met Office");
    assert!(register.active(at("2026-03-10T20:00:00Z")).is_empty());
    let mut elsewhere = Register::default();
    elsewhere.take("met", &made("a").read(), &farm(40.0, 11.3, &[]), at(NOW));
    assert!(elsewhere.active(at(NOW)).is_empty());
}

#[test]
fn d8_test_exercise_draft_and_system_messages_are_dropped_and_so_is_test_in_the_text() {
    for status in ["Test", "Exercise", "Draft", "System", ""] {
        let message = Made { status, ..made("a") };
        assert_eq!(active(&[&message]), 0, "{status}");
    }
    assert_eq!(
        active(&[&made("a").change("Gusts to 90 km/h.", "This is a test. Gusts to 90 km/h.")]),
        0
    );
    assert_eq!(
        active(&[&made("a").change("Gusts to 90 km/h.", "Gusts will test loose sheets.")]),
        1
    );
}

#[test]
fn d8_an_update_replaces_and_a_cancel_ends_also_when_it_comes_first() {
    let first = made("a");
    let update = made("b")
        .refer("Update", &first, "2026-03-10T03:30:00Z")
        .change("90 km/h", "110 km/h");
    let register = taken(&[&first, &update]);
    let texts: Vec<&str> = register
        .active(at(NOW))
        .iter()
        .map(|notice| notice.description.as_str())
        .collect();
    assert_eq!(texts, ["Gusts to 110 km/h."]);
    assert_eq!(active(&[&update, &first]), 1, "the older one comes later");
    let mut cancel = made("c").refer("Cancel", &first, "2026-03-10T03:40:00Z");
    cancel.infos.clear();
    assert_eq!(active(&[&first, &cancel]), 0);
    assert_eq!(active(&[&cancel, &first]), 0, "the cancel came first");
}

#[test]
fn d8_a_reference_to_an_unknown_message_is_no_reason_to_leave_a_warning_out() {
    let update = made("b").refer("Update", &made("never seen"), "2026-03-10T03:30:00Z");
    assert_eq!(active(&[&update]), 1);
    let alert = made("c").refer("Alert", &made("a"), "2026-03-10T03:30:00Z");
    assert_eq!(active(&[&made("a"), &alert]), 1, "an alert may replace as well");
}

#[test]
fn d8_one_warning_in_two_languages_counts_once_in_the_farms_language() {
    let mut message = made("a");
    message.infos.insert(0, info("de-DE", "STURM", "Böen bis 90 km/h."));
    message
        .infos
        .insert(0, info("it-IT", "Vento forte", "Raffiche fino a 90 km/h."));
    let register = taken(&[&message]);
    assert_eq!(register.active(at(NOW)).len(), 1);
    assert_eq!(register.active(at(NOW))[0].language, "en-GB");
    let mut german = here();
    "de".clone_into(&mut german.language);
    let mut register = Register::default();
    register.take("met", &message.read(), &german, at(NOW));
    assert_eq!(register.active(at(NOW))[0].description, "Böen bis 90 km/h.");
}

#[test]
fn d8_without_an_end_a_warning_holds_a_day_from_its_issue_and_that_is_said() {
    let message = made("a").change("<expires>2026-03-10T20:00:00Z</expires>", "");
    let register = taken(&[&message]);
    let notice = register.active(at(NOW))[0];
    assert_eq!(
        (notice.until, notice.until_is),
        (at("2026-03-11T03:00:00Z"), Until::OwnLimit)
    );
    let ends = made("a").change(
        "</area>",
        "</area><parameter><valueName>eventEndingTime</valueName><value>2026-03-10T18:00:00Z</value></parameter>",
    );
    let register = taken(&[&ends]);
    assert_eq!(register.active(at(NOW))[0].until_is, Until::Ends);
}

#[test]
fn d8_a_warning_that_ends_before_it_was_sent_is_left_out_and_noted() {
    let message = made("a").change("2026-03-10T20:00:00Z", "2026-03-10T02:00:00Z");
    let mut register = Register::default();
    let notes = register.take("met", &message.read(), &here(), at(NOW));
    assert_eq!(notes, ["the warning a ends before it was sent and is left out"]);
    assert!(register.active(at(NOW)).is_empty());
}

#[test]
fn d8_all_clear_past_and_green_warn_of_nothing_and_end_what_they_refer_to() {
    let first = made("a");
    let update = || made("b").refer("Update", &first, "2026-03-10T03:30:00Z");
    let clear = update().change("<urgency>", "<responseType>AllClear</responseType><urgency>");
    let past = update().change("Expected", "Past");
    let green = update().change(
        "</area>",
        "</area><parameter><valueName>awareness_level</valueName><value>1; green; Minor</value></parameter>",
    );
    for end in [clear, past, green] {
        assert_eq!(active(&[&first, &end]), 0, "{}", end.infos[0]);
    }
}

#[test]
fn d8_versions_of_one_warning_beside_each_other_count_once() {
    let old = made("2.49.0.XX_8785.v2.0.WI");
    let new = Made {
        sent: "2026-03-10T03:50:00Z",
        ..made("2.49.0.XX_8785.v3.0.WI")
    };
    let other = made("2.49.0.XX_8785.v3.0.TS").change("Wind warning", "Thunderstorm warning");
    assert_eq!(active(&[&old, &new]), 1);
    assert_eq!(active(&[&new, &old]), 1);
    assert_eq!(taken(&[&new, &old]).active(at(NOW))[0].sent, at("2026-03-10T03:50:00Z"));
    assert_eq!(active(&[&old, &new, &other]), 2);
}

#[test]
fn d8_each_warning_handed_over_gets_exactly_one_end() {
    let first = made("a");
    let update = made("b")
        .refer("Update", &first, "2026-03-10T03:30:00Z")
        .change("90 km/h", "110 km/h");
    let mut cancel = made("c").refer("Cancel", &update, "2026-03-10T03:50:00Z");
    cancel.infos.clear();
    let mut register = taken(&[&first]);
    let tell = |register: &mut Register, now: &str| -> Vec<&'static str> {
        let word = |change: Change| match change {
            Change::Began(_) => "began",
            Change::Ended(_) => "ended",
        };
        register.hand_over(at(now)).into_iter().map(word).collect()
    };
    assert_eq!(tell(&mut register, NOW), ["began"]);
    register.take("met", &update.read(), &here(), at(NOW));
    assert_eq!(tell(&mut register, NOW), [""; 0], "a chain that goes on");
    // The state outlives the process.
    let kept = serde_json::to_string(&register).unwrap();
    let mut register: Register = serde_json::from_str(&kept).unwrap();
    register.take("met", &cancel.read(), &here(), at(NOW));
    register.take("met", &cancel.read(), &here(), at(NOW));
    register.take("met", &first.read(), &here(), at(NOW));
    assert_eq!(tell(&mut register, NOW), ["ended"]);
    assert_eq!(tell(&mut register, "2026-03-11T04:00:00Z"), [""; 0]);
    let mut register = taken(&[&first]);
    register.hand_over(at(NOW));
    assert_eq!(tell(&mut register, "2026-03-10T21:00:00Z"), ["ended"], "it ran out");
    assert_eq!(
        tell(&mut taken(&[&first, &update, &cancel]), NOW),
        [""; 0],
        "never told, never ended"
    );
}

#[test]
fn x21_a_feed_can_end_only_its_own_warnings() {
    let first = made("a");
    let mut cancel = made("c").refer("Cancel", &first, "2026-03-10T03:40:00Z");
    cancel.infos.clear();
    let mut register = taken(&[&first]);
    register.take("another feed", &cancel.read(), &here(), at(NOW));
    let forged = made("a")
        .change("Severe", "Minor")
        .change("Gusts to 90 km/h.", "Nothing.");
    register.take("another feed", &forged.read(), &here(), at(NOW));
    let found = register.active(at(NOW));
    assert!(
        found
            .iter()
            .any(|notice| notice.description == "Nothing." || notice.description == "Gusts to 90 km/h.")
    );
    let stranger = Made {
        references: "someone@example.org,a,2026-03-10T03:00:00Z".to_owned(),
        ..cancel
    };
    let mut register = taken(&[&first]);
    register.take("met", &stranger.read(), &here(), at(NOW));
    assert_eq!(
        register.active(at(NOW)).len(),
        1,
        "another sender's message of the same name"
    );
}

#[test]
fn a_region_matches_coarsely_and_the_sea_never() {
    let coded = made("a").change(
        ROUND_HERE,
        "<geocode><valueName>EMMA_ID</valueName><value>XX001</value></geocode>",
    );
    assert_eq!(taken(&[&coded]).active(at(NOW))[0].found, Found::Coarse);
    let other = made("a").change(
        ROUND_HERE,
        "<geocode><valueName>EMMA_ID</valueName><value>XX002</value></geocode>",
    );
    assert_eq!(active(&[&other]), 0);
    assert_eq!(active(&[&made("a").change("Wind warning", "Gale Warning")]), 0);
    assert_eq!(active(&[&made("a").change("Wind warning", "Small Craft Advisory")]), 0);
    assert_eq!(
        active(&[&made("a").change("Wind warning", "Snow warning")]),
        0,
        "of no use for covers"
    );
}

#[test]
fn several_messages_in_a_wrapper_and_version_1_1_and_an_archive_are_read() {
    let (one, two) = (made("a").xml(), made("b").xml().replace("cap:1.2", "cap:1.1"));
    let wrapped = format!("<?xml version=\"1.0\"?><alerts>{one}{two}</alerts>");
    assert_eq!(cap::read(wrapped.as_bytes()).unwrap().warnings.len(), 2);
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, body) in [("a.xml", one.as_str()), ("b.xml", two.as_str()), ("c.xml", "<broken>")] {
        archive.start_file(name, SimpleFileOptions::default()).unwrap();
        archive.write_all(body.as_bytes()).unwrap();
    }
    let bytes = archive.finish().unwrap().into_inner();
    assert_eq!(
        cap::read(&bytes).unwrap().warnings.len(),
        2,
        "a broken message takes no other with it"
    );
}

#[test]
fn an_index_gives_short_warnings_and_links_and_never_outdoes_the_whole_message() {
    let entry = |code: &str, id: &str| {
        format!(
            "<entry><cap:geocode><valueName>EMMA_ID</valueName><value>{code}</value></cap:geocode>\
             <cap:areaDesc>Valley {code}</cap:areaDesc><cap:event>Orange wind warning</cap:event>\
             <cap:sent>2026-03-10T03:00:00Z</cap:sent><cap:onset>2026-03-10T12:00:00Z</cap:onset>\
             <cap:expires>2026-03-10T20:00:00Z</cap:expires><cap:status>Actual</cap:status>\
             <cap:message_type>Alert</cap:message_type><cap:identifier>{id}</cap:identifier>\
             <link href=\"https://feeds.example.org/{id}/{code}\" type=\"application/cap+xml\"/>\
             <id>{id}{code}</id><title>Wind</title></entry>"
        )
    };
    let index = format!(
        "<feed xmlns=\"http://www.w3.org/2005/Atom\" xmlns:cap=\"urn:oasis:names:tc:emergency:cap:1.2\">{}{}{}</feed>",
        entry("XX002", "a"),
        entry("XX001", "a"),
        entry("XX002", "b")
    );
    let feed = cap::read(index.as_bytes()).unwrap();
    assert_eq!(
        (feed.warnings.len(), feed.links.len()),
        (2, 3),
        "two areas of one message are one message"
    );
    let mut register = Register::default();
    register.take("met", &feed.warnings, &here(), at(NOW));
    assert_eq!(register.active(at(NOW)).len(), 1);
    let follow = |seen: &[&str], most| {
        let seen = seen.iter().map(|url| (*url).to_owned()).collect();
        cap::follow(
            "https://feeds.example.org/atom",
            &feed.links,
            &seen,
            &here(),
            most,
            at(NOW),
        )
    };
    assert_eq!(
        follow(&[], 9),
        ["https://feeds.example.org/a/XX001"],
        "areas elsewhere are not asked for"
    );
    assert_eq!(follow(&["https://feeds.example.org/a/XX001"], 9), [""; 0]);
    assert_eq!(follow(&[], 0), [""; 0]);
    let whole = made("a")
        .xml()
        .replace("<sender>met@example.org</sender>", "<sender></sender>");
    register.take("met", &cap::read(whole.as_bytes()).unwrap().warnings, &here(), at(NOW));
    register.take("met", &feed.warnings, &here(), at(NOW));
    let texts: Vec<&str> = register
        .active(at(NOW))
        .iter()
        .map(|notice| notice.description.as_str())
        .collect();
    assert_eq!(texts, ["Gusts to 90 km/h."]);
}

#[test]
fn d9_x9_bombs_and_nonsense_are_refused_in_a_sentence() {
    let bomb = "<!DOCTYPE a [<!ENTITY b \"bbbb\">]><alert xmlns=\"urn:oasis:names:tc:emergency:cap:1.2\">&b;</alert>";
    let outside = "<!DOCTYPE a SYSTEM \"file:///etc/passwd\"><alert/>";
    for (bytes, expected) in [
        (bomb.as_bytes(), Refusal::Doctype),
        (outside.as_bytes(), Refusal::Doctype),
        (b" \n", Refusal::Empty),
        (b"<html><body>Log in</body></html>", Refusal::WebPage),
        (
            b"<alert><identifier>no namespace</identifier></alert>",
            Refusal::NoWarnings,
        ),
        (b"{\"hourly\":{}}", Refusal::NoWarnings),
    ] {
        assert_eq!(cap::read(bytes).unwrap_err(), expected);
    }
    let deep = "[".repeat(100_000);
    assert!(matches!(cap::read(deep.as_bytes()), Err(Refusal::NotJson { .. })));
    let wide = format!("[{}1]", "1,".repeat(2_000_000));
    assert_eq!(cap::read(wide.as_bytes()).unwrap_err(), Refusal::TooBig);
    let nodes = format!("<alert>{}</alert>", "<a/>".repeat(400_000));
    assert_eq!(cap::read(nodes.as_bytes()).unwrap_err(), Refusal::TooBig);
}

#[test]
fn x10_an_archive_that_grows_without_end_is_stopped() {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    archive.start_file("a.xml", SimpleFileOptions::default()).unwrap();
    archive.write_all(&vec![b' '; 60 << 20]).unwrap();
    let bytes = archive.finish().unwrap().into_inner();
    assert_eq!(cap::read(&bytes).unwrap_err(), Refusal::TooBig);
}

#[test]
fn d10_hostile_text_is_one_clean_line() {
    let message = made("a").change(
        "Gusts to 90 km/h.",
        "Gusts\r\nBcc: x&#x202e;\t&lt;script&gt;alert(1)&lt;/script&gt;\u{85} end",
    );
    let register = taken(&[&message]);
    let said = &register.active(at(NOW))[0].description;
    assert_eq!(said, "Gusts Bcc: x <script>alert(1)</script> end");
    let mut orchard = SmallOrchard::on_a_dry_morning();
    orchard.warnings = register.active(at(NOW)).into_iter().cloned().collect();
    let page = html::render(&orchard.letter(), None, None).unwrap();
    assert!(!page.contains("<script>") && page.contains("Official warnings"));
}

#[test]
fn bytes_changed_anywhere_never_break_the_reader() {
    let mut random = fastrand::Rng::with_seed(20_260_310);
    let mut message = made("a");
    message.infos.push(info("de-DE", "STURM", "Böen"));
    let good = message.xml();
    let listed = r#"{"warnings":[{"alert":{"identifier":"a","status":"Actual","info":[{"event":"wind","area":[{"polygon":["1,1 1,2 2,2"]}]}]}}]}"#;
    let mut refused = 0;
    for round in 0..600 {
        let mut bytes = if round % 2 == 0 {
            good.clone()
        } else {
            listed.to_owned()
        }
        .into_bytes();
        for _ in 0..random.usize(1..6) {
            let place = random.usize(..bytes.len());
            bytes[place] = random.u8(..);
        }
        match cap::read(&bytes) {
            Ok(feed) => {
                Register::default().take("met", &feed.warnings, &here(), at(NOW));
            }
            Err(refusal) => {
                assert!(refusal.to_string().len() > 10);
                refused += 1;
            }
        }
    }
    assert!(refused > 100, "{refused}");
}

#[test]
fn a_thunderstorm_warning_puts_thunder_into_every_run_and_nothing_gets_better() {
    let message = made("a").change("Wind warning", "Severe thunderstorm warning");
    let orchard = SmallOrchard::on_a_dry_morning();
    let weather = orchard.timeline.clone().unwrap();
    let mut notice: Notice = taken(&[&message]).active(at(NOW))[0].clone();
    (notice.from, notice.until) = (orchard.now + TimeDelta::hours(2), orchard.now + TimeDelta::hours(5));
    let warned = apply(&weather, &[notice.clone()]);
    let stormy = warned.runs.iter().all(|run| {
        (0..weather.stamps.count)
            .filter(|k| notice.from < weather.stamps.at(*k) && weather.stamps.start(*k) < notice.until)
            .all(|k| run.thunder.get(k) == Some(1.0))
    });
    assert!(stormy);
    for (before, after) in weather.runs.iter().zip(&warned.runs) {
        for k in 0..weather.stamps.count {
            assert!(before.known(k) || !after.known(k), "row {k} became known by a warning");
            assert!(before.thunder.get(k).unwrap_or(0.0) <= after.thunder.get(k).unwrap_or(1.0));
        }
    }
    notice.kind = Kind::Wind;
    assert_eq!(apply(&weather, &[notice.clone()]).warned, [(notice.from, notice.until)]);
    notice.kind = Kind::Heat;
    assert_eq!(apply(&weather, &[notice]), weather);
}

/// A message in three languages whose text is far too long for a letter.
fn long_message() -> Made {
    let long =
        "South-west gusts of 80 to 100 km/h, on ridges up to 120 km/h. Loose sheets and branches may be carried \
                away. * WHAT...Damaging winds expected. * WHERE...All valleys and the plain. * WHEN...From noon until \
                the evening. * IMPACTS...Difficult driving for high-sided vehicles, and power cuts are possible."
            .repeat(4);
    let mut message = made("a");
    message.infos = vec![
        info("de-DE", "STURMBÖEN", &"Böen bis 100 km/h erwartet. ".repeat(20)),
        info("en-GB", "Severe gales", &long),
        info("fr-FR", "Vent violent", &"Rafales de 100 km/h attendues. ".repeat(20)),
    ];
    message
}

/// Notices that hold on the dry morning.
pub(crate) fn long_notices() -> Vec<Notice> {
    let register = taken(&[&long_message()]);
    register.active(at(NOW)).into_iter().cloned().collect()
}

#[test]
fn the_letter_quotes_a_long_warning_once_with_issuer_and_times() {
    let mut orchard = SmallOrchard::on_a_dry_morning();
    let mut notices: Vec<Notice> = taken(&[&long_message()]).active(at(NOW)).into_iter().cloned().collect();
    assert_eq!(notices.len(), 1);
    let mut coarse = notices[0].clone();
    coarse.kind = Kind::Thunderstorm;
    "Thunderstorms".clone_into(&mut coarse.event);
    (coarse.found, coarse.until_is) = (Found::Coarse, Until::OwnLimit);
    notices.push(coarse);
    for notice in &mut notices {
        notice.sent = orchard.now - TimeDelta::hours(1);
        (notice.from, notice.until) = (orchard.now + TimeDelta::hours(6), orchard.now + TimeDelta::hours(14));
    }
    orchard.warnings = notices;
    let letter = orchard.letter();
    let page = text::render(&letter);
    eprintln!("{page}");
    let part = page.split("OFFICIAL WARNINGS").nth(1).unwrap();
    assert_eq!(page.matches("OFFICIAL WARNINGS").count(), 1);
    assert_eq!(page.matches("Invented Met Office, Severe gales:").count(), 1);
    assert!(part.contains("Loose sheets"), "{part}");
    assert!(part.contains("Coarse match, by the region only (The valley)"), "{part}");
    assert!(part.contains("The issuer tells no end"), "{part}");
    assert!(!page.contains("Rafales") && !page.contains("Böen"));
    assert!(page.lines().all(|line| line.chars().count() <= 80));
    let quote = &letter.warnings[0].quote;
    assert!(quote.chars().count() <= 283 && quote.len() > 100, "{quote}");
    let facts: serde_json::Value = serde_json::from_str(&json::render(&letter).unwrap()).unwrap();
    assert_eq!(facts["warnings"][0]["kind"], "wind");
    assert!(
        html::render(&letter, None, None)
            .unwrap()
            .contains("Invented Met Office, Severe gales:")
    );
    orchard.warnings.clear();
    assert!(!text::render(&orchard.letter()).contains("OFFICIAL WARNINGS"));
}

/// A recorded file, if the recordings lie beside the project.
fn recorded(name: &str) -> Option<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/samples");
    let file = fs::read(folder.join(name)).ok();
    if file.is_none() {
        eprintln!("no recorded replies beside the project: {name} is not read");
    }
    file
}

/// File, messages and links in it, then farm, codes, moment, and what holds there.
type Row = (
    &'static str,
    (usize, usize),
    (f64, f64),
    &'static [&'static str],
    &'static str,
    &'static [Kind],
);

#[rustfmt::skip]
const RECORDED: [Row; 22] = [
    // All-clear, and a test.
    ("cap/ca-thunderstorm-update-bilingual-2012.xml", (1, 0), (42.1, -82.7), &[], "2012-05-02T23:25:00Z", &[]),
    ("cap/ca-alert-bilingual-2019.xml", (1, 0), (0.0, 0.0), &[], "2019-02-01T00:00:00Z", &[]),
    ("cap/us-wind-advisory-2014.cap", (1, 0), (35.0, -106.0), &["UGC:NMZ512"], "2014-05-11T06:00:00Z", &[Kind::Wind]),
    ("cap/us-wind-advisory-2014-cancel-derived.cap", (1, 0), (35.0, -106.0), &["UGC:NMZ512"], "2014-05-11T10:00:00Z", &[]),
    ("cap/us-hurricane-update-polygons-2020.xml", (1, 0), (0.0, 0.0), &[], "2020-08-01T00:00:00Z", &[]),
    ("cap/cancel-no-info-2016.xml", (1, 0), (0.0, 0.0), &[], "2016-02-25T21:00:00Z", &[]),
    // Two languages, once.
    ("cap/is-wind-warning-bilingual-2021.cap", (1, 0), (64.13, -21.9), &[], "2021-09-11T12:00:00Z", &[Kind::Wind]),
    ("cap/is-wind-warning-bilingual-2021.cap", (1, 0), (64.0, -21.0), &[], "2021-09-11T12:00:00Z", &[]),
    ("cap/se-smhi-multi-alert-2019.xml", (17, 0), (0.0, 0.0), &[], "2019-03-12T16:00:00Z", &[]),
    ("cap/feed-empty.atom", (0, 0), (0.0, 0.0), &[], "2010-08-31T15:00:00Z", &[]),
    ("cap/us-high-wind-index-2014.atom", (2, 2), (35.0, -106.0), &["UGC:NMZ512"], "2014-05-11T06:00:00Z", &[Kind::Wind]),
    // Eight languages, once; one municipality by its code, one point by the polygon.
    ("cap/de-dwd-multilang-update-20230623.xml", (1, 0), (52.56, 12.2), &[], "2023-06-23T10:00:00Z", &[Kind::Rain]),
    ("cap/de-dwd-multilang-update-20230623.xml", (1, 0), (0.0, 0.0), &["WARNCELLID:812069018"], "2023-06-23T10:00:00Z", &[Kind::Rain]),
    ("cap/de-dwd-multilang-alert-20230622-large.xml", (1, 0), (0.0, 0.0), &[], "2023-06-23T00:00:00Z", &[]),
    ("cap/meteoalarm-croatia-wind-20231225.json", (63, 0), (44.5, 15.4), &["EMMA_ID:HR004"], "2023-12-25T12:00:00Z", &[Kind::Wind]),
    // Snow, in two versions and several areas.
    ("cap/meteoalarm-uk-feed-20221208.atom", (4, 25), (56.0, -5.0), &["EMMA_ID:UK105"], "2022-12-08T01:00:00Z", &[]),
    ("cap/meteoalarm-ireland-detail-20221206.xml", (1, 0), (0.0, 0.0), &[], "2022-12-06T12:00:00Z", &[]),
    ("cap/meteoalarm-netherlands-green-20260307.json", (3, 0), (52.9, 6.6), &["EMMA_ID:NL018"], "2026-03-07T08:00:00Z", &[]),
    // Gale at sea.
    ("cap/metno-metalerts-20260306.json", (29, 0), (79.0, -3.0), &[], "2026-03-07T21:00:00Z", &[]),
    ("cap/ca-minor-update-as-alert-sample.xml", (1, 0), (0.0, 0.0), &[], "2012-01-01T00:00:00Z", &[]),
    ("nws/alerts-empty.json", (0, 0), (0.0, 0.0), &[], "2026-03-07T21:00:00Z", &[]),
    ("nws/alerts-test-message.json", (2, 0), (40.7, -74.0), &[], "2026-03-24T14:00:00Z", &[]),
];

#[test]
fn recorded_warnings_are_read_and_hold_where_they_should() {
    let mut wrong = Vec::new();
    for (name, (messages, links), (latitude, longitude), codes, now, kinds) in RECORDED {
        let Some(bytes) = recorded(name) else { return };
        let feed = match cap::read(&bytes) {
            Ok(feed) => feed,
            Err(refusal) => {
                wrong.push(format!("{name}: {refusal}"));
                continue;
            }
        };
        let mut register = Register::default();
        register.take("feed", &feed.warnings, &farm(latitude, longitude, codes), at(now));
        let found: Vec<Kind> = register.active(at(now)).iter().map(|notice| notice.kind).collect();
        if (feed.warnings.len(), feed.links.len()) != (messages, links) || found != kinds {
            wrong.push(format!(
                "{name}: {} messages, {} links, {found:?}",
                feed.warnings.len(),
                feed.links.len()
            ));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn a_recorded_cancel_ends_the_recorded_advisory_in_either_order() {
    let (Some(alert), Some(cancel)) = (
        recorded("cap/us-wind-advisory-2014.cap"),
        recorded("cap/us-wind-advisory-2014-cancel-derived.cap"),
    ) else {
        return;
    };
    let orchard = farm(35.0, -106.0, &["UGC:NMZ512"]);
    let now: DateTime<Utc> = at("2014-05-11T10:00:00Z");
    let read = |bytes: &[u8]| cap::read(bytes).unwrap().warnings;
    assert_eq!(read(&cancel)[0].message, Message::Cancel);
    for order in [[&alert, &cancel], [&cancel, &alert]] {
        let mut register = Register::default();
        for bytes in order {
            register.take("nws", &read(bytes), &orchard, now);
        }
        assert!(register.active(now).is_empty());
    }
}

#[test]
fn recorded_lists_of_the_us_service_hold_no_warning_for_ships() {
    for name in [
        "nws/alerts-active-8.json",
        "nws/alerts-active-152-mixed.json",
        "nws/alerts-update-flood.json",
    ] {
        let Some(bytes) = recorded(name) else { return };
        let feed = cap::read(&bytes).unwrap();
        assert!(!feed.warnings.is_empty(), "{name}");
        for info in feed.warnings.iter().flat_map(|warning| &warning.infos) {
            let event = info.event.to_lowercase();
            let ships = ["small craft", "gale w", "marine", "hazardous seas", "hurricane force"];
            if ships.iter().any(|word| event.contains(word)) {
                assert!(info.marine, "{event}");
            }
            if ["red flag warning", "fire weather watch"].contains(&event.as_str()) {
                assert_eq!(info.kind, Kind::Fire);
            }
            if event == "high wind warning" {
                assert_eq!((info.kind, info.marine), (Kind::Wind, false));
            }
        }
    }
}

#[test]
fn warnings_and_an_early_cancel_outlive_a_start() {
    let folder = tempfile::tempdir().unwrap();
    let id = FarmId("larkrise".to_owned());
    let (ended, stays) = (made("a"), made("b").change("Wind warning", "Strong wind"));
    let cancel = made("c").refer("Cancel", &ended, "2026-03-10T03:30:00Z");
    let store = Store::open(folder.path()).unwrap();
    assert_eq!(store.warnings(&id).unwrap(), Register::default());
    let before = taken(&[&cancel, &stays]);
    store.keep_warnings(&id, &taken(&[&ended]), at(NOW)).unwrap();
    store.keep_warnings(&id, &before, at(NOW)).unwrap();
    drop(store);
    let store = Store::open(folder.path()).unwrap();
    let mut after = store.warnings(&id).unwrap();
    assert_eq!(after, before);
    after.take("met", &ended.read(), &here(), at(NOW));
    let events: Vec<&str> = after
        .active(at(NOW))
        .iter()
        .map(|notice| notice.event.as_str())
        .collect();
    assert_eq!(events, ["Strong wind"], "the alert comes after its cancel");
    let other = store.warnings(&FarmId("hillside".to_owned())).unwrap();
    assert_eq!(other, Register::default(), "each farm has its own");
}

#[tokio::test]
async fn messages_behind_an_index_are_asked_once_politely_and_few_a_round() {
    let whole = made("a").xml();
    let server = Server::that(move |head| {
        let name = head.split_whitespace().nth(1).unwrap_or_default();
        match name {
            "/gone" => answer("404 Not Found", b"", ""),
            "/down" => answer("503 Service Unavailable", b"", ""),
            _ => ok(whole.as_bytes(), ""),
        }
    })
    .await;
    let home = format!("http://{}/feed", server.address);
    let service = Service {
        name: "met".to_owned(),
        kind: ServiceKind::Cap,
        role: Role::Main,
        base_url: home.clone(),
        key_file: None,
        models: None,
        station: None,
        codes: BTreeSet::new(),
        days: 10,
        product: Product::SixHourlyModel,
        allow_loopback: true,
    };
    let folder = tempfile::tempdir().unwrap();
    let settings = Settings {
        contact: "grower@larkrise.example".to_owned(),
        services: vec![service.clone()],
        cache: folder.path().join("cache"),
        interval: TimeDelta::zero(),
    };
    let index = |names: &[String]| {
        let entry = |name: &String| {
            format!(
                "<entry><id>{name}</id><title>Wind</title><link type=\"application/cap+xml\" href=\"{name}\"/></entry>"
            )
        };
        let entries: String = names.iter().map(entry).collect();
        let feed = format!("<feed xmlns=\"http://www.w3.org/2005/Atom\">{entries}</feed>");
        cap::read(feed.as_bytes()).unwrap().links
    };
    let mut seen = BTreeSet::new();
    let few = index(&[
        "/gone".to_owned(),
        "/a".to_owned(),
        "https://elsewhere.example/b".to_owned(),
    ]);
    let found = follow(&settings, &service, &few, &here(), &mut seen, at(NOW)).await;
    assert_eq!((found.len(), seen.len(), server.requests().len()), (1, 2, 2));
    let found = follow(&settings, &service, &few, &here(), &mut seen, at(NOW)).await;
    assert_eq!((found.len(), server.requests().len()), (0, 2), "each is asked once");
    let many: Vec<String> = (0..50).map(|k| format!("/n{k}")).collect();
    follow(&settings, &service, &index(&many), &here(), &mut seen, at(NOW)).await;
    assert_eq!(
        (seen.len(), server.requests().len()),
        (20, 22),
        "links that are off the index are forgotten"
    );
    let down = index(&["/down".to_owned(), "/x".to_owned()]);
    follow(&settings, &service, &down, &here(), &mut seen, at(NOW)).await;
    assert_eq!(
        (seen.len(), server.requests().len()),
        (0, 23),
        "a service in trouble is left alone"
    );
    assert!(
        server
            .requests()
            .iter()
            .all(|head| head.contains("grower@larkrise.example"))
    );
}

#[test]
fn advice_from_recorded_files_quotes_a_recorded_warning() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = tempfile::tempdir().unwrap();
    for file in fs::read_dir(root.join("tests/data/config/good")).unwrap() {
        let file = file.unwrap().path();
        if !file.ends_with("service.toml") {
            fs::copy(&file, folder.path().join(file.file_name().unwrap())).unwrap();
        }
    }
    let farm = fs::read_to_string(folder.path().join("farm.toml")).unwrap();
    let moved = farm.lines().map(|line| match line.split(" = ").next().unwrap() {
        "latitude" => "latitude = 47.1",
        "longitude" => "longitude = -121.42",
        _ => line,
    });
    fs::write(
        folder.path().join("farm.toml"),
        moved.map(|line| line.to_owned() + "\n").collect::<String>(),
    )
    .unwrap();
    let warning = made("a")
        .xml()
        .replace(ROUND_HERE, "<polygon>47,-122 47,-121 48,-121 48,-122 47,-122</polygon>");
    let file = folder.path().join("warning.cap");
    let advise = || {
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_covercast"))
            .args(["advise", "--now", "2026-03-09T16:30:00Z", "--farm"])
            .arg(folder.path())
            .arg("--forecast")
            .arg(root.join("tests/data/replies/nws/gridpoint.json"))
            .arg("--forecast")
            .arg(&file)
            .output()
            .unwrap();
        String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
    };
    fs::write(
        &file,
        warning
            .replace("T03:00:00Z", "T01:00:00Z")
            .replace("2026-03-10T01", "2026-03-09T01"),
    )
    .unwrap();
    let told = advise();
    assert!(
        told.contains("OFFICIAL WARNINGS") && told.contains("Invented Met Office"),
        "{told}"
    );
    fs::write(&file, warning.replace("47,-12", "37,-12").replace("48,-12", "38,-12")).unwrap();
    let told = advise();
    assert!(!told.contains("OFFICIAL WARNINGS"), "{told}");
}
