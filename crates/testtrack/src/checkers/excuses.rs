//! What the signaller could not know, and so is not charged with. One function an excuse, each as narrow as it can be.
//!
//! Messages that are lost, detectors that lie, sections that go dark and trains that stall excuse nothing by themselves: the
//! signaller must not trust them further than they deserve.

use std::time::Duration;

use signaller::Time;
use track::{Lie, SectionId, TrainId, TurnoutId};

use super::Checkers;
use crate::faults::Fault;
use crate::mishaps::Mishap;
use crate::settings::TICK;
use crate::table::Table;

/// Detectors have settled so long after the power is back, or nobody believes any more that they will. Common practice, no source.
const SETTLING: Duration = Duration::from_secs(12);

/// *Nobody could see it*: what is in the section came there out of hand, and is still out of hand; and the last report that was
/// delivered says that the section is free, or no detector watches it.
///
/// A report that says occupied is no excuse, whatever it is about, but for one that came when `driven` itself was there already:
/// it runs into the section, or left it no longer ago than a report of that takes.
pub(super) fn nobody_could_see(
    checkers: &Checkers,
    table: &Table,
    body: TrainId,
    section: SectionId,
    driven: Option<TrainId>,
    at: Time,
) -> bool {
    if !table.is_out_of_hand(body, at) || !table.came_out_of_hand(body, section) {
        return false;
    }
    let was_there = |train| was_there_a_moment_ago(checkers, table, train, section, at);
    let own = driven.and_then(|train| table.present_since(train, section).or_else(|| was_there(train)));
    match (table.told_occupied_since(section), own) {
        (None, _) => true,
        (Some(told), Some(own)) => told >= own,
        (Some(_), None) => false,
    }
}

