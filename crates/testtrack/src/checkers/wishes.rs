//! N2 and N3 of what people wish of the track: no train is granted a section that is out of service, in a person's hands, or
//! locked for a route that was set; no turnout of such a route is thrown otherwise.
//!
//! A route is known by its entry and its exit. Where several paths lead from one to the other, only what all of them have in
//! common is held to be locked; and once a train is in it, it is released section by section, and nothing is held to be. A train
//! that stands in it, because it was put there or nobody saw it come, is given what it stands on: it must be able to leave.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use signaller::{RouteStage, Time};
use track::routes::{Exit, Route};
use track::{EndId, Layout, Lie, Routes, SectionId, SignalId, TrainId, TurnoutId};

use super::{Checkers, Rule};
use crate::table::Table;

/// What is wished and was granted.
#[derive(Debug)]
pub(super) struct Wishes {
    routes: Routes,
    set: BTreeMap<SignalId, Exit>,
    /// Withdrawn sections.
    pub(super) withdrawn: BTreeSet<SectionId>,
}

impl Wishes {
    pub(super) fn new(layout: &Arc<Layout>) -> Self {
        Self { routes: Routes::new(Arc::clone(layout)), set: BTreeMap::new(), withdrawn: BTreeSet::new() }
    }

    pub(super) fn route(&mut self, entry: SignalId, exit: Exit, stage: RouteStage) {
        match stage {
            RouteStage::Used | RouteStage::Released => self.set.remove(&entry),
            _ => self.set.insert(entry, exit),
        };
    }

    /// The end at which the route from a signal is over that leads to a stopping point.
    pub(super) fn stops_at(&self, layout: &Layout, signal: SignalId) -> Option<EndId> {
        match self.set.get(&signal) {
            Some(&Exit::Stop(stop)) => Some(layout.stops[stop].towards),
            _ => None,
        }
    }

    fn paths(&self, entry: SignalId, exit: Exit) -> Vec<&Route> {
        let routes = self.routes.from_signal(entry).map(|id| self.routes.route(id));
        routes.filter(|route| route.exit == exit).collect()
    }

    /// The signal whose route has the section locked for sure.
    fn routed_from(&self, section: SectionId) -> Option<SignalId> {
        let locks = |&(&entry, &exit): &(&SignalId, &Exit)| {
            let paths = self.paths(entry, exit);
            !paths.is_empty() && paths.iter().all(|route| route.passage_through(section).is_some())
        };
        self.set.iter().find(locks).map(|(&entry, _)| entry)
    }

    /// The signal whose route needs the turnout to lie otherwise for sure.
    fn needed_otherwise(&self, turnout: TurnoutId, lie: Lie) -> Option<SignalId> {
        let needs = |&(&entry, &exit): &(&SignalId, &Exit)| {
            let paths = self.paths(entry, exit);
            !paths.is_empty() && paths.iter().all(|route| route.lie_of(turnout) == Some(lie.other()))
        };
        self.set.iter().find(needs).map(|(&entry, _)| entry)
    }
}

pub(super) fn granted(checkers: &mut Checkers, now: Time, train: TrainId, sections: &[SectionId], table: &Table) {
    for &section in sections {
        let (name, place) = (checkers.train_name(train).to_owned(), checkers.section_name(section).to_owned());
        // What a train stands on it keeps.
        if checkers.said.authority[section].contains(&train) {
            continue;
        }
        if checkers.said.wishes.withdrawn.contains(&section) {
            let sentence = format!("{name} was granted {place}, over which no train is worked");
            checkers.report(now, Rule::N2, Some(train), Some(section), sentence);
        } else if let Some(entry) = checkers.said.wishes.routed_from(section)
            && !table.stands_in(train, section)
        {
            let signal = &checkers.layout.signals[entry].name;
            let sentence = format!("{name} was granted {place}, which is locked for the route from {signal}");
            checkers.report(now, Rule::N2, Some(train), Some(section), sentence);
        }
    }
}

pub(super) fn thrown(checkers: &mut Checkers, now: Time, turnout: TurnoutId, lie: Lie) {
    let Some(entry) = checkers.said.wishes.needed_otherwise(turnout, lie) else { return };
    let (name, signal) = (&checkers.layout.turnouts[turnout].name, &checkers.layout.signals[entry].name);
    let sentence = format!("{name} was thrown though the route from {signal} needs it otherwise");
    checkers.report(now, Rule::N3, None, None, sentence);
}
