//! Answers to wishes.

use super::Signaller;
use crate::door::{Answer, Fact, Input, Output, Request, Ticket};
use crate::time::Time;

impl Signaller {
    /// Answers every request but those to place or lift a train, and takes note of reports that only concern turnouts and
    /// border signals.
    pub(super) fn answer(&mut self, now: Time, inputs: &[Input]) {
        let _ = (now, inputs);
    }

    /// Whether a train may be placed or lifted as asked; says so to the asker. Identity is to be told only if accepted.
    pub(super) fn answer_placement(&mut self, ticket: Ticket, request: &Request) -> Answer {
        let _ = request;
        let answer = Answer::Accepted;
        self.outputs.push(Output::Fact(Fact::Answered { ticket, answer: answer.clone() }));
        answer
    }
}
