//! Lamps, relays and sounds, over every kind of link.

use std::sync::Arc;
use std::time::Duration;

use lineside::dcc::Packets;
use lineside::lcc::{Events, Frame, Node};
use lineside::{adapter, lcc, modbus, mqtt};
use signaller::Output;
use track::wiring::{By, Thing};
use track::{AccessoryId, Id, Layout};

use super::siding::one;

fn lamps() -> AccessoryId {
    AccessoryId::from_index(0)
}

fn switch(on: bool) -> Output {
    Output::Accessory { accessory: lamps(), on }
}

#[test]
fn an_accessory_of_a_broker_is_told_by_its_usual_topic_or_as_is_written() {
    for (accessories, on, off) in [
        ("\"all\"", "lineclear/accessory/quay-lamps/set on", "lineclear/accessory/quay-lamps/set off"),
        ("{ \"quay lamps\" = { topic = \"relay/3\", on = 1, off = 0, retain = true } }", "relay/3 1", "relay/3 0"),
    ] {
        let links = format!("[[link]]\nname = \"box\"\nby = \"mqtt\"\nbroker = \"box\"\naccessories = {accessories}\n");
        let (layout, link) = one(&links);
        let By::Mqtt(setup) = &link.by else { panic!("a broker") };
        let mut codec = mqtt::Codec::new(Arc::clone(&layout), &link, setup);
        let mirror = mqtt::Mirror::new(layout, &link, setup);
        for (order, wanted) in [(switch(true), on), (switch(false), off)] {
            let told = codec.order(&order);
            let [one] = &told[..] else { panic!("one message") };
            assert_eq!(format!("{} {}", one.topic, one.payload), wanted);
            assert_eq!(mirror.obey(&one.topic, one.payload.as_bytes()), Some(order));
        }
    }
}

fn behind_adapter(packets: &str) -> (Arc<Layout>, adapter::Codec, adapter::Mirror) {
    let links = format!(
        "[[link]]\nname = \"box\"\nby = \"adapter\"\ntcp = \"box:1\"\n{packets}accessories = {{ \"quay lamps\" = 17 }}\n"
    );
    let (layout, link) = one(&links);
    let By::Adapter(setup) = &link.by else { panic!("an adapter") };
    let codec = adapter::Codec::new(Arc::clone(&layout), &link, setup);
    let mirror = adapter::Mirror::new(Arc::clone(&layout), &link);
    (layout, codec, mirror)
}

#[test]
fn an_accessory_of_an_adapter_is_told_by_a_line() {
    let (_, mut codec, mirror) = behind_adapter("");
    for on in [true, false] {
        let line = String::from_utf8(codec.order(&switch(on)).send).unwrap();
        assert_eq!(line, format!("{{\"accessory\":\"quay lamps\",\"at\":\"17\",\"on\":{on}}}\n"));
        assert_eq!(mirror.obey(&serde_json::from_str(&line).unwrap()), Some(switch(on)));
    }
}

#[test]
fn an_accessory_decoder_is_told_by_packets_the_one_output_for_on_and_the_other_for_off() {
    let (layout, mut codec, _) = behind_adapter("packets = true\n");
    codec.begin();
    codec.hear(b"{\"adapter\": 1}\n");
    assert!(codec.order(&switch(true)).send.is_empty(), "it is sent when there is room for a packet");
    let said = String::from_utf8(codec.hear(b"{\"room\": 9}\n").send).unwrap();
    // S-9.2.1, section D: 10AAAAAA 1AAACDDR. Number 17 is pair 0 of decoder address 5 (the first four are those of address 1).
    assert!(said.contains("{\"packet\":\"85f97c\"}"), "{said}");
    let mut packets = Packets::new(&layout, &[(Thing::Accessory(lamps()), String::new(), "17".to_owned())]);
    let mut next = |on: bool| {
        assert!(packets.order(&switch(on)));
        (0..20).map(|_| packets.next_packet()).find(|packet| packet[0] == 0x85).unwrap()
    };
    assert_eq!((next(true)[1] & 1, next(false)[1] & 1), (1, 0));
}

#[test]
fn an_accessory_on_a_bus_is_told_by_one_event_for_on_and_another_for_off() {
    for (at, on, off) in [
        ("on = \"05.01.01.01.8C.00.00.01\", off = \"05.01.01.01.8C.00.00.02\"", "050101018C000001", "050101018C000002"),
        // Event identifiers, well-known events: 01 01 02 00 00 FF and twelve bits of an accessory decoder.
        ("accessory = 12", "01010200 00FF000F 1", "01010200 00FF000F 0"),
    ] {
        let links = format!(
            "[[link]]\nname = \"bus\"\nby = \"lcc\"\ntcp = \"box\"\nnode-id = \"05.01.01.01.03.01\"\n\
             accessories = {{ \"quay lamps\" = {{ {at} }} }}\n"
        );
        let (layout, link) = one(&links);
        let By::Lcc(setup) = &link.by else { panic!("a bus") };
        let mut node = Node::new(0x0501_0101_0301, Events::new(Arc::clone(&layout), &link));
        node.begin(Duration::ZERO);
        node.tick(Duration::from_millis(200));
        let mut mirror = lcc::Mirror::new(layout, &link, setup);
        let mut told = Vec::new();
        for order in [switch(true), switch(false)] {
            let sent = node.order(&order).send;
            let obeyed: Vec<Output> =
                sent.iter().flat_map(|frame| mirror.hear(frame, &std::collections::BTreeMap::new()).orders).collect();
            assert_eq!(obeyed, [order]);
            told.extend(sent.iter().map(Frame::text));
        }
        if at == "accessory = 12" {
            let number = |text: &str| u64::from_str_radix(text[11..].trim_end_matches(';'), 16).unwrap();
            assert_eq!((number(&told[0]) & 1, number(&told[0]) ^ number(&told[1])), (1, 1), "{told:?} {on} {off}");
        } else {
            assert_eq!(told, [format!(":X195B4240N{on};"), format!(":X195B4240N{off};")]);
        }
    }
}

#[test]
fn an_accessory_of_a_server_is_a_coil() {
    let links = "[[link]]\nname = \"row\"\nby = \"modbus\"\ntcp = \"box\"\n\
                 accessories = { \"quay lamps\" = { unit = 17, coil = 172 } }\n";
    let (_, link) = one(links);
    let mut servers = modbus::Mirror::new(&link);
    // Modbus application protocol 1.1b3, section 6.5: 05 00AC FF00 sets coil 172.
    assert_eq!(servers.answer(17, &[0x05, 0x00, 0xAC, 0xFF, 0x00]).1, [switch(true)]);
    assert_eq!(servers.answer(17, &[0x05, 0x00, 0xAC, 0x00, 0x00]).1, [switch(false)]);
}
