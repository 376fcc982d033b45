//! Orders on their way to trains.

use std::collections::BTreeMap;
use std::time::Duration;

use signaller::{Direction, Time};
use track::{Layout, Renumbering, Table as Rows, TrainId};

use crate::random::Stream;
use crate::settings::{Settings, Spread};

/// What a train is told.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Order {
    pub(crate) train: TrainId,
    pub(crate) asked: Asked,
}

/// What it is to do.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Asked {
    /// To run, or to brake to a stand.
    Run(Direction, u8),
    /// To stand as soon as it can.
    StandDead,
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

    /// Takes over what is on its way by orders of another time, and how far each line was.
    pub(crate) fn go_on(&mut self, old: Self, renumber: &dyn Fn(Order) -> Option<Order>, numbers: &Renumbering) {
        for (train, line) in old.lines.iter() {
            if let Some(new) = numbers.trains.get(train).copied().flatten()
                && self.lines.get(new).is_some()
            {
                self.lines[new] = line.clone();
            }
        }
        self.given = old.given;
        self.under_way = old.under_way.into_iter().filter_map(|(due, order)| Some((due, renumber(order)?))).collect();
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
