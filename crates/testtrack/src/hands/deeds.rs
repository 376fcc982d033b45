//! What can be done to trains, one function a deed: for faults that are drawn, and for tests that want one thing to happen.

use std::time::Duration;

use signaller::{Direction, Time};
use track::{EndId, Length, SectionId, Speed, Train, TrainId, Vehicle};

use super::Deed;
use super::throttle::Driver;
use crate::astray::Loose;
use crate::faults::Fault;
use crate::mishaps::Mishap;
use crate::place::PlaceError;
use crate::rolling::{Change, Push, Rolling};
use crate::table::{Reached, Table};

/// A person who moves a train stops so far short of anything else.
const PUSH_SHORT: i64 = 30_000;

impl Table {
    /// A hand moves a train along the track, that far or until shortly before something stands in its way. Tells whether it
    /// moves at all.
    pub fn push(&mut self, train: TrainId, direction: Direction, distance: Length, speed: Speed) -> bool {
        let clear = self.clear_ahead(train, direction, distance.um() + PUSH_SHORT, &|_| true) - PUSH_SHORT;
        if clear <= 0 || self.trains[train].wrecked {
            return false;
        }
        let sign = if direction == Direction::Forward { 1 } else { -1 };
        self.trains[train].mischief.push = Some(Push { speed: sign * speed.um().abs().max(1000), left: sign * clear });
        if self.hands.pushed.insert(train) {
            self.goes_astray(train);
        }
        self.note(Mishap::new(Fault::Pushed, self.now()).to_train(train));
        self.count_active();
        true
    }

    /// After a tick of a train that a hand moves: the hand stops it where something came in its way, and lets go at the end.
    pub(crate) fn hand_follows(&mut self, train: TrainId) {
        if let Some(push) = self.trains[train].mischief.push {
            let direction = if push.speed > 0 { Direction::Forward } else { Direction::Backward };
            if self.clear_ahead(train, direction, PUSH_SHORT, &|_| true) >= PUSH_SHORT / 2 {
                return;
            }
            self.trains[train].mischief.push = None;
            self.trains[train].speed = 0;
        }
        if self.hands.pushed.remove(&train) {
            self.astray_no_longer(train);
            self.end(Fault::Pushed, train);
        }
    }

    /// A locomotive stands for a while, whatever it is told.
    pub fn stall(&mut self, train: TrainId, lasts: Duration) {
        let until = self.now() + lasts;
        self.trains[train].mischief.stalled = true;
        self.note(Mishap::new(Fault::Stall, self.now()).to_train(train));
        self.hands.plan(until, Deed::StallEnds(train));
        self.count_active();
    }

    pub(super) fn end_stall(&mut self, train: TrainId) {
        self.trains[train].mischief.stalled = false;
        self.end(Fault::Stall, train);
        self.count_active();
    }

    /// A locomotive runs for a while at that speed, backwards below zero, whatever it is told.
    pub fn run_away(&mut self, train: TrainId, speed: Speed, lasts: Duration) {
        let until = self.now() + lasts;
        if self.trains[train].mischief.runaway.replace(speed.um()).is_none() {
            self.goes_astray(train);
        }
        self.note(Mishap::new(Fault::Runaway, self.now()).to_train(train));
        self.hands.plan(until, Deed::RunawayEnds(train));
        self.count_active();
    }

    pub(super) fn end_runaway(&mut self, train: TrainId) {
        if self.trains[train].mischief.runaway.take().is_some() {
            self.astray_no_longer(train);
        }
        self.end(Fault::Runaway, train);
        self.count_active();
    }

    /// A locomotive hears nothing for a while; then it does what it was told last.
    pub fn deafen(&mut self, train: TrainId, lasts: Duration) {
        let until = self.now() + lasts;
        if !std::mem::replace(&mut self.trains[train].mischief.deaf, true) {
            self.goes_astray(train);
        }
        self.note(Mishap::new(Fault::OrderIgnored, self.now()).to_train(train));
        self.hands.plan(until, Deed::Hears(train));
    }

