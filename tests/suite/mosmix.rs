//! Station forecasts: what is read from them, and what is refused with which sentence.
//!
//! Names such as X10 are rows of the fault catalogue that the project is tested against.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::fs;
use std::io::{Cursor, Write as _};
use std::path::Path;

use chrono::{DateTime, TimeDelta, Utc};
use covercast::sources::{Context, Refusal, mosmix};
use covercast::units::{Degrees, Metres};
use covercast::weather::{Forecast, IssueBasis, Kind, Offer, Place, Quantity};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use crate::replies::at;

fn place(latitude: f64, longitude: f64, elevation: f64) -> Place {
    Place {
        latitude: Degrees(latitude),
        longitude: Degrees(longitude),
        elevation: Some(Metres(elevation)),
    }
}

fn read(bytes: &[u8], station: Option<&str>, site: Place, now: &str) -> Result<Forecast, Refusal> {
    let offered = BTreeSet::new();
    let context = Context {
        site,
        fetched: at(now),
        previous: None,
        offered: &offered,
        asked: None,
    };
    mosmix::read_station(bytes, station, &context)
}

/// A recorded file, if the recordings lie beside the project.
fn recorded(name: &str) -> Option<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/samples/dwd-mosmix");
    let file = fs::read(folder.join(name)).ok();
    if file.is_none() {
        eprintln!("no recorded replies beside the project: {name} is not read");
    }
    file
}

struct Made {
    issue: &'static str,
    missing: &'static str,
    hours: usize,
    stations: Vec<MadeStation>,
}

