//! One round of questions to all services of a farm, side by side, so that a slow one delays no other.

use chrono::{DateTime, Utc};
use tokio::task::JoinSet;

use super::fault::What;
use super::{Role, Service, Settings, cached, load_state, pull, save_state};
use crate::farm::site::Site;
use crate::weather::{Forecast, Product};

/// What one service had to say.
#[derive(Debug, Clone, PartialEq)]
pub struct Turn {
    /// Its name in the service file.
    pub service: String,
    /// What its forecast is used for.
    pub role: Role,
    /// For the age.
    pub product: Product,
    /// Its forecast: the new one, or the last good one.
    pub forecast: Option<Forecast>,
    /// Why there is no new one, in a sentence.
    pub fault: Option<String>,
    /// Since when it fails.
    pub failing_since: Option<DateTime<Utc>>,
    /// Sentences for the log.
    pub notes: Vec<String>,
}

/// Asks every service once, as far as each may be asked now. The turns stand in the order of the settings.
pub async fn round(settings: &Settings, site: &Site, now: DateTime<Utc>) -> Vec<Turn> {
    let mut asking = JoinSet::new();
    for (place, service) in settings.services.iter().enumerate() {
        let (settings, service, site) = (settings.clone(), service.clone(), site.clone());
        asking.spawn(async move { (place, turn(&settings, &service, &site, now).await) });
    }
    let mut turns: Vec<(usize, Turn)> = asking.join_all().await;
    turns.sort_by_key(|(place, _)| *place);
    turns.into_iter().map(|(_, turn)| turn).collect()
}

/// The last good forecasts, nothing asked.
pub fn at_hand(settings: &Settings, site: &Site, now: DateTime<Utc>) -> Vec<Turn> {
    let kept = |service: &Service| {
        let state = load_state(settings, service, site);
        Turn {
            service: service.name.clone(),
            role: service.role,
            product: service.product,
            forecast: cached(settings, service, site, now),
            fault: state.last_fault,
            failing_since: state.failing_since,
            notes: Vec::new(),
        }
    };
    settings.services.iter().map(kept).collect()
}

async fn turn(settings: &Settings, service: &Service, site: &Site, now: DateTime<Utc>) -> Turn {
    let mut state = load_state(settings, service, site);
    let outcome = pull(settings, service, site, now, &mut state).await;
    let mut notes = Vec::new();
    if let Err(error) = save_state(settings, service, site, &state) {
        notes.push(format!(
            "the state of {} could not be written ({}); it is kept in memory only",
            service.name,
            error.kind()
        ));
    }
    let (forecast, fault) = match outcome {
        Ok(pulled) => {
            notes.extend(pulled.notes);
            (Some(pulled.forecast), None)
        }
        // While it waits its turn, what went wrong is still the last fault.
        Err(fault) => {
            let last = state
                .last_fault
                .clone()
                .filter(|_| matches!(fault.what, What::Waiting { .. }));
            (
                cached(settings, service, site, now),
                Some(last.unwrap_or_else(|| fault.to_string())),
            )
        }
    };
    Turn {
        service: service.name.clone(),
        role: service.role,
        product: service.product,
        forecast,
        fault,
        failing_since: state.failing_since,
        notes,
    }
}
