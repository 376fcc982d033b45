//! What can go wrong when a turnout is thrown, for tests that want one thing to happen.

use track::TurnoutId;

use crate::faults::Fault;
use crate::ground::Fate;
use crate::table::Table;

/// What goes wrong when a turnout is thrown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Misthrow {
    /// It does not move, and reports nothing.
    Stays,
    /// It takes so many times as long as it should.
    Slow(u32),
    /// It does not move, and reports that it did. One that reports nothing is silent.
    StaysAndReportsThatItMoved,
    /// It moves, and reports that it did not. One that reports nothing is silent.
    MovesAndReportsThatItStayed,
    /// It moves, and reports nothing.
    Mute,
}

impl Misthrow {
    pub(super) const fn comes_to(self) -> (Fault, Fate) {
        match self {
            Self::Stays => (Fault::TurnoutFails, Fate::Fails),
            Self::Slow(times) => (Fault::TurnoutSlow, Fate::Slow(times)),
            Self::StaysAndReportsThatItMoved => (Fault::TurnoutReportsWrongly, Fate::FailsUnnoticed),
            Self::MovesAndReportsThatItStayed => (Fault::TurnoutReportsWrongly, Fate::MovesBelied),
            Self::Mute => (Fault::TurnoutMute, Fate::MovesUnheard),
        }
    }
}

impl Table {
    /// The next time that a turnout is thrown, this goes wrong.
    pub fn misthrow_next(&mut self, turnout: TurnoutId, misthrow: Misthrow) {
        self.hands.misthrows.insert(turnout, misthrow);
    }
}
