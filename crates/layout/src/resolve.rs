//! From what was typed to a layout: names are looked up, pieces put together.
//!
//! What cannot be resolved is reported and left out, so that the rest can still be checked. What was probably meant by
//! a mistyped end is remembered, so that one slip of the finger is not reported a second time as a dangling end.

use std::collections::BTreeMap;

use track::{
    AccessoryId, Beyond, BookId, Builder, DistrictId, EndId, InputId, Layout, LinkId, Scale, SectionId, TurnoutId,
    WayId,
};

use crate::books::Books;
use crate::diagnostic::Findings;
use crate::keys::list_of;
use crate::names::Names;
use crate::resolved::{Excused, Places, Resolved};
use crate::source::{Said, Span};
use crate::speeds::speeds_of;
use crate::written::{WrittenJoint, WrittenSection, WrittenTrack, WrittenWay};
use track::nearest;

type Text<'t> = Said<&'t str>;

/// A turnout is one piece of track: it never lies in more sections. The bound keeps a faulty file from being checked
/// for hours.
const MOST_SECTIONS: usize = 100;
/// No end meets more others; bounded for the same reason.
const MOST_MET: usize = 1000;
/// No section crosses more others.
const MOST_CROSSED: usize = 100;

/// Puts the layout together; `fittings` adds what stands beside the track.
pub(crate) struct Resolver<'t, 'o> {
    pub(crate) builder: Builder,
    ratio: f64,
    pub(crate) sections: Names<'t, SectionId>,
    turnouts: Names<'t, TurnoutId>,
    districts: Names<'t, DistrictId>,
    accessories: Names<'t, AccessoryId>,
    inputs: Names<'t, InputId>,
    pub(crate) links: Names<'t, LinkId>,
    /// The aspect books that signals are shown by.
    pub(crate) books: BTreeMap<String, BookId>,
    /// The link that was said of a whole section.
    pub(crate) section_links: BTreeMap<SectionId, Said<LinkId>>,
    pub(crate) places: Places,
    pub(crate) excused: Excused,
    pub(crate) out: &'o mut Findings,
}

/// What an end's name led to.
#[derive(Clone, Copy)]
pub(crate) enum Found {
    End(EndId),
    /// Reported; this one was probably meant.
    Meant(EndId),
    /// Reported; some end of this section was meant.
    Within(SectionId),
    /// Reported; nothing is near.
    Nothing,
}

impl Found {
    pub(crate) fn sure(self) -> Option<EndId> {
        match self {
            Self::End(end) => Some(end),
            Self::Meant(_) | Self::Within(_) | Self::Nothing => None,
        }
    }

    /// The ends that may have been meant.
    fn likely(self, layout: &Layout) -> Vec<EndId> {
        match self {
            Self::End(end) | Self::Meant(end) => vec![end],
            Self::Within(section) => layout.sections[section].ends.to_vec(),
            Self::Nothing => Vec::new(),
        }
    }
}

/// Looks up every name of the track and puts the layout together.
pub(crate) fn resolve<'t>(track: &WrittenTrack<'t>, books: &Books, out: &mut Findings) -> Resolved<'t> {
    let scale = track.scale.and_then(|scale| resolve_scale(scale, out)).unwrap_or(Scale::UNKNOWN);
    let name = track.name.map_or("", |name| name.value);
    let mut resolver = Resolver {
        builder: Builder::new(name, scale),
        ratio: scale.ratio,
        sections: Names::new("section"),
        turnouts: Names::new("turnout"),
        districts: Names::new("power district"),
        accessories: Names::new("accessory"),
        inputs: Names::new("input"),
        links: Names::new("link"),
        books: BTreeMap::new(),
        section_links: BTreeMap::new(),
        places: Places::default(),
        excused: Excused::default(),
        out,
    };
    resolver.add_speeds(track);
    resolver.excused.electrics = track.sensing.is_faulty;
    resolver.declare_links(track);
    resolver.declare_turnouts(track);
    resolver.declare_districts(track);
    resolver.declare_accessories(track);
    resolver.declare_inputs(track);
    for section in &track.sections {
        resolver.add_section(section);
    }
    resolver.add_crossings(track);
    resolver.add_joints(track);
    resolver.close_ends(&track.buffer_stops, Beyond::BufferStop);
    resolver.close_ends(&track.off_layout, Beyond::OffLayout);
    resolver.add_books(track, books);
    resolver.add_signals(track);
    resolver.add_stops(track);
    resolver.add_detectors(track);
    let hints = resolver.hints(track);
    let Resolver { builder, sections, links, places, excused, section_links, .. } = resolver;
    let (layout, parts) = (builder.build(), track.parts);
    Resolved { layout, sections, links, places, excused, parts, section_links, hints }
}

