//! Whether a train that was told to go shows itself where it must be by now.
//!
//! By the least it can have run since its nose came into a section, it must have left that section at some time, and the next
//! one must say so. If it does not, the train has stalled, or a report is missing: either way nobody knows where the nose is.

use std::time::Duration;

use track::{EndId, Layout, Length, SectionId};

use super::motion::Motion;
use crate::identity::{LATE, MEASURED_WITHIN, Whereabouts};
use crate::interlock::Authority;

/// A train is overdue when it must be so far beyond the joint. Common practice, no source.
const SLACK: Length = Length::from_mm(50);

/// A way that nobody measured is no longer than this. Common practice, no source: generous for a table.
const UNMEASURED: Length = Length::from_mm(12_000);

/// Where the nose came in last, and how far the train had surely run by then.
#[derive(Clone, Copy, Debug, Default, serde::Serialize, serde::Deserialize)]
pub(super) struct Answer {
    nose: Option<(SectionId, Option<EndId>)>,
    from: Length,
    /// It did not answer there before: it is given the whole way again.
    is_known: bool,
}

/// A train that does not answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Missing {
    /// Where its nose was seen last.
    pub(super) nose: SectionId,
    /// Where it should be by now.
    pub(super) next: SectionId,
}

impl Answer {
    /// Takes note of where the nose is; tells where it should have shown itself by now, if it did not.
    pub(super) fn follow(
        &mut self,
        layout: &Layout,
        stand: &Whereabouts,
        motion: &Motion,
        authority: &Authority<'_>,
    ) -> Option<Missing> {
        let hold = stand.footprint.last()?;
        let nose = Some((hold.section, hold.enter));
        if self.nose != nose || !stand.sure {
            *self = Self { nose, from: motion.surely_run(), is_known: false };
            return None;
        }
        if motion.step == 0 {
            return None;
        }
        let (next, room) = next_to_answer(layout, authority)?;
        if stand.footprint.iter().any(|hold| hold.section == next) {
            return None;
        }
        let on_delay = layout.sections[next].detector.map_or(Duration::ZERO, |it| layout.detectors[it].on_delay);
        let meanwhile = motion.pace().most.distance_in(on_delay + LATE);
        let contradicts = !self.is_known && stand.nose.is_some_and(|nose| nose.overdue || nose.least > nose.most);
        if !contradicts && motion.surely_run() - self.from <= room + SLACK + meanwhile {
            return None;
        }
        (self.from, self.is_known) = (motion.surely_run(), true);
        Some(Missing { nose: hold.section, next })
    }
}

/// The next section on the train's way that has a detector, and how far it is to there at most from where the nose came in.
fn next_to_answer(layout: &Layout, authority: &Authority<'_>) -> Option<(SectionId, Length)> {
    let length_of = |place: usize| {
        let way = layout.ways[authority.granted[place].way].length;
        way.map_or(UNMEASURED, |length| length + MEASURED_WITHIN)
    };
    let mut room = Length::ZERO;
    for place in authority.nose..authority.end.checked_sub(1)? {
        room += length_of(place);
        let next = authority.granted[place + 1].section;
        if !layout.is_dark(next) {
            return Some((next, room));
        }
    }
    None
}
