//! Frames, aliases, events and trains on a bus of nodes (NMRA S-9.7, texts of 22 July 2024).

use std::time::Duration;

use lineside::Told;
use lineside::lcc::{Aliases, Assembly, Body, Events, Frame, Frames, Message, Mti, Node, from_float16, to_float16};
use signaller::{Direction, Input, Output};
use track::Lie;

use super::siding::{BUS, one};
use super::{bytes, hex, rows};

const FRAMES: &str = include_str!("../data/lcc_frames.csv");
const ALIASES: &str = include_str!("../data/lcc_alias_sequence.csv");
const MTIS: &str = include_str!("../data/lcc_mti.csv");
const EVENTS: &str = include_str!("../data/lcc_wellknown_events.csv");
const ACCESSORIES: &str = include_str!("../data/dcc_accessory_linear.csv");
const SPEEDS: &str = include_str!("../data/lcc_float16_speed.csv");
const MPH: &str = include_str!("../data/lcc_float16_mph_1_126.csv");

const NODE: u64 = 0x0501_0101_0301;

fn id(text: &str) -> u64 {
    text.split('.').fold(0, |id, byte| id << 8 | hex(byte))
}

#[test]
fn published_frames_are_read_and_written() {
    for row in rows(FRAMES) {
        let frame = Frame::new(hex(&row[1]) as u32, &bytes(&row[2])).unwrap();
        assert_eq!(frame.text(), row[4], "{}", row[0]);
        assert_eq!(Frames::default().hear(row[4].as_bytes()), [frame], "{}", row[0]);
        if let Some(message) = Assembly::default().hear(&frame) {
            assert_eq!(message.frames(), [frame], "{}", row[0]);
        }
    }
    assert_eq!(rows(FRAMES).len(), 24);
}

#[test]
fn a_published_answer_in_two_frames_is_one_message() {
    let [first, last] = [":X191E9123N1456104420004420;", ":X191E9123N24564420;"];
    let frames = Frames::default().hear(format!("{first}\n{last}\n").as_bytes());
    let mut assembly = Assembly::default();
    assert_eq!(assembly.hear(&frames[0]), None);
    let message = assembly.hear(&frames[1]).unwrap();
    // Query of speeds, Train Control, technical note, section 2.4.4: set, status, commanded and actual speed.
    let said = vec![0x10, 0x44, 0x20, 0x00, 0x44, 0x20, 0x44, 0x20];
    assert_eq!(message, Message { source: 0x123, to: Some(0x456), body: Body::Said(Mti::TRAIN_REPLY, said) });
    assert_eq!(message.frames(), frames);
    assert_eq!(assembly.hear(&frames[1]), None, "a last frame without a first is nothing");
}

#[test]
fn aliases_follow_the_published_sequence() {
    for row in rows(ALIASES) {
        let mut aliases = Aliases::of(id(&row[0]));
        for step in 0..5 {
            assert_eq!(aliases.state(), hex(&row[6 + step]), "{} after {step}", row[0]);
            assert_eq!(u64::from(aliases.here()), hex(&row[1 + step]), "{} after {step}", row[0]);
            aliases.step();
        }
    }
    assert_eq!(Aliases::of(0).next_alias(), 0x11E, "nobody has the alias 0");
}

