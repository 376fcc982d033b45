//! What is reached over which link.

use track::wiring::{At, BitTells, By, LccAt, Mark, MqttHears, Reads, Says, Thing};

use crate::{check, load};

/// Two sections, a turnout between them, a signal and a train, and behind that what `links.toml` says.
fn with(links: &str) -> String {
    format!(
        r#"
[[section]]
name = "quay"
[[section]]
name = "throat"
ways = [
  {{ from = "toe", to = "one", length = 200, needs = {{ W1 = "straight" }} }},
  {{ from = "toe", to = "two", length = 200, needs = {{ W1 = "diverging" }} }},
]
[[turnout]]
name = "W1"
reported = true
[[joint]]
ends = ["quay.b", "throat.toe"]
[[off-layout]]
at = ["quay.a", "throat.one", "throat.two"]
[[signal]]
name = "S1"
at = "quay.b"
--- trains.toml
[[train]]
name = "Heron"
address = 12
vehicles = [{{ length = 128, detectable = true }}]
--- links.toml
{links}"#
    )
}

#[test]
fn a_broker_needs_no_addresses_where_nodes_keep_to_the_usual_topics() {
    let links = "[[link]]\nname = \"west box\"\nby = \"mqtt\"\nbroker = \"[::1]:1884\"\nsections = \"all\"\n\
                 turnouts = \"all\"\nsignals = \"all\"\ntrains = \"all\"\n";
    let loaded = load(&with(links)).unwrap_or_else(|refused| panic!("{refused}"));
    assert!(loaded.warnings.is_empty(), "{}", loaded.warnings);
    let [link] = &loaded.wiring.as_ref().unwrap().links[..] else { panic!("one link") };
    let By::Mqtt(setup) = &link.by else { panic!("a broker") };
    assert_eq!((setup.host.as_str(), setup.port, setup.client.as_str()), ("::1", 1884, "lineclear-west-box"));
    let topics: Vec<(Option<&str>, Option<&str>)> = link
        .carries
        .iter()
        .map(|carried| {
            let At::Mqtt(at) = &carried.at else { panic!("topics") };
            (at.hears.as_ref().map(|hears| hears.topic.as_str()), at.tells.as_ref().map(|tells| tells.topic.as_str()))
        })
        .collect();
    assert_eq!(
        topics,
        [
            (Some("lineclear/section/quay"), None),
            (Some("lineclear/section/throat"), None),
            (Some("lineclear/turnout/W1"), Some("lineclear/turnout/W1/set")),
            (None, Some("lineclear/signal/S1/set")),
            (None, Some("lineclear/train/Heron/set")),
        ]
    );
    // What it carries is its own from now on: while it is down nothing is known of it.
    let layout = &loaded.layout;
    let quay = layout.section_named("quay").unwrap();
    assert_eq!(layout.detectors[layout.sections[quay].detector.unwrap()].link, layout.link_named("west box"));
    assert_eq!(layout.turnouts[layout.turnout_named("W1").unwrap()].link, layout.link_named("west box"));
}

