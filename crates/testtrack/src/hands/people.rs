//! People who take things off the track and put them down again, and what they say of it.

use std::time::Duration;

use signaller::{Direction, Request};
use track::{EndId, Id, Length, SectionId, TrainId, Traverse};

use super::sight::Granted;
use super::{Deed, Word};
use crate::astray::Loose;
use crate::faults::Fault;
use crate::mishaps::Mishap;
use crate::place::Place;
use crate::table::Table;

/// Somebody who does not find room for a train looks again after so long.
const LOOK_AGAIN: Duration = Duration::from_secs(5);

/// How long people take to say what they did, in milliseconds.
const WORD_MS: (i64, i64) = (1_000, 6_000);

/// Behind a train that stands, so much is to be free for its tail to be put to it.
const ROOM_TO_COUPLE: Length = Length::from_mm(40);

/// How long people take to set a train right that derailed or collided, in milliseconds.
const SET_RIGHT_MS: (i64, i64) = (20_000, 120_000);

/// Whether people say what they did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Talk {
    /// They do, some seconds later.
    Say,
    /// They forget to.
    Forget,
}

/// Where people put a train down that they took off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Return {
    /// Where it was, if that is still free.
    SamePlace,
    /// Elsewhere, where it fits and nothing stands.
    Elsewhere,
}

/// A train in somebody's hand.
#[derive(Clone, Debug)]
pub(crate) struct Parked {
    path: Vec<(Traverse, Length)>,
    front: Length,
    talk: Talk,
    to: Return,
}

impl Parked {
    /// Whoever holds the train will say where they put it.
    pub(super) fn tell(&mut self) {
        self.talk = Talk::Say;
    }
}

impl Table {
    /// A person takes a train off the track, says so or not, and puts it down again after a while, where it was or elsewhere.
    pub fn take_off(&mut self, train: TrainId, lasts: Duration, talk: Talk, to: Return) {
        let pieces = &self.trains[train].pieces;
        let Some(start) = pieces.front().map(|piece| piece.from) else { return };
        let path: Option<Vec<_>> = pieces
            .iter()
            .map(|piece| piece.on.track().map(|on| (on, Length::from_um(piece.to - piece.from))))
            .collect();
        let front = Length::from_um(self.trains[train].front - start);
        // What stood off the layout in part has no place to come back to.
        let to = if path.is_none() { Return::Elsewhere } else { to };
        let path = path.unwrap_or_default();
        self.note(Mishap::new(Fault::Lifted, self.now()).to_train(train));
        self.goes_astray(train);
        self.lift(train);
        self.hands.parked.insert(train, Parked { path, front, talk, to });
        if talk == Talk::Say {
            self.say_soon(Fault::Lifted, Word::Lifted(train));
        }
        self.hands.plan(self.now() + lasts, Deed::PutBack(train));
    }

    /// A person puts a train down again that they took off. The command station still tells it what it told it last.
    pub(super) fn put_back(&mut self, train: TrainId) {
        let Some(parked) = self.hands.parked.get(&train).cloned() else { return };
        let old = Place { path: parked.path, front: parked.front };
        let place = if parked.to == Return::SamePlace && self.is_vacant(&old) {
            Some(old)
        } else {
            self.room_for(train, Fault::Lifted)
        };
        let Some(place) = place else {
            self.hands.plan(self.now() + LOOK_AGAIN, Deed::PutBack(train));
            return;
        };
        self.hands.parked.remove(&train);
        self.set_down(train, &place);
        self.astray_no_longer(train);
        self.end(Fault::Lifted, train);
        if parked.talk == Talk::Say {
            self.say_soon(Fault::Lifted, Word::Stands(train));
        }
    }

    /// A person takes a wagon off that nobody knew of.
    pub(super) fn take_wagon_off(&mut self, wagon: TrainId) {
        for section in self.footprint(wagon) {
            self.mishaps.over_in(Fault::PutDown, section, self.now());
        }
        self.lift(wagon);
    }

    /// A person takes a tail off the track that parted from its train, and puts it to the train as soon as that stands with free
    /// track behind it; says where the train stands then.
    pub(super) fn mend(&mut self, tail: TrainId) {
        let Some(Loose::Tail { of: train }) = self.loose_kind(tail) else { return };
        if self.trains[tail].is_on_table() {
            self.lift(tail);
        }
        let room = self.trains[tail].length + ROOM_TO_COUPLE.um();
        let rolling = &self.trains[train];
        let stands = rolling.is_on_table() && !rolling.wrecked && rolling.speed == 0 && rolling.pull() == 0;
        let is_open = |section| self.holders(section).is_empty();
        if !stands || self.clear_ahead(train, Direction::Backward, room, &is_open) < room {
            self.hands.plan(self.now() + LOOK_AGAIN, Deed::Mend(tail));
            return;
        }
        self.went_astray(train);
        self.join(train, tail);
        self.end(Fault::Parted, train);
        self.say_soon(Fault::Parted, Word::Stands(train));
    }

