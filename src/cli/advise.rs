//! `covercast advise`: one morning's advice, printed.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use chrono::{DateTime, TimeDelta, Utc};
use clap::{Args, ValueEnum};

use super::{Failure, loaded};
use crate::advice::{html, json, text};
use crate::daemon::{self, Clock, road, schedule};
use crate::farm::Farm;
use crate::pipeline::{self, Context, Told};
use crate::record::Entry;
use crate::settings::{Service, clean};
use crate::sources::round::{Turn, round};
use crate::sources::{Form, Role, cap, met_norway, prepare_tls, read_reply, recognise};
use crate::store::Store;
use crate::weather::Product;
use crate::weather::forecast::Kind;
use crate::weather::warning::{Code, Register};

/// What to advise on.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Folder of the farm
    #[arg(long, value_name = "DIR")]
    farm: PathBuf,
    /// Service file; `service.toml` in the farm folder if not named
    #[arg(long, value_name = "FILE")]
    service: Option<PathBuf>,
    /// The time to advise at, as 2026-03-10T05:30:00+13:00; now if not given
    #[arg(long, value_name = "RFC3339")]
    now: Option<DateTime<Utc>>,
    /// A recorded reply of a service, forecast or official warnings, instead of asking; may be given several times
    #[arg(long, value_name = "FILE")]
    forecast: Vec<PathBuf>,
    /// How to print it
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    Text,
    Json,
    Html,
}

/// Prints one morning's advice.
pub(super) fn advise(arguments: &Arguments) -> Result<String, Failure> {
    let now = arguments.now.unwrap_or_else(|| Clock::Wall.now());
    let farm = loaded::farm(&arguments.farm)?;
    let file = loaded::service_file(arguments.service.as_ref(), &arguments.farm);
    // With recorded replies a farm folder alone is enough.
    let needed = arguments.forecast.is_empty() || arguments.service.is_some() || file.exists();
    let service = needed
        .then(|| loaded::service(arguments.service.as_ref(), &arguments.farm, now))
        .transpose()?;
    let turns = match &service {
        Some(service) if arguments.forecast.is_empty() => ask(service, &farm, now)?,
        _ => recorded(&arguments.forecast, &farm, &codes(service.as_ref()), now)?,
    };
    let memory = service
        .as_ref()
        .map(|service| remembered(service, &farm, now))
        .transpose()?
        .unwrap_or_else(Memory::empty);
    let timeline = road::timeline_told(&farm, &turns, &memory.told, now).ok_or_else(|| no_forecast(&turns))?;
    let next_letter = service
        .as_ref()
        .and_then(|service| schedule::next_due(&service.daemon.letter, &farm.site.zone, now))
        .map_or(now + TimeDelta::days(1), |due| due.at);
    let warnings = road::warnings(&farm, &turns, &memory.register, now);
    let context = Context {
        next_letter,
        number: memory.number,
        yesterday: memory.yesterday.as_ref(),
        warnings: &warnings,
    };
    let letter = pipeline::morning(&farm, &memory.entries, Some(&timeline), now, context).letter;
    let failed = |what: String| Failure {
        code: 1,
        text: format!("the letter could not be written as {what}; `--format text` always works"),
    };
    match arguments.format {
        Format::Text => Ok(text::render(&letter)),
        Format::Html => html::render(&letter, None, None).map_err(|error| failed(format!("HTML ({error})"))),
        Format::Json => json::render(&letter).map_err(|error| failed(format!("JSON ({error})"))),
    }
}

/// What the state folder remembers of a farm.
#[derive(Debug)]
pub(super) struct Memory {
    pub(super) entries: Vec<Entry>,
    pub(super) number: u32,
    pub(super) yesterday: Option<crate::advice::letter::Digest>,
    pub(super) told: Told,
    pub(super) register: Register,
}

impl Memory {
    /// Nothing was told, and the letter is the first.
    fn empty() -> Self {
        Self {
            entries: Vec::new(),
            number: 1,
            yesterday: None,
            told: Told::default(),
            register: Register::default(),
        }
    }
}

fn remembered(service: &Service, farm: &Farm, now: DateTime<Utc>) -> Result<Memory, Failure> {
    let store = Store::look(&service.state)?;
    let (told, register) = told(service, farm, store.as_ref(), now)?;
    let Some(store) = store else {
        return Ok(Memory {
            told,
            register,
            ..Memory::empty()
        });
    };
    let before = store.letter_before(&farm.id, farm.site.zone.day(now))?;
    Ok(Memory {
        entries: store.entries(&farm.id)?,
        number: store.next_number(&farm.id)?.0,
        yesterday: before.and_then(|letter| road::digest(&letter.facts)),
        told,
        register,
    })
}

