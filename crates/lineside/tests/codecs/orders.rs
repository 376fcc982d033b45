//! Emergency stops, functions, the power of districts, and trains with several engines, over every kind of link.

use std::sync::Arc;
use std::time::Duration;

use lineside::dcc::Packets;
use lineside::lcc::{Events, Frame, Frames, Mirror, Node};
use lineside::{Told, adapter, mqtt};
use serde_json::{Value, json};
use signaller::{Direction, Input, Output};
use track::wiring::{By, Thing};
use track::{Layout, Lie, TrainId};

use super::siding::{ADAPTER, BROKER, one};

const FORWARD: Direction = Direction::Forward;
const BACKWARD: Direction = Direction::Backward;

fn drive(train: TrainId, direction: Direction, step: u8) -> Output {
    Output::Drive { train, direction, step }
}

fn packets() -> (Arc<Layout>, Packets) {
    let (layout, _) = one(BROKER);
    let trains: Vec<_> = layout.trains.ids().map(|id| (Thing::Train(id), String::new(), String::new())).collect();
    let packets = Packets::new(&layout, &trains);
    (layout, packets)
}

/// What of the next packets is for a decoder: what stands between its address and the error detection byte.
fn next_for(packets: &mut Packets, address: &[u8]) -> Vec<Vec<u8>> {
    let all = (0..300).map(|_| packets.next_packet());
    all.filter_map(|packet| Some(packet.strip_prefix(address)?[..packet.len() - address.len() - 1].to_vec())).collect()
}

#[test]
fn packets_make_a_train_stand_at_once_until_it_is_given_a_step() {
    let (layout, mut packets) = packets();
    let train = layout.train_named("Heron").unwrap();
    packets.order(&drive(train, FORWARD, 9));
    next_for(&mut packets, &[12]);
    for _ in 0..3 {
        assert!(packets.order(&Output::EmergencyStop { train }));
        assert!(packets.order(&drive(train, FORWARD, 0)));
    }
    // S-9.2, section B: 01DCSSSS; SSSS 0001 is the emergency stop, 0000 a stop, D is 1 for forward.
    let said = next_for(&mut packets, &[12]);
    assert!(said.len() > 20 && said.iter().all(|said| *said == [0b0110_0001]), "{said:02X?}");
    packets.order(&drive(train, BACKWARD, 0));
    assert_eq!(next_for(&mut packets, &[12])[0], [0b0100_0001], "headlights go by its direction");
    packets.order(&drive(train, BACKWARD, 2));
    assert_eq!(next_for(&mut packets, &[12])[0], [0b0101_0010], "step 2 of 28: CSSSS 10010");
    packets.order(&drive(train, BACKWARD, 0));
    assert_eq!(next_for(&mut packets, &[12])[0], [0b0100_0000], "it was given a step: now it brakes");
}

#[test]
fn a_train_that_is_to_stand_at_once_is_told_before_all_others() {
    let (layout, mut packets) = packets();
    let train = |name| layout.train_named(name).unwrap();
    let all = ["Heron", "Plover", "Teal"].map(train);
    assert!(all.iter().all(|&train| packets.order(&drive(train, FORWARD, 9))));
    next_for(&mut packets, &[12]);
    packets.order(&drive(all[0], FORWARD, 10));
    packets.order(&drive(all[2], FORWARD, 0));
    packets.order(&Output::EmergencyStop { train: all[1] });
    let next: Vec<Vec<u8>> = (0..20).map(|_| packets.next_packet()).collect();
    // Long 1203 is C4 B3; S-9.2.1, section C: 00111111 DSSSSSSS with 128 steps, and 1 for the emergency stop.
    let stop = next.iter().position(|packet| packet[..4] == [0xC4, 0xB3, 0x3F, 0x81]).unwrap();
    assert!(stop <= 1, "only what kept its decoder may come before: {next:02X?}");
}

#[test]
fn packets_switch_functions_on_and_off_group_by_group() {
    let (layout, mut packets) = packets();
    let train = layout.train_named("Heron").unwrap();
    let mut function = |number, on| {
        assert!(packets.order(&Output::Function { train, number, on }));
        next_for(&mut packets, &[12]).first().cloned()
    };
    // S-9.2.1, section C: 100DDDDD with FL in bit 4, 1011DDDD, 1010DDDD, 11011110 and 11011111 with a byte of eight.
    assert_eq!(function(0, false), Some(vec![0b1000_0000]), "what is off is said, too: it may have been on");
    assert_eq!(function(0, true), Some(vec![0b1001_0000]));
    assert_eq!(function(3, true), Some(vec![0b1001_0100]));
    assert_eq!(function(0, false), Some(vec![0b1000_0100]), "the others of its group stay as they are");
    assert_eq!(function(6, true), Some(vec![0b1011_0010]));
    assert_eq!(function(12, true), Some(vec![0b1010_1000]));
    assert_eq!(function(13, true), Some(vec![0b1101_1110, 0b0000_0001]));
    assert_eq!(function(28, true), Some(vec![0b1101_1111, 0b1000_0000]));
}

