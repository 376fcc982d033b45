//! What links tell.

use signaller::Input;
use track::LinkId;

/// Something that a link tells.
#[derive(Clone, Debug, PartialEq)]
pub struct News {
    /// Which link.
    pub link: LinkId,
    /// What.
    pub what: What,
    /// Which of all that ever were by that name.
    pub(crate) instance: u64,
}

/// What a link tells.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    /// It is up, and this is how everything is that has been reported since it came up.
    Up(Vec<Input>),
    /// Something was reported.
    Reported(Vec<Input>),
    /// It is down, and why.
    Down(String),
    /// Something for people to know.
    Said(String),
    /// Something was heard: told only to who listens.
    Heard(Overheard),
    /// Somebody there wants every train to stand at once: why.
    Stop(String),
    /// From now on it tells of things by the numbers of another layout.
    Rewired,
}

/// What a codec makes of what it is given.
#[derive(Clone, Debug, PartialEq)]
pub enum Told {
    /// Something was reported.
    Input(Input),
    /// Everything there is has been reported.
    Complete,
    /// Whoever is at the other end says that they are there.
    Here,
    /// They are not, or cannot be understood any more: why.
    Gone(String),
    /// Something for people to know.
    Say(String),
    /// Every train is to stand at once: why.
    Stop(String),
    /// Something was heard, as it came and what it means.
    Heard(Overheard),
}

/// Something that was heard, for who listens.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Overheard {
    /// As it came, for people.
    pub raw: String,
    /// What it means.
    pub meaning: Meaning,
}

/// What something that was heard means.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Meaning {
    /// It is of something that is known, and says this.
    Known {
        /// What it is about: `section quay-1`.
        name: String,
        /// What it says.
        says: String,
    },
    /// Nothing is known at this address.
    New {
        /// The line that would make it known.
        hint: String,
    },
    /// It is of something that is known, and makes no sense.
    Unclear {
        /// What it is about.
        name: String,
        /// Why.
        why: String,
    },
    /// It belongs to the link itself.
    Housekeeping,
}