#[test]
fn addresses_are_taken_as_they_are_written() {
    let links = r#"[[link]]
name = "west"
by = "mqtt"
broker = "box.example"
trains = "all"
[link.sections]
"*" = "rooms/{name}"
"throat" = { topic = "box/all", at = "/in/1", occupied = 1, free = 0 }
[link.turnouts]
"W1" = { topic = "points/{name}", straight = "N", diverging = "R", set-topic = "do", set-straight = 1, set-diverging = 2 }
[link.signals]
"S1" = { topic = "mast", lamps = { red = "mast/r", green = "mast/g" }, on = 1, off = 0 }
"#;
    let loaded = load(&with(links)).unwrap_or_else(|refused| panic!("{refused}"));
    let layout = &loaded.layout;
    let link = &loaded.wiring.as_ref().unwrap().links[0];
    let at = |thing: Thing| {
        let carried = link.carries.iter().find(|carried| carried.thing == thing).unwrap();
        let At::Mqtt(at) = carried.at.clone() else { panic!("topics") };
        *at
    };
    let hears = |name: &str| at(Thing::Section(layout.section_named(name).unwrap())).hears.unwrap();
    assert_eq!(hears("quay").topic, "rooms/quay");
    let MqttHears { topic, pointer, reads: Reads::Marks(marks) } = hears("throat") else { panic!("words") };
    assert_eq!((topic.as_str(), pointer.as_deref(), marks[0].1.as_str()), ("box/all", Some("/in/1"), "1"));
    let turnout = at(Thing::Turnout(layout.turnout_named("W1").unwrap()));
    assert_eq!((turnout.hears.unwrap().topic.as_str(), turnout.tells.unwrap().topic.as_str()), ("points/W1", "do"));
    let signal = at(Thing::Signal(layout.signal_named("S1").unwrap()));
    let Says::Lamps { topics, on, .. } = signal.tells.unwrap().says else { panic!("lamps") };
    assert_eq!((topics.len(), topics[0].1.starts_with("mast/"), on.as_str()), (2, true, "1"));
}

#[test]
fn two_things_at_one_address_are_found() {
    check(
        &with(
            r#"[[link]]
name = "west"
by = "mqtt"
broker = "box.example"
turnouts = "all"
trains = "all"
[link.sections]
"quay" = "box/1"
"throat" = "box/1"
[[link]]
name = "bus"
by = "lcc"
tcp = "box.example"
node-id = "05.01.01.01.8C.00"
[link.signals]
"S1" = { red = "05.01.01.01.8C.00.00.01", green = "05.01.01.01.8C.00.00" }
"#,
        ),
        r#"
            links 9:12-19 mistake: section `throat` and section `quay` have one address: `box/1`
            hint: each needs its own: otherwise one speaks for the other
            links 16:51-73 mistake: `05.01.01.01.8C.00.00` is no event
            hint: it is eight bytes, such as `"05.01.01.01.8C.00.00.07"` (NMRA S-9.7.0.4)
        "#,
    );
}

#[test]
fn what_no_link_can_be_is_told_with_what_would_be_right() {
    check(
        &with(
            r#"[[link]]
name = "west"
by = "mqt"
broker = "box.example"
[[link]]
name = "west"
by = "mqtt"
broker = "http://box"
[[link]]
name = "east"
by = "mqtt"
broker = "box"
user = "me"
brokr = "x"
silent-after = "5"
sections = ["quai", "quay", "quay"]
node-topic = "a/#"
quality = 3
[link.turnouts]
"W1" = { topic = "t", straight = "x", diverging = "x", at = "no" }
[link.signals]
"S1" = { lamps = ["rde"] }
[link.trains]
"Heron" = { says = "go {adress} {step}" }
[[link]]
name = "box"
by = "adapter"
"#,
        ),
        r#"
            links 3:6-11 mistake: `mqt` is not a way to speak to hardware
            hint: the nearest word is `mqtt`
            links 6:8-14 mistake: a second link is named `west`
            hint: give each its own name
            links 8:10-22 mistake: `http://` is no way to a broker
            hint: write `mqtt://` or `mqtts://`, or only where it is: `"192.168.7.2:1883"`
            links 13:8-12 mistake: `user` goes with a password
            hint: add `password-file = "broker-password"`, the name of a file that only you may read
            links 14:1-6 mistake: a link has no key `brokr`
            hint: the nearest key is `broker`
            links 15:16-19 mistake: `silent-after` is a number of seconds, not a text
            hint: write `silent-after = 5`, without quotes
            links 16:13-19 mistake: no section is named `quai`
            hint: the nearest name is `quay`
            links 16:29-35 mistake: section `quay` is listed twice
            hint: one link carries it, at one address
            links 17:14-19 mistake: a topic of one thing holds no `+` and no `#`
            links 18:11-12 mistake: `quality` is 0, 1 or 2
            hint: 0: at most once, 1: at least once, 2: exactly once (MQTT 3.1.1, section 4.3)
            links 20:8-67 mistake: `x` means both straight and diverging
            hint: give each its own word
            links 22:19-24 mistake: signals of book `three-aspect` have no lamp `rde`
            hint: the nearest lamp is `red`
            links 24:20-40 mistake: `{adress}` stands for nothing
            hint: the nearest is `{address}`
            links 25:1-9 mistake: an adapter is in one place
            hint: say one of `command = ["python3", "box.py"]`, `tcp = "127.0.0.1:4470"` and `socket = "/run/box"`
        "#,
    );
}

