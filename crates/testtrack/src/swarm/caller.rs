//! Somebody, or a script, that has roll calls made: of trains that are held because it is not sure where they stand; that switches
//! power on again that was cut; and that sees to turnouts which led a train another way, and has them thrown.
//!
//! Nobody looks at the table for that. Whether a train can be called is for the signaller to say; who is refused is asked for
//! again in a while.

use std::collections::BTreeMap;
use std::time::Duration;

use signaller::{Answer, Fact, Output, Request, Suspect, Ticket, Time};
use track::{DistrictId, Lie, TrainId, TurnoutId};

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
    /// Turnouts that are to be seen to, and when.
    to_see_to: BTreeMap<TurnoutId, Time>,
    thrown: BTreeMap<Ticket, TurnoutId>,
    /// Since when power is cut.
    cut: BTreeMap<DistrictId, Time>,
}

impl Caller {
    pub(super) fn hear(&mut self, moment: &Moment<'_>, watch: &Watch, desk: &mut Desk) {
        for output in moment.outputs {
            match output {
                Output::Fact(Fact::Suspected { suspect: Suspect::Turnout(turnout), .. }) => {
                    self.to_see_to.insert(*turnout, moment.now + PATIENCE);
                }
                // It can be thrown once nothing stands there any more.
                Output::Fact(Fact::Answered { ticket, answer: Answer::Accepted }) => {
                    self.thrown.remove(ticket).map(|turnout| self.to_see_to.remove(&turnout));
                }
                _ => {}
            }
        }
        if self.looks_at <= moment.now {
            self.looks_at = moment.now + LOOKS_EVERY;
            self.look(moment.now, watch, desk);
            self.see_to_power(moment, watch, desk);
            self.see_to_turnouts(moment.now, desk);
        }
        desk.call_at(self.looks_at);
    }

    /// Switches power on again that was cut, and lets trains go that were held for one that ran away.
    fn see_to_power(&mut self, moment: &Moment<'_>, watch: &Watch, desk: &mut Desk) {
        for district in moment.table.layout().districts.ids() {
            if !moment.table.is_cut(district) {
                self.cut.remove(&district);
            } else if moment.now.since(*self.cut.entry(district).or_insert(moment.now)) >= PATIENCE {
                self.cut.insert(district, moment.now);
                let _: Ticket = desk.request(Request::RestorePower { district });
            }
        }
        if self.cut.is_empty() {
            for (&train, _) in watch.holds.iter().filter(|(_, reason)| reason.contains("runs away towards it")) {
                let _: Ticket = desk.request(Request::Release { train });
            }
        }
    }

    fn see_to_turnouts(&mut self, now: Time, desk: &mut Desk) {
        for (&turnout, at) in self.to_see_to.iter_mut().filter(|(_, at)| **at <= now) {
            *at = now + PATIENCE;
            self.thrown.insert(desk.request(Request::Throw { turnout, lie: Lie::Straight }), turnout);
        }
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
