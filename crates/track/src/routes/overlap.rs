//! What must be clear and locked behind the signal that a route ends at.

use crate::ids::{SectionId, SignalId, TurnoutId};
use crate::layout::{Layout, Lie};

/// The track behind an exit signal that a train which does not quite stop may run into.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Overlap {
    /// Its sections, in the order in which they are met.
    pub sections: Vec<SectionId>,
    /// The turnouts in them, locked until the overlap is released; nothing for the lie where any will do.
    pub turnouts: Vec<(TurnoutId, Option<Lie>)>,
}

/// The overlap behind a signal.
pub(super) fn behind(_layout: &Layout, _signal: SignalId) -> Overlap {
    Overlap::default()
}
