//! The program may die at any moment: no letter is lost, none is sent twice, and the database stays whole.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use covercast::farm::FarmId;
use covercast::store::{State, Store};

use crate::workplace::Workplace;

/// A zone in which it is about six in the morning now, so that a letter at five is due and can be caught up.
pub(crate) fn zone_where_it_is_six() -> String {
    let now: DateTime<Utc> = std::time::SystemTime::UNIX_EPOCH.into();
    let now = now + TimeDelta::from_std(std::time::SystemTime::UNIX_EPOCH.elapsed().unwrap()).unwrap();
    let hour = i64::from(chrono::Timelike::hour(&now));
    // "Etc/GMT+5" lies five hours west of Greenwich.
    let west = (hour - 6).rem_euclid(24);
    match west {
        0 => "Etc/GMT".to_owned(),
        1..=12 => format!("Etc/GMT+{west}"),
        _ => format!("Etc/GMT-{}", 24 - west),
    }
}

/// Letters of the round's farm in the store, messages on disk, and messages not yet handed over.
fn state_of(place: &Workplace, farm: &str) -> (usize, usize, usize) {
    let letters = match Store::look(&place.path("state")) {
        Ok(Some(store)) => store.jobs_done(&FarmId(farm.to_owned()), "morning").unwrap().len(),
        Ok(None) => 0,
        Err(fault) => panic!("{fault}"),
    };
    let mails = place
        .mails()
        .iter()
        .filter(|name| name.contains(&format!("-{farm}-")))
        .count();
    let waiting = if letters == 0 {
        0
    } else {
        place.store().waiting().unwrap().len()
    };
    (letters, mails, waiting)
}

#[test]
fn killed_at_any_moment_each_letter_still_goes_out_once() {
    let zone = zone_where_it_is_six();
    let place = Workplace::new(&zone, "05:00", &["a@farm.example", "b@farm.example"]);
    let mut chance = fastrand::Rng::with_seed(20_260_310);
    let mut cut_short = 0;
    for round in 0..24 {
        let farm = format!("round{round}");
        place.farm(&farm, &zone, &["a@farm.example", "b@farm.example"]);
        // The moment of death is drawn from the whole of a start; a third of the rounds die before they are ready.
        let mut program = place.run(&[]);
        if round % 3 > 0 {
            program.wait_for("ready");
        }
        program.lines_within(Duration::from_millis(chance.u64(0..120)));
        program.kill();
        let (letters, mails, waiting) = state_of(&place, &farm);
        cut_short += usize::from(mails < 2);
        assert!(
            mails <= 2 && (letters == 1 || mails == 0),
            "round {round}: no message without its letter"
        );
        let mut program = place.run(&[]);
        program.wait_for("ready");
        let left = if letters == 0 { 2 } else { waiting };
        for _ in 0..left {
            program.wait_for("INFO sent");
        }
        let (status, _) = program.stop();
        assert!(status.success(), "round {round}: {status}");
        assert_eq!(state_of(&place, &farm), (1, 2, 0), "round {round}");
    }
    assert!(
        cut_short >= 5,
        "only {cut_short} rounds died before their mail was out; draw shorter lives"
    );
    assert_eq!(place.mails().len(), 48);
    let store = place.store();
    assert_eq!(store.complaint().unwrap(), None, "the database is whole");
    let long_ago: DateTime<Utc> = "2026-01-01T00:00:00Z".parse().unwrap();
    let ended = store.ended_since(&FarmId("round7".to_owned()), long_ago).unwrap();
    assert_eq!(ended.iter().filter(|parcel| parcel.state == State::Sent).count(), 2);
}

#[test]
fn a_damaged_database_stops_the_start_and_is_kept() {
    let place = Workplace::new("Europe/Rome", "05:00", &["a@farm.example"]);
    let mut program = place.run(&[]);
    program.wait_for("ready");
    program.stop();
    let file = place.path("state/covercast.db");
    std::fs::write(&file, b"").unwrap();
    let (code, _, errors) = place.command(&["run"]);
    assert_eq!(code, 1, "{errors}");
    assert!(
        errors.contains("is damaged") && errors.contains("is not known"),
        "{errors}"
    );
    assert_eq!(std::fs::metadata(&file).unwrap().len(), 0, "left as it is");
    let (code, text, _) = place.command(&["status"]);
    assert_eq!(code, 0);
    assert!(text.contains("is damaged") && text.contains("Next letter"), "{text}");
}
