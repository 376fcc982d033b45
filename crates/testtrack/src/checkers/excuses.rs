//! What the signaller could not know, and so is not charged with. One function an excuse, each as narrow as it can be.
//!
//! Messages that are lost, detectors that lie, sections that go dark and trains that stall excuse nothing by themselves: the
//! signaller must not trust them further than they deserve.

use std::time::Duration;

use signaller::Time;
use track::{Lie, SectionId, TrainId, TurnoutId};

use super::Checkers;
use crate::table::Table;

/// *Nobody could see it*: what is in the section came there out of hand, and is still out of hand; and the last report that was
/// delivered says that the section is free, or no detector watches it.
///
/// A report that says occupied is no excuse, whatever it is about, but for one that came when `driven` itself, which runs into
/// the section, was there already.
pub(super) fn nobody_could_see(
    table: &Table,
    body: TrainId,
    section: SectionId,
    driven: Option<TrainId>,
    at: Time,
) -> bool {
    if !table.is_out_of_hand(body, at) || !table.came_out_of_hand(body, section) {
        return false;
    }
    let own = driven.and_then(|train| table.present_since(train, section));
    match (table.told_occupied_since(section), own) {
        (None, _) => true,
        (Some(told), Some(own)) => told >= own,
        (Some(_), None) => false,
    }
}

/// *It came right in front*: what is in the section came there out of hand, or went out of hand there, no longer ago than a
/// report of it takes, an order takes, and the driven train needs to brake from the speed that it had.
pub(super) fn came_right_in_front(
    checkers: &Checkers,
    table: &Table,
    driven: TrainId,
    body: TrainId,
    section: SectionId,
    at: Time,
) -> bool {
    if !table.is_out_of_hand(body, at) {
        return false;
    }
    let detector = checkers.layout.sections[section].detector;
    let on_delay = detector.map_or(Duration::ZERO, |it| checkers.layout.detectors[it].on_delay);
    let brakes = table.braking_time(driven, table.speed_before(driven), checkers.order_delay);
    let answer = on_delay + checkers.lateness + checkers.order_delay + brakes;
    let came = table.present_since(body, section).filter(|_| table.came_out_of_hand(body, section));
    let since = came.max(table.out_of_hand_since(body));
    since.is_some_and(|since| at.since(since) <= answer)
}

/// *The turnout lies otherwise than anybody knows*: it was ordered to lie so, it does not, and what was reported since says that
/// it does; or it reports nothing, and the time is over that it may take to move.
pub(super) fn lies_unknown(table: &Table, turnout: TurnoutId, needed: Lie, at: Time) -> bool {
    table.ordered_lie(turnout).is_some_and(|(ordered, _)| ordered == needed) && table.lies_unknown(turnout, at)
}

/// *A person named it wrongly*: the last thing that a person said of where the train is was not so when they said it.
pub(super) fn was_named_wrongly(checkers: &Checkers, train: TrainId) -> bool {
    checkers.misnamed.contains(&train)
}