/// What the store remembers of weather and warnings, and what lies in the stations' folders now.
fn told(
    service: &Service,
    farm: &Farm,
    store: Option<&Store>,
    now: DateTime<Utc>,
) -> Result<(Told, Register), Failure> {
    let mut memory = match store {
        Some(store) => daemon::Memory::of(store, farm, &service.stations, now)?,
        None => daemon::Memory::default(),
    };
    for station in service.stations.iter().filter(|station| station.tells(&farm.id)) {
        match station.read_now(now) {
            Ok(batch) if batch.readings.is_empty() => {}
            Ok(batch) => memory.readings.push((station.mast(&farm.site), batch.readings)),
            Err(fault) => eprintln!("covercast: station {}: {}", clean(&station.name), clean(&fault)),
        }
    }
    Ok((memory.told(), memory.warnings))
}

fn ask(service: &Service, farm: &Farm, now: DateTime<Utc>) -> Result<Vec<Turn>, Failure> {
    prepare_tls();
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure {
            code: 1,
            text: format!("no connection can be made on this machine: {error}"),
        })?;
    let turns = runtime.block_on(round(&service.sources, &farm.site, now));
    for fault in turns.iter().filter_map(|turn| turn.fault.as_ref()) {
        eprintln!("covercast: {}", clean(fault));
    }
    Ok(turns)
}

/// Codes of regions of all services: a recorded file does not tell whose it is.
fn codes(service: Option<&Service>) -> BTreeSet<Code> {
    let services = service.iter().flat_map(|service| &service.sources.services);
    services.flat_map(|service| service.codes.clone()).collect()
}

/// Recorded replies, each read or refused with its reason; what can be read is used.
fn recorded(files: &[PathBuf], farm: &Farm, codes: &BTreeSet<Code>, now: DateTime<Utc>) -> Result<Vec<Turn>, Failure> {
    let mut turns = Vec::new();
    for file in files {
        let shown = clean(&file.display().to_string());
        let bytes = std::fs::read(file).map_err(|error| Failure {
            code: 3,
            text: format!("{shown} cannot be read ({error}); no advice was given"),
        })?;
        turns.push(if has_warnings(&bytes) {
            Turn::recorded_warnings(&shown, bytes, codes.clone(), now)
        } else {
            one_recorded(&bytes, file, farm, now)
        });
    }
    for fault in turns
        .iter()
        .filter(|turn| turn.forecast.is_none())
        .filter_map(|turn| turn.fault.as_ref())
    {
        if turns.iter().any(|turn| turn.forecast.is_some()) {
            eprintln!("covercast: {fault}");
        }
    }
    Ok(turns)
}

/// Whether a recorded file holds official warnings. An archive may hold them or a forecast.
fn has_warnings(bytes: &[u8]) -> bool {
    let form = recognise(bytes);
    if matches!(form, Form::WarningsJson | Form::Cap | Form::Index) {
        return cap::read(bytes).is_ok();
    }
    form == Form::Zip && cap::read(bytes).is_ok_and(|feed| !feed.warnings.is_empty())
}

fn one_recorded(bytes: &[u8], file: &Path, farm: &Farm, now: DateTime<Utc>) -> Turn {
    let name = clean(&file.display().to_string());
    let outcome = read_reply(bytes, &farm.site, now, None);
    let (role, product) = match &outcome {
        Ok(forecast) if forecast.kind == Kind::Members => (Role::Members, Product::SixHourlyModel),
        Ok(forecast) if met_norway::is_part(forecast) => (Role::Check, Product::HourlyModel),
        Ok(_) | Err(_) => (Role::Main, Product::HourlyModel),
    };
    let outcome = outcome.map_err(|refusal| format!("{name}: {}", clean(&refusal.to_string())));
    Turn::recorded(&name, role, product, outcome)
}

fn no_forecast(turns: &[Turn]) -> Failure {
    let reasons: Vec<&str> = turns.iter().filter_map(|turn| turn.fault.as_deref()).collect();
    let reasons = if reasons.is_empty() {
        "no forecast service is named in the service file".to_owned()
    } else {
        reasons.join("; ")
    };
    Failure {
        code: 3,
        text: format!("no forecast could be read: {reasons}"),
    }
}
