//! Every recorded reply is read, or refused with a reason.
//!
//! The recordings lie in a folder beside the project; the few that may be copied lie in `tests/data` too. A
//! recording that this table does not name fails the test.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use covercast::sources::open_meteo::Context;
use covercast::sources::{Refusal, cap, met_norway, mosmix, nws, open_meteo};
use covercast::weather::reading::Measured;
use covercast::weather::{Forecast, Offer, Series};

use crate::services::with_context;

/// Reads a recording and says in a few words what came of it.
type Reader = fn(&[u8], &Context<'_>) -> Result<String, Refusal>;

/// What comes of a recording.
enum Outcome {
    /// Read, as these words say.
    Read(&'static str),
    /// Refused with a sentence that holds these words.
    Refused(&'static str),
}
use Outcome::{Read, Refused};

/// File, place of the site (latitude, longitude, height), moment of reading, reader, outcome.
type Row = (&'static str, (f64, f64, f64), &'static str, Reader, Outcome);

/// Files beside the recordings that are no replies.
const NO_REPLIES: [&str; 4] = [
    "SOURCES.md",
    ".headers.json",
    "METJSONForecast.schema.json",
    "MetElementDefinition.xml",
];

/// Folders of recordings that are read elsewhere or not at all, and why.
const NOT_HERE: [(&str, &str); 3] = [
    ("metar/", "readings of airports"),
    ("station/", "readings of the farm's own station"),
    ("grib2/", "grids of whole countries are not read"),
];

const NEW_YORK: (f64, f64, f64) = (40.63, -74.42, 93.0);
const ZURICH: (f64, f64, f64) = (47.36, 8.54, 422.0);
const ENSCHEDE: (f64, f64, f64) = (52.28, 6.87, 29.0);
const APALACHICOLA: (f64, f64, f64) = (30.0, -84.98, 4.0);
const FLORIDA: (f64, f64, f64) = (26.07, -80.15, 3.0);

#[rustfmt::skip]
const TABLE: [Row; 66] = [
    // Open-Meteo. D1: the wind direction is not told, and each hour counts with the worst.
    ("open-meteo/forecast-hourly-168h-melbourne-20251025.json", (-37.75, 144.87, 19.0), "2025-10-25T11:30:00Z", single,
        Read("1 run, 168 h from 10-25 00, rain 27.4 mm in 168 h, gust 15.7 m/s in 168 h, estimated dew point+wind direction+sunshine, refused thunder+fog, coarse -")),
    ("open-meteo/forecast-14d-hourly-daily-newyork-20251228.json", NEW_YORK, "2025-12-28T23:00:00Z", single,
        Read("1 run, 336 h from 12-28 00, rain 26.7 mm in 336 h, gust 20.8 m/s in 336 h, estimated dew point+wind direction+sunshine, refused -, coarse -")),
    // D4: local times with one offset for the whole answer.
    ("open-meteo/forecast-imperial-pastday-dst-toronto-20260305.json", (43.70, -79.40, 165.0), "2026-03-06T02:00:00Z", single,
        Refused("one fixed offset of -18000 s, which is wrong across a clock change")),
    ("open-meteo/historical-forecast-20240101.json", ENSCHEDE, "2026-10-03T11:00:00Z", past,
        Refused("one fixed offset of 7200 s")),
    ("open-meteo/multi-model-suffix-zurich-20261003.json", ZURICH, "2026-10-03T11:00:00Z", single,
        Refused("one fixed offset of 7200 s")),
    ("open-meteo/minutely15-enschede-20261003.json", ENSCHEDE, "2026-10-03T10:30:00Z", single,
        Refused("one fixed offset of 7200 s")),
    // Members, but of temperature only.
    ("open-meteo/ensemble-21-members-20261003.json", (52.5, 7.0, 29.0), "2026-10-03T11:00:00Z", single,
        Refused("no values of wind_speed_10m, precipitation, cloud_cover, dew_point_2m, without which")),
    ("open-meteo/daily-localtime-newyork-20251229.json", NEW_YORK, "2025-12-29T12:00:00Z", single,
        Refused("no hourly values, only daily values")),
    ("open-meteo/minutely15-weathercode-dwdicon-20231113.json", (52.52, 13.42, 38.0), "2023-11-13T10:45:00Z", single,
        Refused("no values of temperature_2m, wind_speed_10m, precipitation, cloud_cover, dew_point_2m, without which")),
    // N7: no forecast at all.
    ("open-meteo/multi-location-array-ecmwf-20240126.json", (51.6, 0.0, 23.0), "2024-01-26T00:00:00Z", single,
        Refused("a list of places; ask for one place only")),
    ("open-meteo/not-covered-nan-body.txt", ENSCHEDE, "2026-10-03T11:00:00Z", single,
        Refused("the model does not cover this place")),
    ("open-meteo/error-400-count-mismatch.json", ENSCHEDE, "2026-10-03T11:00:00Z", single,
        Refused("\"Parameter 'latitude' and 'longitude' must have the same number of elements\"")),
    ("open-meteo/error-429-minutely.json", ENSCHEDE, "2026-10-03T11:00:00Z", single,
        Refused("\"Minutely API request limit exceeded. Please try again in one minute.\"")),

    // MET Norway.
    ("met-norway/complete-london-altitude25.json", (51.5, -0.1, 25.0), "2020-07-20T11:21:00Z", met,
        Read("1 run, 212 h from 07-20 11, rain 2.5 mm in 211 h, gust 10.4 m/s in 212 h, estimated gusts+sunshine, refused -, coarse 07-22 19")),
    ("met-norway/compact-beijing-no-altitude.json", (39.9, 116.4, 50.0), "2020-07-20T11:45:00Z", met,
        Read("1 run, 212 h from 07-20 11, rain 0.4 mm in 211 h, gust 11.6 m/s in 212 h, estimated gusts+sunshine, refused -, coarse 07-22 19")),
    // D3: a quoted step, whose units stand nowhere.
    ("met-norway/complete-nordic-first-step-20211124.json", (55.64, 12.08, 41.0), "2021-11-24T16:40:00Z", met,
        Refused("\"air_temperature\" is told without a unit")),
    ("met-norway/nowcast-trondheim-20230814.json", (63.43, 10.40, 5.0), "2023-08-14T18:17:00Z", met,
        Read("1 run, 2 h from 08-14 19, rain 1.5 mm in 2 h, gust 6.1 m/s in 1 h, estimated -, refused -, coarse -")),

    // Forecasts for stations. Gusts and sunshine only where the station has them.
    ("dwd-mosmix/MOSMIX_L_N4333_20201106.kml", (50.25, 8.57, 255.0), "2020-11-06T04:10:00Z", station, Read("1 run, 247 h from 11-06 04, rain 55.6 mm in 247 h, gust 7.2 m/s in 247 h, estimated sunshine, refused -, coarse -")),
    ("dwd-mosmix/MOSMIX_L_2023100809_stripped.kmz", (50.12, 8.33, 250.0), "2023-10-08T10:10:00Z", station, Read("1 run, 247 h from 10-08 10, rain 10.0 mm in 247 h, gust 9.8 m/s in 247 h, estimated -, refused -, coarse -")),
    ("dwd-mosmix/MOSMIX_S_2018032907_240.kml", (69.65, 18.95, 20.0), "2018-03-29T08:10:00Z", station, Read("1 run, 240 h from 03-29 08, rain 21.2 mm in 239 h, gust 10.8 m/s in 20 h, estimated sunshine, refused -, coarse -")),
    ("dwd-mosmix/MOSMIX_L_2023100809_stripped.kmz", (-39.6, 176.7, 20.0), "2023-10-08T10:10:00Z", station, Refused("(L299) lies 18371 km away and +360 m against the site, too far to stand for it")),

    // Official warnings: whom they concern is tried elsewhere.
    ("cap/ca-alert-bilingual-2019.xml", ZURICH, "2019-02-01T00:00:00Z", warnings, Read("1 message, 0 links")),
    ("cap/ca-minor-update-as-alert-sample.xml", ZURICH, "2012-01-01T00:00:00Z", warnings, Read("1 message, 0 links")),
    ("cap/ca-thunderstorm-update-bilingual-2012.xml", ZURICH, "2012-05-02T23:25:00Z", warnings, Read("1 message, 0 links")),
    ("cap/cancel-no-info-2016.xml", ZURICH, "2016-02-25T21:00:00Z", warnings, Read("1 message, 0 links")),
    ("cap/de-dwd-multilang-alert-20230622-large.xml", ZURICH, "2023-06-23T00:00:00Z", warnings, Read("1 message, 0 links")),
    ("cap/de-dwd-multilang-update-20230623.xml", ZURICH, "2023-06-23T10:00:00Z", warnings, Read("1 message, 0 links")),
    ("cap/feed-empty.atom", ZURICH, "2010-08-31T15:00:00Z", warnings, Read("0 messages, 0 links")),
    ("cap/is-wind-warning-bilingual-2021.cap", ZURICH, "2021-09-11T12:00:00Z", warnings, Read("1 message, 0 links")),
    ("cap/meteoalarm-croatia-wind-20231225.json", ZURICH, "2023-12-25T12:00:00Z", warnings, Read("63 messages, 0 links")),
    ("cap/meteoalarm-ireland-detail-20221206.xml", ZURICH, "2022-12-06T12:00:00Z", warnings, Read("1 message, 0 links")),
    ("cap/meteoalarm-netherlands-green-20260307.json", ZURICH, "2026-03-07T08:00:00Z", warnings, Read("3 messages, 0 links")),
    ("cap/meteoalarm-uk-feed-20221208.atom", ZURICH, "2022-12-08T01:00:00Z", warnings, Read("4 messages, 25 links")),
    ("cap/metno-metalerts-20260306.json", ZURICH, "2026-03-07T21:00:00Z", warnings, Read("29 messages, 0 links")),
    ("cap/se-smhi-multi-alert-2019.xml", ZURICH, "2019-03-12T16:00:00Z", warnings, Read("17 messages, 0 links")),
    ("cap/us-high-wind-index-2014.atom", ZURICH, "2014-05-11T06:00:00Z", warnings, Read("2 messages, 2 links")),
    ("cap/us-hurricane-update-polygons-2020.xml", ZURICH, "2020-08-01T00:00:00Z", warnings, Read("1 message, 0 links")),
    ("cap/us-wind-advisory-2014-cancel-derived.cap", ZURICH, "2014-05-11T10:00:00Z", warnings, Read("1 message, 0 links")),
    ("cap/us-wind-advisory-2014.cap", ZURICH, "2014-05-11T06:00:00Z", warnings, Read("1 message, 0 links")),
    ("nws/alerts-active-152-mixed.json", NEW_YORK, "2026-03-24T14:00:00Z", warnings, Read("152 messages, 0 links")),
    ("nws/alerts-active-8.json", NEW_YORK, "2026-03-24T14:00:00Z", warnings, Read("8 messages, 0 links")),
    ("nws/alerts-empty.json", NEW_YORK, "2026-03-24T14:00:00Z", warnings, Read("0 messages, 0 links")),
    ("nws/alerts-test-message.json", NEW_YORK, "2026-03-24T14:00:00Z", warnings, Read("2 messages, 0 links")),
    ("nws/alerts-update-flood.json", NEW_YORK, "2026-03-24T14:00:00Z", warnings, Read("1 message, 0 links")),
    ("nws/points.json", NEW_YORK, "2026-03-24T14:00:00Z", warnings, Refused("neither official warnings nor an index")),
    ("met-norway/complete-london-altitude25.json", NEW_YORK, "2026-03-24T14:00:00Z", warnings, Refused("neither official warnings nor an index")),

    // US National Weather Service.
    ("nws/gridpoint-raw-20220204.json", APALACHICOLA, "2022-02-04T04:00:00Z", grid,
        Read("1 run, 183 h from 02-03 22, rain 20.1 mm in 159 h, gust 8.2 m/s in 181 h, estimated sunshine, refused -, coarse 02-04 07")),
    ("nws/gridpoint-sew-wet-windy.json", (47.21, -123.12, 60.0), "2026-03-18T15:00:00Z", grid,
        Read("1 run, 185 h from 03-18 08, rain 26.5 mm in 169 h, gust 8.2 m/s in 184 h, estimated sunshine, refused -, coarse 03-18 09")),
    ("nws/gridpoint-box-hourly-qpf.json", (41.96, -71.20, 34.0), "2025-07-16T20:00:00Z", grid,
        Read("1 run, 186 h from 07-16 13, rain 57.7 mm in 181 h, gust 10.3 m/s in 181 h, estimated sunshine, refused -, coarse -")),
    ("nws/gridpoint-lwx-short-72h-tail.json", (38.9, -77.08, 47.0), "2026-03-18T15:00:00Z", grid,
        Read("1 run, 98 h from 03-18 16, rain 0.0 mm in 96 h, gust 8.7 m/s in 91 h, estimated sunshine, refused -, coarse -")),
    ("nws/forecast-hourly-us.json", APALACHICOLA, "2019-10-15T00:30:00Z", grid,
        Refused("neither gusts nor amounts of rain")),
    ("nws/forecast-hourly-sew.json", (47.21, -123.12, 60.0), "2026-03-18T15:00:00Z", grid,
        Refused("neither gusts nor amounts of rain")),
    ("nws/error-503-grid-expired.json", APALACHICOLA, "2020-02-12T00:00:00Z", grid,
        Refused("\"Forecast Grid Expired. The requested forecast grid was issued")),
    ("nws/error-503-unavailable.json", APALACHICOLA, "2020-02-12T00:00:00Z", grid,
        Refused("\"Unavailable Resource.")),
    ("nws/points.json", APALACHICOLA, "2022-02-04T04:00:00Z", point,
        Read("gridpoints/TAE/58,65 FLZ015 FLC037 America/New_York")),
    ("nws/points-omaha.json", (41.212, -96.623, 350.0), "2026-03-18T15:00:00Z", point,
        Read("gridpoints/OAX/59,58 NEZ051 NEC155 America/Chicago")),
    ("nws/observations-alternate-units.json", FLORIDA, "2019-06-27T11:30:00Z", readings,
        Read("KFLL 10:53 air -12.2 wind 2.8 gust 2.8")),
    ("nws/observations-multiple-gust-null-and-value.json", FLORIDA, "2019-06-27T11:30:00Z", readings,
        Read("KFLL 10:53 air 10.0 wind 10.0 gust 10.0")),
    // Without its METAR there is nothing in it.
    ("nws/observations-metar-only.json", FLORIDA, "2019-06-27T11:30:00Z", readings,
        Refused("no report with a time and a value")),
    ("nws/observations-empty.json", FLORIDA, "2019-06-27T11:30:00Z", readings,
        Refused("no report with a time and a value")),
    // The wrong reader says so.
    ("nws/observations-empty.json", FLORIDA, "2019-06-27T11:30:00Z", grid,
        Refused("a list of observations or warnings")),
    ("nws/points.json", APALACHICOLA, "2022-02-04T04:00:00Z", grid,
        Refused("the directory of a point")),
    ("nws/gridpoint-sew-wet-windy.json", (47.21, -123.12, 60.0), "2026-03-18T15:00:00Z", met,
        Refused("no values with a time")),
    ("nws/gridpoint-sew-wet-windy.json", (47.21, -120.12, 60.0), "2026-03-18T15:00:00Z", grid,
        Refused("a place 3.00° away")),
    ("met-norway/complete-london-altitude25.json", (51.5, -0.1, 25.0), "2020-07-20T11:21:00Z", grid,
        Refused("no values with a time")),
    ("met-norway/complete-london-altitude25.json", (51.5, -0.1, 25.0), "2020-08-20T11:21:00Z", met,
        Refused("the reply ends at 2020-07-29 06:00 UTC")),
];

#[test]
fn every_recorded_reply_is_read_or_refused_with_its_reason() {
    let shared = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/samples");
    let (mut wrong, mut read) = (Vec::new(), 0);
    for (file, place, now, reader, outcome) in &TABLE {
        let Some(bytes) = [own(file), shared.join(file)]
            .iter()
            .find_map(|path| fs::read(path).ok())
        else {
            continue;
        };
        read += 1;
        let said = with_context(*place, now, |context| reader(&bytes, context)).map_err(|refusal| refusal.to_string());
        let right = match (outcome, &said) {
            (Read(words), Ok(said)) => said == words,
            (Refused(words), Err(said)) => said.contains(words),
            _ => false,
        };
        if !right {
            wrong.push(format!("{file}: {said:?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(read >= 6);
    if shared.exists() {
        assert_eq!(read, TABLE.len());
        let named: BTreeSet<&str> = TABLE.iter().map(|row| row.0).collect();
        for file in files(&shared) {
            let elsewhere = NOT_HERE.iter().any(|(folder, _)| file.starts_with(folder));
            let no_reply = NO_REPLIES.iter().any(|name| file.ends_with(name));
            assert!(
                named.contains(file.as_str()) || elsewhere || no_reply,
                "{file} is not in the table"
            );
        }
    } else {
        println!("the wider collection of recorded replies is not here; {read} own copies were read");
    }
}

fn own(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(file)
}

/// Files of a folder of folders, as `folder/file`.
fn files(shared: &Path) -> Vec<String> {
    let name = |path: &Path| path.file_name().unwrap().to_str().unwrap().to_owned();
    let mut found = Vec::new();
    for folder in fs::read_dir(shared).unwrap() {
        let folder = folder.unwrap().path();
        for file in fs::read_dir(&folder).unwrap() {
            found.push(format!("{}/{}", name(&folder), name(&file.unwrap().path())));
        }
    }
    found
}

fn single(bytes: &[u8], context: &Context<'_>) -> Result<String, Refusal> {
    open_meteo::read(bytes, context).map(|forecast| words(&forecast))
}

fn past(bytes: &[u8], context: &Context<'_>) -> Result<String, Refusal> {
    open_meteo::read_past(bytes, context).map(|forecast| words(&forecast))
}

fn met(bytes: &[u8], context: &Context<'_>) -> Result<String, Refusal> {
    met_norway::read(bytes, context).map(|forecast| words(&forecast))
}

fn grid(bytes: &[u8], context: &Context<'_>) -> Result<String, Refusal> {
    nws::read(bytes, context).map(|forecast| words(&forecast))
}

fn station(bytes: &[u8], context: &Context<'_>) -> Result<String, Refusal> {
    mosmix::read(bytes, context).map(|forecast| words(&forecast))
}

/// How many messages and links.
fn warnings(bytes: &[u8], _: &Context<'_>) -> Result<String, Refusal> {
    let feed = cap::read(bytes)?;
    let messages = feed.warnings.len();
    let s = if messages == 1 { "" } else { "s" };
    Ok(format!("{messages} message{s}, {} links", feed.links.len()))
}

fn point(bytes: &[u8], _: &Context<'_>) -> Result<String, Refusal> {
    let points = nws::points(bytes)?;
    let names = [&points.forecast_zone, &points.county, &points.time_zone];
    let names: Vec<&str> = names.into_iter().map(|name| name.as_deref().unwrap_or("-")).collect();
    Ok(format!("{} {}", points.grid_path(), names.join(" ")))
}

fn readings(bytes: &[u8], context: &Context<'_>) -> Result<String, Refusal> {
    let found = nws::observations(bytes, context, &|_, _| Vec::new())?;
    let words = found.iter().map(|one| {
        let value = |which: Measured| {
            let (_, told) = one.told.iter().find(|(what, _)| *what == which).unwrap();
            told.value.map_or("-".to_owned(), |value| format!("{value:.1}"))
        };
        let [air, wind, gust] = [Measured::Temperature, Measured::Wind, Measured::Gust].map(value);
        format!(
            "{} {} air {air} wind {wind} gust {gust}",
            one.station,
            one.at.format("%H:%M")
        )
    });
    Ok(words.collect::<Vec<_>>().join("; "))
}

/// Runs, hours, the sum of rain and the highest gust of the first run, hours without rain or gust before the
/// last with any, and how quantities came about.
fn words(forecast: &Forecast) -> String {
    let run = &forecast.runs[0];
    let rain: f64 = run.rain.iter().flatten().sum();
    let gust = run.gust.iter().flatten().fold(0.0, f64::max);
    let of = |kind: Offer| {
        let words: Vec<&str> = forecast
            .offers
            .iter()
            .filter(|(_, offer)| **offer == kind)
            .map(|(quantity, _)| quantity.word())
            .collect();
        if words.is_empty() {
            "-".to_owned()
        } else {
            words.join("+")
        }
    };
    let known = |series: &Series| series.known();
    format!(
        "{} run, {} h from {}, rain {rain:.1} mm in {} h, gust {gust:.1} m/s in {} h, estimated {}, refused {}, coarse {}",
        forecast.runs.len(),
        forecast.stamps.count,
        forecast.stamps.first.format("%m-%d %H"),
        known(&run.rain),
        known(&run.gust),
        of(Offer::Estimated),
        of(Offer::Refused),
        forecast
            .coarse_from
            .map_or("-".to_owned(), |at| at.format("%m-%d %H").to_string()),
    )
}
