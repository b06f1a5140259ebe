//! Farm folders and service file, read for a command.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};

use super::Failure;
use crate::farm::Farm;
use crate::settings::{self, Colour, Mistakes, Service};
use crate::store;

/// Mistakes in the settings, drawn, as the end of a command.
pub(super) fn refused(mistakes: &Mistakes) -> Failure {
    Failure {
        code: 2,
        text: format!("the settings have {}", mistakes.draw(Colour::Plain)),
    }
}

/// The farm in a folder.
pub(super) fn farm(folder: &Path) -> Result<Farm, Failure> {
    settings::load_farm(folder)
        .map(|loaded| loaded.farm)
        .map_err(|mistakes| refused(&mistakes))
}

/// The service file that goes with a farm folder, unless another is named.
pub(super) fn service(named: Option<&PathBuf>, farm: &Path, now: DateTime<Utc>) -> Result<Service, Failure> {
    let file = service_file(named, farm);
    settings::load_service(&file, now)
        .map(|loaded| loaded.service)
        .map_err(|mistakes| refused(&mistakes))
}

/// Where the service file is.
pub(super) fn service_file(named: Option<&PathBuf>, farm: &Path) -> PathBuf {
    named.cloned().unwrap_or_else(|| farm.join("service.toml"))
}

impl From<store::Fault> for Failure {
    fn from(fault: store::Fault) -> Self {
        Self {
            code: 1,
            text: fault.to_string(),
        }
    }
}
