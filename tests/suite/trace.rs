//! `covercast trace` reproduces the reference cases, and keeps its laws on weather of its own.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// Tolerances of the cover model's acceptance: stores in mm, temperatures, winds, load, scores, light.
fn tolerance(column: &str) -> f64 {
    match column {
        "t_sheet" | "t_ground" => 1e-3,
        "tie_load_n" | "s_cover_wm2" => 1e-2,
        name if name.starts_with("score_") => 1e-3,
        _ => 1e-4,
    }
}

fn trace(folder: &Path, more: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_covercast"))
        .arg("trace")
        .arg("--params")
        .arg(folder.join("block.json"))
        .arg("--weather")
        .arg(folder.join("input.csv"))
        .args(more)
        .output()
        .unwrap()
}

fn printed(folder: &Path, more: &[&str]) -> String {
    let output = trace(folder, more);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// Header and rows of a comma-separated text without quotes.
fn table(text: &str) -> Vec<Vec<&str>> {
    text.lines().map(|line| line.split(',').collect()).collect()
}

fn reference_cases() -> Option<Vec<PathBuf>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/reference/model_cases");
    let Ok(entries) = fs::read_dir(&folder) else {
        println!("skipped: {} is not there", folder.display());
        return None;
    };
    Some(
        entries
            .map(|entry| entry.unwrap().path())
            .filter(|path| path.join("block.json").exists())
            .collect(),
    )
}

#[test]
fn every_hour_of_the_reference_cases_is_reproduced() {
    let Some(cases) = reference_cases() else { return };
    assert!(cases.len() >= 5);
    for case in cases {
        let (ours, theirs) = (
            printed(&case, &[]),
            fs::read_to_string(case.join("expected_hourly.csv")).unwrap(),
        );
        let (ours, theirs) = (table(&ours), table(&theirs));
        assert_eq!(ours[0], theirs[0]);
        assert_eq!(ours.len(), theirs.len());
        for (ours_row, theirs_row) in ours.iter().zip(&theirs).skip(1) {
            for ((column, ours), theirs) in ours[0].iter().zip(ours_row).zip(theirs_row) {
                let same = match (ours.parse::<f64>(), theirs.parse::<f64>()) {
                    (Ok(ours), Ok(theirs)) => (ours - theirs).abs() <= tolerance(column),
                    _ => ours == theirs,
                };
                assert!(
                    same,
                    "{} {} {column}: {ours}, expected {theirs}",
                    case.display(),
                    theirs_row[0]
                );
            }
        }
    }
}

#[test]
fn every_day_of_the_reference_cases_is_reproduced() {
    let Some(cases) = reference_cases() else { return };
    for case in cases {
        let ours: serde_json::Value = serde_json::from_str(&printed(&case, &["--daily"])).unwrap();
        let text = fs::read_to_string(case.join("expected_daily.json")).unwrap();
        let theirs: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert!(ours["max_energy_residual_wm2"].as_f64().unwrap() < 1e-3);
        compare(&ours, &theirs, &case.display().to_string());
    }
}

fn compare(ours: &serde_json::Value, theirs: &serde_json::Value, at: &str) {
    use serde_json::Value::{Array, Number, Object};
    match (ours, theirs) {
        (Object(ours), Object(theirs)) => {
            assert_eq!(
                ours.keys().collect::<std::collections::BTreeSet<_>>(),
                theirs.keys().collect(),
                "{at}"
            );
            for (key, theirs) in theirs {
                compare(&ours[key], theirs, &format!("{at}/{key}"));
            }
        }
        (Array(ours), Array(theirs)) => {
            assert_eq!(ours.len(), theirs.len(), "{at}");
            for (place, (ours, theirs)) in ours.iter().zip(theirs).enumerate() {
                compare(ours, theirs, &format!("{at}/{place}"));
            }
        }
        (Number(ours), Number(theirs)) => {
            let (ours, theirs) = (ours.as_f64().unwrap(), theirs.as_f64().unwrap());
            assert!((ours - theirs).abs() <= 1.001e-3, "{at}: {ours}, expected {theirs}");
        }
        _ => assert_eq!(ours, theirs, "{at}"),
    }
}