#[test]
fn addresses_that_are_none_are_told() {
    check(
        &with(
            r#"[[link]]
name = "bus"
by = "lcc"
hub = "0.0.0.0:12021"
node-id = "05.01.01.01.8C"
[[link]]
name = "bus two"
by = "lcc"
can = "can0"
node-id = "05.01.01.01.8C.00"
sections = ["quay"]
[link.turnouts]
"W1" = { accessory = 2042 }
[link.trains]
"Heron" = "06.01"
[[link]]
name = "row"
by = "modbus"
tcp = "box"
[link.sections]
"throat" = { unit = 300, input = 1, coil = 2 }
[[link]]
name = "pins"
by = "gpio"
chip = "/dev/gpiochip0"
[link.signals]
"S1" = { red = -1, green = { line = 3, bias = "up" } }
"#,
        ),
        r#"
            links 5:11-27 mistake: `05.01.01.01.8C` is no id of a node
            hint: it is six bytes, such as `"05.01.01.01.8C.00"` (NMRA S-9.7.0.3)
            links 11:13-19 mistake: section `quay` has no address on this link
            hint: add `"quay" = { occupied = "05.01.01.01.8C.00.00.01", free = "05.01.01.01.8C.00.00.02" }` under `[link.sections]`
            links 13:22-26 mistake: accessory address 2042 of `W1` would reach every accessory decoder
            hint: 2041 to 2044 lie on the broadcast pattern of NMRA S-9.2.1, section D: take another
            links 15:11-18 mistake: `06.01` is no id of a node
            hint: it is six bytes, such as `"05.01.01.01.8C.00"` (NMRA S-9.7.0.3)
            links 21:12-47 mistake: a bit is in one table of a server
            hint: say one of `coil`, `input`, `register` and `input-register`, counted from 0
            links 21:21-24 mistake: `unit` is more than 247
            links 27:16-18 mistake: this is no number of a line
            hint: lines of a chip are counted from 0
            links 27:47-51 mistake: `up` is not a bias
            hint: the words are `as-is`, `disabled`, `pull-up` and `pull-down`
        "#,
    );
}

#[test]
fn a_thing_is_on_one_link_and_what_is_on_none_is_warned_of() {
    check(
        &with(
            r#"[[link]]
name = "one"
by = "adapter"
command = ["box"]
sections = ["quay"]
[[link]]
name = "two"
by = "adapter"
tcp = "127.0.0.1:4470"
packets = true
sections = ["quay"]
turnouts = { W1 = 2041 }
"#,
        ),
        r#"
            links 11:13-19 mistake: section `quay` is listed twice
            hint: one link carries it, at one address
            links 12:19-23 mistake: accessory address 2041 of `W1` would reach every accessory decoder
            hint: 2041 to 2044 lie on the broadcast pattern of NMRA S-9.2.1, section D: take another
        "#,
    );
}

#[test]
fn what_no_link_carries_is_warned_of_once_everything_else_is_right() {
    check(
        &with("[[link]]\nname = \"one\"\nby = \"adapter\"\ntcp = \"127.0.0.1:4470\"\nsections = [\"quay\"]\n"),
        r#"
            links 1:1-1 warning: no link carries section `throat`
            hint: what no link reports counts as occupied
            links 1:1-1 warning: no link carries turnout `W1`
            hint: what no link carries is neither thrown nor reported
            links 1:1-1 warning: no link carries train `Heron`
            hint: what no link carries is not driven
        "#,
    );
}

