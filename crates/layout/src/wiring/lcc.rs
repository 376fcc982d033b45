//! Addresses on a bus of nodes: events and train nodes (NMRA S-9.7.0.3 and S-9.7.0.4).

use toml::de::DeValue;
use track::wiring::{Lcc, LccAt, Mark, Thing};
use track::{Address, SpeedSteps, Train};

use super::mqtt::check_aspect;
use super::who::{accessory, is_switched, not_said_how};
use super::{Asked, Kind};
use crate::diagnostic::Findings;
use crate::keys::{Keys, table_of, text_of, texts_of};
use crate::source::Said;

/// Bytes of a node's id, and of an event's.
const NODE: usize = 6;
const EVENT: usize = 8;

/// Events that stand for the packets of accessory decoders: these six bytes, and twelve bits of address and output (Event
/// Identifiers, 22 July 2024, well-known events).
const ACCESSORY_ACTIVATE: u64 = 0x0101_0200_00FF_0000;

/// The word that lets the node of a train be found by its address.
const SEARCH: &str = "search";
/// Events that ask for the nodes of trains begin so (Train Search, 22 July 2024, section 5.1).
const SEARCH_PREFIX: u64 = 0x0900_99FF_0000_0000;
/// To be made, exactly, by its address, for a DCC decoder (section 5.2); and one that has a long address.
const SEARCH_FLAGS: u64 = 0x80 | 0x40 | 0x20 | 0x08;
const SEARCH_LONG: u64 = 0x04;

/// An id written in bytes with dots between them.
fn bytes_of(text: &str, count: usize) -> Option<u64> {
    let pieces: Vec<&str> = text.split('.').collect();
    if pieces.len() != count {
        return None;
    }
    pieces.iter().try_fold(0, |id, piece| {
        let is_fine = (1..=2).contains(&piece.len()) && piece.bytes().all(|byte| byte.is_ascii_hexdigit());
        is_fine.then(|| u64::from_str_radix(piece, 16).ok().map(|byte| id << 8 | byte))?
    })
}

/// Reads the id of a node.
pub(super) fn node_id(said: Said<&str>, out: &mut Findings) -> Option<u64> {
    let id = bytes_of(said.value, NODE);
    match id {
        None => {
            out.mistake(said.span, format!("`{}` is no id of a node", said.value))
                .hint("it is six bytes, such as `\"05.01.01.01.8C.00\"` (NMRA S-9.7.0.3)");
        }
        Some(0) => {
            out.mistake(said.span, "a node's id is not zero")
                .hint("take one from a range that belongs to you (NMRA S-9.7.0.3)");
        }
        Some(_) => {}
    }
    id.filter(|&id| id != 0)
}

fn event_id(key: &str, value: Said<&DeValue<'_>>, out: &mut Findings) -> Option<u64> {
    let said = text_of(key, value, out)?;
    let id = bytes_of(said.value, EVENT);
    if id.is_none() {
        out.mistake(said.span, format!("`{}` is no event", said.value))
            .hint("it is eight bytes, such as `\"05.01.01.01.8C.00.00.07\"` (NMRA S-9.7.0.4)");
    }
    id
}

