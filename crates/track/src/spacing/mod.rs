//! Whether signals, sections and stopping places are long enough for the trains that run there.
//!
//! Each signal must be far enough from the next for its restrictive indication to be obeyed by a brake application that begins
//! at it (49 CFR 236.24). Here that is asked of every train of the layout: is there, from where a caution is seen to where it
//! has to be obeyed, as much track as it needs at the speed that it may have there?
//!
//! An [`Approach`] is one such stretch of track, the same for all trains; a [`Runner`] is a train as far as it counts here.
//! What cannot be measured, because a length is missing, is not judged.
//!
//! A train counts as being at a signal only when a detector can have said so: its blind nose is past it by then, and the
//! detector behind it takes its time. That is how a signaller knows; a driver, who sees the signal, has so much to spare.

mod approaches;
mod places;

pub use approaches::{Approach, Target, approaches};
pub(crate) use places::room_to_turnouts;
pub use places::{Overtaken, Squeeze, Tail, overtaken, squeezes};

use crate::braking::Braking;
use crate::ids::TrainId;
use crate::train::Train;
use crate::units::{Length, Speed};

/// A train, as far as it counts here.
#[derive(Clone, Copy, Debug)]
pub struct Runner<'l> {
    /// Which it is.
    pub train: TrainId,
    /// How it was described.
    pub described: &'l Train,
    /// The fastest it runs.
    pub top: Speed,
    /// How it brakes at least, and how late, on level track.
    pub braking: Braking,
}

impl Runner<'_> {
    /// What may be ahead of the first axle that a detector sees, whichever end leads.
    fn blind(&self) -> Length {
        self.described.blind_front().max(self.described.blind_rear())
    }

    /// How it brakes on an approach: later, for the detector; and worse, where track falls.
    fn braking_on(&self, approach: &Approach) -> Braking {
        let pull = approach.fall.pull(self.described.gradient_share_permille);
        let braking = Braking { delay: self.braking.delay + approach.late, ..self.braking };
        braking.helped_by(pull)
    }

    /// How fast it may come to the caution.
    pub fn speed_at(&self, approach: &Approach) -> Speed {
        approach.permitted.map_or(self.top, |permitted| permitted.min(self.top))
    }

    /// How much track it needs from the caution on. [`Length::MAX`] where it does not brake at all.
    pub fn needs(&self, approach: &Approach) -> Length {
        let from = self.speed_at(approach);
        if from <= approach.then {
            return Length::ZERO;
        }
        self.blind() + self.braking_on(approach).distance_to_slow(from, approach.then)
    }

    /// The fastest it may come to the caution for the track there is.
    pub fn speed_for(&self, approach: &Approach, distance: Length) -> Speed {
        let left = distance - self.blind();
        if left <= Length::ZERO {
            return approach.then;
        }
        self.braking_on(approach).speed_before(left, approach.then)
    }
}
