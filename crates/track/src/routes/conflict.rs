//! Why two routes cannot be set at once.

use std::collections::{BTreeMap, BTreeSet};

use super::{Exit, LockedFor, Route, RouteId};
use crate::graph::Traverse;
use crate::ids::{SectionId, SignalId, TurnoutId};
use crate::layout::{Layout, Lie};

/// A route that cannot be set together with another, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Conflict {
    /// The other route.
    pub with: RouteId,
    /// All reasons, in order.
    pub reasons: Vec<Reason>,
}

/// Why two routes cannot be set at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reason {
    /// They begin at the same signal.
    SameEntry(SignalId),
    /// They lead through the section in opposite directions.
    Opposing(SectionId),
    /// Both lead through the section.
    Section(SectionId),
    /// It is in the overlap of one, and in the path or the overlap of the other.
    Overlap(SectionId),
    /// A section in the path or the overlap of one crosses one of the other. The lower first.
    Crossing(SectionId, SectionId),
    /// Their paths need the turnout to lie differently.
    Turnout(TurnoutId),
    /// The overlap of one needs it to lie otherwise than the other does.
    OverlapTurnout(TurnoutId),
    /// The flank protection of one needs it to lie otherwise than the other does.
    FlankTurnout(TurnoutId),
    /// One begins at this signal, which must stay at danger for the flank of the other.
    FlankSignal(SignalId),
}

impl Reason {
    /// The reason in words.
    pub fn in_words(self, layout: &Layout) -> String {
        let section = |section: SectionId| &layout.sections[section].name;
        let turnout = |turnout: TurnoutId| &layout.turnouts[turnout].name;
        let signal = |signal: SignalId| &layout.signals[signal].name;
        match self {
            Self::SameEntry(entry) => format!("both begin at `{}`", signal(entry)),
            Self::Opposing(it) => format!("they meet in `{}`", section(it)),
            Self::Section(it) => format!("both lead through `{}`", section(it)),
            Self::Overlap(it) => format!("`{}` is the overlap of one", section(it)),
            Self::Crossing(one, other) => format!("`{}` crosses `{}`", section(one), section(other)),
            Self::Turnout(it) => format!("they need `{}` both straight and diverging", turnout(it)),
            Self::OverlapTurnout(it) => format!("the overlap of one needs `{}` otherwise", turnout(it)),
            Self::FlankTurnout(it) => format!("the flank of one needs `{}` otherwise", turnout(it)),
            Self::FlankSignal(it) => format!("the flank of one needs `{}` at danger", signal(it)),
        }
    }
}

/// All reasons why these two cannot be set at once, in order, each once. The order of the two makes no difference.
pub(super) fn between(layout: &Layout, one: &Route, other: &Route) -> Vec<Reason> {
    Against::new(layout, one).reasons(other)
}

/// A route, laid out so that many others can be held against it: what it has to do with a section, a turnout or a signal is found
/// without a walk along it.
pub(super) struct Against<'r> {
    one: &'r Route,
    passages: BTreeMap<SectionId, &'r Traverse>,
    overlap: BTreeSet<SectionId>,
    /// What crosses a section of its path or its overlap, with that section.
    crossed: BTreeMap<SectionId, Vec<SectionId>>,
    locks: BTreeMap<TurnoutId, Vec<(Option<Lie>, LockedFor)>>,
    at_danger: BTreeSet<SignalId>,
}

impl<'r> Against<'r> {
    pub(super) fn new(layout: &Layout, one: &'r Route) -> Self {
        let mut crossed: BTreeMap<SectionId, Vec<SectionId>> = BTreeMap::new();
        for section in one.kept_clear() {
            for &other in &layout.sections[section].crosses {
                crossed.entry(other).or_default().push(section);
            }
        }
        let mut locks: BTreeMap<TurnoutId, Vec<(Option<Lie>, LockedFor)>> = BTreeMap::new();
        for (turnout, lie, purpose) in one.locks() {
            locks.entry(turnout).or_default().push((lie, purpose));
        }
        Self {
            passages: one.passages.iter().map(|passage| (passage.section, passage)).collect(),
            overlap: one.overlap.sections.iter().copied().collect(),
            at_danger: one.signals_at_danger().collect(),
            one,
            crossed,
            locks,
        }
    }

    /// All reasons why the other cannot be set together with this one, in order, each once.
    pub(super) fn reasons(&self, other: &Route) -> Vec<Reason> {
        if self.one.entry == other.entry {
            return vec![Reason::SameEntry(other.entry)];
        }
        let mut reasons = Vec::new();
        for theirs in &other.passages {
            if let Some(ours) = self.passages.get(&theirs.section) {
                let is_opposing = ours.enter == theirs.leave && ours.leave == theirs.enter;
                let reason = if is_opposing { Reason::Opposing } else { Reason::Section };
                reasons.push(reason(theirs.section));
            }
        }
        self.overlaps(other, &mut reasons);
        for theirs in other.kept_clear() {
            let ours = self.crossed.get(&theirs).into_iter().flatten();
            reasons.extend(ours.map(|&ours| Reason::Crossing(ours.min(theirs), ours.max(theirs))));
        }
        self.turnouts(other, &mut reasons);
        reasons.extend(self.at_danger.get(&other.entry).map(|&signal| Reason::FlankSignal(signal)));
        let ours_at_danger = other.signals_at_danger().filter(|&signal| signal == self.one.entry);
        reasons.extend(ours_at_danger.map(Reason::FlankSignal));
        reasons.sort_unstable();
        reasons.dedup();
        reasons
    }

    fn overlaps(&self, other: &Route, reasons: &mut Vec<Reason>) {
        if !goes_on(self.one, other) {
            let passed = other.sections().filter(|section| self.overlap.contains(section));
            reasons.extend(passed.map(Reason::Overlap));
        }
        let theirs = || other.overlap.sections.iter().copied();
        if !goes_on(other, self.one) {
            let passed = theirs().filter(|section| self.passages.contains_key(section));
            reasons.extend(passed.map(Reason::Overlap));
        }
        if self.one.exit != other.exit {
            reasons.extend(theirs().filter(|section| self.overlap.contains(section)).map(Reason::Overlap));
        }
    }

    fn turnouts(&self, other: &Route, reasons: &mut Vec<Reason>) {
        for (turnout, theirs, their_purpose) in other.locks() {
            for &(ours, our_purpose) in self.locks.get(&turnout).into_iter().flatten() {
                if ours.is_none() || theirs.is_none() || ours == theirs {
                    continue;
                }
                // The overlap of the first swings for the way on.
                let swings = our_purpose == LockedFor::Overlap && goes_on(self.one, other)
                    || their_purpose == LockedFor::Overlap && goes_on(other, self.one);
                if swings {
                    continue;
                }
                reasons.push(match our_purpose.max(their_purpose) {
                    LockedFor::Path => Reason::Turnout(turnout),
                    LockedFor::Overlap => Reason::OverlapTurnout(turnout),
                    LockedFor::Flank => Reason::FlankTurnout(turnout),
                });
            }
        }
    }
}

/// Whether the second begins where the first ends: then it takes the overlap of the first over, as its own path.
fn goes_on(first: &Route, second: &Route) -> bool {
    first.exit == Exit::Signal(second.entry)
}
