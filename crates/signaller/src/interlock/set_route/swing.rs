//! A route that goes on from where another ends takes its overlap over.
//!
//! Whoever does not quite stop at the end of the first runs on into the second, which is locked for nobody else. So a turnout
//! that the overlap of the first had locked may move for the second: the overlap swings. It does not while a train that runs up
//! to the signal between them has come into the last section before it and may not have come to stand: it could be upon the
//! turnout while that moves. Where the second is given up unused, the overlap of the first is brought to lie again as it was.

use smallvec::SmallVec;
use track::routes::{Exit, LockedFor, Route, RouteId};
use track::{Lie, TurnoutId};

use super::super::orders::Reason;
use super::{Interlock, RouteStage, SetRoute, Wait};
use crate::door::Output;
use crate::picture::Picture;
use crate::time::Time;

impl Interlock {
    /// The route that is set from where this one ends, and not released yet.
    fn onward_of(&self, route: &Route) -> Option<&SetRoute> {
        let Exit::Signal(exit) = route.exit else { return None };
        self.set_routes.set.iter().find(|set| set.id.entry == exit && set.released == 0)
    }

    /// Whether a train has gone on over the route that is set from where this one ends.
    pub(super) fn has_gone_on(&self, route: &Route) -> bool {
        let Exit::Signal(exit) = route.exit else { return false };
        self.set_routes.set.iter().any(|set| set.id.entry == exit && set.stage == RouteStage::Used)
    }

    /// How the turnouts of a route must lie: those of its overlap only while no other route has taken that over.
    pub(super) fn must_lie(&self, route: &Route) -> SmallVec<[(TurnoutId, Lie); 8]> {
        let onward = self.onward_of(route).map(|set| self.routes.route(set.id));
        let is_taken_over =
            |turnout: TurnoutId| onward.is_some_and(|onward| onward.locks().any(|(other, ..)| other == turnout));
        let needed =
            route.locks().filter(|&(turnout, _, purpose)| purpose != LockedFor::Overlap || !is_taken_over(turnout));
        needed.filter_map(|(turnout, lie, _)| Some((turnout, lie?))).collect()
    }

    /// Whether a turnout may be thrown for a route: it is locked for nobody but, as overlap, for a route that ends where this one
    /// begins and whose train is not near.
    pub(super) fn may_throw_for_route(
        &self,
        route: &Route,
        turnout: TurnoutId,
        picture: &impl Picture,
    ) -> Result<(), Reason> {
        self.turnout_in_service(turnout).map_err(|wait| self.in_words(wait))?;
        self.turnout_is_in_nobodys_overlap(None, turnout).map_err(|wait| self.in_words(wait))?;
        for set in &self.set_routes.set {
            let other = self.routes.route(set.id);
            if !set.locks_turnout(&self.layout, other, turnout) {
                continue;
            }
            let in_overlap_only = other.locks().all(|(it, _, purpose)| it != turnout || purpose == LockedFor::Overlap);
            if other.exit != Exit::Signal(route.entry) || !in_overlap_only {
                return Err(self.in_words(Wait::TurnoutRouted { turnout, signal: set.id.entry }));
            }
            if set.is_in_last_section(other) {
                let (turnout, signal) = (&self.layout.turnouts[turnout].name, &self.layout.signals[route.entry].name);
                return Err(format!(
                    "turnout `{turnout}` is the overlap of a train that runs up to `{signal}` and may not stand yet"
                ));
            }
        }
        self.may_move_but_for_routes(turnout, picture).map_err(|wait| self.in_words(wait))
    }

    /// The route was given up: what it had taken over is the overlap again of the route that leads to it.
    pub(super) fn swing_back(
        &mut self,
        given_up: RouteId,
        now: Time,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) {
        let leads_here =
            |set: &&SetRoute| set.holds_overlap && self.routes.route(set.id).exit == Exit::Signal(given_up.entry);
        // Not before a train that may be upon it at any moment.
        let is_far = |set: &&SetRoute| !set.is_in_last_section(self.routes.route(set.id));
        let Some(set) = self.set_routes.set.iter().find(leads_here).filter(is_far) else { return };
        let turnouts = self.routes.route(set.id).overlap.turnouts.iter();
        let overlap: SmallVec<[(TurnoutId, Lie); 4]> =
            turnouts.filter_map(|&(turnout, lie)| Some((turnout, lie?))).collect();
        for (turnout, lie) in overlap {
            if self.may_move_but_for_routes(turnout, picture).is_ok() {
                self.turnouts.throw(turnout, lie, now, outputs);
            }
        }
    }
}

impl SetRoute {
    /// Whether the train that uses the route has come into its last section, and may not stand there yet.
    fn is_in_last_section(&self, route: &Route) -> bool {
        self.stage == RouteStage::Used && self.holds_overlap && self.reached == route.passages.len()
    }
}
