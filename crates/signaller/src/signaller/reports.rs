//! From what was heard to one batch for identity, and from what identity made of it to facts.

use track::{DetectorKind, Layout, SectionId, TrainId};

use super::Signaller;
use crate::door::{Answer, Fact, Input, Output, Refusal, Request, Suspect, Ticket};
use crate::identity::{Batch, Placement, SpotPassage, Standing};
use crate::time::Time;

impl Signaller {
    /// Hands everything heard to detect and identity, as one batch; says what changed of the tags; fills `self.changes`
    /// for the stages behind.
    pub(super) fn hear(&mut self, now: Time, inputs: &[Input]) {
        let mut batch = std::mem::take(&mut self.batch);
        batch.clear();
        for input in inputs {
            let edges = &mut batch.edges;
            match input {
                Input::SectionReported { section, occupied } => {
                    self.detect.section(&self.layout, *section, *occupied, &mut |section, filled| {
                        edges.push((section, filled));
                    });
                }
                Input::PowerReported { district, live } => {
                    let standing = if *live { Standing::Current } else { Standing::Dark };
                    for (section, _) in self.layout.sections.iter().filter(|(_, row)| row.district == Some(*district)) {
                        self.identity.set_standing(section, standing);
                        self.changes.power.push(section);
                        self.changes.sections.push(section);
                    }
                    self.detect.power(&self.layout, *district, *live, &mut |section, filled| {
                        if self.identity.is_reported(section) != Some(filled) {
                            edges.push((section, filled));
                        }
                    });
                }
                Input::SpotPassed { detector } => {
                    let described = &self.layout.detectors[*detector];
                    if let DetectorKind::Spot { way, from_first_end } = described.kind {
                        batch.passed.push(SpotPassage { way, from_first_end, on_delay: described.on_delay });
                    }
                }
                Input::TrainRead { detector, train } => {
                    if let DetectorKind::Reader(section) = self.layout.detectors[*detector].kind {
                        batch.read.push((section, *train));
                    }
                }
                Input::LinkReported { link, up } => {
                    let standing = if *up { Standing::Current } else { Standing::Old };
                    for (_, row) in self.layout.detectors.iter().filter(|(_, row)| row.link == Some(*link)) {
                        if let DetectorKind::Area(section) = row.kind {
                            self.identity.set_standing(section, standing);
                            self.changes.sections.push(section);
                        }
                    }
                }
                Input::TrainRemembered { train, memory } => self.remember(*train, memory),
                Input::TurnoutReported { turnout, lie } => {
                    self.identity.set_lie(*turnout, *lie);
                    self.changes.turnouts.push(*turnout);
                }
                Input::Requested { .. } | Input::TrainNamed { .. } | Input::SignalReported { .. } | Input::Woke => {}
            }
        }
        for input in inputs {
            if let Input::Requested { ticket, request } = input {
                self.hear_placement(*ticket, request, &mut batch);
            }
        }
        self.identity.observe(now, &batch);
        for &section in self.identity.retagged() {
            self.outputs.push(Output::Fact(Fact::Tagged { section, tag: self.identity.tag(section) }));
        }
        for &(train, section) in self.identity.stretched() {
            let (name, place) = (self.roster.name(train), &self.layout.sections[section].name);
            let because = format!(
                "`{name}` would be longer than it is if it still were in `{place}`: a coupling has parted and its tail stayed \
                 there, or something else holds the detector"
            );
            self.outputs.push(Output::Fact(Fact::Suspected { suspect: Suspect::Train(train), because }));
        }
        self.changes.sections.extend_from_slice(self.identity.touched());
        self.changes.trains.extend(batch.placed.iter().map(|placement| placement.train));
        self.changes.trains.extend_from_slice(&batch.lifted);
        for &(_, train) in &batch.named {
            if self.drive.is_at_rest(train) {
                self.interlock.stands_by_word(train, now, &self.identity, &mut self.outputs);
            }
            self.changes.trains.push(train);
        }
        self.batch = batch;
        self.lift_confirmed(now);
    }

    fn hear_placement(&mut self, ticket: Ticket, request: &Request, batch: &mut Batch) {
        match request {
            Request::Place { train, on, nose } => {
                let said = beside_others(&self.layout, *train, on, batch)
                    .and_then(|()| Placement::new(&self.layout, *train, on, *nose));
                match said {
                    Ok(placement) => {
                        if self.answer_placement(ticket, request) == Answer::Accepted {
                            batch.placed.push(placement);
                        }
                    }
                    Err(reason) => {
                        let answer = Answer::Refused(Refusal { reason });
                        self.outputs.push(Output::Fact(Fact::Answered { ticket, answer }));
                    }
                }
            }
            Request::Lift { train } if self.answer_placement(ticket, request) == Answer::Accepted => {
                batch.lifted.push(*train);
            }
            Request::Identify { section, train } => {
                let refusal = self.word_refusal(*section, *train, batch);
                if refusal.is_none() {
                    batch.named.push((*section, *train));
                }
                let answer = refusal.map_or(Answer::Accepted, |reason| Answer::Refused(Refusal { reason }));
                self.outputs.push(Output::Fact(Fact::Answered { ticket, answer }));
            }
            _ => {}
        }
    }

    /// Why a person's word that a train is in a section is not taken; nothing if it is.
    fn word_refusal(&self, section: SectionId, train: TrainId, batch: &Batch) -> Option<String> {
        if self.roster.train(train).is_none() {
            return Some("there is no such train".to_owned());
        }
        let Some(row) = self.layout.sections.get(section) else {
            return Some("there is no such section".to_owned());
        };
        let (name, called) = (&row.name, self.roster.name(train));
        let fills = batch.edges.iter().rev().find(|(other, _)| *other == section).map(|&(_, filled)| filled);
        if row.detector.is_some() && fills.or(self.identity.is_reported(section)) == Some(false) {
            return Some(format!("`{name}` reads free; hint: place `{called}` there if its detector cannot see it"));
        }
        let placed = batch.placed.iter().any(|placement| placement.train == train);
        if placed || batch.lifted.contains(&train) || batch.named.iter().any(|&(_, other)| other == train) {
            return Some(format!("something else was said of `{called}` in the same instant"));
        }
        if batch.named.iter().any(|&(other, _)| other == section) {
            return Some(format!("another train was said to be in `{name}` in the same instant"));
        }
        if !self.drive.is_at_rest(train) && !self.identity.believes(section, train) {
            return Some(format!("`{called}` moves, and cannot have come to `{name}`; hint: stop it first"));
        }
        None
    }
}

/// Whether a train can be placed in this instant beside what was placed before: once, and on sections that no other was
/// placed on, unless they filled as often.
fn beside_others(layout: &Layout, train: TrainId, on: &[SectionId], batch: &Batch) -> Result<(), String> {
    if batch.placed.iter().any(|other| other.train == train) {
        return Err("this train was placed elsewhere in the same instant".to_owned());
    }
    for section in on {
        let others = batch.placed.iter().filter(|other| other.stands_on(*section)).count();
        let fillings = batch.edges.iter().filter(|&&edge| edge == (*section, true)).count();
        if others > 0 && others >= fillings {
            let name = &layout.sections[*section].name;
            return Err(format!("another train was placed on section `{name}` in the same instant"));
        }
    }
    Ok(())
}
