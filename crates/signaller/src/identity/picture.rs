//! What the rest of the signaller is told of a train.

use smallvec::SmallVec;
use track::{EndId, Length, SectionId, Speed};

use crate::door::Direction;

/// A section that a train covers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Hold {
    /// The section.
    pub section: SectionId,
    /// The end it was entered by, where that is known.
    pub enter: Option<EndId>,
    /// Whether its detector sees the train there. Not so in a dark section, or while a report is believed to be wrong.
    pub seen: bool,
}

/// Where a train stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Whereabouts {
    /// Whether all surviving accounts agree on the footprint and the direction.
    pub sure: bool,
    /// The sections it covers, tail first, nose last. The blind ends are not part of it.
    pub footprint: SmallVec<[Hold; 4]>,
    /// Which way the nose points, as the train sees it: forward where its first vehicle is the nose.
    pub leading: Direction,
    /// How far its nose stands beyond the entry of the last section, where lengths and speeds say so. The blind nose is
    /// included, so this may reach beyond the section's far end.
    pub nose: Option<NoseInterval>,
}

/// Bounds of a nose's place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoseInterval {
    /// At least so far.
    pub least: Length,
    /// At most so far.
    pub most: Length,
}

/// Bounds of a train's speed, in the direction of its nose.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pace {
    /// At least so fast.
    pub least: Speed,
    /// At most so fast.
    pub most: Speed,
}
