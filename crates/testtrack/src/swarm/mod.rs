//! The swarm: many seeds, each a layout, trains, traffic and faults of its own, and what must hold in all of them.
//!
//! A trial has two phases. While there are **faults**, nothing of N0 to N6 may happen. Then everything heals, and trains
//! **finish**: within [`FINISH`] every train that nobody holds moves on, and whatever is still in doubt is a question that the
//! signaller has put to people in words. In that phase a helpful person answers such questions, truthfully, a minute after they were
//! put; under mild faults, the layout being kept well, in the first phase too. In both phases roll calls are made of trains that
//! are held in doubt, as a script would have them made that never looks at the table, and detectors say every 10 to 30 s what they
//! said last.
//!
//! Each trial is run twice, and what was heard in the first run is replayed into a signaller without any table, which is now and
//! then taken down in a snapshot and restored from it; all three must agree to the last byte (N9).
//!
//! Read [`Plan`] first, then `trial.rs`.

mod caller;
mod choice;
mod log;
mod person;
mod tally;
mod trial;
mod watch;
mod words;

pub use choice::{FaultSet, Place};
pub use log::Log;
pub use tally::Tally;
pub use trial::{Broken, Figures, Law, Outcome, Plan};
pub use watch::Settled;

use std::time::Duration;

/// How long trains have, once everything has healed, until each of them has moved on.
pub const FINISH: Duration = Duration::from_secs(15 * 60);