fn resolve_scale(scale: Text<'_>, out: &mut Findings) -> Option<Scale> {
    let known = Scale::named(scale.value);
    if known.is_none() {
        let names: Vec<_> = Scale::all().iter().map(|scale| scale.name).collect();
        let hint = match nearest(scale.value, names.iter().copied()) {
            Some(near) => format!("the nearest scale is `{near}`"),
            None => format!("the scales are {}", list_of(&names)),
        };
        out.mistake(scale.span, format!("no scale is named `{}`", scale.value)).hint(hint);
    }
    known
}

impl<'t> Resolver<'t, '_> {
    fn add_speeds(&mut self, track: &WrittenTrack<'t>) {
        let ratio = self.ratio;
        let speeds = speeds_of(&track.speeds, |speed| speed.on_table(ratio), self.out);
        self.builder.speeds(speeds);
    }

    fn declare_turnouts(&mut self, track: &WrittenTrack<'t>) {
        for written in &track.turnouts {
            if !self.turnouts.is_free(written.name, self.out) {
                continue;
            }
            let link = self.find_link(written.link);
            let id = self.builder.turnout(written.name.value);
            let turnout = self.builder.turnout_mut(id);
            turnout.reported = written.reported.unwrap_or(turnout.reported);
            turnout.worked = written.worked.unwrap_or(turnout.worked);
            turnout.throw_time = written.throw_time.unwrap_or(turnout.throw_time);
            turnout.normal = written.normal.unwrap_or(turnout.normal);
            turnout.link = link;
            turnout.limit = written.limit.map(|limit| limit.value.on_table(self.ratio));
            self.turnouts.add(written.name, id);
            self.places.turnouts.push(written.name.span);
        }
    }

    fn declare_districts(&mut self, track: &WrittenTrack<'t>) {
        for written in &track.districts {
            if self.districts.is_free(written.name, self.out) {
                let id = self.builder.district(written.name.value);
                self.builder.district_mut(id).voltage = written.voltage;
                self.builder.district_mut(id).is_switched = written.is_switched;
                self.excused.electrics |= written.is_faulty;
                self.districts.add(written.name, id);
                self.places.districts.push(written.name.span);
            }
        }
    }

    fn declare_accessories(&mut self, track: &WrittenTrack<'t>) {
        for written in &track.accessories {
            if self.accessories.is_free(written.name, self.out) {
                let link = self.find_link(written.link);
                let id = self.builder.accessory(written.name.value, link);
                self.accessories.add(written.name, id);
            }
        }
    }

    fn declare_inputs(&mut self, track: &WrittenTrack<'t>) {
        for written in &track.inputs {
            if self.inputs.is_free(written.name, self.out) {
                let link = self.find_link(written.link);
                let id = self.builder.input(written.name.value, link);
                self.inputs.add(written.name, id);
            }
        }
    }

    fn add_section(&mut self, written: &WrittenSection<'t>) {
        if !self.sections.is_free(written.name, self.out) {
            return;
        }
        let id = self.builder.section(written.name.value);
        self.sections.add(written.name, id);
        self.places.sections.push(written.name.span);
        if let Some(written) = written.district {
            match self.districts.find(written, self.out) {
                Some(district) => self.builder.feed(id, district),
                None => {
                    self.excused.districts.extend(self.districts.meant(written.value).map(|(_, district)| district));
                    self.excused.electrics = true;
                }
            }
        }
        if let (Some(link), Some(written)) = (self.find_link(written.link), written.link) {
            self.section_links.insert(id, Said { value: link, span: written.span });
        }
        match &written.ways {
            Some(ways) => {
                for way in ways {
                    self.add_way(id, written, way);
                }
            }
            None => {
                let ends = ["a", "b"].map(|name| self.end(id, name, written.name.span));
                let way = self.builder.way(ends[0], ends[1], written.length.map(|length| length.value));
                self.places.ways.push(written.name.span);
                self.limit(way, written, None);
                if let Some(gradient) = written.gradient {
                    self.builder.rise(way, gradient.value);
                }
            }
        }
    }

    /// It is enough if one of two sections says that it crosses the other.
    fn add_crossings(&mut self, track: &WrittenTrack<'t>) {
        for written in &track.sections {
            let Some(section) = self.sections.find_quietly(written.name.value) else { continue };
            for &crossed in &written.crosses {
                let Some(other) = self.sections.find(crossed, self.out) else { continue };
                if other == section {
                    self.out
                        .mistake(crossed.span, format!("`{}` is said to cross itself", crossed.value))
                        .hint("name the other section; ways of one section exclude each other anyway");
                } else if self.builder.layout().sections[section].crosses.len() >= MOST_CROSSED {
                    self.out.mistake(
                        crossed.span,
                        format!("`{}` crosses more than {MOST_CROSSED} sections", written.name.value),
                    );
                } else {
                    self.builder.cross(section, other);
                }
            }
        }
    }

    fn add_way(&mut self, section: SectionId, of: &WrittenSection<'t>, written: &WrittenWay<'t>) {
        if written.from.value == written.to.value {
            self.out
                .mistake(written.to.span, format!("the way begins and finishes at the same end `{}`", written.to.value))
                .hint("a loop that leads back is two ends joined by a `[[joint]]`");
            return;
        }
        let from = self.end(section, written.from.value, written.from.span);
        let to = self.end(section, written.to.value, written.to.span);
        let way = self.builder.way(from, to, written.length.map(|length| length.value));
        self.places.ways.push(written.span);
        self.limit(way, of, Some(written));
        if let Some(gradient) = written.gradient {
            self.builder.rise(way, gradient.value);
        }
        for (turnout, lie) in &written.needs {
            match (self.turnouts.find(*turnout, self.out), lie) {
                (Some(id), Some(lie)) if self.builder.layout().turnouts[id].sections.len() < MOST_SECTIONS => {
                    self.builder.need(way, id, *lie);
                }
                (Some(_), Some(_)) => {
                    self.out.mistake(
                        turnout.span,
                        format!("more than {MOST_SECTIONS} sections need turnout `{}`", turnout.value),
                    );
                }
                (found, _) => {
                    let meant = found.or_else(|| self.turnouts.meant(turnout.value).map(|(_, turnout)| turnout));
                    self.excused.turnouts.extend(meant);
                    self.excused.ways.insert(way);
                }
            }
        }
    }

    /// The way's own limit and class of speed, else its section's.
    fn limit(&mut self, way: WayId, section: &WrittenSection<'t>, written: Option<&WrittenWay<'t>>) {
        if let Some(limit) = written.and_then(|way| way.limit).or(section.limit) {
            self.builder.limit(way, limit.value.on_table(self.ratio));
        }
        if let Some(class) = written.and_then(|way| way.class).or(section.class) {
            self.builder.class(way, class);
        }
    }

    /// The end of that name within a section, made where it is new.
    fn end(&mut self, section: SectionId, name: &str, place: Span) -> EndId {
        let known = end_within(self.builder.layout(), section, name);
        known.unwrap_or_else(|| {
            self.places.ends.push(place);
            self.builder.end(section, name)
        })
    }

    pub(crate) fn find_end(&mut self, name: Text<'_>) -> Found {
        let Some((section_name, end_name)) = name.value.rsplit_once('.') else {
            let section = self.sections.find_quietly(name.value);
            let hint = match section {
                Some(section) => {
                    let ends = end_names(self.builder.layout(), section);
                    format!(
                        "the section has the ends {}: write `{}.{}`",
                        list_of(&ends),
                        name.value,
                        ends.first().unwrap_or(&"a")
                    )
                }
                None => "an end is written `section.end`".to_owned(),
            };
            self.out.mistake(name.span, format!("`{}` names no end", name.value)).hint(hint);
            return section.map_or(Found::Nothing, Found::Within);
        };
        let layout = self.builder.layout();
        let Some(section) = self.sections.find_quietly(section_name) else {
            let meant = self.sections.meant(section_name);
            let hint = meant.map_or_else(
                || self.sections.hint(section_name),
                |(near, _)| Some(format!("the nearest name is `{near}`")),
            );
            self.out.mistake(name.span, format!("no section is named `{section_name}`")).hint_if(hint);
            let end = meant.and_then(|(_, section)| end_within(layout, section, end_name));
            return end.map_or(Found::Nothing, Found::Meant);
        };
        if let Some(end) = end_within(layout, section, end_name) {
            return Found::End(end);
        }
        let ends = end_names(layout, section);
        let near = nearest(end_name, ends.iter().copied()).filter(|_| end_name.len() > 1);
        let hint = near.map_or_else(
            || format!("its ends are {}", list_of(&ends)),
            |near| format!("the nearest end is `{section_name}.{near}`"),
        );
        self.out.mistake(name.span, format!("section `{section_name}` has no end `{end_name}`")).hint(hint);
        near.and_then(|near| end_within(layout, section, near)).map_or(Found::Within(section), Found::Meant)
    }

    fn add_joints(&mut self, track: &WrittenTrack<'t>) {
        for joint in &track.joints {
            let [one, other] = match joint {
                WrittenJoint::Whole(ends) => ends,
                WrittenJoint::Faulty(legible) => {
                    self.excuse_joint(legible);
                    continue;
                }
            };
            let (a, b) = (self.find_end(*one), self.find_end(*other));
            if let (Some(a), Some(b)) = (a.sure(), b.sure()) {
                self.join((a, *one), (b, *other));
                continue;
            }
            let layout = self.builder.layout();
            let (a, b) = (a.likely(layout), b.likely(layout));
            if let (Some(&a), Some(&b)) = (a.first(), b.first()) {
                self.excused.touching.push((layout.ends[a].section, layout.ends[b].section));
            }
            self.excused.ends.extend(a.into_iter().chain(b));
        }
    }

    /// The ends named in a joint that was reported may well meet, and so need no other reason to be there.
    fn excuse_joint(&mut self, legible: &[Text<'t>]) {
        let layout = self.builder.layout();
        let named = legible.iter().filter_map(|name| {
            let (section, end) = name.value.rsplit_once('.')?;
            end_within(layout, self.sections.find_quietly(section)?, end)
        });
        let ends: Vec<EndId> = named.collect();
        let sections = ends.iter().map(|&end| layout.ends[end].section);
        self.excused.touching.extend(sections.clone().zip(sections.skip(1)));
        self.excused.ends.extend(ends);
    }

    fn join(&mut self, (a, one): (EndId, Text<'t>), (b, other): (EndId, Text<'t>)) {
        if a == b {
            self.out
                .mistake(other.span, format!("`{}` is joined to itself", other.value))
                .see(one.span, "the other side of the joint")
                .hint("two ends meet at a joint; a track that simply ends has a `[[buffer-stop]]`");
            self.excused.ends.insert(a);
            return;
        }
        for (end, name) in [(a, one), (b, other)] {
            if self.builder.layout().ends[end].meets.len() >= MOST_MET {
                self.out.mistake(name.span, format!("`{}` meets more than {MOST_MET} ends", name.value));
                return;
            }
        }
        let pair = (a.min(b), a.max(b));
        if let Some(&first) = self.places.joints.get(&pair) {
            self.out
                .warning(one.span, format!("`{}` and `{}` are joined twice", one.value, other.value))
                .see(first, "the first time");
            return;
        }
        self.builder.join(a, b);
        self.places.joints.insert(pair, one.span);
        self.places.joined.entry(a).or_insert(one.span);
        self.places.joined.entry(b).or_insert(other.span);
    }

    fn close_ends(&mut self, ends: &[Text<'t>], beyond: Beyond) {
        for name in ends {
            let found = self.find_end(*name);
            let Some(end) = found.sure() else {
                self.excused.ends.extend(found.likely(self.builder.layout()));
                continue;
            };
            let what = in_words(beyond);
            if let Some(&joint) = self.places.joined.get(&end) {
                self.out
                    .mistake(name.span, format!("`{}` {what}, and yet meets another end", name.value))
                    .see(joint, "the joint")
                    .hint("take away one of the two");
            } else if let Some(&first) = self.places.closed.get(&end) {
                let contradicts = self.builder.layout().ends[end].beyond != beyond;
                if contradicts {
                    self.out.mistake(
                        name.span,
                        format!(
                            "`{}` {what}, but {} as well",
                            name.value,
                            in_words(self.builder.layout().ends[end].beyond)
                        ),
                    )
                } else {
                    self.out.warning(name.span, format!("`{}` {what}, as was said before", name.value))
                }
                .see(first, "said first")
                .hint("an end has a buffer stop or leads off the layout, and says so once");
            } else {
                self.builder.close(end, beyond);
                self.places.closed.insert(end, name.span);
            }
        }
    }
}

fn in_words(beyond: Beyond) -> &'static str {
    match beyond {
        Beyond::BufferStop => "has a buffer stop",
        Beyond::OffLayout => "leads off the layout",
        Beyond::Joint => "meets another end",
    }
}

fn end_within(layout: &Layout, section: SectionId, name: &str) -> Option<EndId> {
    layout.sections[section].ends.iter().copied().find(|&end| layout.ends[end].name == name)
}

fn end_names(layout: &Layout, section: SectionId) -> Vec<&str> {
    layout.sections[section].ends.iter().map(|&end| layout.ends[end].name.as_str()).collect()
}
