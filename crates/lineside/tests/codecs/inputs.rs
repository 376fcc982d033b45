//! Push buttons, levers and the like, over every kind of link.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use lineside::Told;
use lineside::lcc::{Events, Frame, Frames, Node};
use lineside::{adapter, lcc, modbus, mqtt};
use signaller::Input;
use track::wiring::{By, Thing};
use track::{Id, InputId};

use super::siding::one;

fn lever() -> InputId {
    InputId::from_index(0)
}

fn is(on: bool) -> Input {
    Input::InputReported { input: lever(), on }
}

#[test]
fn an_input_of_a_broker_is_heard_at_its_usual_topic_or_as_is_written() {
    for (inputs, topic, words) in [
        ("\"all\"", "lineclear/input/coal-stage-lever", [("on", true), ("off", false)]),
        (
            "{ \"coal stage lever\" = { topic = \"box/2\", at = \"/in/4\", on = 1, off = 0 } }",
            "box/2",
            [("{\"in\": {\"4\": 1}}", true), ("{\"in\": {\"4\": 0}}", false)],
        ),
    ] {
        let links = format!("[[link]]\nname = \"box\"\nby = \"mqtt\"\nbroker = \"box\"\ninputs = {inputs}\n");
        let (layout, link) = one(&links);
        let By::Mqtt(setup) = &link.by else { panic!("a broker") };
        let mut codec = mqtt::Codec::new(Arc::clone(&layout), &link, setup);
        assert_eq!(codec.subscriptions(), [(topic.to_owned(), 1)]);
        let mut hear = |payload: &str, is_retained: bool| {
            let message = mqtt::Message { topic, payload: payload.as_bytes(), is_retained, is_duplicate: false };
            codec.hear(Duration::ZERO, &message)
        };
        for (payload, on) in words {
            assert_eq!(hear(payload, false), [Told::Input(is(on))]);
            assert_eq!(hear(payload, true), [Told::Input(is(on))], "how a lever lies is kept by the broker");
        }
        assert_eq!(hear("pressed", false), []);
        let mirror = mqtt::Mirror::new(layout, &link, setup);
        if inputs == "\"all\"" {
            let said = mirror.report(&is(true)).unwrap();
            assert_eq!((said.topic.as_str(), said.payload.as_str()), (topic, "on"));
        }
    }
}

#[test]
fn an_input_of_an_adapter_is_told_by_a_line() {
    let links = "[[link]]\nname = \"box\"\nby = \"adapter\"\ntcp = \"box:1\"\ninputs = { \"coal stage lever\" = 3 }\n";
    let (layout, link) = one(links);
    let By::Adapter(setup) = &link.by else { panic!("an adapter") };
    let mut codec = adapter::Codec::new(Arc::clone(&layout), &link, setup);
    let hello = String::from_utf8(codec.begin().send).unwrap();
    assert!(hello.contains("{\"at\":\"3\",\"input\":\"coal stage lever\"}"), "{hello}");
    codec.hear(b"{\"adapter\": 1}\n");
    for on in [true, false] {
        let line = format!("{{\"input\": \"coal stage lever\", \"on\": {on}}}\n");
        assert_eq!(codec.hear(line.as_bytes()).told, [Told::Input(is(on))]);
    }
    let told = codec.hear(b"{\"input\": \"coal stage lever\", \"on\": 1}\n").told;
    assert!(matches!(&told[..], [Told::Say(why)] if why.contains("`on` is true or false")), "{told:?}");
}

#[test]
fn an_input_on_a_bus_is_told_by_one_event_for_on_and_another_for_off_and_is_asked_for() {
    let links = "[[link]]\nname = \"bus\"\nby = \"lcc\"\ntcp = \"box\"\nnode-id = \"05.01.01.01.03.01\"\n\
                 inputs = { \"coal stage lever\" = { on = \"05.01.01.01.8C.00.00.01\", off = \"05.01.01.01.8C.00.00.02\" } }\n";
    let (layout, link) = one(links);
    let By::Lcc(setup) = &link.by else { panic!("a bus") };
    let mut node = Node::new(0x0501_0101_0301, Events::new(Arc::clone(&layout), &link));
    node.begin(Duration::ZERO);
    let asked = node.tick(Duration::from_millis(200)).send;
    let mut mirror = lcc::Mirror::new(layout, &link, setup);
    mirror.begin(Duration::ZERO);
    mirror.tick(Duration::from_secs(1));
    for on in [true, false] {
        let frame = mirror.report(&is(on)).unwrap();
        assert_eq!(node.hear(Duration::from_secs(1), &frame).told, [Told::Input(is(on))]);
    }
    // Whoever is asked whether it is so answers for both events.
    let states = BTreeMap::from([(Thing::Input(lever()), is(true))]);
    let answers: Vec<Frame> = asked.iter().flat_map(|frame| mirror.hear(frame, &states).send).collect();
    let told: Vec<Told> = answers.iter().flat_map(|frame| node.hear(Duration::from_secs(2), frame).told).collect();
    assert_eq!(told, [Told::Input(is(true)), Told::Input(is(true))]);
    // Producer Identified Valid, event transport: MTI 0x544.
    let valid = Frames::default().hear(b":X19544111N050101018C000002;");
    assert_eq!(node.hear(Duration::from_secs(3), &valid[0]).told, [Told::Input(is(false))]);
}

#[test]
fn an_input_of_a_server_is_a_bit_of_any_of_its_tables() {
    for (at, request, on, off) in [
        ("input = 196", [0x02, 0x00, 0xC4, 0x00, 0x01], [0x02, 0x01, 0x01].to_vec(), [0x02, 0x01, 0x00].to_vec()),
        ("coil = 19", [0x01, 0x00, 0x13, 0x00, 0x01], [0x01, 0x01, 0x01].to_vec(), [0x01, 0x01, 0x00].to_vec()),
        (
            "input-register = 8, bit = 3, inverted = true",
            [0x04, 0x00, 0x08, 0x00, 0x01],
            [0x04, 0x02, 0x00, 0x00].to_vec(),
            [0x04, 0x02, 0x00, 0x08].to_vec(),
        ),
    ] {
        let links = format!(
            "[[link]]\nname = \"row\"\nby = \"modbus\"\ntcp = \"box\"\ninputs = {{ \"coal stage lever\" = {{ unit = 17, {at} }} }}\n"
        );
        let (_, link) = one(&links);
        let mut servers = modbus::Mirror::new(&link);
        for (is_on, answer) in [(true, on), (false, off)] {
            servers.report(&is(is_on));
            assert_eq!(servers.answer(17, &request).0, answer, "{at}");
        }
    }
}
