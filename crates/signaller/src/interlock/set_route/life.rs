//! What becomes of a set route as trains come and turnouts move.

use smallvec::SmallVec;
use track::{EndId, SectionId, SignalId};

use super::super::orders::Reason;
use super::{Interlock, OVERLAP_DELAY, RELEASE_DELAY, Wait};
use crate::door::{Fact, Output, RouteStage};
use crate::picture::Picture;
use crate::time::Time;

/// So many sections before a signal are looked through for its approach; where that is not enough, somebody may always see it.
const LONGEST_APPROACH: usize = 40;

/// A signal can be read from the section before it, and what it shows from the signal before that. So many signals back
/// somebody may run faster because this one is cleared.
const SIGNALS_BACK: u8 = 2;

impl Interlock {
    /// Lets every set route live on, and forgets those that are over.
    pub(in super::super) fn work_set_routes(&mut self, now: Time, picture: &impl Picture, outputs: &mut Vec<Output>) {
        let mut place = 0;
        while place < self.set_routes.set.len() {
            self.live(place, now, picture, outputs);
            let set = &self.set_routes.set[place];
            let route = self.routes.route(set.id);
            if set.is_over(route) {
                self.cleared_anew.extend(route.signals_at_danger());
                self.tell_stage(place, RouteStage::Released, outputs);
                self.set_routes.set.remove(place);
            } else {
                place += 1;
            }
        }
    }

    /// When a set route wants to be looked at without anything being heard.
    pub(in super::super) fn next_set_route(&self) -> Option<Time> {
        self.set_routes.set.iter().filter_map(|set| set.due).min()
    }

    pub(super) fn live(&mut self, place: usize, now: Time, picture: &impl Picture, outputs: &mut Vec<Output>) {
        let set = &self.set_routes.set[place];
        let first = self.routes.route(set.id).sections().next();
        let is_entered = first.is_some_and(|first| !is_clear(first, picture));
        match set.stage {
            RouteStage::Called => self.prove_route(place, picture, outputs),
            RouteStage::Cleared | RouteStage::ApproachLocked if is_entered => {
                self.use_route(place, now, picture, outputs);
            }
            RouteStage::Cleared | RouteStage::ApproachLocked => {
                if !self.route_lies(place) {
                    self.take_signal_back(place);
                    self.tell_stage(place, RouteStage::Called, outputs);
                } else if set.stage == RouteStage::Cleared && self.is_approached(set.id.entry, picture) {
                    self.tell_stage(place, RouteStage::ApproachLocked, outputs);
                }
            }
            RouteStage::Used => self.release_route(place, now, picture),
            RouteStage::Cancelled if is_entered => self.use_route(place, now, picture, outputs),
            RouteStage::Cancelled => {
                if set.due.is_none_or(|due| due <= now) {
                    self.release_all(place, now, picture, outputs);
                }
            }
            RouteStage::Released => {}
        }
    }

    /// Clears the signal once every turnout lies right; says it if one does not get there.
    fn prove_route(&mut self, place: usize, picture: &impl Picture, outputs: &mut Vec<Output>) {
        let id = self.set_routes.set[place].id;
        if self.route_lies(place) {
            self.set_routes.set[place].told_stuck = false;
            if !std::mem::replace(&mut self.cleared[id.entry], true) {
                self.cleared_anew.push(id.entry);
            }
            self.tell_stage(place, RouteStage::Cleared, outputs);
            if self.is_approached(id.entry, picture) {
                self.tell_stage(place, RouteStage::ApproachLocked, outputs);
            }
            return;
        }
        let stuck = self.must_lie(self.routes.route(id)).into_iter().map(|(turnout, _)| turnout);
        let stuck = stuck.into_iter().find(|&turnout| self.turnouts.is_stuck(turnout));
        if let Some(turnout) = stuck
            && !std::mem::replace(&mut self.set_routes.set[place].told_stuck, true)
        {
            let reason = self.in_words(Wait::Stuck { turnout });
            outputs.push(Output::Fact(Fact::RouteWaiting { entry: id.entry, reason }));
        }
    }

    /// Whether every turnout that the route has locked is known to lie as it needs it.
    fn route_lies(&self, place: usize) -> bool {
        let route = self.routes.route(self.set_routes.set[place].id);
        self.must_lie(route).into_iter().all(|(turnout, lie)| self.turnouts.lie(turnout) == Some(lie))
    }

    fn take_signal_back(&mut self, place: usize) {
        let entry = self.set_routes.set[place].id.entry;
        if std::mem::replace(&mut self.cleared[entry], false) {
            self.cleared_anew.push(entry);
        }
    }

