//! The settings in force, and noticing that their files changed.

use std::os::unix::fs::MetadataExt;
use std::path::PathBuf;
use std::sync::Arc;

use crate::farm::{Farm, FarmId};
use crate::sources::station::Station;
use crate::{deliver, sources};

/// What the daemon works by.
#[derive(Debug, Clone, PartialEq)]
pub struct Orders {
    /// The farms, each with its own zone, people and blocks.
    pub farms: Vec<Arc<Farm>>,
    /// Weather services.
    pub sources: Arc<sources::Settings>,
    /// Stations.
    pub stations: Arc<Vec<Station>>,
    /// Mail.
    pub deliver: Arc<deliver::Settings>,
    /// Schedules.
    pub daemon: super::Settings,
}

impl Orders {
    /// The farm of that name.
    pub fn farm(&self, id: &FarmId) -> Option<&Arc<Farm>> {
        self.farms.iter().find(|farm| farm.id == *id)
    }

    /// Each farm with the addresses that get its letter.
    pub fn recipients(&self) -> Vec<(FarmId, Vec<String>)> {
        let readers = |farm: &Farm| {
            farm.people
                .iter()
                .filter(|person| person.letter)
                .filter_map(|person| person.email.clone())
                .collect()
        };
        self.farms.iter().map(|farm| (farm.id.clone(), readers(farm))).collect()
    }
}

/// What reading the settings again brought.
#[derive(Debug)]
pub struct Reread {
    /// What is in force from now on: for each broken file what was in force before.
    pub orders: Orders,
    /// Files to watch from now on.
    pub watched: Vec<PathBuf>,
    /// Each broken file with its mistakes.
    pub mistakes: Vec<(PathBuf, String)>,
}

/// The files behind the orders, and how they are read. The daemon cannot read them by itself: it gets orders, not files.
pub struct Files {
    /// Files to watch.
    pub watched: Vec<PathBuf>,
    /// Reads them again.
    pub reread: Box<dyn FnMut(&Orders) -> Reread + Send>,
}

impl Files {
    /// Orders that never change.
    pub fn none() -> Self {
        let reread = |orders: &Orders| Reread {
            orders: orders.clone(),
            watched: Vec::new(),
            mistakes: Vec::new(),
        };
        Self {
            watched: Vec::new(),
            reread: Box::new(reread),
        }
    }

    /// How the watched files look now.
    pub(super) fn looks(&self) -> Vec<Option<Look>> {
        self.watched
            .iter()
            .map(|path| std::fs::metadata(path).ok().map(|found| Look::of(&found)))
            .collect()
    }
}

/// Enough of a file to see that it changed, also when another was put in its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Look {
    inode: u64,
    length: u64,
    changed: (i64, i64),
}

impl Look {
    fn of(found: &std::fs::Metadata) -> Self {
        Self {
            inode: found.ino(),
            length: found.len(),
            changed: (found.mtime(), found.mtime_nsec()),
        }
    }
}
