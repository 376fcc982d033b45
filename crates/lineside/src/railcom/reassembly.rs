//! Addresses from datagrams of channel 1 (RCN-217; how a receiver puts them together is common practice, no source).

use track::Address;

use super::four_of_eight::{Symbol, decode};

/// A datagram of channel 1: four bits that say what it is, and eight of data.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Channel1 {
    /// The high half of an address.
    High(u8),
    /// The low half.
    Low(u8),
    /// Something else, by its number.
    Other(u8, u8),
}

impl Channel1 {
    /// The datagram in two bytes; nothing where one of them is garbled or no data.
    pub fn of(bytes: [u8; 2]) -> Option<Self> {
        let [Some(Symbol::Data(first)), Some(Symbol::Data(second))] = bytes.map(decode) else { return None };
        let data = (first & 0b11) << 6 | second;
        Some(match first >> 2 {
            1 => Self::High(data),
            2 => Self::Low(data),
            other => Self::Other(other, data),
        })
    }
}

/// Which half of an address a datagram carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Half {
    /// The upper.
    High(u8),
    /// The lower.
    Low(u8),
}

/// The halves in what was received in one or several gaps: two bytes each. What is garbled is left out.
pub fn halves_of(bytes: &[u8]) -> impl Iterator<Item = Half> + '_ {
    let (pairs, _) = bytes.as_chunks::<2>();
    pairs.iter().filter_map(|&pair| match Channel1::of(pair)? {
        Channel1::High(data) => Some(Half::High(data)),
        Channel1::Low(data) => Some(Half::Low(data)),
        Channel1::Other(..) => None,
    })
}

/// So many datagrams may lie between the two halves of one address: each decoder sends them in turn, packet by packet.
const APART: u32 = 3;

/// Puts the halves of an address together at one detector.
///
/// A half counts when it came twice with the same data, and an address when both of its halves count and lie close together.
/// Two decoders at once garble each other, and of one that left only a half may be left: neither must become a third address.
#[derive(Clone, Copy, Debug, Default)]
pub struct Reassembly {
    high: Seen,
    low: Seen,
    count: u32,
}

#[derive(Clone, Copy, Debug, Default)]
struct Seen {
    data: u8,
    /// How often in a row.
    times: u8,
    /// When last, in datagrams.
    at: u32,
}

impl Seen {
    fn hear(&mut self, data: u8, now: u32) {
        let follows = self.times > 0 && self.data == data && now.wrapping_sub(self.at) <= 2 * APART;
        self.times = if follows { self.times.saturating_add(1) } else { 1 };
        (self.data, self.at) = (data, now);
    }
}

impl Reassembly {
    /// Takes in what came in one or several gaps; gives the address that it completes, or confirms.
    pub fn hear(&mut self, bytes: &[u8]) -> Option<Address> {
        let mut found = None;
        for half in halves_of(bytes) {
            self.count = self.count.wrapping_add(1);
            match half {
                Half::High(data) => self.high.hear(data, self.count),
                Half::Low(data) => self.low.hear(data, self.count),
            }
            found = self.address().or(found);
        }
        found
    }

    fn address(&self) -> Option<Address> {
        let apart = self.high.at.abs_diff(self.low.at);
        if self.high.times < 2 || self.low.times < 2 || apart > APART {
            return None;
        }
        address_of(self.high.data, self.low.data)
    }
}

/// The address in two halves; nothing where it is that of a consist (from memory: 0x60 in the high half), or no address.
fn address_of(high: u8, low: u8) -> Option<Address> {
    match high {
        0x80..=0xBF => Address::long(u64::from(high & 0x3F) << 8 | u64::from(low)),
        0x00 => Address::short(u64::from(low & 0x7F)),
        _ => None,
    }
}

/// Bytes written in hexadecimal digits, with or without white space between them.
pub fn bytes_of(text: &str) -> Option<Vec<u8>> {
    let digits: Vec<u8> = text
        .chars()
        .filter(|letter| !letter.is_whitespace())
        .map(|letter| letter.to_digit(16).map(|digit| digit as u8))
        .collect::<Option<_>>()?;
    let (pairs, rest) = digits.as_chunks::<2>();
    (!digits.is_empty() && rest.is_empty()).then(|| pairs.iter().map(|[high, low]| high << 4 | low).collect())
}
