//! The one clock. Everything else takes `now` as an argument.

use chrono::{DateTime, TimeDelta, Utc};
use tokio::time::Instant;

/// Where the time comes from.
#[derive(Debug, Clone, Copy)]
pub enum Clock {
    /// The machine's wall clock.
    Wall,
    /// A start that moves on with tokio's timer, which tests pause.
    From {
        /// Time at the beginning.
        start: DateTime<Utc>,
        /// When that was.
        began: Instant,
    },
}

impl Clock {
    /// A clock that shows `start` now.
    pub fn starting_at(start: DateTime<Utc>) -> Self {
        Self::From {
            start,
            began: Instant::now(),
        }
    }

    /// The time.
    #[expect(clippy::disallowed_methods, reason = "the one place that reads the clock")]
    pub fn now(&self) -> DateTime<Utc> {
        match self {
            Self::Wall => Utc::now(),
            Self::From { start, began } => *start + TimeDelta::from_std(began.elapsed()).unwrap_or(TimeDelta::MAX),
        }
    }
}

/// First instant of a believable clock, 2025-01-01, in seconds since 1970: this program is younger.
const BELIEVABLE_FROM: i64 = 1_735_689_600;
/// End of a believable clock, 2098-01-01.
const BELIEVABLE_TO: i64 = 4_039_372_800;

/// Whether a clock that shows this can be believed.
pub fn is_believable(now: DateTime<Utc>) -> bool {
    (BELIEVABLE_FROM..BELIEVABLE_TO).contains(&now.timestamp())
}

/// Notices when the wall clock and the timer part ways.
#[derive(Debug, Clone, Copy)]
pub(super) struct Steadiness {
    wall: DateTime<Utc>,
    timer: Instant,
}

impl Steadiness {
    pub(super) fn at(wall: DateTime<Utc>) -> Self {
        Self {
            wall,
            timer: Instant::now(),
        }
    }

    /// By how much the wall clock has jumped since the last look, if by two minutes or more.
    pub(super) fn look(&mut self, wall: DateTime<Utc>) -> Option<TimeDelta> {
        let passed = TimeDelta::from_std(self.timer.elapsed()).unwrap_or_default();
        let jump = (wall - self.wall) - passed;
        *self = Self::at(wall);
        (jump.abs() >= TimeDelta::minutes(2)).then_some(jump)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_of_1970_or_2098_is_not_believed() {
        for (text, believed) in [
            ("1970-01-01T00:00:10Z", false),
            ("2024-12-31T23:59:59Z", false),
            ("2025-01-01T00:00:00Z", true),
            ("2097-12-31T23:59:59Z", true),
            ("2098-01-01T00:00:00Z", false),
        ] {
            assert_eq!(is_believable(text.parse().unwrap()), believed, "{text}");
        }
    }
}
