//! What a service manager wants to know: that the daemon is up, that it lives, that it is ending.
//!
//! It is told over the socket that systemd names in the environment; without one nobody is told anything.

use std::time::{Duration, Instant};

use sd_notify::NotifyState;

/// Tells the service manager.
#[derive(Debug)]
pub(super) struct Service {
    /// How often it wants to hear that the daemon lives.
    every: Option<Duration>,
    told: Option<Instant>,
}

impl Service {
    /// Says that the daemon is up.
    pub(super) fn begin() -> Self {
        tell(NotifyState::Ready);
        // Twice as often as must be.
        Self { every: sd_notify::watchdog_enabled().map(|within| within / 2), told: None }
    }

    /// The loop went round.
    pub(super) fn beat(&mut self) {
        let Some(every) = self.every else { return };
        if self.told.is_none_or(|told| told.elapsed() >= every) {
            self.told = Some(Instant::now());
            tell(NotifyState::Watchdog);
        }
    }

    /// Says in a line how things are.
    pub(super) fn say(status: &str) {
        tell(NotifyState::Status(status));
    }

    /// Says that the daemon is ending.
    pub(super) fn end() {
        tell(NotifyState::Stopping);
    }
}

fn tell(state: NotifyState<'_>) {
    if let Err(error) = sd_notify::notify(&[state]) {
        tracing::debug!(%error, "the service manager cannot be told");
    }
}
