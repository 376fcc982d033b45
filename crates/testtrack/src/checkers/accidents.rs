//! N0: a driven train touches another, or derails on a turnout.
//!
//! A contact is charged to a train in hand that moved when it happened. A derailment is charged unless the train is out of
//! hand. What the signaller could not know (see the excuses) is not charged, but kept as an accident that nobody could know of.

use signaller::Time;
use track::{Lie, SectionId, TrainId, TurnoutId};

use super::{Checkers, Rule, excuses};
use crate::table::Table;
use crate::truth::Happening;

/// Whether an accident is charged.
enum Verdict {
    Charged,
    /// Nobody could know of it, because of this.
    Excused(&'static str),
}

pub(super) fn happened(checkers: &mut Checkers, at: Time, happening: Happening, table: &Table) {
    let (train, section, sentence, verdict) = match happening {
        Happening::Derailed { train, turnout, section } => {
            let (name, points) = (table.body_name(train), &checkers.layout.turnouts[turnout].name);
            let verdict = derailed(table, train, turnout, section, at);
            (train, section, format!("{name} derailed on {points}, which lay wrong or moved"), verdict)
        }
        Happening::Collided { train, with, section } => {
            let (name, other) = (table.body_name(train), table.body_name(with));
            let verdict = touched(checkers, table, (train, with), section, at);
            (train, section, format!("{name} touched {other} in {}", checkers.section_name(section)), verdict)
        }
        Happening::Faulted { .. } | Happening::Entered { .. } | Happening::HitBuffer { .. } => return,
    };
    match verdict {
        Verdict::Charged => checkers.report(at, Rule::N0, Some(train), Some(section), sentence),
        Verdict::Excused(because) => checkers.excuse(at, Rule::N0, train, section, format!("{sentence}; {because}")),
    }
}

fn derailed(table: &Table, train: TrainId, turnout: TurnoutId, section: SectionId, at: Time) -> Verdict {
    if table.is_out_of_hand(train, at) {
        return Verdict::Excused("it was out of hand");
    }
    let needed: Vec<Lie> = table.needed_lies(train, section, turnout);
    if !needed.is_empty() && needed.into_iter().all(|lie| excuses::lies_unknown(table, turnout, lie, at)) {
        return Verdict::Excused("nobody could know how the turnout lay");
    }
    Verdict::Charged
}

fn touched(
    checkers: &Checkers,
    table: &Table,
    (one, other): (TrainId, TrainId),
    section: SectionId,
    at: Time,
) -> Verdict {
    let mut excuse = "no train in hand moved";
    for (driven, body) in [(one, other), (other, one)] {
        if table.speed_before(driven) == 0 || table.is_out_of_hand(driven, at) {
            continue;
        }
        if excuses::came_right_in_front(checkers, table, driven, body, section, at) {
            excuse = "it came there out of hand a moment before";
        } else if excuses::nobody_could_see(checkers, table, body, section, Some(driven), at) {
            excuse = "no report showed that it was there, and nobody drove it there";
        } else {
            return Verdict::Charged;
        }
    }
    Verdict::Excused(excuse)
}
