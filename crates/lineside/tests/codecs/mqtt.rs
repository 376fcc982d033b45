//! What topics and payloads mean.

use std::sync::Arc;
use std::time::Duration;

use lineside::Told;
use lineside::mqtt::{Codec, Message, Mirror};
use signaller::{Aspect, Direction, Input, Output};
use track::Lie;
use track::wiring::By;

use super::siding::{BROKER, one};

fn codec(links: &str) -> (Arc<track::Layout>, Codec) {
    let (layout, link) = one(links);
    let By::Mqtt(setup) = &link.by else { panic!("a broker") };
    let codec = Codec::new(Arc::clone(&layout), &link, setup);
    (layout, codec)
}

fn hear(codec: &mut Codec, topic: &str, payload: &[u8]) -> Vec<Told> {
    codec.hear(Duration::ZERO, &Message { topic, payload, is_retained: false, is_duplicate: false })
}

#[test]
fn usual_words_are_understood_and_others_are_not() {
    let (layout, mut codec) = codec(BROKER);
    let quay = layout.section_named("quay").unwrap();
    let occupied = |occupied| vec![Told::Input(Input::SectionReported { section: quay, occupied })];
    assert_eq!(hear(&mut codec, "lineclear/section/quay", b"occupied"), occupied(true));
    assert_eq!(hear(&mut codec, "lineclear/section/quay", b" free\n"), occupied(false));
    for nonsense in [&b"Occupied"[..], b"", b"1", b"\xff\xfe", b"occupied free"] {
        assert_eq!(hear(&mut codec, "lineclear/section/quay", nonsense), [], "{nonsense:?}");
    }
    assert_eq!(hear(&mut codec, "lineclear/section/elsewhere", b"occupied"), []);
    let turnout = layout.turnout_named("W1").unwrap();
    let lies = |lie| vec![Told::Input(Input::TurnoutReported { turnout, lie })];
    assert_eq!(hear(&mut codec, "lineclear/turnout/W1", b"straight"), lies(Some(Lie::Straight)));
    assert_eq!(hear(&mut codec, "lineclear/turnout/W1", b"moving"), lies(None));
}

