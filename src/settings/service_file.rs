//! `service.toml`, the operator's file: state, weather services, mail, schedule, log.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use chrono::{DateTime, NaiveTime, TimeDelta, Utc};

use super::disk;
use super::file::File;
use super::mail_file;
use super::station_file;
use super::table::Table;
use super::words::line_fault;
use super::{Log, Service};
use crate::daemon::schedule::{self, CronMistake};
use crate::daemon::{LetterTime, Settings as Schedule};
use crate::sources::{Gives, Role, Service as Source, ServiceKind, Settings as Sources};
use crate::weather::Product;
use crate::weather::warning::Code;

pub(super) const ROOT: &[&str] = &["state", "contact", "mail", "weather", "station", "schedule", "log"];
pub(super) const WEATHER: &[&str] = &[
    "name",
    "kind",
    "role",
    "base_url",
    "key_file",
    "models",
    "station",
    "codes",
    "days",
    "product",
    "allow_loopback",
];
pub(super) const SCHEDULE: &[&str] = &["letter_at", "cron", "pull_minutes"];
pub(super) const LOG: &[&str] = &["format"];

const KINDS: &[(&str, ServiceKind)] = &[
    ("open-meteo-forecast", ServiceKind::OpenMeteoForecast),
    ("open-meteo-ensemble", ServiceKind::OpenMeteoEnsemble),
    ("open-meteo-15-minute", ServiceKind::OpenMeteoQuarterHours),
    ("open-meteo-archive", ServiceKind::OpenMeteoArchive),
    ("met-norway-complete", ServiceKind::MetNorwayComplete),
    ("met-norway-compact", ServiceKind::MetNorwayCompact),
    ("met-norway-nowcast", ServiceKind::MetNorwayNowcast),
    ("nws-gridpoint", ServiceKind::NwsGridpoint),
    ("nws-observations", ServiceKind::NwsObservations),
    ("nws-alerts", ServiceKind::NwsAlerts),
    ("mosmix", ServiceKind::Mosmix),
    ("cap", ServiceKind::Cap),
];
const ROLES: &[(&str, Role)] = &[("main", Role::Main), ("members", Role::Members), ("check", Role::Check)];
const PRODUCTS: &[(&str, Product)] = &[
    ("hourly", Product::HourlyModel),
    ("six-hourly", Product::SixHourlyModel),
];
const LOGS: &[(&str, Log)] = &[("text", Log::Text), ("json", Log::Json)];

/// When the letter goes out if nothing is told.
pub const LETTER_AT: NaiveTime = match NaiveTime::from_hms_opt(5, 30, 0) {
    Some(time) => time,
    None => NaiveTime::MIN,
};

/// Reads `service.toml`; names of files in it count from `folder`. Whole only if `file` holds no mistake.
pub(super) fn read(file: &File, folder: &Path, now: DateTime<Utc>) -> Option<Service> {
    let body = file.parse()?;
    let root = Table::root(file, &body);
    root.knows(ROOT);
    root.needs(&[
        (
            "contact",
            "contact = \"farm@example.org\", an address or page the weather services can turn to",
        ),
        ("weather", "[[weather]] with name, kind and base_url"),
        ("mail", "[mail] with from and transport"),
    ]);
    let state = path(&root, "state", folder).unwrap_or_else(|| folder.join("state"));
    if state.exists() && !state.is_dir() {
        root.wrong(
            "state",
            "state is not a folder",
            &state.display().to_string(),
            "name a folder; it is made if missing",
        );
    }
    let deliver = root.table("mail").map(|table| mail_file::read(&table, folder, &state));
    let daemon = match root.table("schedule") {
        Some(table) => daily(&table, now),
        None => Schedule {
            letter: LetterTime::Daily(LETTER_AT),
            pull_minutes: 60,
        },
    };
    let sources = Sources {
        contact: contact(&root).unwrap_or_default(),
        services: services(&root, folder),
        cache: state.join("cache"),
        // A round comes a little early or late, and sooner where a service has failed.
        interval: TimeDelta::minutes(i64::from(daemon.pull_minutes)) * 4 / 5,
    };
    let log = root.table("log").map_or(Log::Text, |table| {
        table.knows(LOG);
        table.choice("format", LOGS).unwrap_or(Log::Text)
    });
    Some(Service {
        stations: station_file::stations(&root, folder),
        state,
        sources,
        deliver: deliver?,
        daemon,
        log,
    })
}

