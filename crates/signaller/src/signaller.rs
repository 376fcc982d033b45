//! One step: reports, then accounts, then locks, then aspects, then speeds.
//!
//! Each stage is one function and reads only what the stages before it left. `signaller/reports.rs` turns what was heard into
//! one batch for identity; `signaller/requests.rs` answers wishes; the rest of the work is done in the stages' own modules.

mod changeover;
mod couple;
mod doubts;
mod inputs;
mod memory;
mod reports;
mod requests;
#[cfg(test)]
mod tests;
mod why;

use std::sync::{Arc, OnceLock};

use track::{Layout, SectionId, TrainId, TurnoutId};

pub use changeover::Changeover;
pub use why::{Explanation, Finding, Possibility, Why};

use inputs::Inputs;

use crate::aspect::Signals;
use crate::detect::Detect;
use crate::digest::Digest;
use crate::door::{Input, Output, Step};
use crate::drive::{Advice, Drive};
use crate::identity::{Batch, Identity};
use crate::interlock::Interlock;
use crate::roster::Roster;
use crate::snapshot::{digest_of_layout, kept};
use crate::time::Time;

/// Whether the signaller only watches or also drives.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum Conduct {
    /// It says who is where and what signals show; people drive. Signals work by themselves, from occupancy.
    Observe,
    /// It sets routes, throws turnouts and drives trains.
    Control,
}

/// What the reports of this step changed. A thing may be named twice, and may be named though nothing changed.
#[derive(Debug, Default)]
pub(crate) struct Changes {
    /// Sections whose occupancy, tag or holders may be different now.
    pub(crate) sections: Vec<SectionId>,
    /// Trains whose whereabouts may be different now.
    pub(crate) trains: Vec<TrainId>,
    /// Turnouts that lie differently, or of which is known now how they lie, or no longer.
    pub(crate) turnouts: Vec<TurnoutId>,
    /// Sections whose power went, or is known to be back. They are among `sections`, too.
    pub(crate) power: Vec<SectionId>,
}

impl Changes {
    fn clear(&mut self) {
        self.sections.clear();
        self.trains.clear();
        self.turnouts.clear();
        self.power.clear();
    }
}

/// The deterministic core.
#[derive(Debug)]
pub struct Signaller {
    layout: Arc<Layout>,
    roster: Arc<Roster>,
    conduct: Conduct,
    detect: Detect,
    batch: Batch,
    identity: Identity,
    interlock: Interlock,
    signals: Signals,
    drive: Drive,
    inputs: Inputs,
    /// Trains that were remembered, and of which nothing yet says for sure where they stand.
    unconfirmed: Vec<TrainId>,
    /// After a changeover everything that holds is to be said again.
    says_again: bool,
    /// So many outputs of the last step said again what was so before.
    said_again: usize,
    changes: Changes,
    outputs: Vec<Output>,
    /// The digest of the layout, once somebody asked for a snapshot.
    digest_of_layout: OnceLock<Digest>,
}

kept!(Signaller {
    kept: [unconfirmed, says_again],
    parts: [roster, detect, identity, interlock, signals, drive, inputs],
    made_anew: [layout, conduct, batch, said_again, changes, outputs, digest_of_layout],
});

impl Signaller {
    /// A signaller for a layout. It knows nothing of what stands there until it hears.
    pub fn new(layout: Arc<Layout>, conduct: Conduct) -> Self {
        Self {
            detect: Detect::new(Arc::clone(&layout), conduct),
            batch: Batch::default(),
            identity: Identity::new(Arc::clone(&layout)),
            interlock: Interlock::new(Arc::clone(&layout)),
            signals: Signals::new(Arc::clone(&layout), conduct),
            drive: Drive::new(Arc::clone(&layout)),
            inputs: Inputs::new(&layout),
            roster: Roster::new(&layout),
            layout,
            conduct,
            unconfirmed: Vec::new(),
            says_again: false,
            said_again: 0,
            changes: Changes::default(),
            outputs: Vec::new(),
            digest_of_layout: OnceLock::new(),
        }
    }

    /// The same, but nothing is said of doubts: for whoever only wants to know what is said of sections.
    #[must_use]
    pub fn silent_of_doubts(mut self) -> Self {
        self.identity.keep_silent_of_doubts();
        self
    }

