//! Trains that are coupled and uncoupled, at a person's or a script's request.
//!
//! The signaller only takes note: whoever asks has done it, or sees to it. Two trains can be coupled that stand, and are known to
//! stand next to each other; driving one up to the other is not part of it, and nothing is authorised to do that. Whatever the
//! trains were asked to do before is forgotten, as with a train that is put down.

use track::TrainId;

use super::Signaller;
use crate::door::{Fact, Output, Request};
use crate::identity::Batch;
use crate::time::Time;

impl Signaller {
    /// Makes one train of two, or two of one, or says why not.
    pub(super) fn change_trains(&mut self, now: Time, request: &Request, batch: &mut Batch) -> Result<(), String> {
        match *request {
            Request::Couple { train, with } => {
                self.stand_and_nothing_else(&[train, with], batch)?;
                let joining = self.identity.plan_joining(train, with)?;
                nothing_happens_there(batch, |section| joining.is_on(section))?;
                self.change_roster(|roster| roster.make_up(train, joining.vehicles.clone()));
                batch.joined.push(joining);
            }
            Request::Uncouple { train, keep, rest } => {
                self.stand_and_nothing_else(&[train, rest], batch)?;
                let parting = self.identity.plan_parting(now, train, keep, rest)?;
                nothing_happens_there(batch, |section| parting.is_on(section))?;
                self.change_roster(|roster| {
                    roster.make_up(train, parting.kept.clone());
                    roster.make_up(rest, parting.left.clone());
                });
                batch.parted.push(parting);
            }
            _ => {}
        }
        Ok(())
    }

    /// Refuses trains that move, and trains of which something else was said in the same instant.
    fn stand_and_nothing_else(&self, trains: &[TrainId], batch: &Batch) -> Result<(), String> {
        for &train in trains {
            let called = self.roster.name(train);
            if !self.drive.is_at_rest(train) {
                return Err(format!("`{called}` moves; hint: stop it first"));
            }
            if self.interlock.is_driven_by_hand(train) || self.drive.is_at_throttle(train) {
                return Err(format!("a person drives `{called}`; hint: hand it back first"));
            }
            let spoken_of = batch.placed.iter().any(|it| it.train == train)
                || batch.lifted.contains(&train)
                || batch.named.iter().any(|&(_, other)| other == train)
                || batch.joined.iter().any(|it| it.train == train || it.with == train)
                || batch.parted.iter().any(|it| it.train == train || it.rest == train);
            if spoken_of {
                return Err(format!("something else was said of `{called}` in the same instant"));
            }
        }
        Ok(())
    }

    /// Says what became of trains, and lets every stage start anew with them.
    pub(super) fn tell_of_changed_trains(&mut self, batch: &Batch) {
        let joined = batch.joined.iter().map(|it| (it.train, it.with, true));
        let parted = batch.parted.iter().map(|it| (it.train, it.rest, false));
        for (train, other, is_one) in joined.chain(parted) {
            for train in [train, other] {
                self.interlock.start_anew(train, &mut self.outputs);
                if let Some(described) = self.roster.train(train) {
                    self.drive.make_up(train, described);
                }
                self.changes.trains.push(train);
            }
            let fact = match is_one {
                true => Fact::Coupled { train, with: other },
                false => Fact::Uncoupled { train, rest: other },
            };
            self.outputs.push(Output::Fact(fact));
        }
    }
}

/// Refuses what would have to be reckoned with reports of the same instant.
fn nothing_happens_there(batch: &Batch, is_there: impl Fn(track::SectionId) -> bool) -> Result<(), String> {
    match batch.edges.iter().any(|&(section, _)| is_there(section)) {
        true => Err("something moved there in the same instant; hint: try again when all is still".to_owned()),
        false => Ok(()),
    }
}
