//! Whatever bytes come: no codec panics, none grows without bound, and what one wrote another reads.
//!
//! `LINECLEAR_SEED` says which bytes, `LINECLEAR_FUZZ` how many seconds for each; without them a printed seed, for a moment.
//! Bytes that once broke something are in `tests/data/corpus`, one file each, and are tried first.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::{Duration, Instant};

use lineside::dcc::Packets;
use lineside::lcc::{Assembly, Events, Frame, Frames, Mirror, Node};
use lineside::modbus::{Ask, Next, Plan};
use lineside::railcom::{Reassembly, bytes_of, halves_of};
use lineside::{adapter, mqtt};
use signaller::{Direction, Output};
use track::wiring::{By, ModbusBit, ModbusTable};
use track::{Function, Id as _, Lie, TrainId};

use super::siding::{ADAPTER, BROKER, BUS, one};

/// Numbers by chance (xorshift64*, Marsaglia and Vigna).
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    fn below(&mut self, bound: usize) -> usize {
        (self.next() >> 16) as usize % bound.max(1)
    }

    /// Bytes that are partly what is expected: pieces of a sample, changed here and there, and pieces of nothing.
    fn bytes(&mut self, samples: &[&[u8]]) -> Vec<u8> {
        let mut bytes = Vec::new();
        for _ in 0..=self.below(4) {
            let sample = samples[self.below(samples.len())];
            let (from, to) = (self.below(sample.len() + 1), self.below(sample.len() + 1));
            match self.below(4) {
                0 => bytes.extend((0..self.below(40)).map(|_| self.next() as u8)),
                1 => bytes.extend_from_slice(sample),
                2 => bytes.extend_from_slice(&sample[from.min(to)..from.max(to)]),
                _ => {
                    let mut changed = sample.to_vec();
                    for _ in 0..=self.below(3) {
                        let place = self.below(changed.len());
                        if let Some(byte) = changed.get_mut(place) {
                            *byte = self.next() as u8;
                        }
                    }
                    bytes.extend(changed);
                }
            }
        }
        bytes
    }
}

/// Tries bytes until the time is over.
fn try_bytes(name: &str, samples: &[&[u8]], mut one: impl FnMut(&[u8])) {
    let seed = std::env::var("LINECLEAR_SEED").map_or_else(
        |_| std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap().as_secs(),
        |seed| seed.parse().unwrap(),
    );
    let seconds: f64 = std::env::var("LINECLEAR_FUZZ").map_or(0.3, |seconds| seconds.parse().unwrap());
    println!("{name}: LINECLEAR_SEED={seed} LINECLEAR_FUZZ={seconds}");
    for kept in std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/corpus")).into_iter().flatten() {
        one(&std::fs::read(kept.unwrap().path()).unwrap());
    }
    let mut chance = Chance(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    let (began, mut count) = (Instant::now(), 0u64);
    while count < 2000 || began.elapsed().as_secs_f64() < seconds {
        one(&chance.bytes(samples));
        count += 1;
    }
    println!("{name}: {count} tried");
}

#[test]
fn frames_in_any_bytes_are_whole_or_none() {
    let samples: [&[u8]; 3] = [b":X195B4240N0101000000000303;\n", b":X19490240N;", b":S1N;:X:XN;;"];
    try_bytes("frames", &samples, |bytes| {
        let mut frames = Frames::default();
        let whole = frames.hear(bytes);
        for frame in &whole {
            assert_eq!(Frames::default().hear(frame.text().as_bytes()), [*frame]);
        }
        let mut in_pieces = Frames::default();
        let pieces: Vec<Frame> = bytes.chunks(3).flat_map(|piece| in_pieces.hear(piece)).collect();
        assert_eq!(pieces, whole, "however they are cut");
    });
}