    /// Works through everything heard at `now`. The order of inputs means nothing, but for reports of one and the same thing.
    ///
    /// `now` must not be earlier than in the step before.
    pub fn step(&mut self, now: Time, inputs: &[Input]) -> Step<'_> {
        self.outputs.clear();
        self.changes.clear();
        self.interlock.begin_step();
        self.say_again(now);
        self.said_again = self.outputs.len();
        self.name_trains(inputs);
        self.hear(now, inputs);
        self.hear_inputs(inputs);
        self.tell_doubts(now, inputs);
        self.answer(now, inputs);
        while let Some(train) = self.interlock.next_vouched_for() {
            self.identity.vouch_for_nose(train, now);
        }
        self.lock(now);
        self.show(now);
        self.move_trains(now);
        Step { wake_at: self.wake_at(now), outputs: &self.outputs }
    }

    /// Grants, locks and releases, from what identity says now.
    fn lock(&mut self, now: Time) {
        let (changes, outputs) = (&mut self.changes, &mut self.outputs);
        if self.conduct == Conduct::Observe {
            // Where people drive nothing is granted: how turnouts lie is all that signals need.
            self.interlock.follow_turnouts(now, &mut self.identity, changes, outputs);
            return;
        }
        self.identity.note_emptying(self.detect.emptying());
        self.drive.reckon(now, &mut self.identity, &mut self.interlock);
        self.drive.hear_spots(&self.batch.passed, &self.identity, &mut self.interlock);
        self.interlock.work(now, &mut self.identity, &self.drive, &self.signals, changes, outputs);
    }

    /// Lets every signal show what the book says.
    fn show(&mut self, now: Time) {
        for &section in &self.changes.sections {
            self.signals.section_changed(section);
        }
        for &turnout in &self.changes.turnouts {
            self.signals.turnout_changed(turnout);
        }
        self.interlock.tell_signals(&mut self.signals);
        self.signals.work(now, &self.identity, &self.interlock, &mut self.outputs);
    }

    /// Lets every train run as far and as fast as its authority allows.
    fn move_trains(&mut self, now: Time) {
        if self.conduct == Conduct::Control {
            self.drive.work(now, &mut self.identity, &mut self.interlock, &self.signals, &mut self.outputs);
        }
    }

    /// The earliest time at which some stage has something to do without hearing anything.
    fn wake_at(&self, now: Time) -> Option<Time> {
        [self.detect.wake_at(), self.interlock.wake_at(now), self.drive.wake_at()].into_iter().flatten().min()
    }

    /// So many outputs of the last step, the first of them, said again what was so before, after a changeover.
    pub fn said_again(&self) -> usize {
        self.said_again
    }

    /// Hands the roster to whoever reckons with it.
    pub(crate) fn share_roster(&mut self) {
        self.identity.set_roster(Arc::clone(&self.roster));
        self.interlock.set_roster(Arc::clone(&self.roster));
    }

    /// The digest of its layout, which is worked out when it is asked for first.
    pub(crate) fn digest_of_layout(&self) -> Digest {
        *self.digest_of_layout.get_or_init(|| digest_of_layout(&self.layout))
    }

    /// Its layout has this digest.
    pub(crate) fn with_digest_of_layout(self, digest: Digest) -> Self {
        Self { digest_of_layout: OnceLock::from(digest), ..self }
    }

    /// Grants and locks.
    pub fn interlock(&self) -> &Interlock {
        &self.interlock
    }

    /// What signals show.
    pub fn signals(&self) -> &Signals {
        &self.signals
    }

    /// How trains are driven.
    pub fn drive(&self) -> &Drive {
        &self.drive
    }

    /// How a person should drive a train now that they drive at a throttle through the signaller; nothing of other trains.
    pub fn advice(&self, train: TrainId, now: Time) -> Option<Advice> {
        self.drive.advice(train, now, &self.identity, &self.interlock, &self.signals)
    }

    /// The layout.
    pub fn layout(&self) -> &Arc<Layout> {
        &self.layout
    }

    /// What trains are called, and made of, now.
    pub fn roster(&self) -> &Roster {
        &self.roster
    }

    /// Whether it only watches or also drives.
    pub fn conduct(&self) -> Conduct {
        self.conduct
    }

    /// What is known of detectors, links and power.
    pub fn detect(&self) -> &Detect {
        &self.detect
    }

    /// Who stands where.
    pub fn identity(&self) -> &Identity {
        &self.identity
    }
}
