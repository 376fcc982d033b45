//! Which trains are out of hand: they moved, or move, otherwise than as they were ordered, and the signaller cannot know yet
//! where that took them.
//!
//! A train is out of hand from the moment when a fault of motion befalls it: it is pushed or lifted, runs away, does not hear an
//! order, is driven by a person, is led astray by a turnout that lies otherwise than everybody thinks. It is in hand again when,
//! the fault being over and the train no faster than it is told, a report was delivered that it passed a joint, or a person
//! truthfully said where it stands; and when the time is over that an order then takes to reach it and that it needs to brake. A
//! train that stalls is not out of hand.
//! What no order drives, a parted tail or a wagon that nobody knows of, is always out of hand. A report only counts if it shows
//! the train itself: one that rolled on into, or out of, a section after the fault. Where another train kept that section
//! occupied nothing is shown, and the train stays out of hand up to the next joint. That a train which a turnout led astray has
//! left a section shows nothing either: it does not tell where to.

use signaller::{Input, Time};
use track::{Id, SectionId, TrainId};

use crate::settings::TICK;
use crate::table::Table;
use crate::truth::Presence;

/// How it stands with a train that is out of hand.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Astray {
    /// Since when it is out of hand.
    since: Time,
    /// Faults of motion that befall it right now.
    lasting: u32,
    /// When the last of them was over, and the train no faster than it was told.
    over_at: Time,
    /// A turnout led it another way than anybody knows.
    is_led: bool,
    /// From when on it is in hand again, if that is known.
    in_hand_from: Option<Time>,
}

/// What a loose body is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Loose {
    /// Vehicles that parted from a train.
    Tail { of: TrainId },
    /// A wagon that nobody knows of.
    Wagon,
    /// Nothing any more: it was put to its train again.
    Gone,
}

impl Table {
    /// Whether the train moved otherwise than as ordered, and the signaller could not know at that time where it is.
    pub fn is_out_of_hand(&self, train: TrainId, at: Time) -> bool {
        match self.astray.get(train) {
            Some(Some(astray)) => astray.since <= at && astray.in_hand_from.is_none_or(|from| at < from),
            Some(None) => false,
            None => true,
        }
    }

    /// Since when a body is out of hand: a tail or a wagon that nobody knows of, since it was put where it is, which is not told
    /// here.
    pub(crate) fn out_of_hand_since(&self, body: TrainId) -> Option<Time> {
        self.astray.get(body).copied().flatten().map(|astray| astray.since)
    }

    /// Whether a body came into a section where it is while it was out of hand.
    pub(crate) fn came_out_of_hand(&self, body: TrainId, section: SectionId) -> bool {
        let Some(came) = self.present_since(body, section) else { return false };
        self.loose_kind(body).is_some() || self.out_of_hand_since(body).is_some_and(|since| since <= came)
    }

    /// A train rolled into a section: if a turnout led it there that lies otherwise than anybody knows, it is led astray.
    pub(crate) fn may_be_led_astray(&mut self, train: TrainId, section: SectionId) {
        let on = self.trains[train].pieces.iter().filter_map(|piece| piece.on.track());
        let needs = on.filter(|on| on.section == section).flat_map(|on| &self.layout().ways[on.way].needs);
        let mut turnouts = needs.map(|need| need.turnout);
        if !self.trains[train].wrecked && turnouts.any(|turnout| self.lies_unknown(turnout, self.now())) {
            self.went_astray(train);
            if let Some(Some(astray)) = self.astray_mut(train) {
                astray.is_led = true;
            }
        }
    }

    /// The train of the layout whose vehicles a body is made of; nothing for a wagon that nobody knows of.
    ///
    /// [`Table::trains_in`] names bodies: every train of the layout is one, and has its own id; a tail that parted and a wagon
    /// that nobody knows of have ids beyond those.
    pub fn belongs_to(&self, body: TrainId) -> Option<TrainId> {
        match self.loose_kind(body) {
            None => Some(body),
            Some(Loose::Tail { of }) => Some(of),
            Some(Loose::Wagon | Loose::Gone) => None,
        }
    }

    /// What people call a body.
    pub fn body_name(&self, body: TrainId) -> String {
        let name = |train| self.layout().trains.get(train).map_or("a train", |train| train.name.as_str());
        match self.loose_kind(body) {
            None => name(body).to_owned(),
            Some(Loose::Tail { of }) => format!("the tail that parted from {}", name(of)),
            Some(Loose::Wagon | Loose::Gone) => "a wagon that nobody knows of".to_owned(),
        }
    }

    pub(crate) fn loose_kind(&self, body: TrainId) -> Option<Loose> {
        self.loose.get(body.index().checked_sub(self.layout().trains.len())?).copied()
    }

    /// A fault of motion begins.
    pub(crate) fn goes_astray(&mut self, train: TrainId) {
        let now = self.now();
        if let Some(astray) = self.astray_mut(train) {
            let fresh = Astray { since: now, ..Astray::default() };
            let astray = astray.get_or_insert(fresh);
            if astray.in_hand_from.take().is_some_and(|from| from <= now) {
                (astray.since, astray.is_led) = (now, false);
            }
            astray.lasting += 1;
        }
    }

    /// A fault of motion is over as soon as the train has come down to the speed that it is told.
    pub(crate) fn astray_no_longer(&mut self, train: TrainId) {
        let over_at = self.now() + self.trains[train].time_to_slow_down();
        if let Some(Some(astray)) = self.astray_mut(train) {
            astray.lasting = astray.lasting.saturating_sub(1);
            astray.over_at = over_at;
        }
    }

    /// A fault of motion that is over as soon as it begins.
    pub(crate) fn went_astray(&mut self, train: TrainId) {
        self.goes_astray(train);
        self.astray_no_longer(train);
    }

    /// A report is handed over: a train that is out of hand may have shown where it is.
    pub(crate) fn may_be_found(&mut self, input: &Input) {
        let Input::SectionReported { section, occupied } = *input else { return };
        for train in self.astray.ids() {
            let Some(astray) = self.astray[train].filter(|it| it.lasting == 0 && it.in_hand_from.is_none()) else {
                continue;
            };
            let tells = occupied || !astray.is_led;
            if tells && self.shows(train, section, occupied, astray.over_at) {
                self.is_found(train);
            }
        }
    }

    /// The signaller knows where the train is from now on.
    pub(crate) fn is_found(&mut self, train: TrainId) {
        let from = self.now() + self.order_delay + self.time_to_stand(train, self.order_delay) + 2 * TICK;
        if let Some(Some(astray)) = self.astray_mut(train)
            && astray.lasting == 0
        {
            astray.in_hand_from.get_or_insert(from);
        }
    }

    /// Whether a report shows that the train rolled into the section, or out of it, since then. Where it was put down right then
    /// it passed no joint, and where something else is seen in the section it is not the train that is reported.
    fn shows(&self, train: TrainId, section: SectionId, occupied: bool, since: Time) -> bool {
        let presence = self.trains_in(section).iter().find(|presence| presence.train == train);
        let of_another = |other: &Presence| other.train != train && other.seen_since.is_some();
        match (occupied, presence) {
            (true, Some(presence)) => {
                let is_alone = !self.trains_in(section).iter().any(of_another);
                presence.since > since && presence.seen_since.is_some() && is_alone
            }
            (false, None) => self.left_at(train, section).is_some_and(|at| at > since),
            _ => false,
        }
    }

    fn astray_mut(&mut self, train: TrainId) -> Option<&mut Option<Astray>> {
        (train.index() < self.astray.len()).then(|| &mut self.astray[train])
    }
}
