//! Which link carries what.

use std::collections::{BTreeMap, BTreeSet};

use toml::de::DeValue;
use track::wiring::{Adapter, Thing, Wiring};
use track::{DetectorKind, Id as _, Layout, Link, LinkId, dcc, nearest};

use super::{Asked, Listed, Written};
use crate::diagnostic::Findings;
use crate::keys::{Keys, list_of, wrong_type};
use crate::load::{TRACK_FILE, TRAINS_FILE};
use crate::resolved::Resolved;
use crate::source::{Said, Span};

/// Kinds of things that links carry.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Kind {
    Section,
    Spot,
    Reader,
    Turnout,
    Signal,
    Train,
    District,
    Accessory,
    Input,
}

impl Kind {
    pub(crate) const ALL: [Self; 9] = [
        Self::Section,
        Self::Spot,
        Self::Reader,
        Self::Turnout,
        Self::Signal,
        Self::Train,
        Self::District,
        Self::Accessory,
        Self::Input,
    ];

    /// The key of the list of such things.
    pub(crate) fn key(self) -> &'static str {
        match self {
            Self::Section => "sections",
            Self::Spot => "spots",
            Self::Reader => "readers",
            Self::Turnout => "turnouts",
            Self::Signal => "signals",
            Self::Train => "trains",
            Self::District => "districts",
            Self::Accessory => "accessories",
            Self::Input => "inputs",
        }
    }

    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Section => "section",
            Self::Spot => "spot",
            Self::Reader => "reader",
            Self::Turnout => "turnout",
            Self::Signal => "signal",
            Self::Train => "train",
            Self::District => "district",
            Self::Accessory => "accessory",
            Self::Input => "input",
        }
    }

    pub(crate) fn of(thing: Thing) -> Self {
        match thing {
            Thing::Section(_) => Self::Section,
            Thing::Spot(_) => Self::Spot,
            Thing::Reader(_) => Self::Reader,
            Thing::Turnout(_) => Self::Turnout,
            Thing::Signal(_) => Self::Signal,
            Thing::Train(_) => Self::Train,
            Thing::District(_) => Self::District,
            Thing::Accessory(_) => Self::Accessory,
            Thing::Input(_) => Self::Input,
        }
    }
}

/// The name of a thing, as people write it.
pub(crate) fn name_of(thing: Thing, layout: &Layout) -> &str {
    match thing {
        Thing::Section(section) => &layout.sections[section].name,
        Thing::Spot(detector) | Thing::Reader(detector) => &layout.detectors[detector].name,
        Thing::Turnout(turnout) => &layout.turnouts[turnout].name,
        Thing::Signal(signal) => &layout.signals[signal].name,
        Thing::Train(train) => &layout.trains[train].name,
        Thing::District(district) => &layout.districts[district].name,
        Thing::Accessory(accessory) => &layout.accessories[accessory].name,
        Thing::Input(input) => &layout.inputs[input].name,
    }
}

/// Everything of a kind that a link can carry.
fn things(kind: Kind, layout: &Layout) -> Vec<Thing> {
    let detectors = |wanted: fn(&DetectorKind) -> bool| {
        layout.detectors.iter().filter(move |(_, detector)| wanted(&detector.kind)).map(|(id, _)| id)
    };
    match kind {
        Kind::Section => layout.sections.ids().filter(|&id| !layout.is_dark(id)).map(Thing::Section).collect(),
        Kind::Spot => detectors(|kind| matches!(kind, DetectorKind::Spot { .. })).map(Thing::Spot).collect(),
        Kind::Reader => detectors(|kind| matches!(kind, DetectorKind::Reader(_))).map(Thing::Reader).collect(),
        Kind::Turnout => layout.turnouts.ids().map(Thing::Turnout).collect(),
        Kind::Signal => layout.signals.ids().map(Thing::Signal).collect(),
        Kind::Train => layout.trains.ids().map(Thing::Train).collect(),
        Kind::District => layout.districts.ids().map(Thing::District).collect(),
        Kind::Accessory => layout.accessories.ids().map(Thing::Accessory).collect(),
        Kind::Input => layout.inputs.ids().map(Thing::Input).collect(),
    }
}

/// The link that the other files give a thing to.
fn link_of(thing: Thing, layout: &Layout) -> Option<LinkId> {
    match thing {
        Thing::Section(section) => layout.sections[section].detector.and_then(|id| layout.detectors[id].link),
        Thing::Spot(detector) | Thing::Reader(detector) => layout.detectors[detector].link,
        Thing::Turnout(turnout) => layout.turnouts[turnout].link,
        Thing::Train(train) => layout.trains[train].link,
        Thing::Accessory(accessory) => layout.accessories[accessory].link,
        Thing::Input(input) => layout.inputs[input].link,
        Thing::Signal(_) | Thing::District(_) => None,
    }
}

