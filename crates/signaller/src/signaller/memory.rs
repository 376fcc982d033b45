//! From one run of the signaller to the next: what is to be kept of where trains stand, and what comes of it after the start.

use track::{SectionId, TrainId};

use super::{Conduct, Signaller};
use crate::door::Memory;
use crate::interlock::HoldKind;
use crate::time::Time;

impl Signaller {
    /// Where every train stands that stands anywhere, to be told to the next signaller as [`crate::Input::TrainRemembered`]
    /// before anything else.
    pub fn memories(&self) -> Vec<(TrainId, Memory)> {
        let memory = |train: TrainId| {
            let keeps_within = |on: &[SectionId]| self.interlock.keeps_within(train, on);
            self.identity.memory_of(train, keeps_within).map(|memory| (train, memory))
        };
        self.roster.ids().filter_map(memory).collect()
    }

    /// A train that was remembered is held until it is sure again where it stands.
    pub(super) fn remember(&mut self, train: TrainId, memory: &Memory) {
        if self.roster.train(train).is_none() {
            return;
        }
        let reason = match self.identity.remember(train, memory) {
            Ok(()) => "it was remembered, and nothing has confirmed yet where it stands".to_owned(),
            Err(why) => format!("it cannot stand where it was remembered ({why}); say where it stands"),
        };
        if self.conduct == Conduct::Control {
            self.interlock.set_hold(train, HoldKind::Remembered, reason, &mut self.outputs);
        }
        if !self.unconfirmed.contains(&train) {
            self.unconfirmed.push(train);
        }
    }

    /// Lifts the hold of trains of which it is sure again where they stand.
    pub(super) fn lift_confirmed(&mut self, now: Time) {
        let mut at = 0;
        while let Some(&train) = self.unconfirmed.get(at) {
            if self.identity.whereabouts(train, now).is_some_and(|stand| stand.sure) {
                self.unconfirmed.swap_remove(at);
                self.interlock.lift_hold(train, HoldKind::Remembered, &mut self.outputs);
                self.changes.trains.push(train);
            } else {
                at += 1;
            }
        }
    }
}
