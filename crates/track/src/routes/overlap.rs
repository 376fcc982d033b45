//! What must be clear and locked behind the signal that a route ends at.

use std::collections::{BTreeMap, BTreeSet};

use crate::ids::{EndId, SectionId, SignalId, TurnoutId};
use crate::layout::{Layout, Lie};
use crate::signals::Overlap;

/// The overlap of a route: the track behind its exit signal that a train which does not quite stop may run into.
///
/// Where a length was declared and a turnout could lead it either way, all sections it may reach count: how the turnout will
/// lie is not known beforehand.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RouteOverlap {
    /// Its sections, in the order in which they are met.
    pub sections: Vec<SectionId>,
    /// The turnouts in them, but for those in the path, locked until the overlap is released; nothing for the lie where
    /// either will do.
    pub turnouts: Vec<(TurnoutId, Option<Lie>)>,
}

/// The overlap behind a signal. The turnouts of a path that leads to it are not left out.
pub fn overlap_behind(layout: &Layout, signal: SignalId) -> RouteOverlap {
    let at = layout.signals[signal].at;
    let sections = layout.overlap_sections(at);
    let mut turnouts: Vec<(TurnoutId, Option<Lie>)> = Vec::new();
    let mut open: Vec<EndId> = layout.ends[at].meets.iter().rev().copied().collect();
    let mut seen = BTreeSet::new();
    while let Some(enter) = open.pop() {
        if !sections.contains(&layout.ends[enter].section) || !seen.insert(enter) {
            continue;
        }
        for (way, leave) in layout.ways_from(enter) {
            for need in &layout.ways[way].needs {
                match turnouts.iter_mut().find(|(turnout, _)| *turnout == need.turnout) {
                    Some((_, lie)) if *lie != Some(need.lie) => *lie = None,
                    Some(_) => {}
                    None => turnouts.push((need.turnout, Some(need.lie))),
                }
            }
            open.extend(&layout.ends[leave].meets);
        }
    }
    RouteOverlap { sections, turnouts }
}

/// Which signals have an overlap where.
#[derive(Debug, Default)]
pub(super) struct Overlaps {
    in_section: BTreeMap<SectionId, Vec<SignalId>>,
    over_turnout: BTreeMap<TurnoutId, Vec<SignalId>>,
}

impl Overlaps {
    pub(super) fn new(layout: &Layout) -> Self {
        let mut overlaps = Self::default();
        for (id, _) in layout.signals.iter().filter(|(_, signal)| signal.overlap != Overlap::None) {
            let RouteOverlap { sections, turnouts } = overlap_behind(layout, id);
            for section in sections {
                overlaps.in_section.entry(section).or_default().push(id);
            }
            for (turnout, _) in turnouts {
                overlaps.over_turnout.entry(turnout).or_default().push(id);
            }
        }
        overlaps
    }

    /// The signals whose overlap reaches into one of the sections, or over one of the turnouts.
    pub(super) fn touching(
        &self,
        sections: &BTreeSet<SectionId>,
        turnouts: &BTreeSet<TurnoutId>,
    ) -> BTreeSet<SignalId> {
        let in_sections = sections.iter().filter_map(|section| self.in_section.get(section));
        let over = turnouts.iter().filter_map(|turnout| self.over_turnout.get(turnout));
        in_sections.chain(over).flatten().copied().collect()
    }
}
