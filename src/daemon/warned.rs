//! Official warnings over the rounds: what one round brought joins what is remembered, so that a start brings
//! nothing back that was ended.

use chrono::{DateTime, Utc};

use super::run::Daemon;
use crate::farm::{Farm, FarmId};
use crate::store::{Fault, Feed, Store};
use crate::weather::warning::{self, Register, Warned};

/// The warnings remembered for a farm. What no version of this program wrote is left behind and said.
pub(super) fn known(store: &Store, farm: &FarmId) -> Result<Register, Fault> {
    match store.warnings(farm) {
        Err(fault @ Fault::Unreadable { .. }) => {
            tracing::warn!(farm = farm.0, "{fault}; warnings are gathered anew");
            Ok(Register::default())
        }
        known => known,
    }
}

/// Whom the warnings of a service are chosen for.
pub(super) fn whom(farm: &Farm, warned: &Warned) -> warning::Farm {
    let (latitude, longitude) = (farm.site.latitude.0, farm.site.longitude.0);
    warning::Farm::new(latitude, longitude, warned.codes.clone())
}

/// Adds to a register what a service gave.
pub(super) fn take(register: &mut Register, service: &str, warned: &Warned, farm: &Farm, now: DateTime<Utc>) {
    for note in register.take(service, &warned.warnings, &whom(farm, warned), now) {
        tracing::warn!(farm = farm.id.0, ?note, "a warning is left out");
    }
}

impl Daemon {
    /// Remembers the warnings of a round.
    pub(super) fn remember_warnings(&self, farm: &Farm, feeds: &[Feed], now: DateTime<Utc>) -> Result<(), Fault> {
        if feeds.iter().all(|feed| feed.warned.is_none()) {
            return Ok(());
        }
        let before = known(&self.store, &farm.id)?;
        let mut register = before.clone();
        for feed in feeds {
            if let Some(warned) = &feed.warned {
                take(&mut register, &feed.service, warned, farm, now);
            }
        }
        if register == before {
            return Ok(());
        }
        self.store.keep_warnings(&farm.id, &register, now)
    }
}
