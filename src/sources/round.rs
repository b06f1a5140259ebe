//! One round of questions to all services of a farm, side by side, so that a slow one delays no other; and
//! where each stands after it.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use tokio::task::JoinSet;

use super::client::{Reply, cached_reply, fetch};
use super::fault::What;
use super::{
    Gives, Limits, Role, Service, ServiceKind, ServiceState, Settings, cached, load_state, pull_within, save_state,
};
use crate::farm::site::Site;
use crate::weather::warning::Code;
use crate::weather::{Forecast, Freshness, Product, Standing};

/// What one service had to say.
#[derive(Debug, Clone, PartialEq)]
pub struct Turn {
    /// Its name in the service file.
    pub service: String,
    /// What it replies; `None` for a recorded reply.
    pub kind: Option<ServiceKind>,
    /// What its forecast is used for.
    pub role: Role,
    /// For the age.
    pub product: Product,
    /// Where it stands among the others.
    pub standing: Standing,
    /// Its forecast: the new one, or the last good one.
    pub forecast: Option<Forecast>,
    /// Its readings or warnings as they came, now or last, if that is what it gives.
    pub reply: Option<Reply>,
    /// Codes of the regions the farm lies in, for warnings.
    pub codes: BTreeSet<Code>,
    /// Why there is nothing new, in a sentence.
    pub fault: Option<String>,
    /// Since when it fails.
    pub failing_since: Option<DateTime<Utc>>,
    /// Before when it is not asked again.
    pub next_try: Option<DateTime<Utc>>,
    /// Sentences for the log.
    pub notes: Vec<String>,
}

impl Turn {
    /// A reply that nobody was asked for, such as a recorded one.
    pub fn recorded(service: &str, role: Role, product: Product, forecast: Result<Forecast, String>) -> Self {
        let (forecast, fault) = match forecast {
            Ok(forecast) => (Some(forecast), None),
            Err(fault) => (None, Some(fault)),
        };
        Self {
            service: service.to_owned(),
            kind: None,
            role,
            product,
            standing: if role == Role::Check {
                Standing::Check
            } else {
                Standing::First
            },
            forecast,
            reply: None,
            codes: BTreeSet::new(),
            fault,
            failing_since: None,
            next_try: None,
            notes: Vec::new(),
        }
    }

    /// Warnings that nobody was asked for, and codes of the regions the farm lies in.
    pub fn recorded_warnings(service: &str, bytes: Vec<u8>, codes: BTreeSet<Code>, now: DateTime<Utc>) -> Self {
        let mut turn = Self::recorded(service, Role::Main, Product::HourlyModel, Err(String::new()));
        (turn.kind, turn.fault, turn.codes) = (Some(ServiceKind::Cap), None, codes);
        turn.reply = Some(Reply { bytes, fetched: now });
        turn
    }

    fn of(service: &Service, state: &ServiceState, now: DateTime<Utc>) -> Self {
        Self {
            service: service.name.clone(),
            kind: Some(service.kind),
            role: service.role,
            product: service.product,
            standing: standing(service, state),
            forecast: None,
            reply: None,
            codes: service.codes.clone(),
            fault: state.last_fault.clone(),
            failing_since: state.failing_since,
            next_try: state.waiting(now),
            notes: Vec::new(),
        }
    }
}

/// Where a service stands by its role and its past.
pub fn standing(service: &Service, state: &ServiceState) -> Standing {
    match service.role {
        Role::Check => Standing::Check,
        Role::Members | Role::Main if state.out => Standing::Out,
        Role::Members | Role::Main if state.second => Standing::Second,
        Role::Members | Role::Main => Standing::First,
    }
}

/// Asks every service once, as far as each may be asked now. The turns stand in the order of the settings.
pub async fn round(settings: &Settings, site: &Site, now: DateTime<Utc>) -> Vec<Turn> {
    round_within(&Limits::default(), settings, site, now).await
}

/// [`round`] with other limits.
pub async fn round_within(limits: &Limits, settings: &Settings, site: &Site, now: DateTime<Utc>) -> Vec<Turn> {
    let mut asking = JoinSet::new();
    for (place, service) in settings.services.iter().enumerate() {
        let (limits, settings, service, site) = (limits.clone(), settings.clone(), service.clone(), site.clone());
        asking.spawn(async move { (place, turn(&limits, &settings, &service, &site, now).await) });
    }
    let mut turns: Vec<(usize, Turn)> = asking.join_all().await;
    turns.sort_by_key(|(place, _)| *place);
    turns.into_iter().map(|(_, turn)| turn).collect()
}

/// The last good replies, nothing asked.
pub fn at_hand(settings: &Settings, site: &Site, now: DateTime<Utc>) -> Vec<Turn> {
    let kept = |service: &Service| {
        let mut turn = Turn::of(service, &load_state(settings, service, site), now);
        turn.fill(settings, service, site, now);
        turn
    };
    settings.services.iter().map(kept).collect()
}

async fn turn(limits: &Limits, settings: &Settings, service: &Service, site: &Site, now: DateTime<Utc>) -> Turn {
    let mut state = load_state(settings, service, site);
    let lately = state
        .last_good
        .is_some_and(|at| at <= now && now - at < settings.interval);
    if lately && state.last_fault.is_none() {
        let mut turn = Turn::of(service, &state, now);
        turn.fill(settings, service, site, now);
        if turn.forecast.is_some() || turn.reply.is_some() {
            return turn;
        }
    }
    let mut brought = (None, None);
    let outcome = match service.kind.gives() {
        Gives::Forecast => pull_within(limits, settings, service, site, now, &mut state)
            .await
            .map(|pulled| {
                brought.0 = Some(pulled.forecast);
                pulled.notes
            }),
        Gives::Past | Gives::Warnings => {
            fetch(limits, settings, service, site, now, &mut state)
                .await
                .map(|(reply, notes)| {
                    brought.1 = Some(reply);
                    notes
                })
        }
    };
    let mut turn = Turn::of(service, &state, now);
    (turn.forecast, turn.reply) = brought;
    match outcome {
        Ok(notes) => turn.notes = notes,
        // While it waits its turn, what went wrong is still the last fault; and what is good by the
        // service's own word is no fault at all.
        Err(fault) => {
            turn.fill(settings, service, site, now);
            if !matches!(fault.what, What::Waiting { .. }) {
                turn.fault = Some(fault.to_string());
            }
        }
    }
    state.stand(turn.is_usable(now));
    turn.standing = standing(service, &state);
    if let Err(error) = save_state(settings, service, site, &state) {
        turn.notes.push(format!(
            "the state of {} could not be written ({}); it is kept in memory only",
            service.name,
            error.kind()
        ));
    }
    turn
}

impl Turn {
    /// What was kept from before.
    fn fill(&mut self, settings: &Settings, service: &Service, site: &Site, now: DateTime<Utc>) {
        match service.kind.gives() {
            Gives::Forecast => self.forecast = cached(settings, service, site, now),
            Gives::Past | Gives::Warnings => self.reply = cached_reply(settings, service, site, now),
        }
    }

    /// Whether its forecast may still be judged by.
    fn is_usable(&self, now: DateTime<Utc>) -> bool {
        self.forecast
            .as_ref()
            .is_some_and(|forecast| self.product.freshness(forecast.issue.at, now) != Freshness::Unknown)
    }
}
