//! Packets for accessory decoders: turnout motors, signals (S-9.2.1, July 2012, section D).
//!
//! People count accessories from 1 to 2048 in one row; the packets carry that number plus 3, without its highest bits (Event
//! Identifiers technical note, table of linear numbers). Four of these numbers lie on the pattern that speaks to every accessory
//! decoder at once: there is no [`Accessory`] for them.

use super::checked;

/// The highest number that people give to an accessory.
const HIGHEST: u16 = 2048;
/// What is added to it.
const SHIFT: u16 = 3;
/// Eleven bits of address.
const BITS: u16 = 0x7FF;
/// From here on every accessory decoder is meant: 10111111 1000CDDD and 10111111 00000111.
const REACHES_ALL: u16 = 0x7FC;

/// One accessory.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Accessory {
    binary: u16,
}

/// Why there is no accessory of a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoAccessory {
    /// They are counted from 1 to 2048.
    OutOfRange,
    /// A packet with it would speak to every accessory decoder.
    ReachesAll,
}

/// Which of a pair of outputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Output {
    /// The first: the diverging track, or stop (from memory: RCN-213).
    First,
    /// The second: the straight track, or proceed.
    Second,
}

/// Whether an output gets current.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Current {
    /// It does.
    On,
    /// It does no longer.
    Off,
}

impl Accessory {
    /// The accessory that people number so.
    ///
    /// # Errors
    /// No such number, or one that lies on the broadcast pattern.
    pub fn of_user_number(number: u16) -> Result<Self, NoAccessory> {
        if !(1..=HIGHEST).contains(&number) {
            return Err(NoAccessory::OutOfRange);
        }
        let binary = (number + SHIFT) & BITS;
        if binary >= REACHES_ALL { Err(NoAccessory::ReachesAll) } else { Ok(Self { binary }) }
    }

    /// The eleven bits of its address, A10 to A0.
    pub fn binary(self) -> u16 {
        self.binary
    }

    /// The packet that works one output of a pair: 10AAAAAA 1aaaCDDD.
    pub fn basic(self, output: Output, current: Current) -> Vec<u8> {
        let activate = if current == Current::On { 0b1000 } else { 0 };
        let output = u8::from(output == Output::Second);
        let [first, second] = self.address_bits();
        checked(&[first, 0b1000_0000 | second | activate | output])
    }

    /// The packet that makes a signal show an aspect by its number: 10AAAAAA 0aaa0AA1 and the number. 0 is absolute stop.
    /// The standard of 2012 gives it five bits, later text eight.
    pub fn extended(self, aspect: u8) -> Vec<u8> {
        let [first, second] = self.address_bits();
        checked(&[first, second | 1, aspect])
    }

    /// A7 to A2 in the first byte; A10 to A8 as their complement, and A1 and A0, in the second.
    fn address_bits(self) -> [u8; 2] {
        let first = 0b1000_0000 | (self.binary >> 2 & 0b0011_1111) as u8;
        let high = (!(self.binary >> 8) & 0b111) as u8;
        [first, high << 4 | ((self.binary & 0b11) << 1) as u8]
    }
}

/// The packet that makes every accessory decoder with extended addresses go to stop (S-9.2.1, section D).
pub fn every_signal_to_stop() -> Vec<u8> {
    checked(&[0b1011_1111, 0b0000_0111, 0])
}
