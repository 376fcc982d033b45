//! From what was heard to one batch for identity, and from what identity made of it to facts.

use std::sync::Arc;

use smallvec::SmallVec;
use track::{DetectorKind, EndId, Layout, Lie, SectionId, TrainId, TurnoutId};

use super::{Conduct, Signaller};
use crate::detect::Expected;
use crate::door::{Answer, Fact, Input, Output, Refusal, Request, Suspect, Ticket};
use crate::identity::{Batch, Placement, SpotPassage};
use crate::time::Time;

impl Signaller {
    /// Hands everything heard to detect and identity, as one batch; says what changed of the tags; fills `self.changes`
    /// for the stages behind.
    pub(super) fn hear(&mut self, now: Time, inputs: &[Input]) {
        let mut batch = std::mem::take(&mut self.batch);
        batch.clear();
        while let Some(section) = self.interlock.next_regranted() {
            self.identity.set_granted(section, self.interlock.granted_to(section));
        }
        self.condition(now, inputs, &mut batch);
        self.hand_edges(&mut batch);
        for input in inputs {
            if let Input::Requested { ticket, request } = input {
                self.hear_placement(now, *ticket, request, &mut batch);
            }
        }
        self.vouch(now, &batch);
        self.hand_edges(&mut batch);
        self.hand_on();
        self.identity.observe(now, &batch);
        self.detect.take_stock(&self.identity, &self.roster);
        while let Some(section) = self.detect.next_changed_record() {
            self.identity.set_trust(section, self.detect.trust(section));
        }
        self.outputs.extend(self.detect.heard().facts.iter().cloned().map(Output::Fact));
        for &section in self.identity.retagged() {
            self.outputs.push(Output::Fact(Fact::Tagged { section, tag: self.identity.tag(section) }));
        }
        self.say_stretched();
        self.changes.sections.extend_from_slice(self.identity.touched());
        self.changes.trains.extend(batch.placed.iter().map(|placement| placement.train));
        self.changes.trains.extend_from_slice(&batch.lifted);
        self.tell_of_changed_trains(&batch);
        for &(_, train) in &batch.named {
            if self.drive.is_at_rest(train) {
                self.interlock.stands_by_word(train, now, &self.identity, &mut self.outputs);
            }
            self.changes.trains.push(train);
        }
        self.batch = batch;
        self.lift_confirmed(now);
    }