/// Three days of our own: a clear dewy night, a shower, a windy overcast day.
fn own_case(change: impl Fn(usize, &mut [f64; 8])) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let mut text = "time,t2m,td2m,wind10,gust10,wind_dir,rain,shortwave,cloud\n".to_owned();
    let first: chrono::NaiveDateTime = "2026-03-10T01:00:00".parse().unwrap();
    for hour in 0..72_usize {
        let day = ((hour % 24) as f64 - 14.0) / 24.0 * std::f64::consts::TAU;
        let sun = (day.cos() * 600.0 - 100.0).max(0.0);
        let mut values = match hour {
            0..=30 => [12.0 + 6.0 * day.cos(), 5.5, 1.2, 2.2, 200.0, 0.0, sun, 0.0],
            31..=36 => [10.0, 9.0, 3.0, 6.0, 240.0, 1.5, 40.0, 1.0],
            _ => [11.0 + 2.0 * day.cos(), 4.0, 6.0, 11.0, 270.0, 0.0, 0.4 * sun, 1.0],
        };
        change(hour, &mut values);
        text += &(first + chrono::TimeDelta::hours(hour as i64))
            .format("%Y-%m-%dT%H:%M")
            .to_string();
        for value in values {
            text += &format!(",{value:.3}");
        }
        text.push('\n');
    }
    fs::write(folder.path().join("input.csv"), text).unwrap();
    fs::write(
        folder.path().join("block.json"),
        "{\"lat\": 46.5, \"lon\": 11.3, \"alt_m\": 250, \"utc_offset_h\": 1}",
    )
    .unwrap();
    folder
}

fn column(text: &str, name: &str) -> Vec<f64> {
    let table = table(text);
    let place = table[0].iter().position(|column| *column == name).unwrap();
    table.iter().skip(1).map(|row| row[place].parse().unwrap()).collect()
}

#[test]
fn dew_rain_and_drying_come_in_their_turn() {
    let folder = own_case(|_, _| {});
    let text = printed(folder.path(), &[]);
    let (film, under) = (column(&text, "film_mm"), column(&text, "under_mm"));
    assert!(film[4] > 0.0 && film[4] < 0.3, "dew of a clear night: {}", film[4]);
    assert!(film[14] < 1e-9, "dry in the afternoon");
    assert!(
        film[35] > 0.2 && under[36] > 0.2,
        "wet through in the rain: {} {}",
        film[35],
        under[36]
    );
    assert!(film[71] < 0.02 && under[71] < 0.02, "dry after a windy day");
    let load = column(&text, "tie_load_n");
    assert!(load[60] > load[20]);
}

#[test]
fn all_rain_is_found_again() {
    let folder = own_case(|_, _| {});
    let text = printed(folder.path(), &[]);
    let mut stored = 0.0;
    for name in ["evap_top_mm", "evap_under_mm", "runoff_mm", "drip_mm"] {
        stored += column(&text, name).iter().sum::<f64>();
    }
    for name in ["film_mm", "pond_mm", "under_mm"] {
        stored += column(&text, name)[71];
    }
    // 72 rows printed to five decimals.
    assert!((stored - 9.0).abs() < 72.0 * 4.0 * 5e-6, "{stored}");
}

