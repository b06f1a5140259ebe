//! From a due time to a stored letter: fetch, decide, store.

use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use tracing::{info, warn};

use super::run::{Daemon, STORE_WAIT};
use super::schedule::{self, Due};
use super::{Decided, Event, Memory, Question};
use crate::deliver::Mail;
use crate::farm::{Farm, FarmId};
use crate::store::{Committed, Fault, Feed, LetterId, NewLetter, Parcel};

/// The kind of letter, and the name of its job in the store.
pub const MORNING: &str = "morning";
/// A forecast asked for within this time before the letter is not asked for again.
const ASKED_LATELY: TimeDelta = TimeDelta::minutes(30);
/// Longest a pull of all services of one farm may take.
const PULL_LIMIT: Duration = Duration::from_secs(90);
/// After work that broke off, the next try of that farm.
const BROKE_OFF_WAIT: TimeDelta = TimeDelta::minutes(5);

/// What the loop remembers about a farm; all of it may be lost.
#[derive(Debug)]
pub(super) struct FarmState {
    next_pull: DateTime<Utc>,
    asked: Option<DateTime<Utc>>,
    pulling: bool,
    deciding: bool,
    not_before: Option<DateTime<Utc>>,
}

impl FarmState {
    pub(super) fn new(now: DateTime<Utc>) -> Self {
        Self {
            next_pull: schedule::clear_of_full_hour(now),
            asked: None,
            pulling: false,
            deciding: false,
            not_before: None,
        }
    }

    /// Times kept from before the jump mean nothing now.
    pub(super) fn clock_jumped(&mut self, now: DateTime<Utc>) {
        (self.next_pull, self.asked, self.not_before) = (schedule::clear_of_full_hour(now), None, None);
    }

    fn asked_lately(&self, now: DateTime<Utc>) -> bool {
        self.asked.is_some_and(|asked| now - asked < ASKED_LATELY)
    }
}

impl Daemon {
    /// Begins the letter of a farm if one is due and not done.
    pub(super) fn letter_if_due(&mut self, id: &FarmId, now: DateTime<Utc>) -> Result<(), Fault> {
        let (Some(farm), Some(state)) = (self.orders.farm(id).cloned(), self.farms.get(id)) else {
            return Ok(());
        };
        let (pulling, asked_lately) = (state.pulling, state.asked_lately(now));
        if state.deciding || state.not_before.is_some_and(|wait| now < wait) {
            return Ok(());
        }
        self.note_missed(&farm, now)?;
        let Some(due) = schedule::due_now(&self.orders.daemon.letter, &farm.site.zone, now) else {
            return Ok(());
        };
        if pulling || self.store.is_done(id, MORNING, due.date)? {
            return Ok(());
        }
        if !asked_lately {
            self.pull(&farm, now);
            return Ok(());
        }
        let question = self.question(&farm, due, now)?;
        if let Some(state) = self.farms.get_mut(id) {
            state.deciding = true;
        }
        let decide = Arc::clone(&self.work.decide);
        let farm = id.clone();
        self.hands.spawn(async move {
            let decided = tokio::task::spawn_blocking(move || decide(question)).await;
            Event::Decided {
                farm,
                due,
                decided: decided.ok().map(Box::new),
            }
        });
        Ok(())
    }

    fn question(&self, farm: &Arc<Farm>, due: Due, now: DateTime<Utc>) -> Result<Question, Fault> {
        let next = schedule::next_due(&self.orders.daemon.letter, &farm.site.zone, now.max(due.at));
        Ok(Question {
            farm: Arc::clone(farm),
            sources: Arc::clone(&self.orders.sources),
            entries: self.store.entries(&farm.id)?,
            memory: Memory::of(&self.store, farm, &self.orders.stations, now)?,
            now,
            due,
            next_letter: next.map(|next| next.at),
            number: self.store.next_number(&farm.id)?,
            yesterday: self.store.letter_before(&farm.id, due.date)?,
        })
    }

