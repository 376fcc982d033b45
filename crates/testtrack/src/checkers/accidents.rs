//! N0: a driven train touches another, or derails on a turnout. Every train on the table is driven.

use signaller::Time;

use super::{Checkers, Rule};
use crate::truth::Happening;

pub(super) fn happened(checkers: &mut Checkers, at: Time, happening: Happening) {
    let (train, section, sentence) = match happening {
        Happening::Derailed { train, turnout, section } => {
            let (name, turnout) = (checkers.train_name(train), &checkers.layout.turnouts[turnout].name);
            (train, section, format!("{name} derailed on {turnout}, which lay wrong or moved"))
        }
        Happening::Collided { train, with, section } => {
            let (name, other) = (checkers.train_name(train), checkers.train_name(with));
            (train, section, format!("{name} touched {other} in {}", checkers.section_name(section)))
        }
        Happening::Faulted { .. } | Happening::Entered { .. } | Happening::HitBuffer { .. } => return,
    };
    checkers.report(at, Rule::N0, Some(train), Some(section), sentence);
}