#[test]
fn packets_drive_every_engine_of_a_train_each_the_way_it_stands() {
    let (layout, mut packets) = packets();
    let train = layout.train_named("Teal").unwrap();
    packets.order(&drive(train, FORWARD, 9));
    // Long 1022 is C3 FE (S-9.2.1, section A); step 9 of 126 is 10.
    let mut said = |address: &[u8]| next_for(&mut packets, address)[0].clone();
    assert_eq!((said(&[21]), said(&[0xC3, 0xFE])), (vec![0x3F, 0x8A], vec![0x3F, 0x0A]));
    packets.order(&Output::EmergencyStop { train });
    packets.order(&Output::Function { train, number: 1, on: true });
    for (address, stop) in [(&[21][..], 0x81), (&[0xC3, 0xFE], 0x01)] {
        let said = next_for(&mut packets, address);
        assert!(said.contains(&vec![0x3F, stop]) && said.contains(&vec![0b1000_0001]), "{said:02X?}");
    }
}

#[test]
fn packets_say_nothing_old_to_whoever_comes_back() {
    let links = "[[link]]\nname = \"box\"\nby = \"adapter\"\ntcp = \"box:1\"\npackets = true\ntrains = \"all\"\ndistricts = \"all\"\n";
    let (layout, link) = one(links);
    let By::Adapter(setup) = &link.by else { panic!("an adapter") };
    let mut codec = adapter::Codec::new(Arc::clone(&layout), &link, setup);
    let train = layout.train_named("Heron").unwrap();
    let greet = |codec: &mut adapter::Codec| {
        codec.begin();
        codec.hear(b"{\"adapter\": 1}\n");
    };
    let next = |codec: &mut adapter::Codec| String::from_utf8(codec.hear(b"{\"room\": 3}\n").send).unwrap();
    greet(&mut codec);
    assert!(codec.order(&drive(train, FORWARD, 9)).send.is_empty());
    assert!(next(&mut codec).contains("\"0c"));
    greet(&mut codec);
    assert_eq!(
        next(&mut codec),
        "{\"packet\":\"ff00ff\"}\n".repeat(3),
        "it is told how it shall run once all was reported"
    );
    let power = codec.order(&Output::Power { district: layout.district_named("harbour").unwrap(), live: false });
    assert_eq!(power.send, b"{\"at\":\"harbour\",\"district\":\"harbour\",\"power\":false}\n", "no packet can do that");
}

fn lines(spoken: &adapter::Spoken) -> Vec<Value> {
    let lines = spoken.send.split(|byte| *byte == b'\n').filter(|line| !line.is_empty());
    lines.map(|line| serde_json::from_slice(line).unwrap()).collect()
}