    /// Days on which no letter went out and none will: noted, said once, and nobody gets mail about them.
    fn note_missed(&mut self, farm: &Farm, now: DateTime<Utc>) -> Result<(), Fault> {
        let Some(last) = self.store.last_done(&farm.id, MORNING)? else {
            return Ok(());
        };
        for date in schedule::missed(&self.orders.daemon.letter, &farm.site.zone, last, now) {
            self.store.note_missed(&farm.id, MORNING, date, now)?;
            warn!(farm = farm.id.0, %date, "no letter went out on this day: the program did not run, or could not, before noon");
        }
        Ok(())
    }

    /// Stores a letter with its messages; sending follows.
    pub(super) fn decided(&mut self, id: &FarmId, due: Due, decided: Option<Box<Decided>>, now: DateTime<Utc>) {
        if let Some(state) = self.farms.get_mut(id) {
            state.deciding = false;
        }
        let Some(farm) = self.orders.farm(id).cloned() else {
            return;
        };
        let thing = format!("farm {}", id.0);
        let Some(decided) = decided else {
            self.wait_with(id, now + BROKE_OFF_WAIT);
            let text =
                "the letter could not be worked out (internal error); the next try comes in 5 min, other farms go on";
            self.trouble(&thing, text.to_owned(), now);
            return;
        };
        match self.commit(&farm, due, &decided) {
            Ok(Committed::Stored { queued, superseded }) => {
                self.fine(&thing);
                info!(farm = id.0, date = %due.date, subject = ?decided.subject, queued, superseded, "letter decided and stored");
                self.copy_daily(now);
            }
            Ok(Committed::DoneBefore) => info!(farm = id.0, date = %due.date, "that day's letter was there already"),
            Err(fault) => {
                self.wait_with(id, now + STORE_WAIT);
                self.trouble(&thing, format!("{fault}; the letter waits"), now);
            }
        }
    }

    fn commit(&mut self, farm: &Farm, due: Due, decided: &Decided) -> Result<Committed, Fault> {
        let letter = NewLetter {
            id: LetterId {
                farm: farm.id.clone(),
                number: self.store.next_number(&farm.id)?,
            },
            kind: MORNING,
            date: due.date,
            subject: decided.subject.clone(),
            text: decided.text.clone(),
            facts: decided.facts.clone(),
            inputs: decided.inputs.clone(),
            forecasts: decided.forecasts.clone(),
            issued: decided.issued,
            valid_until: decided.valid_until,
        };
        let parcels = self.parcels(farm, due, decided);
        self.store.commit(&letter, &parcels)
    }

    /// One message for each reader; one that cannot be built keeps nobody else from theirs.
    fn parcels(&mut self, farm: &Farm, due: Due, decided: &Decided) -> Vec<Parcel> {
        let now = self.clock.now();
        let mut parcels = Vec::new();
        for person in farm.people.iter().filter(|person| person.letter) {
            let Some(address) = &person.email else { continue };
            let mail = Mail {
                farm: farm.id.0.clone(),
                kind: MORNING,
                date: due.date,
                revision: 0,
                name: person.name.clone(),
                address: address.clone(),
                subject: decided.subject.clone(),
                text: decided.text.clone(),
                html: decided.html.clone(),
                pictures: decided.pictures.clone(),
                calendar: decided.calendar.clone(),
                issued: decided.issued,
            };
            match mail.parcel(&self.orders.deliver.from) {
                Ok(parcel) => parcels.push(parcel),
                Err(fault) => self.trouble(&format!("mail of farm {}", farm.id.0), fault.to_string(), now),
            }
        }
        parcels
    }

    fn copy_daily(&mut self, now: DateTime<Utc>) {
        let pruned = self
            .store
            .prune_archive(now)
            .and_then(|_| self.store.prune_readings(now));
        if let Err(fault) = pruned {
            self.trouble("store", fault.to_string(), now);
        }
        match self.store.copy() {
            Ok(_) => self.fine("copy"),
            Err(fault) => self.trouble("copy", format!("no copy of the database was made: {fault}"), now),
        }
    }

