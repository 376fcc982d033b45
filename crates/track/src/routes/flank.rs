//! What keeps others from running into the side of a route.

use std::collections::{BTreeMap, BTreeSet};

use super::Route;
use crate::graph::Traverse;
use crate::ids::{EndId, SectionId, SignalId, TurnoutId, WayId};
use crate::layout::{Beyond, Layout, Lie, Need};

/// So many sections away protection is still looked for: what is farther off than this protects nobody.
const FARTHEST: usize = 50;

/// The protection of one track that leads into the side of a route.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Flank {
    /// The end by which somebody would come into a section of the path.
    pub leg: EndId,
    /// What keeps them away.
    pub by: Protection,
}

/// What keeps others away.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Protection {
    /// A turnout that lies so that trains are turned away.
    Turnout(Need),
    /// A signal that stays at danger.
    Signal(SignalId),
    /// Nothing.
    None(Exposure),
}

/// From where somebody can come, with nothing in between.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Exposure {
    /// Over the edge of the layout, by this end.
    Edge(EndId),
    /// From a siding that ends at this buffer stop.
    Siding(EndId),
    /// From far away: there is nothing for many sections before this end.
    FarAway(EndId),
}

/// The flank protection of a route whose path and overlap are known.
pub(super) fn of(layout: &Layout, route: &Route) -> Vec<Flank> {
    let own = route.overlap.sections.iter().copied().chain([route.berth(layout)]);
    let overlap = route.overlap.turnouts.iter().filter_map(|&(turnout, lie)| Some(Need { turnout, lie: lie? }));
    let lies = route.turnouts.iter().copied().chain(overlap);
    flank_of_path(layout, Some(layout.signals[route.entry].at), &route.passages, own, lies)
}

/// What keeps others from running into the side of a path.
///
/// `from` is the end before it, where there is one; `own` are sections beside those of the path that nobody else is in, and
/// `lies` is how turnouts lie already, those of the path included.
pub fn flank_of_path(
    layout: &Layout,
    from: Option<EndId>,
    passages: &[Traverse],
    own: impl IntoIterator<Item = SectionId>,
    lies: impl IntoIterator<Item = Need>,
) -> Vec<Flank> {
    let mut guard = Guard {
        layout,
        own: passages.iter().map(|passage| passage.section).chain(own).collect(),
        lies: lies.into_iter().map(|need| (need.turnout, need.lie)).collect(),
        found: Vec::new(),
    };
    let mut before = from;
    for passage in passages {
        // The other ends at a junction whose turnout nobody reports.
        for (end, met) in before.into_iter().flat_map(|leave| [(leave, passage.enter), (passage.enter, leave)]) {
            let others = layout.ends[end].meets.iter().copied().filter(|&other| other != met);
            guard.protect(end, others.collect());
        }
        for &leg in &layout.sections[passage.section].ends {
            if leg == passage.enter || leg == passage.leave {
                continue;
            }
            guard.protect_leg(leg);
        }
        // Whoever comes over a crossing runs into its side as well.
        for &crossed in &layout.sections[passage.section].crosses {
            for &leg in &layout.sections[crossed].ends {
                guard.protect_leg(leg);
            }
        }
        before = Some(passage.leave);
    }
    guard.found
}

struct Guard<'l> {
    layout: &'l Layout,
    /// Locked by the route itself, or where its own train stands.
    own: BTreeSet<SectionId>,
    /// How turnouts must lie for the route, flanks looked at so far included.
    lies: BTreeMap<TurnoutId, Lie>,
    found: Vec<Flank>,
}

impl Guard<'_> {
    /// Looks outward from an end by which somebody could come.
    fn protect_leg(&mut self, leg: EndId) {
        let end = &self.layout.ends[leg];
        match end.beyond {
            Beyond::OffLayout => self.found.push(Flank { leg, by: Protection::None(Exposure::Edge(leg)) }),
            Beyond::BufferStop => {}
            Beyond::Joint => self.protect(leg, end.meets.clone()),
        }
    }

    /// Looks outward from a leg for what keeps trains from leaving their section by one of `ends`.
    fn protect(&mut self, leg: EndId, ends: Vec<EndId>) {
        let (layout, from) = (self.layout, self.found.len());
        let mut seen = BTreeSet::new();
        let mut open: Vec<(usize, EndId)> = ends.into_iter().rev().map(|end| (0, end)).collect();
        while let Some((away, end)) = open.pop() {
            if !seen.insert(end) || self.own.contains(&layout.ends[end].section) {
                continue;
            }
            if let Some(signal) = layout.main_signal(end) {
                self.add(from, Flank { leg, by: Protection::Signal(signal) });
                continue;
            }
            if away >= FARTHEST {
                self.add(from, Flank { leg, by: Protection::None(Exposure::FarAway(end)) });
                continue;
            }
            let from_here = open.len();
            for (way, far) in layout.ways_from(end) {
                if let Some(need) = self.turn_away(way, far) {
                    self.add(from, Flank { leg, by: Protection::Turnout(need) });
                    continue;
                }
                let exposure = match layout.ends[far].beyond {
                    Beyond::OffLayout => Exposure::Edge(far),
                    Beyond::BufferStop => Exposure::Siding(far),
                    Beyond::Joint => {
                        open.extend(layout.ends[far].meets.iter().map(|&next| (away + 1, next)));
                        continue;
                    }
                };
                self.add(from, Flank { leg, by: Protection::None(exposure) });
            }
            // The first is looked at first.
            open[from_here..].reverse();
        }
    }

    fn add(&mut self, from: usize, flank: Flank) {
        if !self.found[from..].contains(&flank) {
            self.found.push(flank);
        }
    }

    /// A turnout that turns a train which enters by `far` off this way, and may lie so for this route. One that would only be
    /// run through does not count, and neither does one that the signaller cannot throw, unless the route needs it so anyway.
    fn turn_away(&mut self, way: WayId, far: EndId) -> Option<Need> {
        let layout = self.layout;
        let goal = layout.far_end(way, far);
        let leads_elsewhere = |need: &Need| {
            layout.ways_from(far).any(|(other, end)| end != goal && layout.ways[other].needs.contains(need))
        };
        let away = layout.ways[way].needs.iter().map(|need| Need { turnout: need.turnout, lie: need.lie.other() });
        let may_lie = |need: &Need| match self.lies.get(&need.turnout) {
            Some(&lie) => lie == need.lie,
            None => layout.turnouts[need.turnout].worked,
        };
        let need = away.into_iter().find(|need| may_lie(need) && leads_elsewhere(need))?;
        self.lies.insert(need.turnout, need.lie);
        Some(need)
    }
}
