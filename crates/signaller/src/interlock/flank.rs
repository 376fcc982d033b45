//! Turnouts beside the path of a train that the signaller drives, kept so that they turn others away.
//!
//! Nobody else is granted a way into the side of a granted path. A turnout that protects it keeps out whoever moves without
//! being granted anything: a train that a person drives, or one that rolls away. So a train gets every protecting turnout that
//! is free: it is thrown with those in its path, proved before the train may run, and locked until the train has left the
//! section it protects, or stands at the end of what it has. It goes without one that lies in another train's path, under
//! something, or where its own way on needs it otherwise. (German EBO 1967, 14 (11), demands flank protection for passenger
//! trains, and by protecting turnouts above 160 km/h only.)

use smallvec::SmallVec;
use track::routes::{Protection, flank_of_path};
use track::{Need, SectionId, TrainId, Traverse};

use super::Interlock;
use crate::door::Output;
use crate::picture::Picture;
use crate::time::Time;

/// A turnout that protects a section that a train was granted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
pub(super) struct Guard {
    pub(super) need: Need,
    pub(super) of: SectionId,
}

impl Interlock {
    /// Locks, and throws, what protects the last `count` passages that a train was granted, as far as it can be had.
    pub(super) fn guard(
        &mut self,
        train: TrainId,
        count: usize,
        now: Time,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) {
        for guard in self.guards_of_last(train, count) {
            let need = guard.need;
            let is_there = self.turnouts.lie(need.turnout) == Some(need.lie);
            if is_there || self.may_throw_for(Some(train), need.turnout, picture).is_ok() {
                self.turnouts.throw(need.turnout, need.lie, now, outputs);
                self.turnouts.lock_one(need.turnout, train);
                self.runs[train].guards.push(guard);
            }
        }
    }

    /// What protects the last `count` passages that a train was granted, and is not kept for it yet.
    fn guards_of_last(&self, train: TrainId, count: usize) -> SmallVec<[Guard; 2]> {
        let run = &self.runs[train];
        let before = run.granted.len() - count;
        let is_open = |passage: &Traverse| {
            let meets_several = |end| self.layout.ends[end].meets.len() > 1;
            let has_legs = self.layout.sections[passage.section].ends.len() > 2;
            has_legs || meets_several(passage.enter) || meets_several(passage.leave)
        };
        let mut guards = SmallVec::new();
        // Nobody comes into the side of plain track.
        if !run.granted.iter().skip(before).any(is_open) {
            return guards;
        }
        let path: SmallVec<[Traverse; 16]> = run.granted.iter().skip(before).copied().collect();
        let from = before.checked_sub(1).map(|last| run.granted[last].leave);
        let own = run.granted.iter().take(before).chain(&run.lent).map(|passage| passage.section);
        let end = path.last().map(|last| last.leave);
        let overlap = end.into_iter().flat_map(|end| self.layout.overlap_sections(end));
        let passages = run.granted.iter().chain(&run.plan).chain(&run.lent);
        let needs = passages.flat_map(|passage| self.layout.ways[passage.way].needs.iter().copied());
        let in_overlap = end.into_iter().flat_map(|end| self.overlap_turnouts(train, end));
        let in_overlap = in_overlap.filter_map(|(turnout, lie)| Some(Need { turnout, lie: lie? }));
        let lies = needs.chain(in_overlap).chain(run.guards.iter().map(|guard| guard.need));
        for flank in flank_of_path(&self.layout, from, &path, own.chain(overlap), lies) {
            let Protection::Turnout(need) = flank.by else { continue };
            let guard = Guard { need, of: self.layout.ends[flank.leg].section };
            if !run.guards.contains(&guard) && !guards.contains(&guard) {
                guards.push(guard);
            }
        }
        guards
    }

    /// The first turnout that protects a train and does not lie so yet.
    pub(super) fn unproved_guard(&self, train: TrainId) -> Option<Need> {
        let mut needs = self.runs[train].guards.iter().map(|guard| guard.need);
        needs.find(|need| self.turnouts.lie(need.turnout) != Some(need.lie))
    }

    /// Lets go the turnouts that protect what a train has left, or all of them where it stands at the end of what it has.
    pub(super) fn release_guards(&mut self, train: TrainId) {
        let run = &self.runs[train];
        let is_over =
            |guard: &Guard| !run.has_track_ahead() || run.granted.iter().all(|passage| passage.section != guard.of);
        let over: SmallVec<[Guard; 4]> = run.guards.iter().copied().filter(is_over).collect();
        for guard in over {
            self.turnouts.unlock_one(guard.need.turnout, train);
            self.runs[train].guards.retain(|other| *other != guard);
            self.is_stirred = true;
        }
    }
}