#[test]
fn our_node_survives_whatever_is_on_the_bus() {
    let samples: [&[u8]; 8] = [
        b":X195B4111N050101018C000001;",
        b":X19488111N0240;",
        b":X195EB111N1240200100050101;",
        b":X10701240N050101010301;",
        b":X17240240N;",
        b":X1A240111N00;",
        b":X1B240111N0011223344556677;",
        b":X19F16111N050101018C000001;",
    ];
    let (layout, link) = one(BUS);
    let By::Lcc(setup) = &link.by else { panic!("a bus") };
    let mut mirror = Mirror::new(Arc::clone(&layout), &link, setup);
    let mut node = Node::new(0x0501_0101_0301, Events::new(layout, &link));
    let mut now = Duration::ZERO;
    node.begin(now);
    mirror.begin(now);
    let mut assembly = Assembly::default();
    try_bytes("node", &samples, |bytes| {
        now += Duration::from_millis(30);
        for frame in Frames::default().hear(bytes) {
            if let Some(message) = assembly.hear(&frame) {
                let frames = message.frames();
                let mut again = Assembly::default();
                let read = frames.iter().filter_map(|frame| again.hear(frame)).last();
                // One that came in pieces of a size nobody sends may go out otherwise, and mean the same.
                assert!(frames.is_empty() || read.is_none() || read.as_ref() == Some(&message), "{message:?} {read:?}");
            }
            let turn = node.hear(now, &frame);
            assert!(turn.send.len() < 100, "{frame:?}");
            assert!(mirror.hear(&frame, &BTreeMap::new()).send.len() < 100, "{frame:?}");
        }
        node.tick(now);
        mirror.tick(now);
    });
}

#[test]
fn pretend_servers_answer_whatever_is_asked() {
    let samples: [&[u8]; 4] = [&[2, 0, 196, 0, 22], &[3, 0, 107, 0, 3], &[5, 0, 172, 255, 0], &[6, 0, 1, 0, 3]];
    let links = "[[link]]\nname = \"row\"\nby = \"modbus\"\ntcp = \"box\"\nsections = { quay = { register = 0, bit = 3 } }\n\
                 turnouts = { W1 = { straight = { input = 197 }, set = { coil = 172 } } }\n";
    let (_, link) = one(links);
    let mut servers = lineside::modbus::Mirror::new(&link);
    try_bytes("requests", &samples, |request| {
        let (answer, orders) = servers.answer(1, request);
        // No answer is longer (Modbus application protocol 1.1b3, section 4.1).
        assert!((2..=253).contains(&answer.len()) && orders.len() <= 1, "{request:?}");
    });
}

/// The first bytes of packets that reach nobody, or are not given away (NMRA S-9.2.1, July 2012, section A).
const GIVEN_TO_NOBODY: std::ops::RangeInclusive<u8> = 232..=254;

#[test]
fn packets_for_any_orders_are_whole_and_for_decoders_that_there_are() {
    let (layout, link) = one(ADAPTER);
    let things = link.carries.iter().map(|carried| (carried.thing, carried.name.clone(), "12".to_owned()));
    let mut packets = Packets::new(&layout, &things.collect::<Vec<_>>());
    let turnout = layout.turnout_named("W1").unwrap();
    try_bytes("packets", &[&[0, 0, 9], &[1, 1, 0], &[2, 2, 28], &[3, 0, 1]], |bytes| {
        for &[kind, which, value] in bytes.as_chunks().0 {
            let train = TrainId::from_index(usize::from(which) % layout.trains.len());
            let direction = if which < 128 { Direction::Forward } else { Direction::Backward };
            let order = match kind % 5 {
                0 => {
                    let step = value % (layout.trains[train].speed_steps.highest() + 1);
                    Output::Drive { train, direction, step }
                }
                1 => Output::EmergencyStop { train },
                2 => Output::Function { train, number: value % (Function::HIGHEST + 1), on: which % 2 == 0 },
                3 => Output::Throw { turnout, lie: if value < 128 { Lie::Straight } else { Lie::Diverging } },
                _ => {
                    packets.begin();
                    continue;
                }
            };
            assert!(packets.order(&order), "{order:?}");
            let packet = packets.next_packet();
            // S-9.2, July 2004, section A: the last byte is what all others are, one against the other.
            assert_eq!(packet.iter().fold(0, |sum, byte| sum ^ byte), 0, "{packet:02X?}");
            assert!((3..=6).contains(&packet.len()) && !GIVEN_TO_NOBODY.contains(&packet[0]), "{packet:02X?}");
        }
    });
}

