//! Answers to wishes.

use std::sync::Arc;

use track::{AccessoryId, DistrictId, Function, SignalId, TrainId};

use super::{Conduct, Signaller};
use crate::door::{Answer, Direction, Extent, Fact, Input, Output, Protection, Refusal, Request, Ticket};
use crate::roster::Roster;
use crate::time::Time;

impl Signaller {
    /// Answers every request but those that say where a train is, and takes note of reports of border signals.
    pub(super) fn answer(&mut self, now: Time, inputs: &[Input]) {
        for input in inputs {
            match input {
                Input::SignalReported { signal, shows } if self.layout.signals.get(*signal).is_some() => {
                    self.signals.report(*signal, *shows);
                }
                Input::Requested { ticket, request } if !is_placement(request) => {
                    let answer = match self.fulfil(now, request) {
                        Ok(()) => Answer::Accepted,
                        Err(reason) => Answer::Refused(Refusal { reason }),
                    };
                    self.outputs.push(Output::Fact(Fact::Answered { ticket: *ticket, answer }));
                }
                _ => {}
            }
        }
    }

    /// Takes note of the names given at this time, before anything else needs them.
    pub(super) fn name_trains(&mut self, inputs: &[Input]) {
        if inputs.iter().any(|input| matches!(input, Input::TrainNamed { .. })) {
            self.change_roster(|roster| {
                for input in inputs {
                    if let Input::TrainNamed { train, name } = input {
                        roster.give_name(*train, name);
                    }
                }
            });
        }
    }

    /// Changes what trains are called or made of. Every stage goes by the new roster.
    pub(super) fn change_roster(&mut self, change: impl FnOnce(&mut Roster)) {
        // Nobody shares it while it changes, so that it need not be copied.
        let blank = Arc::new(Roster::default());
        self.identity.set_roster(Arc::clone(&blank));
        self.interlock.set_roster(blank);
        change(Arc::make_mut(&mut self.roster));
        self.identity.set_roster(Arc::clone(&self.roster));
        self.interlock.set_roster(Arc::clone(&self.roster));
    }

    /// Does what was wished, or says why not.
    fn fulfil(&mut self, now: Time, request: &Request) -> Result<(), String> {
        if self.conduct == Conduct::Observe {
            can_be_done_where_people_drive(request)?;
        }
        let (interlock, outputs) = (&mut self.interlock, &mut self.outputs);
        let identity = &self.identity;
        match request {
            Request::Go { train, to } => interlock.go(*train, *to, now, identity, &self.drive),
            Request::Stop { train } => interlock.stop(*train),
            Request::EmergencyStop { of } => self.emergency_stop(of, now),
            Request::CutPower { district } => self.cut_power(*district),
            Request::RestorePower { district } => self.restore_power(*district, now),
            Request::SwitchFunction { train, number, on } => self.switch_function(*train, *number, *on),
            Request::SwitchAccessory { accessory, on } => self.switch_accessory(*accessory, *on),
            Request::WorkInput { input, on } => self.work_input(*input, *on),
            Request::StopAll => {
                interlock.stop_all(now, identity, outputs);
                Ok(())
            }
            Request::ResumeAll => interlock.resume_all(now, identity, outputs),
            Request::Hold { train, reason } => interlock.hold(*train, reason, outputs),
            Request::Release { train } => interlock.release(*train, &self.identity, outputs),
            Request::TakeOver { train } => interlock.take_over(*train),
            Request::HandBack { train } => self.hand_back(*train, now),
            Request::TakeThrottle { train, protection } => self.take_throttle(*train, *protection),
            Request::SetThrottle { train, direction, step } => self.set_throttle(*train, *direction, *step),
            Request::LimitStep { train, step } => self.limit_step(*train, *step),
            Request::ForgetProfile { train } => self.forget_profile(*train),
            Request::Throw { turnout, lie } => interlock.throw(*turnout, *lie, now, identity, outputs),
            Request::SetRoute { entry, exit, via } => {
                interlock.set_route((*entry, *exit, via), now, identity, &self.signals, outputs)
            }
            Request::CancelRoute { entry } => interlock.cancel_route(*entry, now, identity, outputs),
            Request::TakeOutOfService { section, reason } => {
                interlock.take_out_of_service(*section, reason, outputs)?;
                self.changes.sections.push(*section);
                Ok(())
            }
            Request::PutInService { section } => {
                interlock.put_in_service(*section, outputs)?;
                self.changes.sections.push(*section);
                Ok(())
            }
            Request::HandRegionOver { sections, to } => {
                interlock.hand_region_over(sections, to, identity, &self.drive, outputs)?;
                self.changes.sections.extend_from_slice(sections);
                Ok(())
            }
            Request::TakeRegionBack { sections } => {
                interlock.take_region_back(sections, outputs)?;
                self.changes.sections.extend_from_slice(sections);
                Ok(())
            }
            Request::KeepAtDanger { signal, held } => self.keep_at_danger(*signal, *held),
            Request::CallOn { signal, wanted } => self.signals.call_on(*signal, *wanted),
            Request::Place { .. }
            | Request::Lift { .. }
            | Request::Identify { .. }
            | Request::FoundEmpty { .. }
            | Request::Couple { .. }
            | Request::Uncouple { .. } => Ok(()),
            Request::RollCall { train } => {
                interlock.begin_roll_call(*train, now, identity, (&self.drive, &self.signals), outputs)
            }
        }
    }

    fn switch_function(&mut self, train: TrainId, number: u8, on: bool) -> Result<(), String> {
        self.known_train(train)?;
        if number > Function::HIGHEST {
            return Err(format!(
                "there is no function {number}; hint: they are numbered from 0 to {}",
                Function::HIGHEST
            ));
        }
        self.outputs.push(Output::Function { train, number, on });
        Ok(())
    }

