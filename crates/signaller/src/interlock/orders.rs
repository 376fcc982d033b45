//! Orders for trains and turnouts: what is refused, and what an accepted one changes.

use std::sync::Arc;

use smallvec::SmallVec;
use track::{EndId, Length, Lie, SectionId, TrainId, Traverse, TurnoutId};

use super::holds::ALL_STOPPED;
use super::{HoldKind, Interlock, Run, Wait};
use crate::door::{Destination, Output};
use crate::drive::Drive;
use crate::identity::Whereabouts;
use crate::picture::Picture;
use crate::roster::Roster;
use crate::time::Time;

/// A train that may be so near to its stopping point does not start for it.
const CLOSE: Length = Length::from_mm(40);

/// One that may be so far short of it cannot be said to have arrived.
const FAR_OFF: Length = Length::from_mm(500);

/// Why something is not done, in plain words.
pub(crate) type Reason = String;

impl Interlock {
    /// From now on trains have these names, and are made of what this roster says.
    pub(crate) fn set_roster(&mut self, roster: Arc<Roster>) {
        while self.runs.len() < roster.len() {
            self.runs.push(Run::default());
        }
        self.roster = roster;
    }

    pub(super) fn known(&self, train: TrainId) -> Result<(), Reason> {
        self.runs.get(train).map(|_| ()).ok_or_else(|| "there is no such train".to_owned())
    }

    /// Sends a train somewhere. An older order is forgotten.
    pub(crate) fn go(
        &mut self,
        train: TrainId,
        to: Destination,
        now: Time,
        picture: &impl Picture,
        drive: &Drive,
    ) -> Result<(), Reason> {
        self.known(train)?;
        self.not_by_hand(train)?;
        let name = self.name(train);
        let stand = picture
            .whereabouts(train, now)
            .ok_or_else(|| format!("nobody knows where `{name}` stands; hint: say where it was put down first"))?;
        if stand.footprint.last().is_none_or(|hold| hold.enter.is_none()) {
            return Err(format!("nobody knows which way `{name}` points; hint: place it with its nose"));
        }
        let goal = self.section_of(to);
        // What its nose reaches into unseen counts as well.
        let reaches = || self.granted_sections(train).try_for_each(|section| self.in_service(section));
        let in_service = self.stands_in_service(&stand).and_then(|()| reaches()).and_then(|()| self.in_service(goal));
        in_service.map_err(|wait| self.in_words(wait))?;
        if self.hides_trains(goal) {
            return Err(format!(
                "no detector watches {}, and lengths are missing there, so that nobody would know when to stop `{name}`; hint: give \
                 the lengths of that section and those beside it, or send it farther",
                self.place_name(to)
            ));
        }
        // A train in doubt may be anywhere on its likeliest account; it is planned for when it is sure again.
        if stand.sure && drive.is_at_rest(train) {
            self.can_set_out(train, &stand, to, picture)?;
        } else if stand.sure && !self.can_ever_come(&stand, to) && self.turning_ahead(train, to, picture).is_none() {
            return Err(self.why_no_path(train, &stand, to, picture));
        }
        self.forget_plan(train);
        self.orders_so_far += 1;
        let run = &mut self.runs[train];
        // One that is sent elsewhere before it could set out keeps its place: else it might never have its turn.
        if run.to.is_none() || run.has_departed {
            run.age = self.orders_so_far;
        } else {
            run.waited_before |= run.waits_for.is_some();
        }
        run.send(Some(to));
        (run.has_departed, run.drew_aside_at) = (false, None);
        run.waits_for = None;
        self.touch(train);
        Ok(())
    }

    /// Fails if a train that stands cannot get there, or not stand there.
    fn can_set_out(
        &self,
        train: TrainId,
        stand: &Whereabouts,
        to: Destination,
        picture: &impl Picture,
    ) -> Result<(), Reason> {
        let name = self.name(train);
        let Some(course) = self.course(train, stand, to, picture) else {
            if self.could_draw_clear(train, stand, to, picture) {
                return Ok(());
            }
            let turning = self.turning(train, stand, to, picture);
            let turning = turning.ok_or_else(|| self.why_no_path(train, stand, to, picture))?;
            return self.has_room(train, &turning.home, to);
        };
        if !course.turns_back && self.cannot_tell_if_there(train, stand, &course.path, to) {
            return Err(format!(
                "`{name}` may stand at {} or far short of it, and nobody knows; hint: send it somewhere else first",
                self.place_name(to)
            ));
        }
        self.has_room(train, &course.path, to)
    }

    /// Fails if a train is too long for the end of its path.
    fn has_room(&self, train: TrainId, path: &[Traverse], to: Destination) -> Result<(), Reason> {
        let name = self.name(train);
        let (length, room) = (self.train_length(train), self.room_at_the_end(train, path, to));
        match (length, room) {
            (Some(length), Some(room)) if length > room => Err(format!(
                "`{name}` is {:.0} mm long, and {} has room for {:.0} mm",
                length.mm(),
                self.place_name(to),
                room.mm()
            )),
            _ => Ok(()),
        }
    }

