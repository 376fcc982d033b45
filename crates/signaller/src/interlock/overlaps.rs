//! Overlaps: track beyond a signal that is kept clear for a train that is about to stop before it.
//!
//! A train is granted track up to a signal only if the overlap of the signal is free for it, and nobody else is granted any of
//! that while the train runs up to the signal. Once it stands, the overlap is anybody's again: a train that waits blocks no
//! more than what it stands on.

use smallvec::SmallVec;
use track::{EndId, Layout, Overlap, SectionId, SignalId, Table, TrainId};

use super::{Interlock, Wait};
use crate::picture::Picture;

/// For each section the signals in whose overlap it may lie.
pub(super) type Overlaps = Table<SectionId, SmallVec<[SignalId; 1]>>;

pub(super) fn of_layout(layout: &Layout) -> Overlaps {
    let mut overlaps = Table::filled(SmallVec::new(), layout.sections.len());
    for (signal, row) in layout.signals.iter().filter(|(_, row)| row.overlap != Overlap::None) {
        for section in layout.overlap_sections(row.at) {
            overlaps[section].push(signal);
        }
    }
    overlaps
}

impl Interlock {
    /// Whether the overlap of the signal at an end, if there is one, is free for a train that comes to it.
    pub(super) fn overlap_is_free_for(&self, train: TrainId, end: EndId, picture: &impl Picture) -> Result<(), Wait> {
        let overlap = self.layout.overlap_sections(end);
        overlap.into_iter().try_for_each(|section| self.is_free_for(train, section, picture))
    }

    /// Fails where a train, or another one than this, runs up to a signal and may need the section as its overlap.
    pub(super) fn is_nobodys_overlap(&self, train: Option<TrainId>, section: SectionId) -> Result<(), Wait> {
        let needs = |&signal: &SignalId| {
            let at = self.layout.signals[signal].at;
            let by = self.granted_to[self.layout.ends[at].section].filter(|&by| Some(by) != train)?;
            let run = self.runs.get(by)?;
            let runs_up_to_it = !run.stands && run.granted.back().is_some_and(|last| last.leave == at);
            runs_up_to_it.then_some(Wait::Overlap { section, by })
        };
        self.overlaps[section].iter().find_map(needs).map_or(Ok(()), Err)
    }
}
