//! What the shell hands to the register.

use std::sync::Arc;
use std::time::SystemTime;

use signaller::{Conduct, Input, Output, Time};
use track::{Layout, LinkId};

/// Why something was heard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Cause {
    /// It was told at the start: what was kept from before, or how the layout says that trains stand.
    Start,
    /// It was reported; over which link, where that is known.
    Link(Option<LinkId>),
    /// Somebody wished it.
    Asked {
        /// Who, in words.
        by: String,
        /// What they gave to know the wish again by, so that it is not fulfilled twice.
        key: Option<String>,
    },
    /// The signaller wanted to be woken.
    Wake,
}

/// One step of the signaller.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// The signaller's time.
    pub at: Time,
    /// The time on the wall.
    pub wall: SystemTime,
    /// What was heard, and why.
    pub heard: Vec<(Input, Cause)>,
    /// What came of it.
    pub outputs: Vec<Output>,
}

/// How a shift begins.
#[derive(Clone, Debug)]
pub struct Beginning {
    /// The time on the wall.
    pub wall: SystemTime,
    /// How fast layout time passes, in words.
    pub pace: String,
    /// The version of the program.
    pub version: String,
    /// Whether the signaller only watches or also drives.
    pub conduct: Conduct,
    /// The layout.
    pub layout: Arc<Layout>,
    /// The texts that it was loaded from, by their names in its folder.
    pub files: Vec<(String, String)>,
    /// Whether it goes on from the shift before.
    pub from: Origin,
}

/// What a shift goes on from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// Nothing: trains stand where somebody says. Where they stood before, and wishes that held then, are forgotten; lessons
    /// are not.
    Afresh,
    /// The shift before: what was recovered of it is told to the signaller first.
    Before,
}
