//! What the store remembers of the weather, for the past of a letter.

use chrono::{DateTime, TimeDelta, Utc};

use super::warned;
use crate::farm::Farm;
use crate::pipeline::Told;
use crate::sources::station::Station;
use crate::store::{Fault, Packed, Store};
use crate::weather::reading::{Mast, Reading, Readings};
use crate::weather::warning::Register;

/// Readings from before the past of a timeline tell whether a station was there then.
const READINGS_BACK: TimeDelta = TimeDelta::days(7);
/// Forecasts issued before this have no first hours in the past of a timeline.
const FORECASTS_BACK: TimeDelta = TimeDelta::hours(126);

/// As it lies in the store; [`Memory::told`] makes weather of it.
#[derive(Debug, Clone, Default)]
pub struct Memory {
    /// Each station that tells about the farm, with its readings.
    pub readings: Vec<(Mast, Vec<Reading>)>,
    /// Forecasts of the last days.
    pub forecasts: Vec<Packed>,
    /// Warnings of the rounds before, and the names of those that are over.
    pub warnings: Register,
}

impl Memory {
    /// What a farm needs of it.
    pub fn of(store: &Store, farm: &Farm, stations: &[Station], now: DateTime<Utc>) -> Result<Self, Fault> {
        let mut readings = Vec::new();
        for station in stations.iter().filter(|station| station.tells(&farm.id)) {
            let found = store.readings(&station.name, now - READINGS_BACK)?;
            readings.push((station.mast(&farm.site), found));
        }
        Ok(Self {
            readings,
            forecasts: store.kept_since(&farm.id, now - FORECASTS_BACK)?,
            warnings: warned::known(store, &farm.id)?,
        })
    }

    /// Sorted and unpacked. A forecast that cannot be unpacked is left out and said in the log.
    pub fn told(&self) -> Told {
        let unpacked = |packed: &Packed| match packed.first() {
            Ok(archived) => Some(archived),
            Err(fault) => {
                tracing::warn!("{fault}; the past is told without it");
                None
            }
        };
        // Single forecasts before members of the same issue: they stand on the finer grid.
        let mut forecasts: Vec<&Packed> = self.forecasts.iter().collect();
        forecasts.sort_by_key(|packed| packed.members);
        let mut stations: Vec<(Mast, Vec<Reading>)> = Vec::new();
        for (mast, readings) in &self.readings {
            match stations.iter_mut().find(|(other, _)| other.name == mast.name) {
                Some((_, before)) => before.extend(readings),
                None => stations.push((mast.clone(), readings.clone())),
            }
        }
        Told {
            stations: stations
                .into_iter()
                .map(|(mast, readings)| (mast, Readings::gather(readings)))
                .collect(),
            archived: forecasts.into_iter().filter_map(unpacked).collect(),
        }
    }
}
