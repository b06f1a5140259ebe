//! A recorded reply with hours taken out of it never makes a verdict better, from file to window.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use chrono::{DateTime, Utc};
use covercast::farm::{Farm, Job};
use covercast::pipeline;
use covercast::record::Ground;
use covercast::settings::load_farm;
use covercast::sources::read_reply;
use covercast::units::Hours;
use covercast::weather::stitch::Source;
use covercast::weather::{Product, Standing};
use covercast::workability::{JobRequest, Verdict, outlook};
use serde_json::Value;

/// The demo's morning.
const NOW: &str = "2026-03-09T16:30:00Z";

type Verdicts = BTreeMap<(DateTime<Utc>, Job), Verdict>;

/// Verdicts of every window of one block; empty where the reply is refused.
fn verdicts(farm: &Farm, reply: &Value, block: usize) -> Verdicts {
    let now = NOW.parse().unwrap();
    let Ok(forecast) = read_reply(reply.to_string().as_bytes(), &farm.site, now, None) else {
        return Verdicts::new();
    };
    let source = Source {
        name: "forecast",
        standing: Standing::First,
        forecast: &forecast,
        product: Product::SixHourlyModel,
    };
    let timeline = pipeline::timeline(&farm.site, &[source], now).unwrap();
    let requests = [
        (Job::Lift, 2.0),
        (Job::Lay, 2.0),
        (Job::Fold, 2.0),
        (Job::Check, 1.0),
        (Job::Redry, 7.0),
    ]
    .map(|(job, hours)| JobRequest {
        job,
        length: Hours(hours),
        threshold: 0.5,
    });
    let found = outlook(&farm.blocks[block], farm, &Ground::default(), &timeline, &requests, now);
    found
        .windows
        .into_iter()
        .map(|window| ((window.start, window.job), window.verdict))
        .collect()
}

/// The demo's reply with seven of its members, which is enough to count and quicker.
fn demo_reply() -> Value {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/forecast-ensemble.json");
    let mut reply: Value = serde_json::from_str(&fs::read_to_string(file).unwrap()).unwrap();
    let few =
        |name: &str| !name.contains("_member") || (1..7).any(|member| name.ends_with(&format!("_member{member:02}")));
    for part in ["hourly", "hourly_units"] {
        reply[part].as_object_mut().unwrap().retain(|name, _| few(name));
    }
    reply
}

fn single_reply() -> Value {
    let mut reply = demo_reply();
    for part in ["hourly", "hourly_units"] {
        reply[part]
            .as_object_mut()
            .unwrap()
            .retain(|name, _| !name.contains("_member"));
    }
    reply
}

fn demo_farm() -> Farm {
    load_farm(&Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/farm"))
        .ok()
        .unwrap()
        .farm
}

/// Nulls in one series, or in one variable of all members, for some stretches of hours.
fn with_nulls(reply: &Value, chance: &mut fastrand::Rng) -> Value {
    let mut reply = reply.clone();
    let hourly = reply["hourly"].as_object_mut().unwrap();
    let names: Vec<String> = hourly.keys().filter(|name| *name != "time").cloned().collect();
    for _ in 0..chance.usize(1..6) {
        let name = &names[chance.usize(0..names.len())];
        let variable = name.split("_member").next().unwrap();
        let whole = chance.bool();
        let (from, length) = (chance.usize(0..360), [1, 1, 2, 3, 4, 9, 40][chance.usize(0..7)]);
        for other in &names {
            if other == name || (whole && other.split("_member").next() == Some(variable)) {
                for value in hourly[other].as_array_mut().unwrap().iter_mut().skip(from).take(length) {
                    *value = Value::Null;
                }
            }
        }
    }
    reply
}

#[test]
fn nulls_in_a_recorded_reply_never_make_a_verdict_better() {
    let farm = demo_farm();
    for (kind, reply) in [demo_reply(), single_reply()].into_iter().enumerate() {
        let full: Vec<Verdicts> = (0..3).map(|block| verdicts(&farm, &reply, block)).collect();
        assert!(
            full.iter()
                .all(|found| found.values().any(|verdict| *verdict == Verdict::Go))
        );
        let mut fewer = 0;
        for case in 0..30_u64 {
            let mut chance = fastrand::Rng::with_seed(1000 * kind as u64 + case);
            let block = chance.usize(0..3);
            for (window, less) in verdicts(&farm, &with_nulls(&reply, &mut chance), block) {
                let was = full[block][&window];
                assert!(
                    less <= was,
                    "case {case}, block {block}: {window:?} was {was:?} and is {less:?}"
                );
                fewer += usize::from(less < was);
            }
        }
        assert!(fewer > 20, "the holes took something away: {fewer}");
    }
}

#[test]
fn with_a_whole_variable_gone_from_a_reply_nothing_is_a_go() {
    let farm = demo_farm();
    for reply in [demo_reply(), single_reply()] {
        let names: std::collections::BTreeSet<String> = reply["hourly"]
            .as_object()
            .unwrap()
            .keys()
            .filter(|name| *name != "time")
            .map(|name| name.split("_member").next().unwrap().to_owned())
            .collect();
        assert!(names.len() >= 9);
        for variable in names {
            let of = |name: &String| name.split("_member").next() == Some(variable.as_str());
            let mut cut = reply.clone();
            for part in ["hourly", "hourly_units"] {
                cut[part].as_object_mut().unwrap().retain(|name, _| !of(name));
            }
            let mut nulls = reply.clone();
            for (_, values) in nulls["hourly"]
                .as_object_mut()
                .unwrap()
                .iter_mut()
                .filter(|(name, _)| of(name))
            {
                values
                    .as_array_mut()
                    .unwrap()
                    .iter_mut()
                    .for_each(|value| *value = Value::Null);
            }
            for less in [cut, nulls] {
                let found = verdicts(&farm, &less, 0);
                assert!(found.values().all(|verdict| *verdict != Verdict::Go), "{variable}");
            }
        }
    }
}