/// A name of a file or folder.
pub(super) fn path(table: &Table<'_>, key: &str, folder: &Path) -> Option<PathBuf> {
    let name = table.text(key, 300)?;
    match disk::place(&name, folder) {
        Ok(path) => Some(path),
        Err(fault) => {
            table.wrong(
                key,
                &format!("{key} cannot be used"),
                fault,
                "a name below the folder of this file, or a whole path from /",
            );
            None
        }
    }
}

/// A file with a password or key, which only its owner may read.
pub(super) fn secret(table: &Table<'_>, key: &str, folder: &Path) -> Option<PathBuf> {
    let path = path(table, key, folder)?;
    let shown = table.file.text.slice(table.span(key));
    let shown = shown.trim_matches(['"', '\'']);
    if let Some(fault) = disk::secret_fault(&path, shown) {
        let cure = format!("one line in it, then: chmod 600 {shown}");
        table.wrong(key, &format!("{key} cannot be used"), &fault, &cure);
    }
    Some(path)
}

fn contact(root: &Table<'_>) -> Option<String> {
    let contact = root.text("contact", 120)?;
    let page = contact
        .strip_prefix("https://")
        .is_some_and(|rest| host_fault(rest).is_none());
    if !page && contact.parse::<lettre::Address>().is_err() {
        root.wrong(
            "contact",
            "contact cannot be used",
            "no mail address and no https page",
            "such as \"farm@example.org\"",
        );
    }
    Some(contact)
}

fn services(root: &Table<'_>, folder: &Path) -> Vec<Source> {
    let mut services: Vec<Source> = Vec::new();
    for table in root.tables("weather") {
        let service = service(&table, folder);
        if services
            .iter()
            .any(|other| other.name == service.name && !service.name.is_empty())
        {
            table.wrong(
                "name",
                "name stands twice",
                "status and log need one name a service",
                "",
            );
        }
        services.push(service);
    }
    // Who only checks, measures or warns leaves every hour unknown.
    let decides = |service: &Source| service.kind.gives() == Gives::Forecast && service.role != Role::Check;
    if !services.is_empty() && !services.iter().any(decides) {
        root.wrong(
            "weather",
            "no service can decide",
            "these only check, measure or warn",
            "add a [[weather]] whose kind gives a forecast; see covercast sources",
        );
    }
    services
}

fn service(table: &Table<'_>, folder: &Path) -> Source {
    table.knows(WEATHER);
    table.needs(&[
        ("name", "name = \"ensemble\""),
        ("kind", "kind = \"open-meteo-ensemble\""),
        ("base_url", "base_url = \"https://ensemble-api.open-meteo.com\""),
    ]);
    let kind = table.choice("kind", KINDS).unwrap_or(ServiceKind::OpenMeteoForecast);
    let kind_told = table.find("kind").is_some();
    let allow_loopback = table.flag("allow_loopback").unwrap_or(false);
    if kind_told {
        only_where_meant(table, kind);
    }
    let furthest = if kind == ServiceKind::OpenMeteoEnsemble { 35 } else { 16 };
    Source {
        name: table.text("name", 30).unwrap_or_default(),
        kind,
        role: role(table, kind),
        base_url: base_url(table, allow_loopback).unwrap_or_default(),
        key_file: secret(table, "key_file", folder),
        models: model(table),
        station: station(table, kind),
        codes: codes(table),
        days: table.whole("days", 1, furthest).unwrap_or(10),
        product: table.choice("product", PRODUCTS).unwrap_or(kind.product()),
        allow_loopback,
    }
}

