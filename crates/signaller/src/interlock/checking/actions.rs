//! What may happen next.

use track::routes::RouteId;
use track::{Lie, SectionId, SignalId, TrainId, TurnoutId};

use super::cases::Case;
use super::state::State;
use crate::door::Destination;

/// Something that may happen next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Action {
    /// Somebody sends the train on its next errand.
    Order(TrainId),
    NoseEnters(TrainId, Told),
    TailLeaves(TrainId, Told),
    /// What was held up is reported.
    Report(TrainId),
    Stands(TrainId, Reckoned),
    TurnoutArrives(TurnoutId),
    TurnoutFails(TurnoutId),
    Stop(TrainId),
    Throw(TurnoutId, Lie),
    Keep(SignalId),
    LetGo(SignalId),
    SetRoute(RouteId),
    CancelRoute(SignalId),
    Withdraw(SectionId),
    PutInService(SectionId),
    /// Nothing else happens for long.
    TimePasses,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Told {
    AtOnce,
    Late,
}

/// How far the nose of a train that stopped on its way is taken to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reckoned {
    WhereItIs,
    /// It may have come into the next section, for all that is known.
    Farther,
}

impl Action {
    /// Whether trains get on by this, and not only because somebody wishes something else or something fails.
    pub(super) fn helps(self) -> bool {
        !matches!(
            self,
            Self::TurnoutFails(_)
                | Self::Stop(_)
                | Self::Throw(..)
                | Self::Keep(_)
                | Self::SetRoute(_)
                | Self::Withdraw(_)
        )
    }
}

impl State {
    /// Everything that may happen next.
    pub(super) fn actions(&self, case: &Case, actions: &mut Vec<Action>) {
        if !self.broken.is_empty() {
            return;
        }
        for start in &case.trains {
            self.actions_of(case, start.train, actions);
        }
        let (free, spent) = (&case.liberties, &self.spent);
        for (turnout, blades) in self.rails.turnouts.iter() {
            if blades.moves_to.is_some() {
                actions.push(Action::TurnoutArrives(turnout));
                if spent.failures < free.failures {
                    actions.push(Action::TurnoutFails(turnout));
                }
            }
            if spent.throws < free.throws {
                actions.push(Action::Throw(turnout, Lie::Straight));
                actions.push(Action::Throw(turnout, Lie::Diverging));
            }
        }
        for signal in case.layout.signals.ids() {
            if self.signals.is_kept_at_danger(signal) {
                actions.push(Action::LetGo(signal));
            } else if spent.keeps < free.keeps && case.may_be_kept(signal) {
                actions.push(Action::Keep(signal));
            }
        }
        self.wishes(case, actions);
        actions.push(Action::TimePasses);
    }

    fn actions_of(&self, case: &Case, train: TrainId, actions: &mut Vec<Action>) {
        let (layout, truth, length) = (&case.layout, &self.rails.trains[train], case.length(train));
        if self.interlock.destination(train).is_none() && case.errand(train, truth.done).is_some() {
            actions.push(Action::Order(train));
        }
        if truth.untold.is_some() {
            actions.push(Action::Report(train));
        }
        let may_be_late = case.liberties.reports_come_late;
        for told in [Told::AtOnce, Told::Late].into_iter().take(1 + usize::from(may_be_late)) {
            if truth.can_enter(layout, length) {
                actions.push(Action::NoseEnters(train, told));
            }
            if truth.can_leave(layout, length) {
                actions.push(Action::TailLeaves(train, told));
            }
        }
        let short = match self.interlock.destination(train) {
            Some(Destination::Stop(stop)) => layout.stands_short(stop, Some(length)),
            _ => track::Length::ZERO,
        };
        if truth.can_stand(layout, length, short) {
            actions.push(Action::Stands(train, Reckoned::WhereItIs));
            if case.liberties.reaches_farther && truth.brakes && !truth.ahead.is_empty() {
                actions.push(Action::Stands(train, Reckoned::Farther));
            }
        }
        if self.spent.stops < case.liberties.stops && self.interlock.destination(train).is_some() {
            actions.push(Action::Stop(train));
        }
    }
}
