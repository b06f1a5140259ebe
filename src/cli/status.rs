//! `covercast status`: what is due, what was sent, the age of the data, and faults.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use chrono::{DateTime, TimeDelta, Utc};
use clap::Args;

use super::explain::fate;
use super::{Failure, loaded};
use crate::daemon::{Clock, schedule};
use crate::farm::Farm;
use crate::farm::zone::Zone;
use crate::settings::{self, Service, clean};
use crate::sources::station::Station;
use crate::store::{Fault, Feed, Lock, State, Store};
use crate::weather::gates;
use crate::weather::reading::{Hearing, Readings, hearing};

/// Whose state.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Folder of the farm; may be given several times
    #[arg(long, default_value = ".", value_name = "DIR")]
    farm: Vec<PathBuf>,
    /// Service file; `service.toml` in the first farm folder if not named
    #[arg(long, value_name = "FILE")]
    service: Option<PathBuf>,
}

/// Prints the state of a daemon. It only looks, so it works while the daemon runs, and when it does not.
pub(super) fn status(arguments: &Arguments) -> Result<String, Failure> {
    let now = Clock::Wall.now();
    let first = arguments.farm.first().map_or(Path::new("."), PathBuf::as_path);
    let service = loaded::service(arguments.service.as_ref(), first, now)?;
    let mut text = match Lock::holder(&service.state) {
        Some(holder) => format!("Running: {holder}.\n"),
        None => "Not running: no letter goes out until `covercast run` is started.\n".to_owned(),
    };
    let store = match Store::look(&service.state) {
        Ok(store) => store,
        Err(fault) => {
            let _ = writeln!(text, "TROUBLE  {fault}");
            None
        }
    };
    for folder in &arguments.farm {
        match settings::load_farm(folder) {
            Ok(loaded) => text.push_str(&of_farm(&loaded.farm, &service, store.as_ref(), now)?),
            Err(mistakes) => {
                let _ = writeln!(
                    text,
                    "\nFarm in {}\n  TROUBLE  {}; see `covercast check`. A daemon that runs keeps what was in force.",
                    clean(&folder.display().to_string()),
                    clean(&mistakes.summary())
                );
            }
        }
    }
    text.push_str(&troubles(store.as_ref(), now)?);
    Ok(text)
}

fn of_farm(farm: &Farm, service: &Service, store: Option<&Store>, now: DateTime<Utc>) -> Result<String, Fault> {
    let zone = &farm.site.zone;
    let moment = |at| zone.local(at).format("%a %-d %b %H:%M").to_string();
    let mut text = format!("\n{} ({})\n", clean(&farm.site.name), farm.id.0);
    let next = schedule::next_due(&service.daemon.letter, zone, now);
    let _ = writeln!(
        text,
        "  Next letter  {}",
        next.map_or_else(|| "never".to_owned(), |due| moment(due.at))
    );
    let Some(store) = store else {
        let _ = writeln!(text, "  Last letter  none that is known");
        return Ok(text);
    };
    if let Some(due) = schedule::due_now(&service.daemon.letter, zone, now)
        && !store.is_done(&farm.id, crate::daemon::letters::MORNING, due.date)?
    {
        let _ = writeln!(
            text,
            "  Due now      the letter of {}, until {}",
            due.date,
            moment(due.until)
        );
    }
    match store.last_letter(&farm.id)? {
        Some(last) => {
            let _ = writeln!(
                text,
                "  Last letter  {} {}: {}",
                last.id.number,
                moment(last.issued),
                clean(&last.subject)
            );
        }
        None => text.push_str("  Last letter  none yet\n"),
    }
    text.push_str(&mail(farm, store, now)?);
    let feeds = store.feeds(&farm.id)?;
    if feeds.is_empty() {
        text.push_str("  Forecast     none asked for yet\n");
    }
    for feed in &feeds {
        let _ = writeln!(text, "  Forecast     {}", forecast(feed, zone, now));
    }
    for station in service.stations.iter().filter(|station| station.tells(&farm.id)) {
        let _ = writeln!(text, "  Station      {}", heard(station, farm, store, now)?);
    }
    let size = store.archive_size(&farm.id)?;
    if size.forecasts > 0 {
        let _ = writeln!(
            text,
            "  Archive      {} forecasts, {} kB",
            size.forecasts,
            size.bytes.div_ceil(1024)
        );
    }
    let entries = store.entries(&farm.id)?;
    let told = entries.iter().map(|entry| entry.noted).max();
    let _ = writeln!(
        text,
        "  Reports      {}, last {}",
        entries.len(),
        told.map_or_else(|| "never".to_owned(), moment)
    );
    Ok(text)
}