/// A harbour whose power is switched, a hill whose power is not, trains with one engine and with two, and links.
fn with_power(links: &str) -> String {
    with(links)
        .replacen("name = \"quay\"\n", "name = \"quay\"\ndistrict = \"harbour\"\n", 1)
        .replacen("name = \"throat\"\n", "name = \"throat\"\ndistrict = \"hill\"\n", 1)
        .replace(
            "[[joint]]",
            "[[district]]\nname = \"harbour\"\nswitched = true\n[[district]]\nname = \"hill\"\n[[link]]\nname = \"old\"\n[[joint]]",
        )
        .replace(
            "name = \"Heron\"\n",
            "name = \"Teal\"\nlink = \"old\"\nvehicles = [\n  { length = 128, detectable = true, address = 21 },\n  \
             { length = 128, detectable = true, address = 22, reversed = true },\n]\n[[train]]\nname = \"Heron\"\n",
        )
}

const REST: &str = "[[link]]\nname = \"rest\"\nby = \"adapter\"\ntcp = \"box:1\"\nsections = \"all\"\nturnouts = \"all\"\ntrains = \"all\"\n\
    [[link]]\nname = \"old\"\nby = \"adapter\"\ntcp = \"box:2\"\n";

#[test]
fn power_that_is_said_to_be_switched_needs_a_way_to_be_switched() {
    check(
        &with_power(REST),
        r#"
            links 1:1-1 warning: no link carries district `harbour`
            hint: power that is said to be `switched` cannot be cut where no link carries it, in the last resort either
        "#,
    );
    let by = |more: &str| with_power(&format!("{REST}[[link]]\nname = \"power\"\n{more}"));
    let lcc = "by = \"lcc\"\ntcp = \"box\"\nnode-id = \"05.01.01.01.8C.00\"\n";
    let pins = "by = \"gpio\"\nchip = \"/dev/gpiochip0\"\n";
    check(
        &by(&format!(
            "{lcc}districts = {{ harbour = {{ live = \"05.01.01.01.8C.00.00.01\", dark = \"05.01.01.01.8C.00.00.02\" }} }}\n"
        )),
        r#"
            links 17:25-95 mistake: the power of district `harbour` is switched by events that are not said
            hint: say `set-live` and `set-dark`; or in `layout.toml` that it is not `switched`
        "#,
    );
    check(
        &by(&format!("{lcc}districts = [\"harbour\"]\n")),
        r#"
            links 17:14-23 mistake: district `harbour` has no address on this link
            hint: add `"harbour" = { set-live = "05.01.01.01.8C.00.00.01", set-dark = "05.01.01.01.8C.00.00.02" }` under `[link.districts]`
        "#,
    );
    check(
        &by(&format!("{pins}districts = {{ harbour = 17 }}\n")),
        r#"
            links 16:25-27 mistake: the power of district `harbour` is switched by a bit that is not said
            hint: say `set`, the bit that is on for a live district; or in `layout.toml` that it is not `switched`
        "#,
    );
    check(
        &by(&format!("{pins}districts = {{ harbour = {{ live = 17 }}, hill = {{ live = 18, set = 17 }} }}\n")),
        r#"
            links 16:25-38 mistake: the power of district `harbour` is switched by a bit that is not said
            hint: say `set`, the bit that is on for a live district; or in `layout.toml` that it is not `switched`
            links 16:47-70 warning: `set` is never said: the power of `hill` is not switched
            hint: add `switched = true` to its `[[district]]` in `layout.toml`, or leave this out
        "#,
    );
    check(
        &by(
            "by = \"mqtt\"\nbroker = \"box\"\n[link.districts]\nharbour = { set-live = \"x\", set-dark = \"x\" }\nhill = { set-dark = 0 }\n",
        ),
        r#"
            links 17:11-45 mistake: `x` means both live and dark
            hint: give each its own word
            links 18:8-24 warning: `set-dark` is never said: the power of `hill` is not switched
            hint: add `switched = true` to its `[[district]]` in `layout.toml`, or leave this out
        "#,
    );
}

