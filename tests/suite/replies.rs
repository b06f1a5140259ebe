//! Forecast replies: what is read, and what is refused with which sentence.
//!
//! Names such as D3 are rows of the fault catalogue that the project is tested against.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use chrono::{DateTime, TimeDelta, Utc};
use covercast::farm::site::Site;
use covercast::farm::zone::Zone;
use covercast::sources::{Refusal, read_reply};
use covercast::units::{Degrees, DisplayUnits, Metres};
use covercast::weather::{Forecast, Freshness, IssueBasis, Kind, Offer, Product, Quantity, Source, Standing, stitch};
use proptest::prelude::*;
use serde_json::{Value, json};

pub(crate) const NOW: &str = "2026-03-09T16:30:00Z";

pub(crate) fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

pub(crate) fn site(latitude: f64, longitude: f64, elevation: f64) -> Site {
    Site {
        name: "Larkrise Orchard".to_owned(),
        latitude: Degrees(latitude),
        longitude: Degrees(longitude),
        elevation: Metres(elevation),
        zone: Zone::named("Pacific/Auckland").unwrap(),
        units: DisplayUnits::Metric,
    }
}

pub(crate) fn larkrise() -> Site {
    site(-39.6, 176.7, 20.0)
}

/// File, latitude, longitude and height of the site, moment of reading, sentence.
type Recorded = (&'static str, (f64, f64, f64), &'static str, &'static str);

/// Each recorded reply of the open service: place, moment of reading, and what comes of it.
#[rustfmt::skip]
const RECORDED: [Recorded; 13] = [
    // D1: quantities that nothing stands in for are not in these replies.
    ("forecast-hourly-168h-melbourne-20251025.json", (-37.75, 144.87, 19.0), "2025-10-25T11:30:00Z",
        "the reply has no values of wind_direction_10m, without which no hour can be judged; ask for them in hourly="),
    ("forecast-14d-hourly-daily-newyork-20251228.json", (40.63, -74.42, 93.0), "2025-12-28T23:00:00Z",
        "the reply has no values of wind_direction_10m, without which no hour can be judged; ask for them in hourly="),
    // D4: local times with one offset for the whole answer.
    ("forecast-imperial-pastday-dst-toronto-20260305.json", (43.70, -79.40, 165.0), "2026-03-06T02:00:00Z",
        "the times are local with one fixed offset of -18000 s, which is wrong across a clock change; ask with timeformat=unixtime or timezone=GMT"),
    ("historical-forecast-20240101.json", (52.28, 6.87, 29.0), "2024-01-01T00:30:00Z",
        "the times are local with one fixed offset of 7200 s, which is wrong across a clock change; ask with timeformat=unixtime or timezone=GMT"),
    ("multi-model-suffix-zurich-20261003.json", (47.36, 8.54, 422.0), "2026-10-03T11:00:00Z",
        "the times are local with one fixed offset of 7200 s, which is wrong across a clock change; ask with timeformat=unixtime or timezone=GMT"),
    // Members, but of temperature only.
    ("ensemble-21-members-20261003.json", (52.5, 7.0, 29.0), "2026-10-03T11:00:00Z",
        "the reply has no values of wind_speed_10m, wind_direction_10m, precipitation, cloud_cover, dew_point_2m, \
         without which no hour can be judged; ask for them in hourly="),
    // Not hourly.
    ("minutely15-enschede-20261003.json", (52.28, 6.87, 29.0), "2026-10-03T10:30:00Z",
        "the reply has no hourly values, only 15-minute values; ask for hourly=temperature_2m,…"),
    ("daily-localtime-newyork-20251229.json", (40.63, -74.42, 93.0), "2025-12-29T12:00:00Z",
        "the reply has no hourly values, only daily values; ask for hourly=temperature_2m,…"),
    ("minutely15-weathercode-dwdicon-20231113.json", (52.52, 13.42, 38.0), "2023-11-13T10:45:00Z",
        "the reply has no values of temperature_2m, wind_speed_10m, wind_direction_10m, precipitation, cloud_cover, \
         dew_point_2m, without which no hour can be judged; ask for them in hourly="),
    // N7: no forecast at all.
    ("multi-location-array-ecmwf-20240126.json", (51.6, 0.0, 23.0), "2024-01-26T00:00:00Z",
        "the reply is a list of places; ask for one place only"),
    ("not-covered-nan-body.txt", (52.0, 7.0, 29.0), "2026-10-03T11:00:00Z",
        "the reply has no coordinates (nan): the model does not cover this place, ask for another model"),
    ("error-400-count-mismatch.json", (52.0, 7.0, 29.0), "2026-10-03T11:00:00Z",
        "the service refused the request: \"Parameter 'latitude' and 'longitude' must have the same number of elements\""),
    ("error-429-minutely.json", (52.0, 7.0, 29.0), "2026-10-03T11:00:00Z",
        "the service refused the request: \"Minutely API request limit exceeded. Please try again in one minute.\""),
];

#[test]
fn every_recorded_reply_is_read_or_refused_with_its_sentence() {
    let shared = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/samples/open-meteo");
    let mut read = 0;
    for (file, (latitude, longitude, elevation), now, sentence) in RECORDED {
        let Some(bytes) = [own(file), shared.join(file)]
            .iter()
            .find_map(|path| fs::read(path).ok())
        else {
            continue;
        };
        let refusal = read_reply(&bytes, &site(latitude, longitude, elevation), at(now), None).unwrap_err();
        assert_eq!(refusal.to_string(), sentence, "{file}");
        read += 1;
    }
    if shared.exists() {
        let named: BTreeSet<&str> = RECORDED.iter().map(|row| row.0).collect();
        for entry in fs::read_dir(&shared).unwrap() {
            let name = entry.unwrap().file_name().into_string().unwrap();
            assert!(
                name == "SOURCES.md" || named.contains(name.as_str()),
                "{name} is not in the table"
            );
        }
        assert_eq!(read, RECORDED.len());
    } else {
        println!("the wider collection of recorded replies is not here; {read} own copies were read");
    }
    assert!(read >= 6);
}

/// The same recordings with what they lack put in: hours and units as recorded are then read.
#[test]
fn recorded_hours_are_read_once_the_missing_quantity_is_there() {
    let mut reply: Value =
        serde_json::from_slice(&fs::read(own("forecast-imperial-pastday-dst-toronto-20260305.json")).unwrap()).unwrap();
    let hours = reply["hourly"]["time"].as_array().unwrap().len();
    reply["utc_offset_seconds"] = json!(0);
    reply["hourly"]["cloud_cover"] = json!(vec![50; hours]);
    reply["hourly_units"]["cloud_cover"] = json!("%");
    reply["hourly"]["dew_point_2m"] = json!(vec![20.0; hours]);
    reply["hourly_units"]["dew_point_2m"] = json!("°F");
    let raw = |key: &str, k: usize| reply["hourly"][key][k].as_f64().unwrap();
    let forecast = read_reply(
        reply.to_string().as_bytes(),
        &site(43.70, -79.40, 165.0),
        at("2026-03-06T02:00:00Z"),
        None,
    )
    .unwrap();
    assert_eq!(
        (forecast.kind, forecast.runs.len(), forecast.stamps.count),
        (Kind::Single, 1, hours)
    );
    let run = &forecast.runs[0];
    for k in [0, 30, 60] {
        assert!((run.temperature.get(k).unwrap() - (raw("temperature_2m", k) - 32.0) / 1.8).abs() < 1e-4);
        assert!((run.wind.get(k).unwrap() - raw("wind_speed_10m", k) * 0.447_04).abs() < 1e-4);
        assert!((run.rain.get(k).unwrap() - raw("precipitation", k) * 25.4).abs() < 1e-4);
        assert!(run.gust.get(k).unwrap() >= run.wind.get(k).unwrap());
    }
    assert_eq!(forecast.offers[&Quantity::Shortwave], Offer::Estimated);
}

fn own(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/open-meteo")
        .join(file)
}

const NEEDED: [(&str, &str, f64); 8] = [
    ("temperature_2m", "°C", 18.0),
    ("dew_point_2m", "°C", 9.0),
    ("precipitation", "mm", 0.2),
    ("wind_speed_10m", "m/s", 3.0),
    ("wind_gusts_10m", "m/s", 7.0),
    ("wind_direction_10m", "°", 220.0),
    ("shortwave_radiation", "W/m²", 300.0),
    ("cloud_cover", "%", 50.0),
];

/// A whole reply for the demo farm: five days back, `days` ahead, every hour alike.
pub(crate) fn reply(days: usize, members: usize) -> Value {
    let hours = (5 + days) * 24;
    let first = at("2026-03-04T00:00:00Z").timestamp();
    let times: Vec<i64> = (0..hours).map(|k| first + 3600 * i64::try_from(k).unwrap()).collect();
    let mut reply = json!({
        "latitude": -39.6, "longitude": 176.7, "elevation": 20.0, "generationtime_ms": 1.5, "utc_offset_seconds": 0,
        "timezone": "GMT", "timezone_abbreviation": "GMT",
        "hourly_units": { "time": "unixtime" }, "hourly": { "time": times },
    });
    for member in 0..members.max(1) {
        let tail = if member == 0 {
            String::new()
        } else {
            format!("_member{member:02}")
        };
        for (name, unit, value) in NEEDED {
            reply["hourly_units"][format!("{name}{tail}")] = json!(unit);
            reply["hourly"][format!("{name}{tail}")] = json!(vec![value; hours]);
        }
        reply["hourly_units"][format!("weather_code{tail}")] = json!("wmo code");
        reply["hourly"][format!("weather_code{tail}")] = json!(vec![3; hours]);
    }
    reply
}

fn read(reply: &Value) -> Result<Forecast, Refusal> {
    read_reply(reply.to_string().as_bytes(), &larkrise(), at(NOW), None)
}

fn refused(reply: &Value) -> String {
    read(reply).unwrap_err().to_string()
}

fn drop_key(reply: &mut Value, key: &str) {
    reply["hourly"].as_object_mut().unwrap().remove(key);
    reply["hourly_units"].as_object_mut().unwrap().remove(key);
}

#[test]
fn members_are_found_by_their_keys_and_the_bare_name_is_one_of_them() {
    let mut three = reply(10, 3);
    three["hourly"]["wind_gusts_10m_member02"][200] = json!(31.0);
    let forecast = read(&three).unwrap();
    assert_eq!(
        (forecast.kind, forecast.runs.len(), forecast.stamps.count),
        (Kind::Members, 3, 360)
    );
    assert_eq!(
        forecast
            .runs
            .iter()
            .map(|run| run.gust.get(200).unwrap())
            .collect::<Vec<_>>(),
        [7.0, 7.0, 31.0]
    );
    assert!(forecast.runs.iter().all(|run| run.known(200)));
    assert_eq!(read(&reply(10, 1)).unwrap().kind, Kind::Single);
}

#[test]
fn a_member_without_a_series_that_others_have_is_full_of_holes() {
    let mut three = reply(10, 3);
    drop_key(&mut three, "wind_gusts_10m_member01");
    let forecast = read(&three).unwrap();
    assert_eq!(forecast.offers[&Quantity::Gust], Offer::Given);
    assert_eq!(forecast.runs[1].missing(200), Some(Quantity::Gust));
    assert_eq!(forecast.runs[2].missing(200), None);
}

/// D1.
#[test]
fn a_null_and_a_missing_hour_are_holes_and_never_zero() {
    let mut holes = reply(10, 1);
    holes["hourly"]["precipitation"][150] = Value::Null;
    holes["hourly"]["weather_code"][151] = Value::Null;
    for key in holes["hourly"].as_object().unwrap().keys().cloned().collect::<Vec<_>>() {
        holes["hourly"][&key].as_array_mut().unwrap().remove(170);
    }
    let forecast = read(&holes).unwrap();
    let missing = |k| forecast.runs[0].missing(k);
    assert_eq!(missing(150), Some(Quantity::Rain));
    assert_eq!(missing(151), Some(Quantity::Thunder));
    assert_eq!(missing(170), Some(Quantity::Temperature));
    assert_eq!((missing(169), missing(171), forecast.stamps.count), (None, None, 360));
}

/// D2.
#[test]
fn values_like_no_weather_are_taken_out_and_counted() {
    let mut odd = reply(10, 1);
    odd["hourly"]["temperature_2m"][10] = json!("18.0");
    odd["hourly"]["wind_speed_10m"][11] = json!(-3.0);
    odd["hourly"]["cloud_cover"][12] = json!(140);
    odd["hourly"]["dew_point_2m"][13] = json!(19.5);
    odd["hourly"]["wind_gusts_10m"][14] = json!(200.0 / 3.6);
    odd["hourly"]["precipitation"][15] = json!({"deep": [1, 2]});
    odd["hourly"]["shortwave_radiation"][16] = json!(1e30);
    let forecast = read(&odd).unwrap();
    assert_eq!(forecast.rejected, 7);
    let run = &forecast.runs[0];
    let expected = [
        Quantity::Temperature,
        Quantity::Wind,
        Quantity::Cloud,
        Quantity::DewPoint,
        Quantity::Gust,
        Quantity::Rain,
        Quantity::Shortwave,
    ];
    for (k, quantity) in (10..).zip(expected) {
        assert_eq!(run.missing(k), Some(quantity), "row {k}");
    }
    for k in 0..19 {
        odd["hourly"]["wind_gusts_10m"][20 + k] = json!(-1.0);
    }
    assert_eq!(
        refused(&odd),
        "20 of 360 values of wind_gusts_10m are like no weather, so none is trusted; check the source or fetch again"
    );
    let text = reply(10, 1).to_string().replacen("220.0", "1e999", 1);
    assert!(read_reply(text.as_bytes(), &larkrise(), at(NOW), None).is_err());
}

/// D3.
#[test]
fn units_are_read_and_never_guessed() {
    let mut knots = reply(10, 1);
    for (unit, factor) in [("km/h", 1.0 / 3.6), ("mp/h", 0.447_04), ("kn", 0.514_444), ("m/s", 1.0)] {
        knots["hourly_units"]["wind_gusts_10m"] = json!(unit);
        let gust = read(&knots).unwrap().runs[0].gust.get(3).unwrap();
        assert!((gust - (7.0_f64 * factor).max(3.0)).abs() < 1e-4, "{unit}: {gust}");
    }
    knots["hourly_units"]["wind_gusts_10m"] = json!("furlongs");
    assert_eq!(
        refused(&knots),
        "\"wind_gusts_10m\" is in \"furlongs\", a unit that is not known here; ask for metric units"
    );
    knots["hourly_units"].as_object_mut().unwrap().remove("wind_gusts_10m");
    assert_eq!(
        refused(&knots),
        "\"wind_gusts_10m\" is told without a unit, and none is guessed; fetch the reply whole, with hourly_units"
    );
    let mut codes = reply(10, 1);
    codes["hourly_units"].as_object_mut().unwrap().remove("weather_code");
    let forecast = read(&codes).unwrap();
    assert_eq!(forecast.offers[&Quantity::Thunder], Offer::Refused);
    assert!(forecast.runs[0].thunder.is_all_gaps() && forecast.runs[0].known(3));
}

/// D4.
#[test]
fn times_that_do_not_fit_are_refused() {
    let mut short = reply(10, 1);
    short["hourly"]["wind_gusts_10m"].as_array_mut().unwrap().pop();
    assert_eq!(
        refused(&short),
        "\"wind_gusts_10m\" has 359 values for 360 times; fetch the reply again"
    );
    let mut again = reply(10, 1);
    again["hourly"]["time"][100] = again["hourly"]["time"][99].clone();
    assert_eq!(
        refused(&again),
        "time number 101 is not later than the one before; fetch the reply again"
    );
    let mut backwards = reply(10, 1);
    backwards["hourly"]["time"].as_array_mut().unwrap().reverse();
    assert!(refused(&backwards).starts_with("time number 2 is not later"));
    let mut halves = reply(10, 1);
    halves["hourly"]["time"][0] = json!(at("2026-03-03T23:30:00Z").timestamp());
    assert!(refused(&halves).starts_with("the times are not full hours"));
    let mut three_hourly = reply(10, 1);
    for series in three_hourly["hourly"].as_object_mut().unwrap().values_mut() {
        *series = series.as_array().unwrap().iter().step_by(3).cloned().collect();
    }
    assert!(refused(&three_hourly).starts_with("the values stand 3 h apart and only hourly ones can be judged"));
    let mut texts = reply(10, 1);
    let texted: Vec<String> = (0..360)
        .map(|k| {
            (at("2026-03-04T00:00:00Z") + TimeDelta::hours(k))
                .format("%Y-%m-%dT%H:%M")
                .to_string()
        })
        .collect();
    texts["hourly"]["time"] = json!(texted);
    assert_eq!(read(&texts).unwrap().stamps, read(&reply(10, 1)).unwrap().stamps);
    texts.as_object_mut().unwrap().remove("utc_offset_seconds");
    assert_eq!(
        refused(&texts),
        "the times are written without any offset from UTC; ask with timeformat=unixtime"
    );
}

/// D5.
#[test]
fn a_reply_for_another_place_or_height_is_refused() {
    let mut north = reply(10, 1);
    north["latitude"] = json!(-39.4);
    assert_eq!(
        refused(&north),
        "the reply is for a place 0.20° away from the site (0.1° allowed); check latitude and longitude"
    );
    let mut high = reply(10, 1);
    high["elevation"] = json!(400.0);
    assert!(refused(&high).starts_with("the reply is for 400 m above sea level and the site lies at 20 m"));
    // The cells of an ensemble are up to half a degree wide.
    let mut cell = reply(10, 2);
    cell["latitude"] = json!(-39.5);
    cell["longitude"] = json!(176.5);
    assert!(read(&cell).is_ok());
    cell["longitude"] = json!(-176.7);
    assert!(refused(&cell).starts_with("the reply is for a place 6.60° away"));
}

/// D6: a reply of another day is never called fresh, whatever the file's date says.
#[test]
fn yesterdays_forecast_under_todays_date_is_never_fresh() {
    for (days, product) in [
        (10, Product::SixHourlyModel),
        (16, Product::SixHourlyModel),
        (7, Product::HourlyModel),
    ] {
        let today = read(&reply(days, 1)).unwrap();
        assert_eq!(product.freshness(today.issue.at, at(NOW)), Freshness::Fresh);
        assert_eq!(today.issue.basis, IssueBasis::Implied);
        for back in 1..i64::try_from(days).unwrap() - 1 {
            let mut shifted = reply(days, 1);
            for time in shifted["hourly"]["time"].as_array_mut().unwrap() {
                *time = json!(time.as_i64().unwrap() - 86_400 * back);
            }
            let old = read(&shifted).unwrap();
            assert_eq!(
                product.freshness(old.issue.at, at(NOW)),
                Freshness::Unknown,
                "{days} days, {back} back"
            );
        }
        let mut later = reply(days, 1);
        for time in later["hourly"]["time"].as_array_mut().unwrap() {
            *time = json!(time.as_i64().unwrap() + 86_400 * 9);
        }
        assert!(refused(&later).contains("after now; check the clock"));
    }
    let past = read_reply(
        reply(10, 1).to_string().as_bytes(),
        &larkrise(),
        at("2026-04-09T16:30:00Z"),
        None,
    );
    assert!(
        past.unwrap_err()
            .to_string()
            .starts_with("the reply ends at 2026-03-18 23:00 UTC, before now")
    );
}

/// D6, D7: bytes differ in every reply; only values count.
#[test]
fn the_same_values_again_keep_their_age() {
    let first = read_reply(
        reply(10, 2).to_string().as_bytes(),
        &larkrise(),
        at("2026-03-09T10:00:00Z"),
        None,
    )
    .unwrap();
    let mut same = reply(10, 2);
    same["generationtime_ms"] = json!(99.0);
    same["hourly"]["precipitation"][30] = json!(0.4); // a past hour, settled since
    let again = read_reply(same.to_string().as_bytes(), &larkrise(), at(NOW), Some(&first)).unwrap();
    assert_eq!(
        (again.issue.at, again.issue.basis),
        (first.issue.at, IssueBasis::ValuesChanged)
    );
    same["hourly"]["precipitation_member01"][200] = json!(0.4);
    let new = read_reply(same.to_string().as_bytes(), &larkrise(), at(NOW), Some(&first)).unwrap();
    assert_eq!((new.issue.at, new.issue.basis), (at(NOW), IssueBasis::ValuesChanged));
}

#[test]
fn a_gust_is_never_below_the_mean_and_a_gust_of_nothing_in_wind_is_a_hole() {
    let mut gusty = reply(10, 1);
    gusty["hourly"]["wind_gusts_10m"][100] = json!(1.2);
    gusty["hourly"]["wind_gusts_10m"][101] = json!(0.0);
    let run = &read(&gusty).unwrap().runs[0];
    assert_eq!((run.gust.get(100), run.gust.get(101)), (Some(3.0), None));
}

#[test]
fn gusts_that_are_not_offered_are_estimated_and_gusts_that_vanish_are_holes() {
    let whole = read(&reply(10, 1)).unwrap();
    let mut nulls = reply(10, 1);
    nulls["hourly"]["wind_gusts_10m"] = json!(vec![Value::Null; 360]);
    let mut absent = reply(10, 1);
    drop_key(&mut absent, "wind_gusts_10m");
    for gone in [nulls, absent] {
        let forecast = read(&gone).unwrap();
        assert_eq!(forecast.offers[&Quantity::Gust], Offer::Estimated);
        assert_eq!(forecast.runs[0].gust.get(150), Some(6.0));
        let after = read_reply(gone.to_string().as_bytes(), &larkrise(), at(NOW), Some(&whole)).unwrap();
        assert_eq!(after.offers[&Quantity::Gust], Offer::Gone);
        assert_eq!(after.runs[0].missing(150), Some(Quantity::Gust));
    }
}

#[test]
fn dew_point_comes_from_humidity_and_sunshine_from_sun_and_cloud_where_they_are_not_offered() {
    let mut poor = reply(10, 1);
    drop_key(&mut poor, "dew_point_2m");
    drop_key(&mut poor, "shortwave_radiation");
    assert!(refused(&poor).starts_with("the reply has no values of dew_point_2m"));
    poor["hourly_units"]["relative_humidity_2m"] = json!("%");
    poor["hourly"]["relative_humidity_2m"] = json!(vec![100; 360]);
    let forecast = read(&poor).unwrap();
    assert_eq!(forecast.offers[&Quantity::DewPoint], Offer::Estimated);
    assert!((forecast.runs[0].dew_point.get(9).unwrap() - 18.0).abs() < 1e-4);
    assert_eq!(forecast.runs[0].missing(150), Some(Quantity::Shortwave));
    let source = Source {
        name: "forecast",
        standing: Standing::First,
        forecast: &forecast,
        product: Product::HourlyModel,
    };
    let line = stitch(&[source], at(NOW), |_| 1.0).unwrap();
    assert!((line.runs[0].shortwave.get(line.now_row).unwrap() - 650.0).abs() < 1e-3);
    assert!(line.estimated.contains(&Quantity::Shortwave) && line.estimated.contains(&Quantity::DewPoint));
}

#[test]
fn weather_codes_tell_thunder_fog_and_snow() {
    let mut codes = reply(10, 1);
    for (k, code) in [95, 45, 48, 73, 86, 61].into_iter().enumerate() {
        codes["hourly"]["weather_code"][k] = json!(code);
    }
    let run = &read(&codes).unwrap().runs[0];
    let flags = |series: &covercast::weather::Series| (0..7).map(|k| series.get(k).unwrap() > 0.5).collect::<Vec<_>>();
    assert_eq!(flags(&run.thunder), [true, false, false, false, false, false, false]);
    assert_eq!(flags(&run.fog), [false, true, true, false, false, false, false]);
    assert_eq!(flags(&run.snow), [false, false, false, true, true, false, false]);
}

#[test]
fn one_model_behind_every_key_is_read_and_two_are_refused() {
    let suffixed = |models: &[&str]| {
        let mut reply = reply(10, 1);
        for block in ["hourly", "hourly_units"] {
            let old = reply[block].as_object().unwrap().clone();
            let new = reply[block].as_object_mut().unwrap();
            for (key, value) in old.into_iter().filter(|(key, _)| key != "time") {
                new.remove(&key);
                for model in models {
                    new.insert(format!("{key}_{model}"), value.clone());
                }
            }
        }
        reply
    };
    assert_eq!(
        read(&suffixed(&["meteoswiss_icon_seamless"])).unwrap().runs[0]
            .gust
            .get(0),
        Some(7.0)
    );
    assert_eq!(
        refused(&suffixed(&["icon_seamless", "meteoswiss_icon_seamless"])),
        "the reply mixes the models icon_seamless, meteoswiss_icon_seamless; ask for one model only"
    );
}

/// D9, N7, N8.
#[test]
fn what_is_no_forecast_is_refused_cleanly() {
    let whole = reply(10, 1).to_string();
    let cut = &whole[..whole.len() / 2];
    let deep = format!("{{\"hourly\":{}", "[".repeat(100_000));
    let deep_aside = format!("{{\"x\":{}{}}}", "[".repeat(100_000), "]".repeat(100_000));
    let twice = whole.replacen("\"latitude\"", "\"latitude\":1.0,\"latitude\"", 1);
    let twice_inside = whole.replacen("\"hourly\":{", "\"hourly\":{\"cloud_cover\":[],", 1);
    let long = format!("{{\"reason\":\"{}\\u001b[31m\",\"error\":true}}", "x".repeat(70_000));
    for (body, words) in [
        ("", "the reply is empty"),
        ("  \n", "the reply is empty"),
        ("<!doctype html><title>login</title>", "the reply is a web page"),
        ("{}", "the reply has no hourly values"),
        ("7", "the reply is not built as documented"),
        (cut, "the reply is not valid JSON at line 1"),
        (&deep, "the reply is not"),
        (&deep_aside, "the reply has no hourly values"),
        (&twice, "the reply tells \"latitude\" twice"),
        (&twice_inside, "the reply tells \"cloud_cover\" twice"),
        (&long, "the service refused the request: \"xxx"),
        (
            "{\"hourly\":{\"time\":[\"x\"]},\"utc_offset_seconds\":0}",
            "the times of the hourly values cannot be read",
        ),
    ] {
        let refusal = read_reply(body.as_bytes(), &larkrise(), at(NOW), None)
            .unwrap_err()
            .to_string();
        assert!(refusal.starts_with(words), "{words}: {refusal}");
        assert!(
            refusal.chars().count() < 300 && !refusal.contains('\u{1b}'),
            "{refusal}"
        );
    }
    assert!(read_reply(b"{\"hourly\":\xff}", &larkrise(), at(NOW), None).is_err());
}

/// The demo's invented ensemble is a whole reply in the service's form.
#[test]
fn the_demo_forecast_is_read_without_a_hole() {
    let bytes = fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/forecast-ensemble.json")).unwrap();
    assert!(bytes.len() < 1_600_000);
    let forecast = read_reply(&bytes, &larkrise(), at(NOW), None).unwrap();
    assert_eq!(
        (forecast.kind, forecast.runs.len(), forecast.rejected),
        (Kind::Members, 31, 0)
    );
    assert!(forecast.offers.values().all(|offer| *offer == Offer::Given));
    let source = Source {
        name: "forecast",
        standing: Standing::First,
        forecast: &forecast,
        product: Product::SixHourlyModel,
    };
    let line = stitch(&[source], at(NOW), |_| 1.0).unwrap();
    assert_eq!(
        (line.past_hours, line.freshness, line.remarks.len()),
        (120, Freshness::Fresh, 0)
    );
    assert!(line.runs.iter().all(|run| (0..line.stamps.count).all(|k| run.known(k))));
    assert!(
        line.runs
            .iter()
            .all(|run| run.wind.get(10) == line.runs[0].wind.get(10))
    );
    let last = line.stamps.count - 1;
    assert!(
        line.runs
            .iter()
            .any(|run| run.wind.get(last) != line.runs[0].wind.get(last))
    );
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4000, ..ProptestConfig::default() })]

    /// D9: whatever happens to the bytes, a forecast or a sentence comes out.
    #[test]
    fn no_change_of_bytes_makes_the_reader_fall_over(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0..3_u8), 1..6)
    ) {
        let mut bytes = small_reply();
        for (place, byte, what) in changes {
            if bytes.is_empty() { break }
            let k = place.index(bytes.len());
            match what {
                0 => bytes[k] = byte,
                1 => bytes.truncate(k),
                _ => { let part = bytes[k..].iter().take(40).copied().collect::<Vec<_>>(); bytes.splice(k..k, part); }
            }
        }
        if let Err(refusal) = read_reply(&bytes, &larkrise(), at("2026-03-04T01:00:00Z"), None) {
            prop_assert!(!refusal.to_string().is_empty());
        }
    }
}

/// A reply of four hours.
fn small_reply() -> Vec<u8> {
    let mut small = reply(1, 2);
    for series in small["hourly"].as_object_mut().unwrap().values_mut() {
        series.as_array_mut().unwrap().truncate(4);
    }
    small.to_string().into_bytes()
}

#[test]
fn the_small_reply_that_is_changed_can_be_read() {
    assert!(read_reply(&small_reply(), &larkrise(), at("2026-03-04T01:00:00Z"), None).is_ok());
}
