//! What stands beside the track: stopping points and detectors.

use std::collections::{BTreeMap, BTreeSet};

use track::{DetectorKind, EndId, Id as _, Length, SectionId, WayId};

use crate::keys::list_of;
use crate::names::Names;
use crate::resolve::Resolver;
use crate::source::{Said, Span};
use crate::written::{WrittenDetector, WrittenDetectorPlace, WrittenStop, WrittenTrack};

type Text<'t> = Said<&'t str>;

impl<'t> Resolver<'t, '_> {
    pub(crate) fn add_stops(&mut self, track: &WrittenTrack<'t>) {
        let mut names = Names::new("stopping point");
        for written in &track.stops {
            let name = written.name.unwrap_or(written.at);
            let at = self.find_end(written.at).sure();
            if !names.is_free(name, self.out) {
                continue;
            }
            names.add(name, ());
            let Some(at) = at else { continue };
            let short_of_end = written.short_of_end.map_or(Length::ZERO, |short| short.value);
            let place = written.short_of_end.map_or(written.at.span, |short| short.span);
            for way in self.builder.layout().ends[at].ways.clone() {
                match self.builder.layout().ways[way].length {
                    None => self.needs_length(way, written.at.span, "a stopping point"),
                    Some(length) if short_of_end >= length => {
                        self.out
                            .mistake(
                                place,
                                format!(
                                    "the stopping point lies {} mm from the end of a way of {} mm",
                                    short_of_end.mm(),
                                    length.mm()
                                ),
                            )
                            .see(self.places.ways[way.index()], "the way")
                            .hint("`short-of-end` is measured back from the end, within the section");
                        break;
                    }
                    Some(length) => self.check_platform(written, way, length),
                }
            }
            let stop = self.builder.stop(name.value, at, short_of_end);
            self.builder.stop_mut(stop).platform = written.platform.and_then(|said| said.value);
            self.places.stops.push(name.span);
        }
    }

    /// The platform of a stopping point lies along its way.
    fn check_platform(&mut self, written: &WrittenStop<'t>, way: WayId, length: Length) {
        let Some(Said { value: Some((_, to)), span }) = written.platform else { return };
        if to > length {
            let what = format!("the platform reaches {} mm back from the end of a way of {} mm", to.mm(), length.mm());
            self.out
                .mistake(span, what)
                .see(self.places.ways[way.index()], "the way")
                .hint("`platform` is measured back from the end, within the section");
        }
    }

    /// Reports, once a way, that it has no length though something on it is measured.
    pub(crate) fn needs_length(&mut self, way: WayId, because: Span, what: &str) {
        if self.places.needed_length.insert(way) {
            let layout = self.builder.layout();
            let section = &layout.sections[layout.ways[way].section].name;
            self.out
                .mistake(
                    self.places.ways[way.index()],
                    format!("this way through `{section}` needs a length: {what} is measured along it"),
                )
                .see(because, what)
                .hint("measure it, and add `length = ...` in millimetres");
        }
    }

    pub(crate) fn add_detectors(&mut self, track: &WrittenTrack<'t>) {
        let mut names = Names::new("detector");
        let mut areas: BTreeMap<SectionId, &WrittenDetector<'t>> = BTreeMap::new();
        for written in &track.detectors {
            if let WrittenDetectorPlace::Area(section) = written.place
                && let Some(id) = self.sections.find(section, self.out)
            {
                match areas.get(&id) {
                    Some(first) => {
                        self.out
                            .mistake(section.span, format!("a second area detector watches `{}`", section.value))
                            .see(first.header, "the first")
                            .hint("a section is what one detector watches: split the section, or keep one detector");
                    }
                    None => {
                        areas.insert(id, written);
                    }
                }
            }
        }
        self.add_areas(track, &areas, &mut names);
        for written in &track.detectors {
            let Some(kind) = self.find_kind(written) else { continue };
            let Some(name) = written.name else {
                self.out.mistake(written.header, "a spot or a reader needs a `name`").hint("add `name = \"gate\"`");
                continue;
            };
            if names.is_free(name, self.out) {
                names.add(name, ());
                let detector = self.described_detector(track, (name.value, kind), Some(written));
                self.builder.detector(detector);
            }
        }
    }

    /// Every section that is not dark has an area detector, named after it where nobody said otherwise.
    fn add_areas(
        &mut self,
        track: &WrittenTrack<'t>,
        areas: &BTreeMap<SectionId, &WrittenDetector<'t>>,
        names: &mut Names<'t, ()>,
    ) {
        let mut done = BTreeSet::new();
        for section in &track.sections {
            let Some(id) = self.sections.find_quietly(section.name.value) else { continue };
            if !done.insert(id) {
                continue;
            }
            let written = areas.get(&id).copied();
            if let Some(dark) = section.dark.filter(|dark| dark.value) {
                if let Some(written) = written {
                    self.out
                        .mistake(
                            written.header,
                            format!("`{}` is dark, and yet has an area detector", section.name.value),
                        )
                        .see(dark.span, "said to be dark")
                        .hint("take away one of the two");
                }
                continue;
            }
            let name = written.and_then(|written| written.name).unwrap_or(section.name);
            if names.is_free(name, self.out) {
                names.add(name, ());
                let detector = self.described_detector(track, (name.value, DetectorKind::Area(id)), written);
                self.builder.detector(detector);
            }
        }
    }

    /// What a spot or a reader sees; nothing for area detectors and for what is reported.
    fn find_kind(&mut self, written: &WrittenDetector<'t>) -> Option<DetectorKind> {
        match written.place {
            WrittenDetectorPlace::Area(_) => None,
            WrittenDetectorPlace::Reader(section) => Some(DetectorKind::Reader(self.sections.find(section, self.out)?)),
            WrittenDetectorPlace::Spot { at, to, distance } => {
                let end = self.find_end(at).sure()?;
                let way = self.find_way(end, at, to)?;
                let layout = self.builder.layout();
                let length = layout.ways[way].length;
                let first = layout.ways[way].ends[0];
                let from_first_end = match (distance, length) {
                    (None, _) => None,
                    (Some(distance), Some(length)) if distance.value > length => {
                        self.out
                            .mistake(
                                distance.span,
                                format!("the spot lies behind its way, which is {} mm long", length.mm()),
                            )
                            .see(self.places.ways[way.index()], "the way")
                            .hint("`distance` is measured from the end named by `spot`");
                        None
                    }
                    (Some(distance), Some(length)) => {
                        Some(if first == end { distance.value } else { length - distance.value })
                    }
                    (Some(distance), None) => {
                        self.needs_length(way, distance.span, "a spot");
                        None
                    }
                };
                Some(DetectorKind::Spot { way, from_first_end })
            }
        }
    }

    fn find_way(&mut self, from: EndId, at: Text<'_>, to: Option<Text<'_>>) -> Option<WayId> {
        let layout = self.builder.layout();
        let reached: Vec<(WayId, &str)> =
            layout.ways_from(from).map(|(way, end)| (way, layout.ends[end].name.as_str())).collect();
        let names: Vec<&str> = reached.iter().map(|(_, name)| *name).collect();
        match (to, reached.as_slice()) {
            (None, [(way, _)]) => Some(*way),
            (None, _) => {
                self.out
                    .mistake(at.span, format!("several ways begin at `{}`", at.value))
                    .hint(format!("say which is meant: `to` is one of {}", list_of(&names)));
                None
            }
            (Some(to), _) => {
                let found = reached.iter().find(|(_, name)| *name == to.value).map(|(way, _)| *way);
                if found.is_none() {
                    self.out
                        .mistake(to.span, format!("no way leads from `{}` to `{}`", at.value, to.value))
                        .hint(format!("ways lead to {}", list_of(&names)));
                }
                found
            }
        }
    }
}