    /// Whether a train in the section of its stopping point may be too near to it to move, and may as well be far from it: so
    /// it is with one that was put down there and has not moved since.
    fn cannot_tell_if_there(&self, train: TrainId, stand: &Whereabouts, path: &[Traverse], to: Destination) -> bool {
        let (Destination::Stop(stop), [only], Some(nose)) = (to, path, stand.nose) else { return false };
        let Some(length) = self.layout.ways[only.way].length else { return false };
        let point = length - self.layout.stands_short(stop, self.train_length(train));
        nose.most + CLOSE > point && nose.least + FAR_OFF < point
    }

    pub(super) fn place_name(&self, to: Destination) -> String {
        match to {
            Destination::Stop(stop) => format!("`{}`", self.layout.stops[stop].name),
            Destination::Section(section) => format!("`{}`", self.layout.sections[section].name),
        }
    }

    /// Lets a train brake to a stand and forget where it was going. What it was granted and did not use is given back then.
    pub(crate) fn stop(&mut self, train: TrainId) -> Result<(), Reason> {
        self.known(train)?;
        self.not_by_hand(train)?;
        self.forget_plan(train);
        let run = &mut self.runs[train];
        run.send(None);
        run.waits_for = None;
        run.must_stand = !run.granted.is_empty();
        self.is_stirred = true;
        self.touch(train);
        Ok(())
    }

    /// Stops everything and holds it. Destinations and grants are kept, so that everything goes on when it is resumed.
    pub(crate) fn stop_all(&mut self, now: Time, picture: &impl Picture, outputs: &mut Vec<Output>) {
        let again = std::mem::replace(&mut self.everything_stopped, true);
        for train in self.runs.ids() {
            self.touch(train);
            if !again && !self.is_driven_by_hand(train) && picture.whereabouts(train, now).is_some() {
                self.told_stopped.push(train);
                self.tell_hold(train, HoldKind::AllStopped, ALL_STOPPED.to_owned(), outputs);
            }
        }
    }

    /// Lifts what [`Interlock::stop_all`] set.
    pub(crate) fn resume_all(
        &mut self,
        now: Time,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) -> Result<(), Reason> {
        if !std::mem::take(&mut self.everything_stopped) {
            return Err("nothing was stopped".to_owned());
        }
        for train in self.runs.ids() {
            self.touch(train);
            // One that was taken off meanwhile is free to go too, wherever it is put down.
            let told = self.told_stopped.contains(&train);
            if told || !self.is_driven_by_hand(train) && picture.whereabouts(train, now).is_some() {
                self.tell_lifted(train, HoldKind::AllStopped, outputs);
            }
        }
        self.told_stopped.clear();
        self.is_stirred = true;
        Ok(())
    }

    /// Holds a train until [`Interlock::release`].
    pub(crate) fn hold(&mut self, train: TrainId, reason: &str, outputs: &mut Vec<Output>) -> Result<(), Reason> {
        self.known(train)?;
        self.not_by_hand(train)?;
        if !self.runs[train].holds.replace(HoldKind::Wished, reason) {
            self.set_hold(train, HoldKind::Wished, reason.to_owned(), outputs);
        } else {
            self.tell_hold(train, HoldKind::Wished, reason.to_owned(), outputs);
        }
        Ok(())
    }

    /// Lifts the hold that somebody wished, that of an emergency, and that on a train which was found where it was not allowed to be,
    /// did not answer, or has track on which another is said to stand: whoever releases it vouches for it. One that was astray gives
    /// back all it was granted, and starts anew from where it stands; but not where something strange happened, for it may be another
    /// train.
    pub(crate) fn release(
        &mut self,
        train: TrainId,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) -> Result<(), Reason> {
        self.known(train)?;
        let (mut held, mut was_wished) = (false, false);
        let stays_astray = self.runs[train].holds.has(HoldKind::Astray) && picture.is_strange(train);
        for kind in [HoldKind::Wished, HoldKind::Emergency, HoldKind::Disputed, HoldKind::NoAnswer, HoldKind::Astray] {
            // Whoever takes back what was wished does not say that they saw where it is: for that it is released once more.
            if kind == HoldKind::Astray && stays_astray || was_wished && kind.is_doubt() {
                continue;
            }
            if self.lift_hold(train, kind, outputs) {
                held = true;
                was_wished |= matches!(kind, HoldKind::Wished | HoldKind::Emergency);
                match kind {
                    HoldKind::Astray => self.give_back_all(train, outputs),
                    HoldKind::NoAnswer => {
                        self.was_seen_to(train);
                        self.vouched_for.push(train);
                    }
                    HoldKind::Disputed => self.look_at_signals_of(train),
                    _ => {}
                }
            }
        }
        match (held, stays_astray) {
            (true, _) => Ok(()),
            (false, true) => Err(format!(
                "it is not sure that `{}` is where it was found; hint: say where it stands, or which train that is",
                self.name(train)
            )),
            (false, false) => Err(format!("nobody holds `{}`", self.name(train))),
        }
    }

