//! `links.toml`: what each link is, what it carries, and where that is.
//!
//! Read [`wire`] first. A link is read in two goes: how it is spoken to (`speech`), then what it carries, each thing with the
//! address that is written for it, or else that of the line `"*"`, or else the usual one (`mqtt`, `lcc`, `bits`). What no line
//! of the file names and `layout.toml` gives to the link is carried, too. That two things have one address is found last.

mod bits;
mod lcc;
mod mqtt;
mod speech;
mod who;

use std::collections::BTreeMap;

use toml::de::DeValue;
use track::wiring::{At, By, Carried, Thing, WiredLink, Wiring};
use track::{Layout, LinkId};

use crate::diagnostic::Findings;
use crate::keys::{Keys, wrong_type};
use crate::resolved::Resolved;
use crate::source::{Said, Span};

pub(crate) use who::Kind;

/// So many things may one file of links carry; the bound keeps a faulty file from being checked for hours.
const MOST_LINKS: usize = 1000;

/// One line of a list of things: its name, and its address where that was written.
#[derive(Clone, Copy)]
pub(crate) struct Listed<'t> {
    kind: Kind,
    name: Said<&'t str>,
    value: Option<Said<&'t DeValue<'t>>>,
}

/// One `[[link]]` as it was typed.
struct Written<'t> {
    name: Said<&'t str>,
    header: Span,
    by: Option<By>,
    base: String,
    listed: Vec<Listed<'t>>,
    /// The lines `"*"`: how addresses are written where a thing has none of its own.
    usual: BTreeMap<Kind, Said<&'t DeValue<'t>>>,
    /// Kinds of which everything is carried that no other link does.
    all: BTreeMap<Kind, Span>,
    silent_after: Option<std::time::Duration>,
}

/// Where one thing is to be found, for the one who reads its address.
pub(crate) struct Asked<'a, 't> {
    pub(crate) layout: &'a Layout,
    pub(crate) kind: Kind,
    pub(crate) thing: Thing,
    pub(crate) name: &'a str,
    pub(crate) base: &'a str,
    pub(crate) value: Option<Said<&'t DeValue<'t>>>,
    /// Where to point if something is missing.
    pub(crate) span: Span,
}

/// Reads the file, gives links to what has none, and tells what is carried by which.
pub(crate) fn wire(mut root: Keys<'_>, resolved: &mut Resolved<'_>, out: &mut Findings) -> Wiring {
    let file = root.header();
    let mut written = Vec::new();
    for keys in root.tables("link", "a link", out).into_iter().take(MOST_LINKS) {
        written.extend(read_link(keys, out));
    }
    root.finish(out);
    let mut links: Vec<(LinkId, Written<'_>)> = Vec::new();
    for one in written {
        if let Some((_, first)) = links.iter().find(|(_, other)| other.name.value == one.name.value) {
            out.mistake(one.name.span, format!("a second link is named `{}`", one.name.value))
                .see(first.name.span, "the first")
                .hint("give each its own name");
            continue;
        }
        links.push((who::link_named(one.name, resolved, out), one));
    }
    let carried = who::share_out(&links, resolved, out);
    let mut wiring = Wiring::default();
    let mut doubles = Doubles::default();
    let mut had: BTreeMap<String, Said<&str>> = BTreeMap::new();
    for ((link, one), things) in links.into_iter().zip(carried) {
        let Some(by) = one.by else { continue };
        if let Some((what, hint)) = speech::only_one_has(&by) {
            match had.get(&what) {
                Some(first) => {
                    let words = format!("links `{}` and `{}` both want {what}", first.value, one.name.value);
                    out.mistake(one.name.span, words).see(first.span, "the first").hint(hint);
                }
                None => drop(had.insert(what, one.name)),
            }
        }
        let mut carries = Vec::new();
        for (thing, listed, span) in things {
            let name = who::name_of(thing, &resolved.layout).to_owned();
            let value = listed.and_then(|listed| listed.value).or_else(|| one.usual.get(&Kind::of(thing)).copied());
            let asked = Asked {
                layout: &resolved.layout,
                kind: Kind::of(thing),
                thing,
                name: &name,
                base: &one.base,
                value,
                span,
            };
            let Some(at) = address(&by, &asked, out) else { continue };
            doubles.check(&by, one.name.value, &asked, &at, out);
            carries.push(Carried { thing, name, at });
        }
        let name = one.name.value.to_owned();
        wiring.links.push(WiredLink { link, name, by, carries, silent_after: one.silent_after });
    }
    // Of what is told as a mistake nobody needs to be warned as well.
    if !out.has_mistakes() {
        who::check_uncarried(&wiring, resolved, file, out);
    }
    wiring
}

fn read_link<'t>(mut keys: Keys<'t>, out: &mut Findings) -> Option<Written<'t>> {
    let header = keys.header();
    let name = keys.needed_name("\"harbour box\"", out);
    let silent_after = keys.duration("silent-after", out).map(|said| said.value);
    let (mut listed, mut usual, mut all) = (Vec::new(), BTreeMap::new(), BTreeMap::new());
    for kind in Kind::ALL {
        let Some(value) = keys.value(kind.key()) else { continue };
        match value.value {
            DeValue::String(word) if word == "all" => drop(all.insert(kind, value.span)),
            DeValue::Array(_) => {
                let names = crate::keys::texts_of(kind.key(), value, out).into_iter();
                listed.extend(names.map(|name| Listed { kind, name, value: None }));
            }
            DeValue::Table(_) => {
                let Some(lines) = crate::keys::table_of("a list of addresses", value, out) else { continue };
                for (name, value) in lines.entries() {
                    if name.value == "*" {
                        usual.insert(kind, value);
                        all.insert(kind, name.span);
                    } else {
                        listed.push(Listed { kind, name, value: Some(value) });
                    }
                }
            }
            _ => {
                wrong_type(kind.key(), "a list of names, a table of names with addresses, or `\"all\"`", value, out);
            }
        }
    }
    let name_text = name.map_or("", |name| name.value);
    let (by, base) = speech::read_by(&mut keys, name_text, out);
    keys.finish(out);
    Some(Written { name: name?, header, by, base, listed, usual, all, silent_after })
}

