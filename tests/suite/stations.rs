//! Recorded tables, messages and reports of stations, read as the service file says; and what a letter makes of them.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use chrono::{DateTime, TimeDelta, Utc};
use covercast::daemon::Clock;
use covercast::settings::service_from_text;
use covercast::sources::station::{Batch, Station};
use covercast::weather::gates;
use covercast::weather::reading::{Measured, Readings};
use covercast::weather::{Told, Valid};

use crate::workplace::Workplace;

const SERVICE: &str = "contact = \"farm@example.org\"\n\
    [[weather]]\nname = \"nobody\"\nkind = \"open-meteo-ensemble\"\nbase_url = \"http://127.0.0.1:9\"\nallow_loopback = true\n\
    [mail]\nfrom = \"Larkrise <letters@farm.example>\"\ntransport = \"files\"\n";

fn recorded(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/station")
        .join(name)
}

/// The station of a `[[station]]` block whose files are dropped into `folder`.
pub(crate) fn station(block: &str, folder: &Path) -> Station {
    let text = format!("{SERVICE}[[station]]\nname = \"mast\"\n{block}");
    let found = service_from_text(&text, folder, "2026-03-10T00:00:00Z".parse().unwrap());
    found
        .unwrap_or_else(|mistakes| panic!("{mistakes}"))
        .service
        .stations
        .remove(0)
}

/// One recorded file, dropped and read.
fn dropped(name: &str, block: &str, now: &str) -> Result<Batch, String> {
    let folder = tempfile::tempdir().unwrap();
    fs::copy(recorded(name), folder.path().join(name)).unwrap();
    let end = Path::new(name).extension().unwrap().to_str().unwrap();
    let block = format!("folder = \".\"\nsuffix = \".{end}\"\n{block}");
    station(&block, folder.path()).read_now(now.parse().unwrap())
}

/// The newest value of everything, to one digit.
fn newest(batch: &Batch) -> BTreeMap<&'static str, f64> {
    let readings = Readings::gather(batch.readings.iter().copied());
    let value = |measured: Measured| Some((measured.name(), (readings.newest(measured)?.1 * 10.0).round() / 10.0));
    Measured::ALL.into_iter().filter_map(value).collect()
}

const TABLE: &str = "kind = \"csv\"\nseparator = \";\"\ndecimal = \",\"\nheader_rows = 3\nmissing = [\"---\"]\norder = \"newest-first\"\n\
    time = [\"Datum\", \"Uhrzeit (UTC)\"]\ntime_format = \"%d.%m.%y %H:%M\"\nzone = \"UTC\"\ncolumns = [\n\
    { column = \"Temperatur (2m)\", quantity = \"temperature\", unit = \"°C\" },\n\
    { column = \"Taupunkttemperatur (2m)\", quantity = \"dew-point\", unit = \"°C\" },\n\
    { column = \"relative_humidity\", quantity = \"humidity\", unit = \"%\" },\n\
    { column = \"Windgeschwindigkeit\", quantity = \"wind\", unit = \"km/h\" },\n\
    { column = \"Windboen (letzte Stunde)\", quantity = \"gust\", unit = \"km/h\", minutes = 60 },\n\
    { column = \"Windrichtung\", quantity = \"wind-direction\", unit = \"deg\" },\n\
    { column = \"precipitation_amount_last_hour\", quantity = \"rain\", unit = \"mm\", minutes = 60 },\n]\n";

#[test]
fn a_table_with_three_heads_decimal_commas_and_the_newest_line_first_is_read() {
    let batch = dropped("table-semicolon-newest-first.csv", TABLE, "2020-04-06T08:20:00Z").unwrap();
    assert_eq!((batch.unreadable, batch.first_unreadable.as_deref()), (0, None));
    let readings = Readings::gather(batch.readings.iter().copied());
    assert_eq!(readings.last(), Some("2020-04-06T08:00:00Z".parse().unwrap()));
    assert_eq!(readings.of(Measured::Temperature).len(), 25);
    // 06.04.20 08:00: -3,1 °C, dew point -10, humidity 59 %, wind 14 km/h from 140, gust 21 km/h.
    assert!((readings.newest(Measured::Temperature).unwrap().1 + 3.1).abs() < 1e-9);
    assert!((readings.newest(Measured::DewPoint).unwrap().1 + 10.0).abs() < 1e-9);
    assert!((readings.newest(Measured::Humidity).unwrap().1 - 0.59).abs() < 1e-9);
    assert!((readings.newest(Measured::Wind).unwrap().1 - 14.0 / 3.6).abs() < 1e-9);
    assert!((readings.newest(Measured::Gust).unwrap().1 - 21.0 / 3.6).abs() < 1e-9);
    let gust = readings.of(Measured::Gust).last().unwrap();
    let at = readings.last().unwrap();
    assert_eq!(gust.valid, Valid::before(at, 1));
    assert!((readings.newest(Measured::Rain).unwrap().1 - 0.0).abs() < 1e-9);
    assert!(gates::check(&readings).refused.is_empty());
}

