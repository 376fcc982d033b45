//! Packets compared with what `dcc-rs`, an encoder that others wrote, makes of the same orders.
//!
//! It knows short addresses and 28 steps. A library is no proof: its broadcast stop that cuts the energy sets the bit C, where
//! S-9.2 section B has the bit S for that. There the standard is held to, and that they differ is said.

#![cfg(test)]

use dcc_rs::packets::{
    BroadcastStop as TheirStop, Direction as Theirs, Idle, Reset, SerialiseBuffer, SpeedAndDirection,
};
use track::dcc::{BroadcastStop, Direction, SpeedOrder, broadcast_stop, emergency_stop, idle, packet, reset};
use track::{Address, SpeedSteps};

/// The bytes in a packet as it goes over the rails (S-9.2, section A): at least 14 ones, each byte behind a zero, a one.
fn bytes_of(write: impl FnOnce(&mut SerialiseBuffer) -> dcc_rs::packets::Result<usize>) -> Vec<u8> {
    let mut buffer = SerialiseBuffer::default();
    let count = write(&mut buffer).unwrap();
    let bits: Vec<bool> = buffer.iter().by_vals().take(count).collect();
    let preamble = bits.iter().take_while(|&&bit| bit).count();
    assert!(preamble >= 14, "{preamble} ones");
    let (&last, framed) = bits[preamble..].split_last().unwrap();
    assert!(last && framed.len().is_multiple_of(9), "it ends with a one behind whole bytes");
    let byte = |framed: &[bool]| {
        assert!(!framed[0], "a byte stands behind a zero");
        framed[1..].iter().fold(0, |byte, &bit| byte << 1 | u8::from(bit))
    };
    framed.chunks(9).map(byte).collect()
}

fn theirs(direction: Direction) -> Theirs {
    match direction {
        Direction::Forward => Theirs::Forward,
        Direction::Reverse => Theirs::Backward,
    }
}

#[test]
fn every_step_of_28_for_every_short_address_is_told_alike() {
    for number in 1..=127_u8 {
        let address = Address::short(number.into()).unwrap();
        for direction in [Direction::Forward, Direction::Reverse] {
            for step in 0..=28_u8 {
                let order = if step == 0 { SpeedOrder::Stop } else { SpeedOrder::Step(step) };
                let ours = packet(address, SpeedSteps::Steps28.instruction(order, direction).unwrap());
                let mut builder = SpeedAndDirection::builder();
                builder.address(number).unwrap().speed(step).unwrap().direction(theirs(direction));
                let other = bytes_of(|buffer| builder.build().serialise(buffer));
                assert_eq!(ours, other, "address {number}, {order:?}, {direction:?}");
            }
            let mut builder = SpeedAndDirection::builder();
            builder.address(number).unwrap().e_stop(true).direction(theirs(direction));
            let other = bytes_of(|buffer| builder.build().serialise(buffer));
            assert_eq!(
                emergency_stop(address, SpeedSteps::Steps28, direction),
                other,
                "address {number}, {direction:?}"
            );
        }
    }
}

#[test]
fn packets_for_everybody_and_for_nobody_are_alike() {
    assert_eq!(reset(), bytes_of(|buffer| Reset.serialise(buffer)));
    assert_eq!(idle(), bytes_of(|buffer| Idle.serialise(buffer)));
    let braking = bytes_of(|buffer| TheirStop::immediate().serialise(buffer));
    assert_eq!(broadcast_stop(BroadcastStop::Brake, Some(Direction::Reverse)), braking);
}

#[test]
fn the_energy_is_cut_by_the_bit_that_the_standard_has_for_it() {
    let theirs = bytes_of(|buffer| TheirStop::float().serialise(buffer));
    let ours = broadcast_stop(BroadcastStop::Cut, Some(Direction::Reverse));
    // S-9.2 section B: 01DC000S, S = 1 to cut the energy, C = 1 to pass over D.
    assert_eq!(ours, [0, 0b0100_0001, 0b0100_0001]);
    assert_eq!(
        theirs,
        broadcast_stop(BroadcastStop::Brake, None),
        "what it says is that trains brake, either way they face"
    );
}
