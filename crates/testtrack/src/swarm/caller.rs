//! Somebody, or a script, that has roll calls made: of trains that are held because it is not sure where they stand.
//!
//! Nobody looks at the table for that. Whether a train can be called is for the signaller to say; who is refused is asked for
//! again in a while.

use std::collections::BTreeMap;
use std::time::Duration;

use signaller::{Request, Ticket, Time};
use track::TrainId;

use super::watch::Watch;
use crate::session::{Desk, Moment};

/// How long a train must have been held before it is called, and how long until it is again.
const PATIENCE: Duration = Duration::from_secs(15);

/// How often somebody looks.
const LOOKS_EVERY: Duration = Duration::from_secs(5);

/// Somebody who has roll calls made.
#[derive(Debug, Default)]
pub(super) struct Caller {
    looks_at: Time,
    /// Since when a train wants to be called.
    waits: BTreeMap<TrainId, Time>,
}

impl Caller {
    pub(super) fn hear(&mut self, moment: &Moment<'_>, watch: &Watch, desk: &mut Desk) {
        if self.looks_at <= moment.now {
            self.looks_at = moment.now + LOOKS_EVERY;
            self.look(moment.now, watch, desk);
        }
        desk.call_at(self.looks_at);
    }

    fn look(&mut self, now: Time, watch: &Watch, desk: &mut Desk) {
        let doubted: Vec<TrainId> = watch.held_by_doubt().collect();
        self.waits.retain(|train, _| doubted.contains(train));
        for &train in &doubted {
            self.waits.entry(train).or_insert(now);
        }
        // Whoever waits longest, and only one: the signaller calls one after the other.
        let longest = self.waits.iter_mut().min_by_key(|(_, since)| **since);
        if let Some((&train, since)) = longest.filter(|(_, since)| now.since(**since) >= PATIENCE) {
            *since = now;
            let _: Ticket = desk.request(Request::RollCall { train: Some(train) });
        }
    }
}