#[test]
fn a_column_that_is_not_in_the_table_is_named() {
    let block = TABLE.replace("Temperatur (2m)", "Luft");
    let fault = dropped("table-semicolon-newest-first.csv", &block, "2020-04-06T08:20:00Z").unwrap_err();
    assert!(fault.contains("the table has no column \"Luft\""), "{fault}");
}

fn console(units: [&str; 3], more: &str) -> String {
    let [degrees, speed, depth] = units;
    format!(
        "kind = \"json\"\ntime = \"/dateutc\"\ntime_format = \"%Y-%m-%d %H:%M:%S\"\nzone = \"UTC\"\ncolumns = [\n\
         {{ pointer = \"/tempf\", quantity = \"temperature\", unit = \"{degrees}\" }},\n\
         {{ pointer = \"/humidity\", quantity = \"humidity\", unit = \"%\" }},\n\
         {{ pointer = \"/windspeedmph\", quantity = \"wind\", unit = \"{speed}\" }},\n\
         {{ pointer = \"/windgustmph\", quantity = \"gust\", unit = \"{speed}\" }},\n\
         {{ pointer = \"/winddir\", quantity = \"wind-direction\", unit = \"deg\" }},\n\
         {{ pointer = \"/yearlyrainin\", quantity = \"rain-counter\", unit = \"{depth}\" }},\n\
         {{ pointer = \"/solarradiation\", quantity = \"shortwave\", unit = \"W/m2\" }},\n{more}]\n"
    )
}

#[test]
fn a_console_is_read_in_the_units_that_are_stated_whatever_its_keys_are_called() {
    let leaf = "{ pointer = \"/leafwetness_ch1\", quantity = \"leaf-wetness\", unit = \"%\" },\n";
    let imperial = dropped(
        "console-imperial.json",
        &console(["°F", "mph", "in"], leaf),
        "2022-05-18T18:20:00Z",
    );
    let imperial = imperial.unwrap();
    assert_eq!(imperial.unreadable, 0);
    let found = newest(&imperial);
    assert_eq!((found["temperature"], found["wind"], found["gust"]), (23.6, 0.6, 1.0));
    assert_eq!((found["leaf-wetness"], found["humidity"]), (0.1, 0.5));
    let metric = dropped(
        "console-metric-under-imperial-keys.json",
        &console(["°C", "km/h", "mm"], ""),
        "2022-05-27T19:10:00Z",
    );
    let metric = metric.unwrap();
    let found = newest(&metric);
    assert_eq!(
        (found["temperature"], found["wind"], found["rain-counter"]),
        (-4.4, 9.0, 112.8)
    );
    // Its gust of 1.8 stands below its wind of 32.4: raised to it and counted.
    let checked = gates::check(&Readings::gather(metric.readings));
    assert_eq!(checked.raised, 1);
    assert!((checked.readings.newest(Measured::Gust).unwrap().1 - 9.0).abs() < 1e-9);
    let unknown = dropped(
        "console-unknown-model.json",
        &console(["°F", "mph", "in"], ""),
        "2022-05-27T19:10:00Z",
    );
    assert!((newest(&unknown.unwrap())["temperature"] - 31.7).abs() < 1e-9);
}

#[test]
fn what_is_not_json_is_refused_with_its_place() {
    let fault = dropped(
        "console-not-json.json",
        &console(["°F", "mph", "in"], ""),
        "2026-03-10T00:00:00Z",
    );
    let fault = fault.unwrap_err();
    assert!(fault.contains("the message is not JSON (line 3, column"), "{fault}");
}