#[test]
fn numbers_and_parts_of_json_are_understood() {
    let links = "[[link]]\nname = \"box\"\nby = \"mqtt\"\nbroker = \"box\"\n[link.sections]\n\
                 \"quay\" = { topic = \"all\", at = \"/in/0/ma\", above = 2.5 }\n\
                 \"throat\" = { topic = \"all\", at = \"/in/1/on\", occupied = 1, free = 0 }\n";
    let (layout, mut codec) = codec(links);
    let told = hear(&mut codec, "all", br#"{"in": [{"ma": 3.25}, {"on": 1.0}]}"#);
    let said = |name: &str, occupied| {
        Told::Input(Input::SectionReported { section: layout.section_named(name).unwrap(), occupied })
    };
    assert_eq!(told, [said("quay", true), said("throat", true)]);
    assert_eq!(hear(&mut codec, "all", br#"{"in": [{"ma": 2.5}]}"#), [said("quay", false)]);
    assert_eq!(hear(&mut codec, "all", b"{"), []);
    assert_eq!(hear(&mut codec, "all", br#"{"in": [{"ma": "NaN"}, {"on": true}]}"#), []);
}

#[test]
fn what_was_kept_or_comes_again_is_no_passage() {
    let (layout, mut codec) = codec(BROKER);
    let magnet = Told::Input(Input::SpotPassed { detector: layout.detector_named("magnet").unwrap() });
    let mut at = |second: u64, is_retained, is_duplicate| {
        let message = Message { topic: "lineclear/spot/magnet", payload: b"passed", is_retained, is_duplicate };
        codec.hear(Duration::from_secs(second), &message)
    };
    assert_eq!(at(1, true, false), [], "the broker kept it");
    assert_eq!(at(2, false, false), std::slice::from_ref(&magnet));
    assert_eq!(at(3, false, true), [], "sent again, for its answer was lost");
    assert_eq!(at(3, false, false), std::slice::from_ref(&magnet), "another train");
    assert_eq!(at(60, false, true), [magnet], "its first copy never came");
}

#[test]
fn readers_know_trains_by_name_by_address_and_by_what_their_decoders_answer() {
    let (layout, mut codec) = codec(BROKER);
    let gate = layout.detector_named("gate").unwrap();
    let read =
        |name: &str| vec![Told::Input(Input::TrainRead { detector: gate, train: layout.train_named(name).unwrap() })];
    let topic = "lineclear/reader/gate";
    assert_eq!(hear(&mut codec, topic, b"Heron"), read("Heron"));
    assert_eq!(hear(&mut codec, topic, b"1203"), read("Plover"));
    assert_eq!(hear(&mut codec, topic, b"S12"), read("Heron"));
    assert_eq!(hear(&mut codec, topic, b"L12"), [], "12 is short");
    assert_eq!(hear(&mut codec, topic, b"77"), []);
    // Long 1203 is 0x84 0xB3 in two datagrams: IDs 1 and 2, by the published table.
    let wire = [0x9C, 0xA3, 0x93, 0x17];
    assert_eq!(hear(&mut codec, topic, &wire), [], "once is not enough");
    assert_eq!(hear(&mut codec, topic, &wire), read("Plover"));
}

#[test]
fn orders_are_put_in_the_words_that_are_written() {
    let links = "[[link]]\nname = \"box\"\nby = \"mqtt\"\nbroker = \"box\"\n\
                 trains = { \"*\" = { topic = \"loco/{name}\", says = \"{address}:{step}/{steps} {direction}\", retain = true } }\n\
                 [link.turnouts]\n\"W1\" = { topic = \"p/1\", set-topic = \"p/1/do\", set-straight = 0, set-diverging = 1, quality = 2 }\n\
                 [link.signals]\n\"S1\" = { topic = \"mast\", lamps = [\"red\", \"green\"], on = 1, off = 0 }\n";
    let (layout, mut codec) = codec(links);
    let train = layout.train_named("Heron").unwrap();
    let told = codec.order(&Output::Drive { train, direction: Direction::Backward, step: 7 });
    let parts = |told: &[lineside::mqtt::Publish]| -> Vec<(String, String, u8, bool)> {
        let each = told.iter().map(|one| (one.topic.clone(), one.payload.clone(), one.quality, one.is_retained));
        each.collect()
    };
    assert_eq!(parts(&told), [("loco/Heron".to_owned(), "12:7/28 backward".to_owned(), 1, true)]);
    let turnout = layout.turnout_named("W1").unwrap();
    let told = codec.order(&Output::Throw { turnout, lie: Lie::Diverging });
    assert_eq!(parts(&told), [("p/1/do".to_owned(), "1".to_owned(), 2, false)]);
    let signal = layout.signal_named("S1").unwrap();
    let green = layout.book_of(signal).named("green").unwrap();
    let lamps = |told: &[lineside::mqtt::Publish]| -> Vec<String> {
        told.iter().map(|one| format!("{} {}", one.topic, one.payload)).collect()
    };
    let told = codec.order(&Output::Show { signal, aspect: green });
    assert_eq!(lamps(&told), ["mast/red/set 0", "mast/green/set 1"], "what goes out goes out first");
    let told = codec.order(&Output::Show { signal, aspect: Aspect::STOP });
    assert_eq!(lamps(&told), ["mast/green/set 0", "mast/red/set 1"]);
    let told = codec.order(&Output::Light { signal, lit: false });
    assert_eq!(lamps(&told), ["mast/red/set 0", "mast/green/set 0"]);
}

#[test]
fn what_a_pretend_table_says_at_the_other_end_is_what_is_heard_here() {
    let (layout, link) = one(BROKER);
    let By::Mqtt(setup) = &link.by else { panic!("a broker") };
    let mut codec = Codec::new(Arc::clone(&layout), &link, setup);
    let mirror = Mirror::new(Arc::clone(&layout), &link, setup);
    let turnout = layout.turnout_named("W1").unwrap();
    let inputs = [
        Input::SectionReported { section: layout.section_named("throat").unwrap(), occupied: false },
        Input::SpotPassed { detector: layout.detector_named("magnet").unwrap() },
        Input::TurnoutReported { turnout, lie: Some(Lie::Diverging) },
        Input::TurnoutReported { turnout, lie: None },
        Input::PowerReported { district: layout.district_named("harbour").unwrap(), live: true },
        Input::TrainRead {
            detector: layout.detector_named("gate").unwrap(),
            train: layout.train_named("Plover").unwrap(),
        },
    ];
    for input in inputs {
        let said = mirror.report(&input).unwrap();
        assert_eq!(hear(&mut codec, &said.topic, said.payload.as_bytes()), [Told::Input(input)]);
    }
    let signal = layout.signal_named("S1").unwrap();
    let outputs = [
        Output::Throw { turnout, lie: Lie::Straight },
        Output::Show { signal, aspect: layout.book_of(signal).named("yellow").unwrap() },
        Output::Drive { train: layout.train_named("Heron").unwrap(), direction: Direction::Backward, step: 28 },
    ];
    for output in outputs {
        let [told] = &codec.order(&output)[..] else { panic!("one message") };
        assert_eq!(mirror.obey(&told.topic, told.payload.as_bytes()), Some(output));
    }
}
