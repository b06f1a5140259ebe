//! Replies of services that tell blocks, steps and readings: what is read, and what is refused.
//!
//! Names such as D3 are rows of the fault catalogue that the project is tested against.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use chrono::{DateTime, TimeDelta, Utc};
use covercast::sources::open_meteo::Context;
use covercast::sources::{Refusal, met_norway, nws, open_meteo};
use covercast::units::{Degrees, Metres};
use covercast::weather::reading::Measured;
use covercast::weather::{
    Forecast, IssueBasis, Kind, Offer, Place, Product, Quantity, Source, Standing, Told, Valid, stitch,
};
use serde_json::{Value, json};

use crate::replies::{NOW, at};

pub(crate) fn own(file: &str) -> Vec<u8> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/replies");
    fs::read(folder.join(file)).unwrap()
}

pub(crate) fn with_context<T>(
    (latitude, longitude, elevation): (f64, f64, f64),
    now: &str,
    f: impl FnOnce(&Context<'_>) -> T,
) -> T {
    f(&Context {
        site: Place {
            latitude: Degrees(latitude),
            longitude: Degrees(longitude),
            elevation: Some(Metres(elevation)),
        },
        fetched: at(now),
        previous: None,
        offered: &BTreeSet::new(),
        asked: None,
    })
}

fn value(file: &str) -> Value {
    serde_json::from_slice(&own(file)).unwrap()
}

const LARKRISE: (f64, f64, f64) = (-39.6, 176.7, 20.0);
const NORTH: (f64, f64, f64) = (63.4, 10.4, 50.0);
const WEST: (f64, f64, f64) = (47.1, -121.42, 60.0);

fn met(reply: &Value) -> Result<Forecast, Refusal> {
    with_context(LARKRISE, NOW, |context| {
        met_norway::read(reply.to_string().as_bytes(), context)
    })
}

fn nowcast(reply: &Value) -> Result<Forecast, Refusal> {
    with_context(NORTH, NOW, |context| {
        met_norway::read(reply.to_string().as_bytes(), context)
    })
}

fn grid(reply: &Value) -> Result<Forecast, Refusal> {
    with_context(WEST, NOW, |context| nws::read(reply.to_string().as_bytes(), context))
}

fn hour(forecast: &Forecast, stamp: &str) -> usize {
    forecast.stamps.row(at(stamp)).unwrap()
}

fn of(forecast: &Forecast, quantity: Quantity, stamp: &str) -> Option<f64> {
    let value = forecast.runs[0].of(quantity).get(hour(forecast, stamp))?;
    Some((value * 1000.0).round() / 1000.0)
}

fn step(reply: &mut Value, k: usize) -> &mut Value {
    &mut reply["properties"]["timeseries"][k]["data"]
}

#[test]
fn a_complete_forecast_tells_hours_then_blocks_of_six_and_when_it_was_made() {
    let forecast = met(&value("met-norway/complete.json")).unwrap();
    assert_eq!(forecast.kind, Kind::Single);
    assert_eq!(forecast.issue.at, at("2026-03-09T14:12:09Z"));
    assert_eq!(forecast.issue.basis, IssueBasis::Said);
    assert!(forecast.credit.line.starts_with("Based on data from MET Norway"));
    assert_eq!(forecast.stamps.first, at("2026-03-09T16:00:00Z"));
    // The entry of midnight tells 0.4 mm for its hour and 0.8 mm for six: the hour counts.
    assert_eq!(of(&forecast, Quantity::Rain, "2026-03-10T01:00:00Z"), Some(0.4));
    assert_eq!(of(&forecast, Quantity::Rain, "2026-03-10T03:00:00Z"), Some(0.0));
    // 1.8 mm in six hours: each of them may be wet.
    for stamp in ["2026-03-11T07:00:00Z", "2026-03-11T12:00:00Z"] {
        assert_eq!(of(&forecast, Quantity::Rain, stamp), Some(0.3), "{stamp}");
    }
    assert_eq!(of(&forecast, Quantity::Thunder, "2026-03-10T02:00:00Z"), Some(1.0));
    assert_eq!(of(&forecast, Quantity::Thunder, "2026-03-10T03:00:00Z"), Some(0.0));
    assert_eq!(forecast.offers[&Quantity::Shortwave], Offer::Estimated);
    assert_eq!(forecast.offers[&Quantity::Gust], Offer::Given);
}

#[test]
fn the_last_entry_has_an_instant_and_no_rain_so_its_hours_end_the_forecast() {
    let forecast = met(&value("met-norway/compact.json")).unwrap();
    let run = &forecast.runs[0];
    assert_eq!(run.rain.horizon(), run.temperature.horizon());
    let mut cut = value("met-norway/compact.json");
    let last = cut["properties"]["timeseries"].as_array().unwrap().len() - 2;
    step(&mut cut, last).as_object_mut().unwrap().remove("next_6_hours");
    let run = met(&cut).unwrap().runs.remove(0);
    assert_eq!(run.rain.horizon() + 6, run.temperature.horizon());
}

#[test]
fn a_gust_is_the_highest_of_a_period_and_stands_in_the_hours_on_both_sides() {
    let mut reply = value("met-norway/complete.json");
    step(&mut reply, 5)["instant"]["details"]["wind_speed_of_gust"] = json!(19.5);
    let forecast = met(&reply).unwrap();
    for stamp in ["2026-03-09T21:00:00Z", "2026-03-09T22:00:00Z"] {
        assert_eq!(of(&forecast, Quantity::Gust, stamp), Some(19.5), "{stamp}");
    }
    // A missing gust is a hole on both sides: what is told there may be the smaller one.
    step(&mut reply, 5)["instant"]["details"]["wind_speed_of_gust"] = json!(null);
    let forecast = met(&reply).unwrap();
    for stamp in ["2026-03-09T21:00:00Z", "2026-03-09T22:00:00Z"] {
        assert_eq!(of(&forecast, Quantity::Gust, stamp), None, "{stamp}");
    }
    assert!(of(&forecast, Quantity::Gust, "2026-03-09T23:00:00Z").is_some());
}

#[test]
fn a_compact_forecast_has_its_dew_point_from_humidity_and_its_gusts_estimated() {
    let forecast = met(&value("met-norway/compact.json")).unwrap();
    assert_eq!(forecast.offers[&Quantity::Gust], Offer::Estimated);
    assert_eq!(forecast.offers[&Quantity::DewPoint], Offer::Given);
    let run = &forecast.runs[0];
    for k in 1..run.wind.len() {
        let (wind, gust) = (run.wind.get(k).unwrap(), run.gust.get(k).unwrap());
        assert!(gust >= 2.0 * wind - 1e-5 && gust >= wind + 3.0 - 1e-5, "{k}");
        assert!(run.dew_point.get(k).unwrap() < run.temperature.get(k).unwrap(), "{k}");
    }
}

/// D3.
#[test]
fn units_are_read_from_the_reply_and_a_missing_one_fails_it() {
    for (key, unit) in [("wind_speed", json!("km/h")), ("air_temperature", json!(null))] {
        let mut reply = value("met-norway/complete.json");
        reply["properties"]["meta"]["units"][key] = unit;
        let said = met(&reply).unwrap_err().to_string();
        assert!(said.contains(&format!("\"{key}\"")), "{said}");
    }
    let mut bare = value("met-norway/complete.json");
    bare["properties"].as_object_mut().unwrap().remove("meta");
    assert!(matches!(met(&bare), Err(Refusal::Unit { unit: None, .. })));
}

/// D1.
#[test]
fn a_value_missing_in_one_entry_is_a_hole_and_nothing_is_drawn_across_it() {
    let mut reply = value("met-norway/complete.json");
    step(&mut reply, 4)["instant"]["details"]
        .as_object_mut()
        .unwrap()
        .remove("cloud_area_fraction");
    step(&mut reply, 6)["next_1_hours"]["details"] = json!({});
    let forecast = met(&reply).unwrap();
    assert_eq!(of(&forecast, Quantity::Cloud, "2026-03-09T20:00:00Z"), None);
    assert!(of(&forecast, Quantity::Cloud, "2026-03-09T21:00:00Z").is_some());
    assert_eq!(of(&forecast, Quantity::Rain, "2026-03-09T23:00:00Z"), None);
}

/// D4, D6.
#[test]
fn entries_out_of_order_and_an_issue_that_is_missing_or_to_come_are_refused() {
    let mut reply = value("met-norway/complete.json");
    reply["properties"]["timeseries"][3]["time"] = json!("2026-03-09T18:00:00Z");
    assert_eq!(met(&reply).unwrap_err(), Refusal::NotAscending { position: 4 });
    let mut reply = value("met-norway/complete.json");
    reply["properties"]["timeseries"][3]["time"] = json!("2026-03-09T19:00");
    assert_eq!(met(&reply).unwrap_err(), Refusal::StepTimes);
    let mut reply = value("met-norway/complete.json");
    reply["properties"]["meta"]["updated_at"] = json!("2026-03-09T17:30:00Z");
    assert!(matches!(met(&reply), Err(Refusal::Future { .. })));
    reply["properties"]["meta"]
        .as_object_mut()
        .unwrap()
        .remove("updated_at");
    assert_eq!(met(&reply).unwrap_err(), Refusal::NoIssueTime);
}

#[test]
fn the_radar_series_is_believed_before_the_summary_that_says_dry() {
    let forecast = nowcast(&value("met-norway/nowcast.json")).unwrap();
    assert_eq!(forecast.credit.service, "MET Norway nowcast");
    // Dry until 17:10, then rising to 4.8 mm/h at 18:25; the summary says 0.0 mm and cloudy.
    let wet = of(&forecast, Quantity::Rain, "2026-03-09T18:00:00Z").unwrap();
    assert!(wet > 1.0 && wet < 2.5, "{wet} mm");
    assert_eq!(of(&forecast, Quantity::Rain, "2026-03-09T17:00:00Z"), Some(0.0));
    assert_eq!(of(&forecast, Quantity::Gust, "2026-03-09T17:00:00Z"), Some(7.2));
    assert_eq!(forecast.offers.get(&Quantity::Cloud), None);
    let mut hole = value("met-norway/nowcast.json");
    step(&mut hole, 12)["instant"]["details"] = json!({});
    assert_eq!(
        of(&nowcast(&hole).unwrap(), Quantity::Rain, "2026-03-09T18:00:00Z"),
        None
    );
}

#[test]
fn without_radar_there_is_no_nowcast_and_an_error_page_is_no_forecast() {
    let said = nowcast(&value("met-norway/nowcast-without-radar.json"))
        .unwrap_err()
        .to_string();
    assert!(
        said.contains("no radar sees the place now") && said.contains("temporarily unavailable"),
        "{said}"
    );
    let page = b"<!DOCTYPE html><html><body>400 Bad Request</body></html>";
    with_context(NORTH, NOW, |context| {
        assert_eq!(met_norway::read(page, context).unwrap_err(), Refusal::WebPage);
        assert_eq!(met_norway::read(b"", context).unwrap_err(), Refusal::Empty);
        assert_eq!(met_norway::read(b"{}", context).unwrap_err(), Refusal::NoSteps);
    });
}

/// D2, D5.
#[test]
fn values_like_no_weather_and_another_place_are_refused() {
    let mut reply = value("met-norway/complete.json");
    step(&mut reply, 4)["instant"]["details"]["wind_speed"] = json!("3.1");
    let forecast = met(&reply).unwrap();
    assert_eq!(forecast.rejected, 1);
    assert_eq!(of(&forecast, Quantity::Wind, "2026-03-09T20:00:00Z"), None);
    for k in 5..9 {
        step(&mut reply, k)["instant"]["details"]["wind_speed"] = json!(-3.1);
    }
    assert!(matches!(met(&reply), Err(Refusal::Impossible { word: "wind", .. })));
    let mut reply = value("met-norway/complete.json");
    reply["geometry"]["coordinates"] = json!([176.7, -39.4, 20]);
    assert!(matches!(met(&reply), Err(Refusal::OtherPlace { .. })));
    reply["geometry"]["coordinates"] = json!([176.7, -39.6, 420]);
    assert!(matches!(met(&reply), Err(Refusal::OtherHeight { .. })));
}

#[test]
fn a_grid_tells_each_hour_of_its_blocks_and_when_it_was_made() {
    let forecast = grid(&value("nws/gridpoint.json")).unwrap();
    assert_eq!(forecast.issue.at, at("2026-03-09T14:40:00Z"));
    assert_eq!(forecast.issue.basis, IssueBasis::Said);
    assert_eq!(forecast.stamps.first, at("2026-03-09T13:00:00Z"));
    assert_eq!(forecast.stamps.count, 72);
    assert_eq!(
        of(&forecast, Quantity::Temperature, "2026-03-09T13:00:00Z"),
        Some(7.222)
    );
    assert_eq!(
        of(&forecast, Quantity::Temperature, "2026-03-09T15:00:00Z"),
        Some(8.333)
    );
    // 20 kn and 10 kn.
    assert_eq!(of(&forecast, Quantity::Gust, "2026-03-09T21:00:00Z"), Some(10.289));
    assert_eq!(of(&forecast, Quantity::Wind, "2026-03-10T00:00:00Z"), Some(5.144));
    assert_eq!(forecast.offers[&Quantity::Shortwave], Offer::Estimated);
    assert!(forecast.credit.line.starts_with("Data: NOAA"));
}

#[test]
fn rain_of_a_block_may_fall_in_any_hour_that_is_not_told_to_be_dry() {
    let forecast = grid(&value("nws/gridpoint.json")).unwrap();
    // Words name showers from 18 to 24 h, so a nil chance in the first two hours narrows nothing there.
    for stamp in ["2026-03-09T19:00:00Z", "2026-03-10T00:00:00Z"] {
        assert_eq!(of(&forecast, Quantity::Rain, stamp), Some(0.267), "{stamp}");
    }
    for stamp in ["2026-03-10T01:00:00Z", "2026-03-10T06:00:00Z"] {
        assert_eq!(of(&forecast, Quantity::Rain, stamp), Some(0.1), "{stamp}");
    }
    let mut reply = value("nws/gridpoint.json");
    reply["properties"]["weather"]["values"] = json!([]);
    let narrowed = grid(&reply).unwrap();
    assert_eq!(of(&narrowed, Quantity::Rain, "2026-03-09T20:00:00Z"), Some(0.0));
    assert_eq!(of(&narrowed, Quantity::Rain, "2026-03-09T21:00:00Z"), Some(0.4));
    let sum: f64 = (0..24).filter_map(|k| narrowed.runs[0].rain.get(k)).sum();
    assert!((sum - 2.2).abs() < 1e-4, "{sum} mm");
}

#[test]
fn in_an_hour_that_two_blocks_share_the_wetter_one_counts() {
    let mut reply = value("nws/gridpoint.json");
    reply["properties"]["quantitativePrecipitation"]["values"][2]["validTime"] =
        json!("2026-03-09T23:00:00+00:00/PT6H");
    reply["properties"]["quantitativePrecipitation"]["values"][2]["value"] = json!(6.0);
    let forecast = grid(&reply).unwrap();
    assert_eq!(of(&forecast, Quantity::Rain, "2026-03-09T23:00:00Z"), Some(0.267));
    assert_eq!(of(&forecast, Quantity::Rain, "2026-03-10T00:00:00Z"), Some(1.0));
    assert_eq!(of(&forecast, Quantity::Rain, "2026-03-10T05:00:00Z"), Some(1.0));
    // The next block begins an hour later: nothing is told of the hour between.
    assert_eq!(of(&forecast, Quantity::Rain, "2026-03-10T06:00:00Z"), None);
}

#[test]
fn thunder_fog_and_snow_come_from_the_words_however_unlikely() {
    let forecast = grid(&value("nws/gridpoint.json")).unwrap();
    assert_eq!(of(&forecast, Quantity::Thunder, "2026-03-09T19:00:00Z"), Some(1.0));
    assert_eq!(of(&forecast, Quantity::Thunder, "2026-03-09T18:00:00Z"), Some(0.0));
    assert_eq!(of(&forecast, Quantity::Fog, "2026-03-10T02:00:00Z"), Some(1.0));
    let mut reply = value("nws/gridpoint.json");
    reply["properties"]["weather"]["values"] = json!([]);
    reply["properties"]["probabilityOfThunder"]["values"][0]["value"] = json!(20);
    assert_eq!(
        of(&grid(&reply).unwrap(), Quantity::Thunder, "2026-03-09T18:00:00Z"),
        Some(1.0)
    );
}

/// D1, D3.
#[test]
fn a_null_block_is_a_hole_and_an_unknown_unit_or_block_of_time_fails_the_grid() {
    let mut reply = value("nws/gridpoint.json");
    reply["properties"]["windGust"]["values"][1]["value"] = json!(null);
    let forecast = grid(&reply).unwrap();
    assert_eq!(of(&forecast, Quantity::Gust, "2026-03-09T17:00:00Z"), None);
    let mut reply = value("nws/gridpoint.json");
    reply["properties"]["windGust"]["uom"] = json!("wmoUnit:furlong");
    assert!(
        grid(&reply)
            .unwrap_err()
            .to_string()
            .contains("\"windGust\" is in \"wmoUnit:furlong\"")
    );
    let mut reply = value("nws/gridpoint.json");
    reply["properties"]["skyCover"]["values"][0]["validTime"] = json!("today");
    assert_eq!(grid(&reply).unwrap_err(), Refusal::Block("today".to_owned()));
    let mut reply = value("nws/gridpoint.json");
    reply["properties"]["windGust"]["uom"] = json!("unit:km_h-1");
    assert!(grid(&reply).is_ok());
}

#[test]
fn the_hourly_text_forecast_a_problem_and_other_replies_are_refused_with_a_plain_reason() {
    let said = |file: &str| grid(&value(file)).unwrap_err().to_string();
    assert!(said("nws/forecast-hourly.json").contains("neither gusts nor amounts of rain"));
    assert!(said("nws/problem.json").contains("Forecast Grid Expired. The grid asked for was issued"));
    assert!(said("nws/points.json").contains("the directory of a point"));
    assert!(said("nws/observations.json").contains("a list of observations"));
    assert!(said("met-norway/compact.json").contains("no values with a time"));
}

#[test]
fn a_point_names_its_grid_its_zones_and_its_stations() {
    let points = nws::points(&own("nws/points.json")).unwrap();
    assert_eq!(points.grid_path(), "gridpoints/XYZ/10,20");
    assert_eq!(points.stations_path(), "gridpoints/XYZ/10,20/stations");
    assert_eq!(points.forecast_zone.as_deref(), Some("WAZ999"));
    assert_eq!(points.county.as_deref(), Some("WAC999"));
    assert_eq!(points.time_zone.as_deref(), Some("America/Los_Angeles"));
    assert!(points.has_stations);
    let mut hostile = value("nws/points.json");
    hostile["properties"]["gridId"] = json!("../x");
    assert_eq!(
        nws::points(hostile.to_string().as_bytes()).unwrap_err(),
        Refusal::NoGrid
    );
    assert!(nws::points(&own("nws/problem.json")).is_err());
}

#[test]
fn observations_are_sorted_told_once_and_a_gust_that_is_not_told_stays_unknown() {
    let metar = |message: &str, at: DateTime<Utc>| {
        assert!(message.starts_with("KXYZ 091613Z"));
        let valid = Valid::At(at);
        vec![(
            Measured::Wind,
            Told {
                valid,
                value: Some(6.2),
            },
        )]
    };
    let found = with_context(WEST, NOW, |context| {
        nws::observations(&own("nws/observations.json"), context, &metar).unwrap()
    });
    let times: Vec<String> = found.iter().map(|one| one.at.format("%H:%M").to_string()).collect();
    assert_eq!(times, ["13:53", "14:53", "15:53", "16:13"]);
    let value = |k: usize, which: Measured| {
        let (_, told) = found[k].told.iter().find(|(what, _)| *what == which).unwrap();
        told.value.map(|value| (value * 100.0).round() / 100.0)
    };
    assert_eq!((value(0, Measured::Temperature), found[0].rejected), (None, 1));
    assert_eq!(value(0, Measured::Wind), None);
    // Written as text, in °F and m/s; 0.0005 m of rain.
    assert_eq!(value(1, Measured::Temperature), Some(9.0));
    assert_eq!(value(1, Measured::Gust), Some(10.5));
    assert_eq!(value(1, Measured::Rain), Some(0.5));
    assert_eq!(value(2, Measured::Gust), None);
    assert!(value(2, Measured::DewPoint).is_some_and(|dew| (3.0..5.5).contains(&dew)));
    assert!(found[3].from_metar && !found[2].from_metar);
    assert_eq!(found[3].station, "KXYZ");
    let hour_before = found[1].told.iter().find(|(what, _)| *what == Measured::Rain).unwrap();
    let Valid::Over { from, to } = hour_before.1.valid else {
        panic!("rain has a span")
    };
    assert_eq!(to - from, TimeDelta::hours(1));
}

#[test]
fn hours_are_made_of_15_minute_values_where_there_are_no_hourly_ones() {
    let place = (46.5, 11.3, 262.0);
    let read = |reply: &Value| {
        with_context(place, NOW, |context| {
            open_meteo::read(reply.to_string().as_bytes(), context)
        })
    };
    let mut reply = value("open-meteo/quarters.json");
    let forecast = read(&reply).unwrap();
    // Four quarters of 0.3 mm, one gust of 11 m/s and more, thunder at 22:30.
    assert_eq!(of(&forecast, Quantity::Rain, "2026-03-09T21:00:00Z"), Some(0.9));
    assert_eq!(of(&forecast, Quantity::Rain, "2026-03-09T20:00:00Z"), Some(0.3));
    assert!(of(&forecast, Quantity::Gust, "2026-03-10T02:00:00Z").is_some_and(|gust| gust > 10.0));
    assert_eq!(of(&forecast, Quantity::Thunder, "2026-03-09T23:00:00Z"), Some(1.0));
    assert_eq!(forecast.coarse_from, None);
    assert_eq!(forecast.offers[&Quantity::Shortwave], Offer::Given);
    // D1: one quarter missing.
    reply["minutely_15"]["precipitation"][83] = json!(null);
    assert_eq!(of(&read(&reply).unwrap(), Quantity::Rain, "2026-03-09T21:00:00Z"), None);
    // D3.
    reply["minutely_15_units"]["precipitation"] = json!("cups");
    assert!(matches!(read(&reply), Err(Refusal::Unit { .. })));
}

#[test]
fn no_alert_rests_on_quarters_that_no_model_forecasts() {
    let mut reply = value("open-meteo/quarters.json");
    let read = |reply: &Value, place| {
        with_context(place, NOW, |context| {
            open_meteo::quarters(reply.to_string().as_bytes(), context)
        })
        .unwrap()
    };
    let alps = read(&reply, (46.5, 11.3, 262.0));
    assert_eq!(alps.native, Some("DWD ICON-D2"));
    assert_eq!(alps.for_alerts().unwrap()[&Quantity::Rain].len(), 144);
    reply["latitude"] = json!(-39.6);
    reply["longitude"] = json!(176.7);
    let south = read(&reply, (-39.6, 176.7, 262.0));
    assert_eq!((south.native, south.for_alerts()), (None, None));
    assert_eq!(south.told[&Quantity::Rain].len(), 144);
}

#[test]
fn the_archive_is_read_as_past_however_long_ago_and_nothing_ahead_of_now_is_kept() {
    let reply = crate::replies::reply(2, 1).to_string();
    let read = |now: &str| {
        with_context(LARKRISE, now, |context| {
            open_meteo::read_past(reply.as_bytes(), context)
        })
    };
    let old = read("2027-03-09T16:30:00Z").unwrap();
    assert_eq!(old.runs[0].rain.known(), 7 * 24);
    let past = read(NOW).unwrap();
    assert_eq!(
        past.stamps.at(past.runs[0].rain.horizon() - 1),
        at("2026-03-09T16:00:00Z")
    );
}

#[test]
fn a_forecast_without_wind_direction_is_read_and_says_so() {
    let mut reply = crate::replies::reply(3, 1);
    reply["hourly"].as_object_mut().unwrap().remove("wind_direction_10m");
    let forecast = with_context(LARKRISE, NOW, |context| {
        open_meteo::read(reply.to_string().as_bytes(), context).unwrap()
    });
    assert_eq!(forecast.offers[&Quantity::WindDirection], Offer::Estimated);
    let source = Source {
        name: "main",
        forecast: &forecast,
        product: Product::HourlyModel,
        standing: Standing::First,
    };
    let line = stitch(&[source], at(NOW), |_| 0.5).unwrap();
    assert!(line.estimated.contains(&Quantity::WindDirection));
    assert_eq!(line.runs[0].missing(line.now_row), None);
    assert_eq!(line.past_hours, 120);
    assert!(line.remarks.iter().any(|remark| remark.contains("no wind direction")));
}
