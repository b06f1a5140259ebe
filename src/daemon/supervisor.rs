//! Telling the service manager how it goes. Only the loop does, so a loop that hangs falls silent and is restarted.

use std::time::Duration;

use sd_notify::NotifyState;

/// The longest time between two looks at the clock.
const LONGEST_TICK: Duration = Duration::from_secs(30);

/// Time between two looks at the clock: half a minute, or half of what the service manager waits for.
pub fn tick() -> Duration {
    sd_notify::watchdog_enabled().map_or(LONGEST_TICK, |limit| (limit / 2).min(LONGEST_TICK))
}

/// Ready to work.
pub fn ready() {
    tell(NotifyState::Ready);
}

/// Still alive.
pub fn alive() {
    tell(NotifyState::Watchdog);
}

/// About to end.
pub fn stopping() {
    tell(NotifyState::Stopping);
}

fn tell(state: NotifyState<'_>) {
    if let Err(error) = sd_notify::notify(&[state]) {
        tracing::debug!(?error, "the service manager cannot be told");
    }
}