/// The role told, if the kind can play it; else the usual one of the kind.
fn role(table: &Table<'_>, kind: ServiceKind) -> Role {
    let role = table.choice("role", ROLES).unwrap_or(kind.role());
    let fault = match (kind.gives(), kind, role) {
        _ if table.find("role").is_none() || table.find("kind").is_none() => None,
        (Gives::Past | Gives::Warnings, _, _) => Some(("it gives no forecast", "take role out")),
        (_, ServiceKind::OpenMeteoEnsemble, _) => None,
        (_, _, Role::Members) => Some(("a single forecast has no members", "role = \"main\"")),
        (_, ServiceKind::MetNorwayNowcast, Role::Main) => {
            Some(("two hours of rain cannot decide a day", "role = \"check\""))
        }
        _ => None,
    };
    if let Some((fault, cure)) = fault {
        table.wrong("role", "role does not go with kind", fault, cure);
    }
    role
}

/// Keys that mean nothing for a kind are mistakes: who writes them expects something of them.
fn only_where_meant(table: &Table<'_>, kind: ServiceKind) {
    let open_meteo = matches!(
        kind,
        ServiceKind::OpenMeteoForecast
            | ServiceKind::OpenMeteoEnsemble
            | ServiceKind::OpenMeteoQuarterHours
            | ServiceKind::OpenMeteoArchive
    );
    let forecast = kind.gives() == Gives::Forecast;
    for (key, meant, at) in [
        ("models", open_meteo, "only Open-Meteo is asked for a model"),
        ("key_file", open_meteo, "only Open-Meteo takes a key"),
        (
            "days",
            open_meteo && forecast,
            "only Open-Meteo is asked for days; others tell what they have",
        ),
        (
            "codes",
            kind.gives() == Gives::Warnings,
            "only warnings are chosen by region",
        ),
        ("product", forecast, "it gives no forecast that could age"),
        (
            "station",
            kind.wants_station(),
            "it answers by place and not by station",
        ),
    ] {
        if table.find(key).is_some() && !meant {
            let what = format!("{key} does not go with kind");
            table.wrong(key, &what, at, &format!("take {key} out"));
        }
    }
}

/// A station's id, where one is needed.
fn station(table: &Table<'_>, kind: ServiceKind) -> Option<String> {
    if !kind.wants_station() {
        return None;
    }
    let (example, whose) = if kind == ServiceKind::Mosmix {
        ("station = \"10147\"", "the id in the list of MOSMIX stations")
    } else {
        (
            "station = \"KPDX\"",
            "the id of a station of the National Weather Service",
        )
    };
    table.needs(&[("station", example)]);
    let station = table.text("station", 10)?;
    if !station.chars().all(|sign| sign.is_ascii_alphanumeric()) {
        let cure = format!("such as {example}, {whose}");
        table.wrong("station", "station cannot be used", "letters and digits only", &cure);
    }
    Some(station)
}

/// Codes of regions, as the issuer of warnings writes them.
fn codes(table: &Table<'_>) -> BTreeSet<Code> {
    let wanted = "a list of codes of regions such as [\"EMMA_ID:NL018\"]";
    let mut codes = BTreeSet::new();
    for value in table.list("codes", wanted).unwrap_or_default() {
        let Some(text) = table.text_in("codes", value, 120) else {
            continue;
        };
        match Code::parse(&text) {
            Some(code) => _ = codes.insert(code),
            None => table.file.mistake(
                value.span(),
                &table.say("codes cannot be used"),
                "letters, digits and . _ - only",
                "system and code such as \"EMMA_ID:NL018\" or \"UGC:NMZ512\", or the code alone",
            ),
        }
    }
    codes
}

/// One model: a reply for several cannot be told apart safely.
fn model(table: &Table<'_>) -> Option<String> {
    let model = table.text("models", 100)?;
    if !model
        .chars()
        .all(|sign| sign.is_ascii_alphanumeric() || "_-".contains(sign))
    {
        let cure = "one model a service; write a [[weather]] for each";
        table.wrong("models", "models cannot be used", "letters, digits and _ only", cure);
    }
    Some(model)
}

