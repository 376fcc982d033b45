//! Packets for the track (NMRA S-9.2, July 2004; S-9.2.1, July 2012).

use std::collections::BTreeMap;

use lineside::dcc::{Scheduler, bits_of, duration_us};
use track::dcc::{
    Accessory, BroadcastStop, Current, Direction, FunctionGroup, Functions, NoAccessory, Output, SpeedOrder, State,
    binary_state, broadcast_stop, every_signal_to_stop, idle, packet, reset,
};
use track::{Address, SpeedSteps};

use super::{bytes, hex, rows};

const PACKETS: &str = include_str!("../data/dcc_packets.csv");
const ACCESSORIES: &str = include_str!("../data/dcc_accessory_linear.csv");

/// A decoder that was written here from the text of S-9.2, section A, and from nothing else: at least ten ones, then a zero
/// before each byte of eight bits, the highest first, and a one that ends the packet; the last byte is the exclusive or of all
/// before it.
fn decode(bits: &[bool]) -> Result<Vec<Vec<u8>>, String> {
    let (mut packets, mut ones, mut place) = (Vec::new(), 0, 0);
    while place < bits.len() {
        if bits[place] {
            ones += 1;
            place += 1;
            continue;
        }
        if ones < 10 {
            return Err(format!("only {ones} ones stand before bit {place}"));
        }
        let mut found = Vec::new();
        while !bits[place] {
            let byte = bits.get(place + 1..place + 9).ok_or("a byte is cut off")?;
            found.push(byte.iter().fold(0u8, |byte, &bit| byte << 1 | u8::from(bit)));
            place += 9;
            if place >= bits.len() {
                return Err("nothing ends the packet".to_owned());
            }
        }
        if found.iter().fold(0, |all, byte| all ^ byte) != 0 {
            return Err(format!("the error detection byte of {found:02X?} is wrong"));
        }
        // The bit that ends the packet may be the first of the next preamble.
        ones = 0;
        packets.push(found);
    }
    Ok(packets)
}

/// What our encoder makes of what a row of the table is about.
fn encoded(name: &str) -> Vec<u8> {
    let (three, long) = (Address::Short(3), Address::Long(1000));
    let drive =
        |address, steps: SpeedSteps, order, direction| packet(address, steps.instruction(order, direction).unwrap());
    let accessory = |number| Accessory::of_user_number(number).unwrap();
    let (forward, reverse) = (Direction::Forward, Direction::Reverse);
    let (s28, s126) = (SpeedSteps::Steps28, SpeedSteps::Steps126);
    let function = |number, group| Functions::OFF.with(number).packet(three, group);
    match name {
        "reset (all decoders)" => reset(),
        "idle" => idle(),
        "S-9.2 figure 2 example: loco 55 forward step 6" => {
            drive(Address::Short(55), s28, SpeedOrder::Step(6), forward)
        }
        "broadcast stop, S=0, C=0 D=0" => broadcast_stop(BroadcastStop::Brake, Some(reverse)),
        "broadcast stop S=0 C=1 (direction may be ignored)" => broadcast_stop(BroadcastStop::Brake, None),
        "broadcast energy-cut S=1 C=0" => broadcast_stop(BroadcastStop::Cut, Some(reverse)),
        "broadcast energy-cut S=1 C=1" => broadcast_stop(BroadcastStop::Cut, None),
        "short 3, 28 step fwd, stop" => drive(three, s28, SpeedOrder::Stop, forward),
        "short 3, 28 step fwd, e-stop" => drive(three, s28, SpeedOrder::EmergencyStop, forward),
        "short 3, 28 step fwd, step 28" => drive(three, s28, SpeedOrder::Step(28), forward),
        "short 3, 28 step rev, step 27" => drive(three, s28, SpeedOrder::Step(27), reverse),
        "short 3, 128 step fwd, step 1" => drive(three, s126, SpeedOrder::Step(1), forward),
        "short 3, 128 step fwd, step 126" => drive(three, s126, SpeedOrder::Step(126), forward),
        "short 3, 128 step rev, e-stop" => drive(three, s126, SpeedOrder::EmergencyStop, reverse),
        "short 3, 128 step fwd, stop" => drive(three, s126, SpeedOrder::Stop, forward),
        "long 1000, 128 step fwd, step 50" => drive(long, s126, SpeedOrder::Step(50), forward),
        "long 10239, 128 step rev, step 1" => drive(Address::Long(10_239), s126, SpeedOrder::Step(1), reverse),
        "long 128, 28 step fwd, step 14" => drive(Address::Long(128), s28, SpeedOrder::Step(14), forward),
        "short 3 FL+F1 on (function group one)" => Functions::OFF.with(0).with(1).packet(three, FunctionGroup::Zero),
        "short 3 F5 on" => function(5, FunctionGroup::Five),
        "short 3 F9 on" => function(9, FunctionGroup::Nine),
        "short 3 F13 on" => function(13, FunctionGroup::Thirteen),
        "short 3 F21 on" => function(21, FunctionGroup::TwentyOne),
        "short 3 binary state 1 on (short form)" => binary_state(three, 1, State::On).unwrap(),
        "extended accessory broadcast, aspect 0 (absolute stop)" => every_signal_to_stop(),
        _ => {
            let number = |after: &str| -> u16 {
                let rest = name.split(after).nth(1).unwrap();
                rest.split(|letter: char| !letter.is_ascii_digit()).next().unwrap().parse().unwrap()
            };
            let accessory = accessory(number("user addr "));
            if name.starts_with("extended") {
                return accessory.extended(number("aspect ") as u8);
            }
            let output = if name.contains("R=0") { Output::First } else { Output::Second };
            accessory.basic(output, Current::On)
        }
    }
}

