//! `covercast run`: the daemon.

use std::collections::BTreeSet;
use std::os::unix::process::CommandExt as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, Utc};
use clap::Args;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::mpsc;
use tracing_subscriber::EnvFilter;

use super::{Failure, loaded};
use crate::daemon::{self, Clock, Files, Orders, Reread, Wakes};
use crate::deliver::{self, Transport};
use crate::farm::FarmId;
use crate::settings::{self, CLIMATE_FILE, FARM_FILES, Log, Mistakes, Service};
use crate::store::lock::{Lock, Taken};
use crate::store::{self, Store};

/// What the daemon looks after.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Folder of a farm; give it once for each farm
    #[arg(long, required = true, value_name = "DIR")]
    farm: Vec<PathBuf>,
    /// Service file; `service.toml` in the first farm folder if not named
    #[arg(long, value_name = "FILE")]
    service: Option<PathBuf>,
}

/// Runs until it is told to stop.
pub(super) fn run(arguments: &Arguments) -> Result<String, Failure> {
    give_memory_back();
    let now = Clock::Wall.now();
    let first = arguments.farm.first().map_or(Path::new("."), PathBuf::as_path);
    let file = loaded::service_file(arguments.service.as_ref(), first);
    let place = Place {
        folders: arguments.farm.clone(),
        service: file,
    };
    let (service, orders, farms) = place.read(now).map_err(|mistakes| loaded::refused(&mistakes))?;
    if let Some(twice) = first_twice(&farms) {
        let text =
            format!("two of the farm folders hold the farm \"{twice}\"; give one of them another id in farm.toml");
        return Err(Failure { code: 2, text });
    }
    log_to_stdout(service.log);
    store::open::make_folder(&service.state)?;
    let _lock = match Lock::take(&service.state)? {
        Taken::Ours(lock) => lock,
        Taken::Theirs(holder) => {
            return Err(Failure {
                code: 4,
                text: format!("already running: {holder}; nothing was started"),
            });
        }
    };
    let store = Store::open(&service.state)?;
    let files = place.files(&service, farms);
    start(store, orders, files)
}

/// Begins anew with an allocator that gives back what a morning's work has freed.
///
/// glibc raises its thresholds with each large block that is freed, and each thread keeps small blocks at hand; a few of
/// them hold megabytes in place. After a letter 37 MiB stayed resident, with the settings below 22 MiB. They can only be
/// made when a process begins. The process number stays the same; if it cannot be done, nothing is lost but memory.
fn give_memory_back() {
    const NAME: &str = "GLIBC_TUNABLES";
    const FIXED: &str =
        "glibc.malloc.tcache_count=0:glibc.malloc.trim_threshold=65536:glibc.malloc.mmap_threshold=32768";
    if std::env::var_os(NAME).is_some() {
        return;
    }
    if let Ok(program) = std::env::current_exe() {
        // Only a failure comes back from here.
        let _ = Command::new(program)
            .args(std::env::args_os().skip(1))
            .env(NAME, FIXED)
            .exec();
    }
}

fn first_twice(owners: &Owners) -> Option<&str> {
    let mut seen = BTreeSet::new();
    owners.iter().map(|(_, id)| id.0.as_str()).find(|id| !seen.insert(*id))
}

fn start(store: Store, orders: Orders, files: Files) -> Result<String, Failure> {
    let failed = |error: std::io::Error| Failure {
        code: 1,
        text: format!("the daemon cannot be started: {error}"),
    };
    // One thread: the work of a day is small, and memory counts on a small machine.
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .max_blocking_threads(2)
        .thread_keep_alive(Duration::from_secs(1))
        .build()
        .map_err(failed)?;
    runtime.block_on(async {
        let wakes = wakes().map_err(failed)?;
        daemon::run(Clock::Wall, store, orders, daemon::road::work(), files, wakes).await;
        Ok::<(), Failure>(())
    })?;
    // A decision under way is begun anew at the next start.
    runtime.shutdown_timeout(Duration::from_millis(500));
    Ok(String::new())
}

/// SIGTERM and SIGINT stop, SIGHUP reads the settings again.
fn wakes() -> std::io::Result<Wakes> {
    let (mut term, mut int, mut hup) = (
        signal(SignalKind::terminate())?,
        signal(SignalKind::interrupt())?,
        signal(SignalKind::hangup())?,
    );
    let (ask, reread) = mpsc::channel(1);
    tokio::spawn(async move {
        while hup.recv().await.is_some() {
            // One that waits is enough for a storm of them.
            let _ = ask.try_send(());
        }
    });
    let stop = async move {
        tokio::select! {
            _ = term.recv() => {}
            _ = int.recv() => {}
        }
    };
    Ok(Wakes {
        stop: Box::pin(stop),
        reread,
    })
}