#[test]
fn power_is_switched_over_links_of_every_kind() {
    let rest = "[[link]]\nname = \"rest\"\nby = \"adapter\"\ntcp = \"box:1\"\nsections = \"all\"\nturnouts = \"all\"\n\
                trains = [\"Heron\"]\n[[link]]\nname = \"old\"\nby = \"adapter\"\ntcp = \"box:2\"\n";
    let at = |more: &str| {
        let links = format!("{rest}[[link]]\nname = \"power\"\n{more}");
        let loaded = load(&with_power(&links)).unwrap_or_else(|refused| panic!("{refused}"));
        assert!(loaded.warnings.is_empty(), "{}", loaded.warnings);
        loaded.wiring.unwrap().links.remove(2).carries.remove(0).at
    };
    let At::Mqtt(mqtt) = at("by = \"mqtt\"\nbroker = \"box\"\ndistricts = [\"harbour\"]\n") else { panic!("topics") };
    let tells = mqtt.tells.unwrap();
    assert_eq!(tells.topic, "lineclear/district/harbour/set");
    assert_eq!(tells.says, Says::Marks(vec![(Mark::Live, "live".to_owned()), (Mark::Dark, "dark".to_owned())]));
    let events = "by = \"lcc\"\ntcp = \"box\"\nnode-id = \"05.01.01.01.8C.00\"\n[link.districts]\n\
                  harbour = { set-live = \"01.00.00.00.00.00.FF.FE\", set-dark = \"01.00.00.00.00.00.FF.FF\" }\n";
    // Event Identifiers, 22 July 2024, well-known events: clear emergency off, and emergency off.
    let tells = vec![(Mark::Live, 0x0100_0000_0000_FFFE), (Mark::Dark, 0x0100_0000_0000_FFFF)];
    assert_eq!(at(events), At::Lcc(LccAt::Marks { hears: Vec::new(), tells }));
    let At::Modbus(bits) = at("by = \"modbus\"\ntcp = \"box\"\ndistricts = { harbour = { set = { coil = 3 } } }\n")
    else {
        panic!("bits")
    };
    let BitTells::Switch(bit) = bits.tells else { panic!("a bit is set: {bits:?}") };
    assert_eq!((bits.hears.len(), bit.number), (0, 3));
}

#[test]
fn the_node_of_a_train_is_searched_for_by_its_address_where_it_has_one() {
    let bus = "[[link]]\nname = \"bus\"\nby = \"lcc\"\ntcp = \"box\"\nnode-id = \"05.01.01.01.8C.00\"\n\
               sections = { \"*\" = { occupied = \"05.01.01.01.8C.00.00.01\", free = \"05.01.01.01.8C.00.00.02\" } }\n";
    let text = with(&format!("{bus}trains = {{ \"*\" = \"search\" }}\n"));
    let loaded = load(&text.replace("sections = { \"*\"", "# { \"*\"")).unwrap_or_else(|refused| panic!("{refused}"));
    let carried = &loaded.wiring.as_ref().unwrap().links[0].carries;
    let train = carried.iter().find(|carried| matches!(carried.thing, Thing::Train(_))).unwrap();
    // Train Search, 22 July 2024, section 5.2; 126 steps are those of the instruction for 128.
    assert_eq!(train.at, At::Lcc(LccAt::Searched(vec![0x0900_99FF_FFFF_12EB])));
    let nameless = text.replace("sections = { \"*\"", "# { \"*\"").replace("address = 12\n", "");
    let Err(refused) = load(&nameless) else { panic!("there is nothing to search by") };
    assert!(refused.to_string().contains("train `Heron` has no address by which its node could be found"), "{refused}");
}

