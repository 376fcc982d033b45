//! Addresses, speeds, functions and accessories in the packets of digital command control (NMRA S-9.2, July 2004; S-9.2.1, July 2012).
//!
//! Pure tables: nothing here sends anything. Of the 14-step instruction the headlight bit is always clear.

mod accessory;
mod functions;

use crate::train::{Address, SpeedSteps};

pub use accessory::{Accessory, Current, NoAccessory, Output, every_signal_to_stop};
pub use functions::{FunctionGroup, Functions, HIGHEST_FUNCTION, State, binary_state};

/// Which way a locomotive is told to run, seen from its own front.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// With its front leading.
    Forward,
    /// With its rear leading.
    Reverse,
}

/// How fast a locomotive is told to run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SpeedOrder {
    /// Come to a stop as the decoder is set up to.
    Stop,
    /// Cut the motor at once.
    EmergencyStop,
    /// A speed step, from 1 to the highest.
    Step(u8),
}

/// Up to four bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bytes {
    bytes: [u8; 4],
    count: usize,
}

impl Bytes {
    fn of<const COUNT: usize>(given: [u8; COUNT]) -> Self {
        let mut bytes = [0; 4];
        bytes[..COUNT].copy_from_slice(&given);
        Self { bytes, count: COUNT }
    }

    /// The bytes, in the order they are sent in.
    pub fn as_slice(&self) -> &[u8] {
        &self.bytes[..self.count]
    }
}

/// First byte of the 128-step speed instruction (S-9.2.1, advanced operations, 001 11111).
const STEPS_128: u8 = 0b0011_1111;
/// The direction bit of that instruction's second byte.
const FORWARD_128: u8 = 0b1000_0000;
/// Baseline speed instruction, 01DCSSSS (S-9.2, section B).
const BASELINE: u8 = 0b0100_0000;
/// The direction bit of the baseline instruction.
const FORWARD_BASELINE: u8 = 0b0010_0000;
/// The bit C: with 28 steps the lowest bit of the speed.
const LOWEST_OF_28: u8 = 0b0001_0000;
/// The speed that is none, and stops at once.
const EMERGENCY: u8 = 1;
/// The address that speaks to all decoders.
const EVERYBODY: u8 = 0;
/// The bit S of a broadcast stop: the motors get no more energy.
const CUT: u8 = 0b0000_0001;
/// The bit C of a broadcast stop: what it says of direction is not meant.
const ANY_DIRECTION: u8 = 0b0001_0000;
/// First byte of a long address, before the upper bits are added (S-9.2.1, section A).
const LONG: u8 = 0b1100_0000;

impl Address {
    /// The address as it stands at the head of a packet.
    pub fn bytes(self) -> Bytes {
        match self {
            Self::Short(address) => Bytes::of([address]),
            Self::Long(address) => {
                let [high, low] = address.to_be_bytes();
                Bytes::of([LONG + high, low])
            }
        }
    }
}

impl SpeedSteps {
    /// The instruction that gives a speed order; nothing where the decoder has no such step.
    pub fn instruction(self, order: SpeedOrder, direction: Direction) -> Option<Bytes> {
        let value = match order {
            SpeedOrder::Stop => 0,
            SpeedOrder::EmergencyStop => EMERGENCY,
            SpeedOrder::Step(step) if (1..=self.highest()).contains(&step) => match self {
                Self::Steps14 | Self::Steps126 => step + 1,
                // Steps 1 and 2 share SSSS 0010, 3 and 4 share 0011: the bit C tells them apart.
                Self::Steps28 => (step + 3) / 2 + if step % 2 == 0 { LOWEST_OF_28 } else { 0 },
            },
            SpeedOrder::Step(_) => return None,
        };
        Some(self.coded(value, direction))
    }

    /// The instruction with a speed as it is coded: 0 to stop, 1 for an emergency stop, then the steps.
    fn coded(self, value: u8, direction: Direction) -> Bytes {
        let forward = |bit| if direction == Direction::Forward { bit } else { 0 };
        match self {
            Self::Steps14 | Self::Steps28 => Bytes::of([BASELINE + forward(FORWARD_BASELINE) + value]),
            Self::Steps126 => Bytes::of([STEPS_128, forward(FORWARD_128) + value]),
        }
    }

    /// The order that an instruction gives to a decoder with so many steps; nothing where it is no speed instruction.
    pub fn order_of(self, instruction: &[u8]) -> Option<(SpeedOrder, Direction)> {
        let (value, is_forward) = match (self, instruction) {
            (Self::Steps126, &[STEPS_128, speed]) => (speed & !FORWARD_128, speed & FORWARD_128 != 0),
            (Self::Steps14 | Self::Steps28, &[byte]) if byte & 0b1100_0000 == BASELINE => {
                (byte & 0b0001_1111, byte & FORWARD_BASELINE != 0)
            }
            _ => return None,
        };
        let slow_bits = value & 0b0000_1111;
        let order = match self {
            Self::Steps126 if value >= 2 => SpeedOrder::Step(value - 1),
            Self::Steps14 if slow_bits >= 2 => SpeedOrder::Step(slow_bits - 1),
            Self::Steps28 if slow_bits >= 2 => {
                SpeedOrder::Step(2 * (slow_bits - 2) + 1 + u8::from(value & LOWEST_OF_28 != 0))
            }
            _ if slow_bits == 0 => SpeedOrder::Stop,
            _ => SpeedOrder::EmergencyStop,
        };
        Some((order, if is_forward { Direction::Forward } else { Direction::Reverse }))
    }
}

/// A whole packet: address, instruction, and the error detection byte, the exclusive or of all before it (S-9.2, section A).
pub fn packet(address: Address, instruction: Bytes) -> Vec<u8> {
    checked(&[address.bytes().as_slice(), instruction.as_slice()].concat())
}

/// The packet that makes one decoder cut its motor at once. The direction matters still: headlights go by it.
pub fn emergency_stop(address: Address, steps: SpeedSteps, direction: Direction) -> Vec<u8> {
    packet(address, steps.coded(EMERGENCY, direction))
}

/// How a broadcast makes all decoders stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BroadcastStop {
    /// Each brings its locomotive to a stop.
    Brake,
    /// Each stops giving its motor energy.
    Cut,
}

/// The packet that stops everything: address 0 and 01DC000S (S-9.2, section B). Without a direction the bit C lets decoders
/// pass over it.
pub fn broadcast_stop(how: BroadcastStop, direction: Option<Direction>) -> Vec<u8> {
    let direction = match direction {
        Some(Direction::Forward) => FORWARD_BASELINE,
        Some(Direction::Reverse) => 0,
        None => ANY_DIRECTION,
    };
    let stop = match how {
        BroadcastStop::Brake => 0,
        BroadcastStop::Cut => CUT,
    };
    checked(&[EVERYBODY, BASELINE + direction + stop])
}

/// The packet that makes all decoders forget what they were told, and stop (S-9.2, section B).
pub fn reset() -> Vec<u8> {
    checked(&[EVERYBODY, 0])
}

/// The packet that is for no decoder, and keeps the track alive (S-9.2, section B).
pub fn idle() -> Vec<u8> {
    checked(&[0xFF, 0])
}

/// Bytes with their error detection byte.
fn checked(bytes: &[u8]) -> Vec<u8> {
    let error = bytes.iter().fold(0, |error, byte| error ^ byte);
    [bytes, &[error]].concat()
}