    /// Hands what was heard of detectors, links and power to detect. The order of inputs means nothing: links and power come
    /// first, for what reports mean depends on them.
    fn condition(&mut self, now: Time, inputs: &[Input], batch: &mut Batch) {
        self.detect.begin();
        // Found to be needed in the step before, after which this one was due at once.
        while let Some((district, train)) = self.interlock.next_to_cut() {
            self.outputs.push(Output::Power { district, live: false });
            self.detect.cut(now, district);
            self.identity.note_runaway(train);
        }
        for input in inputs {
            match input {
                Input::LinkReported { link, up } => self.detect.link(now, *link, *up),
                Input::PowerReported { district, live } => self.detect.power(now, *district, *live),
                // Whether it is there to be cut is answered later.
                Input::Requested { request: Request::CutPower { district }, .. } => self.detect.cut(now, *district),
                Input::TrainRemembered { train, memory } => self.remember(*train, memory),
                Input::ProfileRemembered { train, lessons } => self.drive.remember(*train, lessons),
                _ => {}
            }
        }
        for input in inputs {
            match input {
                Input::SectionReported { section, occupied } => {
                    let granted = self.interlock.granted_to(*section).is_some();
                    let expected = match self.conduct {
                        Conduct::Observe => Expected::Anything,
                        Conduct::Control if granted => Expected::Train,
                        Conduct::Control => Expected::Nothing,
                    };
                    self.detect.section(now, *section, *occupied, expected, &self.identity);
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
                Input::TurnoutReported { turnout, lie } => {
                    if self.detect.turnout(now, *turnout, *lie) {
                        self.hear_lie(*turnout, *lie);
                    }
                }
                Input::Requested { .. }
                | Input::TrainNamed { .. }
                | Input::SignalReported { .. }
                | Input::LinkReported { .. }
                | Input::PowerReported { .. }
                | Input::InputReported { .. }
                | Input::TrainRemembered { .. }
                | Input::ProfileRemembered { .. }
                | Input::Woke => {}
            }
        }
        self.detect.work(now, &self.identity);
    }

    fn hear_lie(&mut self, turnout: TurnoutId, lie: Option<Lie>) {
        self.identity.set_lie(turnout, lie);
        self.interlock.turnout_reported(turnout, lie);
        self.changes.turnouts.push(turnout);
    }

    /// A person's word explains what detectors say: nothing is kept back of where trains were put down or taken off.
    fn vouch(&mut self, now: Time, batch: &Batch) {
        for placement in &batch.placed {
            for section in placement.sections() {
                self.detect.put_down(now, section, &self.identity);
            }
        }
        let mut left: SmallVec<[SectionId; 8]> = batch.emptied.iter().copied().collect();
        for &train in batch.lifted.iter().chain(batch.placed.iter().map(|placement| &placement.train)) {
            let Some(stood) = self.identity.whereabouts(train, now) else { continue };
            let placed = batch.placed.iter().find(|placement| placement.train == train);
            let is_left = |&section: &SectionId| {
                placed.is_none_or(|placement| {
                    !placement.sections().any(|it| it == section) && self.identity.holders(section)[..] == [train]
                })
            };
            left.extend(stood.footprint.iter().map(|hold| hold.section).filter(is_left));
        }
        self.detect.emptied(now, &left, &self.identity);
    }

    /// Hands those edges on that are not yet in the batch.
    fn hand_edges(&mut self, batch: &mut Batch) {
        for &(section, occupied, kept) in &self.detect.heard().edges[batch.edges.len()..] {
            batch.edges.push((section, occupied));
            self.identity.set_kept_back(section, kept);
        }
    }

    /// Hands what else detect made of it to identity and to the stages behind.
    fn hand_on(&mut self) {
        for &section in &self.detect.heard().standings {
            self.identity.set_standing(section, self.detect.standing(section));
        }
        self.changes.sections.extend_from_slice(&self.detect.heard().standings);
        self.changes.power.extend_from_slice(&self.detect.heard().power);
        for place in 0..self.detect.heard().lies.len() {
            let (turnout, lie) = self.detect.heard().lies[place];
            self.hear_lie(turnout, lie);
        }
    }

    /// Says which trains would be longer than they are.
    fn say_stretched(&mut self) {
        for &(train, section) in self.identity.stretched() {
            let (name, place) = (self.roster.name(train), &self.layout.sections[section].name);
            let because = format!(
                "`{name}` would be longer than it is if it still were in `{place}`: a coupling has parted and its tail stayed \
                 there, or something else holds the detector"
            );
            self.outputs.push(Output::Fact(Fact::Suspected { suspect: Suspect::Train(train), because }));
        }
    }

    /// A turnout that reports nothing lies as a train over it needs.
    fn learn_lies(&mut self, placement: &Placement, nose: Option<EndId>) {
        let layout = Arc::clone(&self.layout);
        for need in placement.ways(&layout, nose).into_iter().flat_map(|way| &layout.ways[way].needs) {
            if self.interlock.turnout_told(need.turnout, need.lie) {
                self.identity.set_lie(need.turnout, Some(need.lie));
                self.changes.turnouts.push(need.turnout);
            }
        }
    }

    fn hear_placement(&mut self, now: Time, ticket: Ticket, request: &Request, batch: &mut Batch) {
        match request {
            Request::Place { train, on, nose } => {
                let said = beside_others(&self.layout, *train, on, batch)
                    .and_then(|()| Placement::new(&self.layout, *train, on, *nose));
                match said {
                    Ok(mut placement) => {
                        let lies = |end| self.interlock.way_that_lies(end);
                        placement.lies_as_turnouts_do(&self.layout, *nose, lies);
                        if self.answer_placement(ticket, request) == Answer::Accepted {
                            self.learn_lies(&placement, *nose);
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
            Request::Couple { .. } | Request::Uncouple { .. } => {
                let answer = match self.change_trains(now, request, batch) {
                    Ok(()) => Answer::Accepted,
                    Err(reason) => Answer::Refused(Refusal { reason }),
                };
                self.outputs.push(Output::Fact(Fact::Answered { ticket, answer }));
            }
            Request::Identify { section, train } => {
                let refusal = self.word_refusal(*section, *train, batch);
                if refusal.is_none() {
                    batch.named.push((*section, *train));
                }
                self.answer_word(ticket, refusal);
            }
            Request::FoundEmpty { section } => {
                let refusal = self.emptiness_refusal(*section);
                if refusal.is_none() {
                    batch.emptied.push(*section);
                }
                self.answer_word(ticket, refusal);
            }
            _ => {}
        }
    }

    fn answer_word(&mut self, ticket: Ticket, refusal: Option<String>) {
        let answer = refusal.map_or(Answer::Accepted, |reason| Answer::Refused(Refusal { reason }));
        self.outputs.push(Output::Fact(Fact::Answered { ticket, answer }));
    }

    /// Why a person's word that nothing is in a section is not taken; nothing if it is.
    fn emptiness_refusal(&self, section: SectionId) -> Option<String> {
        let Some(row) = self.layout.sections.get(section) else {
            return Some("there is no such section".to_owned());
        };
        let train = self.roster.name(self.identity.must_hold(section)?);
        Some(format!("`{train}` stands in `{}`, by all that was heard; hint: say where it is, or lift it", row.name))
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
