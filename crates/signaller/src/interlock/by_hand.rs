//! Trains that a person drives at a throttle of their own.
//!
//! A train is taken over standing: if it moves, it is brought to a stand first. From then on it gets no orders, and nobody
//! reckons how far it can have moved. What it does not stand on is given back; where it stands is taken, for others, as long as
//! some account has it there. It is given back standing, and takes what it stands on, and what it may reach into as far as
//! nobody else has that, as if it had been put down there.

use track::TrainId;

use super::orders::Reason;
use super::{HoldKind, Interlock};
use crate::door::Output;
use crate::picture::Picture;
use crate::time::Time;

/// Who drives a train.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub(crate) enum Driver {
    /// The signaller.
    #[default]
    Signaller,
    /// The signaller, until it has brought the train to a stand for a person to take it over.
    HandingOver,
    /// A person.
    Person,
}

impl Interlock {
    /// Whether a person drives the train.
    pub fn is_driven_by_hand(&self, train: TrainId) -> bool {
        self.runs.get(train).is_some_and(|run| run.driver == Driver::Person)
    }

    /// Fails if a person drives the train, or is about to.
    pub(crate) fn not_by_hand(&self, train: TrainId) -> Result<(), Reason> {
        match self.runs.get(train).map(|run| run.driver) {
            Some(Driver::HandingOver | Driver::Person) => {
                Err(format!("`{}` is driven by hand; hint: hand it back first", self.name(train)))
            }
            _ => Ok(()),
        }
    }

    /// Lets a person drive a train, once it stands.
    ///
    /// # Errors
    ///
    /// If it does not exist, or a person drives it already.
    pub(crate) fn take_over(&mut self, train: TrainId) -> Result<(), Reason> {
        self.known(train)?;
        self.not_by_hand(train)?;
        self.stop(train)?;
        self.runs[train].driver = Driver::HandingOver;
        Ok(())
    }

    /// The train stands: the person has it from now on.
    pub(super) fn hand_over(&mut self, train: TrainId, now: Time, picture: &impl Picture, outputs: &mut Vec<Output>) {
        if picture.whereabouts(train, now).is_some_and(|stand| stand.sure)
            && !self.runs[train].holds.has(HoldKind::Astray)
        {
            self.give_back_ahead(train, now, picture, outputs);
        }
        for kind in HoldKind::OF_A_TRAIN {
            self.lift_hold(train, kind, outputs);
        }
        self.runs[train].must_stand = false;
        self.runs[train].driver = Driver::Person;
    }

    /// Gives back what a train that is driven by hand has left.
    pub(super) fn follow_by_hand(&mut self, train: TrainId, picture: &impl Picture, outputs: &mut Vec<Output>) {
        let is_there = |section| picture.holders(section).contains(&train);
        if !self.runs[train].granted.iter().any(|passage| is_there(passage.section)) {
            self.give_back_all(train, outputs);
        }
        while let Some(first) = self.runs[train].granted.front().filter(|first| !is_there(first.section)) {
            let first = *first;
            self.runs[train].granted.pop_front();
            let run = &mut self.runs[train];
            (run.nose, run.proved) = (run.nose.saturating_sub(1), run.proved.saturating_sub(1));
            self.give_back(train, first, outputs);
        }
    }

    /// A person gives a train back. Identity must have been told that it stands.
    ///
    /// # Errors
    ///
    /// If no person drives it, if it is not sure where it stands, or if others have, or may be in, what it stands on.
    pub(crate) fn hand_back(
        &mut self,
        train: TrainId,
        now: Time,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) -> Result<(), Reason> {
        let name = self.name(train);
        if let Some(stand) = picture.whereabouts(train, now) {
            let sure = Some(&stand).filter(|stand| stand.sure);
            let ground = sure.and_then(|stand| self.ground(stand).or_else(|| self.stands_on(stand)));
            let Some(mut ground) = ground else {
                return Err(format!("it is not sure where `{name}` stands; hint: say where it stands first"));
            };
            // What its nose may reach into others may have already: nobody puts it there, and it would not get it.
            while ground.reaches_further() && self.can_take_ground(train, &ground, picture).is_err() {
                ground.passages.pop();
            }
            self.can_take_ground(train, &ground, picture).map_err(|wait| self.in_words(wait))?;
            self.take_ground(train, &ground, outputs);
        } else {
            self.give_back_all(train, outputs);
        }
        self.runs[train].driver = Driver::Signaller;
        self.touch(train);
        Ok(())
    }

    /// Fails unless a person drives the train.
    pub(crate) fn by_hand(&self, train: TrainId) -> Result<(), Reason> {
        if self.is_driven_by_hand(train) {
            Ok(())
        } else {
            Err(format!("nobody drives `{}` by hand", self.name(train)))
        }
    }
}