/// A report of the radio sensor is shown in the wider collection only.
#[test]
fn local_time_without_zone_is_read_in_the_zone_that_is_named() {
    let shared = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/samples/station/mqtt-radio-sensor-whx080.json");
    let Ok(bytes) = fs::read(shared) else {
        println!("the wider collection of recorded readings is not here; nothing was read");
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("a.json"), bytes).unwrap();
    let block = "kind = \"json\"\nfolder = \".\"\ntime = \"/time\"\ntime_format = \"%Y-%m-%d %H:%M:%S\"\nzone = \"Europe/Rome\"\n\
        columns = [{ pointer = \"/temperature_C\", quantity = \"temperature\", unit = \"°C\" },\
        { pointer = \"/rain_mm\", quantity = \"rain-counter\", unit = \"mm\" },\
        { pointer = \"/wind_max_km_h\", quantity = \"gust\", unit = \"km/h\" }]\n";
    let batch = station(block, folder.path())
        .read_now("2021-12-23T17:46:00Z".parse().unwrap())
        .unwrap();
    let readings = Readings::gather(batch.readings);
    assert_eq!(readings.last(), Some("2021-12-23T17:45:20Z".parse().unwrap()));
    assert!((readings.newest(Measured::Gust).unwrap().1 - 1.7).abs() < 1e-9);
}

const BULLETINS: [(&str, &str); 5] = [
    ("metar-collective.txt", "2026-03-08T14:10:00Z"),
    ("metar-collective2.txt", "2026-02-01T00:10:00Z"),
    ("metar-kawn.txt", "2026-03-02T01:10:00Z"),
    ("metar-kmwn.txt", "2026-03-20T04:00:00Z"),
    ("metar-rtd_bbb.txt", "2026-03-09T09:20:00Z"),
];

fn reports(bulletin: &str, code: &str, now: &str) -> Batch {
    dropped(bulletin, &format!("kind = \"metar\"\ncode = \"{code}\"\n"), now).unwrap()
}

#[test]
fn awkward_reports_are_read_for_what_they_tell() {
    let [
        (first, at),
        _,
        (french, at_french),
        (mountain, at_mountain),
        (cut, at_cut),
    ] = BULLETINS;
    let miami = newest(&reports(first, "KMIA", at));
    // 16032G45KT 23/19 +TSRA, PK WND 15045/0202, P0046.
    assert_eq!((miami["wind"], miami["gust"], miami["thunder"]), (16.5, 23.2, 1.0));
    assert_eq!((miami["rain"], miami["temperature"]), (11.7, 23.0));
    // Three different reports of one station and minute: the last one counts, and none is doubled.
    let ames = Readings::gather(reports(first, "KALO", at).readings);
    assert_eq!(ames.of(Measured::Temperature).len(), 1);
    assert!((ames.newest(Measured::Temperature).unwrap().1 - 18.9).abs() < 1e-9);
    let empty = reports(first, "QQQQ", at);
    assert!(
        empty.readings.is_empty(),
        "a report without groups tells nothing: {empty:?}"
    );
    let quiet = newest(&reports(french, "LFBA", at_french));
    assert_eq!(
        (quiet["temperature"], quiet.get("gust"), quiet.get("rain")),
        (17.0, None, None)
    );
    let summit = newest(&reports(mountain, "KMWN", at_mountain));
    assert_eq!(
        (summit["gust"], summit["fog"], summit["temperature"]),
        (33.4, 1.0, -15.0)
    );
    let short = newest(&reports(cut, "MUCL", at_cut));
    assert_eq!((short["temperature"], short["dew-point"]), (29.0, 23.0));
}

