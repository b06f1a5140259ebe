//! `covercast sources`: which weather services cover a farm, what each offers there and on which terms, and a block
//! for the service file.

use std::fmt::Write as _;
use std::path::PathBuf;

use chrono::{DateTime, Utc};
use clap::Args;

use super::check::report::Report;
use super::{Failure, loaded};
use crate::farm::Farm;
use crate::farm::site::Site;
use crate::settings::{self, clean};
use crate::sources::catalogue::{CATALOGUE, Entry, holds, warnings_feed};
use crate::sources::round::{Turn, round};
use crate::sources::{Gives, Service, ServiceKind, Settings, load_state, met_norway, prepare_tls, save_state};
use crate::weather::{Forecast, Kind, Offer, Quantity};

/// Whose services.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Folder with farm.toml
    #[arg(long, default_value = ".", value_name = "DIR")]
    farm: PathBuf,
    /// Service file whose services are tried; without it the service.toml in the farm folder
    #[arg(long, value_name = "FILE")]
    service: Option<PathBuf>,
    /// Ask each service of the service file once, and say what it answered
    #[arg(long = "try")]
    ask: bool,
}

/// The table for a farm; with `--try` what the services of its service file answer.
pub(super) fn sources(arguments: &Arguments, now: DateTime<Utc>) -> Result<String, Failure> {
    let farm = settings::load_farm(&arguments.farm)
        .map_err(|mistakes| loaded::refused(&mistakes))?
        .farm;
    if arguments.ask {
        let service = loaded::service(arguments.service.as_ref(), &arguments.farm, now)?;
        return tried(&farm, &service.sources, now);
    }
    Ok(table(&farm))
}

fn table(farm: &Farm) -> String {
    let site = &farm.site;
    let mut out = Report::default();
    out.wrapped(&format!("Weather services for {}.", clean(&site.name)));
    for entry in CATALOGUE.iter().filter(|entry| entry.covers(site)) {
        out.line("");
        out.line(&format!("{} (kind \"{}\")", entry.title, entry.kind.word()));
        for fact in facts(entry, site) {
            out.wrapped(&format!("  {fact}"));
        }
    }
    out.line("");
    let elsewhere: Vec<&str> = CATALOGUE
        .iter()
        .filter(|entry| !entry.covers(site))
        .map(|entry| entry.title)
        .collect();
    if !elsewhere.is_empty() {
        out.wrapped(&format!("Not for this place: {}.", elsewhere.join("; ")));
    }
    out.wrapped(
        "None of them promises to be right or in time. Official warnings are a help beside what you see and \
         hear from the weather service itself, not in its place.",
    );
    out.line("");
    out.line("For service.toml, in place of the [[weather]] blocks there:");
    out.line("");
    out.text.push_str(&proposed(site));
    out.text
}

fn facts(entry: &Entry, site: &Site) -> Vec<String> {
    let yes_no = |yes: bool| if yes { "yes" } else { "no" };
    let mut facts = Vec::new();
    if entry.warnings {
        facts.push(format!("Covers {}. Warnings: yes.", entry.area));
    } else {
        let gusts = match entry.gusts {
            Some(areas) if holds(areas, site) => "yes",
            Some(_) | None if entry.kind == ServiceKind::MetNorwayNowcast => "no",
            Some(_) | None => "not here, estimated from wind",
        };
        let sunshine = match entry.kind.gives() {
            Gives::Forecast if !entry.sunshine && entry.kind != ServiceKind::MetNorwayNowcast => {
                "no, estimated from cloud"
            }
            Gives::Forecast | Gives::Past | Gives::Warnings => yes_no(entry.sunshine),
        };
        let quarters = match entry.quarter_hours {
            Some(areas) if holds(areas, site) => "yes",
            Some(_) => "interpolated here",
            None => "no",
        };
        facts.push(format!(
            "Covers {}. Gusts: {gusts}. Sunshine: {sunshine}. Members: {}. 15 minutes: {quarters}. Warnings: no.",
            entry.area,
            yes_no(entry.members),
        ));
    }
    facts.push(format!("Good to know: {}.", entry.note));
    facts.push(format!(
        "Free for a farm that sells its fruit: {}. Licence: {}.",
        if entry.free_for_farms {
            "yes"
        } else {
            "no, it needs a paid key (key_file)"
        },
        entry.licence
    ));
    facts.push(format!("Credit line: {}.", entry.credit.trim_end_matches('.')));
    facts
}

