//! A person says that a train stands on track that another one has and has not come to yet.
//!
//! The word is refused, for nobody may take granted track from a train that runs. But whoever says so sees something in its way: it
//! stops at once, its signals count as not cleared, it gives back what lies ahead of it once it stands, and is held until somebody
//! places or lifts the train that was spoken of, or releases this one.

use smallvec::SmallVec;
use track::{SectionId, TrainId};

use super::{HoldKind, Interlock};
use crate::door::{Output, Tag};
use crate::picture::Picture;

impl Interlock {
    /// Stops whoever has one of these sections ahead of it, in which somebody says that `train` stands.
    pub(crate) fn dispute(
        &mut self,
        train: TrainId,
        on: &[SectionId],
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) {
        for &section in on {
            let Some(other) = self.granted_to[section].filter(|&other| other != train) else { continue };
            if picture.tag(section) == Tag::Sure(other) || self.is_driven_by_hand(other) {
                continue;
            }
            let (said, place) = (self.name(train), &self.layout.sections[section].name);
            let reason = format!("somebody says that `{said}` is in `{place}`, which it has; see to it and release it");
            self.set_hold(other, HoldKind::Disputed, reason, outputs);
            let run = &mut self.runs[other];
            (run.disputed_by, run.must_stand) = (Some(train), true);
            self.stop_dead(other);
            self.look_at_signals_of(other);
        }
    }

    /// It is clear where `train` is: it is nowhere else any more.
    pub(super) fn settle_disputes(&mut self, train: TrainId, outputs: &mut Vec<Output>) {
        let held: SmallVec<[TrainId; 2]> =
            self.runs.iter().filter(|(_, run)| run.disputed_by == Some(train)).map(|(other, _)| other).collect();
        for other in held {
            self.runs[other].disputed_by = None;
            self.lift_hold(other, HoldKind::Disputed, outputs);
            self.look_at_signals_of(other);
        }
    }

    /// Whether somebody says that another train stands on track that this one has ahead of it.
    pub(super) fn is_disputed(&self, train: TrainId) -> bool {
        self.runs.get(train).is_some_and(|run| run.holds.has(HoldKind::Disputed))
    }
}
