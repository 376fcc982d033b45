//! A dispatcher: sets routes and cancels them, takes track out of service, hands it over and takes it back.
//!
//! Most of it a signaller must refuse, for trains are on their way everywhere. What was done is undone some time later, and all
//! of it when the dispatcher goes home.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

use signaller::{Fact, Output, Request, RouteStage, Ticket, Time};
use track::routes::RouteId;
use track::{Layout, Routes, SectionId, SignalId};

use crate::random::Stream;
use crate::session::{Desk, Moment};
use crate::table::Table;

/// The time between two wishes, in milliseconds.
const PAUSE_MS: (i64, i64) = (5_000, 40_000);

/// How long something stays as it was wished, in milliseconds.
const STAYS_MS: (i64, i64) = (10_000, 120_000);

/// How often whoever goes home tries to undo what is left.
const TRIES_EVERY: Duration = Duration::from_secs(10);

/// Why a section is out of service.
const REASON: &str = "the dispatcher wants it so";

/// Wishes by the lots of a seed. The listener of a session, or part of one.
#[derive(Debug)]
pub struct Dispatcher {
    stream: Stream,
    routes: Routes,
    next_at: Time,
    goes_home: bool,
    /// Signals from which a route is set, and sections that are withdrawn, true where they were handed over.
    set: BTreeSet<SignalId>,
    withdrawn: BTreeSet<(SectionId, bool)>,
    undo_at: Vec<(Time, Undo)>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Undo {
    Route(SignalId),
    Withdrawal(SectionId),
}

impl Dispatcher {
    /// Nothing is wished yet.
    pub fn new(layout: &Arc<Layout>, seed: u64) -> Self {
        let mut stream = Stream::labelled(seed, "dispatcher");
        let next_at = Time::from_millis(stream.between(PAUSE_MS.0, PAUSE_MS.1));
        Self {
            stream,
            routes: Routes::new(Arc::clone(layout)),
            next_at,
            goes_home: false,
            set: BTreeSet::new(),
            withdrawn: BTreeSet::new(),
            undo_at: Vec::new(),
        }
    }

    /// From now on nothing new is wished, and what is left is undone.
    pub fn go_home(&mut self) {
        self.goes_home = true;
        self.next_at = Time::ZERO;
    }

    /// Hears what became of the wishes, and has another if it is time for it.
    pub fn hear<S>(&mut self, moment: &Moment<'_, S>, desk: &mut Desk) {
        for output in moment.outputs {
            match output {
                Output::Fact(Fact::RouteStage {
                    entry, stage: RouteStage::Released | RouteStage::Cancelled, ..
                }) => {
                    self.set.remove(entry);
                }
                Output::Fact(Fact::RouteStage { entry, .. }) => {
                    self.set.insert(*entry);
                }
                Output::Fact(Fact::Withdrawn { section, because }) => {
                    self.withdrawn.insert((*section, because != REASON));
                }
                Output::Fact(Fact::InService { section }) => self.withdrawn.retain(|(other, _)| other != section),
                _ => {}
            }
        }
        if self.goes_home {
            self.undo_all(moment.now, desk);
            return;
        }
        let due: Vec<Undo> = self.undo_at.iter().filter(|(at, _)| *at <= moment.now).map(|&(_, undo)| undo).collect();
        self.undo_at.retain(|(at, _)| *at > moment.now);
        for undo in due {
            self.undo(undo, desk);
        }
        if self.next_at <= moment.now {
            self.next_at = moment.now + self.draw(PAUSE_MS);
            self.wish(moment.now, moment.table, desk);
        }
        let next_undo = self.undo_at.iter().map(|&(at, _)| at).min();
        desk.call_at(next_undo.map_or(self.next_at, |at| at.min(self.next_at)));
    }

    fn wish(&mut self, now: Time, table: &Table, desk: &mut Desk) {
        let layout = self.routes.layout();
        let sections: Vec<SectionId> = layout.sections.ids().collect();
        let signals: Vec<SignalId> = layout.signals.ids().collect();
        let undo_at = now + self.draw(STAYS_MS);
        match self.stream.below(10) {
            0..=5 => {
                let Some(&entry) = self.stream.one_of(&signals) else { return };
                let routes: Vec<RouteId> = self.routes.from_signal(entry).collect();
                let Some(&id) = self.stream.one_of(&routes) else { return };
                let exit = self.routes.route(id).exit;
                let _: Ticket = desk.request(Request::SetRoute { entry, exit, via: Vec::new() });
                self.undo_at.push((undo_at, Undo::Route(entry)));
            }
            6..=8 => {
                let Some(&section) = self.stream.one_of(&sections) else { return };
                let _: Ticket = desk.request(Request::TakeOutOfService { section, reason: REASON.to_owned() });
                self.undo_at.push((undo_at, Undo::Withdrawal(section)));
            }
            _ => {
                // A train that stands there would come with it, and dispatchers do not drive.
                let is_empty = |section: &SectionId| table.trains_in(*section).is_empty();
                let Some(&section) = self.stream.one_of(&sections).filter(|section| is_empty(section)) else { return };
                let to = "the dispatcher".to_owned();
                let _: Ticket = desk.request(Request::HandRegionOver { sections: vec![section], to });
                self.undo_at.push((undo_at, Undo::Withdrawal(section)));
            }
        }
    }

    fn undo(&self, undo: Undo, desk: &mut Desk) {
        match undo {
            Undo::Route(entry) if self.set.contains(&entry) => {
                let _: Ticket = desk.request(Request::CancelRoute { entry });
            }
            Undo::Withdrawal(section) if self.withdrawn.contains(&(section, false)) => {
                let _: Ticket = desk.request(Request::PutInService { section });
            }
            Undo::Withdrawal(section) if self.withdrawn.contains(&(section, true)) => {
                let _: Ticket = desk.request(Request::TakeRegionBack { sections: vec![section] });
            }
            _ => {}
        }
    }

    fn undo_all(&mut self, now: Time, desk: &mut Desk) {
        if self.next_at > now {
            return;
        }
        let routes = self.set.iter().map(|&entry| Undo::Route(entry));
        let withdrawals = self.withdrawn.iter().map(|&(section, _)| Undo::Withdrawal(section));
        for undo in routes.chain(withdrawals) {
            self.undo(undo, desk);
        }
        if !self.set.is_empty() || !self.withdrawn.is_empty() {
            self.next_at = now + TRIES_EVERY;
            desk.call_at(self.next_at);
        }
    }

    fn draw(&mut self, (least, most): (i64, i64)) -> Duration {
        Duration::from_millis(self.stream.between(least, most) as u64)
    }
}
