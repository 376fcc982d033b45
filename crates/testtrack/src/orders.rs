//! Orders on their way to trains.

use std::collections::BTreeMap;
use std::time::Duration;

use signaller::{Direction, Time};
use track::{Layout, Table as Rows, TrainId};

use crate::random::Stream;
use crate::settings::{Settings, Spread};

/// What a train is told.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Order {
    pub(crate) train: TrainId,
    pub(crate) direction: Direction,
    pub(crate) step: u8,
}

/// Orders that have not reached their train yet, by when they do.
#[derive(Debug)]
pub(crate) struct Orders {
    delay: Spread,
    lines: Rows<TrainId, (Stream, Time)>,
    under_way: BTreeMap<(Time, u64), Order>,
    given: u64,
}

impl Orders {
    pub(crate) fn new(layout: &Layout, settings: &Settings) -> Self {
        let line =
            |train: &track::Train| (Stream::labelled(settings.seed, &format!("orders to {}", train.name)), Time::ZERO);
        let lines = layout.trains.values().map(line).collect();
        Self { delay: settings.order_delay, lines, under_way: BTreeMap::new(), given: 0 }
    }

    /// Sends an order off. It does not overtake an earlier one to the same train.
    pub(crate) fn give(&mut self, order: Order, now: Time) {
        let (stream, last_arrival) = &mut self.lines[order.train];
        let arrival = (now + self.delay.draw(stream)).max(*last_arrival + Duration::from_nanos(1));
        *last_arrival = arrival;
        self.given += 1;
        self.under_way.insert((arrival, self.given), order);
    }

    pub(crate) fn next_due(&self) -> Option<Time> {
        self.under_way.first_key_value().map(|(&(at, _), _)| at)
    }

    pub(crate) fn take_due(&mut self, now: Time) -> Option<Order> {
        self.under_way
            .first_entry()
            .filter(|entry| entry.key().0 <= now)
            .map(std::collections::btree_map::OccupiedEntry::remove)
    }
}
