//! Sending what waits: what is due, a few at a time, and what became of each.

use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use tracing::{info, warn};

use super::Event;
use super::run::{Daemon, stored};
use crate::deliver::due::{LOGIN_WAIT, Step, step};
use crate::deliver::{DIALOGUE_LIMIT, Outcome};
use crate::farm::FarmId;
use crate::store::{Fault, ParcelId, State, Waiting};

/// Dialogues at a time, so that one silent server does not hold up the rest for long.
const AT_A_TIME: usize = 4;
/// A farm over its daily limit is looked at again after this.
const LIMIT_WAIT: TimeDelta = TimeDelta::minutes(30);

/// What the loop remembers about sending; all of it may be lost.
#[derive(Debug, Default)]
pub(super) struct Post {
    in_hand: usize,
    /// Nothing is tried before: a password was refused.
    hold_until: Option<DateTime<Utc>>,
    /// Whether the server has taken a message since the last doubt; until then one at a time.
    trusted: bool,
}

impl Post {
    pub(super) fn in_hand(&self) -> usize {
        self.in_hand
    }

    /// New settings may hold the right password.
    pub(super) fn settings_changed(&mut self) {
        (self.hold_until, self.trusted) = (None, false);
    }

    pub(super) fn clock_jumped(&mut self, now: DateTime<Utc>) {
        self.hold_until = self.hold_until.map(|until| until.min(now + LOGIN_WAIT));
    }

    fn room(&self, now: DateTime<Utc>) -> usize {
        if self.hold_until.is_some_and(|until| now < until) {
            return 0;
        }
        let at_a_time = if self.trusted { AT_A_TIME } else { 1 };
        at_a_time.saturating_sub(self.in_hand)
    }
}

impl Daemon {
    /// Hands over what is due.
    pub(super) fn send_due(&mut self, now: DateTime<Utc>) {
        if !super::clock::is_believable(now) {
            return;
        }
        if let Err(fault) = self.try_to_send(now) {
            self.trouble("outbox", fault.to_string(), now);
        }
    }

    fn try_to_send(&mut self, now: DateTime<Utc>) -> Result<(), Fault> {
        for parcel in self.store.drop_outlived(now)? {
            warn!(farm = parcel.farm.0, key = parcel.key, why = ?parcel.last_error, "not sent: its time is over");
        }
        loop {
            let room = self.post.room(now);
            let due = self.store.due(now, room)?;
            if room == 0 || due.is_empty() {
                return Ok(());
            }
            for parcel in due {
                if self.is_over_limit(&parcel.farm, now)? {
                    self.store.put_off(
                        parcel.id,
                        now + LIMIT_WAIT,
                        "the farm's daily limit of messages is reached",
                    )?;
                    continue;
                }
                self.store.handing(parcel.id, now)?;
                self.hand_over(parcel);
            }
        }
    }

    fn is_over_limit(&mut self, farm: &FarmId, now: DateTime<Utc>) -> Result<bool, Fault> {
        let limit = self.orders.deliver.daily_limit;
        let thing = format!("limit of farm {}", farm.0);
        if self.store.sent_since(farm, now - TimeDelta::days(1))? < limit {
            self.fine(&thing);
            return Ok(false);
        }
        let text = format!(
            "{limit} messages were sent within a day; the rest waits or runs out, look for a mistake in the farm file"
        );
        self.trouble(&thing, text, now);
        Ok(true)
    }

    fn hand_over(&mut self, parcel: Waiting) {
        self.post.in_hand += 1;
        let deliver = Arc::clone(&self.orders.deliver);
        self.hands.spawn(async move {
            let outcome = deliver.hand_over(&parcel, DIALOGUE_LIMIT).await;
            Event::HandedOver {
                id: parcel.id,
                farm: parcel.farm,
                tries: parcel.attempts.saturating_add(1),
                outcome,
            }
        });
    }

    /// Marks what became of a message.
    pub(super) fn handed_over(
        &mut self,
        id: ParcelId,
        farm: &FarmId,
        tries: u32,
        outcome: &Outcome,
        now: DateTime<Utc>,
    ) {
        self.post.in_hand = self.post.in_hand.saturating_sub(1);
        let luck = fastrand::f64().mul_add(2.0, -1.0);
        match step(outcome, tries, now, luck) {
            Step::Sent => {
                self.post.trusted = true;
                stored(self.store.end(id, State::Sent, None, now));
                info!(farm = farm.0, parcel = id.0, tries, "sent");
            }
            Step::Refused { why } => {
                stored(self.store.end(id, State::Refused, Some(&why), now));
                tracing::error!(
                    farm = farm.0,
                    parcel = id.0,
                    tries,
                    "refused for good; see `covercast status` for the recipient"
                );
                let text =
                    format!("a message was refused for good ({why}); check the recipient's address in the farm file");
                self.trouble(&format!("recipient of farm {}", farm.0), text, now);
            }
            Step::Again { at, why, fate_unknown } => {
                stored(self.store.again(id, at, &why, fate_unknown));
                let next_s = (at - now).num_seconds();
                warn!(
                    farm = farm.0,
                    parcel = id.0,
                    tries,
                    next_s,
                    fate_unknown,
                    ?why,
                    "not sent yet"
                );
            }
            Step::HoldAll { until, why } => {
                (self.post.hold_until, self.post.trusted) = (Some(until), false);
                // Due at once when the hold ends, which a mended password file may do early.
                stored(self.store.again(id, now, &why, false));
            }
        }
        match outcome {
            Outcome::Site(site) => self.trouble("mail", site.to_string(), now),
            Outcome::Accepted | Outcome::Refused { .. } => self.fine("mail"),
            Outcome::Later { .. } | Outcome::Unknown { .. } => {}
        }
    }
}