/// Since when a train was in a section that it left no longer ago than a report of that takes.
fn was_there_a_moment_ago(
    checkers: &Checkers,
    table: &Table,
    train: TrainId,
    section: SectionId,
    at: Time,
) -> Option<Time> {
    let departure = table.departure(train, section)?;
    (at.since(departure.left) <= checkers.emptying_takes(section)).then_some(departure.came)
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

/// *No report said that it had gone*: nothing stands in the section, the last report that was delivered says that something does,
/// or said otherwise no longer ago than the signaller keeps that back, or the train was taken off the table where no detector
/// watches or the power is off; and the train was the last to leave it. Nobody is taken for anybody else.
pub(super) fn nobody_said_it_had_gone(
    table: &Table,
    train: TrainId,
    section: SectionId,
    kept_back: Duration,
    at: Time,
) -> bool {
    let is_unwatched =
        || table.layout().sections[section].detector.is_none() || table.is_told_dark(section, SETTLING, at);
    table.trains_in(section).is_empty()
        && (table.is_told_filled(section)
            || is_told_freed_just_now(table, section, kept_back, at)
            || !table.is_on_table(train) && is_unwatched()
            || is_frozen(table, section, kept_back, at))
        && table.last_to_leave(section) == Some(train)
}

/// Whether the last report says that the section is free, no longer ago than the signaller keeps that back.
fn is_told_freed_just_now(table: &Table, section: SectionId, kept_back: Duration, at: Time) -> bool {
    table.told_freed_at(section).is_some_and(|freed| at.since(freed) <= kept_back + 2 * TICK)
}

/// Whether the power went in a section before what was reported there then had to be heard, and is not back for so long that
/// detectors have settled: all stays as it was said to be.
fn is_frozen(table: &Table, section: SectionId, kept_back: Duration, at: Time) -> bool {
    let Some(freed) = table.told_freed_at(section) else { return false };
    let district = table.layout().sections[section].district;
    let is_dark = |mishap: &&Mishap| matches!(mishap.fault, Fault::DarkSaysFree | Fault::DarkSaysOccupied);
    district.is_some()
        && table.mishaps().iter().filter(is_dark).any(|mishap| {
            let lasts = mishap.until.is_none_or(|until| at <= until + SETTLING);
            mishap.district == district && mishap.at <= freed + kept_back && lasts
        })
}

/// *Something filled the detector just before it*: nothing stands in the section, the last report that was delivered says that
/// something does, or said otherwise no longer ago than the signaller keeps that back, and the train covers a section next to it.
/// Nobody is taken for anybody else.
pub(super) fn something_filled_it_just_before(
    checkers: &Checkers,
    table: &Table,
    train: TrainId,
    section: SectionId,
    kept_back: Duration,
    at: Time,
) -> bool {
    let ends = checkers.layout.sections[section].ends.iter();
    let mut next_to_it = ends.flat_map(|&end| &checkers.layout.ends[end].meets);
    table.trains_in(section).is_empty()
        && (table.is_told_filled(section)
            || is_told_freed_just_now(table, section, kept_back, at)
            || is_frozen(table, section, kept_back, at))
        && next_to_it.any(|&end| table.covers(train, checkers.layout.ends[end].section))
}

/// *Another came in unseen*: something came into the section out of hand when the last report that was delivered had said already
/// that the section is filled, so that nothing told of it, and nothing that it left since was told to be free; and the train was the
/// last to leave the section, and covers one next to it, or left one a moment ago.
pub(super) fn another_came_in_unseen(
    checkers: &Checkers,
    table: &Table,
    train: TrainId,
    section: SectionId,
    at: Time,
) -> bool {
    let there = table.trains_in(section);
    let is_unseen = |body: TrainId| {
        let came = table.present_since(body, section);
        let was_told = table.told_occupied_since(section).zip(came).is_some_and(|(told, came)| told <= came);
        let tells = |other: &SectionId| {
            let left = table.departure(body, *other).map(|departure| departure.left);
            let told = table.told_freed_at(*other);
            left.zip(told).zip(came).is_some_and(|((left, told), came)| told >= left && left >= came)
        };
        table.came_out_of_hand(body, section) && was_told && !checkers.layout.sections.ids().any(|it| tells(&it))
    };
    let ends = checkers.layout.sections[section].ends.iter();
    let mut next_to_it =
        ends.flat_map(|&end| &checkers.layout.ends[end].meets).map(|&end| checkers.layout.ends[end].section);
    let is_near = |other: SectionId| {
        let left = || table.left_at(train, other).is_some_and(|left| at.since(left) <= checkers.emptying_takes(other));
        table.covers(train, other) || left()
    };
    !there.is_empty()
        && there.iter().all(|presence| is_unseen(presence.train))
        && table.last_to_leave(section) == Some(train)
        && next_to_it.any(is_near)
}

/// *No report said that it had come*: the train was granted the section and went there as it was told, and the last report that
/// was delivered says that the section is free. Where no detector watches it, the same of the last section on the train's way that
/// has one, if it stands there still.
pub(super) fn nobody_said_it_had_come(checkers: &Checkers, table: &Table, body: TrainId, section: SectionId) -> bool {
    let is_unheard = |section: SectionId| {
        checkers.said.authority[section].contains(&body)
            && table.told_occupied_since(section).is_none()
            && checkers.layout.sections[section].detector.is_some()
    };
    if checkers.layout.sections[section].detector.is_some() {
        return is_unheard(section);
    }
    let came = table.present_since(body, section);
    let on = table.footprint(body);
    let before = on
        .iter()
        .copied()
        .filter(|&other| checkers.layout.sections[other].detector.is_some() && table.present_since(body, other) < came);
    let last = before.max_by_key(|&other| table.present_since(body, other));
    checkers.said.authority[section].contains(&body) && last.is_some_and(is_unheard)
}

/// *A person named it wrongly*: the last thing that a person said of where the train is was not so when they said it.
pub(super) fn was_named_wrongly(checkers: &Checkers, train: TrainId) -> bool {
    checkers.misnamed.contains(&train)
}
