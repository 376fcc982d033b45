//! The layout as identity needs it: flat lists, so that looking around a section costs the same on any layout.

use smallvec::SmallVec;
use track::{Beyond, EndId, Id, Layout, Length, SectionId, Table, WayId};

use super::picture::Hold;

/// A passage through a section as seen from the end it is entered by.
#[derive(Clone, Copy, Debug)]
pub(super) struct Passage {
    pub way: WayId,
    pub leave: EndId,
}

/// How many sections away a train may be and still matter to what happens in a section: one that is next to it, and one that
/// was passed without a report. Trains lost from sight are looked for farther out.
const NEAR: usize = 2;
const FAR: usize = 4;

/// Flat copies of what the layout says of neighbourhood.
#[derive(Debug)]
pub(super) struct Topology {
    /// For every end, the passages of somebody who enters there.
    passages: Flat<Passage>,
    /// For every end, the ends that it meets.
    meets: Flat<EndId>,
    /// For every section, itself and the sections near it.
    near: Flat<SectionId>,
    far: Flat<SectionId>,
    pub section_of: Table<EndId, SectionId>,
    /// The sections without a detector.
    pub dark: Vec<SectionId>,
    sections: Table<SectionId, Kind>,
    ends: Table<EndId, Beyond>,
}

#[derive(Clone, Debug)]
struct Kind {
    dark: bool,
    border: bool,
    ends: SmallVec<[EndId; 4]>,
}

/// A list of lists in one piece.
#[derive(Debug)]
struct Flat<T> {
    starts: Vec<u32>,
    items: Vec<T>,
}

impl<T> Flat<T> {
    fn new(lists: impl Iterator<Item = Vec<T>>) -> Self {
        let mut flat = Self { starts: vec![0], items: Vec::new() };
        for list in lists {
            flat.items.extend(list);
            flat.starts.push(flat.items.len() as u32);
        }
        flat
    }

    fn of(&self, index: usize) -> &[T] {
        &self.items[self.starts[index] as usize..self.starts[index + 1] as usize]
    }
}

impl Topology {
    pub fn new(layout: &Layout) -> Self {
        let neighbours = |section: SectionId| {
            let ends = layout.sections[section].ends.iter();
            ends.flat_map(|&end| layout.ends[end].meets.iter().map(|&other| layout.ends[other].section))
        };
        let around = |section: SectionId, hops: usize| {
            let mut found = vec![section];
            let mut from = 0;
            // Dark sections do not count as a step: a train passes them without a word.
            for _ in 0..hops {
                let upto = found.len();
                let mut at = from;
                let mut bound = upto;
                while at < bound {
                    let here = found[at];
                    at += 1;
                    for next in neighbours(here) {
                        if !found.contains(&next) {
                            if layout.is_dark(next) && bound < upto + 64 {
                                found.insert(bound, next);
                                bound += 1;
                            } else {
                                found.push(next);
                            }
                        }
                    }
                }
                from = upto;
            }
            found
        };
        Self {
            passages: Flat::new(
                layout.ends.ids().map(|end| layout.ways_from(end).map(|(way, leave)| Passage { way, leave }).collect()),
            ),
            meets: Flat::new(layout.ends.values().map(|end| end.meets.clone())),
            near: Flat::new(layout.sections.ids().map(|section| around(section, NEAR))),
            far: Flat::new(layout.sections.ids().map(|section| around(section, FAR))),
            dark: layout.sections.ids().filter(|&section| layout.is_dark(section)).collect(),
            section_of: layout.ends.values().map(|end| end.section).collect(),
            sections: layout
                .sections
                .iter()
                .map(|(_, section)| Kind {
                    dark: section.detector.is_none(),
                    border: section.ends.iter().any(|&end| layout.ends[end].beyond == Beyond::OffLayout),
                    ends: section.ends.iter().copied().collect(),
                })
                .collect(),
            ends: layout.ends.values().map(|end| end.beyond).collect(),
        }
    }

    pub fn passages(&self, enter: EndId) -> &[Passage] {
        self.passages.of(enter.index())
    }

    pub fn meets(&self, end: EndId) -> &[EndId] {
        self.meets.of(end.index())
    }

    pub fn near(&self, section: SectionId) -> &[SectionId] {
        self.near.of(section.index())
    }

    pub fn far(&self, section: SectionId) -> &[SectionId] {
        self.far.of(section.index())
    }

    pub fn is_dark(&self, section: SectionId) -> bool {
        self.sections[section].dark
    }

    /// Whether trains come and go here.
    pub fn is_border(&self, section: SectionId) -> bool {
        self.sections[section].border
    }

    pub fn ends(&self, section: SectionId) -> &[EndId] {
        &self.sections[section].ends
    }

    /// The sections that a section's ends meet.
    pub fn beside(&self, section: SectionId) -> impl Iterator<Item = SectionId> + '_ {
        self.ends(section).iter().flat_map(|&end| self.meets(end)).map(|&end| self.section_of[end])
    }

    pub fn leads_off(&self, end: EndId) -> bool {
        self.ends[end] == Beyond::OffLayout
    }

    /// The end of `section` that a train leaves by when it goes on into a section entered by `next`.
    pub fn leave_towards(&self, section: SectionId, next: EndId) -> Option<EndId> {
        self.meets(next).iter().copied().find(|&end| self.section_of[end] == section)
    }

    /// The only end that a train can have come in by, if it goes out by `leave`; nothing where there are several.
    pub fn only_entry(&self, leave: EndId) -> Option<EndId> {
        match self.passages(leave) {
            [only] => Some(only.leave),
            _ => None,
        }
    }
}

/// The longest way from `enter`, or to `leave` where that is known; nothing if one of them was not measured.
pub(super) fn way_length(layout: &Layout, enter: EndId, leave: Option<EndId>) -> Option<Length> {
    let mut longest = None;
    for (way, end) in layout.ways_from(enter) {
        if leave.is_none_or(|leave| leave == end) {
            let length = layout.ways[way].length?;
            longest = Some(longest.map_or(length, |known: Length| known.max(length)));
        }
    }
    longest
}

/// The length of the way by which a train went on from a section to the next, entered by `entry`; nothing where it was not
/// measured, or nobody knows by which way.
pub(super) fn length_towards(layout: &Layout, topology: &Topology, from: &Hold, entry: EndId) -> Option<Length> {
    let leave = topology.leave_towards(from.section, entry)?;
    layout.ways[layout.way_between(from.enter?, leave)?].length
}