#[test]
fn kinds_of_messages_are_as_published() {
    for row in rows(MTIS) {
        let mti = Mti(hex(&row[1]) as u16);
        assert_eq!(u8::from(mti.is_addressed()).to_string(), row[9], "{}", row[0]);
        assert_eq!(u8::from(mti.has_event()).to_string(), row[10], "{}", row[0]);
        let to = mti.is_addressed().then_some(0x456);
        let message =
            Message { source: 0xFED, to, body: Body::Said(mti, vec![0; if mti.has_event() { 8 } else { 0 }]) };
        let published = row[2].replace("sss", "FED");
        assert_eq!(u64::from(message.frames()[0].header()), hex(&published), "{}", row[0]);
    }
    let named = [
        (Mti::INITIALIZED, "Initialization Complete (full protocol)"),
        (Mti::VERIFY_ALL, "Verify Node ID global"),
        (Mti::VERIFIED, "Verified Node ID (full)"),
        (Mti::REJECTED, "Optional Interaction Rejected"),
        (Mti::SUPPORT_INQUIRY, "Protocol Support Inquiry"),
        (Mti::SUPPORT_REPLY, "Protocol Support Reply"),
        (Mti::EVENT, "Producer/Consumer Event Report"),
        (Mti::IDENTIFY_CONSUMER, "Identify Consumer"),
        (Mti::CONSUMER_UNKNOWN, "Consumer Identified unknown"),
        (Mti::IDENTIFY_PRODUCER, "Identify Producer"),
        (Mti::PRODUCER_VALID, "Producer Identified valid"),
        (Mti::PRODUCER_INVALID, "Producer Identified invalid"),
        (Mti::PRODUCER_UNKNOWN, "Producer Identified unknown"),
        (Mti::PRODUCER_RANGE, "Producer Range Identified"),
        (Mti::IDENTIFY_EVENTS, "Identify Events global"),
        (Mti::IDENTIFY_EVENTS_OF, "Identify Events addressed"),
        (Mti::TRAIN, "Train Control Command"),
        (Mti::TRAIN_REPLY, "Train Control Reply"),
        (Mti::EVENT_FIRST, "PCER with payload, first CAN frame (event id)"),
        (Mti::EVENT_LAST, "PCER with payload, last CAN frame (also the common MTI)"),
    ];
    for (mti, name) in named {
        assert!(rows(MTIS).iter().any(|row| row[0] == name && hex(&row[1]) == u64::from(mti.0)), "{name}");
    }
}

#[test]
fn speeds_are_the_published_half_floats() {
    for row in rows(SPEEDS).iter().filter(|row| row[0] != "nan") {
        let value: f64 = row[0].parse().unwrap();
        assert_eq!(u64::from(to_float16(value)), hex(&row[2]), "{value}");
        let decoded: f64 = row[3].parse().unwrap();
        assert_eq!(from_float16(hex(&row[2]) as u16).map(f64::to_bits), Some(decoded.to_bits()), "{value}");
    }
    for row in rows(MPH) {
        let speed = row[0].parse::<f64>().unwrap() * 0.44704;
        assert_eq!(u64::from(to_float16(speed)), hex(&row[2]), "{}", row[0]);
        assert_eq!(u64::from(to_float16(-speed)), hex(&row[3]), "{}", row[0]);
    }
    assert_eq!(from_float16(0xFFFF), None, "a speed that is not known");
    for bits in (0..=u16::MAX).filter(|bits| bits & 0x7C00 != 0x7C00) {
        assert_eq!(to_float16(from_float16(bits).unwrap()), bits, "{bits:04X}");
    }
}

fn node() -> (std::sync::Arc<track::Layout>, Node) {
    let (layout, link) = one(BUS);
    let events = Events::new(std::sync::Arc::clone(&layout), &link);
    (layout, Node::new(NODE, events))
}

fn texts(frames: &[Frame]) -> Vec<String> {
    frames.iter().map(Frame::text).collect()
}

fn frame(text: &str) -> Frame {
    Frames::default().hear(text.as_bytes())[0]
}

fn ms(count: u64) -> Duration {
    Duration::from_millis(count)
}

/// A node that has its alias, which is 240.
fn permitted() -> (std::sync::Arc<track::Layout>, Node) {
    let (layout, mut node) = node();
    node.begin(ms(0));
    node.tick(ms(200));
    assert_eq!(node.alias(), Some(0x240));
    (layout, node)
}

#[test]
fn a_node_asks_for_its_alias_waits_and_says_who_it_is() {
    let (_, mut node) = node();
    let asked = texts(&node.begin(ms(1000)).send);
    assert_eq!(asked, [":X17050240N;", ":X16101240N;", ":X15010240N;", ":X14301240N;"]);
    assert!(node.tick(ms(1199)).send.is_empty(), "200 ms must pass");
    let turn = node.tick(ms(1200));
    let said = texts(&turn.send);
    assert_eq!(said[..3], [":X10700240N;", ":X10701240N050101010301;", ":X19100240N050101010301;"]);
    assert!(said.contains(&":X194C7240N050101018C000001;".to_owned()), "what it hears is said before");
    assert!(said.contains(&":X19914240N050101018C000001;".to_owned()), "and how that is is asked");
    assert!(turn.told.contains(&Told::Here));
}

