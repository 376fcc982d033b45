//! The deterministic core: what was heard goes in, desired states and facts come out.
//!
//! [`Signaller::step`] is the only way in. It knows no clock, thread, socket, file, hash-map order, randomness or
//! script: the same inputs at the same times give the same outputs, live, a thousand times faster than life, and in a
//! replay.
//!
//! The one rule behind everything: an order leaves the signaller only if it is safe under every surviving account of
//! where the trains are.
//!
//! Read [`door`] first (what goes in and comes out), then `signaller.rs` (the order in which one step is worked
//! through).

pub mod aspect;
pub mod board;
pub mod detect;
mod digest;
pub mod door;
pub mod drive;
pub mod identity;
pub mod interlock;
pub mod measuring;
#[cfg(test)]
mod model;
pub mod picture;
pub mod roster;
mod signaller;
pub mod snapshot;
mod time;

pub use board::{Board, SetRoute};
pub use digest::Digest;
pub use door::{
    Answer, Destination, Direction, Doubt, DoubtId, Extent, Fact, Input, Memory, Output, Protection, Refusal, Request,
    RouteStage, Step, StoodWithin, Suspect, Tag, Ticket,
};
pub use drive::{Advice, Lessons, SpeedProfile, StepSpeed};
pub use signaller::{Changeover, Conduct, Explanation, Finding, Possibility, Signaller, Why};
pub use snapshot::RestoreError;
pub use time::Time;
pub use track::{Aspect, AspectBook};
