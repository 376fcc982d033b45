//! What is truly so: where trains stand, how turnouts lie, and what of it has not been reported yet.
//!
//! A train is what it covers, in whole sections. Lengths decide only what is possible at all: its nose can be in no section
//! that its tail cannot have come near, and its tail leaves a section only when the rest has room for the train.

use smallvec::SmallVec;
use track::{Layout, Length, Lie, SectionId, Table, TrainId, Traverse, TurnoutId};

use super::cases::Case;
use crate::identity::NEXT_AXLE;

/// A train may come to stand so far short of where it should. Common practice, no source.
const STOPPING_ERROR: Length = Length::from_mm(50);

pub(super) type Passages = SmallVec<[Traverse; 6]>;

/// Trains and turnouts as they are.
#[derive(Clone, Debug)]
pub(super) struct Rails {
    pub(super) trains: Table<TrainId, Truth>,
    pub(super) turnouts: Table<TurnoutId, Blades>,
}

/// A train as it is.
#[derive(Clone, Debug, Default, Hash)]
pub(super) struct Truth {
    /// What it covers, tail first.
    pub(super) path: Passages,
    pub(super) moves: bool,
    /// What it was allowed to enter when it was last told how far to run, and has not entered yet. One that is told to stop
    /// may still come so far before it stands.
    pub(super) ahead: Passages,
    /// It was told to stop before the end of that.
    pub(super) brakes: bool,
    /// It stands as near to the far end of its section as it goes.
    pub(super) is_at_end: bool,
    /// What has not been reported yet.
    pub(super) untold: Option<Passing>,
    /// So many of its errands are done.
    pub(super) done: usize,
}

/// A joint that one end of a train passed.
#[derive(Clone, Copy, Debug, Hash)]
pub(super) enum Passing {
    Entered(Traverse),
    Left(SectionId),
}

/// A turnout as it is.
#[derive(Clone, Copy, Debug, Hash)]
pub(super) struct Blades {
    pub(super) lies: Lie,
    /// Whereto it moves.
    pub(super) moves_to: Option<Lie>,
}

impl Rails {
    pub(super) fn new(case: &Case) -> Self {
        let mut trains: Table<TrainId, Truth> = Table::filled(Truth::default(), case.layout.trains.len());
        for start in &case.trains {
            trains[start.train].path.push(start.on);
        }
        let blades = Blades { lies: Lie::Straight, moves_to: None };
        Self { trains, turnouts: Table::filled(blades, case.layout.turnouts.len()) }
    }

    /// Another train than this that covers the section.
    pub(super) fn other_in(&self, section: SectionId, train: TrainId) -> Option<TrainId> {
        let covers = |(other, truth): (TrainId, &Truth)| (other != train && truth.covers(section)).then_some(other);
        self.trains.iter().find_map(covers)
    }

    /// Whether every turnout on the way lies as the passage needs it, and none moves.
    pub(super) fn lies(&self, layout: &Layout, passage: &Traverse) -> bool {
        layout.ways[passage.way].needs.iter().all(|need| {
            let blades = self.turnouts[need.turnout];
            blades.lies == need.lie && blades.moves_to.is_none()
        })
    }
}

impl Truth {
    pub(super) fn covers(&self, section: SectionId) -> bool {
        self.path.iter().any(|passage| passage.section == section)
    }

    /// What the sections ahead of the one of its tail leave of the train, if its nose is as far on as it can be.
    fn room_beyond_tail(&self, layout: &Layout) -> Length {
        self.path.iter().skip(1).map(|passage| layout.ways[passage.way].length.unwrap_or(Length::ZERO)).sum()
    }

    /// Whether the nose can come into one more section before the tail has left another.
    pub(super) fn can_enter(&self, layout: &Layout, length: Length) -> bool {
        self.moves && self.untold.is_none() && !self.ahead.is_empty() && self.room_beyond_tail(layout) < length
    }

    pub(super) fn can_leave(&self, layout: &Layout, length: Length) -> bool {
        self.moves && self.untold.is_none() && self.path.len() > 1 && self.room_beyond_tail(layout) >= length
    }

    /// Whether it can come to stand: anywhere if it brakes, else at the end of its authority, with its tail where that leaves
    /// it. `short` is how far from the end it is to stop.
    pub(super) fn can_stand(&self, layout: &Layout, length: Length, short: Length) -> bool {
        if !self.moves || self.untold.is_some() {
            return false;
        }
        let must_have_left = length + short.max(NEXT_AXLE) + STOPPING_ERROR;
        let is_drawn_up = self.path.len() == 1 || self.room_beyond_tail(layout) < must_have_left;
        self.brakes || self.ahead.is_empty() && is_drawn_up
    }

    /// Its tail is its nose from now on.
    pub(super) fn turn_back(&mut self) {
        turn(&mut self.path);
        self.is_at_end = false;
    }
}

/// The same track the other way.
pub(super) fn turn(path: &mut Passages) {
    path.reverse();
    for passage in path {
        *passage = Traverse { enter: passage.leave, leave: passage.enter, ..*passage };
    }
}
