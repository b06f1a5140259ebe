//! `covercast demo`: the main job on an invented orchard, with a fixed clock. Everything it reads is in the program.

use std::fs;
use std::path::Path;

use chrono::{DateTime, Utc};
use clap::Args;

use super::{Failure, loaded};
use crate::advice::json;
use crate::daemon::{road, schedule};
use crate::deliver::{Mail, Picture};
use crate::farm::Farm;
use crate::pipeline::{self, Context, Rendered};
use crate::record::Entry;
use crate::settings::{self, FarmFiles, Service};
use crate::sources::Role;
use crate::sources::read_reply;
use crate::sources::round::Turn;
use crate::weather::{Credit, Product};

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
    let files = FarmFiles {
        folder_name: "larkrise",
        farm: FARM,
        harvest: HARVEST,
        blackouts: Some(BLACKOUTS),
    };
    let farm = settings::farm_from_text(&files)
        .map_err(|mistakes| loaded::refused(&mistakes))?
        .farm;
    let service = settings::service_from_text(SERVICE, Path::new("."), now)
        .map_err(|mistakes| loaded::refused(&mistakes))?
        .service;
    let entries: Vec<Entry> = serde_json::from_str(RECORD).map_err(|error| broken("record", &error.to_string()))?;
    let mut forecast =
        read_reply(FORECAST, &farm.site, fetched, None).map_err(|refusal| broken("forecast", &refusal.to_string()))?;
    // The weather is invented; no service is to be credited for it.
    forecast.credit = Credit::invented();
    let turn = Turn::recorded("ensemble", Role::Members, Product::SixHourlyModel, Ok(forecast));
    let timeline = road::timeline(&farm, &[turn], now);
    let next_letter = schedule::next_due(&service.daemon.letter, &farm.site.zone, now).map_or(now, |due| due.at);
    let context = Context {
        next_letter,
        number: LETTER_NUMBER,
        yesterday: None,
        warnings: &[],
    };
    let morning = pipeline::morning(&farm, &entries, timeline.as_ref(), now, context);
    let rendered =
        pipeline::render(&morning.letter, LETTER_NUMBER).map_err(|error| broken("HTML", &error.to_string()))?;
    let facts = json::render(&morning.letter).map_err(|error| broken("JSON", &error.to_string()))?;
    write(&farm, &service, &morning.letter.subject, now, &rendered, &facts)?;
    Ok(format!(
        "{}\nWritten to ./{FOLDER}/: letter.json, letter.html, chart.png, chart.svg, season.png, season.svg, windows.ics and one .eml for each reader.\n",
        rendered.text
    ))
}

/// Everything a reader gets, into files.
fn write(
    farm: &Farm,
    service: &Service,
    subject: &str,
    now: DateTime<Utc>,
    rendered: &Rendered,
    facts: &str,
) -> Result<(), Failure> {
    let folder = Path::new(FOLDER);
    let mut pictures = [&rendered.png, &rendered.season_png].into_iter().flatten();
    if let Some(error) = pictures.find_map(|png| png.as_ref().err()) {
        return Err(broken("picture", &error.to_string()));
    }
    let failed = |error: std::io::Error| Failure {
        code: 1,
        text: format!("./{FOLDER}/ cannot be written ({error}); go to a folder of your own and try again"),
    };
    fs::create_dir_all(folder).map_err(failed)?;
    fs::write(folder.join("letter.json"), facts).map_err(failed)?;
    for (svg, name) in [(&rendered.svg, "chart.svg"), (&rendered.season_svg, "season.svg")] {
        if let Some(svg) = svg {
            fs::write(folder.join(name), svg).map_err(failed)?;
        }
    }
    for (_, name, png) in rendered.drawn() {
        fs::write(folder.join(name), png).map_err(failed)?;
    }
    if let Some(calendar) = &rendered.calendar {
        fs::write(folder.join("windows.ics"), calendar).map_err(failed)?;
    }
    for person in farm.people.iter().filter(|person| person.letter) {
        let Some(address) = &person.email else { continue };
        let mail = Mail {
            farm: farm.id.0.clone(),
            kind: "morning",
            date: farm.site.zone.day(now),
            revision: 0,
            name: person.name.clone(),
            address: address.clone(),
            subject: subject.to_owned(),
            text: rendered.text.clone(),
            html: rendered.html.clone(),
            pictures: rendered.drawn().map(Picture::of).collect(),
            calendar: rendered.calendar.clone(),
            issued: now,
        };
        let parcel = mail
            .parcel(&service.deliver.from)
            .map_err(|fault| broken("mail", &fault.to_string()))?;
        fs::write(
            folder.join(format!("{}.eml", person.name.to_lowercase())),
            parcel.message,
        )
        .map_err(failed)?;
    }
    Ok(())
}

fn moment(text: &str) -> Result<DateTime<Utc>, Failure> {
    text.parse().map_err(|_| broken("clock", text))
}

/// Only a fault of the program itself can end here: its own demo data are not as they should be.
fn broken(what: &str, why: &str) -> Failure {
    Failure {
        code: 1,
        text: format!("the demo's {what} does not fit this program: {why}"),
    }
}
