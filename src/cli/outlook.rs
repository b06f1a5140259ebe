//! `covercast outlook`: the season before any forecast, and the climate table it leans on.

mod json;
mod observed;
mod table;
mod text;

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};

use super::{Failure, loaded};
use crate::advice::week_strip;
use crate::daemon::Clock;
use crate::farm::Farm;
use crate::plan::of_farm::usual::Usual;
use crate::plan::prospect::{Pay, Prospect, prospect, what_pays};
use crate::settings::{self, CLIMATE_FILE, clean};

/// Arguments of `covercast outlook`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Folder of the farm
    #[arg(long, default_value = ".", value_name = "DIR")]
    farm: PathBuf,
    /// Make climate.csv in the farm folder from these hourly observations instead
    #[arg(long, value_name = "FILE.csv", conflicts_with_all = ["json", "picture"])]
    from: Option<PathBuf>,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
    /// Draw the weeks into this file, by its ending as SVG or PNG
    #[arg(long, value_name = "FILE")]
    picture: Option<PathBuf>,
    /// Look ahead as if it were this instant (RFC 3339)
    #[arg(long, value_name = "TIME")]
    now: Option<DateTime<Utc>>,
}

/// What is printed of a season.
struct Season<'a> {
    farm: &'a Farm,
    years: Option<u32>,
    prospect: Prospect,
    pays: Option<Vec<Pay>>,
}

/// Makes the climate table, or looks ahead.
///
/// # Errors
/// Code 2 where settings or observations hold what cannot be; code 1 where a file cannot be written.
pub(super) fn outlook(arguments: &Arguments) -> Result<String, Failure> {
    let loaded = match settings::load_farm(&arguments.farm) {
        Ok(loaded) => loaded,
        Err(mistakes) => return Err(loaded::refused(&mistakes)),
    };
    if let Some(file) = &arguments.from {
        return make_table(&loaded.farm, file, &arguments.farm.join(CLIMATE_FILE));
    }
    let usual = loaded.farm.climate.as_ref().map(Usual::of_climate).unwrap_or_default();
    let now = arguments.now.unwrap_or_else(|| Clock::Wall.now());
    let farm = &loaded.farm;
    let season = Season {
        farm,
        years: loaded.farm.climate.as_ref().map(crate::farm::climate::Climate::years),
        prospect: prospect(farm, &usual, farm.site.zone.day(now)),
        pays: what_pays(farm, &usual, now),
    };
    let written = match &arguments.picture {
        Some(file) => Some(draw(&season, file)?),
        None => None,
    };
    if arguments.json {
        return json::render(&season);
    }
    let mut text = text::render(&season);
    if let Some(file) = written {
        text.push_str(&format!("\n{file} is written.\n"));
    }
    Ok(text)
}

fn draw(season: &Season<'_>, file: &Path) -> Result<String, Failure> {
    let shown = clean(&file.display().to_string());
    let ending = file.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    let bytes = match ending.as_deref() {
        Some("svg") => week_strip::svg(season.farm, &season.prospect).into_bytes(),
        Some("png") => week_strip::png(season.farm, &season.prospect).map_err(|error| Failure {
            code: 1,
            text: format!("{shown} was not written: {error}; a file that ends in .svg always works"),
        })?,
        _ => {
            return Err(Failure {
                code: 2,
                text: format!("{shown} is no name for a picture. Let it end in .svg or .png."),
            });
        }
    };
    write(file, &bytes)
}

fn make_table(farm: &Farm, from: &Path, to: &Path) -> Result<String, Failure> {
    let shown = clean(&from.display().to_string());
    let text = std::fs::read_to_string(from).map_err(|error| Failure {
        code: 2,
        text: format!("{shown} cannot be read: {error}. Name a CSV of hourly observations."),
    })?;
    let observed = observed::read(from, &text, farm.site.latitude.0, farm.site.longitude.0)?;
    let made = table::make(farm, &observed).ok_or_else(|| Failure {
        code: 2,
        text: format!(
            "{shown}: no half-day of the crew is known whole, so there is nothing to count. {}",
            if observed.remarks.is_empty() {
                "Are there at least six days of hours?".to_owned()
            } else {
                format!("Noted: {}.", observed.remarks.join("; "))
            }
        ),
    })?;
    let file = write(to, table::csv(&made, from, &observed.remarks).as_bytes())?;
    Ok(table::report(&made, &file, &observed.remarks))
}

fn write(file: &Path, bytes: &[u8]) -> Result<String, Failure> {
    let shown = clean(&file.display().to_string());
    std::fs::write(file, bytes).map_err(|error| Failure {
        code: 1,
        text: format!("{shown} cannot be written: {error}. Check the folder and the room on the disk."),
    })?;
    Ok(shown)
}
