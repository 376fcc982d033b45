//! Track that the signaller works no trains over: out of service, or in a person's hands.
//!
//! Nothing is taken from a train for it: what is granted to a train on an errand, or locked for a route, is not withdrawn
//! before that is over. While a section is withdrawn it is granted to nobody, signals that look into it stay at stop, and its
//! turnouts are not thrown: out of service by nobody, in a person's hands at a person's wish only.

use std::collections::BTreeMap;

use smallvec::SmallVec;
use track::{SectionId, TrainId, TurnoutId};

use super::orders::Reason;
use super::{Interlock, Wait};
use crate::door::{Fact, Output};
use crate::drive::Drive;
use crate::identity::Whereabouts;
use crate::picture::Picture;

/// Why no trains are worked over a section.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum Withdrawal {
    /// It is out of service, for a reason in plain words.
    OutOfService(String),
    /// It was handed over to this person.
    InHandsOf(String),
}

/// The sections that are withdrawn: few, if any.
pub(super) type Withdrawn = BTreeMap<SectionId, Withdrawal>;

impl Interlock {
    /// Why no trains are worked over a section; nothing where they are.
    pub fn withdrawal(&self, section: SectionId) -> Option<&Withdrawal> {
        self.withdrawn.get(&section)
    }

    /// Fails where no trains are worked.
    pub(super) fn in_service(&self, section: SectionId) -> Result<(), Wait> {
        #[cfg(test)]
        if self.planted == Some(super::checking::Bug::OverlooksWishes) {
            return Ok(());
        }
        match self.withdrawn.get(&section) {
            None => Ok(()),
            Some(Withdrawal::OutOfService(_)) => Err(Wait::OutOfService { section }),
            Some(Withdrawal::InHandsOf(_)) => Err(Wait::InHands { section }),
        }
    }

    /// Fails for a train that stands where none are worked.
    pub(super) fn stands_in_service(&self, stand: &Whereabouts) -> Result<(), Wait> {
        stand.footprint.iter().try_for_each(|hold| self.in_service(hold.section))
    }

    /// Whether a turnout may be thrown by whoever asks, as far as it is in service.
    pub(super) fn turnout_in_service(&self, turnout: TurnoutId) -> Result<(), Wait> {
        self.layout.turnouts[turnout].sections.iter().try_for_each(|&section| self.in_service(section))
    }

    /// The same for a person, who may throw what is in a person's hands.
    pub(super) fn turnout_in_service_or_hands(&self, turnout: TurnoutId) -> Result<(), Wait> {
        match self.turnout_in_service(turnout) {
            Err(Wait::InHands { .. }) => Ok(()),
            other => other,
        }
    }

    /// Takes a section out of service. A train without an errand may stand there: it stays.
    ///
    /// # Errors
    ///
    /// If it is in a person's hands, locked for a route, or granted to a train on an errand.
    pub(crate) fn take_out_of_service(
        &mut self,
        section: SectionId,
        reason: &str,
        outputs: &mut Vec<Output>,
    ) -> Result<(), Reason> {
        self.known_section(section)?;
        if let Err(wait @ Wait::InHands { .. }) = self.in_service(section) {
            return Err(self.in_words(wait));
        }
        self.not_routed(section).map_err(|wait| self.in_words(wait))?;
        self.nobody_crosses(section)?;
        if let Some(by) = self.granted_to[section].filter(|&by| self.is_on_an_errand(by)) {
            return Err(format!("{}; hint: stop it first", self.in_words(Wait::Taken { section, by })));
        }
        self.withdraw(section, Withdrawal::OutOfService(reason.to_owned()), outputs);
        Ok(())
    }

    /// Puts a section into service again.
    ///
    /// # Errors
    ///
    /// If it is not out of service.
    pub(crate) fn put_in_service(&mut self, section: SectionId, outputs: &mut Vec<Output>) -> Result<(), Reason> {
        self.known_section(section)?;
        if !matches!(self.withdrawn.get(&section), Some(Withdrawal::OutOfService(_))) {
            return Err(format!("`{}` is not out of service", self.layout.sections[section].name));
        }
        self.return_to_service(section, outputs);
        Ok(())
    }