fn address(by: &By, asked: &Asked<'_, '_>, out: &mut Findings) -> Option<At> {
    match by {
        By::Mqtt(mqtt) => mqtt::address(mqtt, asked, out).map(|at| At::Mqtt(Box::new(at))),
        By::Adapter(adapter) => who::adapter_address(adapter, asked, out).map(At::Adapter),
        By::Lcc(lcc) => lcc::address(lcc, asked, out).map(At::Lcc),
        By::Modbus(_) => bits::address(asked, bits::modbus_bit, bits::modbus_coil, out).map(At::Modbus),
        By::Gpio(_) => bits::address(asked, bits::gpio_line, bits::gpio_line, out).map(At::Gpio),
    }
}

/// Every address that was given away, and to whom.
#[derive(Default)]
struct Doubles {
    taken: BTreeMap<(String, String), (String, Span)>,
}

impl Doubles {
    /// Reports where something else has the address already.
    fn check(&mut self, by: &By, link: &str, asked: &Asked<'_, '_>, at: &At, out: &mut Findings) {
        let place = speech::place(by, link);
        let span = asked.value.map_or(asked.span, |value| value.span);
        let name = format!("{} `{}`", asked.kind.word(), asked.name);
        let mut told = false;
        for (address, words) in addresses(at, asked.kind) {
            match self.taken.get(&(place.clone(), address.clone())) {
                Some((other, first)) if !told && *other != name => {
                    out.mistake(span, format!("{name} and {other} have one address: {words}"))
                        .see(*first, format!("here it is that of {other}"))
                        .hint("each needs its own: otherwise one speaks for the other");
                    told = true;
                }
                Some(_) => {}
                None => drop(self.taken.insert((place.clone(), address), (name.clone(), span))),
            }
        }
    }
}

/// What an address takes up on its link, for comparing and in words.
fn addresses(at: &At, kind: Kind) -> Vec<(String, String)> {
    let same = |text: String| (text.clone(), text);
    match at {
        At::Mqtt(at) => mqtt::taken(at),
        At::Adapter(text) => vec![(format!("{} {text}", kind.key()), format!("`{text}`"))],
        At::Lcc(at) => lcc::taken(at).into_iter().map(same).collect(),
        At::Modbus(at) => bits::taken(at, bits::modbus_words),
        At::Gpio(at) => bits::taken(at, bits::gpio_words),
    }
}
