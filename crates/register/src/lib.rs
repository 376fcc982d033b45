//! The register: everything that went into the signaller, in order, kept in SQLite.
//!
//! A signal box keeps a train register. This one keeps, of every *shift* (one run of a signaller, from its start to its end), each
//! step: when it was, what was heard and why, what came out and the digest of that. From it a shift can be run again step by
//! step; and a restart finds where trains stood, what was learned of them and which wishes hold on. Beside that it keeps facts
//! for people: trips, stops, who stood where, doubts, holds, suspected faults, wishes and their answers.
//!
//! What holds, always:
//!
//! - Whoever records never waits for the disk. One thread writes, what came within some milliseconds in one transaction; how far
//!   it has come can be read at any time ([`Register::durable_up_to`]).
//! - Nothing is lost in silence. Steps that cannot be written are kept in memory and tried again; when too many wait the next
//!   one is refused, to whoever records it, in [`Progress::lost`], and in the register as a gap.
//! - A file that cannot be used is moved aside, never written over. One of a newer version is left alone.
//! - The file stays within its bound: what is oldest goes, a little at a time between two transactions.
//! - What is written can be read by anybody: it is an ordinary SQLite file, and `schema/version_1.sql` says what is in it.
//!
//! Read [`Register`] first (what the shell has), then `schema/version_1.sql`, then `writer` (how it gets there).
//!
//! **Known limits.** SQLite keeps no checksums: bytes that go bad within a value are found out by a replay, not at the opening. A file
//! of more than 64 MB is looked through for damage only as far as it is used. A day of which the clock on the wall
//! was set back has moments twice, and both are found.

mod before;
mod codec;
mod entry;
mod history;
mod names;
mod place;
mod reader;
mod register;
mod replay;
mod schema;
mod settings;
mod trouble;
mod words;
mod writer;

pub use before::{Before, KeptClock, Recovered};
pub use codec::{Garbled, inputs_from_bytes, inputs_to_bytes, outputs_from_bytes, outputs_to_bytes};
pub use entry::{Beginning, Cause, Entry, Origin};
pub use history::{About, Answers, Cell, Part};
pub use names::Names;
pub use place::{FILE, find};
pub use reader::{Ending, KeyedWish, Reader, Shift, Snapshot, Step};
pub use register::{Opened, Refused, Register};
pub use replay::{After, Difference, ReplayError, Replayed, Restore, Span};
pub use settings::{Listener, Settings};
pub use trouble::{Health, OpenError, Progress, Trouble, TroubleKind};