#[test]
fn the_published_example_of_asking_for_an_alias() {
    // Node 12.34.56.78.9A.BC with alias FED: CAN Frame Transfer, technical note, section 2.6.2.1; its own first one is 840.
    let (layout, link) = one(BUS);
    let mut node = Node::new(0x1234_5678_9ABC, Events::new(layout, &link));
    let asked = texts(&node.begin(ms(0)).send);
    let published: Vec<String> = rows(FRAMES)[..4].iter().map(|row| row[4].replace("FED", "840")).collect();
    assert_eq!(asked, published);
}

#[test]
fn a_node_gives_way_while_it_asks_and_defends_what_it_has() {
    let (_, mut node) = node();
    node.begin(ms(0));
    let again = texts(&node.hear(ms(50), &frame(":X10700240N;")).send);
    assert_eq!(again.len(), 4, "somebody has it: the next is asked for");
    assert!(again[0].ends_with("539N;"), "{again:?}");
    assert!(node.tick(ms(240)).send.is_empty(), "and from then on 200 ms must pass");
    assert_eq!(texts(&node.tick(ms(250)).send)[0], ":X10700539N;");
    let defended = node.hear(ms(300), &frame(":X17123539N;"));
    assert_eq!(texts(&defended.send), [":X10700539N;"], "somebody asks for it: it is taken");
    let lost = texts(&node.hear(ms(400), &frame(":X195B4539N0101000000000303;")).send);
    assert_eq!(lost[0], ":X10703539N050101010301;", "somebody uses it: it is given up");
    assert_eq!((lost.len(), node.alias()), (5, None));
}

#[test]
fn orders_wait_until_there_is_an_alias() {
    let (layout, mut node) = node();
    node.begin(ms(0));
    let turnout = layout.turnout_named("W1").unwrap();
    assert!(node.order(&Output::Throw { turnout, lie: Lie::Diverging }).send.is_empty());
    let said = texts(&node.tick(ms(200)).send);
    // Accessory 12 is 15 in eleven bits, and with output 0 the event 01.01.02.00.00.FF.00.1E: as in the published table.
    assert!(said.contains(&":X195B4240N0101020000FF001E;".to_owned()), "{said:?}");
}

#[test]
fn a_node_answers_what_nodes_must_answer() {
    let (_, mut node) = permitted();
    let mut answers = |text: &str| texts(&node.hear(ms(300), &frame(text)).send);
    assert_eq!(answers(":X19490111N;"), [":X19170240N050101010301;"]);
    assert_eq!(answers(":X19490111N050101010301;"), [":X19170240N050101010301;"]);
    assert_eq!(answers(":X19490111N050101018C00;"), Vec::<String>::new(), "somebody else is meant");
    assert_eq!(answers(":X19488111N0240;"), [":X19170240N050101010301;"]);
    assert_eq!(answers(":X19488111N0241;"), Vec::<String>::new());
    assert_eq!(answers(":X10702111N;"), [":X10701240N050101010301;"]);
    assert_eq!(answers(":X198F4111N050101018C000001;"), [":X194C7240N050101018C000001;"]);
    assert_eq!(answers(":X19914111N0501010103010001;"), [":X19547240N0501010103010001;"]);
    assert_eq!(answers(":X19914111N0501010103010009;"), Vec::<String>::new());
    assert_eq!(answers(":X19828111N0240;"), [":X19668240N0111040000;"]);
    assert_eq!(answers(":X195EB111N024000;"), [":X19068240N0111104305EB;"], "it is no train");
    assert_eq!(answers(":X19068111N0240;"), Vec::<String>::new(), "nobody answers a refusal");
    // Datagram Transport, section 4.3, with the code of Message Network, section 3.5.5, for who knows no datagrams.
    assert_eq!(answers(":X1A240111N20;"), [":X19A48240N01111043;"]);
    assert_eq!(answers(":X1B240111N2000000000000000;"), Vec::<String>::new(), "it is not over");
    assert_eq!(answers(":X1D240111N20;"), [":X19A48240N01111043;"]);
    assert_eq!(answers(":X1A241111N20;"), Vec::<String>::new(), "somebody else is meant");
    assert_eq!(answers(":X19970111N;").len(), 7 + 5, "every event it hears, and every one it tells");
}