    /// A person says that a train stands on these sections. One that was told to run does not do so from there, where it has no track.
    pub(crate) fn placed(&mut self, train: TrainId, on: &[SectionId], outputs: &mut Vec<Output>) {
        self.note_misled_by_word(train, on, outputs);
        if self.runs.get(train).is_some_and(|run| !run.stands && !run.granted.is_empty()) {
            self.to_stop.push(train);
        }
        self.start_anew(train, outputs);
    }

    /// A train was put down somewhere, or taken off: what it was granted means nothing any more.
    pub(crate) fn start_anew(&mut self, train: TrainId, outputs: &mut Vec<Output>) {
        if self.runs.get(train).is_none() {
            return;
        }
        self.void_roll_call(train);
        // Wherever it is now, that it did not answer where it was before means nothing any more.
        self.forget_no_answer(train);
        self.settle_disputes(train, outputs);
        self.give_back_all(train, outputs);
        let run = &mut self.runs[train];
        run.send(None);
        (run.waits_for, run.must_stand, run.drawn_up_to) = (None, false, None);
        run.was_called_in_vain = false;
        for kind in
            HoldKind::OF_A_TRAIN.into_iter().filter(|kind| !matches!(kind, HoldKind::Wished | HoldKind::Emergency))
        {
            self.lift_hold(train, kind, outputs);
        }
        self.touch(train);
    }

    /// A person says where a train stands. It goes on with its errand if it stands where it may be, and starts anew if not.
    pub(crate) fn stands_by_word(
        &mut self,
        train: TrainId,
        now: Time,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) {
        let stand = picture.whereabouts(train, now);
        let fits = stand.as_ref().is_some_and(|stand| self.nose_among_granted(train, stand).is_some());
        if self.runs.get(train).is_some_and(|run| !run.granted.is_empty()) && !fits {
            let footprint = stand.iter().flat_map(|stand| &stand.footprint);
            let on: SmallVec<[SectionId; 4]> = footprint.map(|hold| hold.section).collect();
            self.placed(train, &on, outputs);
        }
    }

    /// Throws a turnout at a person's wish.
    pub(crate) fn throw(
        &mut self,
        turnout: TurnoutId,
        lie: Lie,
        now: Time,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) -> Result<(), Reason> {
        let Some(row) = self.layout.turnouts.get(turnout) else {
            return Err("there is no such turnout".to_owned());
        };
        if !row.worked {
            return Err(format!("turnout `{}` is thrown by hand only", row.name));
        }
        if self.turnouts.lie(turnout) == Some(lie) && !self.turnouts.is_doubtful(turnout) {
            return Ok(());
        }
        let may = self
            .turnout_in_service_or_hands(turnout)
            .and_then(|()| self.turnout_is_in_nobodys_overlap(None, turnout))
            .and_then(|()| self.may_move(turnout, picture));
        may.map_err(|wait| self.in_words(wait))?;
        self.turnouts.believe(turnout);
        self.turnouts.throw(turnout, lie, now, outputs);
        Ok(())
    }

    pub(super) fn in_words(&self, wait: Wait) -> Reason {
        wait.in_words(&self.layout, |train| self.name(train))
    }

    /// Takes note of a turnout's report.
    pub(crate) fn turnout_reported(&mut self, turnout: TurnoutId, lie: Option<Lie>) {
        self.turnouts.report(turnout, lie);
    }

    /// Somebody said that a train lies over a turnout so; tells whether that was news.
    pub(crate) fn turnout_told(&mut self, turnout: TurnoutId, lie: Lie) -> bool {
        self.turnouts.is_told(turnout, lie)
    }

    /// A signal was kept at danger or let go: trains that count on it look again.
    pub(crate) fn signal_changed(&mut self, at: EndId) {
        self.is_stirred = true;
        if let Some(train) = self.granted_to[self.layout.ends[at].section] {
            self.touch(train);
        }
    }

    /// Why a train cannot stand in these sections; nothing if it can.
    pub(crate) fn placement_refusal(&self, train: TrainId, on: &[SectionId], picture: &impl Picture) -> Option<Reason> {
        if let Err(reason) = self.known(train) {
            return Some(reason);
        }
        on.iter().find_map(|&section| {
            let sure = match picture.tag(section) {
                crate::door::Tag::Sure(other) => Some(other),
                _ => None,
            };
            let other = self.granted_to[section].or(sure).filter(|&other| other != train)?;
            let (name, section) = (self.name(other), &self.layout.sections[section].name);
            Some(format!(
                "`{name}` has `{section}`; hint: lift it first, if it is not there; if both are, move one out of it by hand: two \
                 trains in one section cannot be told apart"
            ))
        })
    }
}