    fn wait_with(&mut self, id: &FarmId, until: DateTime<Utc>) {
        if let Some(state) = self.farms.get_mut(id) {
            state.not_before = Some(until);
        }
    }

    /// Asks the services again if it is time.
    pub(super) fn pull_if_due(&mut self, id: &FarmId, now: DateTime<Utc>) {
        let (Some(farm), Some(state)) = (self.orders.farm(id).cloned(), self.farms.get(id)) else {
            return;
        };
        if !state.pulling && state.next_pull <= now {
            self.pull(&farm, now);
        }
    }

    fn pull(&mut self, farm: &Arc<Farm>, now: DateTime<Utc>) {
        let Some(state) = self.farms.get_mut(&farm.id) else {
            return;
        };
        let luck = fastrand::f64().mul_add(2.0, -1.0);
        state.pulling = true;
        let letter = schedule::next_due(&self.orders.daemon.letter, &farm.site.zone, now);
        state.next_pull = schedule::next_pull(now, self.orders.daemon.pull_minutes, luck);
        if let Some(before) = letter.and_then(|due| schedule::pull_before(due.at, now, luck)) {
            state.next_pull = state.next_pull.min(before);
        }
        let pulling = (self.work.pull)(Arc::clone(farm), Arc::clone(&self.orders.sources), now);
        let farm = farm.id.clone();
        self.hands.spawn(async move {
            // In a task of its own, so that work which breaks off is known as such.
            let mut task = tokio::spawn(pulling);
            let feeds = tokio::time::timeout(PULL_LIMIT, &mut task).await;
            if feeds.is_err() {
                task.abort();
            }
            Event::Pulled {
                farm,
                feeds: feeds.ok().and_then(Result::ok),
            }
        });
    }

    /// Remembers what the services said, and goes on with a letter that waited for it.
    /// A service that fails is asked again when it may be, and not only with the next round for all.
    fn try_again(&mut self, id: &FarmId, feeds: &[Feed], now: DateTime<Utc>) {
        let next = feeds
            .iter()
            .filter(|feed| feed.fault.is_some())
            .filter_map(|feed| feed.next_try)
            .min();
        if let (Some(state), Some(next)) = (self.farms.get_mut(id), next) {
            let next = schedule::clear_of_full_hour(next.max(now + TimeDelta::minutes(1)));
            state.next_pull = state.next_pull.min(next);
        }
    }

    pub(super) fn pulled(&mut self, id: &FarmId, feeds: Option<Vec<Feed>>, now: DateTime<Utc>) {
        if let Some(state) = self.farms.get_mut(id) {
            (state.pulling, state.asked) = (false, Some(now));
        }
        let thing = format!("forecast of farm {}", id.0);
        match feeds {
            None => self.trouble(
                &thing,
                "asking for the forecast broke off; the next pull tries again".to_owned(),
                now,
            ),
            Some(feeds) => {
                self.fine(&thing);
                self.try_again(id, &feeds, now);
                if let Some(farm) = self.orders.farm(id).cloned()
                    && let Err(fault) = self.remember_warnings(&farm, &feeds, now)
                {
                    self.trouble("store", fault.to_string(), now);
                }
                for feed in feeds {
                    match &feed.fault {
                        None => info!(farm = id.0, service = feed.service, issued = ?feed.issued, "forecast at hand"),
                        Some(fault) => warn!(farm = id.0, service = feed.service, ?fault, "no new forecast"),
                    }
                    let kept = feed.packed.iter().try_for_each(|packed| self.store.keep(id, packed));
                    if let Err(fault) = kept.and_then(|()| self.store.note_feed(id, &feed, now)) {
                        self.trouble("store", fault.to_string(), now);
                    }
                }
            }
        }
        self.look_after(id, now);
    }
}
