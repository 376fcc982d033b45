//! One state of everything, and what happens next.

use std::hash::{Hash, Hasher};
use std::time::Duration;

use smallvec::SmallVec;
use track::{Lie, TrainId, Traverse};

use super::Bug;
use super::actions::{Action, Reckoned, Told};
use super::board::Board;
use super::cases::{Case, Liberties};
use super::key;
use super::laws::Law;
use super::rails::{Passages, Passing, Rails};
use crate::aspect::Signals;
use crate::door::{Fact, Output};
use crate::drive::Drive;
use crate::interlock::{Call, HoldKind, Interlock};
use crate::signaller::{Changes, Conduct};
use crate::time::Time;

/// Between one happening and the next: too short for anything to be due.
const MOMENT: Duration = Duration::from_millis(1);
/// When nothing happens for long: whatever waits for a time is due.
const LONG: Duration = Duration::from_secs(61);

/// So many steps settle everything that is due at once.
const STEPS: usize = 20;

/// One state. Two are the same if their keys are.
#[derive(Clone)]
pub(super) struct State {
    pub(super) interlock: Interlock,
    pub(super) signals: Signals,
    drive: Drive,
    pub(super) board: Board,
    pub(super) rails: Rails,
    pub(super) now: Time,
    pub(super) spent: Liberties,
    /// The laws that were broken on the way here.
    pub(super) broken: SmallVec<[Law; 2]>,
    pub(super) key: u64,
}

impl State {
    /// All trains stand where they were put down, and nobody has asked for anything.
    pub(super) fn first(case: &Case, bug: Option<Bug>) -> Self {
        let layout = &case.layout;
        let mut interlock = Interlock::new(layout.clone());
        interlock.planted = bug;
        let mut state = Self {
            interlock,
            signals: Signals::new(layout.clone(), Conduct::Control),
            drive: Drive::new(layout.clone()),
            board: Board::new(case, bug),
            rails: Rails::new(case),
            now: Time::ZERO,
            spent: Liberties::default(),
            broken: SmallVec::new(),
            key: 0,
        };
        let mut changes = Changes::default();
        for turnout in layout.turnouts.ids() {
            state.interlock.turnout_reported(turnout, Some(Lie::Straight));
            changes.turnouts.push(turnout);
        }
        state.step(case, changes);
        state.settle(case);
        state
    }

    /// Whether every train has done all its errands.
    pub(super) fn is_over(&self, case: &Case) -> bool {
        case.trains.iter().all(|start| self.rails.trains[start.train].done == start.errands.len())
    }

    /// What comes of it; nothing where everything stays as it was.
    pub(super) fn after(&self, case: &Case, action: Action) -> Option<Self> {
        let mut next = self.clone();
        next.now = self.now + if action == Action::TimePasses { LONG } else { MOMENT };
        next.happen(case, action)?;
        next.settle(case);
        next.look_for_breaches(case);
        next.key = key::of(&next);
        (next.key != self.key).then_some(next)
    }

    /// The same, in which an assertion of our own has failed.
    pub(super) fn after_failed_assertion(&self) -> Self {
        let mut state = self.clone();
        state.broken.push(Law::OwnAssertion);
        state.key = key::of(&state);
        state
    }