/// Rows that are about what cannot be said here on purpose: packets that reach every accessory decoder, and settings of decoders.
fn is_not_said(name: &str) -> bool {
    name.starts_with("POM")
        || name == "basic accessory broadcast, output 0, activate"
        || name.contains("user addr 2044")
}

#[test]
fn published_packets_are_sent_bit_by_bit() {
    let mut said = 0;
    for row in rows(PACKETS) {
        let [name, published, stream, _] = &row[..] else { panic!("{row:?}") };
        let bits: Vec<bool> = stream.chars().map(|bit| bit == '1').collect();
        assert_eq!(decode(&bits), Ok(vec![bytes(published)]), "{name}: the decoder of this test");
        assert_eq!(bits_of(&bytes(published)), bits, "{name}: bits");
        if is_not_said(name) {
            continue;
        }
        assert_eq!(encoded(name), bytes(published), "{name}");
        said += 1;
    }
    assert_eq!((rows(PACKETS).len(), said), (43, 38));
}

#[test]
fn every_accessory_is_at_its_published_address_and_those_that_reach_all_are_refused() {
    let mut refused = Vec::new();
    for row in rows(ACCESSORIES) {
        let number: u16 = row[0].parse().unwrap();
        let accessory = match Accessory::of_user_number(number) {
            Ok(accessory) => accessory,
            Err(why) => {
                assert_eq!(why, NoAccessory::ReachesAll);
                refused.push(number);
                continue;
            }
        };
        assert_eq!(accessory.binary().to_string(), row[1], "{number}");
        let basic = |output| accessory.basic(output, Current::On)[..2].to_vec();
        let published = |second: &str| vec![hex(&row[2]) as u8, hex(second) as u8];
        assert_eq!(basic(Output::First), published(&row[3]), "{number}");
        assert_eq!(basic(Output::Second), published(&row[4]), "{number}");
        assert_eq!(accessory.extended(0)[..2], [hex(&row[5]) as u8, hex(&row[6]) as u8], "{number}");
        let off = accessory.basic(Output::First, Current::Off);
        assert_eq!(off[1], accessory.basic(Output::First, Current::On)[1] & !0b1000, "C says whether it is on");
    }
    assert_eq!(rows(ACCESSORIES).len(), 2048);
    assert_eq!(refused, [2041, 2042, 2043, 2044], "10111111 1000CDDD speaks to every accessory decoder");
    for number in [0, 2049, u16::MAX] {
        assert_eq!(Accessory::of_user_number(number), Err(NoAccessory::OutOfRange));
    }
}

#[test]
fn a_packet_that_was_garbled_is_not_decoded_by_the_decoder_of_this_test() {
    let whole = bits_of(&reset());
    let flipped: Vec<bool> = whole.iter().enumerate().map(|(place, bit)| bit ^ (place == 20)).collect();
    assert!(decode(&flipped).is_err());
    assert!(decode(&whole[6..]).is_err(), "eight ones are too few");
}

/// The addresses that a packet is for, as S-9.2.1, section A, tells them apart.
fn for_whom(packet: &[u8]) -> Option<Vec<u8>> {
    match packet[0] {
        255 => None,
        first @ (0..=127) => Some(vec![first]),
        first @ 128..=191 => Some(vec![first, packet[1] & 0b0111_0110]),
        first => Some(vec![first, packet[1]]),
    }
}