/// Reads the events of one thing.
pub(super) fn address(lcc: &Lcc, asked: &Asked<'_, '_>, out: &mut Findings) -> Option<LccAt> {
    let Some(value) = asked.value else {
        out.mistake(asked.span, format!("{} `{}` has no address on this link", asked.kind.word(), asked.name))
            .hint(format!("add `{}` under `[link.{}]`", example(asked), asked.kind.key()));
        return None;
    };
    match asked.kind {
        Kind::Spot if !value.value.is_table() => {
            let event = event_id("passed", value, out)?;
            return Some(LccAt::Marks { hears: vec![(Mark::Passed, event)], tells: Vec::new() });
        }
        Kind::Train => return train(asked, value, out),
        Kind::Reader => {
            let said = text_of("the id of a reader", value, out)?;
            if !lcc.knows_detection_draft {
                out.mistake(said.span, "no adopted standard says how readers speak on this bus")
                    .hint("`detection-draft = true` of the link makes it follow a draft");
                return None;
            }
            return node_id(said, out).map(LccAt::Reader);
        }
        _ => {}
    }
    let mut keys = table_of("the events of a thing", value, out)?;
    let at = match asked.kind {
        Kind::Section => pair(&mut keys, Mark::Occupied, Mark::Free, out),
        Kind::Input => pair(&mut keys, Mark::On, Mark::Off, out),
        Kind::District => district(&mut keys, asked, out),
        Kind::Accessory => switch(&mut keys, asked, out),
        Kind::Spot => {
            let hears = event(&mut keys, "passed", out).map(|event| vec![(Mark::Passed, event)]);
            hears.map(|hears| LccAt::Marks { hears, tells: Vec::new() })
        }
        Kind::Turnout => turnout(&mut keys, asked, out),
        Kind::Signal => return signal(&keys, asked, out),
        Kind::Train | Kind::Reader => None,
    };
    if at.is_none() {
        keys.pass_over();
    }
    keys.finish(out);
    at
}

fn example(asked: &Asked<'_, '_>) -> String {
    let (kind, name) = (asked.kind, asked.name);
    let is_switched = matches!(asked.thing, Thing::District(district) if asked.layout.districts[district].is_switched);
    let event = |last: u8| format!("\"05.01.01.01.8C.00.00.0{last}\"");
    let name = format!("\"{name}\"");
    match kind {
        Kind::Section => format!("{name} = {{ occupied = {}, free = {} }}", event(1), event(2)),
        Kind::District if is_switched => format!("{name} = {{ set-live = {}, set-dark = {} }}", event(1), event(2)),
        Kind::District => format!("{name} = {{ live = {}, dark = {} }}", event(1), event(2)),
        Kind::Accessory | Kind::Input => format!("{name} = {{ on = {}, off = {} }}", event(1), event(2)),
        Kind::Spot => format!("{name} = {}", event(1)),
        Kind::Turnout => format!("{name} = {{ set-straight = {}, set-diverging = {} }}", event(1), event(2)),
        Kind::Signal => format!("{name} = {{ red = {}, green = {} }}", event(1), event(2)),
        Kind::Train | Kind::Reader => format!("{name} = \"05.01.01.01.8C.00\""),
    }
}

fn event(keys: &mut Keys<'_>, key: &'static str, out: &mut Findings) -> Option<u64> {
    let value = keys.value(key)?;
    event_id(key, value, out)
}

fn needed(keys: &mut Keys<'_>, key: &'static str, out: &mut Findings) -> Option<u64> {
    if !keys.has(key) {
        keys.missing(key, "\"05.01.01.01.8C.00.00.07\"", out);
    }
    event(keys, key, out)
}

fn pair(keys: &mut Keys<'_>, one: Mark, other: Mark, out: &mut Findings) -> Option<LccAt> {
    let (first, second) = (needed(keys, one.word(), out), needed(keys, other.word(), out));
    Some(LccAt::Marks { hears: vec![(one, first?), (other, second?)], tells: Vec::new() })
}

fn pair_of(one: (Mark, Option<u64>), other: (Mark, Option<u64>)) -> Vec<(Mark, u64)> {
    match (one.1, other.1) {
        (Some(first), Some(second)) => vec![(one.0, first), (other.0, second)],
        _ => Vec::new(),
    }
}