fn give(thing: Thing, link: LinkId, layout: &mut Layout) {
    match thing {
        Thing::Section(section) => {
            if let Some(id) = layout.sections[section].detector {
                layout.detectors[id].link = Some(link);
            }
        }
        Thing::Spot(detector) | Thing::Reader(detector) => layout.detectors[detector].link = Some(link),
        Thing::Turnout(turnout) => layout.turnouts[turnout].link = Some(link),
        Thing::Train(train) => layout.trains[train].link = Some(link),
        Thing::Accessory(accessory) => layout.accessories[accessory].link = Some(link),
        Thing::Input(input) => layout.inputs[input].link = Some(link),
        Thing::Signal(_) | Thing::District(_) => {}
    }
}

/// The link of that name: one that `layout.toml` names, or a new one.
pub(crate) fn link_named(name: Said<&str>, resolved: &mut Resolved<'_>, out: &mut Findings) -> LinkId {
    let layout = &mut resolved.layout;
    if let Some(link) = layout.link_named(name.value) {
        return link;
    }
    if let Some(near) = nearest(name.value, layout.links.values().map(|link| link.name.as_str())) {
        out.warning(name.span, format!("`layout.toml` has no link `{}`", name.value))
            .hint(format!("the nearest name there is `{near}`"));
    }
    resolved.places.links.push(name.span);
    layout.links.push(Link { name: name.value.to_owned(), orders_a_second: None })
}

/// What each link carries: the thing, the line that names it, and where to point if something is missing.
pub(crate) type Share<'t> = Vec<(Thing, Option<Listed<'t>>, Span)>;

