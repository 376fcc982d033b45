//! How many orders a second go to trains over one link: the bus that carries them is slow.
//!
//! An order to stand goes out at once, always. Any other waits until the link is free, and a train is not told anything again
//! before every other that moves on the link could have been: so each has its turn, and none waits longer than for all of them
//! twice. That wait is reckoned with wherever it is reckoned how a train brakes. Repeats come last.

use std::time::Duration;

use track::{LinkId, TrainId};

use super::Drive;
use super::reach::LOOK;
use crate::time::Time;

/// So far ahead a link may be busy, and an order that lets a train run slower is given to it all the same.
const AHEAD: Duration = Duration::from_millis(100);

/// One link.
#[derive(Clone, Copy, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Pacer {
    /// From when on it has carried everything it was given.
    free_at: Time,
}

impl Pacer {
    pub(super) fn new() -> Self {
        Self { free_at: Time::ZERO }
    }
}

impl Drive {
    /// The link that carries the orders for a train, and how long it takes for each; nothing where that is of no matter.
    fn bus(&self, train: TrainId) -> Option<(LinkId, Duration)> {
        let link = self.layout.trains.get(train)?.link?;
        let each = self.layout.links[link].orders_a_second.map(|orders| Duration::from_secs(1) / u32::from(orders));
        each.map(|each| (link, each))
    }

    /// How long it takes until each train that moves on the same link could be told something.
    pub(super) fn round(&self, train: TrainId) -> Duration {
        let Some((link, each)) = self.bus(train) else { return Duration::ZERO };
        let on_link = |other: &&TrainId| self.layout.trains.get(**other).is_some_and(|it| it.link == Some(link));
        each * self.moving.iter().filter(on_link).count().max(1) as u32
    }

    /// How much later than it is looked at a train may be told to run slower.
    pub(super) fn told_late(&self, train: TrainId) -> Duration {
        (self.round(train) * 2).saturating_sub(LOOK)
    }

    /// Whether a train may be told another step now.
    ///
    /// # Errors
    ///
    /// When to try again.
    pub(super) fn may_tell(&self, train: TrainId, step: u8, now: Time) -> Result<(), Time> {
        let Some((link, each)) = self.bus(train) else { return Ok(()) };
        let Some(row) = self.rows.get(train).filter(|_| step > 0) else { return Ok(()) };
        let ahead = if step < row.motion.step { AHEAD.max(each) } else { Duration::ZERO };
        let free_at = self.pacers[link].free_at - ahead;
        let at = free_at.max(row.told_at.map_or(Time::ZERO, |told| told + self.round(train)));
        if at <= now { Ok(()) } else { Err(at) }
    }

    /// Whether what a train was told can be repeated now.
    pub(super) fn may_repeat(&self, train: TrainId, now: Time) -> bool {
        let stands = self.rows.get(train).is_some_and(|row| row.motion.step == 0);
        stands || self.bus(train).is_none_or(|(link, _)| self.pacers[link].free_at <= now)
    }

    /// A train is told something now.
    pub(super) fn note_told(&mut self, train: TrainId, now: Time) {
        if let Some((link, each)) = self.bus(train) {
            let pacer = &mut self.pacers[link];
            pacer.free_at = pacer.free_at.max(now) + each;
            self.row(train).told_at = Some(now);
        }
    }
}