#[test]
fn plans_for_any_bits_ask_for_each_of_them_and_for_no_more_than_a_server_may_give() {
    let tables = [ModbusTable::Coil, ModbusTable::Input, ModbusTable::Holding, ModbusTable::InputRegister];
    try_bytes("plans", &[&[1, 0, 0, 3], &[1, 1, 255, 255], &[2, 2, 0, 40], &[1, 3, 1, 0]], |bytes| {
        let bits = bytes.as_chunks().0.iter().map(|&[unit, table, high, low]| ModbusBit {
            unit,
            table: tables[usize::from(table) % tables.len()],
            number: u16::from_be_bytes([high, low]),
            bit: low % 16,
            is_inverted: high % 2 == 1,
        });
        let bits: Vec<ModbusBit> = bits.collect();
        let mut plan = Plan::new(bits.iter().copied(), Duration::from_millis(50), 700);
        for ask in plan.asks() {
            // Modbus application protocol 1.1b3, sections 6.1 to 6.4.
            let most = if matches!(ask.table, ModbusTable::Coil | ModbusTable::Input) { 2000 } else { 125 };
            assert!((1..=most).contains(&ask.count) && ask.first.checked_add(ask.count - 1).is_some(), "{ask:?}");
        }
        for bit in &bits {
            let has = |ask: &&Ask| {
                (ask.unit, ask.table) == (bit.unit, bit.table)
                    && (ask.first..=ask.first + (ask.count - 1)).contains(&bit.number)
            };
            assert_eq!(plan.asks().iter().filter(has).count(), 1, "{bit:?}");
        }
        let (mut now, mut rounds) = (Duration::ZERO, 0);
        for _ in 0..4 * plan.asks().len() {
            match plan.next(now) {
                Next::Wait(wait) => now += wait,
                Next::Ask(ask) => rounds += u32::from(plan.done(now, Duration::from_millis(3), Some(ask))),
            }
        }
        assert!(bits.is_empty() || rounds > 0, "every round comes to its end");
    });
}

#[test]
fn lines_of_anything_are_lines_or_told() {
    let samples: [&[u8]; 6] = [
        b"{\"adapter\": 1, \"name\": \"box\"}\n",
        b"{\"section\": \"quay\", \"occupied\": true}\n",
        b"{\"reader\": \"gate\", \"railcom\": \"A3AC99D5\"}\n",
        b"{\"turnout\": \"W1\", \"lies\": \"unknown\"}\n",
        b"{\"room\": 18446744073709551615}\n",
        b"{\"gone\": [1, {\"a\": null}]}\n",
    ];
    let (layout, link) = one(ADAPTER);
    let By::Adapter(setup) = &link.by else { panic!("an adapter") };
    let mut codec = adapter::Codec::new(layout, &link, setup).listening();
    codec.begin();
    try_bytes("lines", &samples, |bytes| {
        codec.hear(bytes);
    });
}

#[test]
fn payloads_of_anything_are_words_or_nothing() {
    let samples: [&[u8]; 7] = [
        b"{\"direction\": \"forward\", \"step\": 0, \"emergency\": true}",
        b"{\"function\": 28, \"on\": true}",
        b"occupied",
        b"{\"a\": [1, 2.5e300]}",
        b"12",
        b"\x9c\xa3\x8e\x33",
        b"1e999",
    ];
    let topics = ["section/quay", "spot/magnet", "reader/gate", "turnout/W1", "district/harbour", "status", "x"];
    let (layout, link) = one(BROKER);
    let By::Mqtt(setup) = &link.by else { panic!("a broker") };
    let mut codec = mqtt::Codec::new(Arc::clone(&layout), &link, setup).listening(BTreeSet::new());
    let mirror = mqtt::Mirror::new(layout, &link, setup);
    let mut turn = 0usize;
    try_bytes("payloads", &samples, |payload| {
        turn += 1;
        let topic = format!("lineclear/{}", topics[turn % topics.len()]);
        let message = mqtt::Message {
            topic: &topic,
            payload,
            is_retained: turn.is_multiple_of(5),
            is_duplicate: turn.is_multiple_of(3),
        };
        codec.hear(Duration::from_millis(turn as u64), &message);
        for topic in
            ["train/Heron/set", "train/Teal/function", "turnout/W1/set", "signal/S1/set", "district/harbour/set"]
        {
            mirror.obey(&format!("lineclear/{topic}"), payload);
        }
    });
}

#[test]
fn answers_of_decoders_in_any_bytes_are_addresses_of_decoders() {
    let samples: [&[u8]; 3] = [&[0x9C, 0xA3, 0x8E, 0x33], &[0xA3, 0xAC, 0x99, 0xA5], b"A3 AC 99 A5"];
    let mut reassembly = Reassembly::default();
    try_bytes("answers", &samples, |bytes| {
        let halves = halves_of(bytes).count();
        let found = reassembly.hear(bytes);
        assert!(found.is_none() || halves > 0);
        if let Some(text) = std::str::from_utf8(bytes).ok().and_then(bytes_of) {
            assert!(!text.is_empty());
        }
    });
}
