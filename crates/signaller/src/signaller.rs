//! One step: reports, then accounts, then locks, then aspects, then speeds.

use std::sync::Arc;

use track::Layout;

use crate::door::{Input, Output, Step};
use crate::identity::Identity;
use crate::time::Time;

/// Whether the signaller only watches or also drives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Conduct {
    /// It says who is where and what signals show; people drive. Signals work by themselves, from occupancy.
    Observe,
    /// It sets routes, throws turnouts and drives trains.
    Control,
}

/// The deterministic core.
#[derive(Debug)]
pub struct Signaller {
    layout: Arc<Layout>,
    conduct: Conduct,
    identity: Identity,
    outputs: Vec<Output>,
}

impl Signaller {
    /// A signaller for a layout. It knows nothing of what stands there until it hears.
    pub fn new(layout: Arc<Layout>, conduct: Conduct) -> Self {
        Self { identity: Identity::new(Arc::clone(&layout)), layout, conduct, outputs: Vec::new() }
    }

    /// Works through everything heard at `now`. The order of inputs means nothing, but for reports of one and the same thing.
    ///
    /// `now` must not be earlier than in the step before.
    pub fn step(&mut self, now: Time, inputs: &[Input]) -> Step<'_> {
        self.outputs.clear();
        let _ = (now, inputs, self.conduct);
        Step { outputs: &self.outputs, wake_at: None }
    }

    /// The layout.
    pub fn layout(&self) -> &Arc<Layout> {
        &self.layout
    }

    /// Who stands where.
    pub fn identity(&self) -> &Identity {
        &self.identity
    }
}