    fn use_route(&mut self, place: usize, now: Time, picture: &impl Picture, outputs: &mut Vec<Output>) {
        self.take_signal_back(place);
        let set = &mut self.set_routes.set[place];
        (set.reached, set.due) = (1, None);
        self.tell_stage(place, RouteStage::Used, outputs);
        self.release_route(place, now, picture);
    }

    /// Releases, one after the other, what the train has left. A section is left when it is clear and the next was occupied.
    fn release_route(&mut self, place: usize, now: Time, picture: &impl Picture) {
        let set = &self.set_routes.set[place];
        let route = self.routes.route(set.id);
        let sections: SmallVec<[SectionId; 16]> = route.sections().collect();
        let overlap: SmallVec<[SectionId; 4]> = SmallVec::from_slice(&route.overlap.sections);
        let (mut released, mut reached) = (set.released, set.reached);
        let before = (set.released, set.holds_overlap);
        while reached < sections.len() && !is_clear(sections[reached], picture) {
            reached += 1;
        }
        while released + 1 < reached && is_clear(sections[released], picture) {
            released += 1;
        }
        let has_gone_on = self.has_gone_on(route);
        let has_arrived = reached == sections.len() && released + 1 >= sections.len();
        let set = &mut self.set_routes.set[place];
        if has_arrived {
            // All of the train is in the last section: its detector keeps it from now on.
            released = sections.len();
        }
        if has_gone_on && has_arrived {
            (set.holds_overlap, set.due) = (false, None);
        }
        if has_arrived && set.holds_overlap {
            let due = *set.due.get_or_insert(now + OVERLAP_DELAY);
            if due <= now && overlap.iter().all(|&section| is_clear(section, picture)) {
                (set.holds_overlap, set.due) = (false, None);
            } else if due <= now {
                // Something is in it: looked at again whenever something changes.
                set.due = Some(now + OVERLAP_DELAY);
            }
        }
        (set.released, set.reached) = (released, reached);
        if (released, set.holds_overlap) != before {
            self.is_stirred = true;
            self.freed += 1;
            self.may_admit = true;
        }
    }

    pub(super) fn cancel(
        &mut self,
        place: usize,
        now: Time,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) -> Result<(), Reason> {
        let set = &self.set_routes.set[place];
        let route = self.routes.route(set.id);
        let (stage, entry) = (set.stage, set.id.entry);
        let locked = route.sections().skip(set.released);
        if let Some(section) = locked.into_iter().find(|&section| !is_clear(section, picture)) {
            let name = &self.layout.sections[section].name;
            return Err(format!("something is in `{name}`, and the route is locked under it"));
        }
        let may_be_seen = match stage {
            RouteStage::Called => false,
            RouteStage::Cleared => self.is_approached(entry, picture),
            _ => true,
        };
        self.take_signal_back(place);
        self.tell_stage(place, RouteStage::Cancelled, outputs);
        self.set_routes.set[place].due = may_be_seen.then_some(now + RELEASE_DELAY);
        if !may_be_seen {
            self.release_all(place, now, picture, outputs);
        }
        self.is_stirred = true;
        Ok(())
    }

    fn release_all(&mut self, place: usize, now: Time, picture: &impl Picture, outputs: &mut Vec<Output>) {
        let set = &mut self.set_routes.set[place];
        let id = set.id;
        set.released = self.routes.route(id).passages.len();
        (set.holds_overlap, set.due) = (false, None);
        self.swing_back(id, now, picture, outputs);
        self.is_stirred = true;
        self.freed += 1;
        self.may_admit = true;
    }

    /// Whether somebody may be near enough to a signal to run on because it is cleared. Where a section before it has no
    /// detector, and where the track before it is longer than is looked through, that may always be.
    fn is_approached(&self, signal: SignalId, picture: &impl Picture) -> bool {
        let mut open: SmallVec<[(EndId, u8); 8]> = SmallVec::new();
        open.push((self.layout.signals[signal].at, 0));
        let mut seen: SmallVec<[EndId; 16]> = SmallVec::new();
        while let Some((leave, passed)) = open.pop() {
            if seen.contains(&leave) {
                continue;
            }
            if seen.len() >= LONGEST_APPROACH {
                return true;
            }
            seen.push(leave);
            let section = self.layout.ends[leave].section;
            if self.layout.is_dark(section) || !is_clear(section, picture) {
                return true;
            }
            for (_, enter) in self.layout.ways_from(leave) {
                for &before in &self.layout.ends[enter].meets {
                    let passed = passed + u8::from(self.layout.ends[before].signal.is_some());
                    if passed < SIGNALS_BACK {
                        open.push((before, passed));
                    }
                }
            }
        }
        false
    }
}

/// Whether nothing is in a section, or may be.
pub(in super::super) fn is_clear(section: SectionId, picture: &impl Picture) -> bool {
    !picture.is_occupied(section) && picture.holders(section).is_empty()
}
