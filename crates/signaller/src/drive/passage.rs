//! Timing a train from joint to joint.

use std::time::Duration;

use track::{EndId, Layout, Length};

use super::learned::Timed;
use super::motion::Motion;
use crate::identity::{LATE, MEASURED_WITHIN, Whereabouts};
use crate::time::Time;

/// A passage is timed over so many sections at most: what it teaches should not be old news.
const SECTIONS: i64 = 3;

/// The joint that a nose was heard to cross last, and the one that it is timed from.
#[derive(Clone, Copy, Debug, Default, serde::Serialize, serde::Deserialize)]
pub(super) struct Passage {
    crossed: Option<Joint>,
    from: Option<Start>,
}

#[derive(Clone, Copy, Debug, serde::Serialize, serde::Deserialize)]
struct Joint {
    enter: EndId,
    heard_at: Time,
    on_delay: Duration,
    /// Whether the report of the crossing came just then; not so where the train was only found there, or no detector sees it.
    is_timed: bool,
}

#[derive(Clone, Copy, Debug, serde::Serialize, serde::Deserialize)]
struct Start {
    joint: Joint,
    length: Length,
    sections: i64,
}

impl Passage {
    /// Takes note of where the nose is; tells how fast it ran, where a steady passage ends with this.
    pub(super) fn follow(&mut self, layout: &Layout, stand: &Whereabouts, motion: &Motion, now: Time) -> Option<Timed> {
        let enter = stand.footprint.last().and_then(|hold| hold.enter).filter(|_| stand.sure);
        let Some(enter) = enter else {
            *self = Self::default();
            return None;
        };
        if self.crossed.is_some_and(|joint| joint.enter == enter) {
            return None;
        }
        let detector = layout.sections[layout.ends[enter].section].detector.map(|it| &layout.detectors[it]);
        let on_delay = detector.map_or(Duration::ZERO, |detector| detector.on_delay);
        // That it went into a dark section is heard from its tail, when its nose is far beyond the joint.
        let is_timed = self.crossed.is_some() && detector.is_some();
        let before = self.crossed.replace(Joint { enter, heard_at: now, on_delay, is_timed });
        let steady = |joint: &Joint| {
            joint.is_timed && motion.is_steady_since(joint.heard_at - (joint.on_delay + LATE)) && detector.is_some()
        };
        let from = self.from.take();
        let before = before.filter(steady)?;
        let length = length_between(layout, before.enter, enter)?;
        let start = match from.filter(|from| steady(&from.joint) && from.sections < SECTIONS) {
            Some(from) => Start { length: from.length + length, sections: from.sections + 1, ..from },
            None => Start { joint: before, length, sections: 1 },
        };
        self.from = Some(start);
        let (heard, began) = (now.since(start.joint.heard_at), start.joint.on_delay);
        Some(Timed {
            length: start.length,
            length_within: MEASURED_WITHIN.scaled(start.sections, 1),
            least: (heard + began).saturating_sub(on_delay + LATE),
            most: (heard + began + LATE).saturating_sub(on_delay),
        })
    }
}

/// How far it is from one entry to the next.
pub(super) fn length_between(layout: &Layout, from: EndId, to: EndId) -> Option<Length> {
    let section = layout.ends[from].section;
    let leave = layout.ends[to].meets.iter().copied().find(|&end| layout.ends[end].section == section)?;
    layout.ways[layout.way_between(from, leave)?].length
}