#[test]
fn two_links_do_not_want_what_only_one_can_have() {
    let two = |way: &str| {
        let link = |name: &str, carries: &str| format!("[[link]]\nname = \"{name}\"\n{way}\n{carries}\n");
        let text = with(&format!("{}{}", link("west box", ""), link("west-box", "")));
        let refused = load(&text).map(|_| ()).map_err(|refused| refused.to_string());
        refused.err().unwrap_or_default()
    };
    let said = [
        ("by = \"mqtt\"\nbroker = \"box\"", "both want the name `lineclear-west-box` at the broker `box:1883`"),
        ("by = \"modbus\"\nserial = \"/dev/ttyUSB0\"", "both want the serial line `/dev/ttyUSB0`"),
        ("by = \"adapter\"\ntcp = \"box:4470\"", "both want the adapter at `box:4470`"),
        ("by = \"lcc\"\nhub = \"0.0.0.0\"\nnode-id = \"05.01.01.01.8C.00\"", "both want a hub at `0.0.0.0:12021`"),
    ];
    for (way, words) in said {
        let told = two(way);
        assert!(told.contains(&format!("links `west box` and `west-box` {words}")), "{told}");
    }
    assert!(!two("by = \"modbus\"\ntcp = \"box\"").contains("both want"), "a server may be asked by several");
}

#[test]
fn an_adapter_is_at_an_address_with_a_port() {
    for address in ["box", "box:0", "box:http", "", "box:70000", "[::1]"] {
        let text = with(&format!("[[link]]\nname = \"west box\"\nby = \"adapter\"\ntcp = \"{address}\"\n"));
        let Err(refused) = load(&text) else { panic!("`{address}` is accepted") };
        assert!(refused.to_string().contains(&format!("`{address}` is no place on a network")), "{refused}");
    }
    assert!(load(&with("[[link]]\nname = \"west box\"\nby = \"adapter\"\ntcp = \"[::1]:4470\"\n")).is_ok());
}

