//! Why two routes cannot be set at once.

use super::{Exit, LockedFor, Route, RouteId};
use crate::ids::{SectionId, SignalId, TurnoutId};
use crate::layout::Layout;

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
    if one.entry == other.entry {
        return vec![Reason::SameEntry(one.entry)];
    }
    let mut reasons = Vec::new();
    for passage in &one.passages {
        if let Some(theirs) = other.passage_through(passage.section) {
            let is_opposing = passage.enter == theirs.leave && passage.leave == theirs.enter;
            let reason = if is_opposing { Reason::Opposing } else { Reason::Section };
            reasons.push(reason(passage.section));
        }
    }
    overlaps(one, other, &mut reasons);
    crossings(layout, one, other, &mut reasons);
    turnouts(one, other, &mut reasons);
    for (protected, begun) in [(one, other), (other, one)] {
        let at_danger = protected.signals_at_danger().filter(|&signal| signal == begun.entry);
        reasons.extend(at_danger.map(Reason::FlankSignal));
    }
    reasons.sort_unstable();
    reasons.dedup();
    reasons
}

/// Whether the second begins where the first ends: then it takes the overlap of the first over, as its own path.
fn goes_on(first: &Route, second: &Route) -> bool {
    first.exit == Exit::Signal(second.entry)
}

fn overlaps(one: &Route, other: &Route, reasons: &mut Vec<Reason>) {
    for (first, second) in [(one, other), (other, one)] {
        if !goes_on(first, second) {
            let passed = first.overlap.sections.iter().filter(|&&section| second.passage_through(section).is_some());
            reasons.extend(passed.map(|&section| Reason::Overlap(section)));
        }
    }
    if one.exit != other.exit {
        let shared = one.overlap.sections.iter().filter(|section| other.overlap.sections.contains(section));
        reasons.extend(shared.map(|&section| Reason::Overlap(section)));
    }
}

fn crossings(layout: &Layout, one: &Route, other: &Route, reasons: &mut Vec<Reason>) {
    for section in one.kept_clear() {
        let crossed = layout.sections[section].crosses.iter().copied();
        let theirs = crossed.filter(|crossed| other.kept_clear().any(|their| their == *crossed));
        reasons.extend(theirs.map(|their| Reason::Crossing(section.min(their), section.max(their))));
    }
}

fn turnouts(one: &Route, other: &Route, reasons: &mut Vec<Reason>) {
    for (turnout, ours, our_purpose) in one.locks() {
        for (_, theirs, their_purpose) in other.locks().filter(|&(same, ..)| same == turnout) {
            if ours.is_none() || theirs.is_none() || ours == theirs {
                continue;
            }
            // The overlap of the first swings for the way on.
            let swings = our_purpose == LockedFor::Overlap && goes_on(one, other)
                || their_purpose == LockedFor::Overlap && goes_on(other, one);
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
