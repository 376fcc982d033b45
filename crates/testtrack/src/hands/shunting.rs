//! People who couple trains up and uncouple them.

use track::{Train, TrainId};

use crate::rolling::{Rolling, leave};
use crate::table::{Reached, Table};

impl Table {
    /// A person uncouples what is behind a train's first `keep` vehicles: it is the train `rest` from now on, which must not be
    /// on the table. Tells whether there is such a coupling.
    pub fn uncouple(&mut self, train: TrainId, keep: usize, rest: TrainId) -> bool {
        let is_there = (1..self.trains[train].vehicles()).contains(&keep);
        if !is_there || !self.trains[train].is_on_table() || self.trains[rest].is_on_table() {
            return false;
        }
        let mut left = Vec::new();
        self.trains[rest] = self.trains[train].part_behind(keep, &mut left);
        self.lay_body(rest);
        self.apply(train, &mut left, Reached::ByHand);
        self.count_active();
        true
    }

    /// A person puts the vehicles of `with` to the rear of `train`, and couples them: they are one train from now on. The track
    /// behind `train` must be free of others.
    pub fn couple(&mut self, train: TrainId, with: TrainId) {
        let nothing = Rolling::new(&Train::stranger("nothing"), &self.hands.settings);
        let mut tail = std::mem::replace(&mut self.trains[with], nothing);
        let (mut left, mut changes) = (Vec::new(), Vec::new());
        tail.pieces.drain(..).for_each(|piece| leave(Some(piece), &mut left));
        self.trains[train].couple_up(tail, &mut self.ground, &mut changes);
        self.apply(train, &mut changes, Reached::ByHand);
        self.apply(with, &mut left, Reached::ByHand);
        self.count_active();
    }
}
