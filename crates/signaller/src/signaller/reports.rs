//! From what was heard to one batch for identity, and from what identity made of it to facts.

use track::{DetectorKind, TrainId};

use super::Signaller;
use crate::door::{Answer, Fact, Input, Output, Refusal, Request, Ticket};
use crate::identity::Placement;
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
                    self.detect.section(&self.layout, *section, *occupied, &mut |section, filled| edges.push((section, filled)));
                }
                Input::PowerReported { district, live } => {
                    self.detect.power(&self.layout, *district, *live, &mut |section, filled| {
                        if self.identity.is_reported(section) != Some(filled) {
                            edges.push((section, filled));
                        }
                    });
                }
                Input::SpotPassed { detector } => {
                    if let DetectorKind::Spot { way, .. } = self.layout.detectors[*detector].kind {
                        batch.passed.push(self.layout.ways[way].section);
                    }
                }
                Input::TrainRead { detector, train } => {
                    if let DetectorKind::Reader(section) = self.layout.detectors[*detector].kind {
                        batch.read.push((section, *train));
                    }
                }
                Input::TurnoutReported { turnout, lie } => {
                    self.identity.set_lie(*turnout, *lie);
                    self.changes.turnouts.push(*turnout);
                }
                Input::Requested { ticket, request } => self.hear_placement(*ticket, request, &mut batch),
                Input::TrainNamed { .. } | Input::SignalReported { .. } | Input::Woke => {}
            }
        }
        self.identity.observe(now, &batch);
        for &section in self.identity.retagged() {
            self.outputs.push(Output::Fact(Fact::Tagged { section, tag: self.identity.tag(section) }));
        }
        self.changes.sections.extend_from_slice(self.identity.touched());
        self.changes.trains.extend(batch.placed.iter().map(|placement| placement.train));
        self.changes.trains.extend_from_slice(&batch.lifted);
        self.batch = batch;
    }

    fn hear_placement(&mut self, ticket: Ticket, request: &Request, batch: &mut crate::identity::Batch) {
        match request {
            Request::Place { train, on, nose } => {
                let said = self
                    .place_refusal(*train, &batch.placed)
                    .map_or(Ok(()), Err)
                    .and_then(|()| Placement::new(&self.layout, *train, on, *nose));
                match said {
                    Ok(placement) => {
                        batch.placed.push(placement);
                        self.answer_placement(ticket, request);
                    }
                    Err(reason) => {
                        let answer = Answer::Refused(Refusal { reason });
                        self.outputs.push(Output::Fact(Fact::Answered { ticket, answer }));
                    }
                }
            }
            Request::Lift { train } => {
                if self.answer_placement(ticket, request) == Answer::Accepted {
                    batch.lifted.push(*train);
                }
            }
            _ => {}
        }
    }

    /// Why a train cannot be placed in this instant beside what was placed before.
    fn place_refusal(&self, train: TrainId, placed: &[Placement]) -> Option<String> {
        placed.iter().any(|other| other.train == train).then(|| "the same train was placed twice at once".to_owned())
    }
}
