//! Conditioned occupancy in, accounts of who stands where out.

mod picture;

use std::sync::Arc;

use smallvec::SmallVec;
use track::{Layout, SectionId, TrainId};

pub use picture::{Hold, NoseInterval, Pace, Whereabouts};

use crate::door::Tag;
use crate::time::Time;

/// All accounts of where the trains are.
#[derive(Debug)]
pub struct Identity {
    layout: Arc<Layout>,
}

impl Identity {
    /// Nothing is known yet.
    pub fn new(layout: Arc<Layout>) -> Self {
        Self { layout }
    }

    /// Whether the section's detector, as conditioned, says that something is there. Unknown counts as occupied.
    pub fn is_occupied(&self, section: SectionId) -> bool {
        !self.layout.is_dark(section)
    }

    /// What is said of the section.
    pub fn tag(&self, section: SectionId) -> Tag {
        let _ = section;
        Tag::Unexplained
    }

    /// Every train that some surviving account puts into the section, seen or unseen, the blind ends included.
    pub fn holders(&self, section: SectionId) -> SmallVec<[TrainId; 4]> {
        let _ = section;
        SmallVec::new()
    }

    /// Where the train stands, by the likeliest account. Nothing where no account has it on the layout.
    pub fn whereabouts(&self, train: TrainId, now: Time) -> Option<Whereabouts> {
        let _ = (train, now);
        None
    }

    /// The train has been ordered to move the other way from now on: its nose becomes its tail, in every account.
    pub fn turn_back(&mut self, train: TrainId, now: Time) {
        let _ = (train, now);
    }

    /// From now on the train moves between these speeds, in the direction of its nose. Trains of which this was never said
    /// may move as they like.
    pub fn set_pace(&mut self, train: TrainId, now: Time, pace: Pace) {
        let _ = (train, now, pace);
    }
}
