//! Overlaps: track beyond a signal that is kept clear for a train that is about to stop before it.
//!
//! A train is granted track up to a signal only if the overlap of the signal is free for it, and nobody else is granted any of
//! that while the train runs up to the signal. The turnouts there are brought to lie for whoever runs on into them, proved
//! before the train may come, and moved for nobody else. Once it stands, the overlap is anybody's again: a train that waits
//! blocks no more than what it stands on.
//!
//! **The overlap swings** when the train itself is granted track beyond the signal that needs a turnout in the overlap to lie
//! otherwise: all that it could run into is its own then, whichever way the turnout lies, and until it has moved the train's
//! authority ends before the signal as it did.

use std::collections::BTreeMap;

use smallvec::SmallVec;
use track::routes::overlap_behind;
use track::{EndId, Layout, Lie, Overlap, SectionId, SignalId, Table, TrainId, TurnoutId};

use super::{Interlock, Wait};
use crate::door::Output;
use crate::picture::Picture;
use crate::time::Time;

/// The overlaps of all signals that have one.
#[derive(Clone, Debug)]
pub(super) struct Overlaps {
    /// For each section the signals in whose overlap it may lie.
    of_section: Table<SectionId, SmallVec<[SignalId; 1]>>,
    /// The turnouts in the overlap of a signal, and how they must lie; nothing where either will do.
    turnouts: BTreeMap<SignalId, Vec<(TurnoutId, Option<Lie>)>>,
}

impl Overlaps {
    pub(super) fn new(layout: &Layout) -> Self {
        let mut overlaps =
            Self { of_section: Table::filled(SmallVec::new(), layout.sections.len()), turnouts: BTreeMap::new() };
        for (signal, _) in layout.signals.iter().filter(|(_, row)| row.overlap != Overlap::None) {
            let overlap = overlap_behind(layout, signal);
            for section in overlap.sections {
                overlaps.of_section[section].push(signal);
            }
            if !overlap.turnouts.is_empty() {
                overlaps.turnouts.insert(signal, overlap.turnouts);
            }
        }
        overlaps
    }
}

impl Interlock {
    /// Whether the overlap of the signal at an end, if there is one, is free for a train that comes to it.
    pub(super) fn overlap_is_free_for(&self, train: TrainId, end: EndId, picture: &impl Picture) -> Result<(), Wait> {
        let overlap = self.layout.overlap_sections(end);
        overlap.into_iter().try_for_each(|section| self.is_free_for(train, section, picture))
    }

    /// The turnouts in the overlap of the signal at an end, and how each must lie; nothing where either will do. Those that are
    /// locked for the path of a train that comes to it are left out.
    pub(super) fn overlap_turnouts(
        &self,
        train: TrainId,
        end: EndId,
    ) -> impl Iterator<Item = (TurnoutId, Option<Lie>)> + use<'_> {
        let signal = self.layout.ends[end].signal;
        let turnouts = signal.and_then(|signal| self.overlaps.turnouts.get(&signal));
        let granted = &self.runs[train].granted;
        let in_path = move |turnout: TurnoutId| {
            let mut needs = granted.iter().flat_map(|passage| &self.layout.ways[passage.way].needs);
            needs.any(|need| need.turnout == turnout)
        };
        turnouts.into_iter().flatten().copied().filter(move |&(turnout, _)| !in_path(turnout))
    }

    /// Whether the turnouts in the overlap of the signal at an end lie right or may be thrown.
    pub(super) fn overlap_can_be_had(&self, train: TrainId, end: EndId, picture: &impl Picture) -> Result<(), Wait> {
        for (turnout, lie) in self.overlap_turnouts(train, end) {
            let Some(lie) = lie.filter(|&lie| self.turnouts.lie(turnout) != Some(lie)) else { continue };
            self.may_throw_for(Some(train), turnout, picture)?;
            if !self.layout.turnouts[turnout].worked {
                return Err(Wait::ByHand { turnout, lie });
            }
        }
        Ok(())
    }

    /// Brings the turnouts in the overlap of the signal at the end of what a train was granted to lie as they must.
    pub(super) fn throw_overlap(&mut self, train: TrainId, now: Time, outputs: &mut Vec<Output>) {
        let Some(end) = self.runs[train].granted.back().map(|last| last.leave) else { return };
        let turnouts: SmallVec<[(TurnoutId, Option<Lie>); 4]> = self.overlap_turnouts(train, end).collect();
        for (turnout, lie) in turnouts {
            if let Some(lie) = lie {
                self.turnouts.throw(turnout, lie, now, outputs);
            }
        }
    }

    /// Fails where a train, or another one than this, runs up to a signal and may need the section as its overlap.
    pub(super) fn is_nobodys_overlap(&self, train: Option<TrainId>, section: SectionId) -> Result<(), Wait> {
        match self.overlap_of(train, section) {
            Some((by, _)) => Err(Wait::Overlap { section, by }),
            None => Ok(()),
        }
    }

    /// Fails where a train, or another one than this, runs up to a signal and may run on over the turnout.
    pub(super) fn turnout_is_in_nobodys_overlap(&self, train: Option<TrainId>, turnout: TurnoutId) -> Result<(), Wait> {
        let sections = &self.layout.turnouts[turnout].sections;
        let is_in = |signal: SignalId| {
            let turnouts = self.overlaps.turnouts.get(&signal);
            turnouts.is_some_and(|turnouts| turnouts.iter().any(|&(other, _)| other == turnout))
        };
        let found = sections.iter().find_map(|&section| self.overlap_of(train, section).filter(|&(_, at)| is_in(at)));
        found.map_or(Ok(()), |(by, _)| Err(Wait::OverlapTurnout { turnout, by }))
    }

    /// The train, but for this one, that runs up to a signal in whose overlap the section may lie; and the signal.
    pub(super) fn overlap_of(&self, but: Option<TrainId>, section: SectionId) -> Option<(TrainId, SignalId)> {
        let needs = |&signal: &SignalId| {
            let at = self.layout.signals[signal].at;
            let by = self.granted_to[self.layout.ends[at].section].filter(|&by| Some(by) != but)?;
            let run = self.runs.get(by)?;
            let runs_up_to_it = run.has_track_ahead() && run.granted.back().is_some_and(|last| last.leave == at);
            runs_up_to_it.then_some((by, signal))
        };
        self.overlaps.of_section[section].iter().find_map(needs)
    }
}
