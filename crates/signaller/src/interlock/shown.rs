//! What people are shown of how far trains may go, and of what turnouts are locked for. Nothing is decided by it.

use smallvec::SmallVec;
use track::{StopId, TrainId, Traverse, TurnoutId};

use super::Interlock;
use crate::aspect::Signals;
use crate::identity::Identity;

/// How far a train may go.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Ahead {
    /// The passages that its nose may be in, from the one it is in on.
    pub passages: SmallVec<[Traverse; 4]>,
    /// Where in the last of them it is to stop, if not at its far end.
    pub stop: Option<StopId>,
}

impl Interlock {
    /// How far a train may go. Nothing where it was granted nothing.
    pub fn ahead(&self, train: TrainId, identity: &Identity, signals: &Signals) -> Option<Ahead> {
        let authority = self.authority(train, identity, signals)?;
        let passages = authority.granted.iter().take(authority.end).skip(authority.nose);
        Some(Ahead { passages: passages.copied().collect(), stop: authority.stop.map(|(stop, _)| stop) })
    }

    /// Whether a turnout is locked, for a train or for a route that is set.
    pub fn is_locked(&self, turnout: TurnoutId) -> bool {
        !self.turnouts.locked_by(turnout).is_empty() || self.turnout_not_routed(turnout).is_err()
    }
}
