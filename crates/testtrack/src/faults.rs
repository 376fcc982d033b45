//! What can go wrong on the table, and how often.
//!
//! Every fault has a rate and a stream of chance of its own, so that a new fault, or another rate, shifts no other. When a
//! fault befalls the table is drawn in the module that makes it; here is only which there are, and how often.

use crate::random::Stream;

/// Something that can go wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Fault {
    /// A wheel loses contact for a moment: dirt on the wheel or on the rail.
    ContactLoss,
    /// The rails of a section are dirty: everything in it loses contact again and again, for a while.
    DirtySection,
    /// A section fills though nothing is there: moisture, a finger, a tool across the rails.
    FalseFill,
    /// A detector goes on saying what it said last.
    StuckDetector,
    /// A detector takes much longer than it should.
    SlowDetector,
    /// A report takes much longer than reports do.
    MessageLate,
    /// A report never arrives.
    MessageLost,
    /// A report arrives twice.
    MessageDoubled,
    /// A report is overtaken by a later one.
    MessageReordered,
    /// A link goes down; what it carried meanwhile is lost, and when it is up again it first says what it said last.
    LinkDown,
    /// A node that watches several detectors starts anew: each of them says free at first, and soon after what it sees.
    NodeRestart,
    /// A power district goes dark, and its detectors all say free.
    DarkSaysFree,
    /// A power district goes dark, and its detectors all say occupied.
    DarkSaysOccupied,
    /// The voltage of a power district sags for a moment: motors slow down, small currents fall below thresholds.
    BrownOut,
    /// A turnout does not move when it is thrown.
    TurnoutFails,
    /// A turnout takes much longer than it should.
    TurnoutSlow,
    /// A turnout that reports says the opposite of how it lies.
    TurnoutReportsWrongly,
    /// A turnout that reports says nothing.
    TurnoutMute,
    /// A train is pushed along by hand.
    Pushed,
    /// A train is lifted, and later put down again where it was or elsewhere; people say so, or forget to.
    Lifted,
    /// A wagon that nobody knows of is put down.
    PutDown,
    /// A coupling parts: the tail stays where it is.
    Parted,
    /// A locomotive stalls for a while.
    Stall,
    /// A locomotive runs faster than it should for a moment, or starts by itself.
    Runaway,
    /// A locomotive does not hear an order.
    OrderIgnored,
    /// A train is driven at a throttle that the signaller does not control.
    HandDriven,
}

impl Fault {
    /// All faults.
    pub const ALL: [Self; 26] = [
        Self::ContactLoss,
        Self::DirtySection,
        Self::FalseFill,
        Self::StuckDetector,
        Self::SlowDetector,
        Self::MessageLate,
        Self::MessageLost,
        Self::MessageDoubled,
        Self::MessageReordered,
        Self::LinkDown,
        Self::NodeRestart,
        Self::DarkSaysFree,
        Self::DarkSaysOccupied,
        Self::BrownOut,
        Self::TurnoutFails,
        Self::TurnoutSlow,
        Self::TurnoutReportsWrongly,
        Self::TurnoutMute,
        Self::Pushed,
        Self::Lifted,
        Self::PutDown,
        Self::Parted,
        Self::Stall,
        Self::Runaway,
        Self::OrderIgnored,
        Self::HandDriven,
    ];

    /// Its name, as it is typed.
    pub const fn name(self) -> &'static str {
        match self {
            Self::ContactLoss => "contact-loss",
            Self::DirtySection => "dirty-section",
            Self::FalseFill => "false-fill",
            Self::StuckDetector => "stuck-detector",
            Self::SlowDetector => "slow-detector",
            Self::MessageLate => "message-late",
            Self::MessageLost => "message-lost",
            Self::MessageDoubled => "message-doubled",
            Self::MessageReordered => "message-reordered",
            Self::LinkDown => "link-down",
            Self::NodeRestart => "node-restart",
            Self::DarkSaysFree => "dark-says-free",
            Self::DarkSaysOccupied => "dark-says-occupied",
            Self::BrownOut => "brown-out",
            Self::TurnoutFails => "turnout-fails",
            Self::TurnoutSlow => "turnout-slow",
            Self::TurnoutReportsWrongly => "turnout-reports-wrongly",
            Self::TurnoutMute => "turnout-mute",
            Self::Pushed => "pushed",
            Self::Lifted => "lifted",
            Self::PutDown => "put-down",
            Self::Parted => "parted",
            Self::Stall => "stall",
            Self::Runaway => "runaway",
            Self::OrderIgnored => "order-ignored",
            Self::HandDriven => "hand-driven",
        }
    }

    /// The fault of that name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|fault| fault.name() == name)
    }

    /// How often it happens on a layout that is kept well, and on one that is not. Common practice, no source.
    const fn rates(self) -> (Rate, Rate) {
        use Rate::{In, PerHour, PerMillion};
        match self {
            // For each axle and metre it runs.
            Self::ContactLoss => (PerMillion(300), PerMillion(5_000)),
            // For the whole table.
            Self::DirtySection => (PerHour(20), PerHour(500)),
            Self::FalseFill => (PerHour(50), PerHour(2_000)),
            Self::StuckDetector => (PerHour(10), PerHour(500)),
            Self::SlowDetector => (PerHour(20), PerHour(1_000)),
            // Of all reports. What is lost, or comes in the wrong order, stays wrong until the section is used again, so on a
            // layout that is kept well it is as rare as where reports are acknowledged.
            Self::MessageLate => (PerMillion(300), PerMillion(5_000)),
            Self::MessageLost => (PerMillion(20), PerMillion(5_000)),
            Self::MessageDoubled => (PerMillion(500), PerMillion(10_000)),
            Self::MessageReordered => (PerMillion(20), PerMillion(5_000)),
            Self::LinkDown => (PerHour(50), PerHour(1_000)),
            Self::NodeRestart => (PerHour(20), PerHour(500)),
            Self::DarkSaysFree | Self::DarkSaysOccupied => (PerHour(50), PerHour(1_000)),
            Self::BrownOut => (PerHour(50), PerHour(1_000)),
            // Of all throws.
            Self::TurnoutFails => (PerMillion(500), PerMillion(10_000)),
            Self::TurnoutSlow => (PerMillion(2_000), PerMillion(20_000)),
            Self::TurnoutReportsWrongly => (PerMillion(200), PerMillion(5_000)),
            Self::TurnoutMute => (PerMillion(500), PerMillion(10_000)),
            Self::Pushed => (PerHour(20), PerHour(1_000)),
            Self::Lifted => (PerHour(20), PerHour(1_000)),
            Self::PutDown => (PerHour(10), PerHour(500)),
            Self::Parted => (PerHour(10), PerHour(500)),
            Self::Stall => (PerHour(50), PerHour(2_000)),
            Self::Runaway => (PerHour(10), PerHour(500)),
            // Of all orders.
            Self::OrderIgnored => (PerMillion(200), PerMillion(5_000)),
            // Of all trains.
            Self::HandDriven => (In(20), In(4)),
        }
    }
}

