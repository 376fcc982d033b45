//! Sections that a train passes before their detector speaks, and stopping places that are too short for it.

use super::Runner;
use crate::graph::Traverse;
use crate::ids::{EndId, SectionId, StopId};
use crate::layout::{Beyond, Layout};
use crate::units::{Length, Speed};

/// A section that is too short for how late its detector speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Overtaken {
    /// The section.
    pub section: SectionId,
    /// The speed that is too high.
    pub speed: Speed,
    /// How much longer it would have to be.
    pub short: Length,
    /// The highest speed at which it is long enough; nothing where it is too short at any.
    pub cured_at: Option<Speed>,
    /// The whole train may have passed before anything was said; else its nose has left at the far end.
    pub unseen: bool,
}

/// The sections that a train can leave before their detectors have said that it came, at the speed it may have there.
/// Detectors that speak at once are as good as can be.
pub fn overtaken<'l>(layout: &'l Layout, runner: &Runner<'l>) -> Vec<Overtaken> {
    let mut found = Vec::new();
    for (section, described) in layout.sections.iter() {
        let Some(detector) = described.detector.map(|detector| &layout.detectors[detector]) else { continue };
        let delay = detector.on_delay;
        let worst = described.ways.iter().filter_map(|&way| {
            let way = &layout.ways[way];
            let speed = way.limit.map_or(runner.top, |limit| limit.min(runner.top));
            Some((speed.distance_in(delay) - way.length?, speed, way.length?))
        });
        let Some((_, speed, length)) = worst.max_by_key(|(over, ..)| *over).filter(|_| !delay.is_zero()) else {
            continue;
        };
        let run_on = speed.distance_in(delay);
        let seen = span_seen(runner, length);
        let unseen = run_on > length + seen;
        let short = if unseen { run_on - length - seen } else { run_on + runner.blind() - length };
        if short > Length::ZERO {
            let room = if unseen { length + seen } else { length - runner.blind() };
            let cured_at = (room > Length::ZERO).then(|| speed_over(room, delay));
            found.push(Overtaken { section, speed, short, cured_at, unseen });
        }
    }
    found
}

/// How much of a train is sure to be seen in one piece over so much track: from its first to its last axle that a detector
/// sees, or of its shortest such vehicle where there are gaps as long as the track.
fn span_seen(runner: &Runner<'_>, over: Length) -> Length {
    let train = runner.described;
    if train.blind_gap() < over {
        let whole = train.length().map(|length| length - train.blind_front() - train.blind_rear());
        return whole.unwrap_or(Length::ZERO).max(Length::ZERO);
    }
    let spans = train.vehicles.iter().filter_map(|vehicle| vehicle.detectable).map(|(first, last)| last - first);
    spans.min().unwrap_or(Length::ZERO)
}

fn speed_over(room: Length, time: std::time::Duration) -> Speed {
    let nanoseconds = time.as_nanos().clamp(1, i64::MAX as u128) as i64;
    Speed::from_um(room.scaled(1_000_000_000, nanoseconds).um())
}

/// What the tail of a train is in the way of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Tail {
    /// It stands among the turnouts of this section.
    Fouls(SectionId),
    /// The track behind it ends here.
    NoTrack(EndId),
}

/// A stopping place that is too short for a train.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Squeeze {
    /// The stopping point.
    pub stop: StopId,
    /// What its tail is in the way of.
    pub tail: Tail,
    /// How much track there is from the stopping point back to that.
    pub room: Length,
    /// How much more there would have to be.
    pub short: Length,
}

/// The stopping points at which a train of known length stands too long. Of several tracks behind one that with least room
/// counts.
pub fn squeezes<'l>(layout: &'l Layout, runner: &Runner<'l>) -> Vec<Squeeze> {
    let Some(length) = runner.described.length() else { return Vec::new() };
    let squeeze = |stop| {
        let short = layout.stands_short(stop, Some(length));
        let (tail, room) = room_behind(layout, stop, (length, short))?;
        (room < length).then(|| Squeeze { stop, tail, room, short: length - room })
    };
    layout.stops.ids().filter_map(squeeze).collect()
}

/// The least room from the end that a stopping point is measured from back to turnouts or to the end of the track; nothing where
/// that is farther away than any train is long.
pub(crate) fn room_to_turnouts(layout: &Layout, stop: StopId) -> Option<Length> {
    room_behind(layout, stop, (LONGEST, Length::ZERO)).map(|(_, room)| room)
}

/// No train is longer.
const LONGEST: Length = Length::from_mm(20_000);

/// The least room behind a stopping point up to turnouts or the end of the track, as far as a train of that length reaches.
fn room_behind(layout: &Layout, stop: StopId, (length, short): (Length, Length)) -> Option<(Tail, Length)> {
    let point = &layout.stops[stop];
    if layout.sections[point.section].ways.len() > 1 {
        // Whoever stops among turnouts is in somebody's way, and knows it.
        return None;
    }
    let back = |from: EndId| {
        layout.ways_from(from).map(move |(way, leave)| Traverse {
            section: layout.ends[from].section,
            enter: from,
            way,
            leave,
        })
    };
    let mut open: Vec<(Traverse, Length)> = back(point.towards).map(|passage| (passage, -short)).collect();
    let mut least: Option<(Tail, Length)> = None;
    let mut passed = vec![point.section];
    while let Some((passage, so_far)) = open.pop() {
        let Some(room) = layout.ways[passage.way].length.map(|length| so_far + length) else { continue };
        if room >= length {
            continue;
        }
        let end = &layout.ends[passage.leave];
        let mut limited_by = |tail| {
            if least.is_none_or(|(_, known)| room < known) {
                least = Some((tail, room));
            }
        };
        if end.beyond == Beyond::BufferStop {
            limited_by(Tail::NoTrack(passage.leave));
        }
        for &met in &end.meets {
            let section = layout.ends[met].section;
            if layout.sections[section].ways.len() > 1 {
                limited_by(Tail::Fouls(section));
            } else if !passed.contains(&section) {
                passed.push(section);
                open.extend(back(met).map(|passage| (passage, room)));
            }
        }
    }
    least
}
