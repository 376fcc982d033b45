//! N5: a signal shows better than the true state of the track ahead allows.
//!
//! A signal vouches for the track behind it up to the next signal that faces the same way. Anything better than red needs
//! every turnout on it to lie right and none of it to be covered by a train; anything better than yellow needs the next signal
//! to show better than red, so at the end of the track, or at the edge of the layout, yellow is the best. Common practice, no
//! source.
//!
//! Reports are late: a train that rolled in is forgiven for the detector's on-delay and the lateness of its report. A train
//! that lies across the signal itself with its nose beyond is running past it, and nobody can know before a detector sees some
//! of it beyond: for this one the time counts from there. A tail across the signal is known, for its nose was seen. Behind a junction that nobody works and nobody reports there is no true state to judge by.

use std::time::Duration;

use signaller::{Aspect, Time};
use track::{EndId, SectionId, SignalId, TrainId};

use super::{Breach, Checkers, Found, excuses};
use crate::table::Table;

const YELLOW: Aspect = Aspect(1);

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
            let sentence = format!("{name} shows {}, {because}", if aspect == YELLOW { "yellow" } else { "green" });
            found.push(Found { breach: Breach::Signal(signal, aspect), train, section, sentence });
        }
    }
}

fn fault(checkers: &Checkers, now: Time, signal: SignalId, aspect: Aspect, table: &Table) -> Option<Fault> {
    let layout = &checkers.layout;
    let at = layout.signals[signal].at;
    let mut leave = at;
    for _ in 0..=layout.sections.len() {
        let enter = match layout.ends[leave].meets[..] {
            [] => return (aspect > YELLOW).then(|| track_ends(checkers, leave)),
            [enter] => enter,
            _ => return None,
        };
        let section = layout.ends[enter].section;
        if let Some(train) = obstacle(checkers, now, at, section, table) {
            let because = format!("but {} is in {}", table.body_name(train), layout.sections[section].name);
            return Some(Fault { train: Some(train), section: Some(section), because });
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
        if let Some(next) = layout.ends[leave].signal {
            let red = checkers.said.aspects[next] == Aspect::STOP;
            let because = format!("but {} shows red", layout.signals[next].name);
            return (red && aspect > YELLOW).then_some(Fault { train: None, section: Some(section), because });
        }
    }
    None
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
        !excuses::nobody_could_see(table, presence.train, section, None, now)
            && !excuses::nobody_said_it_had_come(checkers, table, presence.train, section)
    });
    let mut obstacles = seen.filter(|presence| match table.running_past(presence.train, at) {
        Some(said_at) => said_at.is_some_and(|at| now.since(at) > checkers.lateness),
        None => known(presence.since),
    });
    obstacles.next().map(|presence| presence.train)
}
