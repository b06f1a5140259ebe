//! How it stands with a service: when it may be asked again, since when it fails, and with what.

use chrono::{DateTime, NaiveTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::fault::{Course, Fault, What};

/// Most tries an hour while a service fails.
const TRIES_AN_HOUR: usize = 5;
/// A wait beyond this can only come from a clock that has jumped.
const LONGEST_WAIT: TimeDelta = TimeDelta::hours(26);
/// Longest wait a service may ask for.
const LONGEST_RETRY_AFTER: TimeDelta = TimeDelta::hours(6);
/// Good pulls in a row after which a service that failed has its place back.
pub const GOOD_AGAIN: u32 = 3;
/// Services are not asked this close to a full hour, when everybody asks \[s\].
const CROWD_S: i64 = 120;

/// State of one service for one farm, for the status and for the next pull.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct ServiceState {
    /// Not to be asked before.
    pub next_try: Option<DateTime<Utc>>,
    /// Begin of the present run of faults.
    pub failing_since: Option<DateTime<Utc>>,
    /// Faults in a row.
    pub failures: u32,
    /// The latest fault of that run, as a sentence.
    pub last_fault: Option<String>,
    /// Last pull that brought a forecast.
    pub last_good: Option<DateTime<Utc>>,
    /// Good pulls in a row.
    pub good_in_a_row: u32,
    /// Last time the service's notice that it will end was passed on.
    pub warned: Option<DateTime<Utc>>,
    /// Until when its run-time file is not asked for, because it has none.
    pub no_run_file_until: Option<DateTime<Utc>>,
    /// Stands behind other services of its sort since it failed, until [`GOOD_AGAIN`] good pulls in a row.
    pub second: bool,
    /// Stands behind all others, because it failed so long that nothing of it could be used; ends likewise.
    pub out: bool,
    /// The service says that it does not cover the place: not asked again before the settings change.
    pub not_here: bool,
    /// The wait ends with a change of the settings.
    by_settings: bool,
    /// Names the request that the waits are about.
    asked: String,
    tries: Vec<DateTime<Utc>>,
}

impl ServiceState {
    /// Until when the service must be left alone, if it must.
    pub fn waiting(&self, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
        if self.not_here {
            return Some(now + LONGEST_WAIT);
        }
        self.next_try
            .filter(|until| *until > now && *until - now <= LONGEST_WAIT)
    }

    /// Forgets waits, after the settings of the service have changed.
    pub fn settings_changed(&mut self) {
        self.next_try = None;
        self.no_run_file_until = None;
        (self.not_here, self.by_settings) = (false, false);
    }

    /// A person asks: what only waits for something to be put right is asked now. A wait that the service
    /// wants stays.
    pub fn tried_by_hand(&mut self) {
        if self.by_settings || self.not_here {
            self.settings_changed();
        }
        self.last_good = None;
    }

    /// The request that is made now; if it is another one, waits for better settings are over.
    pub(super) fn asking(&mut self, request: &str) {
        if self.asked != request {
            if self.by_settings || self.not_here {
                self.settings_changed();
            }
            request.clone_into(&mut self.asked);
        }
    }

    /// Where it stands after a round in which it had something usable, or had not.
    pub(super) fn stand(&mut self, usable: bool) {
        if self.last_fault.is_some() {
            self.second = true;
            self.out |= !usable;
        } else if self.good_in_a_row >= GOOD_AGAIN {
            (self.second, self.out) = (false, false);
        }
    }

    pub(super) fn tried(&mut self, now: DateTime<Utc>) {
        self.tries.retain(|at| *at <= now && now - *at < TimeDelta::hours(1));
        self.tries.push(now);
    }

    /// After a good answer; `good_until` is how long it is good by the service's own word.
    pub(super) fn worked(&mut self, now: DateTime<Utc>, good_until: Option<DateTime<Utc>>) {
        self.next_try = good_until
            .filter(|until| *until > now)
            .map(|until| until.min(now + LONGEST_RETRY_AFTER) + TimeDelta::seconds(fastrand::i64(5..=180)))
            .map(clear_of_full_hour);
        (self.not_here, self.by_settings) = (false, false);
        self.failing_since = None;
        self.failures = 0;
        self.last_fault = None;
        self.last_good = Some(now);
        self.good_in_a_row = self.good_in_a_row.saturating_add(1);
    }

    pub(super) fn failed(&mut self, fault: &Fault, now: DateTime<Utc>) {
        self.failures = self.failures.saturating_add(1);
        self.failing_since.get_or_insert(now);
        self.good_in_a_row = 0;
        self.last_fault = Some(fault.to_string());
        let wait = match fault.what.course() {
            Course::Again => back_off(self.failures).max(asked_for(&fault.what)),
            Course::Blocked => TimeDelta::hours(1)
                .max(asked_for(&fault.what))
                .max(until_tomorrow(&fault.what, now)),
            Course::Settings => TimeDelta::hours(6),
            Course::NotHere => LONGEST_WAIT,
        };
        self.by_settings = matches!(fault.what.course(), Course::Settings | Course::NotHere);
        self.not_here = fault.what.course() == Course::NotHere;
        let mut next = now + wait;
        if let Some(oldest) = self.tries.iter().rev().nth(TRIES_AN_HOUR - 1) {
            next = next.max(*oldest + TimeDelta::hours(1));
        }
        self.next_try = Some(next);
    }

