//! A replay: what was heard goes into a fresh signaller, without any table.

use std::sync::Arc;

use signaller::{Conduct, Input, Signaller, Time};
use track::Layout;

use crate::digest::Digest;

/// Everything that a signaller heard, step by step.
#[derive(Debug, Default)]
pub(super) struct Heard {
    steps: Vec<(Time, Vec<Input>)>,
}

impl Heard {
    pub(super) fn step(&mut self, now: Time, inputs: &[Input]) {
        self.steps.push((now, inputs.to_vec()));
    }

    /// The digest of what went in and what comes out this time.
    pub(super) fn replay(&self, layout: &Arc<Layout>) -> Digest {
        let mut signaller = Signaller::new(Arc::clone(layout), Conduct::Control);
        let mut digest = Digest::new();
        for (now, inputs) in &self.steps {
            let step = signaller.step(*now, inputs);
            digest.add(now);
            digest.add(inputs);
            digest.add(&step.outputs);
        }
        digest
    }
}