fn mail(farm: &Farm, store: &Store, now: DateTime<Utc>) -> Result<String, Fault> {
    let ended = store.ended_since(&farm.id, now - TimeDelta::days(1))?;
    let count = |state| ended.iter().filter(|parcel| parcel.state == state).count();
    let waiting: Vec<_> = store
        .waiting()?
        .into_iter()
        .filter(|parcel| parcel.farm == farm.id)
        .collect();
    let mut text = format!(
        "  Mail         {} waiting; in the last 24 h {} sent, {} refused, {} not sent in time\n",
        waiting.len(),
        count(State::Sent),
        count(State::Refused),
        count(State::Dropped)
    );
    for parcel in waiting
        .iter()
        .chain(ended.iter().filter(|parcel| parcel.state != State::Sent))
    {
        let _ = writeln!(
            text,
            "               {}: {}",
            clean(&parcel.recipient),
            fate(parcel, &farm.site.zone)
        );
    }
    Ok(text)
}

fn forecast(feed: &Feed, zone: &Zone, now: DateTime<Utc>) -> String {
    let moment = |at| zone.local(at).format("%a %-d %b %H:%M").to_string();
    let age = match feed.issued {
        Some(issued) => format!("issued {}, {} h old", moment(issued), (now - issued).num_hours()),
        None => "nothing received yet".to_owned(),
    };
    let fault = feed.fault.as_ref().map(|fault| {
        let since = feed
            .fault_since
            .map(|since| format!(" since {}", moment(since)))
            .unwrap_or_default();
        format!("; TROUBLE{since}: {}", clean(fault))
    });
    format!("{}: {age}{}", clean(&feed.service), fault.unwrap_or_default())
}

/// When a station was last heard, and which of its sensors are not believed.
fn heard(station: &Station, farm: &Farm, store: &Store, now: DateTime<Utc>) -> Result<String, Fault> {
    let readings = Readings::gather(store.readings(&station.name, now - TimeDelta::days(7))?);
    let name = clean(&station.name);
    let Some(last) = readings.last() else {
        return Ok(format!("{name}: never heard"));
    };
    let zone = &farm.site.zone;
    let moment = |at| zone.local(at).format("%a %-d %b %H:%M").to_string();
    let minutes = (now - last).num_minutes();
    let mut said = match hearing(last, now) {
        Hearing::Fresh | Hearing::Stale => format!("{name}: {}, {minutes} min old", moment(last)),
        Hearing::Silent => format!("{name}: SILENT since {}, {} h", moment(last), minutes / 60),
    };
    let checked = gates::check(&readings);
    let refused: Vec<String> = checked
        .refused
        .iter()
        .map(|(measured, count)| format!("{count} of {}", measured.name()))
        .collect();
    if !refused.is_empty() {
        let _ = write!(said, "; not believed in 7 days: {}", refused.join(", "));
    }
    for (measured, since) in &checked.stuck {
        let _ = write!(said, "; {} has not moved since {}", measured.name(), moment(*since));
    }
    if checked.raised > 0 {
        let _ = write!(said, "; {} gusts below the wind", checked.raised);
    }
    if !station.mast(&farm.site).is_close() {
        said.push_str("; too far away to tell the past");
    }
    Ok(said)
}

fn troubles(store: Option<&Store>, now: DateTime<Utc>) -> Result<String, Fault> {
    let Some(store) = store else { return Ok(String::new()) };
    let mut text = String::new();
    for trouble in store.troubles()? {
        let age = now - trouble.since;
        let since = if age < TimeDelta::hours(2) {
            format!("{} min", age.num_minutes())
        } else {
            format!("{} h", age.num_hours())
        };
        let _ = writeln!(
            text,
            "\nTROUBLE  {}, for {since}: {}",
            clean(&trouble.thing),
            clean(&trouble.text)
        );
    }
    Ok(text)
}