/// The crate `metar` reads the same wind and whole degrees wherever it can read a report at all.
#[test]
fn every_recorded_report_agrees_with_the_library_for_metar() {
    let (mut compared, mut stations) = (0, 0);
    for (bulletin, now) in BULLETINS {
        let text = String::from_utf8_lossy(&fs::read(recorded(bulletin)).unwrap())
            .chars()
            .map(|sign| if sign.is_control() { ' ' } else { sign })
            .collect::<String>();
        for report in text.split('=') {
            let groups: Vec<&str> = report.split_whitespace().collect();
            let is_time = |group: &&str| group.len() == 7 && group.ends_with('Z');
            let Some(start) = groups.iter().position(is_time) else {
                continue;
            };
            let Some(code) = start.checked_sub(1).map(|before| groups[before]) else {
                continue;
            };
            if !code.starts_with(|sign: char| sign.is_ascii_uppercase()) {
                continue;
            }
            stations += 1;
            let plain: Vec<&str> = groups[start - 1..]
                .iter()
                .copied()
                .take_while(|group| *group != "RMK")
                .collect();
            let Ok(theirs) = metar::Metar::parse(&plain.join(" ")) else {
                continue;
            };
            // Alone, so that no other report of that minute stands in its place.
            let folder = tempfile::tempdir().unwrap();
            fs::write(folder.path().join("one.txt"), format!("{}=\n", plain.join(" "))).unwrap();
            let block = format!("kind = \"metar\"\nfolder = \".\"\ncode = \"{code}\"\n");
            let batch = station(&block, folder.path()).read_now(now.parse().unwrap()).unwrap();
            let ours = Readings::gather(batch.readings);
            let value = |measured| ours.newest(measured).map(|(_, value)| value);
            if let metar::Data::Known(degrees) = theirs.temperature {
                assert_eq!(value(Measured::Temperature), Some(f64::from(degrees)), "{report}");
            }
            if let metar::Data::Known(degrees) = theirs.dewpoint {
                assert_eq!(value(Measured::DewPoint), Some(f64::from(degrees)), "{report}");
            }
            if let metar::Wind::Present {
                speed: metar::WindSpeed::Knots { speed, gusting },
                ..
            } = theirs.wind
            {
                let knots = |value: Option<f64>| value.map(|m_s| (m_s * 3600.0 / 1852.0).round());
                let told = |data| match data {
                    metar::Data::Known(knots) => Some(f64::from(knots)),
                    metar::Data::Unknown => None,
                };
                assert_eq!(knots(value(Measured::Wind)), told(speed), "{report}");
                assert_eq!(knots(value(Measured::Gust)), gusting.and_then(told), "{report}");
                compared += 1;
            }
        }
    }
    println!("{compared} of {stations} reports compared");
    assert!(compared >= 30, "{compared} of {stations}");
}

/// Readings every ten minutes of five days before the demo's morning: dry, mild, a light wind.
fn five_days(until: DateTime<Utc>, rain_hours_ago: i64) -> String {
    let mut text = "time,air,humidity,wind,gust,direction,rain\n".to_owned();
    let mut counter = 100.0;
    for step in (0..=720).rev() {
        let at = until - TimeDelta::minutes(10 * step);
        if (0..6).contains(&(step - 6 * rain_hours_ago)) {
            counter += 0.6;
        }
        let wobble = f64::from(u32::try_from(step % 7).unwrap()) / 10.0;
        text += &format!(
            "{},{:.1},{:.0},{:.1},{:.1},{},{counter:.1}\n",
            at.to_rfc3339(),
            15.0 + wobble,
            60.0 + 10.0 * wobble,
            2.0 + wobble,
            5.0 + wobble,
            200 + step % 30
        );
    }
    text
}

const MAST: &str = "\n[[station]]\nname = \"mast\"\nkind = \"csv\"\nfolder = \"readings\"\ntime = \"time\"\ntime_format = \"rfc3339\"\n\
    wind_height = 10\nterrain = \"open\"\ncolumns = [\n\
    { column = \"air\", quantity = \"temperature\", unit = \"°C\" },\n\
    { column = \"humidity\", quantity = \"humidity\", unit = \"%\" },\n\
    { column = \"wind\", quantity = \"wind\", unit = \"m/s\" },\n\
    { column = \"gust\", quantity = \"gust\", unit = \"m/s\" },\n\
    { column = \"direction\", quantity = \"wind-direction\", unit = \"deg\" },\n\
    { column = \"rain\", quantity = \"rain-counter\", unit = \"mm\" },\n]\n";

const MORNING: &str = "2026-03-09T16:30:00Z";

fn letter(place: &Workplace) -> String {
    let forecast = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/forecast-ensemble.json");
    let (code, out, err) = place.command(&["advise", "--forecast", forecast.to_str().unwrap(), "--now", MORNING]);
    assert_eq!(code, 0, "{err}");
    out
}

fn with_readings(text: &str) -> Workplace {
    let place = Workplace::demo(9, "transport = \"files\"");
    fs::create_dir(place.path("readings")).unwrap();
    fs::write(place.path("readings/now.csv"), text).unwrap();
    let service = fs::read_to_string(place.path("service.toml")).unwrap();
    fs::write(place.path("service.toml"), service + MAST).unwrap();
    place
}