#[test]
fn more_rain_never_dries_earlier_and_thunder_is_the_reason_that_is_named() {
    let dry_hour = |rain: f64| {
        let folder = own_case(|hour, values| {
            if hour == 33 {
                values[5] += rain;
            }
        });
        let text = printed(folder.path(), &[]);
        let (film, under) = (column(&text, "film_mm"), column(&text, "under_mm"));
        (37..72).find(|&k| film[k] < 0.02 && under[k] < 0.02).unwrap()
    };
    assert!(dry_hour(0.0) <= dry_hour(4.0));

    let folder = own_case(|_, _| {});
    let path = folder.path().join("input.csv");
    let text = fs::read_to_string(&path).unwrap();
    let rows: Vec<String> = text
        .lines()
        .enumerate()
        .map(|(at, line)| format!("{line},{}", if at == 0 { "lightning" } else { "1" }))
        .collect();
    fs::write(&path, rows.join("\n")).unwrap();
    let text = printed(folder.path(), &[]);
    let noon = table(&text)[11].join(",");
    assert!(noon.ends_with("lightning,lightning,lightning,lightning"), "{noon}");
}

#[test]
fn the_simple_rules_stand_beside_the_model() {
    let folder = own_case(|_, _| {});
    let text = printed(folder.path(), &["--rules"]);
    let rules = column(&text, "rule_either_or_rain");
    assert_eq!((rules[33], rules[60]), (1.0, 0.0));
    assert_eq!(column(&text, "rule_rh90").len(), 72);
}

#[test]
fn a_bad_file_is_refused_with_its_line() {
    let folder = own_case(|hour, values| {
        if hour == 4 {
            values[0] = 290.0;
        }
    });
    let output = trace(folder.path(), &[]);
    assert_eq!(output.status.code(), Some(2));
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("input.csv, line 6: `t2m` is 290"), "{said}");
    assert!(output.stdout.is_empty());
    fs::remove_file(folder.path().join("block.json")).unwrap();
    assert_eq!(trace(folder.path(), &[]).status.code(), Some(2));
}

#[test]
fn the_picture_shows_when_the_cover_dried_as_the_columns_have_it() {
    // Moister air than usual: dew stays into the morning.
    let folder = own_case(|hour, values| {
        if hour <= 30 {
            values[1] = 8.5;
        }
    });
    let file = folder.path().join("why.svg");
    let said = printed(folder.path(), &["--picture", file.to_str().unwrap()]);
    assert!(said.ends_with("why.svg is written.\n"), "{said}");
    let drawn = fs::read_to_string(&file).unwrap();
    for words in [
        "Cover on block",
        "Underside",
        "dew point",
        "not an engineering check",
        "UTC+1",
    ] {
        assert!(drawn.contains(words), "{words}");
    }
    // A face dries at the first of two hours below 0.02 mm after wet ones; local clocks are an hour ahead of the stamps.
    let text = printed(folder.path(), &[]);
    let first: chrono::NaiveDateTime = "2026-03-10T02:00:00".parse().unwrap();
    let mut marks = 0;
    for face in ["film_mm", "under_mm"] {
        let water = column(&text, face);
        for k in 1..water.len() - 1 {
            let local = first + chrono::TimeDelta::hours(i64::try_from(k).unwrap());
            let by_day = ("05:00"..="21:00").contains(&local.format("%H:%M").to_string().as_str());
            if water[k - 1] >= 0.02 && water[k] < 0.02 && water[k + 1] < 0.02 && by_day {
                assert!(drawn.contains(&local.format("dry %H:%M").to_string()), "{face} {local}");
                marks += 1;
            }
        }
    }
    assert!(marks > 0);
    let png = folder.path().join("why.png");
    printed(folder.path(), &["--picture", png.to_str().unwrap()]);
    let bytes = fs::read(&png).unwrap();
    assert!(
        bytes.starts_with(b"\x89PNG") && bytes.len() < 250_000,
        "{}",
        bytes.len()
    );
}

#[test]
fn a_picture_of_no_known_kind_is_refused_with_the_two_that_are() {
    let folder = own_case(|_, _| {});
    let file = folder.path().join("why.pdf");
    let output = trace(folder.path(), &["--picture", file.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("Let it end in .svg or .png"));
    assert!(!file.exists());
}
