//! The season before any forecast, and the climate table made of observed hours.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use covercast::advice::week_strip;
use covercast::farm::Farm;
use covercast::farm::block::BlockId;
use covercast::farm::climate::WEEKS;
use covercast::plan::of_farm::usual::{Usual, UsualHalf};
use covercast::plan::prospect::{Binds, LeftOut, prospect};
use covercast::settings::load_farm;
use covercast::units::Metres;

use crate::charts::boxes;
use crate::takeoff::fits;

const NOW: &str = "2026-02-02T00:00:00Z";

fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/farm")
}

fn larkrise() -> Farm {
    load_farm(&demo()).unwrap().farm
}

fn folder() -> tempfile::TempDir {
    let folder = tempfile::Builder::new().prefix("farm-").tempdir().unwrap();
    for name in ["farm.toml", "harvest.csv"] {
        fs::copy(demo().join(name), folder.path().join(name)).unwrap();
    }
    folder
}

fn run(farm: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_covercast"));
    command.arg("outlook").arg("--farm").arg(farm).args(arguments);
    command.output().unwrap()
}

fn printed(farm: &Path, arguments: &[&str]) -> String {
    let output = run(farm, arguments);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

fn day(text: &str) -> chrono::NaiveDate {
    text.parse().unwrap()
}

fn always(share: f64) -> Usual {
    let half = UsualHalf {
        lay: share,
        lift: share,
        beaten: 0.0,
    };
    Usual::of_weeks(vec![[half; 2]; WEEKS]).unwrap()
}

#[test]
fn each_week_has_its_half_days_and_the_work_that_is_due_in_it() {
    let farm = larkrise();
    let seen = prospect(&farm, &Usual::default(), day("2026-02-02"));
    assert!(seen.coarse);
    // Six working days of two halves; mornings 0.75 and afternoons 0.65 for laying.
    let week = &seen.weeks[0];
    assert_eq!((week.monday, week.half_days), (day("2026-02-02"), 12));
    assert!((week.lay_usable - 6.0 * (0.75 + 0.65)).abs() < 1e-9);
    // Creek: first pick 16 March, 2 days either way: 28 days before the 14th is the 14th of February.
    let creek = BlockId("Creek".to_owned());
    let of = |monday: &str| seen.weeks.iter().find(|week| week.monday == day(monday)).unwrap();
    assert!(of("2026-02-09").lay.blocks.contains(&creek));
    assert!(of("2026-03-09").lift.blocks.contains(&creek));
    let laid: f64 = seen.weeks.iter().map(|week| week.lay.metres.0).sum();
    let all: f64 = farm.blocks.iter().map(|block| block.cover().0).sum();
    assert!((laid - all).abs() < 1e-6, "{laid} {all}");
    assert!(seen.late.is_empty(), "{:?}", seen.late);
}

#[test]
fn in_weather_that_is_never_fit_every_job_is_late_and_in_good_weather_none_is() {
    let farm = larkrise();
    let never = prospect(&farm, &always(0.0), day("2026-02-02"));
    assert_eq!(never.late.len(), 2 * farm.blocks.len());
    assert!(prospect(&farm, &always(1.0), day("2026-02-02")).late.is_empty());
}

#[test]
fn a_slow_machine_binds_where_many_hands_wait_and_the_crew_where_few_tie() {
    let mut farm = larkrise();
    farm.blocks.retain(|block| block.id.0 == "Creek");
    farm.blocks[0].rows = vec![Metres(1000.0); 60];
    farm.crew.people = 40;
    let seen = prospect(&farm, &always(0.5), day("2026-02-02"));
    assert!(
        !seen.late.is_empty() && seen.late.iter().all(|late| late.binds == Binds::Machine),
        "{:?}",
        seen.late
    );
    farm.crew.people = 2;
    let seen = prospect(&farm, &always(0.5), day("2026-02-02"));
    assert!(
        !seen.late.is_empty() && seen.late.iter().all(|late| late.binds == Binds::Crew),
        "{:?}",
        seen.late
    );
}

#[test]
fn a_set_with_too_few_metres_is_named_with_its_days() {
    let mut farm = larkrise();
    for set in &mut farm.sets {
        set.length = Metres(100_000.0);
    }
    assert!(prospect(&farm, &always(0.5), day("2026-02-02")).short.is_empty());
    farm.sets[0].length = Metres(2000.0);
    let seen = prospect(&farm, &always(0.5), day("2026-02-02"));
    // Gate and Creek, 752 m and 1272.5 m, lie out together.
    assert_eq!(seen.short.len(), 1);
    assert!((seen.short[0].missing.0 - 24.5).abs() < 0.1, "{:?}", seen.short);
    farm.picks.retain(|pick| pick.block.0 != "Gate");
    let seen = prospect(&farm, &always(0.5), day("2026-02-02"));
    assert!(seen.short.is_empty());
    assert_eq!(seen.left_out, [(BlockId("Gate".to_owned()), LeftOut::NoPick)]);
}

#[test]
fn the_outlook_says_that_coarse_numbers_are_coarse_and_what_would_pay() {
    let said = printed(&demo(), &["--now", NOW]);
    for words in [
        "Usual weather: coarse numbers for anywhere.",
        "Mon 9 Feb",
        "Creek, Gate: 2024 m",
        "Where it binds",
        "One person more than 5 people:",
        "Usual is not a forecast",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert!(said.lines().all(|line| line.chars().count() <= 130), "{said}");
    let over = printed(&demo(), &["--now", "2026-11-01T00:00:00Z"]);
    assert!(over.contains("No picking to come is known"), "{over}");
}

#[test]
fn the_json_of_the_outlook_has_exactly_the_keys_of_its_schema() {
    let schema = serde_json::from_str(include_str!("../../src/cli/outlook/outlook.schema.json")).unwrap();
    let value = serde_json::from_str(&printed(&demo(), &["--json", "--now", NOW])).unwrap();
    let faults = fits(&value, &schema, &schema, "");
    assert!(faults.is_empty(), "{faults:?}");
}

#[test]
fn the_strip_of_weeks_has_no_label_over_another() {
    let mut farm = larkrise();
    for usual in [Usual::default(), always(0.02), always(1.0)] {
        let seen = prospect(&farm, &usual, day("2026-02-02"));
        assert!(boxes(&week_strip::svg(&farm, &seen), "strip").len() > 20);
        assert!(week_strip::png(&farm, &seen).unwrap().starts_with(b"\x89PNG"));
    }
    farm.picks.clear();
    let none = prospect(&farm, &Usual::default(), day("2026-02-02"));
    assert!(week_strip::svg(&farm, &none).ends_with("</svg>\n"));
}

/// Hours of our own: dry and calm from noon to evening, rain every night; the second half of the year blows.
fn observations(change: impl Fn(usize, &mut [String; 9])) -> String {
    let mut text = "time_utc,temp_c,dewpoint_c,wind_ms,gust_ms,wind_dir_deg,rain_mm,ghi_wm2,cloud\n".to_owned();
    let first: chrono::NaiveDateTime = "2024-01-01T00:00:00".parse().unwrap();
    for hour in 0..24 * 365_usize {
        let at = first + chrono::TimeDelta::hours(i64::try_from(hour).unwrap());
        // New Zealand's noon is about 00:00 UTC.
        let local = (hour + 12) % 24;
        let day = (6..18).contains(&local);
        let windy = hour > 24 * 180;
        let mut cells = [
            at.format("%Y-%m-%dT%H:%M").to_string(),
            if day { "20" } else { "10" }.to_owned(),
            if day { "5" } else { "4" }.to_owned(),
            if windy { "12" } else { "1" }.to_owned(),
            if windy { "20" } else { "2" }.to_owned(),
            "240".to_owned(),
            if local < 3 { "1" } else { "0" }.to_owned(),
            if day { "500" } else { "0" }.to_owned(),
            "0.2".to_owned(),
        ];
        change(hour, &mut cells);
        text += &cells.join(",");
        text.push('\n');
    }
    text
}

fn table_of(text: &str) -> (tempfile::TempDir, Output) {
    let folder = folder();
    let file = folder.path().join("hours.csv");
    fs::write(&file, text).unwrap();
    let output = run(folder.path(), &["--from", file.to_str().unwrap()]);
    (folder, output)
}

#[test]
fn observed_hours_become_a_table_that_knows_calm_months_from_windy_ones() {
    let (folder, output) = table_of(&observations(|_, _| {}));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let loaded = load_farm(folder.path()).unwrap();
    let climate = loaded.farm.climate.unwrap();
    assert_eq!((climate.known(), climate.years()), (2 * WEEKS, 1));
    let [_, calm] = climate.weeks[9];
    let [_, windy] = climate.weeks[39];
    let (calm, windy) = (calm.unwrap(), windy.unwrap());
    assert!(calm.lay > 0.95 && calm.lift > 0.95, "{calm:?}");
    assert!(windy.lay < 0.05 && windy.lift < 0.05, "{windy:?}");
    assert!(windy.beaten >= calm.beaten && calm.light > 1.0);
    let said = printed(folder.path(), &["--now", NOW]);
    assert!(said.contains("Usual weather: climate.csv, 1 year."), "{said}");
    let check = Command::new(env!("CARGO_BIN_EXE_covercast"))
        .args(["check", "--farm"])
        .arg(folder.path())
        .output()
        .unwrap();
    let check = String::from_utf8(check.stdout).unwrap();
    assert!(
        check.contains("Climate: 104 of 104 half-days of the year told in climate.csv"),
        "{check}"
    );
}

#[test]
fn an_hour_that_is_not_known_makes_its_half_day_unknown_and_never_fine() {
    let (folder, output) = table_of(&observations(|hour, cells| {
        // No rain gauge in the first 180 days.
        if hour < 24 * 180 {
            cells[6] = String::new();
        }
    }));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(String::from_utf8_lossy(&output.stdout).contains("half-days had an hour without a value"));
    let climate = load_farm(folder.path()).unwrap().farm.climate.unwrap();
    assert_eq!(climate.weeks[9], [None, None]);
    assert!(climate.known() < 2 * WEEKS);
}

#[test]
fn observations_that_cannot_be_right_are_refused_with_line_and_cure() {
    let refused = |text: &str| {
        let (folder, output) = table_of(text);
        assert_eq!(output.status.code(), Some(2));
        assert!(!folder.path().join("climate.csv").exists());
        String::from_utf8(output.stderr).unwrap()
    };
    let good = observations(|_, _| {});
    let short: String = good.lines().take(200).map(|line| format!("{line}\n")).collect();
    let said = refused(&short.replace("time_utc", "time"));
    assert!(
        said.contains("line 2: `2024-01-01T00:00` has no zone. Write 2026-03-10T06:00Z"),
        "{said}"
    );
    let said = refused(&short.replace("rain_mm", "wetness"));
    assert!(
        said.contains("no column tells rain, without which no hour can be judged. Name it rain_mm."),
        "{said}"
    );
    let said = refused(&short.replace("gust_ms", "wind_kmh"));
    assert!(
        said.contains("`wind_ms` and `wind_kmh` tell the same. Cut one of them."),
        "{said}"
    );
    let said = refused(&observations(|_, cells| cells[1] = "290".to_owned()));
    assert!(
        said.contains("line 2: `temp_c` is 290, and 8760 of 8760 values of it lie outside of -90 to 60. Another unit?"),
        "{said}"
    );
    let said = refused("time_utc,temp_c,dewpoint_c,wind_ms,wind_dir_deg,rain_mm\n");
    assert!(said.contains("there are no hours below the head line"), "{said}");
}

#[test]
fn a_broken_climate_table_is_refused_with_its_place() {
    let folder = folder();
    let head = "# made by hand\nweek,half,slots,years,lay,lift,beaten,light\n";
    for (line, words) in [
        ("60,morning,7,1,0.5,0.5,0,3", "week is out of range"),
        ("1,noon,7,1,0.5,0.5,0,3", "half is no half of a day"),
        ("1,morning,7,1,50,0.5,0,3", "lay is out of range"),
        ("1,morning,7,1,0.5,,0,3", "lift is blank"),
        ("1,morning,7,1,0.5,x,0,3", "lift is not a number"),
        ("", "tells nothing of any week"),
        (
            "1,morning,7,1,0.5,0.5,0,3\n1,morning,7,1,0.5,0.5,0,3",
            "one half of one week stands twice",
        ),
    ] {
        fs::write(folder.path().join("climate.csv"), format!("{head}{line}\n")).unwrap();
        let mistakes = load_farm(folder.path()).unwrap_err();
        let said = mistakes.draw(covercast::settings::Colour::Plain);
        assert!(said.contains(words) && said.contains("climate.csv"), "{words}: {said}");
    }
}

/// Observed hours of stations, where they are beside the project.
#[test]
fn hours_of_real_stations_become_tables() {
    let observed = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/observed/replay");
    if !observed.is_dir() {
        println!("skipped: {} is not there", observed.display());
        return;
    }
    for (name, known) in [("airport_jfk_2013_hourly.csv", 100), ("falkensee_2010_20min.csv", 100)] {
        let folder = folder();
        printed(folder.path(), &["--from", observed.join(name).to_str().unwrap()]);
        let climate = load_farm(folder.path()).unwrap().farm.climate.unwrap();
        assert!(climate.known() >= known, "{name}: {}", climate.known());
        let halves: Vec<_> = climate.weeks.iter().flatten().flatten().collect();
        // No place is always fit, or never.
        let mean = halves.iter().map(|half| half.lay).sum::<f64>() / halves.len() as f64;
        assert!(mean > 0.05 && mean < 0.99, "{name}: {mean}");
    }
}