    fn happen(&mut self, case: &Case, action: Action) -> Option<()> {
        let (now, mut changes, mut outputs) = (self.now, Changes::default(), Vec::new());
        match action {
            Action::Order(train) => {
                let to = case.errand(train, self.rails.trains[train].done)?;
                self.interlock.go(train, to, now, &self.board, &self.drive).ok()?;
            }
            Action::NoseEnters(train, told) => {
                let passage = self.rails.trains[train].ahead.remove(0);
                self.look_at_entry(case, train, &passage);
                self.rails.trains[train].path.push(passage);
                return self.tell(case, train, Passing::Entered(passage), told);
            }
            Action::TailLeaves(train, told) => {
                let left = self.rails.trains[train].path.remove(0);
                return self.tell(case, train, Passing::Left(left.section), told);
            }
            Action::Report(train) => {
                let passing = self.rails.trains[train].untold.take()?;
                return self.tell(case, train, passing, Told::AtOnce);
            }
            Action::Stands(train, reckoned) => self.stand(train, reckoned),
            Action::TurnoutArrives(turnout) => {
                let blades = &mut self.rails.turnouts[turnout];
                blades.lies = blades.moves_to.take()?;
                self.interlock.turnout_reported(turnout, Some(blades.lies));
                changes.turnouts.push(turnout);
            }
            Action::TurnoutFails(turnout) => {
                self.spent.failures += 1;
                self.rails.turnouts[turnout].moves_to = None;
                return Some(());
            }
            Action::Stop(train) => {
                self.spent.stops += 1;
                self.interlock.stop(train).ok()?;
                if self.interlock.planted == Some(Bug::BelievesThatTrainsStopAtOnce) {
                    self.drive.pretend(train, 0);
                }
            }
            Action::Throw(turnout, lie) => {
                self.spent.throws += 1;
                self.interlock.throw(turnout, lie, now, &self.board, &mut outputs).ok()?;
            }
            Action::Keep(signal) | Action::LetGo(signal) => {
                let held = matches!(action, Action::Keep(_));
                self.spent.keeps += usize::from(held);
                self.signals.keep_at_danger(signal, held);
                self.interlock.signal_changed(case.layout.signals[signal].at);
            }
            Action::SetRoute(_) | Action::CancelRoute(_) | Action::Withdraw(_) | Action::PutInService(_) => {
                self.fulfil(action, &mut changes, &mut outputs)?;
            }
            Action::TimePasses => {}
        }
        self.obey(case, &outputs);
        self.step(case, changes);
        Some(())
    }

    fn tell(&mut self, case: &Case, train: TrainId, passing: Passing, told: Told) -> Option<()> {
        if told == Told::Late {
            self.rails.trains[train].untold = Some(passing);
            return Some(());
        }
        let section = self.board.hear(train, passing);
        let mut changes = Changes::default();
        changes.sections.push(section);
        self.step(case, changes);
        Some(())
    }

    fn stand(&mut self, train: TrainId, reckoned: Reckoned) {
        let truth = &mut self.rails.trains[train];
        let next = truth.ahead.first().map(|passage| passage.section);
        self.board.stands[train].reaches = next.filter(|_| reckoned == Reckoned::Farther);
        truth.is_at_end = !truth.brakes;
        (truth.moves, truth.brakes) = (false, false);
        truth.ahead.clear();
        self.drive.pretend(train, 0);
        self.interlock.touch(train);
    }

    /// Lets everything happen that is due without anybody saying anything.
    fn settle(&mut self, case: &Case) {
        for _ in 0..STEPS {
            if self.interlock.wake_at(self.now).is_none_or(|at| at > self.now) {
                return;
            }
            self.step(case, Changes::default());
        }
        panic!("it never comes to rest");
    }

    /// One step, its stages in the same order as in [`crate::Signaller::step`]. A train that moves is looked at in each, for it
    /// is looked at ten times a second. Who was to be touched was touched before.
    fn step(&mut self, case: &Case, mut changes: Changes) {
        let mut outputs = Vec::new();
        for start in &case.trains {
            if self.rails.trains[start.train].moves {
                self.interlock.touch(start.train);
            }
        }
        self.interlock.work(self.now, &mut self.board, &self.drive, &self.signals, &mut changes, &mut outputs);
        while self.interlock.next_regranted().is_some() {}
        while let Some(train) = self.board.next_turned() {
            self.turn_back(train);
        }
        let looks_away = self.interlock.planted == Some(Bug::SignalsLookAway) && !changes.sections.is_empty();
        if !looks_away {
            for &section in &changes.sections {
                self.signals.section_changed(section);
            }
            self.interlock.tell_signals(&mut self.signals);
        }
        for &turnout in &changes.turnouts {
            self.signals.turnout_changed(turnout);
        }
        self.signals.work(self.now, &self.board, &self.interlock, &mut outputs);
        // Whoever is to stop as quickly as it can is held as well, and brakes for that.
        while self.interlock.next_to_stop().is_some() {}
        for place in 0..self.interlock.touched().len() {
            self.drive(self.interlock.touched()[place], &mut outputs);
        }
        self.interlock.begin_step();
        self.obey(case, &outputs);
    }