#[test]
fn sections_follow_their_events_and_what_is_said_when_asked() {
    let (layout, mut node) = permitted();
    let quay = layout.section_named("quay").unwrap();
    let magnet = layout.detector_named("magnet").unwrap();
    let said = |occupied| vec![Told::Input(Input::SectionReported { section: quay, occupied })];
    let mut told = |text: &str| node.hear(ms(300), &frame(text)).told;
    assert_eq!(told(":X195B4111N050101018C000001;"), said(true));
    assert_eq!(told(":X195B4111N050101018C000002;"), said(false));
    assert_eq!(told(":X19544111N050101018C000001;"), said(true), "identified as valid");
    assert_eq!(told(":X19545111N050101018C000001;"), said(false), "identified as invalid: it is the other");
    assert_eq!(told(":X19547111N050101018C000001;"), [], "not known");
    assert_eq!(told(":X195B4111N050101018C000005;"), [Told::Input(Input::SpotPassed { detector: magnet })]);
    assert_eq!(told(":X19544111N050101018C000005;"), [], "that something passes does not last");
    assert_eq!(told(":X195B4111N0501010199999999;"), []);
    // An event with more to say, in three frames: what is behind the event is not ours.
    assert_eq!(told(":X19F16111N050101018C000001;"), []);
    assert_eq!(told(":X19F15111N0000000000000000;"), []);
    assert_eq!(told(":X19F14111N00;"), said(true));
}

#[test]
fn a_reader_that_follows_the_draft_says_who_entered() {
    let (layout, mut node) = permitted();
    let (heron, plover) = (layout.train_named("Heron").unwrap(), layout.train_named("Plover").unwrap());
    let gate = layout.detector_named("gate").unwrap();
    let mut told = |text: &str| node.hear(ms(300), &frame(text)).told;
    // Working note on DCC detection (a draft): two bits that say how, then 14 bits of address.
    let entered = |train| vec![Told::Input(Input::TrainRead { detector: gate, train })];
    assert_eq!(told(":X195B4111N050101018C01780C;"), entered(heron), "forward, short 12");
    assert_eq!(told(":X195B4111N050101018C0184B3;"), entered(plover), "in reverse, long 1203");
    assert_eq!(told(":X195B4111N050101018C01380C;"), [], "it left");
    assert_eq!(told(":X195B4111N050101018C017800;"), [], "it is not known who");
}

#[test]
fn a_train_is_found_controlled_driven_and_told_that_we_are_there() {
    let (layout, mut node) = permitted();
    let train = layout.train_named("Heron").unwrap();
    let looks = texts(&node.tick(ms(2300)).send);
    assert_eq!(looks, [":X19490240N06010000000C;"], "who are you");
    assert!(node.order(&Output::Drive { train, direction: Direction::Forward, step: 0 }).send.is_empty());
    let met = texts(&node.hear(ms(2400), &frame(":X19170777N06010000000C;")).send);
    assert_eq!(met, [":X195EB240N1777200100050101;", ":X195EB240N2777010301;", ":X195EB240N0777000000;"]);
    let step = |node: &mut Node, direction, step| texts(&node.order(&Output::Drive { train, direction, step }).send);
    // 28 of 28 steps are 126 miles an hour, half of them 63: the published table of half floats.
    assert_eq!(step(&mut node, Direction::Forward, 28), [":X195EB240N077700530A;"]);
    assert_eq!(step(&mut node, Direction::Backward, 14), [":X195EB240N077700CF0A;"]);
    assert_eq!(step(&mut node, Direction::Backward, 0), [":X195EB240N0777008000;"], "it keeps its direction");
    let beat = texts(&node.hear(ms(3000), &frame(":X191E9777N0240400303;")).send);
    assert_eq!(beat, [":X195EB240N07774003;"]);
    let function = rows(FRAMES).into_iter().find(|row| row[0] == "set function 0 on").unwrap();
    let said = texts(&node.order(&Output::Function { train, number: 0, on: true }).send);
    assert_eq!(said, [function[4].replace("EB123N0456", "EB240N0777")], "as published");
}

/// The event of a row of the table of well-known events, as a message carries it.
fn well_known(meaning: &str) -> String {
    let found = rows(EVENTS).into_iter().find(|row| row[0] == meaning);
    format!(":X195B4111N{:016X};", id(&found.unwrap()[1]))
}

