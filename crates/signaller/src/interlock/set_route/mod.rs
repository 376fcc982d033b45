//! Routes that a person or a script sets for whoever comes: from a signal to the next, for trains that people drive.
//!
//! The life of a set route, as in any signal box:
//!
//! 1. **Called.** Everything it passes, and its overlap, is clear, in service and nobody else's; no route that conflicts with it
//!    is set; its turnouts and those that protect its flanks lie right or are thrown. Otherwise it is refused, and what is in
//!    the way is said: locks always win.
//! 2. **Cleared.** Every turnout is proved: reported, or given time where nothing reports. Its signal may clear; what it shows
//!    is for the aspect book. A turnout that is lost again takes the signal back at once.
//! 3. **Approach-locked.** Somebody may have seen the signal clear. Where the approach is not detected that is always so.
//! 4. **Used.** Something came into its first section: the signal is at stop behind it, and does not clear again. Each section is
//!    released once the next was occupied and it is clear itself, one after the other; the last when all of the train is in it,
//!    and the overlap when the train has had time to come to stand there, or goes on; a route that is set from there takes the
//!    overlap over (`swing.rs`).
//! 5. **Cancelled**, by request. Its signal goes to stop at once. Approach-locked, everything stays locked for [`RELEASE_DELAY`]
//!    more, so that whoever could not stop any more runs over locked turnouts. (49 CFR 236.750 defines approach locking,
//!    49 CFR 236.767 route locking, and 49 CFR 236.768 time locking.)
//!
//! Trains that the signaller drives need no set route: they are granted track one by one, and what they were granted is taken
//! back only when they have come to stand. A set route is in their way like anybody else's track.

mod life;
mod swing;

use std::time::Duration;

pub(super) use life::is_clear;
use smallvec::SmallVec;
use track::routes::{Exit, LockedFor, Reason as Conflicting, Route, RouteId};
use track::{SectionId, SignalId, TurnoutId};

use super::orders::Reason;
use super::{Interlock, Wait};
use crate::aspect::Signals;
use crate::door::{Fact, Output, RouteStage};
use crate::picture::Picture;
use crate::time::Time;

/// A cancelled route that somebody may have seen cleared stays locked for so long. Railways wait for minutes; a train on a table
/// comes to stand within some seconds. Common practice, no source.
pub const RELEASE_DELAY: Duration = Duration::from_secs(30);

/// A train that has come into the last section of its route as a whole has come to stand after so long, and needs the overlap
/// no more. Common practice, no source.
pub const OVERLAP_DELAY: Duration = Duration::from_secs(15);

/// A route that is set.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct SetRoute {
    id: RouteId,
    stage: RouteStage,
    /// So many of its sections were released, from the first on.
    released: usize,
    /// So many of its sections were occupied since it was used, from the first on.
    reached: usize,
    holds_overlap: bool,
    /// When the overlap, or all of a cancelled route, is released.
    due: Option<Time>,
    /// It was said that a turnout does not move.
    told_stuck: bool,
}

/// All routes that are set: a few.
#[derive(Clone, Debug, Default, serde::Serialize, serde::Deserialize)]
pub(super) struct SetRoutes {
    set: Vec<SetRoute>,
}

impl SetRoute {
    /// Which of the route's sections are still locked.
    fn locks_section(&self, route: &Route, section: SectionId) -> bool {
        let in_path = route.sections().skip(self.released).any(|other| other == section);
        in_path || self.holds_overlap && route.overlap.sections.contains(&section)
    }

    /// Whether a turnout of the route is still locked: those in its path with their sections, the others with the route.
    fn locks_turnout(&self, layout: &track::Layout, route: &Route, turnout: TurnoutId) -> bool {
        route.locks().filter(|&(other, ..)| other == turnout).any(|(_, _, purpose)| match purpose {
            LockedFor::Path => route
                .passages
                .iter()
                .skip(self.released)
                .any(|passage| layout.ways[passage.way].needs.iter().any(|need| need.turnout == turnout)),
            LockedFor::Overlap => self.holds_overlap,
            LockedFor::Flank => self.released < route.passages.len(),
        })
    }

