//! What people wish of the track itself: routes, and sections out of service.

use smallvec::SmallVec;
use track::routes::RouteId;
use track::{Lie, SectionId, TurnoutId};

use super::actions::Action;
use super::cases::Case;
use super::laws::Law;
use super::state::State;
use crate::door::Output;
use crate::signaller::Changes;

impl State {
    /// What may be wished now. What was set or withdrawn may be given up again at any time, and that helps.
    pub(super) fn wishes(&self, case: &Case, actions: &mut Vec<Action>) {
        let (free, spent) = (&case.liberties, &self.spent);
        let is_set = |&route: &RouteId| self.interlock.set_routes().any(|(set, _)| set == route);
        let set = case.routes.iter().copied().filter(is_set).map(|route| Action::CancelRoute(route.entry));
        actions.extend(set);
        if spent.routes < free.routes {
            actions.extend(case.routes.iter().copied().filter(|route| !is_set(route)).map(Action::SetRoute));
        }
        for &section in &case.withdrawable {
            if self.interlock.withdrawal(section).is_some() {
                actions.push(Action::PutInService(section));
            } else if spent.withdrawals < free.withdrawals {
                actions.push(Action::Withdraw(section));
            }
        }
    }

    /// Does what is wished; nothing where it is refused.
    pub(super) fn fulfil(&mut self, action: Action, changes: &mut Changes, outputs: &mut Vec<Output>) -> Option<()> {
        let now = self.now;
        match action {
            Action::SetRoute(id) => {
                self.spent.routes += 1;
                let route = self.interlock.routes.route(id);
                let via: SmallVec<[SectionId; 8]> = route.sections().collect();
                let wish = (route.entry, route.exit, &via[..]);
                self.interlock.set_route(wish, now, &self.board, &self.signals, outputs).ok()
            }
            Action::CancelRoute(entry) => self.interlock.cancel_route(entry, now, &self.board, outputs).ok(),
            Action::Withdraw(section) => {
                self.spent.withdrawals += 1;
                changes.sections.push(section);
                self.interlock.take_out_of_service(section, "it is being cleaned", outputs).ok()
            }
            Action::PutInService(section) => {
                changes.sections.push(section);
                self.interlock.put_in_service(section, outputs).ok()
            }
            _ => None,
        }
    }

    /// What is wrong with a section that is locked for a route or withdrawn.
    pub(super) fn breach_of_wishes(&self, case: &Case, section: SectionId) -> Option<Law> {
        let ahead = |train| self.granted(train).skip(self.interlock.runs[train].nose + 1);
        let may_enter = case.trains.iter().any(|start| {
            self.interlock.destination(start.train).is_some()
                && ahead(start.train).any(|(passage, proved)| proved && passage.section == section)
        });
        if self.interlock.withdrawal(section).is_some() && may_enter {
            return Some(Law::AuthorityOverWithdrawnTrack);
        }
        let is_routed = self.interlock.routed_from(section).is_some();
        let is_shared =
            self.interlock.granted_to(section).is_some() || self.rails.trains.values().any(|it| it.covers(section));
        (is_routed && is_shared).then_some(Law::SharedSection)
    }

    /// Whether a set route needs a turnout to lie otherwise.
    pub(super) fn is_routed_otherwise(&self, turnout: TurnoutId, lie: Lie) -> bool {
        self.interlock.turnouts_of_routes().any(|(other, needed)| other == turnout && needed != lie)
    }

    /// Whether a signal is cleared for a set route, and all of that lies right, is free and nobody else's.
    pub(super) fn is_clear_for_route(&self, case: &Case, signal: track::SignalId) -> bool {
        let cleared = self.interlock.set_routes().find(|(id, stage)| id.entry == signal && stage.is_cleared());
        let Some((id, _)) = cleared else { return false };
        let is_good = |passage: &track::Traverse| {
            self.rails.lies(&case.layout, passage)
                && self.interlock.granted_to(passage.section).is_none()
                && !self.rails.trains.values().any(|truth| truth.covers(passage.section))
        };
        self.interlock.routes.route(id).passages.iter().all(is_good)
    }
}
