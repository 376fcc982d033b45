//! Links: what carries the reports of which detectors and turnouts.

use std::collections::BTreeSet;

use track::wiring::Wiring;
use track::{DetectorKind, Id as _, LinkId};

use crate::diagnostic::Findings;
use crate::resolve::Resolver;
use crate::resolved::Resolved;
use crate::source::{FileId, Said};
use crate::written::WrittenTrack;

type Text<'t> = Said<&'t str>;

impl<'t> Resolver<'t, '_> {
    pub(crate) fn declare_links(&mut self, track: &WrittenTrack<'t>) {
        for written in &track.links {
            if self.links.is_free(written.name, self.out) {
                let id = self.builder.link(written.name.value);
                self.builder.link_mut(id).orders_a_second = written.orders;
                self.links.add(written.name, id);
                self.places.links.push(written.name.span);
            }
        }
    }

    /// The link of that name, where one was named.
    pub(crate) fn find_link(&mut self, name: Option<Text<'t>>) -> Option<LinkId> {
        let name = name?;
        let found = self.links.find(name, self.out);
        if found.is_none() {
            self.excused.links.extend(self.links.meant(name.value).map(|(_, link)| link));
        }
        found
    }

    /// The link of a detector: the one it names, else its section's.
    pub(crate) fn link_of(&mut self, kind: DetectorKind, named: Option<Text<'t>>) -> Option<LinkId> {
        if named.is_some() {
            return self.find_link(named);
        }
        let section = match kind {
            DetectorKind::Area(section) | DetectorKind::Reader(section) => section,
            DetectorKind::Spot { way, .. } => self.builder.layout().ways[way].section,
        };
        self.section_links.get(&section).map(|link| link.value)
    }
}

/// Every link carries something, and what was said to be carried is there.
pub(crate) fn check_links(resolved: &Resolved<'_>, wiring: Option<&Wiring>, out: &mut Findings) {
    let is_wired = |id: LinkId| wiring.is_some_and(|wiring| wiring.links.iter().any(|wired| wired.link == id));
    let Resolved { layout, places, excused, section_links, .. } = resolved;
    let mut used: BTreeSet<LinkId> = excused.links.clone();
    used.extend(section_links.values().map(|link| link.value));
    used.extend(layout.detectors.values().filter_map(|detector| detector.link));
    used.extend(layout.turnouts.values().filter_map(|turnout| turnout.link));
    // Which trains are ordered over it is read later.
    let carries_orders = |(_, link): &(LinkId, &track::Link)| link.orders_a_second.is_some();
    used.extend(layout.links.iter().filter(carries_orders).map(|(id, _)| id));
    let unused = layout.links.iter().filter(|(id, _)| !used.contains(id));
    // What `links.toml` names may carry trains and signals alone.
    for (id, link) in unused.filter(|(id, _)| places.links[id.index()].file == FileId(0) && !is_wired(*id)) {
        out.warning(places.links[id.index()], format!("nothing uses link `{}`", link.name)).hint(format!(
            "add `link = \"{}\"` to the sections, detectors and turnouts that it carries the reports of",
            link.name
        ));
    }
    if section_links.is_empty() {
        return;
    }
    let watched: BTreeSet<_> = layout
        .detectors
        .values()
        .map(|detector| match detector.kind {
            DetectorKind::Area(section) | DetectorKind::Reader(section) => section,
            DetectorKind::Spot { way, .. } => layout.ways[way].section,
        })
        .collect();
    for (&section, link) in section_links.iter().filter(|(section, _)| !watched.contains(section)) {
        let name = &layout.sections[section].name;
        out.warning(link.span, format!("`{name}` has a link, and no detector whose reports it could carry"))
            .hint("a dark section needs a link only for a spot or a reader in it");
    }
}