    fn is_over(&self, route: &Route) -> bool {
        let is_past = matches!(self.stage, RouteStage::Used | RouteStage::Cancelled);
        is_past && self.released >= route.passages.len() && !self.holds_overlap
    }
}

impl Interlock {
    /// The routes that are set, with how far each has come.
    pub fn set_routes(&self) -> impl Iterator<Item = (RouteId, RouteStage)> + '_ {
        self.set_routes.set.iter().map(|set| (set.id, set.stage))
    }

    /// The signal whose route has locked a section.
    pub fn routed_from(&self, section: SectionId) -> Option<SignalId> {
        let locks = |set: &&SetRoute| set.locks_section(self.routes.route(set.id), section);
        self.set_routes.set.iter().find(locks).map(|set| set.id.entry)
    }

    /// The end at which the route that is cleared from a signal is over, where one is.
    pub(crate) fn cleared_up_to(&self, signal: SignalId) -> Option<track::EndId> {
        let cleared = |set: &&SetRoute| set.id.entry == signal && set.stage.is_cleared();
        let set = self.set_routes.set.iter().find(cleared)?;
        self.routes.route(set.id).passages.last().map(|passage| passage.leave)
    }

    /// The signal whose route needs this one at danger.
    pub(crate) fn kept_for_flank(&self, signal: SignalId) -> Option<SignalId> {
        let keeps = |set: &&SetRoute| {
            let route = self.routes.route(set.id);
            set.released < route.passages.len() && route.signals_at_danger().any(|other| other == signal)
        };
        self.set_routes.set.iter().find(keeps).map(|set| set.id.entry)
    }

    /// Fails where a set route has locked a section.
    pub(super) fn not_routed(&self, section: SectionId) -> Result<(), Wait> {
        #[cfg(test)]
        if self.planted == Some(super::checking::Bug::OverlooksWishes) {
            return Ok(());
        }
        match self.routed_from(section) {
            Some(signal) => Err(Wait::Routed { section, signal }),
            None => Ok(()),
        }
    }

    /// Fails where a set route has locked a turnout.
    pub(super) fn turnout_not_routed(&self, turnout: TurnoutId) -> Result<(), Wait> {
        let locks = |set: &&SetRoute| set.locks_turnout(&self.layout, self.routes.route(set.id), turnout);
        match self.set_routes.set.iter().find(locks) {
            Some(set) => Err(Wait::TurnoutRouted { turnout, signal: set.id.entry }),
            None => Ok(()),
        }
    }

    /// Sets a route from a signal: the first of those that lead to `exit` and pass all of `via` that can be set.
    ///
    /// # Errors
    ///
    /// If there is none, or none can be set now: then says what is in the way of the first.
    pub(crate) fn set_route(
        &mut self,
        (entry, exit, via): (SignalId, Exit, &[SectionId]),
        now: Time,
        picture: &impl Picture,
        signals: &Signals,
        outputs: &mut Vec<Output>,
    ) -> Result<(), Reason> {
        let Some(row) = self.layout.signals.get(entry) else {
            return Err("there is no such signal".to_owned());
        };
        if !self.is_exit(exit) {
            return Err("there is no such end of a route".to_owned());
        }
        let wanted = |id: &RouteId| {
            let route = self.routes.route(*id);
            route.exit == exit && via.iter().all(|section| route.passage_through(*section).is_some())
        };
        let fitting: SmallVec<[RouteId; 4]> = self.routes.from_signal(entry).filter(wanted).collect();
        let mut first_obstacle = None;
        for id in fitting {
            match self.can_set(id, picture, signals) {
                Ok(()) => {
                    self.call_route(id, now, picture, outputs);
                    return Ok(());
                }
                Err(reason) => first_obstacle = first_obstacle.or(Some(reason)),
            }
        }
        Err(first_obstacle
            .unwrap_or_else(|| format!("no route leads from `{}` to `{}` that way", row.name, exit.name(&self.layout))))
    }

    fn is_exit(&self, exit: Exit) -> bool {
        match exit {
            Exit::Signal(signal) => self.layout.signals.get(signal).is_some(),
            Exit::Stop(stop) => self.layout.stops.get(stop).is_some(),
            Exit::BufferStop(end) | Exit::Edge(end) => self.layout.ends.get(end).is_some(),
        }
    }

    /// Whether nothing is in the way of a route.
    fn can_set(&self, id: RouteId, picture: &impl Picture, signals: &Signals) -> Result<(), Reason> {
        let route = self.routes.route(id);
        self.no_conflict(id)?;
        if let Some(&end) = route.unproved.first() {
            let end = self.layout.end_name(end);
            return Err(format!("nobody reports which way the track leads at `{end}`"));
        }
        if signals.is_kept_at_danger(route.entry) {
            return Err(self.in_words(Wait::Kept { signal: route.entry }));
        }
        if let Some(by) = self.kept_for_flank(route.entry) {
            return Err(self.in_words(Wait::FlankSignal { signal: route.entry, by }));
        }
        for section in route.kept_clear() {
            self.is_clear_for_all(section, picture).map_err(|wait| self.in_words(wait))?;
            for &crossed in &self.layout.sections[section].crosses {
                self.is_clear_for_all(crossed, picture).map_err(|wait| self.in_words(wait))?;
            }
        }
        if let Some(against) = route.passages.iter().find(|passage| signals.leads_against_traffic(passage.enter)) {
            let name = &self.layout.sections[against.section].name;
            return Err(format!("a train that is on the line at `{name}` or beyond may come against it"));
        }
        for (turnout, lie) in self.must_lie(route) {
            if self.turnouts.lie(turnout) == Some(lie) {
                continue;
            }
            self.may_throw_for_route(route, turnout, picture)?;
            if !self.layout.turnouts[turnout].worked {
                return Err(self.in_words(Wait::ByHand { turnout, lie }));
            }
        }
        match route.signals_at_danger().find(|&signal| self.cleared[signal]) {
            Some(signal) => Err(format!(
                "signal `{}` is cleared for another movement, and leads into its side",
                self.layout.signals[signal].name
            )),
            None => Ok(()),
        }
    }

    /// Fails if a route that is set conflicts with this one in something that is still locked.
    fn no_conflict(&self, id: RouteId) -> Result<(), Reason> {
        for set in &self.set_routes.set {
            let other = self.routes.route(set.id);
            let still = |reason: &Conflicting| match *reason {
                Conflicting::SameEntry(_) => set.released == 0,
                Conflicting::Opposing(section) | Conflicting::Section(section) | Conflicting::Overlap(section) => {
                    set.locks_section(other, section)
                }
                Conflicting::Crossing(section, crossed) => {
                    set.locks_section(other, section) || set.locks_section(other, crossed)
                }
                Conflicting::Turnout(turnout)
                | Conflicting::OverlapTurnout(turnout)
                | Conflicting::FlankTurnout(turnout) => set.locks_turnout(&self.layout, other, turnout),
                Conflicting::FlankSignal(_) => set.released < other.passages.len(),
            };
            // A second route from the same signal, once the first is used: what they share is decided by what is still locked.
            let mut reasons = self.routes.between(set.id, id);
            if reasons.iter().any(|reason| matches!(reason, Conflicting::SameEntry(_))) && set.released > 0 {
                reasons = self.shared_sections(set, id);
            }
            if let Some(reason) = reasons.into_iter().find(still) {
                return Err(format!("route `{}` is set: {}", other.name, reason.in_words(&self.layout)));
            }
        }
        Ok(())
    }

    fn shared_sections(&self, set: &SetRoute, id: RouteId) -> Vec<Conflicting> {
        let (other, route) = (self.routes.route(set.id), self.routes.route(id));
        let crossed = |section| self.layout.sections[section].crosses.iter().copied();
        let crossing = route.kept_clear().flat_map(|section| crossed(section).map(move |it| (it, section)));
        let crossing = crossing.filter(|&(it, _)| set.locks_section(other, it));
        let shared = route.kept_clear().filter(|&section| set.locks_section(other, section));
        let crossing = crossing.map(|(it, section)| Conflicting::Crossing(it, section));
        shared.map(Conflicting::Section).chain(crossing).collect()
    }

    /// Whether a section is in service, nobody's, and clear.
    pub(super) fn is_clear_for_all(&self, section: SectionId, picture: &impl Picture) -> Result<(), Wait> {
        self.in_service(section)?;
        self.is_nobodys_overlap(None, section)?;
        if let Some(by) = self.granted_to[section].or_else(|| picture.holders(section).first().copied()) {
            return Err(Wait::Taken { section, by });
        }
        if picture.is_occupied(section) { Err(Wait::Occupied { section }) } else { Ok(()) }
    }

    /// Locks everything that a route needs, and throws its turnouts.
    fn call_route(&mut self, id: RouteId, now: Time, picture: &impl Picture, outputs: &mut Vec<Output>) {
        let route = self.routes.route(id);
        for (turnout, lie) in self.must_lie(route) {
            self.turnouts.throw(turnout, lie, now, outputs);
        }
        self.cleared_anew.extend(route.signals_at_danger());
        self.set_routes.set.push(SetRoute {
            id,
            stage: RouteStage::Called,
            released: 0,
            reached: 0,
            holds_overlap: !route.overlap.sections.is_empty(),
            due: None,
            told_stuck: false,
        });
        let place = self.set_routes.set.len() - 1;
        self.tell_stage(place, RouteStage::Called, outputs);
        self.live(place, now, picture, outputs);
    }

    /// Cancels the route that is set from a signal. Its signal is at stop from now on.
    ///
    /// # Errors
    ///
    /// If none is set, or something is in it.
    pub(crate) fn cancel_route(
        &mut self,
        entry: SignalId,
        now: Time,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) -> Result<(), Reason> {
        let Some(row) = self.layout.signals.get(entry) else {
            return Err("there is no such signal".to_owned());
        };
        let is_it = |set: &SetRoute| set.id.entry == entry && set.stage != RouteStage::Cancelled;
        let Some(place) = self.set_routes.set.iter().position(is_it) else {
            return Err(format!("no route is set from `{}`", row.name));
        };
        self.cancel(place, now, picture, outputs)
    }

    /// All that matters of the routes that are set: what is due at a time counts as due or not yet.
    #[cfg(test)]
    pub(super) fn routes_in_essence(&self, now: Time) -> Vec<impl std::fmt::Debug + use<>> {
        let set = self.set_routes.set.iter().map(|set| {
            (
                set.id,
                set.stage,
                set.released,
                set.reached,
                set.holds_overlap,
                set.due.map(|due| due <= now),
                set.told_stuck,
            )
        });
        set.collect()
    }

    /// How turnouts must lie for the routes that are set, those that still are locked.
    #[cfg(test)]
    pub(super) fn turnouts_of_routes(&self) -> impl Iterator<Item = (TurnoutId, track::Lie)> + '_ {
        self.set_routes.set.iter().flat_map(move |set| {
            let route = self.routes.route(set.id);
            let is_locked =
                move |&(turnout, _): &(TurnoutId, track::Lie)| set.locks_turnout(&self.layout, route, turnout);
            self.must_lie(route).into_iter().filter(is_locked)
        })
    }

    fn tell_stage(&mut self, place: usize, stage: RouteStage, outputs: &mut Vec<Output>) {
        let set = &mut self.set_routes.set[place];
        set.stage = stage;
        let route = self.routes.route(set.id);
        outputs.push(Output::Fact(Fact::RouteStage { entry: route.entry, exit: route.exit, stage }));
    }
}
