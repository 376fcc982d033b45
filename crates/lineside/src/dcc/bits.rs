//! Packets as bits on the track (S-9.2, section A), and how long they take (S-9.1, table 1).

/// So many ones stand before every packet, at least.
const PREAMBLE: usize = 14;
/// How long the two halves of a one, and of a zero, take together, in microseconds.
const ONE_US: u64 = 116;
const ZERO_US: u64 = 200;

/// The bits of a packet: the preamble, a zero before each byte, the highest bit first, and a one to end it.
pub fn bits_of(packet: &[u8]) -> Vec<bool> {
    let mut bits = vec![true; PREAMBLE];
    for byte in packet {
        bits.push(false);
        bits.extend((0..8).rev().map(|place| byte >> place & 1 == 1));
    }
    bits.push(true);
    bits
}

/// How long a packet takes from its first to its last bit, in microseconds.
pub fn duration_us(packet: &[u8]) -> u64 {
    let ones: u64 = packet.iter().map(|byte| u64::from(byte.count_ones())).sum();
    let zeros = 8 * packet.len() as u64 - ones + packet.len() as u64;
    preamble_us() + (ones + 1) * ONE_US + zeros * ZERO_US
}

/// How long the ones before a packet take.
pub(super) fn preamble_us() -> u64 {
    PREAMBLE as u64 * ONE_US
}