#[test]
fn a_letter_says_when_the_own_station_was_last_read_and_what_it_told_of_the_past() {
    let until: DateTime<Utc> = "2026-03-09T16:20:00Z".parse().unwrap();
    let said = letter(&with_readings(&five_days(until, 90)));
    let head: Vec<&str> = said.lines().take(4).collect();
    // 16:20 UTC is 05:20 in the demo's zone.
    assert!(head[2].contains("own station 05:20"), "{head:?}");
    let flat = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("ast hours from your station: 120 of 120."), "{said}");
    let late = letter(&with_readings(&five_days(until - TimeDelta::minutes(40), 90)));
    assert!(late.contains("own station 04:40, 50 min old"), "{late}");
    let silent = letter(&with_readings(&five_days(until - TimeDelta::hours(5), 90)));
    assert!(silent.contains("own station silent for 5 h"), "{silent}");
    let none = letter(&Workplace::demo(9, "transport = \"files\""));
    assert!(none.contains("no station"), "{none}");
}

#[test]
fn rain_at_the_own_station_counts_although_no_forecast_told_it() {
    let until: DateTime<Utc> = "2026-03-09T16:20:00Z".parse().unwrap();
    let dry = letter(&with_readings(&five_days(until, 90)));
    let wet = letter(&with_readings(&five_days(until, 2)));
    let lift = |text: &str| {
        let lines: Vec<&str> = text
            .lines()
            .skip_while(|line| !line.starts_with("TODAY"))
            .take(8)
            .collect();
        lines.join(" ")
    };
    assert!(dry.contains("GO: lift Gate this afternoon"), "{dry}");
    assert!(!wet.contains("GO: lift"), "{wet}");
    assert_ne!(lift(&dry), lift(&wet), "{wet}");
}

#[test]
fn check_says_how_a_station_comes_and_what_becomes_of_its_wind() {
    let place = with_readings("");
    let (code, out, err) = place.command(&["check"]);
    assert_eq!(code, 0, "{err}");
    let flat = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("Station mast: tables in"), "{out}");
    assert!(
        flat.contains("its wind times 1.00 is taken as the wind at 10 m in the open"),
        "{out}"
    );
}

#[test]
fn a_daemon_keeps_what_is_dropped_and_status_says_when_it_was_heard() {
    let now = Clock::Wall.now();
    let place = Workplace::new("Etc/UTC", "23:59", &["m@farm.example"]);
    fs::create_dir(place.path("readings")).unwrap();
    let row = |minutes: i64, air: &str| {
        let at = now - TimeDelta::minutes(minutes);
        format!("{},{air},70,2.0,4.0,200,10.0\n", at.to_rfc3339())
    };
    let head = "time,air,humidity,wind,gust,direction,rain\n";
    fs::write(
        place.path("readings/a.csv"),
        head.to_owned() + &row(30, "12.5") + &row(10, "91"),
    )
    .unwrap();
    let service = fs::read_to_string(place.path("service.toml")).unwrap();
    fs::write(place.path("service.toml"), service + MAST).unwrap();
    let mut program = place.run(&[("COVERCAST_LOG", "debug")]);
    program.wait_for("station heard");
    let found = place.store().readings("mast", now - TimeDelta::days(1)).unwrap();
    let air: Vec<Option<f64>> = found
        .iter()
        .filter(|reading| reading.measured == Measured::Temperature)
        .map(|reading| reading.told)
        .map(|told: Told| told.value)
        .collect();
    assert_eq!(air, [Some(12.5), Some(91.0)]);
    let (_, out, _) = place.command(&["status"]);
    assert!(out.contains("Station      mast: "), "{out}");
    assert!(
        out.contains("min old; not believed in 7 days: 1 of temperature"),
        "{out}"
    );
    program.stop();
}

#[test]
fn a_days_forecast_takes_little_room_in_the_archive() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    let farm = covercast::settings::load_farm(&root.join("farm")).ok().unwrap().farm;
    let reply = fs::read(root.join("forecast-ensemble.json")).unwrap();
    let forecast = covercast::sources::read_reply(&reply, &farm.site, MORNING.parse().unwrap(), None).unwrap();
    let packed = covercast::store::Packed::of("ensemble", &forecast).unwrap();
    let (stamps, runs) = packed.unpack().unwrap();
    let per_51 = packed.body.len() * 51 / runs.len() / 1024;
    println!(
        "{} runs of {} hours: {} bytes; 51 runs would take {per_51} kB",
        runs.len(),
        stamps.count,
        packed.body.len()
    );
    assert_eq!(runs.len(), forecast.runs.len());
    assert!(per_51 < 90, "{per_51} kB");
}
