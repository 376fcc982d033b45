//! Which signals have routes that may have to do with a given one: so that conflicts are found without looking at all of a
//! large layout. What is found here is looked at closely elsewhere, so it may be too much and must never be too little.

use std::collections::BTreeSet;

use super::Route;
use super::overlap::Overlaps;
use crate::ids::{EndId, SectionId, SignalId, TurnoutId};
use crate::layout::Layout;

/// The signals whose routes may conflict with this one, in order.
pub(super) fn entries(layout: &Layout, overlaps: &Overlaps, route: &Route) -> BTreeSet<SignalId> {
    let mut sections: BTreeSet<SectionId> = route.kept_clear().collect();
    sections.extend(route.kept_clear().flat_map(|section| &layout.sections[section].crosses));
    let locked: BTreeSet<TurnoutId> = route.locks().map(|(turnout, ..)| turnout).collect();
    let mut found: BTreeSet<SignalId> = route.signals_at_danger().chain([route.entry]).collect();
    // Whoever ends at a signal whose overlap has to do with this route.
    let exits = overlaps.touching(&sections, &locked);
    sections.extend(exits.into_iter().map(|signal| layout.ends[layout.signals[signal].at].section));
    // Whoever passes a turnout that is locked, or is protected by it.
    let beside: BTreeSet<SectionId> =
        locked.into_iter().flat_map(|turnout| &layout.turnouts[turnout].sections).copied().collect();
    let ends = beside.iter().flat_map(|&section| &layout.sections[section].ends).copied();
    // Whoever is protected by the signal that this route clears.
    let reached = onward(layout, ends.collect(), layout.signals[route.entry].at);
    sections.extend(beside);
    sections.extend(reached);
    found.extend(entries_into(layout, &sections));
    found
}

/// The sections that can be reached by leaving others by `ends` without passing a signal, or by passing the one at `entry`.
fn onward(layout: &Layout, ends: Vec<EndId>, entry: EndId) -> BTreeSet<SectionId> {
    let mut open: Vec<EndId> = ends.into_iter().filter(|&end| layout.main_signal(end).is_none()).collect();
    open.push(entry);
    let (mut seen, mut reached) = (BTreeSet::new(), BTreeSet::new());
    while let Some(leave) = open.pop() {
        if !seen.insert(leave) {
            continue;
        }
        for &enter in &layout.ends[leave].meets {
            reached.insert(layout.ends[enter].section);
            let next = layout.ways_from(enter).map(|(_, end)| end);
            open.extend(next.filter(|&end| layout.main_signal(end).is_none()));
        }
    }
    reached
}

/// The signals from which one of the sections is reached without passing another that faces the same way.
fn entries_into(layout: &Layout, sections: &BTreeSet<SectionId>) -> BTreeSet<SignalId> {
    let mut open: Vec<EndId> = sections.iter().flat_map(|&section| &layout.sections[section].ends).copied().collect();
    let (mut seen, mut found) = (BTreeSet::new(), BTreeSet::new());
    while let Some(enter) = open.pop() {
        if !seen.insert(enter) {
            continue;
        }
        for &leave in &layout.ends[enter].meets {
            match layout.main_signal(leave) {
                Some(signal) => {
                    found.insert(signal);
                }
                None => open.extend(layout.ways_from(leave).map(|(_, end)| end)),
            }
        }
    }
    found
}
