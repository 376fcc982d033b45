//! People who meddle: they stop trains, hold them, throw turnouts and keep signals at danger, by lot.

use std::time::Duration;

use signaller::{Request, Ticket, Time};
use track::{Layout, Lie, SignalId, TrainId, TurnoutId};

use crate::random::Stream;
use crate::session::{Desk, Moment};

/// Why somebody who meddles holds a train.
pub(crate) const HELD: &str = "somebody wished it";

/// How long somebody thinks before meddling again, in milliseconds.
const PAUSE_MS: (i64, i64) = (3_000, 60_000);

/// How long what somebody set stays so, in milliseconds: a hold, a signal at danger, everything stopped.
const STAYS_MS: (i64, i64) = (500, 30_000);

/// Hands in requests that a signaller in its senses must either refuse or survive. The listener of a session, or part of one.
#[derive(Debug)]
pub struct Meddling {
    stream: Stream,
    trains: Vec<TrainId>,
    turnouts: Vec<TurnoutId>,
    signals: Vec<SignalId>,
    next_at: Time,
    requests: u64,
}

impl Meddling {
    /// Meddling by the lots of a seed.
    pub fn new(layout: &Layout, seed: u64) -> Self {
        let mut stream = Stream::labelled(seed, "meddling");
        let next_at = Time::from_millis(stream.between(PAUSE_MS.0, PAUSE_MS.1));
        let trains = layout.trains.ids().collect();
        let (turnouts, signals) = (layout.turnouts.ids().collect(), layout.signals.ids().collect());
        Self { stream, trains, turnouts, signals, next_at, requests: 0 }
    }

    /// How many requests were handed in.
    pub fn requests(&self) -> u64 {
        self.requests
    }

    /// Meddles, if it is time for it.
    pub fn hear<S>(&mut self, moment: &Moment<'_, S>, desk: &mut Desk) {
        if self.next_at <= moment.now {
            self.next_at = moment.now + self.draw(PAUSE_MS);
            self.meddle(moment.now, desk);
        }
        desk.call_at(self.next_at);
    }

    fn meddle(&mut self, now: Time, desk: &mut Desk) {
        let later = now + self.draw(STAYS_MS);
        let lie = if self.stream.below(2) == 0 { Lie::Straight } else { Lie::Diverging };
        let train = self.stream.one_of(&self.trains).copied();
        let turnout = self.stream.one_of(&self.turnouts).copied();
        let signal = self.stream.one_of(&self.signals).copied();
        let (at_once, afterwards) = match (self.stream.below(10), train, turnout, signal) {
            (0, ..) => (Request::StopAll, Some(Request::ResumeAll)),
            (1 | 2, Some(train), ..) => {
                (Request::Hold { train, reason: HELD.to_owned() }, Some(Request::Release { train }))
            }
            (3, Some(train), ..) => (Request::Stop { train }, None),
            (4..=6, _, Some(turnout), _) => (Request::Throw { turnout, lie }, None),
            (_, _, _, Some(signal)) => {
                let keep = |held| Request::KeepAtDanger { signal, held };
                (keep(true), Some(keep(false)))
            }
            _ => return,
        };
        self.requests += 1;
        let _: Ticket = desk.request(at_once);
        if let Some(request) = afterwards {
            let _: Ticket = desk.request_at(later, request);
        }
    }

    fn draw(&mut self, (least, most): (i64, i64)) -> Duration {
        Duration::from_millis(self.stream.between(least, most) as u64)
    }
}
