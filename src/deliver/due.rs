//! When a message is tried again, and when it is given up.

use chrono::{DateTime, TimeDelta, Utc};

use super::outcome::{Outcome, Site};

/// Waits after the first, second … try of advice; the last repeats.
const WAITS_MINUTES: [i64; 4] = [1, 5, 15, 30];
/// Each wait is longer or shorter by up to this share, so that many messages do not come at once.
const JITTER: f64 = 0.2;
/// A message that may have been accepted goes again no sooner.
pub const UNKNOWN_WAIT: TimeDelta = TimeDelta::minutes(10);
/// After a refused password nothing is tried for this long, so that no account gets locked.
pub const LOGIN_WAIT: TimeDelta = TimeDelta::minutes(30);
/// Tries at a server that refuses us as a whole.
const TRIES_WHEN_REFUSED: u32 = 3;

/// What to do with a message after a try.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Step {
    /// Mark it as sent.
    Sent,
    /// Mark it as refused.
    Refused {
        /// Why.
        why: String,
    },
    /// Try again.
    Again {
        /// Not before.
        at: DateTime<Utc>,
        /// Why.
        why: String,
        /// Whether this try may have been accepted.
        fate_unknown: bool,
    },
    /// Try nothing at all until then: the account is at stake.
    HoldAll {
        /// Until when.
        until: DateTime<Utc>,
        /// Why.
        why: String,
    },
}

/// The step after try number `tries` (this one included); `luck` from −1 to 1 sets the jitter.
pub fn step(outcome: &Outcome, tries: u32, now: DateTime<Utc>, luck: f64) -> Step {
    let again = |why: String| Step::Again {
        at: now + wait(tries, luck),
        why,
        fate_unknown: false,
    };
    match outcome {
        Outcome::Accepted => Step::Sent,
        Outcome::Refused { reply } => Step::Refused { why: reply.clone() },
        Outcome::Later { reply } => again(reply.clone()),
        Outcome::Unknown { how } => Step::Again {
            at: now + wait(tries, luck).max(UNKNOWN_WAIT),
            why: how.clone(),
            fate_unknown: true,
        },
        Outcome::Site(site @ Site::Login { .. }) => Step::HoldAll {
            until: now + LOGIN_WAIT,
            why: site.to_string(),
        },
        Outcome::Site(site @ Site::RefusesUs { .. }) if tries >= TRIES_WHEN_REFUSED => {
            Step::Refused { why: site.to_string() }
        }
        Outcome::Site(site) => again(site.to_string()),
    }
}

/// The wait after try number `tries`.
fn wait(tries: u32, luck: f64) -> TimeDelta {
    let place = usize::try_from(tries.saturating_sub(1))
        .unwrap_or(usize::MAX)
        .min(WAITS_MINUTES.len() - 1);
    let minutes = WAITS_MINUTES.get(place).copied().unwrap_or(30);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_precision_loss,
        reason = "minutes up to 36, in seconds"
    )]
    let seconds = (minutes as f64 * 60.0 * (1.0 + JITTER * luck.clamp(-1.0, 1.0))).round() as i64;
    TimeDelta::seconds(seconds)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn now() -> DateTime<Utc> {
        "2026-03-10T05:30:00Z".parse().unwrap()
    }

    fn waits(outcome: &Outcome, luck: f64) -> Vec<i64> {
        (1..=6)
            .map(|tries| match step(outcome, tries, now(), luck) {
                Step::Again { at, .. } => (at - now()).num_seconds() / 60,
                other @ (Step::Sent | Step::Refused { .. } | Step::HoldAll { .. }) => panic!("{other:?}"),
            })
            .collect()
    }

    #[test]
    fn tries_come_after_growing_waits() {
        let later = Outcome::Later {
            reply: "451".to_owned(),
        };
        assert_eq!(waits(&later, 0.0), [1, 5, 15, 30, 30, 30]);
        assert_eq!(waits(&later, 1.0), [1, 6, 18, 36, 36, 36]);
        assert_eq!(waits(&later, -1.0), [0, 4, 12, 24, 24, 24]);
    }

    #[test]
    fn a_message_that_may_have_arrived_waits_ten_minutes() {
        assert_eq!(
            waits(&Outcome::Unknown { how: "cut".to_owned() }, -1.0),
            [10, 10, 12, 24, 24, 24]
        );
    }

    #[test]
    fn a_wrong_password_holds_all_mail_and_loses_none() {
        let login = Outcome::Site(Site::Login {
            host: "mail.example".to_owned(),
            reply: "535".to_owned(),
        });
        assert!(matches!(step(&login, 9, now(), 0.0), Step::HoldAll { until, .. } if until == now() + LOGIN_WAIT));
    }

    #[test]
    fn a_server_that_refuses_us_is_tried_three_times() {
        let refuses = Outcome::Site(Site::RefusesUs {
            host: "mail.example".to_owned(),
            reply: "554".to_owned(),
        });
        assert!(matches!(step(&refuses, 2, now(), 0.0), Step::Again { .. }));
        assert!(matches!(step(&refuses, 3, now(), 0.0), Step::Refused { .. }));
    }
}
