//! `covercast demo`: the main job on an invented orchard, with a fixed clock. Everything it reads is in the program.

use std::fs;
use std::path::Path;

use chrono::{DateTime, Utc};
use clap::Args;

use super::{Failure, loaded};
use crate::advice::{chart, json};
use crate::daemon::{road, schedule};
use crate::deliver::{Mail, Picture};
use crate::farm::Farm;
use crate::pipeline::{self, CHART_ID, Context, Rendered};
use crate::record::Entry;
use crate::settings::{self, FarmFiles, Service};
use crate::sources::read_reply;
use crate::sources::round::Turn;
use crate::sources::{Role, Settings};
use crate::store::Number;
use crate::weather::Product;

/// Takes no options: it is the same everywhere.
#[derive(Debug, Args)]
pub(super) struct Arguments {}

const FOLDER: &str = "covercast-demo";
const FARM: &str = include_str!("../../demo-data/farm/farm.toml");
const HARVEST: &str = include_str!("../../demo-data/farm/harvest.csv");
const BLACKOUTS: &str = include_str!("../../demo-data/farm/blackouts.csv");
const SERVICE: &str = include_str!("../../demo-data/farm/service.toml");
const RECORD: &str = include_str!("../../demo-data/record.json");
const FORECAST: &[u8] = include_bytes!("../../demo-data/forecast-ensemble.json");
/// Tuesday 10 March 2026, 05:30 on the orchard's clock.
const NOW: &str = "2026-03-09T16:30:00Z";
/// When the recorded forecast was fetched.
const FETCHED: &str = "2026-03-09T12:00:00Z";
const LETTER_NUMBER: u32 = 37;

/// Prints the letter and writes mail, chart, calendar and JSON into `./covercast-demo/`.
pub(super) fn demo(_: &Arguments) -> Result<String, Failure> {
    let (now, fetched) = (moment(NOW)?, moment(FETCHED)?);
    let files = FarmFiles { farm: FARM, harvest: Some(HARVEST), blackouts: Some(BLACKOUTS), name: "larkrise" };
    let farm = settings::farm_from_text(&files).map_err(|mistakes| loaded::refused(&mistakes))?.farm;
    let service = settings::service_from_text(SERVICE, Path::new("."), now).map_err(|mistakes| loaded::refused(&mistakes))?.service;
    let entries: Vec<Entry> = serde_json::from_str(RECORD).map_err(|error| broken("record", &error.to_string()))?;
    let forecast = read_reply(FORECAST, &farm.site, fetched, None).map_err(|refusal| broken("forecast", &refusal.to_string()))?;
    let turn = Turn {
        service: "ensemble".to_owned(),
        role: Role::Members,
        product: Product::SixHourlyModel,
        forecast: Some(forecast),
        fault: None,
        failing_since: None,
        notes: Vec::new(),
    };
    let timeline = road::timeline(&farm, &[turn], now);
    let next_letter = schedule::next_due(&service.daemon.letter, &farm.site.zone, now).map_or(now, |due| due.at);
    let context = Context { next_letter, number: LETTER_NUMBER, yesterday: None };
    let morning = pipeline::morning(&farm, &entries, timeline.as_ref(), now, context);
    let rendered = pipeline::render(&morning.letter, LETTER_NUMBER).map_err(|error| broken("HTML", &error.to_string()))?;
    let facts = json::render(&morning.letter).map_err(|error| broken("JSON", &error.to_string()))?;
    write(&farm, &service, &morning.letter.subject, now, &rendered, &facts)?;
    Ok(format!("{}\nWritten to ./{FOLDER}/: letter.json, letter.html, chart.png, chart.svg, windows.ics and one .eml for each reader.\n", rendered.text))
}