/// Shares out everything among the links, in order of kind and of the layout.
pub(crate) fn share_out<'t>(
    links: &[(LinkId, Written<'t>)],
    resolved: &mut Resolved<'_>,
    out: &mut Findings,
) -> Vec<Share<'t>> {
    let mut owners: BTreeMap<Thing, (usize, Option<Listed<'t>>, Span)> = BTreeMap::new();
    for (place, (link, written)) in links.iter().enumerate() {
        for listed in &written.listed {
            let Some(thing) = find(*listed, &resolved.layout, out) else { continue };
            if let Some(&(_, _, first)) = owners.get(&thing) {
                out.mistake(
                    listed.name.span,
                    format!("{} `{}` is listed twice", listed.kind.word(), listed.name.value),
                )
                .see(first, "the first time")
                .hint("one link carries it, at one address");
                continue;
            }
            if let Some(other) = link_of(thing, &resolved.layout).filter(|other| other != link) {
                let other = &resolved.layout.links[other].name;
                let file = if listed.kind == Kind::Train { TRAINS_FILE } else { TRACK_FILE };
                out.mistake(
                    listed.name.span,
                    format!("`{file}` says that link `{other}` carries `{}`", listed.name.value),
                )
                .hint(format!("list it there, or say `link = \"{}\"` in `{file}`", written.name.value));
                continue;
            }
            owners.insert(thing, (place, Some(*listed), listed.name.span));
            give(thing, *link, &mut resolved.layout);
        }
    }
    for (place, (link, written)) in links.iter().enumerate() {
        for kind in Kind::ALL {
            for thing in things(kind, &resolved.layout) {
                let is_free = !owners.contains_key(&thing);
                match (link_of(thing, &resolved.layout), written.all.get(&kind)) {
                    (Some(given), _) if given == *link && is_free => {
                        owners.insert(thing, (place, None, written.header));
                    }
                    (None, Some(&span)) if is_free => {
                        owners.insert(thing, (place, None, span));
                        give(thing, *link, &mut resolved.layout);
                    }
                    _ => {}
                }
            }
        }
    }
    let mut shares: Vec<Share<'t>> = links.iter().map(|_| Vec::new()).collect();
    for (thing, (place, listed, span)) in owners {
        shares[place].push((thing, listed, span));
    }
    shares
}

fn find(listed: Listed<'_>, layout: &Layout, out: &mut Findings) -> Option<Thing> {
    let all = things(listed.kind, layout);
    let found = all.iter().copied().find(|&thing| name_of(thing, layout) == listed.name.value);
    if found.is_none() {
        let word = listed.kind.word();
        let dark = listed.kind == Kind::Section && layout.section_named(listed.name.value).is_some();
        if dark {
            out.mistake(listed.name.span, format!("section `{}` is dark: nothing reports it", listed.name.value))
                .hint("leave it out, or take `dark` away in `layout.toml`");
            return None;
        }
        let near = nearest(listed.name.value, all.iter().map(|&thing| name_of(thing, layout)));
        out.mistake(listed.name.span, format!("no {word} is named `{}`", listed.name.value))
            .hint_if(near.map(|near| format!("the nearest name is `{near}`")));
    }
    found
}

/// The address of a thing behind an adapter: a text or a whole number; its name where nothing is written.
pub(crate) fn adapter_address(adapter: &Adapter, asked: &Asked<'_, '_>, out: &mut Findings) -> Option<String> {
    let text = match asked.value {
        None => asked.name.to_owned(),
        Some(Said { value: DeValue::String(text), .. }) => text.to_string(),
        Some(Said { value: DeValue::Integer(number), .. }) => number.to_string(),
        Some(value) => {
            wrong_type(asked.name, "a text or a whole number", value, out);
            return None;
        }
    };
    if adapter.sends_packets && matches!(asked.kind, Kind::Turnout | Kind::Accessory) {
        let span = asked.value.map_or(asked.span, |value| value.span);
        accessory(&text, span, asked.name, out)?;
    }
    Some(text)
}

/// Whether the power of a district is switched from here; warns of orders for one whose power is not.
pub(crate) fn is_switched(asked: &Asked<'_, '_>, keys: Option<&Keys<'_>>, out: &mut Findings) -> bool {
    let Thing::District(district) = asked.thing else { return false };
    let is_switched = asked.layout.districts[district].is_switched;
    let orders = ["set", "set-topic", "set-live", "set-dark"];
    if let (false, Some(keys)) = (is_switched, keys)
        && let Some(order) = orders.iter().find(|order| keys.has(order))
    {
        out.warning(keys.header(), format!("`{order}` is never said: the power of `{}` is not switched", asked.name))
            .hint("add `switched = true` to its `[[district]]` in `layout.toml`, or leave this out");
    }
    is_switched
}

/// Reports that a district's power is to be switched, and not said how.
pub(crate) fn not_said_how(asked: &Asked<'_, '_>, span: Span, by: &str, hint: &str, out: &mut Findings) {
    out.mistake(span, format!("the power of district `{}` is switched by {by} not said", asked.name))
        .hint(format!("say {hint}; or in `layout.toml` that it is not `switched`"));
}

/// The number of an accessory decoder, as people count them.
pub(crate) fn accessory(text: &str, span: Span, name: &str, out: &mut Findings) -> Option<dcc::Accessory> {
    let number = text.parse::<u16>().ok();
    match number.map(dcc::Accessory::of_user_number) {
        Some(Ok(accessory)) => Some(accessory),
        Some(Err(dcc::NoAccessory::ReachesAll)) => {
            out.mistake(span, format!("accessory address {text} of `{name}` would reach every accessory decoder"))
                .hint("2041 to 2044 lie on the broadcast pattern of NMRA S-9.2.1, section D: take another");
            None
        }
        Some(Err(dcc::NoAccessory::OutOfRange)) | None => {
            out.mistake(span, format!("`{text}` of `{name}` is no accessory address"))
                .hint("they are counted from 1 to 2048 (NMRA S-9.2.1, section D)");
            None
        }
    }
}

/// Warns of what no link carries and trains would miss.
pub(crate) fn check_uncarried(wiring: &Wiring, resolved: &Resolved<'_>, file: Span, out: &mut Findings) {
    let carried: BTreeSet<Thing> =
        wiring.links.iter().flat_map(|link| link.carries.iter().map(|carried| carried.thing)).collect();
    let layout = &resolved.layout;
    let missing = |kind: Kind, wanted: &dyn Fn(Thing) -> bool| -> Vec<String> {
        let all = things(kind, layout).into_iter().filter(|thing| !carried.contains(thing) && wanted(*thing));
        all.map(|thing| name_of(thing, layout).to_owned()).collect()
    };
    let is_worked = |thing: Thing| matches!(thing, Thing::Turnout(turnout) if layout.turnouts[turnout].worked || layout.turnouts[turnout].reported);
    let is_switched =
        |thing: Thing| matches!(thing, Thing::District(district) if layout.districts[district].is_switched);
    let told: [(Kind, Vec<String>, &str); 6] = [
        (Kind::Section, missing(Kind::Section, &|_| true), "what no link reports counts as occupied"),
        (Kind::Turnout, missing(Kind::Turnout, &is_worked), "what no link carries is neither thrown nor reported"),
        (Kind::Train, missing(Kind::Train, &|_| true), "what no link carries is not driven"),
        (
            Kind::District,
            missing(Kind::District, &is_switched),
            "power that is said to be `switched` cannot be cut where no link carries it, in the last resort either",
        ),
        (Kind::Accessory, missing(Kind::Accessory, &|_| true), "what no link carries is not switched"),
        (
            Kind::Input,
            missing(Kind::Input, &|_| true),
            "what no link reports is worked by `lineclear tell input` alone, and not known before",
        ),
    ];
    for (kind, names, hint) in told {
        if !names.is_empty() {
            let names: Vec<&str> = names.iter().map(String::as_str).collect();
            let number = if names.len() == 1 { kind.word() } else { kind.key() };
            out.warning(file, format!("no link carries {number} {}", list_of(&names))).hint(hint);
        }
    }
    for (id, link) in layout.links.iter() {
        let is_here = wiring.links.iter().any(|wired| wired.link == id);
        let is_used = things(Kind::Section, layout)
            .into_iter()
            .chain(things(Kind::Turnout, layout))
            .chain(things(Kind::Accessory, layout))
            .chain(things(Kind::Input, layout))
            .any(|thing| link_of(thing, layout) == Some(id));
        if !is_here && is_used {
            out.warning(
                resolved.places.links[id.index()],
                format!("`links.toml` says nothing of link `{}`", link.name),
            )
            .hint("what it carries counts as occupied for as long as nothing is heard of it");
        }
    }
}