/// How often a fault happens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rate {
    /// Never.
    Never,
    /// So many times in a thousand hours, on the whole table.
    PerHour(u64),
    /// So many times in a million chances.
    PerMillion(u64),
    /// Once in so many chances.
    In(u64),
}

impl Rate {
    /// Whether it happens this time. Nothing happens by the hour this way.
    pub(crate) fn strikes(self, stream: &mut Stream) -> bool {
        match self {
            Self::Never | Self::PerHour(_) => false,
            Self::PerMillion(rate) => stream.below(1_000_000) < rate,
            Self::In(chances) => stream.below(chances) == 0,
        }
    }

    /// How many times in a million chances; 0 where it happens by the hour.
    pub(crate) const fn per_million(self) -> u64 {
        match self {
            Self::Never | Self::PerHour(_) | Self::In(0) => 0,
            Self::PerMillion(rate) => rate,
            Self::In(chances) => 1_000_000 / chances,
        }
    }

    /// Milliseconds until it happens next, where it happens by the hour: exponentially distributed.
    pub(crate) fn next_in_ms(self, stream: &mut Stream) -> Option<i64> {
        let Self::PerHour(thousandths) = self else { return None };
        if thousandths == 0 {
            return None;
        }
        let mean_ms = 3_600_000_000 / thousandths as i64;
        Some(exponential(mean_ms, stream))
    }
}

/// A span with this mean, exponentially distributed, in whole numbers so that it is the same on every machine: the position of
/// the first hit among chances of one in 64 a 64th of the mean apart, and a lot within it.
pub(crate) fn exponential(mean: i64, stream: &mut Stream) -> i64 {
    let piece = (mean / 64).max(1);
    let mut pieces = 0;
    while pieces < 64 * 20 && stream.below(64) != 0 {
        pieces += 1;
    }
    pieces * piece + stream.between(1, piece)
}

/// Which faults happen, and how often.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Faults {
    rates: [Rate; Fault::ALL.len()],
}

impl Faults {
    /// Nothing goes wrong.
    pub const NONE: Self = Self { rates: [Rate::Never; Fault::ALL.len()] };

    /// Everything goes wrong now and then, as on a layout that is kept well.
    pub fn mild() -> Self {
        Self::of(|fault| fault.rates().0)
    }

    /// Everything goes wrong often.
    pub fn harsh() -> Self {
        Self::of(|fault| fault.rates().1)
    }

    /// Only these go wrong, often.
    pub fn only(faults: &[Fault]) -> Self {
        Self::of(|fault| if faults.contains(&fault) { fault.rates().1 } else { Rate::Never })
    }

    fn of(rate: impl Fn(Fault) -> Rate) -> Self {
        Self { rates: Fault::ALL.map(rate) }
    }

    /// Whether anything can go wrong.
    pub fn any(&self) -> bool {
        Fault::ALL.iter().any(|&fault| self.rate(fault).per_million() > 0)
    }

    /// How often a fault happens.
    pub fn rate(&self, fault: Fault) -> Rate {
        self.rates[fault as usize]
    }

    /// The same, with another rate for one fault.
    #[must_use]
    pub fn with(mut self, fault: Fault, rate: Rate) -> Self {
        self.rates[fault as usize] = rate;
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_has_a_name_of_its_own_and_is_found_by_it() {
        for (index, fault) in Fault::ALL.into_iter().enumerate() {
            assert_eq!(fault as usize, index);
            assert_eq!(Fault::named(fault.name()), Some(fault));
        }
    }

    #[test]
    fn what_happens_by_the_hour_does_so_as_often_as_it_should() {
        let mut stream = Stream::labelled(1, "rates");
        let total: i64 = (0..4_000).filter_map(|_| Rate::PerHour(2_000).next_in_ms(&mut stream)).sum();
        let mean = total / 4_000;
        assert!((1_700_000..1_900_000).contains(&mean), "{mean} ms instead of half an hour");
    }
}