/// Name, place, and values by element.
type MadeStation = (&'static str, &'static str, Vec<(&'static str, String)>);

fn made() -> Made {
    Made {
        issue: "2026-03-09T15:00:00.000Z",
        missing: "-",
        hours: 48,
        stations: vec![("X001", "8.60,50.05,111.0", elements(48))],
    }
}

fn elements(hours: usize) -> Vec<(&'static str, String)> {
    let same = |value: &str| vec![value; hours].join("   ");
    vec![
        ("PPPP", same("101325.00")),
        ("TTT", same("283.15")),
        ("Td", same("281.15")),
        ("FF", same("3.00")),
        ("DD", same("270.00")),
        ("N", same("50.00")),
        ("FX1", same("7.20")),
        ("RR1c", same("0.20")),
        ("Rad1h", same("360.00")),
        ("ww", same("3.00")),
    ]
}

impl Made {
    fn kml(&self) -> String {
        let mut text = String::from(
            "<?xml version=\"1.0\" encoding=\"ISO-8859-1\"?>\n<kml:kml xmlns:dwd=\"d\" xmlns:kml=\"k\"><kml:Document>\
             <kml:ExtendedData><dwd:ProductDefinition>",
        );
        let first = at("2026-03-09T16:00:00Z");
        write!(
            text,
            "<dwd:IssueTime>{}</dwd:IssueTime><dwd:ForecastTimeSteps>",
            self.issue
        )
        .unwrap();
        for k in 0..self.hours {
            let stamp = first + TimeDelta::hours(i64::try_from(k).unwrap());
            write!(
                text,
                "<dwd:TimeStep>{}</dwd:TimeStep>",
                stamp.format("%Y-%m-%dT%H:%M:%S.000Z")
            )
            .unwrap();
        }
        let missing = self.missing;
        write!(text, "</dwd:ForecastTimeSteps><dwd:FormatCfg><dwd:DefaultUndefSign>{missing}</dwd:DefaultUndefSign></dwd:FormatCfg></dwd:ProductDefinition></kml:ExtendedData>").unwrap();
        for (id, coordinates, elements) in &self.stations {
            write!(
                text,
                "<kml:Placemark><kml:name>{id}</kml:name><kml:description>LARKRISE</kml:description><kml:ExtendedData>"
            )
            .unwrap();
            for (name, values) in elements {
                write!(
                    text,
                    "<dwd:Forecast dwd:elementName=\"{name}\"><dwd:value>{values}</dwd:value></dwd:Forecast>"
                )
                .unwrap();
            }
            write!(text, "</kml:ExtendedData><kml:Point><kml:coordinates>{coordinates}</kml:coordinates></kml:Point></kml:Placemark>").unwrap();
        }
        text + "</kml:Document></kml:kml>"
    }

    fn set(&mut self, element: &str, values: &str) {
        for (name, there) in &mut self.stations[0].2 {
            if *name == element {
                values.clone_into(there);
            }
        }
    }

    fn read(&self) -> Result<Forecast, Refusal> {
        read(
            self.kml().as_bytes(),
            None,
            place(50.05, 8.60, 111.0),
            "2026-03-09T16:30:00Z",
        )
    }
}

fn packed(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        archive.start_file(*name, SimpleFileOptions::default()).unwrap();
        archive.write_all(bytes).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

fn stamp(forecast: &Forecast, time: &str) -> usize {
    forecast.stamps.row(at(time)).unwrap()
}

#[test]
fn kelvin_kilojoules_and_kilograms_become_degrees_watts_and_millimetres() {
    let forecast = made().read().unwrap();
    let run = &forecast.runs[0];
    let row = stamp(&forecast, "2026-03-09T20:00:00Z");
    let near = |quantity: Quantity, value: f64| {
        let told = run.of(quantity).get(row).unwrap();
        assert!((told - value).abs() < 1e-4, "{quantity:?}: {told}");
    };
    near(Quantity::Temperature, 10.0);
    near(Quantity::DewPoint, 8.0);
    near(Quantity::Wind, 3.0);
    near(Quantity::Gust, 7.2);
    near(Quantity::Rain, 0.2);
    near(Quantity::Cloud, 0.5);
    // 360 kJ/m2 in an hour are 100 W/m2.
    near(Quantity::Shortwave, 100.0);
    assert_eq!((forecast.kind, forecast.rejected), (Kind::Single, 0));
    assert!(
        forecast.credit.line.contains("Deutscher Wetterdienst") && forecast.credit.line.contains("values converted")
    );
}

#[test]
fn rain_stamped_at_one_o_clock_fell_between_noon_and_one() {
    let mut made = made();
    let mut rain = vec!["0.00"; 48];
    rain[21] = "4.00"; // stamped 13:00 on the second day
    made.set("RR1c", &rain.join(" "));
    let forecast = made.read().unwrap();
    let wet = stamp(&forecast, "2026-03-10T12:30:00Z");
    assert_eq!(forecast.stamps.at(wet), at("2026-03-10T13:00:00Z"));
    let rain = &forecast.runs[0].rain;
    assert_eq!(
        (rain.get(wet - 1), rain.get(wet), rain.get(wet + 1)),
        (Some(0.0), Some(4.0), Some(0.0))
    );
}

#[test]
fn a_missing_value_is_a_hole_whatever_sign_the_file_uses_for_it() {
    let mut made = made();
    made.missing = "-999";
    let mut gusts = vec!["7.20"; 48];
    gusts[10] = "-999";
    made.set("FX1", &gusts.join(" "));
    let forecast = made.read().unwrap();
    let hole = stamp(&forecast, "2026-03-10T02:00:00Z");
    assert_eq!(forecast.runs[0].missing(hole), Some(Quantity::Gust));
    assert_eq!((forecast.rejected, forecast.runs[0].gust.known()), (0, 47));
}

#[test]
fn without_sunshine_or_gusts_the_rules_of_the_project_stand_in_and_say_so() {
    let mut made = made();
    let none = vec!["-"; 48].join(" ");
    made.set("Rad1h", &none);
    made.set("FX1", &none);
    let forecast = made.read().unwrap();
    assert_eq!(forecast.offers[&Quantity::Shortwave], Offer::Estimated);
    assert_eq!(forecast.offers[&Quantity::Gust], Offer::Estimated);
    assert_eq!(forecast.runs[0].gust.get(5), Some(6.0));
}

#[test]
fn each_quantity_ends_where_its_own_values_end() {
    let mut made = made();
    let mut wind = vec!["3.00"; 40];
    wind.resize(48, "-");
    made.set("FF", &wind.join(" "));
    let run = &made.read().unwrap().runs[0];
    assert_eq!(run.wind.horizon() + 8, run.temperature.horizon());
}

#[test]
fn codes_of_the_weather_are_looked_up_and_never_averaged() {
    let mut made = made();
    let mut codes = vec!["3.00"; 48];
    // Between fog and thunder there is neither rain (61) nor snow (71).
    (codes[4], codes[6], codes[8]) = ("45.00", "95.00", "73.00");
    codes[12] = "-";
    made.set("ww", &codes.join(" "));
    let forecast = made.read().unwrap();
    let run = &forecast.runs[0];
    let first = stamp(&forecast, "2026-03-09T16:00:00Z");
    let set = |quantity: Quantity| -> Vec<usize> {
        (0..48)
            .filter(|k| run.of(quantity).get(first + k) == Some(1.0))
            .collect()
    };
    assert_eq!(
        (set(Quantity::Fog), set(Quantity::Thunder), set(Quantity::Snow)),
        (vec![4], vec![6], vec![8])
    );
    assert_eq!(run.missing(first + 12), Some(Quantity::Thunder));
}

#[test]
fn a_chance_of_thunder_of_one_in_five_is_thunder() {
    let mut made = made();
    let mut chance = vec!["5.00"; 48];
    (chance[7], chance[9]) = ("20.00", "19.00");
    made.stations[0].2.push(("wwT", chance.join(" ")));
    let forecast = made.read().unwrap();
    let first = stamp(&forecast, "2026-03-09T16:00:00Z");
    let thunder = |k: usize| forecast.runs[0].thunder.get(first + k);
    assert_eq!((thunder(7), thunder(9)), (Some(1.0), Some(0.0)));
}

#[test]
fn the_nearest_station_is_near_in_height_too() {
    let mut made = made();
    made.stations = vec![
        ("PEAK", "8.60,50.06,500.0", elements(48)),
        ("VALE", "8.70,50.10,120.0", elements(48)),
        ("FAR", "9.90,50.05,111.0", elements(48)),
    ];
    let forecast = made.read().unwrap();
    assert!(forecast.credit.line.contains("VALE"), "{}", forecast.credit.line);
    assert_eq!(forecast.far_off(&place(50.05, 8.60, 111.0)), None);
    let named = read(
        made.kml().as_bytes(),
        Some("peak"),
        place(50.05, 8.60, 111.0),
        "2026-03-09T16:30:00Z",
    );
    let named = named.unwrap();
    assert_eq!(
        named.far_off(&place(50.05, 8.60, 111.0)).as_deref(),
        Some("DWD MOSMIX is for a place 389 m higher.")
    );
}

#[test]
fn a_station_thirty_kilometres_off_is_said_and_one_beyond_a_hundred_is_refused() {
    let site = place(50.33, 8.60, 111.0);
    let bytes = made().kml();
    let forecast = read(bytes.as_bytes(), None, site, "2026-03-09T16:30:00Z").unwrap();
    assert_eq!(
        forecast.far_off(&site).as_deref(),
        Some("DWD MOSMIX is for a place 31 km away.")
    );
    let far = read(bytes.as_bytes(), None, place(52.0, 8.60, 111.0), "2026-03-09T16:30:00Z").unwrap_err();
    assert_eq!(
        far.to_string(),
        "the station LARKRISE (X001) lies 217 km away and +0 m against the site, too far to stand for it; name \
         another station"
    );
}

#[test]
fn the_walk_ends_at_the_station_asked_for() {
    let mut made = made();
    made.stations.push(("NEXT", "8.6,50.05,111.0", elements(48)));
    let whole = made.kml();
    let cut = &whole[..whole.find("NEXT").unwrap()];
    let site = place(50.05, 8.60, 111.0);
    assert!(read(cut.as_bytes(), Some("X001"), site, "2026-03-09T16:30:00Z").is_ok());
    // N8: nothing is used of a file that was cut off while its stations were compared.
    let error = read(cut.as_bytes(), None, site, "2026-03-09T16:30:00Z").unwrap_err();
    assert!(matches!(error, Refusal::NotXml { .. }), "{error}");
    let error = read(whole.as_bytes(), Some("Z9"), site, "2026-03-09T16:30:00Z").unwrap_err();
    assert!(
        error.to_string().starts_with("the reply has no station \"Z9\""),
        "{error}"
    );
}

#[test]
fn a_file_without_issue_time_counts_from_its_first_step() {
    let mut made = made();
    made.issue = "";
    let issue = made.read().unwrap().issue;
    assert_eq!(
        (issue.at, issue.basis),
        (at("2026-03-09T16:00:00Z"), IssueBasis::Implied)
    );
    made.issue = "2026-03-09T17:00:00.000Z";
    assert!(matches!(made.read(), Err(Refusal::Future { .. })), "D6");
}

#[test]
fn d4_a_series_with_a_value_too_few_is_refused() {
    let mut made = made();
    made.set("Td", &vec!["281.15"; 47].join(" "));
    assert_eq!(
        made.read().unwrap_err().to_string(),
        "\"Td\" has 47 values for 48 times; fetch the reply again"
    );
}

#[test]
fn x9_a_document_type_is_refused() {
    let bomb = "<?xml version=\"1.0\"?><!DOCTYPE kml [<!ENTITY a \"aaaa\"><!ENTITY b \"&a;&a;\">]><kml>&b;</kml>";
    let error = read(bomb.as_bytes(), None, place(50.0, 8.0, 100.0), "2026-03-09T16:30:00Z").unwrap_err();
    assert_eq!(error, Refusal::Doctype);
}

#[test]
fn x10_archives_that_grow_without_end_are_stopped() {
    let site = place(50.05, 8.60, 111.0);
    let read = |bytes: &[u8]| read(bytes, None, site, "2026-03-09T16:30:00Z");
    let good = made().kml();
    assert!(read(&packed(&[("MOSMIX.kml", good.as_bytes())])).is_ok());
    // Blanks between two elements, a comment full of brackets, and elements without end.
    let blanks = format!("<kml>{}</kml>", " ".repeat(40 << 20));
    let brackets = format!("<kml><!--{}--></kml>", "<".repeat(40 << 20));
    let empties = format!("<kml>{}</kml>", "<a></a>".repeat(3 << 20));
    let deep = "<a>".repeat(100_000);
    for bomb in [&blanks, &brackets, &empties, &deep] {
        let found = read(&packed(&[("MOSMIX.kml", bomb.as_bytes())])).unwrap_err();
        assert!(matches!(found, Refusal::TooBig), "{found}");
    }
    let two = packed(&[("a.kml", good.as_bytes()), ("../../b.kml", good.as_bytes())]);
    assert_eq!(read(&two).unwrap_err(), Refusal::Archive);
    assert_eq!(read(&packed(&[("a.txt", b"x")])).unwrap_err(), Refusal::Archive);
    assert_eq!(read(b"PK\x03\x04 and no more").unwrap_err(), Refusal::Archive);
}

#[test]
fn bytes_changed_anywhere_never_break_the_reader() {
    let good = made().kml();
    let archive = packed(&[("MOSMIX.kml", good.as_bytes())]);
    let mut random = fastrand::Rng::with_seed(20_260_309);
    let site = place(50.05, 8.60, 111.0);
    let mut refused = 0;
    for round in 0..400 {
        let mut bytes = if round % 2 == 0 {
            good.clone().into_bytes()
        } else {
            archive.clone()
        };
        for _ in 0..random.usize(1..8) {
            let place = random.usize(..bytes.len());
            bytes[place] = random.u8(..);
        }
        bytes.truncate(random.usize(1..=bytes.len()));
        refused += usize::from(read(&bytes, None, site, "2026-03-09T16:30:00Z").is_err());
    }
    assert!(refused > 300, "{refused}");
}

/// File, station, site, moment, then: rows known of gust, of sunshine; estimated.
#[test]
fn recorded_files_are_read_with_what_each_station_has() {
    let Some(single) = recorded("MOSMIX_L_N4333_20201106.kml") else {
        return;
    };
    let site = place(50.25, 8.57, 255.0);
    let forecast = read(&single, None, site, "2020-11-06T04:10:00Z").unwrap();
    let run = &forecast.runs[0];
    assert_eq!(
        (forecast.issue.at, forecast.issue.basis),
        (at("2020-11-06T03:00:00Z"), IssueBasis::Said)
    );
    let first: DateTime<Utc> = at("2020-11-06T04:00:00Z");
    let rain: Vec<f64> = (0..7)
        .map(|k| {
            run.rain
                .get(forecast.stamps.row(first + TimeDelta::hours(k)).unwrap())
                .unwrap()
        })
        .map(|rain| (rain * 100.0).round() / 100.0)
        .collect();
    assert_eq!(rain, [0.01, 0.12, 1.23, 2.34, 3.45, 4.56, 5.67]);
    assert_eq!(forecast.offers[&Quantity::Shortwave], Offer::Estimated);
    assert_eq!((run.gust.known(), run.temperature.known()), (247, 247));

    let several = recorded("MOSMIX_L_2023100809_stripped.kmz").unwrap();
    let site = place(50.12, 8.33, 250.0);
    let forecast = read(&several, None, site, "2023-10-08T10:10:00Z").unwrap();
    assert!(forecast.credit.line.contains("L821"), "{}", forecast.credit.line);
    let hidden = read(
        &several,
        Some("L130"),
        place(51.33, 9.08, 265.0),
        "2023-10-08T10:10:00Z",
    )
    .unwrap();
    assert_eq!(hidden.offers[&Quantity::Shortwave], Offer::Estimated);
    assert_eq!(hidden.offers[&Quantity::Gust], Offer::Given);

    let old = recorded("MOSMIX_S_2018032907_240.kml").unwrap();
    let forecast = read(&old, None, place(69.65, 18.95, 20.0), "2018-03-29T08:10:00Z").unwrap();
    assert_eq!(
        (forecast.issue.at, forecast.issue.basis),
        (at("2018-03-29T08:00:00Z"), IssueBasis::Implied)
    );
    let run = &forecast.runs[0];
    assert_eq!(
        (run.gust.known(), run.temperature.known()),
        (20, 240),
        "gusts are holes, not zeros"
    );
}