#[test]
fn lines_of_json_stop_at_once_switch_functions_and_power_and_reach_every_engine() {
    let (layout, link) = one(ADAPTER);
    let By::Adapter(setup) = &link.by else { panic!("an adapter") };
    let mut codec = adapter::Codec::new(Arc::clone(&layout), &link, setup);
    let mirror = adapter::Mirror::new(Arc::clone(&layout), &link);
    let (heron, teal) = (layout.train_named("Heron").unwrap(), layout.train_named("Teal").unwrap());
    let mut order = |output: &Output| lines(&codec.order(output));
    order(&drive(heron, BACKWARD, 9));
    let stop = json!({ "train": "Heron", "at": "Heron", "address": 12, "long": false, "steps": 28, "drive": "backward", "step": 0, "emergency": true });
    // Whoever does not know the word `emergency` lets it stand all the same.
    assert_eq!(order(&Output::EmergencyStop { train: heron }), std::slice::from_ref(&stop));
    assert_eq!(
        order(&drive(heron, BACKWARD, 0)),
        std::slice::from_ref(&stop),
        "an ordinary stop does not take its place"
    );
    assert_eq!(mirror.obey(&stop), Some(Output::EmergencyStop { train: heron }));
    assert_eq!(order(&drive(heron, BACKWARD, 1))[0].get("emergency"), None);
    let each = order(&drive(teal, FORWARD, 3));
    let said = |line: &Value| (line["address"].clone(), line["long"].clone(), line["drive"].clone());
    let wanted = [(json!(21), json!(false), json!("forward")), (json!(1022), json!(true), json!("backward"))];
    assert_eq!(each.iter().map(said).collect::<Vec<_>>(), wanted);
    for output in [
        drive(teal, FORWARD, 3),
        drive(teal, BACKWARD, 0),
        Output::Function { train: teal, number: 28, on: true },
        Output::Function { train: teal, number: 0, on: false },
        Output::EmergencyStop { train: teal },
        Output::Power { district: layout.district_named("harbour").unwrap(), live: false },
        Output::Power { district: layout.district_named("harbour").unwrap(), live: true },
    ] {
        let told = order(&output);
        assert!(!told.is_empty());
        assert!(told.iter().all(|line| mirror.obey(line) == Some(output.clone())), "{told:?} is {output:?}");
    }
    assert_eq!(
        order(&Output::Function { train: heron, number: 2, on: true }),
        [json!({ "train": "Heron", "at": "Heron", "address": 12, "long": false, "function": 2, "on": true })]
    );
}

fn broker(links: &str) -> (Arc<Layout>, mqtt::Codec, mqtt::Mirror) {
    let (layout, link) = one(links);
    let By::Mqtt(setup) = &link.by else { panic!("a broker") };
    let codec = mqtt::Codec::new(Arc::clone(&layout), &link, setup);
    let mirror = mqtt::Mirror::new(Arc::clone(&layout), &link, setup);
    (layout, codec, mirror)
}

fn texts(told: &[mqtt::Publish]) -> Vec<String> {
    let kept = |one: &mqtt::Publish| if one.is_retained { " (kept)" } else { "" };
    told.iter().map(|one| format!("{}{} {}", one.topic, kept(one), one.payload)).collect()
}

#[test]
fn messages_in_usual_words_are_what_a_pretend_table_hears_at_the_other_end() {
    let (layout, mut codec, mirror) = broker(BROKER);
    let (heron, teal) = (layout.train_named("Heron").unwrap(), layout.train_named("Teal").unwrap());
    let district = layout.district_named("harbour").unwrap();
    codec.order(&drive(heron, BACKWARD, 5));
    let told = codec.order(&Output::EmergencyStop { train: heron });
    let stop = r#"{"train": "Heron", "address": 12, "long": false, "steps": 28, "direction": "backward", "step": 0, "emergency": true}"#;
    assert_eq!(texts(&told), [format!("lineclear/train/Heron/set {stop}")]);
    assert_eq!(codec.order(&drive(heron, BACKWARD, 0)), told, "an ordinary stop does not take its place");
    let told = codec.order(&Output::Function { train: heron, number: 4, on: false });
    let off = r#"{"train": "Heron", "address": 12, "long": false, "function": 4, "on": false}"#;
    assert_eq!(texts(&told), [format!("lineclear/train/Heron/function {off}")]);
    assert_eq!(texts(&codec.order(&Output::Power { district, live: false })), ["lineclear/district/harbour/set dark"]);
    for output in [
        drive(teal, FORWARD, 3),
        drive(teal, BACKWARD, 0),
        Output::EmergencyStop { train: teal },
        Output::Function { train: teal, number: 28, on: true },
        Output::Power { district, live: true },
        Output::Power { district, live: false },
    ] {
        let told = codec.order(&output);
        let count = if matches!(output, Output::Power { .. }) { 1 } else { 2 };
        assert_eq!(told.len(), count, "one for each engine");
        for one in told {
            assert!(mirror.subscriptions().iter().any(|(topic, _)| *topic == one.topic), "{one:?}");
            assert_eq!(mirror.obey(&one.topic, one.payload.as_bytes()), Some(output.clone()), "{one:?}");
        }
    }
}

