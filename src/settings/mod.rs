//! The farm folder and the service file: read raw, checked whole, every mistake with its place and cure.
//!
//! A broken file gives [`Mistakes`], all of them at once, and never half a farm: whoever re-reads keeps the
//! settings in force. What is odd but possible comes as remarks beside the farm.

mod block_file;
mod cells;
mod clean;
mod climate_file;
mod cover_file;
mod crew_file;
mod date;
mod disk;
mod farm_file;
mod file;
mod harvest_file;
mod hot_file;
mod limits_file;
mod mail_file;
mod mistake;
mod quantity;
mod service_file;
mod sheet;
mod site_file;
mod station_file;
mod table;
mod value;
mod words;
mod zone_data;

use std::path::{Path, PathBuf};

use chrono::{DateTime, NaiveDate, Utc};

pub use clean::clean;
pub use mistake::{Colour, Finding, Mistakes, draw_remarks};
pub use service_file::LETTER_AT;
pub use zone_data::ZoneData;

use crate::farm::Farm;
use crate::farm::climate::Climate;
use crate::{daemon, deliver, sources};
use file::File;
use mistake::{Found, Text};

/// The service file, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Service {
    /// Folder of the one database, the cache and the lock.
    pub state: PathBuf,
    /// Weather services.
    pub sources: sources::Settings,
    /// Stations.
    pub stations: Vec<sources::station::Station>,
    /// Mail.
    pub deliver: deliver::Settings,
    /// Schedules.
    pub daemon: daemon::Settings,
    /// How the log is written.
    pub log: Log,
}

/// How the log is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Log {
    /// For people and the journal.
    Text,
    /// One JSON object a line.
    Json,
}

/// A farm that was checked whole.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadedFarm {
    /// The farm.
    pub farm: Farm,
    /// What is odd but possible.
    pub remarks: Vec<Finding>,
    /// Version of the time zone rules its zone was taken from.
    pub zone_data: String,
}

/// A service file that was checked whole.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadedService {
    /// The settings.
    pub service: Service,
    /// What is odd but possible.
    pub remarks: Vec<Finding>,
}

/// The files of a farm folder as text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FarmFiles<'a> {
    /// Name of the folder; the farm's short name comes from it if `farm.toml` gives none.
    pub folder_name: &'a str,
    /// `farm.toml`.
    pub farm: &'a str,
    /// `harvest.csv`.
    pub harvest: &'a str,
    /// `blackouts.csv`, if there is one.
    pub blackouts: Option<&'a str>,
}

/// Name of the climate table in a farm folder.
pub const CLIMATE_FILE: &str = "climate.csv";

/// Names of the files of a farm folder, in the order in which mistakes are told.
pub const FARM_FILES: [&str; 3] = ["farm.toml", "harvest.csv", "blackouts.csv"];

/// Reads and checks a farm folder, with the newest time zone rules at hand.
///
/// # Errors
/// Every mistake of all its files.
pub fn load_farm(folder: &Path) -> Result<LoadedFarm, Mistakes> {
    let mut found = Found::default();
    if !folder.is_dir() {
        let name = clean(&folder.display().to_string());
        let cure = "name the folder that holds farm.toml and harvest.csv";
        return Err(Mistakes(vec![Finding::whole(&name, "is not a folder", cure)]));
    }
    let mut text = |name: &str| match disk::read(&folder.join(name), name, folder) {
        Ok(text) => text.ok_or(Absent::Missing),
        Err(finding) => {
            found.mistakes.push(*finding);
            Err(Absent::Noted)
        }
    };
    let [farm, harvest, blackouts] = FARM_FILES.map(&mut text);
    for (name, text, cure) in [
        ("farm.toml", &farm, "copy config/farm.toml there and make it yours"),
        (
            "harvest.csv",
            &harvest,
            "at least its first line: block,variety,first pick,last pick,days either way",
        ),
    ] {
        if matches!(text, Err(Absent::Missing)) {
            found.mistakes.push(Finding::whole(name, "is not in the folder", cure));
        }
    }
    let folder_name = folder.canonicalize().unwrap_or_else(|_| folder.to_path_buf());
    let folder_name = folder_name
        .file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default();
    let climate = climate(folder, &mut found);
    let mut loaded = check(
        &folder_name,
        [farm.ok(), harvest.ok(), blackouts.ok()],
        &ZoneData::newest(),
        found,
    )?;
    loaded.farm.climate = climate;
    Ok(loaded)
}

/// The climate table of a folder, if there is one.
fn climate(folder: &Path, found: &mut Found) -> Option<Climate> {
    match disk::read(&folder.join(CLIMATE_FILE), CLIMATE_FILE, folder) {
        Ok(text) => {
            let file = File::new(climate_file::without_remarks(&text?));
            let climate = climate_file::read(&file);
            file.give(found);
            Some(climate)
        }
        Err(finding) => {
            found.mistakes.push(*finding);
            None
        }
    }
}

/// Why there is no text of a file.
enum Absent {
    Missing,
    Noted,
}

/// Checks the texts of a farm folder, with the time zone rules built into the program.
///
/// # Errors
/// Every mistake in them.
pub fn farm_from_text(files: &FarmFiles<'_>) -> Result<LoadedFarm, Mistakes> {
    let texts = [Some(files.farm), Some(files.harvest), files.blackouts];
    let [farm, harvest, blackouts] = FARM_FILES;
    let named = |name, text: Option<&str>| text.map(|text| Text::new(name, text));
    let texts = [
        named(farm, texts[0]),
        named(harvest, texts[1]),
        named(blackouts, texts[2]),
    ];
    check(files.folder_name, texts, &ZoneData::bundled(), Found::default())
}