/// `[[weather]]` blocks: what is free for every farm is in force, the rest stands as comment with what it needs.
fn proposed(site: &Site) -> String {
    let mut text = String::new();
    let block = |entry: &Entry, name: &str, base_url: &str, mark: &str, more: &str| {
        format!(
            "{mark}[[weather]]\n{mark}name = \"{name}\"\n{mark}kind = \"{}\"\n{mark}base_url = \"{base_url}\"\n{more}\n",
            entry.kind.word()
        )
    };
    for entry in CATALOGUE.iter().filter(|entry| entry.covers(site)) {
        let piece = match entry.kind {
            ServiceKind::NwsGridpoint => block(entry, "weather service", entry.base_url, "", ""),
            ServiceKind::NwsAlerts => block(entry, "warnings", entry.base_url, "", ""),
            ServiceKind::MetNorwayComplete => block(entry, "met norway", entry.base_url, "", ""),
            ServiceKind::MetNorwayNowcast => block(entry, "radar", entry.base_url, "", ""),
            ServiceKind::Mosmix => {
                "# The nearest station of the list of MOSMIX stations, by distance and height:\n".to_owned()
                    + &block(entry, "station forecast", entry.base_url, "#", "#station = \"\"\n")
            }
            ServiceKind::OpenMeteoEnsemble => {
                "# With a paid key (the host then begins with customer-), or if your use is not commercial. It has members,\n\
                     # so that chances can be given:\n"
                    .to_owned()
                    + &block(entry, "ensemble", entry.base_url, "#", "#key_file = \"weather-key\"\n")
            }
            ServiceKind::OpenMeteoForecast => {
                "# Likewise; tells sunshine, gusts and its own last five days:\n".to_owned()
                    + &block(entry, "forecast", entry.base_url, "#", "#key_file = \"weather-key\"\n")
            }
            ServiceKind::Cap => match warnings_feed(site.zone.name()) {
                Some(feed) => {
                    "# Official warnings of your country; read the terms of the feed first:\n".to_owned()
                        + &block(entry, "warnings", &feed, "#", "")
                }
                None => continue,
            },
            ServiceKind::OpenMeteoQuarterHours
            | ServiceKind::OpenMeteoArchive
            | ServiceKind::MetNorwayCompact
            | ServiceKind::NwsObservations => continue,
        };
        text.push_str(&piece);
    }
    text
}

/// Asks every service once, side by side.
fn tried(farm: &Farm, settings: &Settings, now: DateTime<Utc>) -> Result<String, Failure> {
    prepare_tls();
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure {
            code: 1,
            text: format!("no connection can be made on this machine: {error}"),
        })?;
    // Who asks by hand has put something right; a service that has asked us to wait is waited for all the same.
    for service in &settings.services {
        let mut state = load_state(settings, service, &farm.site);
        state.tried_by_hand();
        // Not written, the wait stays: it is said below.
        let _ = save_state(settings, service, &farm.site, &state);
    }
    let turns = runtime.block_on(round(settings, &farm.site, now));
    let mut out = Report::default();
    out.wrapped(&format!("The services of {} answer:", clean(&farm.site.name)));
    for (service, turn) in settings.services.iter().zip(&turns) {
        out.line("");
        out.line(&format!("{} (kind \"{}\")", clean(&service.name), service.kind.word()));
        for line in answer(farm, service, turn) {
            out.wrapped(&format!("  {line}"));
        }
    }
    let failed = turns.iter().filter(|turn| turn.fault.is_some()).count();
    out.line("");
    out.line(&match failed {
        0 => "All of them answer.".to_owned(),
        many => format!("{many} of {} failed.", turns.len()),
    });
    Ok(out.text)
}

fn answer(farm: &Farm, service: &Service, turn: &Turn) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(fault) = &turn.fault {
        let own = fault.strip_prefix(&format!("{}: ", service.name)).unwrap_or(fault);
        lines.push(format!("FAILED: {}.", clean(own).trim_end_matches('.')));
    }
    let moment = |at: DateTime<Utc>| farm.site.zone.local(at).format("%a %-d %b %H:%M").to_string();
    let kept = if turn.fault.is_some() {
        "Kept from before"
    } else {
        "Answers"
    };
    if let Some(forecast) = &turn.forecast {
        lines.push(format!(
            "{kept}: {}, issued {}, until {}.",
            members(forecast),
            moment(forecast.issue.at),
            moment(forecast.stamps.at(forecast.stamps.count))
        ));
        lines.push(quantities(forecast));
        lines.push(format!(
            "Credit line: {}.",
            clean(&forecast.credit.line).trim_end_matches('.')
        ));
    }
    if let Some(reply) = &turn.reply {
        lines.push(format!(
            "{kept}: {} bytes of {}, fetched {}.",
            reply.bytes.len(),
            match service.kind.gives() {
                Gives::Warnings => "warnings",
                Gives::Past | Gives::Forecast => "readings",
            },
            moment(reply.fetched)
        ));
    }
    lines.extend(turn.notes.iter().map(|note| clean(note)));
    lines
}

fn members(forecast: &Forecast) -> String {
    match forecast.kind {
        Kind::Members => format!("{} members", forecast.runs.len()),
        Kind::Single if met_norway::is_part(forecast) => "a nowcast".to_owned(),
        Kind::Single => "one forecast".to_owned(),
    }
}

fn quantities(forecast: &Forecast) -> String {
    let mut text = String::new();
    for (head, wanted) in [
        ("Gives", Offer::Given),
        ("estimated", Offer::Estimated),
        ("not usable", Offer::Refused),
        ("gone", Offer::Gone),
    ] {
        let words: Vec<&str> = Quantity::ALL
            .into_iter()
            .filter(|quantity| forecast.offers.get(quantity) == Some(&wanted))
            .map(Quantity::word)
            .collect();
        if !words.is_empty() {
            let _ = write!(
                text,
                "{}{head}: {}",
                if text.is_empty() { "" } else { "; " },
                words.join(", ")
            );
        }
    }
    text + "."
}
