//! `covercast sources`: what covers a farm, on which terms, a block that `check` accepts, and what services answer.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use super::fetching::{Server, answer, ok};
use super::services::own;

/// The good farm of the settings tests, moved to a place.
fn folder(place: Option<(f64, f64, &str)>) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let good = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/config/good");
    for entry in fs::read_dir(good).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(&path, folder.path().join(path.file_name().unwrap())).unwrap();
    }
    if let Some((latitude, longitude, zone)) = place {
        let file = folder.path().join("farm.toml");
        let text = fs::read_to_string(&file).unwrap();
        let lines = text.lines().map(|line| match line.split(" = ").next().unwrap() {
            "latitude" => format!("latitude = {latitude:?}"),
            "longitude" => format!("longitude = {longitude:?}"),
            "zone" | "time_zone" => format!("{} = \"{zone}\"", line.split(" = ").next().unwrap()),
            _ => line.to_owned(),
        });
        fs::write(&file, lines.map(|line| line + "\n").collect::<String>()).unwrap();
    }
    folder
}

fn covercast(folder: &Path, words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_covercast"))
        .args(words)
        .arg("--farm")
        .arg(folder)
        .output()
        .unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

#[test]
fn each_place_has_its_own_services_and_the_proposed_block_is_good() {
    for (place, here, elsewhere) in [
        (
            (45.5, -122.7, "America/Los_Angeles"),
            &[
                "nws-gridpoint",
                "nws-alerts",
                "met-norway-complete",
                "open-meteo-ensemble",
            ][..],
            &["met-norway-nowcast", "mosmix"][..],
        ),
        (
            (47.6, 9.4, "Europe/Berlin"),
            &["mosmix", "met-norway-complete", "meteoalarm-legacy-atom-germany"],
            &["nws-gridpoint", "met-norway-nowcast"],
        ),
        (
            (60.2, 6.2, "Europe/Oslo"),
            &["met-norway-nowcast", "Gusts: yes", "meteoalarm-legacy-atom-norway"],
            &["nws-gridpoint", "mosmix"],
        ),
        (
            (-39.6, 176.7, "Pacific/Auckland"),
            &["met-norway-complete", "not here, estimated from wind", "a paid key"],
            &["nws-gridpoint", "mosmix", "met-norway-nowcast", "meteoalarm"],
        ),
    ] {
        let folder = folder(Some(place));
        let output = covercast(folder.path(), &["sources"]);
        let table = said(&output);
        assert_eq!(output.status.code(), Some(0), "{table}");
        for word in here {
            assert!(table.contains(word), "{place:?}: {word} in {table}");
        }
        for kind in elsewhere {
            assert!(!table.contains(&format!("\"{kind}\"")), "{place:?}: {kind} in {table}");
        }
        assert!(table.lines().all(|line| line.chars().count() <= 110), "{table}");
        assert!(table.contains("Licence: ") && table.contains("Credit line: "));

        let (_, block) = table.split_once("blocks there:\n").unwrap();
        let file = folder.path().join("service.toml");
        let before = fs::read_to_string(&file).unwrap();
        let rest: String = before.split("[[weather]]").next().unwrap().to_owned();
        let mail = before.find("[mail]").unwrap();
        for block in [block.to_owned(), with_a_key(block)] {
            fs::write(&file, format!("{rest}{block}\n{}", &before[mail..])).unwrap();
            let checked = covercast(folder.path(), &["check", "--now", "2026-03-10T12:00:00Z"]);
            assert_eq!(checked.status.code(), Some(0), "{place:?}: {}", said(&checked));
        }
    }
}

/// The block with everything in force that stands as comment, for an owner who has a key and has found a station.
fn with_a_key(block: &str) -> String {
    block
        .lines()
        .map(|line| {
            line.strip_prefix('#')
                .filter(|rest| !rest.starts_with(' '))
                .unwrap_or(line)
        })
        .filter(|line| !line.starts_with("key_file"))
        .map(|line| line.replace("station = \"\"", "station = \"10929\"") + "\n")
        .collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn trying_asks_every_service_once_and_says_what_each_answered() {
    let good = Server::saying(ok(
        &fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/replies/met-norway/complete.json")).unwrap(),
        "",
    ))
    .await;
    let refused = Server::saying(answer("403 No", b"", "")).await;
    let warnings = Server::saying(ok(b"<feed xmlns='http://www.w3.org/2005/Atom'></feed>", "")).await;
    let login = Server::saying(ok(b"<!DOCTYPE html><html>please log in</html>", "")).await;
    assert!(own("met-norway/complete.json").len() > 100);
    let folder = folder(None);
    let file = folder.path().join("service.toml");
    let before = fs::read_to_string(&file).unwrap();
    let block = |name: &str, kind: &str, server: &Server| {
        format!(
            "[[weather]]\nname = \"{name}\"\nkind = \"{kind}\"\nbase_url = \"http://{}\"\nallow_loopback = true\n",
            server.address
        )
    };
    let text = format!(
        "{}{}{}{}{}\n{}",
        before.split("[[weather]]").next().unwrap(),
        block("met", "met-norway-complete", &good),
        block("office", "nws-gridpoint", &refused),
        block("feed", "cap", &warnings),
        block("other feed", "cap", &login),
        &before[before.find("[mail]").unwrap()..]
    );
    fs::write(&file, text).unwrap();
    let output = covercast(folder.path(), &["sources", "--try"]);
    let told = said(&output);
    assert_eq!(output.status.code(), Some(0), "{told}");
    // The recorded forecast is of another day or place: what matters is that it was asked for and judged.
    for (head, answer) in [
        ("met (kind \"met-norway-complete\")\n", "FAILED: "),
        (
            "office (kind \"nws-gridpoint\")\n",
            "FAILED: we are blocked with status 403",
        ),
        ("feed (kind \"cap\")\n", "Answers: 49 bytes of warnings"),
        ("other feed (kind \"cap\")\n", "FAILED: the reply is a web page"),
    ] {
        let (_, below) = told.split_once(&format!("\n{head}")).unwrap();
        assert!(below.trim_start().starts_with(answer), "{head} {told}");
    }
    assert!(told.ends_with("3 of 4 failed.\n"), "{told}");
    for server in [&good, &refused, &warnings, &login] {
        assert_eq!(server.requests().len(), 1);
    }
    // A service that has shut us out is not asked again by hand either.
    covercast(folder.path(), &["sources", "--try"]);
    assert_eq!(refused.requests().len(), 1);
    // What is wrong stands in the status too.
    let status = said(&covercast(folder.path(), &["status"]));
    assert!(status.contains("Not running") || status.contains("Running"), "{status}");
}
