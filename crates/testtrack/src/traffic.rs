//! Traffic without a timetable: every train is sent to a stopping point by lot, again and again; on a layout without stopping
//! points, to a section with one way through.

use std::time::Duration;

use signaller::{Answer, Destination, Fact, Output, Request, Ticket, Time};
use track::{Layout, Speed, Table as Rows, TrainId};

use crate::random::Stream;
use crate::session::{Desk, Moment};

/// How long a train waits at its destination, or after a refusal, in milliseconds.
const PAUSE_MS: (i64, i64) = (2_000, 20_000);

/// After so long on its way, a train is sent elsewhere.
const PATIENCE: Duration = Duration::from_secs(300);

/// Somebody who watches sends a train that stands and waits elsewhere after so long.
const ATTENTION: Duration = Duration::from_secs(60);

/// Sends trains about. The listener of a session, or part of one.
#[derive(Debug)]
pub struct Traffic {
    stream: Stream,
    places: Vec<Destination>,
    errands: Rows<TrainId, Errand>,
    is_watched: bool,
    refusals: u64,
    given_up: u64,
}

/// What a train is about.
#[derive(Clone, Copy, Debug)]
struct Errand {
    /// When it is sent on: after its pause, or because it has been too long on its way.
    next_at: Time,
    /// The request it is on its way by.
    under: Option<Ticket>,
}

impl Traffic {
    /// Traffic by the lots of a seed, for every train that the layout says stands somewhere.
    pub fn new(layout: &Layout, seed: u64) -> Self {
        let mut stream = Stream::labelled(seed, "traffic");
        let mut first = || Errand { next_at: Time::from_millis(stream.between(500, 5_000)), under: None };
        let errands = layout.trains.values().map(|_| first()).collect();
        let mut places: Vec<_> = layout.stops.ids().map(Destination::Stop).collect();
        if places.is_empty() {
            let plain = layout.sections.iter().filter(|(_, section)| section.ways.len() == 1);
            places.extend(plain.map(|(id, _)| Destination::Section(id)));
        }
        Self { stream, places, errands, is_watched: false, refusals: 0, given_up: 0 }
    }

    /// From now on somebody watches, and does not let a train wait for long for what does not come.
    pub fn watch(&mut self) {
        self.is_watched = true;
    }

    /// How many requests were refused.
    pub fn refusals(&self) -> u64 {
        self.refusals
    }

    /// How many errands took too long and were given up.
    pub fn given_up(&self) -> u64 {
        self.given_up
    }

    /// Hears what the signaller says, and sends trains on their next errand.
    pub fn hear<S>(&mut self, moment: &Moment<'_, S>, desk: &mut Desk) {
        for output in moment.outputs {
            match output {
                Output::Fact(Fact::Arrived { train, .. }) => self.rest(*train, moment.now),
                Output::Fact(Fact::Answered { ticket, answer: Answer::Refused(_) }) => {
                    let asked = self.errands.ids().find(|&train| self.errands[train].under == Some(*ticket));
                    if let Some(train) = asked {
                        self.refusals += 1;
                        self.rest(train, moment.now);
                    }
                }
                _ => {}
            }
        }
        for train in self.errands.ids() {
            let Errand { next_at, under } = self.errands[train];
            let stands = moment.table.is_on_table(train) && moment.table.speed(train) == Speed::ZERO;
            let has_waited = || next_at <= moment.now + (PATIENCE - ATTENTION) && stands;
            let is_due = next_at <= moment.now || self.is_watched && under.is_some() && has_waited();
            if is_due && moment.table.is_on_table(train) {
                self.send(train, moment.now, desk);
            }
        }
        // One that is off the table is sent on when something happens after it is back.
        let out = self.errands.iter().filter(|(train, _)| moment.table.is_on_table(*train));
        if let Some(next) = out.map(|(_, errand)| errand.next_at).min() {
            desk.call_at(next);
        }
    }

    fn rest(&mut self, train: TrainId, now: Time) {
        let pause = Duration::from_millis(self.stream.between(PAUSE_MS.0, PAUSE_MS.1) as u64);
        self.errands[train] = Errand { next_at: now + pause, under: None };
    }

    fn send(&mut self, train: TrainId, now: Time, desk: &mut Desk) {
        let Some(&to) = self.stream.one_of(&self.places) else { return };
        self.given_up += u64::from(self.errands[train].under.is_some());
        let ticket = desk.request(Request::Go { train, to });
        self.errands[train] = Errand { next_at: now + PATIENCE, under: Some(ticket) };
    }
}
