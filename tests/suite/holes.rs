//! A recorded reply with hours taken out of it never makes a verdict better, from file to window.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use chrono::{DateTime, TimeDelta, Utc};
use covercast::farm::{Farm, Job};
use covercast::pipeline::{self, Told};
use covercast::record::Ground;
use covercast::settings::load_farm;
use covercast::sources::read_reply;
use covercast::units::{Hours, Metres};
use covercast::weather::reading::{Exposure, Mast, Measured, Owner, Reading, Readings, Terrain};
use covercast::weather::stitch::Source;
use covercast::weather::{Product, Standing, Valid};
use covercast::workability::{JobRequest, Verdict, outlook};
use serde_json::Value;

/// The demo's morning.
const NOW: &str = "2026-03-09T16:30:00Z";

type Verdicts = BTreeMap<(DateTime<Utc>, Job), Verdict>;

/// Verdicts of every window of one block; empty where the reply is refused.
fn verdicts(farm: &Farm, reply: &Value, block: usize) -> Verdicts {
    told(farm, reply, block, &Told::default())
}

/// The same with a past told by a station on the farm.
fn measured(farm: &Farm, reply: &Value, block: usize, readings: &[Reading]) -> Verdicts {
    let mast = Mast {
        name: "mast".to_owned(),
        owner: Owner::Own,
        exposure: Some(Exposure {
            height: Metres(10.0),
            terrain: Terrain::Open,
        }),
        distance: None,
        credit: None,
    };
    let station = (mast, Readings::gather(readings.iter().copied()));
    let told = Told {
        stations: vec![station],
        ..Told::default()
    };
    self::told(farm, reply, block, &told)
}

fn told(farm: &Farm, reply: &Value, block: usize, told: &Told) -> Verdicts {
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
    let timeline = pipeline::timeline_told(&farm.site, &[source], told, now).unwrap();
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

/// Readings of a station on the farm that saw what the reply's control run tells of the past, every ten minutes.
fn as_measured(reply: &Value) -> Vec<Reading> {
    let now: DateTime<Utc> = NOW.parse().unwrap();
    let hourly = &reply["hourly"];
    let times: Vec<i64> = hourly["time"]
        .as_array()
        .unwrap()
        .iter()
        .map(|time| time.as_i64().unwrap())
        .collect();
    let of = |name: &str, second: i64| -> f64 {
        let after = times.partition_point(|time| *time < second).clamp(1, times.len() - 1);
        let value = |row: usize| hourly[name][row].as_f64().unwrap();
        let share = (second - times[after - 1]) as f64 / 3600.0;
        value(after - 1) + share.clamp(0.0, 1.0) * (value(after) - value(after - 1))
    };
    let mut found = Vec::new();
    let mut counter = 20.0;
    for step in (1..=6 * 160).rev() {
        let second = now.timestamp() - 600 * step;
        if second < times[0] {
            continue;
        }
        let wobble = (step % 7) as f64 / 20.0;
        let row = times.partition_point(|time| *time < second).min(times.len() - 1);
        counter += hourly["precipitation"][row].as_f64().unwrap() / 6.0;
        let mut put = |measured, value| {
            let at = DateTime::from_timestamp(second, 0).unwrap();
            let told = covercast::weather::Told {
                valid: Valid::At(at),
                value: Some(value),
            };
            found.push(Reading {
                measured,
                told,
                received: at,
            });
        };
        put(Measured::Temperature, of("temperature_2m", second) + wobble);
        put(Measured::DewPoint, of("dew_point_2m", second));
        put(Measured::Wind, of("wind_speed_10m", second) + wobble);
        put(Measured::Gust, of("wind_gusts_10m", second) + wobble);
        put(Measured::RainCounter, counter);
    }
    found
}

/// Stretches without a kind of reading, or without any; one of them may last until now.
fn with_silence(readings: &[Reading], chance: &mut fastrand::Rng) -> Vec<Reading> {
    let now: DateTime<Utc> = NOW.parse().unwrap();
    let mut left = readings.to_vec();
    for _ in 0..chance.usize(1..5) {
        let hours = [2, 3, 4, 9, 20][chance.usize(0..5)];
        let end = if chance.u32(0..4) == 0 {
            now
        } else {
            now - TimeDelta::minutes(chance.i64(90..100 * 60))
        };
        let start = end - TimeDelta::hours(hours);
        let kind = [
            None,
            None,
            Some(Measured::RainCounter),
            Some(Measured::Temperature),
            Some(Measured::Wind),
        ][chance.usize(0..5)];
        let as_missing = chance.bool();
        let is_gone = |reading: &Reading| {
            let at = reading.told.valid.end();
            start <= at && at <= end && kind.is_none_or(|kind| kind == reading.measured)
        };
        if as_missing {
            left.iter_mut()
                .filter(|reading| is_gone(reading))
                .for_each(|reading| reading.told.value = None);
        } else {
            left.retain(|reading| !is_gone(reading));
        }
    }
    left
}

#[test]
fn silence_of_a_station_never_makes_a_verdict_better() {
    let farm = demo_farm();
    let reply = single_reply();
    let readings = as_measured(&reply);
    let full: Vec<Verdicts> = (0..3).map(|block| measured(&farm, &reply, block, &readings)).collect();
    let good = full
        .iter()
        .flat_map(|found| found.values())
        .filter(|verdict| **verdict >= Verdict::Maybe);
    assert!(good.count() > 20);
    let mut fewer = 0;
    for case in 0..40_u64 {
        let mut chance = fastrand::Rng::with_seed(7000 + case);
        let block = chance.usize(0..3);
        for (window, less) in measured(&farm, &reply, block, &with_silence(&readings, &mut chance)) {
            let was = full[block][&window];
            assert!(
                less <= was,
                "case {case}, block {block}: {window:?} was {was:?} and is {less:?}"
            );
            fewer += usize::from(less < was);
        }
    }
    assert!(fewer > 20, "the silence took something away: {fewer}");
}
