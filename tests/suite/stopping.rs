//! Starting twice, stopping, and changing files while the program works.

use std::time::Duration;

use rustix::process::Signal;

use crate::workplace::{Sink, Workplace};

fn place() -> Workplace {
    Workplace::new("Europe/Rome", "05:00", &["a@farm.example"])
}

#[test]
fn a_second_daemon_leaves_at_once_and_names_the_first() {
    let place = place();
    let mut first = place.run(&[]);
    first.wait_for("ready");
    let began = std::time::Instant::now();
    let (code, _, errors) = place.command(&["run"]);
    assert_eq!(code, 4, "{errors}");
    assert!(began.elapsed() < Duration::from_secs(2), "{:?}", began.elapsed());
    let (_, status, _) = place.command(&["status"]);
    let pid = status.split_whitespace().nth(2).unwrap();
    assert!(errors.contains(&format!("process {pid} holds")), "{errors}\n{status}");
    // A crash leaves no lock behind.
    first.kill();
    let mut second = place.run(&[]);
    second.wait_for("ready");
}

#[test]
fn it_stops_when_told_also_in_a_storm_of_signals() {
    for signal in [Signal::TERM, Signal::INT] {
        let place = place();
        let mut program = place.run(&[]);
        program.wait_for("ready");
        for _ in 0..50 {
            program.signal(Signal::HUP);
        }
        program.signal(signal);
        let (status, took) = program.stop();
        assert!(
            status.success() && took < Duration::from_secs(10),
            "{status} after {took:?}"
        );
    }
}

#[test]
fn it_stops_in_time_while_a_mail_server_says_nothing_and_the_message_waits_on() {
    let zone = crate::restart::zone_where_it_is_six();
    let place = Workplace::new(&zone, "05:00", &["a@farm.example"]);
    let mut sink = Sink::start(&["--silent"]);
    let mail = format!(
        "transport = \"smtp\"\nhost = \"localhost\"\nport = {}\ntls = \"starttls\"",
        sink.port
    );
    place.service("05:00", &mail);
    let mut program = place.run(&[]);
    sink.wait_for("connected");
    let (status, took) = program.stop();
    assert!(
        status.success() && took < Duration::from_secs(10),
        "{status} after {took:?}"
    );
    assert_eq!(place.store().waiting().unwrap().len(), 1);
}

#[test]
fn an_idle_daemon_stays_small() {
    let place = place();
    let mut program = place.run(&[]);
    program.wait_for("ready");
    let resident = program.resident_kib();
    assert!(resident <= 30 * 1024, "{resident} KiB resident");
}

#[test]
fn a_broken_file_is_told_and_the_good_one_stays_in_force() {
    let place = place();
    let mut program = place.run(&[("WATCHDOG_USEC", "200000")]);
    program.wait_for("ready");
    let good = std::fs::read_to_string(place.path("farm.toml")).unwrap();
    std::fs::write(place.path("farm.toml"), good.replace("elevation_m", "elevaton_m")).unwrap();
    let told = program.wait_for("stays in force");
    assert!(told.contains("elevation_m") && told.contains("farm.toml"), "{told}");
    let (_, status, _) = place.command(&["status"]);
    assert!(status.contains("TROUBLE"), "{status}");
    std::fs::write(place.path("farm.toml"), good.replace("Larkrise Orchard", "Larkrise")).unwrap();
    program.wait_for("new settings are in force");
    program.stop();
    let (_, status, _) = place.command(&["status"]);
    assert!(
        !status.contains("elevation_m") && status.contains("Larkrise ("),
        "{status}"
    );
}

#[test]
fn what_is_noted_is_said_back_and_a_slip_is_answered() {
    let place = place();
    let (code, text, errors) = place.command(&[
        "note",
        "laid",
        "--block",
        "creek",
        "--rows",
        "1-8",
        "--at",
        "2026-10-01 08:00",
    ]);
    assert_eq!(code, 0, "{errors}");
    assert!(
        text.starts_with("Recorded: Creek rows 1-8 laid, Thu 1 Oct 08:00.\nNow out in Creek: rows 1-8 since 1 Oct"),
        "{text}"
    );
    let (code, text, _) = place.command(&[
        "note",
        "lifted",
        "--block",
        "Creek",
        "--rows",
        "7-9",
        "--wet",
        "--at",
        "2026-10-20 15:00",
    ]);
    assert_eq!(code, 0);
    assert!(
        text.contains("nothing was reported lying in row 9") && text.contains("Damp on the roll: rows 7-9"),
        "{text}"
    );
    assert!(text.contains("Now out in Creek: rows 1-6"), "{text}");
    for (arguments, word) in [
        (vec!["note", "laid", "--block", "Crek"], "did you mean Creek?"),
        (vec!["note", "laid", "--block", "Creek", "--rows", "11-13"], "rows 1-12"),
        (
            vec!["note", "laid", "--block", "Creek", "--at", "2099-01-01 08:00"],
            "still to come",
        ),
        (vec!["note", "dry", "--block", "Creek"], "--face"),
    ] {
        let (code, _, errors) = place.command(&arguments);
        assert_eq!(code, 2, "{errors}");
        assert!(errors.contains(word), "{errors}");
    }
    let (_, status, _) = place.command(&["status"]);
    assert!(status.contains("Reports      2"), "{status}");
}

#[test]
fn a_letter_is_explained_and_one_that_is_not_there_is_not() {
    let zone = crate::restart::zone_where_it_is_six();
    let place = Workplace::new(&zone, "05:00", &["a@farm.example"]);
    let (code, _, errors) = place.command(&["explain", "L-1"]);
    assert!(
        code == 1 && errors.contains("no letter has been written yet"),
        "{errors}"
    );
    let mut program = place.run(&[]);
    program.wait_for("INFO sent");
    let (code, text, errors) = place.command(&["explain", "L-0001"]);
    assert_eq!(code, 0, "{errors}");
    assert!(
        text.contains("L-0001 of larkrise") && text.contains("Factors and verdicts"),
        "{text}"
    );
    assert!(text.contains("a@farm.example: sent"), "{text}");
    let (code, _, errors) = place.command(&["explain", "L-0009"]);
    assert!(code == 1 && errors.contains("the last one is L-0001"), "{errors}");
}
