//! Lines of JSON.

use std::sync::Arc;
use std::time::Duration;

use lineside::Told;
use lineside::adapter::Codec;
use serde_json::{Value, json};
use signaller::{Direction, Input, Output};
use track::Lie;
use track::wiring::By;

use super::siding::{ADAPTER, one};

fn codec(links: &str) -> (Arc<track::Layout>, Codec) {
    let (layout, link) = one(links);
    let By::Adapter(setup) = &link.by else { panic!("an adapter") };
    let codec = Codec::new(Arc::clone(&layout), &link, setup);
    (layout, codec)
}

fn lines(bytes: &[u8]) -> Vec<Value> {
    bytes
        .split(|byte| *byte == b'\n')
        .filter(|line| !line.is_empty())
        .map(|line| serde_json::from_slice(line).unwrap())
        .collect()
}

#[test]
fn an_adapter_is_greeted_asked_and_heard() {
    let (layout, mut codec) = codec(ADAPTER);
    let hello = lines(&codec.begin().send);
    assert_eq!((&hello[0]["lineclear"], &hello[0]["link"]), (&json!(1), &json!("box")));
    assert!(hello[0]["things"].as_array().unwrap().contains(&json!({ "section": "quay", "at": "quay" })));
    let early = codec.hear(b"{\"section\": \"quay\", \"occupied\": true}\n");
    assert!(matches!(&early.told[..], [Told::Say(why)] if why.contains("has not said who it is")));
    let greeted = codec.hear(b"{\"adapter\": 1, \"name\": \"box\"}\n");
    assert_eq!((greeted.told, lines(&greeted.send)), (vec![Told::Here], vec![json!({ "ask": "all" })]));
    let section = |name: &str| layout.section_named(name).unwrap();
    // Lines come as they please: cut anywhere.
    let text = b"{\"section\": \"quay\", \"occupied\": true}\r\n\n{\"section\": \"throat\", \"occupied\": false, \"new\": 1}\n{\"complete\": true}\n";
    let told: Vec<Told> = text.chunks(7).flat_map(|piece| codec.hear(piece).told).collect();
    assert_eq!(
        told,
        [
            Told::Input(Input::SectionReported { section: section("quay"), occupied: true }),
            Told::Input(Input::SectionReported { section: section("throat"), occupied: false }),
            Told::Complete,
        ]
    );
    let detector = layout.detector_named("gate").unwrap();
    let read = |name: &str| Told::Input(Input::TrainRead { detector, train: layout.train_named(name).unwrap() });
    let told = codec.hear(b"{\"reader\": \"gate\", \"address\": 1203, \"long\": true}\n{\"reader\": \"gate\", \"railcom\": \"A3AC 99 D5\"}\n").told;
    assert_eq!(told, [read("Plover")]);
}

#[test]
fn a_program_of_another_version_or_without_sense_is_ended() {
    let (_, mut codec) = codec(ADAPTER);
    codec.begin();
    assert!(matches!(&codec.hear(b"{\"adapter\": 2}\n").told[..], [Told::Gone(why)] if why.contains("version 2")));
    codec.begin();
    let told = codec.hear(&b"Traceback (most recent call last):\n".repeat(100)).told;
    assert_eq!(told.iter().filter(|told| matches!(told, Told::Say(_))).count(), 1, "said once, not a hundred times");
    assert!(matches!(told.last(), Some(Told::Gone(_))));
    codec.begin();
    let endless = codec.hear(&[b'x'; 200_000]).told;
    assert!(
        matches!(&endless[..], [Told::Say(why)] if why.contains("64 KiB")),
        "a line without end is told of while it comes"
    );
    assert_eq!(codec.hear(b"\n").told, []);
    let more = codec.hear(&vec![b'x'; 8_000_000]).told;
    assert!(matches!(more.last(), Some(Told::Gone(_))), "and one who does nothing else is no adapter");
    codec.begin();
    let gone = [0, 4999, 5000].map(|ms| !codec.tick(Duration::from_millis(60_000 + ms)).told.is_empty());
    assert_eq!(gone, [false, false, true], "nor is one who never says that it is one");
}

#[test]
fn orders_say_everything_that_a_program_needs() {
    let (layout, mut codec) = codec(ADAPTER);
    let train = layout.train_named("Plover").unwrap();
    let told = codec.order(&Output::Drive { train, direction: Direction::Forward, step: 5 });
    assert_eq!(
        lines(&told.send),
        [
            json!({ "train": "Plover", "at": "Plover", "address": 1203, "long": true, "steps": 126, "drive": "forward", "step": 5 })
        ]
    );
    let signal = layout.signal_named("S1").unwrap();
    let aspect = layout.book_of(signal).named("green").unwrap();
    let told = codec.order(&Output::Show { signal, aspect });
    assert_eq!(
        lines(&told.send),
        [json!({ "signal": "S1", "at": "S1", "show": "green", "lamps": ["green"], "flashing": [], "lit": true })]
    );
    assert_eq!(lines(&codec.tick(Duration::from_secs(9)).send), [json!({ "alive": 1 })]);
    assert!(codec.tick(Duration::from_millis(9500)).send.is_empty());
    assert_eq!(lines(&codec.tick(Duration::from_secs(10)).send), [json!({ "alive": 2 })]);
}

#[test]
fn ready_packets_are_sent_as_there_is_room_for_them() {
    let links = "[[link]]\nname = \"box\"\nby = \"adapter\"\ntcp = \"box:1\"\npackets = true\ntrains = \"all\"\nturnouts = { W1 = 5 }\n";
    let (layout, mut codec) = codec(links);
    codec.begin();
    codec.hear(b"{\"adapter\": 1}\n");
    let packets = |codec: &mut Codec, room: u8| -> Vec<Value> {
        lines(&codec.hear(format!("{{\"room\": {room}}}\n").as_bytes()).send)
    };
    assert_eq!(packets(&mut codec, 1), [json!({ "packet": "ff00ff" })], "nothing is to be said");
    let train = layout.train_named("Heron").unwrap();
    assert!(codec.order(&Output::Drive { train, direction: Direction::Forward, step: 28 }).send.is_empty());
    let turnout = layout.turnout_named("W1").unwrap();
    codec.order(&Output::Throw { turnout, lie: Lie::Straight });
    let next = packets(&mut codec, 4);
    // Accessory 5, second output: 82 F9 7B in the published table.
    assert!(next.contains(&json!({ "packet": "0c7f73" })) && next.contains(&json!({ "packet": "82f97b" })), "{next:?}");
}
