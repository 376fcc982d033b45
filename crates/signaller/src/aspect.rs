//! Signals.

/// What a signal shows: a row of the aspect book, the most restrictive first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Aspect(pub u8);

impl Aspect {
    /// The most restrictive aspect of every book.
    pub const STOP: Self = Self(0);
}

/// All signals.
#[derive(Debug)]
pub struct Signals {}

impl Signals {
    /// All signals at danger.
    pub fn new(_layout: std::sync::Arc<track::Layout>, _conduct: crate::Conduct) -> Self {
        Self {}
    }
}
