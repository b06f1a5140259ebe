//! The real program under another clock: one letter a local date, whatever the clocks do.

use chrono::TimeDelta;

use crate::workplace::{FakeClock, Sink, Workplace};

/// IANA rules: Auckland went back on 2026-04-05 at 03:00 and goes forward on 2026-09-27 at 02:00.
#[test]
fn a_mail_server_gets_one_letter_a_day_over_both_clock_changes() {
    let place = Workplace::new("Pacific/Auckland", "02:30", &["tama@farm.example"]);
    let certificates = place.certificates();
    let mut sink = Sink::start(&[
        "--tls",
        "implicit",
        "--certificate",
        &certificates.certificate,
        "--key",
        &certificates.key,
    ]);
    let mail = format!(
        "transport = \"smtp\"\nhost = \"localhost\"\nport = {}\ntls = \"implicit\"\nroot_certificate = \"{}\"",
        sink.port, certificates.authority
    );
    place.service("02:30", &mail);
    let mut ids = Vec::new();
    // 02:30 comes twice on 5 April and not at all on 27 September; then the next day's.
    for (start, dates) in [
        ("2026-04-04T13:00:00Z", ["2026-04-05", "2026-04-06"]),
        ("2026-09-26T13:00:00Z", ["2026-09-27", "2026-09-28"]),
    ] {
        let mut clock = FakeClock::at(&place, start);
        let mut program = clock.run();
        program.wait_for("ready");
        for _ in 0..53 {
            clock.jump(&mut program, TimeDelta::minutes(30));
        }
        for date in dates {
            let got = sink.wait_for("message");
            assert!(
                got["id"]
                    .as_str()
                    .unwrap()
                    .starts_with(&format!("<{date}-larkrise-morning")),
                "{date}: {}",
                got["id"]
            );
            ids.push(got["id"].clone());
        }
        let (status, _) = program.stop();
        assert!(status.success(), "{status}");
    }
    assert_eq!(
        sink.events_within(std::time::Duration::from_millis(300)),
        [serde_json::Value::Null; 0],
        "and no more"
    );
    ids.dedup();
    assert_eq!(ids.len(), 4);
    assert_eq!(place.done(), ["2026-04-05", "2026-04-06", "2026-09-27", "2026-09-28"]);
}

#[test]
fn a_clock_put_forward_and_back_sends_nothing_twice() {
    let place = Workplace::new("Europe/Rome", "05:30", &["a@farm.example"]);
    let mut clock = FakeClock::at(&place, "2026-03-10T03:00:00Z");
    let mut program = clock.run();
    program.wait_for("ready");
    clock.jump(&mut program, TimeDelta::hours(3));
    program.wait_until_told("INFO sent", 1);
    for hours in [-3, 3, -1, 1, -24, 24] {
        clock.jump(&mut program, TimeDelta::hours(hours));
        if hours == -24 {
            program.wait_until_told("INFO sent", 2);
        }
    }
    clock.jump(&mut program, TimeDelta::hours(24));
    program.wait_until_told("INFO sent", 3);
    let mut mails = place.mails();
    mails.iter_mut().for_each(|name| name.truncate(10));
    // Put back by a day at 07:00 it was the 9th: that day's letter was not yet written, and goes out once.
    assert_eq!(mails, ["2026-03-09", "2026-03-10", "2026-03-11"]);
}

#[test]
fn after_a_clock_of_1970_the_letter_goes_out_without_a_restart() {
    let place = Workplace::new("Europe/Rome", "05:30", &["a@farm.example"]);
    let mut clock = FakeClock::at(&place, "1970-01-02T04:29:00Z");
    let mut program = clock.run();
    program.wait_for("cannot be");
    clock.jump(&mut program, TimeDelta::hours(3));
    assert!(place.mails().is_empty());
    clock.now = "2026-03-10T05:00:00Z".parse().unwrap();
    clock.jump(&mut program, TimeDelta::zero());
    program.wait_until_told("INFO sent", 1);
    assert_eq!(place.done(), ["2026-03-10"]);
}