/// What switches a district, and what tells how it is: of one that is switched that may be missing.
fn district(keys: &mut Keys<'_>, asked: &Asked<'_, '_>, out: &mut Findings) -> Option<LccAt> {
    let is_switched = is_switched(asked, Some(keys), out);
    let (set_live, set_dark) = (event(keys, "set-live", out), event(keys, "set-dark", out));
    let tells = pair_of((Mark::Live, set_live), (Mark::Dark, set_dark));
    if is_switched && tells.is_empty() {
        not_said_how(asked, keys.header(), "events that are", "`set-live` and `set-dark`", out);
        return None;
    }
    let hears = if !is_switched || keys.has("live") || keys.has("dark") {
        let (live, dark) = (needed(keys, "live", out), needed(keys, "dark", out));
        vec![(Mark::Live, live?), (Mark::Dark, dark?)]
    } else {
        Vec::new()
    };
    Some(LccAt::Marks { hears, tells: if is_switched { tells } else { Vec::new() } })
}

/// What switches an accessory.
fn switch(keys: &mut Keys<'_>, asked: &Asked<'_, '_>, out: &mut Findings) -> Option<LccAt> {
    if keys.value("accessory").is_some() {
        let [off, on] = outputs_of_accessory(keys, asked, out)?;
        return Some(LccAt::Marks { hears: Vec::new(), tells: vec![(Mark::On, on), (Mark::Off, off)] });
    }
    let (on, off) = (needed(keys, Mark::On.word(), out), needed(keys, Mark::Off.word(), out));
    Some(LccAt::Marks { hears: Vec::new(), tells: vec![(Mark::On, on?), (Mark::Off, off?)] })
}

/// The node of a train, or one for each of its decoders.
fn train(asked: &Asked<'_, '_>, value: Said<&DeValue<'_>>, out: &mut Findings) -> Option<LccAt> {
    let Thing::Train(train) = asked.thing else { return None };
    if matches!(value.value, DeValue::String(word) if word == SEARCH) {
        return searched(&asked.layout.trains[train], asked, value, out);
    }
    let said = match value.value {
        DeValue::Array(_) => texts_of("the nodes of a train", value, out),
        _ => vec![text_of("the node of a train", value, out)?],
    };
    let nodes: Vec<u64> = said.iter().filter_map(|&said| node_id(said, out)).collect();
    if nodes.len() < said.len() {
        return None;
    }
    let decoders = asked.layout.trains[train].decoders().count().max(1);
    if nodes.len() != 1 && nodes.len() != decoders {
        out.mistake(
            value.span,
            format!("`{}` has {decoders} decoders, and here are {} nodes", asked.name, nodes.len()),
        )
        .hint("name one node for the whole train, or one for each decoder, in the order of its vehicles");
        return None;
    }
    Some(LccAt::Train(nodes))
}

/// The events by which the nodes for the decoders of a train are found, or made where there is none yet.
fn searched(train: &Train, asked: &Asked<'_, '_>, value: Said<&DeValue<'_>>, out: &mut Findings) -> Option<LccAt> {
    let events: Vec<u64> = train.decoders().map(|(address, _)| search_for(address, train.speed_steps)).collect();
    if events.is_empty() {
        out.mistake(value.span, format!("train `{}` has no address by which its node could be found", asked.name))
            .hint("give it an `address` in `trains.toml`, or write the id of its node here");
        return None;
    }
    Some(LccAt::Searched(events))
}

/// The event that asks for the node of a decoder (Train Search, 22 July 2024, section 5.2): six digits, those that are not needed
/// being F, and what is wanted: a node is to be made where there is none, for exactly this number, as an address and no name.
fn search_for(address: Address, steps: SpeedSteps) -> u64 {
    let (number, long) = match address {
        Address::Short(number) => (u16::from(number), 0),
        Address::Long(number) => (number, SEARCH_LONG),
    };
    let digits = format!("{number:06}");
    let is_needed = |place: usize| place + 1 == digits.len() || digits[..=place].bytes().any(|digit| digit != b'0');
    let digit = |place: usize, digit: u8| if is_needed(place) { u64::from(digit - b'0') } else { 0xF };
    let query = digits.bytes().enumerate().fold(0, |query, (place, byte)| query << 4 | digit(place, byte));
    let steps = match steps {
        SpeedSteps::Steps14 => 1,
        SpeedSteps::Steps28 => 2,
        SpeedSteps::Steps126 => 3,
    };
    SEARCH_PREFIX | query << 8 | SEARCH_FLAGS | long | steps
}

