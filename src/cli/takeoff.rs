//! `covercast takeoff`: what covers, rolls, ties and hours a season takes, with cut list and labels.

mod csv;
mod json;
mod text;

use std::path::{Path, PathBuf};

use super::{Failure, loaded};
use crate::advice::labels::{self, Paper};
use crate::farm::Farm;
use crate::farm::block::BlockId;
use crate::plan::takeoff::{Takeoff, take_off};
use crate::settings::clean;
use crate::units::DisplayUnits;

/// Arguments of `covercast takeoff`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Folder of the farm
    #[arg(long, default_value = ".", value_name = "DIR")]
    farm: PathBuf,
    /// Count this block only; may be given several times: blocks whose covers lie out together
    #[arg(long, value_name = "BLOCK")]
    block: Vec<String>,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
    /// Write the cut list into this file, for a spreadsheet
    #[arg(long, value_name = "FILE.csv")]
    csv: Option<PathBuf>,
    /// Write labels to print: one SVG for each sheet, or all sheets in one file that ends in .html
    #[arg(long, value_name = "FILE.svg")]
    labels: Option<PathBuf>,
    /// Paper of the labels [default: letter where the farm's units are imperial, else a4]
    #[arg(long, value_enum, value_name = "PAPER")]
    paper: Option<PaperName>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum PaperName {
    A4,
    Letter,
}

/// Counts, writes the files asked for, and answers what is to be printed.
///
/// # Errors
/// Code 2 with everything that keeps a block from being counted; code 1 where a file cannot be written.
pub(super) fn takeoff(arguments: &Arguments) -> Result<String, Failure> {
    let farm = loaded::farm(&arguments.farm)?;
    let only: Vec<BlockId> = arguments.block.iter().map(|name| BlockId(name.clone())).collect();
    let counted = take_off(&farm, &only).map_err(|problems| Failure {
        code: 2,
        text: problems
            .iter()
            .map(|problem| clean(&problem.to_string()))
            .collect::<Vec<_>>()
            .join("\ncovercast: "),
    })?;
    let mut written = Vec::new();
    if let Some(file) = &arguments.csv {
        written.push(write(file, &csv::render(&farm, &counted)?)?);
    }
    if let Some(file) = &arguments.labels {
        written.extend(write_labels(
            &farm,
            &counted,
            file,
            paper(arguments.paper, farm.site.units),
        )?);
    }
    if arguments.json {
        return json::render(&farm, &counted);
    }
    let mut text = text::render(&farm, &counted);
    if !written.is_empty() {
        text.push('\n');
    }
    for file in written {
        text.push_str(&format!("{file} is written.\n"));
    }
    Ok(text)
}

fn paper(named: Option<PaperName>, units: DisplayUnits) -> Paper {
    match (named, units) {
        (Some(PaperName::Letter), _) | (None, DisplayUnits::Imperial) => Paper::Letter,
        (Some(PaperName::A4), _) | (None, DisplayUnits::Metric) => Paper::A4,
    }
}

fn write_labels(farm: &Farm, counted: &Takeoff, file: &Path, paper: Paper) -> Result<Vec<String>, Failure> {
    let ending = file.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    let sheets = labels::sheets(farm, counted, paper);
    match (ending.as_deref(), sheets.as_slice()) {
        (Some("html"), _) => Ok(vec![write(file, &labels::html(farm, &sheets, paper))?]),
        (Some("svg"), [only]) => Ok(vec![write(file, only)?]),
        (Some("svg"), many) => {
            let stem = file.file_stem().unwrap_or_default().to_string_lossy();
            (1..)
                .zip(many)
                .map(|(number, sheet)| write(&file.with_file_name(format!("{stem}-{number:02}.svg")), sheet))
                .collect()
        }
        _ => Err(Failure {
            code: 2,
            text: format!(
                "{} is no name for labels. Let it end in .svg, or in .html for all sheets in one file.",
                clean(&file.display().to_string())
            ),
        }),
    }
}

/// Writes a file and answers its name as shown.
fn write(file: &Path, text: &str) -> Result<String, Failure> {
    let shown = clean(&file.display().to_string());
    std::fs::write(file, text).map_err(|error| Failure {
        code: 1,
        text: format!("{shown} cannot be written: {error}. Check the folder and the room on the disk."),
    })?;
    Ok(shown)
}