    fn switch_accessory(&mut self, accessory: AccessoryId, on: bool) -> Result<(), String> {
        self.layout.accessories.get(accessory).ok_or("there is no such accessory")?;
        self.outputs.push(Output::Accessory { accessory, on });
        Ok(())
    }

    fn limit_step(&mut self, train: TrainId, step: Option<u8>) -> Result<(), String> {
        let name = self.known_train(train)?;
        self.drive.limit_step(train, step).map_err(|reason| format!("`{name}` {reason}"))?;
        self.interlock.touch(train);
        Ok(())
    }

    fn forget_profile(&mut self, train: TrainId) -> Result<(), String> {
        let name = self.known_train(train)?;
        self.drive.forget_profile(train).map_err(|reason| format!("`{name}` {reason}"))
    }

    /// What a train is called, if there is such a train.
    fn known_train(&self, train: TrainId) -> Result<String, String> {
        self.roster.train(train).ok_or("there is no such train")?;
        Ok(self.roster.name(train).to_owned())
    }

    fn emergency_stop(&mut self, of: &Extent, now: Time) -> Result<(), String> {
        let trains = self.interlock.emergency(of, &self.identity, &mut self.outputs)?;
        for train in trains {
            self.drive.stop_dead(train, now, &mut self.outputs);
            // Who asks for that sees a train that may not do as it is told.
            self.identity.mistrust(train, now);
        }
        if *of == Extent::Everything {
            self.interlock.stop_all(now, &self.identity, &mut self.outputs);
        }
        Ok(())
    }

    /// Says that power is to be cut; what that means for trains was heard in this step already.
    fn cut_power(&mut self, district: DistrictId) -> Result<(), String> {
        self.detect.switched(district)?;
        self.outputs.push(Output::Power { district, live: false });
        Ok(())
    }

    fn restore_power(&mut self, district: DistrictId, now: Time) -> Result<(), String> {
        self.detect.restore(now, district)?;
        self.outputs.push(Output::Power { district, live: true });
        Ok(())
    }

    fn take_throttle(&mut self, train: TrainId, protection: Protection) -> Result<(), String> {
        self.known_train(train)?;
        self.interlock.not_by_hand(train)?;
        self.interlock.not_called(train)?;
        self.drive.take_throttle(train, protection);
        self.interlock.touch(train);
        Ok(())
    }

    fn set_throttle(&mut self, train: TrainId, direction: Direction, step: u8) -> Result<(), String> {
        let name = self.known_train(train)?;
        self.drive.set_throttle(train, direction, step).map_err(|reason| format!("`{name}` {reason}"))?;
        self.interlock.touch(train);
        Ok(())
    }

    fn hand_back(&mut self, train: TrainId, now: Time) -> Result<(), String> {
        if self.drive.give_throttle_back(train) {
            self.interlock.touch(train);
            return Ok(());
        }
        self.interlock.by_hand(train)?;
        self.identity.take_back(train, now);
        let back = self.interlock.hand_back(train, now, &self.identity, &mut self.outputs);
        if back.is_err() {
            self.identity.forget_pace(train);
        }
        back
    }

    fn keep_at_danger(&mut self, signal: SignalId, held: bool) -> Result<(), String> {
        let Some(row) = self.layout.signals.get(signal) else {
            return Err("there is no such signal".to_owned());
        };
        self.signals.keep_at_danger(signal, held);
        self.interlock.signal_changed(row.at);
        Ok(())
    }

    /// Whether a train may be placed or lifted as asked; says so to the asker. Identity is to be told only if accepted.
    pub(super) fn answer_placement(&mut self, ticket: Ticket, request: &Request) -> Answer {
        let answer = match self.placement_refusal(request) {
            Some(reason) => Answer::Refused(Refusal { reason }),
            None => Answer::Accepted,
        };
        self.outputs.push(Output::Fact(Fact::Answered { ticket, answer: answer.clone() }));
        match (&answer, request) {
            (Answer::Accepted, Request::Place { train, on, .. }) => {
                self.interlock.placed(*train, on, &mut self.outputs);
            }
            (Answer::Refused(_), Request::Place { train, on, .. }) if self.roster.train(*train).is_some() => {
                self.interlock.dispute(*train, on, &self.identity, &mut self.outputs);
            }
            (Answer::Accepted, Request::Lift { train }) => {
                self.interlock.start_anew(*train, &mut self.outputs);
                // A train that is taken off the track is nobody's any more.
                self.drive.give_throttle_back(*train);
            }
            _ => {}
        }
        answer
    }

    fn placement_refusal(&self, request: &Request) -> Option<String> {
        match request {
            // Where people drive they know better than any account who stands where.
            Request::Place { .. } if self.conduct == Conduct::Observe => None,
            Request::Place { train, on, .. } => self.interlock.placement_refusal(*train, on, &self.identity),
            _ => None,
        }
    }
}

/// Fails for what only a signaller does that is in control.
fn can_be_done_where_people_drive(request: &Request) -> Result<(), String> {
    match request {
        Request::Go { .. } | Request::RollCall { .. } => {
            Err("people drive here; the signaller only watches".to_owned())
        }
        Request::TakeOver { .. }
        | Request::HandBack { .. }
        | Request::TakeThrottle { .. }
        | Request::SetThrottle { .. }
        | Request::HandRegionOver { .. } => Err("people drive here already".to_owned()),
        _ => Ok(()),
    }
}

fn is_placement(request: &Request) -> bool {
    matches!(
        request,
        Request::Place { .. }
            | Request::Lift { .. }
            | Request::Identify { .. }
            | Request::FoundEmpty { .. }
            | Request::Couple { .. }
            | Request::Uncouple { .. }
    )
}