#[test]
fn a_train_with_two_engines_has_one_node_or_two() {
    let by = |teal: &str, more: &str| {
        let bus = "by = \"lcc\"\ntcp = \"box\"\nnode-id = \"05.01.01.01.8C.00\"\n";
        with_power(&format!(
            "[[link]]\nname = \"old\"\n{bus}trains = {{ Teal = {teal} }}\n[[link]]\nname = \"rest\"\nby = \"mqtt\"\nbroker = \"box\"\n\
             sections = \"all\"\nturnouts = \"all\"\ndistricts = \"all\"\n{more}"
        ))
    };
    check(
        &by(r#"["06.01.00.00.00.15", "06.01.00.00.00.16", "06.01.00.00.00.17"]"#, "trains = \"all\"\n"),
        r#"
            links 6:19-82 mistake: `Teal` has 2 decoders, and here are 3 nodes
            hint: name one node for the whole train, or one for each decoder, in the order of its vehicles
        "#,
    );
    check(&by(r#"["06.01.00.00.00.15", "06.01.00.00.00.16"]"#, "trains = \"all\"\n"), "");
    check(
        &by("\"06.01.00.00.00.15\"", "trains = { Heron = { stop-says = \"{stp}\", function-says = \"{on}\" } }\n"),
        r#"
            links 14:34-41 mistake: `{stp}` stands for nothing
            hint: the nearest is `{step}`
        "#,
    );
    check(
        &with_power(&REST.replace("trains = \"all\"", "trains = [\"Heron\", \"Teal\"]\ndistricts = \"all\"")),
        r#"
            links 7:20-26 mistake: `trains.toml` says that link `old` carries `Teal`
            hint: list it there, or say `link = "rest"` in `trains.toml`
        "#,
    );
}

#[test]
fn a_broker_that_keeps_orders_needs_a_topic_for_each_engine() {
    let links = |topic: &str| {
        with_power(&format!(
            "[[link]]\nname = \"old\"\nby = \"mqtt\"\nbroker = \"box\"\nsections = \"all\"\nturnouts = \"all\"\ndistricts = \"all\"\n\
             trains = {{ \"*\" = {{ topic = \"{topic}\", retain = true }} }}\n"
        ))
    };
    check(&links("loco/{address}"), "");
    check(
        &links("loco/{name}"),
        r#"
            links 8:18-58 warning: of the decoders of `Teal` the broker keeps only the last order
            hint: give each its own topic by `{address}` in `topic`, or leave `retain` out
        "#,
    );
}

/// An input that is reported over these links, with an accessory beside it.
fn with_input(link: &str, links: &str) -> String {
    with(links).replacen(
        "[[joint]]",
        &format!("[[input]]\nname = \"coal stage lever\"\n{link}[[accessory]]\nname = \"quay lamps\"\n[[joint]]"),
        1,
    )
}

#[test]
fn inputs_are_carried_by_every_kind_of_link() {
    let head = "[[link]]\nname = \"west\"\nby = ";
    for (links, heard) in [
        ("\"mqtt\"\nbroker = \"box\"\ninputs = \"all\"\n", "lineclear/input/coal-stage-lever"),
        (
            "\"mqtt\"\nbroker = \"box\"\n[link.inputs]\n\"*\" = { topic = \"in/{name}\", on = 1, off = 0 }\n",
            "in/coal-stage-lever",
        ),
        ("\"adapter\"\ntcp = \"box:1\"\ninputs = { \"coal stage lever\" = 3 }\n", "Adapter(\"3\")"),
        (
            "\"lcc\"\ntcp = \"box\"\nnode-id = \"05.01.01.01.8C.00\"\n[link.inputs]\n\"coal stage lever\" = \
             { on = \"05.01.01.01.8C.00.00.01\", off = \"05.01.01.01.8C.00.00.02\" }\n",
            "[(On, 360570551321755649), (Off, 360570551321755650)]",
        ),
        ("\"modbus\"\ntcp = \"box\"\ninputs = { \"coal stage lever\" = { input = 9 } }\n", "table: Input, number: 9"),
        (
            "\"gpio\"\nchip = \"/dev/gpiochip0\"\ninputs = { \"coal stage lever\" = { line = 5, bias = \"pull-up\", \
             active-low = true, debounce = 0.02 } }\n",
            "GpioLine { line: 5, is_active_low: true, bias: PullUp, debounce_us: 20000 }",
        ),
    ] {
        let loaded = load(&with_input("", &format!("{head}{links}"))).unwrap_or_else(|refused| panic!("{refused}"));
        let layout = &loaded.layout;
        let lever = layout.input_named("coal stage lever").unwrap();
        let carries = &loaded.wiring.as_ref().unwrap().links[0].carries;
        let [carried] = &carries[..] else { panic!("{carries:?}") };
        assert_eq!((carried.thing, carried.name.as_str()), (Thing::Input(lever), "coal stage lever"));
        let at = format!("{:?}", carried.at);
        assert!(at.contains(heard), "{at}");
        assert_eq!(layout.inputs[lever].link, layout.link_named("west"), "while it is down nothing is known of it");
    }
}

#[test]
fn an_input_has_an_address_of_its_own_and_one_that_nothing_reports_is_found() {
    let links = r#"[[link]]
name = "west"
by = "modbus"
tcp = "box.example"
sections = { "quay" = { input = 3 }, "throat" = { input = 4 } }
inputs = { "coal stage lever" = { input = 3 }, "coal stage lver" = { input = 5 } }
turnouts = { "W1" = { set = { coil = 1 }, straight = { input = 9 } } }
"#;
    check(
        &with_input("", links),
        r#"
            links 6:33-46 mistake: input `coal stage lever` and section `quay` have one address: input 3 of unit 1
            hint: each needs its own: otherwise one speaks for the other
            links 6:48-65 mistake: no input is named `coal stage lver`
            hint: the nearest name is `coal stage lever`
        "#,
    );
    let links = "[[link]]\nname = \"west\"\nby = \"mqtt\"\nbroker = \"box\"\nsections = \"all\"\nturnouts = \"all\"\ntrains = \"all\"\naccessories = \"all\"\n";
    let loaded = load(&with_input("", links)).unwrap_or_else(|refused| panic!("{refused}"));
    let warnings = loaded.warnings.to_string();
    assert!(warnings.contains("no link carries input `coal stage lever`"), "{warnings}");
    let loaded = load(&with_input("link = \"east\"\n", "")).map(|loaded| loaded.warnings.to_string());
    assert!(loaded.is_err(), "a link that `layout.toml` does not know is a mistake");
}
