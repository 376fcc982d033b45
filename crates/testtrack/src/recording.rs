//! What a signaller heard, to be heard again: a replay needs no table.

use std::sync::Arc;

use signaller::{Conduct, Digest, Input, Signaller, Time};
use track::Layout;

/// Everything that a signaller heard, step by step.
#[derive(Debug, Default)]
pub struct Recording {
    steps: Vec<(Time, Vec<Input>)>,
}

impl Recording {
    /// The signaller heard this.
    pub fn hear(&mut self, now: Time, inputs: &[Input]) {
        if !inputs.is_empty() {
            self.steps.push((now, inputs.to_vec()));
        }
    }

    /// How many steps there were.
    pub fn len(&self) -> usize {
        self.steps.len()
    }

    /// Whether nothing was heard.
    pub fn is_empty(&self) -> bool {
        self.steps.is_empty()
    }

    /// What was heard, and when.
    pub fn steps(&self) -> impl Iterator<Item = (Time, &[Input])> {
        self.steps.iter().map(|(now, inputs)| (*now, inputs.as_slice()))
    }

    /// The digest of what went in and what comes out this time.
    pub fn replay(&self, layout: &Arc<Layout>) -> Digest {
        let mut signaller = Signaller::new(Arc::clone(layout), Conduct::Control);
        let mut digest = Digest::new();
        for (now, inputs) in &self.steps {
            add_step(&mut digest, &mut signaller, *now, inputs);
        }
        digest
    }

    /// The same; but after every so many steps the signaller is taken down in a snapshot, and one that is restored from it goes
    /// on instead. The digest does not differ if a snapshot is complete.
    ///
    /// # Errors
    /// Tells when a snapshot could not be restored, or was another than that of the signaller restored from it.
    pub fn replay_over_snapshots(&self, layout: &Arc<Layout>, every: usize) -> Result<Digest, String> {
        let mut signaller = Signaller::new(Arc::clone(layout), Conduct::Control);
        let mut digest = Digest::new();
        for (place, (now, inputs)) in self.steps.iter().enumerate() {
            if place % every.max(1) == every / 2 {
                signaller = restored(&signaller).map_err(|why| format!("before step {place}, at {now:?}: {why}"))?;
            }
            add_step(&mut digest, &mut signaller, *now, inputs);
        }
        Ok(digest)
    }
}

fn add_step(digest: &mut Digest, signaller: &mut Signaller, now: Time, inputs: &[Input]) {
    let step = signaller.step(now, inputs);
    digest.add(&now);
    digest.add(&inputs);
    digest.add(&step.outputs);
}

/// Another signaller that goes on as this one would.
fn restored(signaller: &Signaller) -> Result<Signaller, String> {
    let snapshot = signaller.snapshot();
    let restored = Signaller::restore(Arc::clone(signaller.layout()), &snapshot).map_err(|why| why.to_string())?;
    if restored.snapshot() == snapshot {
        Ok(restored)
    } else {
        Err("the snapshot of the restored signaller is another".to_owned())
    }
}