#[test]
fn messages_are_put_in_the_words_that_are_written_and_no_others() {
    let links = r#"[[link]]
name = "box"
by = "mqtt"
broker = "box"
[link.trains]
"Heron" = { topic = "loco/12", says = "{direction} {step}" }
"Plover" = { topic = "loco/{address}", says = "{direction} {step}", stop-says = "halt {direction}", function-says = "{on}", function-topic = "loco/{address}/f{function}", retain = true }
"Teal" = { topic = "loco/{address}", says = "{direction} {step}", stop-says = "halt" }
[link.districts]
"harbour" = { topic = "power/1", set-topic = "power/1/do", set-live = 1, set-dark = 0 }
"#;
    let (layout, mut codec, mirror) = broker(links);
    let train = |name| layout.train_named(name).unwrap();
    let mut order = |output: &Output| texts(&codec.order(output));
    assert_eq!(
        order(&Output::EmergencyStop { train: train("Heron") }),
        ["loco/12 forward 0"],
        "there is no other word"
    );
    assert!(order(&Output::Function { train: train("Heron"), number: 0, on: true }).is_empty());
    order(&drive(train("Plover"), BACKWARD, 7));
    assert_eq!(order(&Output::EmergencyStop { train: train("Plover") }), ["loco/1203 (kept) halt backward"]);
    let told = order(&Output::Function { train: train("Plover"), number: 3, on: true });
    assert_eq!(told, ["loco/1203/f3 (kept) true"]);
    assert_eq!(order(&drive(train("Teal"), FORWARD, 7)), ["loco/21 forward 7", "loco/1022 backward 7"]);
    assert_eq!(order(&Output::EmergencyStop { train: train("Teal") }), ["loco/21 halt", "loco/1022 halt"]);
    let district = layout.district_named("harbour").unwrap();
    assert_eq!(order(&Output::Power { district, live: true }), ["power/1/do 1"]);
    assert!(mirror.subscriptions().iter().any(|(topic, _)| topic == "loco/1203/f28"));
}

#[test]
fn a_node_that_is_told_no_address_answers_for_all_engines_of_its_train() {
    let links = "[[link]]\nname = \"box\"\nby = \"mqtt\"\nbroker = \"box\"\ntrains = { Teal = { topic = \"loco/{name}\", says = \"{direction} {step}\" } }\n";
    let (layout, mut codec, _) = broker(links);
    let train = layout.train_named("Teal").unwrap();
    assert_eq!(texts(&codec.order(&drive(train, FORWARD, 7))), ["loco/Teal forward 7"]);
}

const BUS: &str = r#"[[link]]
name = "bus"
by = "lcc"
tcp = "box"
node-id = "05.01.01.01.03.01"
trains = { "Heron" = "06.01.00.00.00.0C", "Teal" = ["06.01.00.00.00.15", "06.01.00.00.C3.FE"] }
districts = { "harbour" = { set-live = "05.01.01.01.8C.00.00.01", set-dark = "05.01.01.01.8C.00.00.02" } }
"#;

/// A node that has its alias, which is 240.
fn node(links: &str) -> (Arc<Layout>, Node) {
    let (layout, link) = one(links);
    let mut node = Node::new(0x0501_0101_0301, Events::new(Arc::clone(&layout), &link));
    node.begin(Duration::ZERO);
    node.tick(Duration::from_millis(200));
    assert_eq!(node.alias(), Some(0x240));
    (layout, node)
}

fn framed(frames: &[Frame]) -> Vec<String> {
    frames.iter().map(Frame::text).collect()
}

/// A node is there.
fn meets(node: &mut Node, text: &str) -> Vec<String> {
    framed(&node.hear(Duration::from_secs(1), &Frames::default().hear(text.as_bytes())[0]).send)
}

#[test]
fn a_train_node_is_stopped_at_once_and_its_functions_are_set() {
    let (layout, mut node) = node(BUS);
    let train = layout.train_named("Heron").unwrap();
    meets(&mut node, ":X19170777N06010000000C;");
    let mut order = |output: &Output| framed(&node.order(output).send);
    assert_eq!(order(&drive(train, BACKWARD, 14)).last().unwrap(), ":X195EB240N077700CF0A;");
    // Train Control, 22 July 2024, section 4.3: 02 is the emergency stop; 01 sets a function, with three bytes for which and two for
    // its value; section 6.3: 1 is on, 0 is off; section 7.1: the functions of a DCC decoder are counted from 0.
    assert_eq!(order(&Output::EmergencyStop { train }), [":X195EB240N077702;"]);
    assert_eq!(order(&drive(train, BACKWARD, 0)), [":X195EB240N077702;"], "a speed of 0 would lift it");
    assert_eq!(order(&Output::Function { train, number: 5, on: true }), [":X195EB240N0777010000050001;"]);
    assert_eq!(order(&Output::Function { train, number: 5, on: false }), [":X195EB240N0777010000050000;"]);
    assert_eq!(order(&drive(train, BACKWARD, 14)), [":X195EB240N077700CF0A;"]);
    assert_eq!(order(&drive(train, BACKWARD, 0)), [":X195EB240N0777008000;"], "it was given a step");
    let district = layout.district_named("harbour").unwrap();
    assert_eq!(order(&Output::Power { district, live: false }), [":X195B4240N050101018C000002;"]);
    assert_eq!(order(&Output::Power { district, live: true }), [":X195B4240N050101018C000001;"]);
}