    pub(crate) fn join(&mut self, train: TrainId, tail: TrainId) {
        self.couple(train, tail);
        let first = self.layout().trains.len();
        self.loose[tail.index() - first] = Loose::Gone;
    }

    /// An accident happened: somebody sets the train right later, where people are about.
    pub(crate) fn somebody_comes(&mut self, train: TrainId) {
        if self.hands.are_about() {
            let at = self.now() + self.hands.draw_ms(Fault::Pushed, SET_RIGHT_MS.0, SET_RIGHT_MS.1);
            self.hands.plan(at, Deed::SetRight(train));
        }
    }

    /// A person sets a train right that derailed or collided: where it lies if it lies clear, else elsewhere; and says so. A
    /// wagon that nobody knows of is taken away.
    pub(super) fn set_right(&mut self, train: TrainId) {
        if !self.is_wrecked(train) {
            return;
        }
        match self.loose_kind(train) {
            Some(Loose::Wagon) => return self.take_wagon_off(train),
            Some(Loose::Tail { .. }) => {
                self.trains[train].set_right();
                return;
            }
            Some(Loose::Gone) | None => {}
        }
        let on: Vec<_> = self.trains[train].pieces.iter().filter_map(|piece| piece.on.track()).collect();
        let lies_right = on.iter().all(|on| self.ground.wrong_turnout(on.way).is_none());
        if lies_right && self.touching(train).is_empty() {
            self.trains[train].set_right();
            self.say_soon(Fault::Lifted, Word::Stands(train));
        } else {
            self.take_away(train);
        }
    }

    /// Whether another train stands in a section with it of which one detector tells.
    pub(crate) fn stands_with_another(&self, train: TrainId) -> bool {
        let trains = self.layout().trains.len();
        self.footprint(train).iter().any(|&section| {
            let mut others = self.trains_in(section).iter().map(|presence| presence.train);
            !self.layout().is_dark(section) && others.any(|other| other != train && other.index() < trains)
        })
    }

    /// A person goes to the table to take a train out of a section in which another one is.
    pub(crate) fn take_from_others(&mut self, train: TrainId) {
        self.hands.plan(self.now(), Deed::Part(train));
    }

    /// A person takes a train out of a section in which another one is, says so at once, and puts it down elsewhere: nobody could
    /// tell the two apart.
    pub(super) fn part_from_others(&mut self, train: TrainId) {
        if !self.is_on_table(train) || self.is_wrecked(train) || !self.stands_with_another(train) {
            return;
        }
        if self.trains[train].speed != 0 {
            self.hands.plan(self.now() + LOOK_AGAIN, Deed::Part(train));
            return;
        }
        self.take_away(train);
    }

    /// A person takes a train off, says so as they do it, and puts it down elsewhere.
    fn take_away(&mut self, train: TrainId) {
        self.take_off(train, LOOK_AGAIN, Talk::Forget, Return::Elsewhere);
        if let Some(parked) = self.hands.parked.get_mut(&train) {
            parked.tell();
        }
        self.hands.say(self.now(), Word::Lifted(train));
    }

    /// Where a train stands, as a person says it who looks at it.
    pub(super) fn place_in_words(&self, train: TrainId) -> Option<Request> {
        if !self.is_on_table(train) {
            return None;
        }
        let mut on: Vec<SectionId> = self.footprint(train).to_vec();
        on.dedup();
        let nose: Option<EndId> = self.trains[train].tip(Direction::Forward).map(|(_, towards, _)| towards);
        (!on.is_empty()).then_some(Request::Place { train, on, nose })
    }

    pub(super) fn say_soon(&mut self, fault: Fault, word: Word) {
        let at = self.now() + self.hands.draw_ms(fault, WORD_MS.0, WORD_MS.1);
        self.hands.say(at, word);
    }

    /// Somewhere free for a train, by lot.
    pub(super) fn room_for(&mut self, train: TrainId, fault: Fault) -> Option<Place> {
        let length = Length::from_um(self.trains[train].length);
        let mut stream = self.hands.stream(fault).clone();
        let room = self.find_room("a train", length, Granted::Avoid, &mut stream);
        *self.hands.stream(fault) = stream;
        room
    }

    /// Whether a place is as free as when the train was taken off it.
    fn is_vacant(&self, place: &Place) -> bool {
        place.path.iter().all(|&(on, _)| {
            self.trains_in(on.section).is_empty()
                && self.holders(on.section).is_empty()
                && self.ground.wrong_turnout(on.way).is_none()
        })
    }

    pub(super) fn set_down(&mut self, train: TrainId, place: &Place) {
        self.lift(train);
        self.trains[train].put_down(&place.path, place.front);
        self.lay_body(train);
        self.trains[train].obey();
        self.count_active();
    }
}