/// Holds what a scheduler gives out against what S-9.2 demands.
fn hold_to_the_standard(scheduler: &mut Scheduler, count: usize) -> Vec<Vec<u8>> {
    let mut ended: BTreeMap<Vec<u8>, u64> = BTreeMap::new();
    let mut all = Vec::new();
    for _ in 0..count {
        let began = scheduler.now_us();
        let packet = scheduler.next_packet();
        assert_eq!(scheduler.now_us(), began + duration_us(&packet));
        assert!(duration_us(&packet) < 30_000, "a packet at least every 30 ms");
        // Fourteen ones of 116 us each stand before the bit with which it begins.
        let starts = began + 14 * 116;
        for whom in for_whom(&packet).into_iter().chain([vec![0]]) {
            if let Some(before) = ended.get(&whom).filter(|_| packet[0] != 255) {
                assert!(starts >= before + 5000, "{packet:02X?} comes {} us after the one before", starts - before);
            }
        }
        if let Some(whom) = for_whom(&packet) {
            ended.insert(whom, scheduler.now_us());
        }
        all.push(packet);
    }
    let bits: Vec<bool> = all.iter().flat_map(|packet| bits_of(packet)).collect();
    assert_eq!(decode(&bits).as_ref(), Ok(&all), "all of it is one stream that the decoder of this test reads");
    all
}

#[test]
fn packets_for_one_decoder_are_five_milliseconds_apart_and_the_track_is_never_silent() {
    let mut scheduler = Scheduler::new();
    assert!(hold_to_the_standard(&mut scheduler, 5).iter().all(|packet| *packet == idle()));
    scheduler.drive(Address::Short(3), SpeedSteps::Steps28, SpeedOrder::Step(5), Direction::Forward);
    let alone = hold_to_the_standard(&mut scheduler, 40);
    assert!(alone.contains(&idle()), "between two packets for the only decoder nothing else is to be said");
    for address in 1..=60 {
        let address = Address::Short(address);
        scheduler.drive(address, SpeedSteps::Steps126, SpeedOrder::Step(9), Direction::Reverse);
        for number in [0, 3, 7, 12, 13, 28] {
            scheduler.set_function(address, number, State::On);
        }
    }
    for number in (1..=200).step_by(7) {
        scheduler.work(Accessory::of_user_number(number).unwrap(), Output::Second, Current::On);
    }
    let busy = hold_to_the_standard(&mut scheduler, 6000);
    let speed = |address: u8| busy.iter().filter(|packet| packet[0] == address && packet[1] == 0x3F).count();
    let counts: Vec<usize> = (1..=60).map(speed).collect();
    let (least, most) = (counts.iter().min().unwrap(), counts.iter().max().unwrap());
    assert!(*least > 10 && most - least <= 3, "each is told its speed in turn: {least} to {most} times");
}

#[test]
fn what_is_new_goes_first_and_an_emergency_stop_before_it() {
    let mut scheduler = Scheduler::new();
    for address in 1..=60 {
        scheduler.drive(Address::Short(address), SpeedSteps::Steps28, SpeedOrder::Step(5), Direction::Forward);
    }
    hold_to_the_standard(&mut scheduler, 1000);
    let order = SpeedSteps::Steps28.instruction(SpeedOrder::Stop, Direction::Forward).unwrap();
    let stop = packet(Address::Short(30), order);
    scheduler.drive(Address::Short(30), SpeedSteps::Steps28, SpeedOrder::Stop, Direction::Forward);
    let next = hold_to_the_standard(&mut scheduler, 4);
    assert!(next.contains(&stop), "{next:02X?}");
    scheduler.stop_all();
    let after: Vec<Vec<u8>> = hold_to_the_standard(&mut scheduler, 60);
    let cut = broadcast_stop(BroadcastStop::Cut, None);
    let first = after.iter().position(|packet| *packet == cut).unwrap();
    assert!(first <= 2 && after.iter().filter(|packet| **packet == cut).count() == 10, "{first}");
    let later = hold_to_the_standard(&mut scheduler, 500);
    let runs = later.iter().any(|packet| {
        packet.len() == 3
            && matches!(SpeedSteps::Steps28.order_of(&packet[1..2]), Some((SpeedOrder::Step(_), _)))
            && (1..=60).contains(&packet[0])
    });
    assert!(!runs, "after a stop of everything no locomotive is told to run");
}