    /// Hands sections over to a person. Trains that stand there are theirs to drive, too.
    ///
    /// # Errors
    ///
    /// If there is none, one is withdrawn already or locked for a route, or one is granted to a train that has an errand, moves,
    /// or has track outside.
    pub(crate) fn hand_region_over(
        &mut self,
        sections: &[SectionId],
        to: &str,
        picture: &impl Picture,
        drive: &Drive,
        outputs: &mut Vec<Output>,
    ) -> Result<(), Reason> {
        if sections.is_empty() {
            return Err("no section was named".to_owned());
        }
        let mut trains: SmallVec<[TrainId; 4]> = SmallVec::new();
        for &section in sections {
            self.known_section(section)?;
            let is_free = self.in_service(section).and_then(|()| self.not_routed(section));
            is_free.map_err(|wait| self.in_words(wait))?;
            self.nobody_crosses(section)?;
            for train in self.granted_to[section].into_iter().chain(picture.holders(section)) {
                if !trains.contains(&train) && !self.is_driven_by_hand(train) {
                    self.may_hand_over(train, section, sections, drive)?;
                    trains.push(train);
                }
            }
        }
        for &section in sections {
            self.withdraw(section, Withdrawal::InHandsOf(to.to_owned()), outputs);
        }
        // A train that no layout describes is nobody's to drive.
        // What is nobody's train is nobody's to drive.
        trains.retain(|train| self.runs.get(*train).is_some());
        trains.into_iter().try_for_each(|train| self.take_over(train))
    }

    /// Takes sections back that were handed over. Trains that a person drives there stay theirs until they are handed back.
    ///
    /// # Errors
    ///
    /// If one was not handed over.
    pub(crate) fn take_region_back(&mut self, sections: &[SectionId], outputs: &mut Vec<Output>) -> Result<(), Reason> {
        for &section in sections {
            self.known_section(section)?;
            if !matches!(self.withdrawn.get(&section), Some(Withdrawal::InHandsOf(_))) {
                return Err(format!("`{}` is in nobody's hands", self.layout.sections[section].name));
            }
        }
        for &section in sections {
            self.return_to_service(section, outputs);
        }
        Ok(())
    }

    /// Fails unless all that a train has lies among `sections`, and it stands there without an errand.
    fn may_hand_over(
        &self,
        train: TrainId,
        section: SectionId,
        sections: &[SectionId],
        drive: &Drive,
    ) -> Result<(), Reason> {
        let has_more = self.granted_sections(train).any(|other| !sections.contains(&other));
        if !self.is_on_an_errand(train) && drive.is_at_rest(train) && !has_more {
            return Ok(());
        }
        let taken = self.in_words(Wait::Taken { section, by: train });
        Err(format!("{taken}; hint: stop it where all of it is in what you hand over, or take it over"))
    }

    /// Whether a train is going somewhere, or has not yet come to stand after that.
    fn is_on_an_errand(&self, train: TrainId) -> bool {
        self.is_called(train) || self.runs.get(train).is_some_and(|run| run.to.is_some() || run.must_stand)
    }

    /// Fails where what crosses a section is locked for a route, or granted to a train on an errand.
    fn nobody_crosses(&self, section: SectionId) -> Result<(), Reason> {
        for &crossed in &self.layout.sections[section].crosses {
            self.not_routed(crossed).map_err(|wait| self.in_words(wait))?;
            if let Some(by) = self.granted_to[crossed].filter(|&by| self.is_on_an_errand(by)) {
                return Err(format!("{}; hint: stop it first", self.in_words(Wait::Taken { section: crossed, by })));
            }
        }
        Ok(())
    }

    fn known_section(&self, section: SectionId) -> Result<(), Reason> {
        self.layout.sections.get(section).map(|_| ()).ok_or_else(|| "there is no such section".to_owned())
    }

    fn withdraw(&mut self, section: SectionId, withdrawal: Withdrawal, outputs: &mut Vec<Output>) {
        let because = match &withdrawal {
            Withdrawal::OutOfService(reason) => reason.clone(),
            Withdrawal::InHandsOf(person) => format!("handed over to {person}"),
        };
        self.withdrawn.insert(section, withdrawal);
        outputs.push(Output::Fact(Fact::Withdrawn { section, because }));
        self.is_stirred = true;
    }

    fn return_to_service(&mut self, section: SectionId, outputs: &mut Vec<Output>) {
        self.withdrawn.remove(&section);
        outputs.push(Output::Fact(Fact::InService { section }));
        self.is_stirred = true;
        self.freed += 1;
        self.may_admit = true;
    }
}
