//! Packets for the functions of a decoder, and for its settings while it is on the main track (S-9.2.1, July 2012, section C).

use super::{Bytes, packet};
use crate::train::Address;

/// The highest function that has a bit of its own in these instructions.
pub const HIGHEST_FUNCTION: u8 = 28;

/// Which functions of a decoder are on, F0 (the headlight) to F28.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Functions(u32);

impl Functions {
    /// All off.
    pub const OFF: Self = Self(0);

    /// These, with one more of them on; as they are where there is no such function.
    #[must_use]
    pub fn with(self, function: u8) -> Self {
        if function > HIGHEST_FUNCTION { self } else { Self(self.0 | 1 << function) }
    }

    /// These, with one of them off.
    #[must_use]
    pub fn without(self, function: u8) -> Self {
        if function > HIGHEST_FUNCTION { self } else { Self(self.0 & !(1 << function)) }
    }

    /// Whether a function is on.
    pub fn has(self, function: u8) -> bool {
        function <= HIGHEST_FUNCTION && self.0 & 1 << function != 0
    }

    fn bits(self, from: u8, mask: u32) -> u8 {
        (self.0 >> from & mask) as u8
    }

    /// The instruction for one group.
    fn instruction(self, group: FunctionGroup) -> Bytes {
        match group {
            // The headlight stands above F1 to F4.
            FunctionGroup::Zero => Bytes::of([0b1000_0000 | self.bits(0, 1) << 4 | self.bits(1, 0xF)]),
            FunctionGroup::Five => Bytes::of([0b1011_0000 | self.bits(5, 0xF)]),
            FunctionGroup::Nine => Bytes::of([0b1010_0000 | self.bits(9, 0xF)]),
            FunctionGroup::Thirteen => Bytes::of([0b1101_1110, self.bits(13, 0xFF)]),
            FunctionGroup::TwentyOne => Bytes::of([0b1101_1111, self.bits(21, 0xFF)]),
        }
    }

    /// The packet that sets all functions of one group.
    pub fn packet(self, address: Address, group: FunctionGroup) -> Vec<u8> {
        packet(address, self.instruction(group))
    }
}

/// Functions that are set by one instruction, named after the first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FunctionGroup {
    /// F0 to F4.
    Zero,
    /// F5 to F8.
    Five,
    /// F9 to F12.
    Nine,
    /// F13 to F20.
    Thirteen,
    /// F21 to F28.
    TwentyOne,
}

impl FunctionGroup {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::Zero, Self::Five, Self::Nine, Self::Thirteen, Self::TwentyOne];

    /// The group of a function, where there is one.
    pub fn of(function: u8) -> Option<Self> {
        Some(match function {
            0..=4 => Self::Zero,
            5..=8 => Self::Five,
            9..=12 => Self::Nine,
            13..=20 => Self::Thirteen,
            21..=HIGHEST_FUNCTION => Self::TwentyOne,
            _ => return None,
        })
    }
}

/// Whether a binary state is set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// It is.
    On,
    /// It is not.
    Off,
}

/// The packet that sets a binary state in its short form, 1 to 127; nothing for other numbers.
pub fn binary_state(address: Address, number: u8, state: State) -> Option<Vec<u8>> {
    let on = if state == State::On { 0b1000_0000 } else { 0 };
    (1..=127).contains(&number).then(|| packet(address, Bytes::of([0b1101_1101, on | number])))
}
