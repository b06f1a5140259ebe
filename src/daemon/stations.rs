//! Listening to stations: one task each, that hands its news to the loop and never holds it up.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{DateTime, Utc};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tracing::{debug, warn};

use super::Clock;
use super::run::Daemon;
use crate::sources::station::{News, Station, listen};

/// News that may wait for the loop; a station that tells faster waits itself.
const WAITING: usize = 64;

/// The tasks that listen.
pub(super) struct Ears {
    clock: Clock,
    tell: mpsc::Sender<News>,
    tasks: BTreeMap<String, (Station, JoinHandle<()>)>,
}

impl Ears {
    /// Without a station yet, and where their news come out.
    pub(super) fn new(clock: Clock) -> (Self, mpsc::Receiver<News>) {
        let (tell, heard) = mpsc::channel(WAITING);
        let tasks = BTreeMap::new();
        (Self { clock, tell, tasks }, heard)
    }

    /// Listens to these and to no others. One whose task broke off is listened to again.
    pub(super) fn listen_to(&mut self, stations: &[Station]) {
        self.tasks.retain(|name, (before, task)| {
            let wanted = stations.iter().any(|station| station == before);
            if wanted && task.is_finished() {
                warn!(station = name, "listening to the station broke off; it begins again");
            }
            let goes_on = wanted && !task.is_finished();
            if !goes_on {
                task.abort();
            }
            goes_on
        });
        for station in stations {
            if !self.tasks.contains_key(&station.name) {
                let clock = self.clock;
                let now = move || clock.now();
                let task = tokio::spawn(listen(Arc::new(station.clone()), now, self.tell.clone()));
                self.tasks.insert(station.name.clone(), (station.clone(), task));
            }
        }
    }
}

impl Drop for Ears {
    fn drop(&mut self) {
        for (_, task) in self.tasks.values() {
            task.abort();
        }
    }
}

impl Daemon {
    /// Keeps what a station said.
    pub(super) fn heard(&mut self, news: &News, now: DateTime<Utc>) {
        let thing = format!("station {}", news.station);
        if !self.orders.stations.iter().any(|station| station.name == news.station) {
            self.fine(&thing);
            return;
        }
        match &news.fault {
            Some(fault) => self.trouble(&thing, format!("{fault}; it is tried again by itself"), now),
            None => self.fine(&thing),
        }
        if let Some(first) = &news.batch.first_unreadable {
            let count = news.batch.unreadable;
            warn!(
                station = news.station,
                count,
                ?first,
                "some of what the station said cannot be read"
            );
        }
        if news.batch.readings.is_empty() {
            return;
        }
        match self.store.note_readings(&news.station, &news.batch.readings) {
            Ok(()) => debug!(
                station = news.station,
                readings = news.batch.readings.len(),
                "station heard"
            ),
            Err(fault) => self.trouble("store", fault.to_string(), now),
        }
    }
}