/// The events for the two outputs of a pair of an accessory decoder. Output 0 is the diverging one of a turnout, and off (from memory:
/// RCN-213).
fn outputs_of_accessory(keys: &mut Keys<'_>, asked: &Asked<'_, '_>, out: &mut Findings) -> Option<[u64; 2]> {
    let value = keys.value("accessory")?;
    let number = match value.value {
        DeValue::Integer(number) => number.to_string(),
        _ => String::new(),
    };
    let accessory = accessory(&number, value.span, asked.name, out)?;
    Some([0, 1].map(|output| ACCESSORY_ACTIVATE | u64::from(accessory.binary()) << 1 | output))
}

fn turnout(keys: &mut Keys<'_>, asked: &Asked<'_, '_>, out: &mut Findings) -> Option<LccAt> {
    let Thing::Turnout(turnout) = asked.thing else { return None };
    let turnout = &asked.layout.turnouts[turnout];
    let (straight, diverging) = (event(keys, "straight", out), event(keys, "diverging", out));
    let (set_straight, set_diverging) = (event(keys, "set-straight", out), event(keys, "set-diverging", out));
    let outputs = outputs_of_accessory(keys, asked, out);
    if keys.has("accessory") && outputs.is_none() {
        return None;
    }
    let pairs = |straight, diverging| pair_of((Mark::Straight, straight), (Mark::Diverging, diverging));
    let mut tells = pairs(set_straight, set_diverging);
    if let Some([diverging, straight]) = outputs {
        tells = vec![(Mark::Straight, straight), (Mark::Diverging, diverging)];
    }
    let hears = pairs(straight, diverging);
    if turnout.worked && tells.is_empty() {
        out.mistake(keys.header(), format!("turnout `{}` is thrown by events that are not said", asked.name)).hint(
            "say `set-straight` and `set-diverging`, or `accessory`; or in `layout.toml` that it is not `worked`",
        );
        return None;
    }
    if turnout.reported && hears.is_empty() {
        out.mistake(keys.header(), format!("turnout `{}` is reported by events that are not said", asked.name))
            .hint("say `straight` and `diverging`; or in `layout.toml` that it is not `reported`");
        return None;
    }
    Some(LccAt::Marks { hears, tells })
}

fn signal(keys: &Keys<'_>, asked: &Asked<'_, '_>, out: &mut Findings) -> Option<LccAt> {
    let Thing::Signal(signal) = asked.thing else { return None };
    let book = asked.layout.book_of(signal);
    let mut aspects = Vec::new();
    for (name, value) in keys.entries() {
        check_aspect(name, book, out)?;
        aspects.push((name.value.to_owned(), event_id(name.value, value, out)?));
    }
    Some(LccAt::Aspects(aspects))
}

/// What an address takes up: events, and nodes.
pub(super) fn taken(at: &LccAt) -> Vec<String> {
    let event = |id: u64| {
        let bytes: Vec<String> = id.to_be_bytes().iter().map(|byte| format!("{byte:02X}")).collect();
        format!("event {}", bytes.join("."))
    };
    let node = |id: &u64| format!("node {id:012X}");
    match at {
        LccAt::Marks { hears, tells } => hears.iter().chain(tells).map(|&(_, id)| event(id)).collect(),
        LccAt::Aspects(aspects) => aspects.iter().map(|&(_, id)| event(id)).collect(),
        LccAt::Train(nodes) => nodes.iter().map(node).collect(),
        LccAt::Searched(events) => events.iter().map(|&id| event(id)).collect(),
        LccAt::Reader(id) => vec![node(id)],
    }
}