#[test]
fn whoever_on_the_bus_stops_everything_makes_every_train_stand() {
    let (_, mut node) = permitted();
    let mut told = |meaning: &str| node.hear(ms(300), &frame(&well_known(meaning))).told;
    for meaning in ["Emergency off (de-energize)", "Emergency stop of all operations"] {
        assert!(matches!(&told(meaning)[..], [Told::Stop(_)]), "{meaning}");
    }
    for meaning in ["Clear emergency off", "Clear emergency stop"] {
        assert!(matches!(&told(meaning)[..], [Told::Say(_)]), "{meaning}: that trains may run on a person says");
    }
    assert_eq!(told("Node recorded a new log entry"), []);
}

#[test]
fn a_train_whose_node_is_not_known_is_found_by_its_address() {
    let links = BUS.replace("trains = { \"Heron\" = \"06.01.00.00.00.0C\" }", "trains = { \"*\" = \"search\" }");
    let (layout, link) = one(&links);
    let mut node = Node::new(NODE, Events::new(std::sync::Arc::clone(&layout), &link));
    node.begin(ms(0));
    let asked = texts(&node.tick(ms(200)).send);
    // Train Search, 22 July 2024, section 5.2: the prefix, digits with F before them, and flags: 80 make one where there is none, 40
    // exactly, 20 an address, 08 of DCC, 04 a long one, 01 to 03 with 14, 28 or 128 steps.
    let prefix = rows(EVENTS).into_iter().find(|row| row[0] == "Train search prefix").unwrap();
    assert_eq!(prefix[1], "09.00.99.FF.qq.qq.qq.rr");
    let searched: Vec<&String> = asked.iter().filter(|text| text.starts_with(":X19914240N090099FF")).collect();
    let wanted = ["FFFF12EA", "FF1203EF", "FFFF21EB", "FF1022EF"].map(|end| format!(":X19914240N090099FF{end};"));
    assert_eq!(searched, wanted.iter().collect::<Vec<_>>());
    let train = layout.train_named("Heron").unwrap();
    assert!(node.order(&Output::Drive { train, direction: Direction::Forward, step: 28 }).send.is_empty());
    // Section 6.1: who is it identifies itself as a producer of that event. Which node that is has to be asked.
    let mut hear = |text: &str| node.hear(ms(400), &frame(text));
    assert_eq!(texts(&hear(":X19547777N090099FFFFFF12EA;").send), [":X19488240N0777;"]);
    let met = texts(&hear(":X19170777N0601000000FE;").send);
    assert_eq!(met, [":X195EB240N1777200100050101;", ":X195EB240N2777010301;", ":X195EB240N077700530A;"]);
    // Another says that it is the same: people are told, and the first is driven on.
    hear(":X19170888N0601000000FF;");
    let told = hear(":X19547888N090099FFFFFF12EA;").told;
    assert!(matches!(&told[..], [Told::Say(said)] if said.contains("Heron")), "{told:?}");
    let again = texts(&node.tick(ms(2300)).send).into_iter().filter(|text| text.starts_with(":X19914"));
    let again: Vec<String> = again.collect();
    assert!(
        again.iter().all(|text| !text.contains("FFFF12EA")) && again.len() == 3,
        "the others are searched on: {again:?}"
    );
    let left = texts(&node.order(&Output::Drive { train, direction: Direction::Forward, step: 0 }).send);
    assert_eq!(left, [":X195EB240N0777000000;"]);
    // One that leaves the bus, or gives its alias up, is searched for again.
    node.hear(ms(2400), &frame(":X10703777N0601000000FE;"));
    assert!(texts(&node.tick(ms(4400)).send).iter().any(|text| text.contains("FFFF12EA")));
}

#[test]
fn what_a_node_says_of_a_range_is_said_of_every_event_in_it() {
    let (_, mut node) = permitted();
    let named = |turn: Vec<Told>| {
        let said = turn.into_iter().find_map(|told| match told {
            Told::Say(said) => Some(said),
            _ => None,
        });
        said.unwrap_or_default().matches("8C.00.00.0").count()
    };
    // Event Transport, section 4: the lowest bits that are alike are those that may be otherwise: 00 to 03, and then 04 to 07.
    node.hear(ms(300), &frame(":X19524111N050101018C000003;"));
    node.hear(ms(300), &frame(":X19524111N050101018C000004;"));
    assert_eq!(named(node.tick(ms(3300)).told), 0, "all seven are told by somebody");
    let (_, mut node) = permitted();
    node.hear(ms(300), &frame(":X19524111N050101018C000003;"));
    assert_eq!(named(node.tick(ms(3300)).told), 4, "those from 04 on are told by nobody");
}