    pub(super) fn end_deafness(&mut self, train: TrainId) {
        if std::mem::take(&mut self.trains[train].mischief.deaf) {
            self.trains[train].obey();
            self.astray_no_longer(train);
        }
        self.end(Fault::OrderIgnored, train);
        self.count_active();
    }

    /// The coupling behind a train's first `keep` vehicles parts: what is behind it stays where it is. Tells by which id it
    /// goes from now on; nothing where there is no such coupling.
    pub fn part(&mut self, train: TrainId, keep: usize) -> Option<TrainId> {
        if keep == 0 || keep >= self.trains[train].vehicles() || !self.trains[train].is_on_table() {
            return None;
        }
        let mut left = Vec::new();
        let tail = self.trains[train].part_behind(keep, &mut left);
        let body = self.add_body(tail, Loose::Tail { of: train });
        self.lay_body(body);
        self.apply(train, &mut left, Reached::ByHand);
        self.note(Mishap::new(Fault::Parted, self.now()).to_train(train));
        self.count_active();
        Some(body)
    }

    /// A wagon that nobody knows of is put down. Tells by which id it goes.
    ///
    /// # Errors
    /// It does not fit.
    pub fn put_wagon(
        &mut self,
        length: Length,
        detectable: Option<(Length, Length)>,
        on: &[SectionId],
        nose: Option<EndId>,
    ) -> Result<TrainId, PlaceError> {
        let place = crate::place::place(&self.ground, "a wagon", length, on, nose)?;
        let vehicle = Vehicle { name: "wagon".to_owned(), length, detectable, axles: Vec::new() };
        let wagon = Train { vehicles: vec![vehicle], ..Train::stranger("wagon") };
        let mut rolling = Rolling::new(&wagon, &self.hands.settings);
        rolling.put_down(&place.path, place.front);
        let body = self.add_body(rolling, Loose::Wagon);
        self.lay_body(body);
        for &(on, _) in &place.path {
            self.note(Mishap::new(Fault::PutDown, self.now()).to_section(on.section));
        }
        Ok(body)
    }

    /// A person takes a train over and drives it by sight, from now on.
    pub fn drive_by_hand(&mut self, train: TrainId) {
        if !std::mem::replace(&mut self.trains[train].mischief.by_hand, true) {
            self.goes_astray(train);
            self.note(Mishap::new(Fault::HandDriven, self.now()).to_train(train));
            self.hands.drivers.insert(train, Driver::default());
            self.hands.plan(self.now(), Deed::Look(train));
        }
    }

    /// Whether a person drives the train at a throttle that the signaller does not control.
    pub(crate) fn is_driven_by_hand(&self, train: TrainId) -> bool {
        self.trains[train].mischief.by_hand
    }

    /// The person who drives a train stops it and goes away: it does again what it is told, from the next order on.
    pub fn leave_throttle(&mut self, train: TrainId) {
        if std::mem::take(&mut self.trains[train].mischief.by_hand) {
            self.trains[train].throttle(0);
            self.hands.drivers.remove(&train);
            self.astray_no_longer(train);
            self.end(Fault::HandDriven, train);
            self.count_active();
        }
    }

    /// Adds a body to the table that no detector has seen yet.
    fn add_body(&mut self, rolling: Rolling, kind: Loose) -> TrainId {
        self.loose.push(kind);
        self.trains.push(rolling)
    }

    /// Lets detectors see a body where it lies.
    pub(super) fn lay_body(&mut self, body: TrainId) {
        let on = self.trains[body].pieces.iter().filter_map(|piece| piece.on.track());
        let mut changes: Vec<_> = on.map(|on| Change::Entered { section: on.section }).collect();
        self.trains[body].look(&mut changes);
        self.apply(body, &mut changes, Reached::ByHand);
        self.count_active();
    }

    /// A fault of a train that lasted is over.
    pub(crate) fn end(&mut self, fault: Fault, train: TrainId) {
        let now: Time = self.now();
        self.mishaps.over(fault, train, now);
    }
}