#[test]
fn a_train_node_that_comes_late_is_told_everything_and_one_that_comes_back_nothing_old() {
    let (layout, mut node) = node(BUS);
    let train = layout.train_named("Heron").unwrap();
    node.order(&drive(train, FORWARD, 28));
    node.order(&Output::Function { train, number: 0, on: true });
    node.order(&Output::EmergencyStop { train });
    let met = meets(&mut node, ":X19170777N06010000000C;");
    // It is taken over in two frames, stopped, and its light is switched on.
    let wanted = [
        ":X195EB240N1777200100050101;",
        ":X195EB240N2777010301;",
        ":X195EB240N077702;",
        ":X195EB240N0777010000000001;",
    ];
    assert_eq!(met, wanted);
    node.begin(Duration::from_secs(2));
    node.tick(Duration::from_secs(3));
    assert!(meets(&mut node, ":X19170777N06010000000C;").is_empty(), "nobody has said how it shall run since");
}

#[test]
fn every_train_node_of_a_train_is_driven_the_way_it_stands_and_one_for_all_as_the_train_sees_it() {
    let (layout, mut several) = node(BUS);
    let train = layout.train_named("Teal").unwrap();
    meets(&mut several, ":X19170111N060100000015;");
    meets(&mut several, ":X19170222N06010000C3FE;");
    several.order(&drive(train, FORWARD, 0));
    let told = framed(&several.order(&drive(train, FORWARD, 126)).send);
    // 126 miles an hour, forward and in reverse: the published table of half floats.
    assert_eq!(told, [":X195EB240N011100530A;", ":X195EB240N022200D30A;"]);
    let stopped = framed(&several.order(&Output::EmergencyStop { train }).send);
    assert_eq!(stopped, [":X195EB240N011102;", ":X195EB240N022202;"]);
    let links = BUS.replace("[\"06.01.00.00.00.15\", \"06.01.00.00.C3.FE\"]", "\"06.01.00.00.00.15\"");
    let (_, mut single) = node(&links);
    meets(&mut single, ":X19170111N060100000015;");
    single.order(&drive(train, FORWARD, 0));
    assert_eq!(framed(&single.order(&drive(train, BACKWARD, 126)).send), [":X195EB240N011100D30A;"]);
}

#[test]
fn what_pretend_nodes_say_on_a_bus_is_heard_and_what_is_ordered_is_obeyed() {
    let links = BUS
        .replace("{ set-live", "{ live = \"05.01.01.01.8C.00.00.03\", dark = \"05.01.01.01.8C.00.00.04\", set-live")
        + "sections = { quay = { occupied = \"05.01.01.01.8C.00.00.05\", free = \"05.01.01.01.8C.00.00.06\" } }\n\
           turnouts = { W1 = { straight = \"05.01.01.01.8C.00.00.07\", diverging = \"05.01.01.01.8C.00.00.08\", accessory = 12 } }\n";
    let (layout, link) = one(&links);
    let By::Lcc(setup) = &link.by else { panic!("a bus") };
    let mut mirror = Mirror::new(Arc::clone(&layout), &link, setup);
    let (_, mut node) = node(&links);
    let now = Duration::from_secs(1);
    mirror.begin(now);
    let turnout = layout.turnout_named("W1").unwrap();
    let district = layout.district_named("harbour").unwrap();
    let inputs = [
        Input::SectionReported { section: layout.section_named("quay").unwrap(), occupied: true },
        Input::TurnoutReported { turnout, lie: Some(Lie::Diverging) },
        Input::PowerReported { district, live: false },
    ];
    assert_eq!(mirror.report(&inputs[0]), None, "it has no alias yet");
    let mut said = mirror.tick(now + Duration::from_millis(200));
    for input in &inputs {
        let frame = mirror.report(input).unwrap();
        assert_eq!(node.hear(now, &frame).told, [Told::Input(input.clone())]);
    }
    let (heron, teal) = (layout.train_named("Heron").unwrap(), layout.train_named("Teal").unwrap());
    let mut orders = vec![
        Output::Throw { turnout, lie: Lie::Straight },
        Output::Power { district, live: true },
        Output::Function { train: heron, number: 7, on: true },
        Output::EmergencyStop { train: heron },
    ];
    orders.extend((0..=28).map(|step| drive(heron, BACKWARD, step)).rev());
    orders.extend([drive(teal, FORWARD, 77), drive(teal, BACKWARD, 0)]);
    // The trains come, and are met before they are ordered to do anything.
    let states = inputs.iter().map(|input| (Thing::Turnout(turnout), input.clone())).collect();
    said.drain(..).for_each(|frame| drop(node.hear(now, &frame)));
    for order in orders {
        let told = node.order(&order).send;
        let obeyed: Vec<Output> = told.iter().flat_map(|frame| mirror.hear(frame, &states).orders).collect();
        let count = if matches!(order, Output::Drive { train, .. } if train == teal) { 2 } else { 1 };
        assert_eq!(obeyed, vec![order; count]);
    }
    assert!(mirror.is_controlled());
    let asked = mirror.tick(now + Duration::from_secs(9));
    let answers: Vec<Frame> = asked.iter().flat_map(|frame| node.hear(now, frame).send).collect();
    assert_eq!(answers.len(), 3, "each train asks whether we are still there, and we are");
}

