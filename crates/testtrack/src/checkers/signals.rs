//! N5: a signal shows better than the true state of the track ahead allows.
//!
//! A main signal vouches for the track behind it up to the next one that faces the same way. Anything better than stop
//! needs every turnout on it to lie right; whatever lets trains run otherwise than on sight needs none of it, nor of
//! the overlap behind the next signal, to be covered by a train; and what is foretold of the next signal must be so. At
//! the end of the track, at the edge of the layout, and where a route that was set is over, that is a stop. What aspects
//! mean is said by the layout's books, and judged here without asking their rules. Common practice, no source.
//!
//! Reports are late: a train that rolled in is forgiven for the detector's on-delay and the lateness of its report. A
//! train that lies across the signal itself with its nose beyond is running past it, and nobody can know before a
//! detector sees some of it beyond: for this one the time counts from there. A tail across the signal is known, for its
//! nose was seen. Behind a junction that nobody works and nobody reports there is no true state to judge by.

use std::time::Duration;

use signaller::{Aspect, Time};
use track::{AspectRow, EndId, Expect, Overlap, Pass, Role, SectionId, SignalId, TrainId};

use super::{Breach, Checkers, Found, excuses};
use crate::table::Table;

/// Why a signal should not show what it shows.
struct Fault {
    train: Option<TrainId>,
    section: Option<SectionId>,
    because: String,
}

pub(super) fn judge(checkers: &Checkers, now: Time, table: &Table, found: &mut Vec<Found>) {
    for (signal, &aspect) in checkers.said.aspects.iter() {
        if aspect == Aspect::STOP {
            continue;
        }
        if let Some(fault) = fault(checkers, now, signal, aspect, table) {
            let (name, Fault { train, section, because }) = (&checkers.layout.signals[signal].name, fault);
            let shows = checkers.layout.book_of(signal).name(aspect).unwrap_or("what it cannot show");
            let sentence = format!("{name} shows {shows}, {because}");
            found.push(Found { breach: Breach::Signal(signal, aspect), train, section, sentence });
        }
    }
}

fn fault(checkers: &Checkers, now: Time, signal: SignalId, aspect: Aspect, table: &Table) -> Option<Fault> {
    let layout = &checkers.layout;
    let book = layout.book_of(signal);
    let at = layout.signals[signal].at;
    let Some(row) = book.row(aspect) else {
        return Some(Fault { train: None, section: None, because: "which its book does not have".to_owned() });
    };
    let vouches = book.role() == Role::Main;
    let mut leave = at;
    for _ in 0..=layout.sections.len() {
        let enter = match layout.ends[leave].meets[..] {
            [] => return is_too_good(row, Pass::Stop).then(|| track_ends(checkers, leave)),
            [enter] => enter,
            _ => return None,
        };
        let section = layout.ends[enter].section;
        if vouches
            && row.pass.is_proceed()
            && let Some(fault) = layout.sections[section]
                .crosses
                .iter()
                .chain([&section])
                .find_map(|&section| stands_in(checkers, now, at, section, table))
        {
            return Some(fault);
        }
        // Where a turnout lies otherwise than anybody knows, nobody knows what track is ahead.
        if table.unknown_way(enter, now) {
            return None;
        }
        let Some((_, beyond)) = table.way_through(enter) else {
            let turnout = table.wrong_turnout(enter).map_or("the track", |turnout| &layout.turnouts[turnout].name);
            let because = format!("but {turnout} lies wrong in {}, or moves", layout.sections[section].name);
            return Some(Fault { train: None, section: Some(section), because });
        };
        leave = beyond;
        if let Some(next) = layout.main_signal(leave) {
            if vouches
                && row.pass.is_proceed()
                && let Some(fault) = in_overlap(checkers, now, at, next, table)
            {
                return Some(fault);
            }
            let shows = checkers.said.aspects[next];
            let because = || {
                format!(
                    "but {} shows {}",
                    layout.signals[next].name,
                    layout.book_of(next).name(shows).unwrap_or("nothing")
                )
            };
            let too_good = is_too_good(row, layout.book_of(next).pass(shows));
            return too_good.then(|| Fault { train: None, section: Some(section), because: because() });
        }
        // A route to a stopping point is over there, and so is what its signal vouches for.
        if vouches && checkers.said.wishes.stops_at(layout, signal) == Some(leave) {
            return is_too_good(row, Pass::Stop).then(|| track_ends(checkers, leave));
        }
    }
    None
}

/// Whether more is foretold than a signal keeps that is passed so.
fn is_too_good(row: &AspectRow, next: Pass) -> bool {
    row.pass.is_proceed() && !row.expect.unwrap_or(Expect::Stop).is_kept_by(next)
}

/// A train in the section, of which the signaller should know.
fn stands_in(checkers: &Checkers, now: Time, at: EndId, section: SectionId, table: &Table) -> Option<Fault> {
    let train = obstacle(checkers, now, at, section, table)?;
    let because = format!("but {} is in {}", table.body_name(train), checkers.layout.sections[section].name);
    Some(Fault { train: Some(train), section: Some(section), because })
}

/// A train in the overlap behind a signal. Only of overlaps that list their sections: where a length ends is another
/// question.
fn in_overlap(checkers: &Checkers, now: Time, at: EndId, next: SignalId, table: &Table) -> Option<Fault> {
    let Overlap::Sections(sections) = &checkers.layout.signals[next].overlap else { return None };
    sections.iter().find_map(|&section| stands_in(checkers, now, at, section, table))
}

fn track_ends(checkers: &Checkers, leave: EndId) -> Fault {
    let because = format!("but nothing is known beyond {}", checkers.layout.end_name(leave));
    Fault { train: None, section: None, because }
}

/// A train in the section that should be known by now.
fn obstacle(checkers: &Checkers, now: Time, at: EndId, section: SectionId, table: &Table) -> Option<TrainId> {
    let detector = checkers.layout.sections[section].detector;
    let on_delay = detector.map_or(Duration::ZERO, |it| checkers.layout.detectors[it].on_delay);
    let known = |since: Time| now.since(since) > on_delay + checkers.lateness;
    let presences = table.trains_in(section).iter().filter(|presence| table.stands_in(presence.train, section));
    let seen = presences.filter(|presence| {
        !excuses::nobody_could_see(checkers, table, presence.train, section, None, now)
            && !excuses::nobody_said_it_had_come(checkers, table, presence.train, section)
    });
    let mut obstacles = seen.filter(|presence| match table.running_past(presence.train, at) {
        Some(said_at) => said_at.is_some_and(|at| now.since(at) > checkers.lateness),
        None => known(presence.since),
    });
    obstacles.next().map(|presence| presence.train)
}