fn check(
    folder_name: &str,
    texts: [Option<Text>; 3],
    zones: &ZoneData,
    mut found: Found,
) -> Result<LoadedFarm, Mistakes> {
    let [farm, harvest, blackouts] = texts.map(|text| text.map(File::new));
    let mut read = farm.as_ref().and_then(|file| farm_file::read(file, folder_name, zones));
    let picks = harvest.as_ref().map(|file| harvest_file::picks(file, read.as_ref()));
    let times = blackouts
        .as_ref()
        .map(|file| harvest_file::blackouts(file, read.as_ref()));
    if let Some(farm) = &mut read {
        farm.picks = picks.unwrap_or_default();
        farm.blackouts = times.unwrap_or_default();
        in_order_of_picking(farm);
    }
    for file in [farm, harvest, blackouts].into_iter().flatten() {
        file.give(&mut found);
    }
    let found = found.sorted(&FARM_FILES);
    match read {
        Some(farm) if found.mistakes.is_empty() => Ok(LoadedFarm {
            farm,
            remarks: found.remarks,
            zone_data: zones.version.clone(),
        }),
        _ => Err(Mistakes(found.mistakes)),
    }
}

/// Each set serves its blocks in the order in which they are picked; those without a date come last.
fn in_order_of_picking(farm: &mut Farm) {
    let picks = &farm.picks;
    for set in &mut farm.sets {
        set.blocks.sort_by_key(|block| {
            let first = picks
                .iter()
                .filter(|pick| pick.block == *block)
                .map(|pick| pick.first)
                .min();
            first.unwrap_or(NaiveDate::MAX)
        });
    }
}

/// Reads and checks a service file; schedules must fire within a year of `now`.
///
/// # Errors
/// Every mistake in it, and secret files that are missing or open to others.
pub fn load_service(file: &Path, now: DateTime<Utc>) -> Result<LoadedService, Mistakes> {
    let shown = clean(&file.display().to_string());
    let folder = match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let folder = folder.canonicalize().unwrap_or_else(|_| folder.to_path_buf());
    match disk::read(file, &shown, &folder) {
        Ok(Some(text)) => check_service(text, &folder, now),
        Ok(None) => Err(Mistakes(vec![Finding::whole(
            &shown,
            "is not there",
            "copy config/service.toml there and make it yours",
        )])),
        Err(finding) => Err(Mistakes(vec![*finding])),
    }
}

/// Checks the text of a service file; names of files in it count from `folder`.
///
/// # Errors
/// Every mistake in it.
pub fn service_from_text(text: &str, folder: &Path, now: DateTime<Utc>) -> Result<LoadedService, Mistakes> {
    check_service(Text::new("service.toml", text), folder, now)
}

fn check_service(text: Text, folder: &Path, now: DateTime<Utc>) -> Result<LoadedService, Mistakes> {
    let name = text.name.clone();
    let file = File::new(text);
    let service = service_file::read(&file, folder, now);
    let mut found = Found::default();
    file.give(&mut found);
    let found = found.sorted(&[&name]);
    match service {
        Some(service) if found.mistakes.is_empty() => Ok(LoadedService {
            service,
            remarks: found.remarks,
        }),
        _ => Err(Mistakes(found.mistakes)),
    }
}

/// Every key of `farm.toml`, with its table in front: `site.name`, `limits.lift.gust_m_s`. The numbers of an
/// alley stand under `alley`; each of them may stand in a block too.
pub fn farm_keys() -> Vec<String> {
    let jobs = ["lift", "lay", "fold", "check"].map(|job| (format!("limits.{job}"), limits_file::JOB));
    let alley: Vec<&str> = block_file::numbers().map(|number| number.name).collect();
    let limits: Vec<&str> = limits_file::LIMITS
        .iter()
        .copied()
        .filter(|key| key.contains('_'))
        .collect();
    let block: Vec<&str> = block_file::BLOCK
        .iter()
        .copied()
        .filter(|key| *key != "irrigation")
        .collect();
    let mut keys = Vec::new();
    for (table, known) in [
        ("site", site_file::SITE),
        ("people", crew_file::PERSON),
        ("crew", crew_file::CREW),
        ("machine", crew_file::MACHINE),
        ("set", cover_file::SET),
        ("costs", farm_file::COSTS),
        ("limits", &limits),
        ("alley", &alley),
        ("block", &block),
        ("block.irrigation", block_file::IRRIGATION),
        ("hot_cutting", hot_file::HOT_CUTTING),
    ] {
        keys.extend(known.iter().map(|key| format!("{table}.{key}")));
    }
    keys.extend(
        jobs.iter()
            .flat_map(|(table, known)| known.iter().map(move |key| format!("{table}.{key}"))),
    );
    keys
}

/// Every key of `service.toml`, with its table in front.
pub fn service_keys() -> Vec<String> {
    let mut keys = vec!["state".to_owned(), "contact".to_owned()];
    for (table, known) in [
        ("mail", mail_file::MAIL),
        ("weather", service_file::WEATHER),
        ("schedule", service_file::SCHEDULE),
        ("log", service_file::LOG),
        ("station", &station_file::keys()),
    ] {
        keys.extend(known.iter().map(|key| format!("{table}.{key}")));
    }
    keys
}