    fn turn_back(&mut self, train: TrainId) {
        let truth = &mut self.rails.trains[train];
        if truth.moves {
            self.broken.push(Law::TurnedWhileMoving);
        }
        truth.turn_back();
    }

    /// Lets a train run as far as its authority allows, as [`Drive`] does: it sets out for whatever lies ahead, runs on while it
    /// may, and brakes if it may no longer go as far as it was told before.
    fn drive(&mut self, train: TrainId, outputs: &mut Vec<Output>) {
        let truth = &mut self.rails.trains[train];
        let Some(authority) = self.interlock.authority(train, &self.board, &self.signals) else {
            truth.brakes = truth.moves;
            return;
        };
        if !matches!(authority.call, Call::Go | Call::Creep) {
            truth.brakes = truth.moves;
            return;
        }
        let end = match self.interlock.planted {
            Some(Bug::RunsBeforeTurnoutsAreProved) => authority.granted.len(),
            _ => authority.end,
        };
        let mut ahead: Passages = authority.granted.iter().take(end).skip(authority.nose).copied().collect();
        let nose = truth.path.last().copied();
        let Some(place) = ahead.iter().position(|passage| Some(*passage) == nose) else {
            // Its authority was cut short where it has passed already, and nobody has heard that yet: no breach, only late.
            let has_passed = matches!(truth.untold, Some(Passing::Entered(_)))
                && authority.granted.iter().any(|passage| Some(*passage) == nose);
            if has_passed {
                truth.brakes = truth.moves;
                return;
            }
            self.broken.push(Law::EnteredWithoutLeave);
            return;
        };
        ahead.drain(..=place);
        let starts = !truth.moves && (!ahead.is_empty() || !truth.is_at_end);
        if truth.moves || starts {
            truth.brakes = ahead.len() < truth.ahead.len();
            truth.moves = true;
            if !truth.brakes {
                truth.ahead = ahead;
            }
        } else {
            self.interlock.stands_at_its_end(train, self.now, &self.board, outputs);
        }
        if starts {
            self.board.stands[train].reaches = None;
            self.drive.pretend(train, 1);
            self.interlock.departed(train, outputs);
        }
    }

    /// Turnouts move as they are told, and what was said is noted.
    fn obey(&mut self, case: &Case, outputs: &[Output]) {
        for output in outputs {
            match output {
                Output::Throw { turnout, lie } => {
                    self.look_at_throw(case, *turnout, *lie);
                    self.rails.turnouts[*turnout].moves_to = Some(*lie);
                }
                Output::Fact(Fact::Arrived { train, .. }) => self.rails.trains[*train].done += 1,
                Output::Fact(Fact::HoldSet { .. }) => self.broken.push(Law::HeldForNothing),
                _ => {}
            }
        }
    }

    /// What the train was granted, and whether its turnouts are proved.
    pub(super) fn granted(&self, train: TrainId) -> impl Iterator<Item = (Traverse, bool)> + '_ {
        let run = &self.interlock.runs[train];
        run.granted.iter().enumerate().map(|(place, passage)| (*passage, place < run.proved))
    }

    /// Why a train is held; nothing ever should in this world.
    pub(super) fn is_held(&self, train: TrainId) -> Option<HoldKind> {
        self.interlock.hold_kinds(train).next()
    }
}

impl PartialEq for State {
    fn eq(&self, other: &Self) -> bool {
        self.key == other.key
    }
}

impl Hash for State {
    fn hash<H: Hasher>(&self, hasher: &mut H) {
        self.key.hash(hasher);
    }
}
