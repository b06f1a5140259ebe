//! One station's forecast: read whole, beside unzipping and tokenising it alone.
//!
//! `cargo bench --bench mosmix` prints both in one run; the first is to take at most twice the second.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::io::{BufReader, Cursor, Read, Write as _};

use chrono::{DateTime, TimeDelta, Utc};
use covercast::sources::{Context, mosmix};
use covercast::units::{Degrees, Metres};
use covercast::weather::Place;
use divan::counter::BytesCount;
use divan::{Bencher, black_box};
use quick_xml::Reader;
use quick_xml::events::Event;
use zip::write::SimpleFileOptions;
use zip::{ZipArchive, ZipWriter};

const STEPS: usize = 247;
/// As many as a station of the large product has.
const ELEMENTS: usize = 114;
const READ: [&str; 13] = [
    "TTT", "Td", "FF", "DD", "N", "Neff", "FX1", "RR1c", "Rad1h", "ww", "wwT", "wwM", "wwS",
];

fn main() {
    divan::main();
}

fn issued() -> DateTime<Utc> {
    DateTime::from_timestamp(1_772_982_000, 0).unwrap_or_default()
}

/// A body built like a recorded one: same steps, elements and widths.
fn body() -> String {
    let mut text = String::from(
        "<?xml version=\"1.0\" encoding=\"ISO-8859-1\"?>\n<kml:kml xmlns:dwd=\"d\" xmlns:kml=\"k\">\n <kml:Document>\n  <kml:ExtendedData>\n   <dwd:ProductDefinition>\n",
    );
    let stamp = |at: DateTime<Utc>| at.format("%Y-%m-%dT%H:%M:%S.000Z").to_string();
    let _ = writeln!(
        text,
        "<dwd:IssueTime>{}</dwd:IssueTime>\n<dwd:ForecastTimeSteps>",
        stamp(issued())
    );
    let mut at = issued();
    for _ in 0..STEPS {
        at += TimeDelta::hours(1);
        let _ = writeln!(text, "                    <dwd:TimeStep>{}</dwd:TimeStep>", stamp(at));
    }
    text.push_str("</dwd:ForecastTimeSteps>\n<dwd:FormatCfg><dwd:DefaultUndefSign>-</dwd:DefaultUndefSign></dwd:FormatCfg></dwd:ProductDefinition></kml:ExtendedData>\n<kml:Placemark><kml:name>X001</kml:name><kml:description>LARKRISE</kml:description><kml:ExtendedData>\n");
    let mut random = fastrand::Rng::with_seed(7);
    for number in 0..ELEMENTS {
        let name = READ
            .get(number)
            .map_or_else(|| format!("E{number}"), |name| (*name).to_owned());
        let _ = write!(
            text,
            "                <dwd:Forecast dwd:elementName=\"{name}\">\n                    <dwd:value>"
        );
        let base = if number < 2 {
            283.0 - f64::from(u8::from(number == 1)) * 4.0
        } else {
            1.0
        };
        for _ in 0..STEPS {
            if number >= READ.len() && random.f64() < 0.3 {
                text.push_str("          -");
            } else {
                let _ = write!(text, " {:>10.2}", base + random.f64());
            }
        }
        text.push_str("</dwd:value>\n                </dwd:Forecast>\n");
    }
    text + "</kml:ExtendedData><kml:Point><kml:coordinates>8.60,50.05,111.0</kml:coordinates></kml:Point></kml:Placemark></kml:Document></kml:kml>\n"
}

fn archive() -> Vec<u8> {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    if archive.start_file("MOSMIX.kml", SimpleFileOptions::default()).is_ok() {
        let _ = archive.write_all(body().as_bytes());
    }
    archive.finish().map(Cursor::into_inner).unwrap_or_default()
}

#[divan::bench]
fn read(bencher: Bencher<'_, '_>) {
    let bytes = archive();
    let offered = BTreeSet::new();
    let context = Context {
        site: Place {
            latitude: Degrees(50.05),
            longitude: Degrees(8.6),
            elevation: Some(Metres(111.0)),
        },
        fetched: issued() + TimeDelta::hours(1),
        previous: None,
        offered: &offered,
        asked: None,
    };
    assert!(mosmix::read(&bytes, &context).is_ok(), "the body is read");
    bencher
        .counter(BytesCount::new(body().len()))
        .bench(|| mosmix::read(black_box(&bytes), &context));
}

#[divan::bench]
fn floor_unzip_and_tokenise(bencher: Bencher<'_, '_>) {
    let bytes = archive();
    bencher.counter(BytesCount::new(body().len())).bench(|| {
        let mut zip = ZipArchive::new(Cursor::new(black_box(&bytes))).ok()?;
        let file = zip.by_index(0).ok()?;
        tokens(file)
    });
}

fn tokens(file: impl Read) -> Option<usize> {
    let mut reader = Reader::from_reader(BufReader::with_capacity(32 << 10, file));
    let (mut buffer, mut count) = (Vec::new(), 0);
    loop {
        buffer.clear();
        let event = reader.read_event_into(&mut buffer).ok()?;
        if matches!(event, Event::Eof) {
            return Some(count);
        }
        black_box(&event);
        count += 1;
    }
}