#[test]
fn who_only_listens_to_a_bus_says_nothing_and_hears_what_our_own_node_says() {
    let (layout, link) = one(BUS);
    let mut ear = Node::new(NODE, Events::new(std::sync::Arc::clone(&layout), &link)).listening();
    let begun = ear.begin(ms(0));
    assert_eq!((begun.send, begun.told), (Vec::new(), vec![Told::Here]));
    assert!(ear.tick(ms(5000)).send.is_empty());
    // Our own node asks for its alias, takes it and is asked things: it is for that node to answer.
    for text in [":X17050240N;", ":X10701240N050101010301;", ":X19490111N;", ":X19970111N;", ":X19488111N0240;"] {
        let turn = ear.hear(ms(6000), &frame(text));
        assert!(turn.send.is_empty() && matches!(&turn.told[..], [Told::Heard(_)]), "{text} {:?}", turn.told);
    }
    let quay = layout.section_named("quay").unwrap();
    let told = ear.hear(ms(6000), &frame(":X195B4240N050101018C000001;")).told;
    assert!(told.contains(&Told::Input(Input::SectionReported { section: quay, occupied: true })), "{told:?}");
}

#[test]
fn a_bus_that_falls_silent_is_asked_and_missed() {
    let (_, mut node) = permitted();
    let is_gone = |told: &[Told]| told.iter().any(|told| matches!(told, Told::Gone(_)));
    let asked = |node: &mut Node, at: u64| {
        let turn = node.tick(ms(at));
        let said: Vec<String> = texts(&turn.send).into_iter().filter(|text| text.starts_with(":X19488")).collect();
        (said, is_gone(&turn.told))
    };
    assert_eq!(asked(&mut node, 60_000), (Vec::new(), false), "there may be nobody to be asked");
    node.hear(ms(60_000), &frame(":X19100111N050101018C00;"));
    node.hear(ms(60_000), &frame(":X19100222N050101018C01;"));
    assert_eq!(asked(&mut node, 61_400), (Vec::new(), false));
    // Message Network, section 3.4.2: who is asked answers.
    assert_eq!(asked(&mut node, 61_500), (vec![":X19488240N0111;".to_owned()], false));
    node.hear(ms(61_600), &frame(":X19170111N050101018C00;"));
    assert_eq!(
        asked(&mut node, 63_100),
        (vec![":X19488240N0222;".to_owned()], false),
        "another is asked the next time"
    );
    assert_eq!(asked(&mut node, 64_600), (vec![":X19488240N0111;".to_owned()], false));
    assert_eq!(asked(&mut node, 66_100), (vec![":X19488240N0222;".to_owned()], false));
    assert_eq!(asked(&mut node, 67_600), (Vec::new(), true), "nobody answered");
}

#[test]
fn accessories_have_their_published_events() {
    for row in rows(ACCESSORIES).iter().filter(|row| row[0] == "12") {
        assert_eq!(id(&row[7]), 0x0101_0200_00FF_001E, "{row:?}");
    }
    assert!(rows(EVENTS).iter().any(|row| row[1] == "01.01.02.00.00.FF.0h.ll"));
    let duplicate = rows(EVENTS).into_iter().find(|row| row[0] == "Duplicate Node ID detected").unwrap();
    let (_, mut node) = permitted();
    let said = texts(&node.hear(ms(300), &frame(":X10701333N050101010301;")).send);
    assert_eq!(said, [format!(":X195B4240N{:016X};", id(&duplicate[1]))], "somebody else has our id");
}

#[test]
fn what_lies_between_frames_and_what_is_none_is_passed_over() {
    let mut frames = Frames::default();
    let heard =
        frames.hear(b"hello\r\n:X19490240N;:S123N01;:X1FN0;:XN;:X19490240N00112233445566778899;:X19490241N;:X194");
    assert_eq!(texts(&heard), [":X19490240N;", ":X19490241N;"]);
    assert_eq!(texts(&frames.hear(b"90242N;")), [":X19490242N;"]);
    assert_eq!(frames.garbled(), 4);
}
