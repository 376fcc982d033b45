//! What must never be so, held against the truth after everything that happens.

use smallvec::SmallVec;
use track::{Aspect, EndId, Lie, SectionId, TrainId, Traverse, TurnoutId};

use super::cases::Case;
use super::rails::Passing;
use super::state::State;

/// What must never happen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Law {
    /// A section, or two that cross, is granted to two trains, or to one while another stands there.
    SharedSection,
    /// What a train stands on was given back under it.
    GivenBackUnderTrain,
    /// A turnout is thrown under a train, or one that a grant needs otherwise.
    ThrownUnderTrainOrLock,
    /// Authority leads over a turnout that does not lie as it must.
    AuthorityOverUnprovedTurnout,
    /// A train came into what it was not granted, or over a turnout that lies otherwise.
    EnteredWithoutLeave,
    /// A signal shows better than danger, and what it vouches for is not granted and proved to its train, or not free.
    FalseClear,
    /// Authority leads over a section that is out of service.
    AuthorityOverWithdrawnTrack,
    /// A train is held though nothing went wrong.
    HeldForNothing,
    TurnedWhileMoving,
    /// An assertion of our own failed.
    OwnAssertion,
}

impl State {
    /// A nose is about to come into a section.
    pub(super) fn look_at_entry(&mut self, case: &Case, train: TrainId, passage: &Traverse) {
        let is_granted = self.granted(train).any(|(granted, proved)| granted == *passage && proved);
        if !is_granted || !self.rails.lies(&case.layout, passage) {
            self.broken.push(Law::EnteredWithoutLeave);
        }
        let crosses = &case.layout.sections[passage.section].crosses;
        let mut taken = crosses.iter().chain([&passage.section]);
        if taken.any(|&section| self.rails.other_in(section, train).is_some()) {
            self.broken.push(Law::SharedSection);
        }
    }

    pub(super) fn look_at_throw(&mut self, case: &Case, turnout: TurnoutId, lie: Lie) {
        let sections = &case.layout.turnouts[turnout].sections;
        let under_train = self.rails.trains.values().any(|truth| sections.iter().any(|&section| truth.covers(section)));
        let needs_otherwise = |passage: &Traverse| {
            case.layout.ways[passage.way].needs.iter().any(|need| need.turnout == turnout && need.lie != lie)
        };
        let under_lock = case.trains.iter().any(|start| {
            let run = &self.interlock.runs[start.train];
            run.granted.iter().chain(&run.lent).any(needs_otherwise)
        });
        if under_train || under_lock || self.is_routed_otherwise(turnout, lie) {
            self.broken.push(Law::ThrownUnderTrainOrLock);
        }
    }

    /// Everything that can be seen from how things are now.
    pub(super) fn look_for_breaches(&mut self, case: &Case) {
        let mut found: SmallVec<[Law; 2]> = SmallVec::new();
        for section in case.layout.sections.ids() {
            found.extend(self.breach_in(case, section));
            found.extend(self.breach_of_wishes(case, section));
        }
        for start in &case.trains {
            let train = start.train;
            let nose = self.interlock.runs[train].nose;
            let ahead = self.granted(train).skip(nose + 1);
            if ahead.filter(|(_, proved)| *proved).any(|(passage, _)| !self.rails.lies(&case.layout, &passage)) {
                found.push(Law::AuthorityOverUnprovedTurnout);
            }
            if self.is_held(train).is_some() {
                found.push(Law::HeldForNothing);
            }
        }
        for signal in case.layout.signals.ids() {
            let at = case.layout.signals[signal].at;
            let shows_danger = self.signals.shows(signal) == Aspect::STOP;
            let is_clear = || self.is_clear_beyond(case, at) || self.is_clear_for_route(case, signal);
            if !shows_danger && (self.signals.is_kept_at_danger(signal) || !is_clear()) {
                found.push(Law::FalseClear);
            }
        }
        self.broken.extend(found);
    }

    fn breach_in(&self, case: &Case, section: SectionId) -> Option<Law> {
        let has = |train: TrainId| {
            let run = &self.interlock.runs[train];
            run.granted.iter().chain(&run.lent).any(|passage| passage.section == section)
        };
        let mut holders = case.trains.iter().map(|start| start.train).filter(|&train| has(train));
        let (holder, another) = (holders.next(), holders.next());
        let is_crossed = |&crossed: &SectionId| self.interlock.granted_to(crossed).is_some();
        let crossed = holder.is_some() && case.layout.sections[section].crosses.iter().any(is_crossed);
        if another.is_some() || crossed || self.interlock.granted_to(section) != holder {
            return Some(Law::SharedSection);
        }
        for (train, truth) in self.rails.trains.iter().filter(|(_, truth)| truth.covers(section)) {
            if holder.is_some_and(|holder| holder != train) {
                return Some(Law::SharedSection);
            }
            // A train that never had an order was granted nothing.
            let had_order = truth.moves || !self.interlock.runs[train].granted.is_empty();
            if holder.is_none() && had_order {
                return Some(Law::GivenBackUnderTrain);
            }
        }
        None
    }

    /// Whether the track from a signal to the next is granted and proved to the train that comes to it next, lies right, and is
    /// free, but for a train whose passing of the signal has not been reported yet.
    fn is_clear_beyond(&self, case: &Case, at: EndId) -> bool {
        let layout = &case.layout;
        let leads_here = |train: &TrainId| self.granted(*train).any(|(passage, proved)| passage.leave == at && proved);
        let Some(train) = case.trains.iter().map(|start| start.train).find(leads_here) else { return false };
        let is_passing = match self.rails.trains[train].untold {
            Some(Passing::Entered(passage)) => layout.ends[at].meets.contains(&passage.enter),
            _ => false,
        };
        let mut beyond = self.granted(train).skip_while(|(passage, _)| passage.leave != at).skip(1);
        let mut passed = 0;
        loop {
            let Some((passage, proved)) = beyond.next() else { return false };
            let covered = self
                .rails
                .trains
                .iter()
                .any(|(other, truth)| truth.covers(passage.section) && (other != train || !is_passing));
            let crosses = &layout.sections[passage.section].crosses;
            let crossed = crosses.iter().any(|&crossed| {
                self.interlock.granted_to(crossed).is_some()
                    || self.rails.trains.values().any(|truth| truth.covers(crossed))
            });
            if covered || crossed || !proved || !self.rails.lies(layout, &passage) {
                return false;
            }
            passed += 1;
            let ends = layout.ends[passage.leave].signal.is_some() || layout.ends[passage.leave].meets.is_empty();
            if ends || passed > layout.sections.len() {
                return true;
            }
        }
    }
}