    /// Whether a notice may be passed on; once a day.
    pub(super) fn may_warn(&mut self, now: DateTime<Utc>) -> bool {
        let due = self.warned.is_none_or(|at| now - at >= TimeDelta::days(1) || at > now);
        if due {
            self.warned = Some(now);
        }
        due
    }
}

/// Whether so many ask at this time that one more is not polite.
pub(super) fn is_crowded(now: DateTime<Utc>) -> bool {
    clear_of_full_hour(now) != now
}

/// A time, or a little later if it lies close to a full hour.
pub(super) fn clear_of_full_hour(at: DateTime<Utc>) -> DateTime<Utc> {
    let into_hour = at.timestamp().rem_euclid(3600);
    let later = TimeDelta::seconds(fastrand::i64(CROWD_S..=4 * CROWD_S));
    if into_hour < CROWD_S {
        at - TimeDelta::seconds(into_hour) + later
    } else if into_hour >= 3600 - CROWD_S {
        at + TimeDelta::seconds(3600 - into_hour) + later
    } else {
        at
    }
}

/// Full jitter: anything from a minute to twice the last longest wait, at most half an hour.
fn back_off(failures: u32) -> TimeDelta {
    let longest_s = 60_i64.saturating_mul(1 << failures.min(5)).min(1800);
    TimeDelta::seconds(fastrand::i64(60..=longest_s))
}

fn asked_for(what: &What) -> TimeDelta {
    let What::Status {
        retry_after: Some(wait),
        ..
    } = what
    else {
        return TimeDelta::zero();
    };
    (*wait).min(LONGEST_RETRY_AFTER)
}

/// A daily limit is over on the next day UTC; some minutes more, so that not all come back at once.
fn until_tomorrow(what: &What, now: DateTime<Utc>) -> TimeDelta {
    let What::Status {
        reason: Some(reason), ..
    } = what
    else {
        return TimeDelta::zero();
    };
    if !reason.to_lowercase().contains("daily") {
        return TimeDelta::zero();
    }
    let midnight = (now + TimeDelta::days(1))
        .date_naive()
        .and_time(NaiveTime::MIN)
        .and_utc();
    midnight - now + TimeDelta::minutes(fastrand::i64(5..=60))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn status(code: u16, reason: Option<&str>, retry_after_s: Option<i64>) -> Fault {
        let what = What::Status {
            code,
            reason: reason.map(str::to_owned),
            retry_after: retry_after_s.map(TimeDelta::seconds),
        };
        Fault {
            service: "open".to_owned(),
            what,
        }
    }

    /// N2: growing waits, and never more than five tries in any hour.
    #[test]
    fn a_failing_service_is_asked_at_most_five_times_an_hour() {
        for _ in 0..50 {
            let (mut state, mut now, mut tries) = (ServiceState::default(), at("2026-03-10T00:00:00Z"), Vec::new());
            while tries.len() < 30 {
                state.tried(now);
                tries.push(now);
                state.failed(&status(500, None, None), now);
                let next = state.waiting(now).unwrap();
                assert!((60..=3600).contains(&(next - now).num_seconds()));
                now = next;
            }
            for (k, start) in tries.iter().enumerate() {
                assert!(
                    tries[k..]
                        .iter()
                        .filter(|at| **at - *start < TimeDelta::hours(1))
                        .count()
                        <= 5
                );
            }
            assert_eq!(state.failing_since, Some(tries[0]));
        }
    }

    /// N2, N3, N4.
    #[test]
    fn each_status_has_its_wait() {
        let now = at("2026-03-10T20:00:00Z");
        let wait_h = |fault: &Fault| {
            let mut state = ServiceState::default();
            state.failed(fault, now);
            (state.next_try.unwrap() - now).num_minutes() / 60
        };
        assert_eq!(wait_h(&status(503, None, Some(7200))), 2);
        assert_eq!(wait_h(&status(503, None, Some(900_000))), 6);
        assert_eq!(wait_h(&status(429, None, Some(60))), 1);
        assert_eq!(wait_h(&status(403, None, Some(3 * 3600))), 3);
        assert_eq!(wait_h(&status(429, Some("Daily API request limit exceeded."), None)), 4);
        assert_eq!(wait_h(&status(404, None, None)), 6);
    }

    #[test]
    fn a_clock_set_back_does_not_silence_a_service_for_days() {
        let mut state = ServiceState::default();
        state.failed(&status(404, None, None), at("2098-01-01T00:00:00Z"));
        assert_eq!(state.waiting(at("2026-03-10T00:00:00Z")), None);
    }

    #[test]
    fn notices_are_passed_on_once_a_day() {
        let mut state = ServiceState::default();
        assert!(state.may_warn(at("2026-03-10T00:00:00Z")));
        assert!(!state.may_warn(at("2026-03-10T23:00:00Z")));
        assert!(state.may_warn(at("2026-03-11T00:00:00Z")));
    }
}