#[test]
fn pretend_servers_answer_as_the_published_examples_do() {
    let links = r#"[[link]]
name = "row"
by = "modbus"
tcp = "box"
sections = { quay = { unit = 17, input = 197 }, throat = { unit = 17, register = 108, bit = 1 } }
turnouts = { W1 = { straight = { unit = 17, input = 200 }, set = { unit = 17, coil = 172 } } }
spots = { magnet = { unit = 17, input = 300 } }
districts = { harbour = { set = { unit = 17, coil = 173, inverted = true } } }
"#;
    let (layout, link) = one(links);
    let mut servers = lineside::modbus::Mirror::new(&link);
    let section =
        |name: &str, occupied| Input::SectionReported { section: layout.section_named(name).unwrap(), occupied };
    servers.report(&section("quay", true));
    servers.report(&section("throat", true));
    // Modbus application protocol 1.1b3, section 6.2: 02 00C4 0016 asks for 22 inputs from 196 on, of which three bytes tell.
    let (answer, orders) = servers.answer(17, &[0x02, 0x00, 0xC4, 0x00, 0x16]);
    assert_eq!((answer, orders), (vec![0x02, 0x03, 0b10, 0, 0], Vec::new()));
    let mut magnet = || servers.answer(17, &[0x02, 0x01, 0x2C, 0x00, 0x01]).0[2];
    assert_eq!(magnet(), 0);
    servers.report(&Input::SpotPassed { detector: layout.detector_named("magnet").unwrap() });
    let mut magnet = || servers.answer(17, &[0x02, 0x01, 0x2C, 0x00, 0x01]).0[2];
    assert_eq!((magnet(), magnet()), (1, 0), "that something passed is kept until it is asked for");
    // Section 6.3: 03 006B 0003 asks for three registers from 107 on.
    assert_eq!(servers.answer(17, &[0x03, 0x00, 0x6B, 0x00, 0x03]).0, [0x03, 0x06, 0, 0, 0, 2, 0, 0]);
    // Section 6.5: 05 00AC FF00 sets coil 172, and is answered by itself.
    let set = [0x05, 0x00, 0xAC, 0xFF, 0x00];
    let turnout = layout.turnout_named("W1").unwrap();
    let throw = Output::Throw { turnout, lie: Lie::Diverging };
    assert_eq!(servers.answer(17, &set), (set.to_vec(), vec![throw]));
    assert_eq!(servers.answer(17, &set), (set.to_vec(), Vec::new()), "it is so already");
    let district = layout.district_named("harbour").unwrap();
    let power = servers.answer(17, &[0x05, 0x00, 0xAD, 0xFF, 0x00]).1;
    assert_eq!(power, [Output::Power { district, live: false }], "inverted");
    assert_eq!(servers.answer(17, &[0x05, 0x00, 0xAC, 0x12, 0x34]).0, [0x85, 3], "section 6.5: no such value");
    assert_eq!(servers.answer(17, &[0x2B]).0, [0xAB, 1], "section 7: no such function");
    assert_eq!(servers.answer(17, &[0x01, 0, 0, 0xFF, 0xFF]).0, [0x81, 3], "more than 2000");
}