/// One line a fact on standard output, which the journal takes. `COVERCAST_LOG` sets the level.
fn log_to_stdout(form: Log) {
    let level = EnvFilter::try_from_env("COVERCAST_LOG").unwrap_or_else(|_| EnvFilter::new("info"));
    let lines = tracing_subscriber::fmt()
        .with_env_filter(level)
        .with_ansi(false)
        .with_target(false);
    // A second daemon in one process, as in a test, keeps the first one's log.
    let _ = match form {
        Log::Text => lines.try_init(),
        Log::Json => lines.json().flatten_event(true).try_init(),
    };
}

/// Where the settings are.
#[derive(Debug, Clone)]
struct Place {
    folders: Vec<PathBuf>,
    service: PathBuf,
}

/// Which folder holds which farm.
type Owners = Vec<(PathBuf, FarmId)>;

impl Place {
    /// Everything, all mistakes at once.
    fn read(&self, now: DateTime<Utc>) -> Result<(Service, Orders, Owners), Mistakes> {
        let service = settings::load_service(&self.service, now);
        let mut mistakes: Option<Mistakes> = None;
        let mut farms = Vec::new();
        for folder in &self.folders {
            match settings::load_farm(folder) {
                Ok(loaded) => farms.push((folder.clone(), Arc::new(loaded.farm))),
                Err(found) => mistakes = Some(joined(mistakes, found)),
            }
        }
        match (service, mistakes) {
            (Ok(loaded), None) => {
                let owners = farms
                    .iter()
                    .map(|(folder, farm)| (folder.clone(), farm.id.clone()))
                    .collect();
                let orders = Orders {
                    farms: farms.into_iter().map(|(_, farm)| farm).collect(),
                    sources: Arc::new(loaded.service.sources.clone()),
                    stations: Arc::new(loaded.service.stations.clone()),
                    deliver: Arc::new(loaded.service.deliver.clone()),
                    daemon: loaded.service.daemon.clone(),
                };
                Ok((loaded.service, orders, owners))
            }
            (Err(found), others) => Err(joined(others, found)),
            (Ok(_), Some(found)) => Err(found),
        }
    }

    fn files(self, service: &Service, owners: Owners) -> Files {
        let watched = self.watched(&service.deliver);
        let mut memory = Memory {
            place: self,
            owners,
            state: service.state.clone(),
        };
        Files {
            watched,
            reread: Box::new(move |orders| memory.reread(orders, Clock::Wall.now())),
        }
    }

    fn watched(&self, deliver: &deliver::Settings) -> Vec<PathBuf> {
        let mut files: Vec<PathBuf> = self
            .folders
            .iter()
            .flat_map(|folder| FARM_FILES.iter().chain([&CLIMATE_FILE]).map(|name| folder.join(name)))
            .collect();
        files.push(self.service.clone());
        if let Transport::Smtp(server) = &deliver.transport {
            files.extend(server.password_file.iter().chain(&server.root_certificate).cloned());
        }
        files
    }
}

fn joined(first: Option<Mistakes>, second: Mistakes) -> Mistakes {
    match first {
        Some(first) => first.and(second),
        None => second,
    }
}

/// What reading again needs to know of the last time.
struct Memory {
    place: Place,
    owners: Owners,
    state: PathBuf,
}

impl Memory {
    /// Reads all files again. A broken one changes nothing: what it held before stays in force.
    fn reread(&mut self, before: &Orders, now: DateTime<Utc>) -> Reread {
        let mut orders = before.clone();
        let mut mistakes = Vec::new();
        match settings::load_service(&self.place.service, now) {
            Ok(loaded) => {
                if loaded.service.state != self.state {
                    let text = "another state folder counts from the next start on".to_owned();
                    mistakes.push((self.place.service.clone(), text));
                }
                orders.sources = Arc::new(loaded.service.sources);
                orders.stations = Arc::new(loaded.service.stations);
                orders.deliver = Arc::new(loaded.service.deliver);
                orders.daemon = loaded.service.daemon;
            }
            Err(found) => mistakes.push((self.place.service.clone(), found.summary())),
        }
        orders.farms.clear();
        for (folder, id) in &mut self.owners {
            match settings::load_farm(folder) {
                Ok(loaded) => {
                    *id = loaded.farm.id.clone();
                    orders.farms.push(Arc::new(loaded.farm));
                }
                Err(found) => {
                    mistakes.push((folder.clone(), found.summary()));
                    orders.farms.extend(before.farm(id).cloned());
                }
            }
        }
        let watched = self.place.watched(&orders.deliver);
        Reread {
            orders,
            watched,
            mistakes,
        }
    }
}