/// `https://host`, or with `allow_loopback` also `http://127.0.0.1:port`, without anything that could hide
/// a key or another host.
fn base_url(table: &Table<'_>, allow_loopback: bool) -> Option<String> {
    let url = table.text("base_url", 200)?;
    let plain = url.strip_prefix("http://");
    let fault = match (url.strip_prefix("https://"), plain) {
        (Some(rest), _) => host_fault(rest),
        (None, Some(rest)) if allow_loopback => {
            let host = rest.split(['/', ':']).next().unwrap_or_default();
            if matches!(host, "127.0.0.1" | "localhost") || rest.starts_with("[::1]") {
                None
            } else {
                Some("http only to this machine")
            }
        }
        (None, Some(_)) => Some("https is wanted"),
        (None, None) => Some("an address that begins with https://"),
    };
    match fault {
        None => Some(url.trim_end_matches('/').to_owned()),
        Some(fault) => {
            table.wrong(
                "base_url",
                "base_url cannot be used",
                fault,
                "https://host, up to the path of the interface",
            );
            None
        }
    }
}

fn host_fault(rest: &str) -> Option<&'static str> {
    let host = rest.split(['/', '?', '#']).next().unwrap_or_default();
    if rest.contains('@') {
        Some("no user or password in an address")
    } else if rest.contains(['?', '#']) {
        Some("no query in the address; a key belongs in key_file")
    } else if host
        .rsplit_once(':')
        .is_some_and(|(_, port)| !port.ends_with(']') && port.parse::<u16>().is_err())
    {
        Some("the port is no number up to 65535")
    } else if host.is_empty()
        || rest.contains(char::is_whitespace)
        || rest.contains('\\')
        || line_fault(rest, 300).is_some()
    {
        Some("no host in it")
    } else {
        None
    }
}

fn daily(table: &Table<'_>, now: DateTime<Utc>) -> Schedule {
    table.knows(SCHEDULE);
    let at = table.time("letter_at");
    let cron = table.find("cron").and_then(|_| cron(table, now));
    if table.find("letter_at").is_some() && table.find("cron").is_some() {
        table.wrong(
            "cron",
            "two schedules for one letter",
            "letter_at is there too",
            "keep one of the two",
        );
    }
    Schedule {
        letter: cron.unwrap_or(LetterTime::Daily(at.unwrap_or(LETTER_AT))),
        pull_minutes: table.whole("pull_minutes", 15, 720).unwrap_or(60),
    }
}

fn cron(table: &Table<'_>, now: DateTime<Utc>) -> Option<LetterTime> {
    let text = table
        .find("cron")?
        .get_ref()
        .as_str()
        .map(str::trim)
        .unwrap_or_default();
    // Text of the wrong kind, too long or with control characters is noted by the table.
    let text = if text.is_empty() {
        text.to_owned()
    } else {
        table.text("cron", 100)?
    };
    match schedule::read_cron(&text, now) {
        Ok(letter) => Some(letter),
        Err(fault) => {
            let (at, cure) = cron_fault(&fault);
            table.wrong("cron", "cron cannot be used", &at, cure);
            None
        }
    }
}

/// What is wrong with a cron text, short enough to stand under it, and the cure.
fn cron_fault(fault: &CronMistake) -> (String, &'static str) {
    let six = "six fields: second minute hour day month weekday, such as \"0 30 5 * * MON-SAT\"";
    match fault {
        CronMistake::Empty => ("nothing here".to_owned(), six),
        CronMistake::Fields { found: 5 } => ("5 fields; the seconds are missing".to_owned(), six),
        CronMistake::Fields { found } => (format!("{found} fields"), six),
        CronMistake::WeekdayNumber { found } => (
            format!("weekday {found} as a number"),
            "names only (MON, MON-SAT, SAT,SUN): numbers are counted in two ways",
        ),
        CronMistake::Unreadable { .. } => ("no schedule".to_owned(), six),
        CronMistake::Never { .. } => ("no run in the year to come".to_owned(), "look at day and month"),
    }
}
