//! The roll call: one train is moved a little, and which section answers says where it is.
//!
//! What must hold under every account of the train that counts for anything: the section ahead of where it would stand has a
//! detector that says free, nobody has it or may be in it, and its turnouts lie right or may be thrown. All of these sections
//! are granted to it together, before it moves. Nothing else runs towards them meanwhile, and nothing fills elsewhere of which it
//! is not sure what it is, or the call ends. It creeps until one of them fills, or as far as it may under the account that leaves it
//! the least room; then it goes back by no more than it surely went out, and gives back what it was granted, but for what it may
//! still reach into. Where it is told by a section that it leaves, it stays.
//!
//! Deliberately not done: two trains are never moved at once, and a train that is out of sight under every account is not moved
//! at all.

mod prepare;

use std::time::Duration;

use smallvec::SmallVec;
use track::{Length, SectionId, TrainId, Traverse};

use super::exchange::{AT_REST, filled_unexplained};
use super::orders::Reason;
use super::{HoldKind, Interlock};
use crate::aspect::Signals;
use crate::door::{Direction, Fact, Output, Tag};
use crate::drive::Drive;
use crate::identity::Whereabouts;
use crate::picture::Picture;
use crate::signaller::Changes;
use crate::time::Time;

/// What settles a doubt counts as the answer of the train that is called once it may have run so far.
const ANSWERS_AFTER: Length = Length::from_mm(20);

/// Turnouts have so long to lie right, and a train to show itself.
const SETTING: Duration = Duration::from_secs(10);
const CREEPING: Duration = Duration::from_secs(180);
/// A train that is called is looked at so often.
const LOOK: Duration = Duration::from_millis(200);

/// A train that goes back after a call keeps so far from the end of what it is seen in. Common practice, no source.
const SHORT: Length = Length::from_mm(50);

/// A train is called only after it was not seen to move untold for so long. Common practice, no source.
const STANDS_STILL: Duration = Duration::from_secs(20);

/// What filled so long ago has filled in this step.
const JUST_NOW: Duration = Duration::from_millis(1);

/// A roll call under way.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct RollCall {
    train: TrainId,
    /// Which way it goes out.
    direction: Direction,
    phase: Phase,
    /// How far its nose may go out at most.
    room: Length,
    /// When this phase is given up.
    until: Time,
    /// How far the train had run, at least and at most, when this phase began.
    from: (Length, Length),
    /// Whether accounts differed in where it stands when it was called.
    had_choices: bool,
    /// The sections in which it may be as long as it is called: where it may have stood, and where it may show itself.
    may_be_in: SmallVec<[SectionId; 8]>,
    /// The sections in which it may show itself: all of them were free when it was called.
    asked: SmallVec<[SectionId; 4]>,
    /// The sections that it was granted for this call, beside what it had.
    granted: SmallVec<[SectionId; 4]>,
    /// The section that filled, or in which it surely is by what else was heard.
    answered: Option<SectionId>,
    /// Holds that were lifted for the call.
    lifted: SmallVec<[HoldKind; 4]>,
    /// Somebody said where it stands: the call means nothing any more.
    is_void: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
enum Phase {
    /// Turnouts are thrown.
    Setting,
    Out,
    /// It comes to stand, to go back from there.
    Turning,
    Back,
    /// It comes to stand, and that is all.
    Ending,
}

impl RollCall {
    /// Whether the train may be where it was not let go: then it is not where it was thought to be.
    fn is_elsewhere(&self, stands: &[Whereabouts]) -> bool {
        let mut noses = stands.iter().filter_map(|stand| stand.footprint.last());
        noses.any(|nose| !self.may_be_in.contains(&nose.section))
    }

    /// A section away from the train that has filled in this step, and nobody is sure by whom: it may be the one that is called.
    fn filled_in_doubt(&self, changes: &Changes, picture: &impl Picture, now: Time) -> Option<SectionId> {
        let is_in_doubt = |section: SectionId| matches!(picture.tag(section), Tag::Doubt(_));
        changes.sections.iter().copied().find(|&section| {
            !self.may_be_in.contains(&section)
                && is_in_doubt(section)
                && picture.has_filled_since(section, now - JUST_NOW)
        })
    }
}

/// The sections that a train covers if it stands in one of these ways.
fn sections_of(stands: &[Whereabouts]) -> impl Iterator<Item = SectionId> + '_ {
    stands.iter().flat_map(|stand| &stand.footprint).map(|hold| hold.section)
}

/// How the called train is to be driven.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Creep {
    pub(crate) direction: Direction,
    /// Whether it goes, or stands.
    pub(crate) goes: bool,
}

impl Interlock {
    /// The first of some trains that could be called once they stand; nothing where none can.
    pub fn roll_call_candidate(
        &self,
        trains: &[TrainId],
        now: Time,
        picture: &impl Picture,
        signals: &Signals,
    ) -> Option<TrainId> {
        trains.iter().copied().find(|&train| self.prepare_either_way(train, now, picture, signals).is_ok())
    }

    /// Calls a train, or the first that can be called of all that are in doubt.
    ///
    /// # Errors
    ///
    /// If it cannot be moved safely under every account, or there is nothing to find out.
    pub(crate) fn begin_roll_call(
        &mut self,
        train: Option<TrainId>,
        now: Time,
        picture: &impl Picture,
        (drive, signals): (&Drive, &Signals),
        outputs: &mut Vec<Output>,
    ) -> Result<(), Reason> {
        let train = match train {
            Some(train) => train,
            None => self.choose(now, picture, signals)?,
        };
        self.known(train)?;
        if drive.is_at_throttle(train) {
            return Err(format!("`{}` is driven at a throttle; hint: hand it back first", self.name(train)));
        }
        let (direction, mut preparation) = self.prepare_either_way(train, now, picture, signals)?;
        let stands = picture.possible_whereabouts(train, now);
        for stand in &stands {
            for other in stand.footprint.iter().flat_map(|hold| picture.holders(hold.section)) {
                if !drive.is_at_rest(other) {
                    return Err(format!("`{}` must stand first", self.name(other)));
                }
            }
        }
        self.has_stood_still(train, now, picture, drive)?;
        let asked: SmallVec<[SectionId; 4]> = preparation.ahead.iter().map(|passage| passage.section).collect();
        if let Some(other) = self.another_comes(train, &asked, now, picture, drive) {
            return Err(format!("`{}` must stand first", self.name(other)));
        }
        // What it has from a call before is not granted to it twice.
        preparation.ahead.retain(|passage| !self.runs[train].lent.contains(passage));
        for &passage in &preparation.ahead {
            self.granted_to[passage.section] = Some(train);
            self.regranted.push(passage.section);
            for need in self.layout.ways[passage.way].needs.clone() {
                self.turnouts.throw(need.turnout, need.lie, now, outputs);
            }
            self.turnouts.lock(passage.way, train);
        }
        let granted = preparation.ahead.iter().map(|passage| passage.section).collect();
        self.runs[train].lent.extend(preparation.ahead);
        self.roll_call = Some(RollCall {
            train,
            direction,
            phase: Phase::Setting,
            room: preparation.room.unwrap_or(Length::ZERO),
            until: now + SETTING,
            from: (Length::ZERO, Length::ZERO),
            had_choices: stands.len() > 1,
            may_be_in: sections_of(&stands).chain(asked.iter().copied()).collect(),
            asked,
            granted,
            answered: None,
            lifted: SmallVec::new(),
            is_void: false,
        });
        self.touch(train);
        Ok(())
    }

    /// Fails if the train was seen to move just now though it stands by all it was told: nobody knows then who does that, or where it
    /// will be when it is called.
    fn has_stood_still(&self, train: TrainId, now: Time, picture: &impl Picture, drive: &Drive) -> Result<(), Reason> {
        let Some(at_rest) = drive.rests_since(train).map(|since| since + AT_REST) else { return Ok(()) };
        let since = at_rest.max(now - STANDS_STILL);
        let stands = picture.possible_whereabouts(train, now);
        let mut holds = stands.iter().flat_map(|stand| &stand.footprint);
        match holds.any(|hold| picture.has_filled_since(hold.section, since)) {
            true => Err(format!("`{}` moves, though it was told to stand", self.name(train))),
            false => Ok(()),
        }
    }

    fn choose(&self, now: Time, picture: &impl Picture, signals: &Signals) -> Result<TrainId, Reason> {
        let doubted = |&train: &TrainId| picture.whereabouts(train, now).is_some_and(|stand| !stand.sure);
        let doubted: SmallVec<[TrainId; 8]> = self.runs.ids().filter(doubted).collect();
        let &first = doubted.first().ok_or("it is sure where every train stands")?;
        match self.roll_call_candidate(&doubted, now, picture, signals) {
            Some(train) => Ok(train),
            None => self.prepare_either_way(first, now, picture, signals).map(|_| first),
        }
    }

    /// How the train is to be driven if it is being called.
    pub(crate) fn creep(&self, train: TrainId) -> Option<Creep> {
        let call = self.roll_call.as_ref().filter(|call| call.train == train && call.phase != Phase::Setting)?;
        let direction = if call.phase == Phase::Back { call.direction.other() } else { call.direction };
        Some(Creep { direction, goes: matches!(call.phase, Phase::Out | Phase::Back) })
    }

    /// Whether the train is being called, or about to be.
    pub(super) fn is_called(&self, train: TrainId) -> bool {
        self.roll_call.as_ref().is_some_and(|call| call.train == train)
    }

    /// Fails if the train is being called.
    pub(crate) fn not_called(&self, train: TrainId) -> Result<(), Reason> {
        if self.is_called(train) { Err(format!("`{}` is being called", self.name(train))) } else { Ok(()) }
    }

    /// Somebody said where the train stands, or that it does not: if it is being called, it comes to stand, and that is all.
    pub(super) fn void_roll_call(&mut self, train: TrainId) {
        if let Some(call) = self.roll_call.as_mut().filter(|call| call.train == train) {
            call.is_void = true;
            if call.phase != Phase::Setting {
                call.phase = Phase::Ending;
            }
        }
    }

    /// Takes the roll call a step further.
    pub(super) fn work_roll_call<P: Picture>(
        &mut self,
        now: Time,
        picture: &mut P,
        (drive, changes): (&Drive, &Changes),
        outputs: &mut Vec<Output>,
    ) {
        let Some((train, phase)) = self.roll_call.as_ref().map(|call| (call.train, call.phase)) else { return };
        let another_moves =
            phase == Phase::Out && self.moves_in_its_stead(train, now, picture, (drive, changes), outputs);
        let Some(mut call) = self.roll_call.take() else { return };
        let is_elsewhere = phase == Phase::Out && call.is_elsewhere(&picture.possible_whereabouts(train, now));
        if is_elsewhere {
            self.stop_dead(train);
        }
        let another_comes =
            || phase == Phase::Out && self.another_comes(train, &call.asked, now, picture, drive).is_some();
        let is_mistaken = is_elsewhere || another_moves || another_comes();
        let stopped = self.everything_stopped || self.runs[train].must_stand;
        let is_held = stopped
            || call.is_void
            || self.hold_kinds(train).any(|kind| !kind.is_doubt() || call.phase != Phase::Setting);
        // What fills now, and no train explains it, may be the one that is called: then it is not where it is thought to be.
        let is_looked_for = call.phase != Phase::Setting && call.answered.is_none();
        let elsewhere = filled_unexplained(outputs).or_else(|| call.filled_in_doubt(changes, picture, now));
        let elsewhere = elsewhere.filter(|_| is_looked_for);
        if let Some(section) = elsewhere {
            self.stop_dead(train);
            self.hold_for_unknown(train, section, now, picture, outputs);
        }
        if is_held || is_mistaken || elsewhere.is_some() || !self.may_go_on(&call, picture) {
            if call.phase == Phase::Setting {
                return self.end_roll_call(&call, now, picture, outputs);
            }
            call.phase = Phase::Ending;
        }
        let travelled = drive.travelled(train);
        match call.phase {
            Phase::Setting if self.runs[train].lent.iter().all(|passage| self.turnouts.way_lies(passage.way)) => {
                self.send_out(&mut call, now, picture, outputs);
                call.from = travelled;
            }
            Phase::Setting if call.until <= now => return self.end_roll_call(&call, now, picture, outputs),
            Phase::Out => self.look_for_answer(&mut call, now, picture, drive),
            Phase::Turning if drive.is_at_rest(train) => {
                // Where its end that nobody sees lay before, nobody granted it.
                let back = (travelled.0 - call.from.0 - self.blind(train)).max(Length::ZERO);
                call.room = back.min(self.room_behind(train, now, picture));
                (call.from, call.until, call.phase) = (travelled, now + CREEPING, Phase::Back);
                picture.face(train, call.direction.other(), now);
            }
            Phase::Back => {
                let gone = travelled.1 - call.from.1 + drive.room_to_stop_creeping(train);
                if gone >= call.room || call.until <= now {
                    call.phase = Phase::Ending;
                }
            }
            Phase::Ending if drive.is_at_rest(train) => return self.end_roll_call(&call, now, picture, outputs),
            Phase::Setting | Phase::Turning | Phase::Ending => {}
        }
        self.look_within(train, now + LOOK);
        self.touch(train);
        self.roll_call = Some(call);
    }

    /// The train is on its way out: whether some section has told where it is, or it has gone far enough.
    fn look_for_answer<P: Picture>(&self, call: &mut RollCall, now: Time, picture: &mut P, drive: &Drive) {
        let train = call.train;
        let stands = picture.possible_whereabouts(train, now);
        let is_shown = || stands.iter().any(|stand| stand.footprint.iter().any(|hold| self.shows(hold)));
        let settled = stands.first().filter(|_| call.had_choices && stands.len() == 1 && is_shown());
        let settled = settled.and_then(|stand| stand.footprint.last().map(|hold| hold.section));
        let filled = call.asked.iter().copied().find(|&section| picture.is_occupied(section));
        call.answered = filled.or(settled);
        let travelled = drive.travelled(train).1 - call.from.1;
        // What settles it before it can have moved is no answer of its own: it may yet be another train.
        if let Some(section) = call.answered
            && travelled >= ANSWERS_AFTER
        {
            picture.has_answered(train, section);
        }
        let gone = travelled + drive.room_to_stop_creeping(train);
        if filled.is_none() && (settled.is_some() || !is_shown()) {
            // What told was a section that it left: back there it would be in doubt again. And where it is out of sight
            // nobody knows how far it is.
            call.phase = Phase::Ending;
        } else if call.answered.is_some() || gone >= call.room || call.until <= now {
            call.phase = Phase::Turning;
        }
    }

    /// Whether what the train was granted for the call is still as it must be.
    fn may_go_on(&self, call: &RollCall, picture: &impl Picture) -> bool {
        let lent = &self.runs[call.train].lent;
        let is_good = |passage: &Traverse| {
            let others = picture.holders(passage.section).iter().any(|&other| other != call.train);
            !others && !picture.is_frozen(passage.section)
        };
        let lies = |passage: &Traverse| call.phase == Phase::Setting || self.turnouts.way_lies(passage.way);
        lent.iter().all(|passage| is_good(passage) && lies(passage))
    }

    /// How far a train whose nose has just come over a joint can go back without leaving the sections in which it is seen.
    fn room_behind(&self, train: TrainId, now: Time, picture: &impl Picture) -> Length {
        let shortest = |section: SectionId| {
            let lengths = self.layout.sections[section].ways.iter().map(|&way| self.layout.ways[way].length);
            lengths.reduce(|one, other| Some(one?.min(other?))).flatten()
        };
        let room = || {
            let stand = picture.whereabouts(train, now).filter(|stand| stand.sure)?;
            let (_, behind) = stand.footprint.split_last()?;
            let seen: Length = behind.iter().map(|hold| shortest(hold.section)).sum::<Option<Length>>()?;
            Some(seen - self.train_length(train)? - SHORT)
        };
        room().unwrap_or(Length::ZERO).max(Length::ZERO)
    }

    fn send_out<P: Picture>(&mut self, call: &mut RollCall, now: Time, picture: &mut P, outputs: &mut Vec<Output>) {
        let train = call.train;
        if !call.granted.is_empty() {
            outputs.push(Output::Fact(Fact::RouteSet { train, sections: call.granted.to_vec() }));
        }
        outputs.push(Output::Fact(Fact::RollCallBegan { train }));
        call.lifted = self.hold_kinds(train).filter(|&kind| kind.is_doubt()).collect();
        for place in 0..call.lifted.len() {
            self.lift_hold(train, call.lifted[place], outputs);
        }
        picture.face(train, call.direction, now);
        // Only its answer tells from now on where it is: whatever else moves meanwhile may be another.
        picture.suspect_unknown(train);
        (call.phase, call.until) = (Phase::Out, now + CREEPING);
    }

    /// It is over: what identity makes of it counts from now on, and the train is held again if it is still in doubt.
    fn end_roll_call<P: Picture>(&mut self, call: &RollCall, now: Time, picture: &mut P, outputs: &mut Vec<Output>) {
        let train = call.train;
        if call.phase != Phase::Setting {
            if !call.is_void {
                picture.face(train, call.direction, now);
            }
            let stand = picture.whereabouts(train, now);
            let sure = stand.as_ref().is_some_and(|stand| stand.sure);
            let stands_in = stand.and_then(|stand| stand.footprint.last().map(|hold| hold.section));
            let found = call.answered.map(|answered| stands_in.filter(|_| sure).unwrap_or(answered));
            outputs.push(Output::Fact(Fact::RollCallEnded { train, found }));
            if sure && call.answered.is_some() && !call.is_void {
                self.forget_no_answer(train);
            }
            self.runs[train].was_called_in_vain = call.answered.is_none() && !call.is_void;
            let again = call.lifted.iter().filter(|&&kind| kind != HoldKind::Doubt && kind != HoldKind::Astray);
            for &kind in again.filter(|_| !call.is_void && (!sure || call.answered.is_none())) {
                self.set_hold(train, kind, "a roll call did not settle where it stands".to_owned(), outputs);
            }
        }
        for train in self.runs.ids() {
            self.touch(train);
        }
        self.is_stirred = true;
    }

    /// Gives back what was granted to a train beside its path, unless it may be there or reach into it.
    pub(super) fn give_back_lent(
        &mut self,
        train: TrainId,
        now: Time,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) {
        if self.runs[train].lent.is_empty() || self.is_called(train) {
            return;
        }
        let stands = picture.possible_whereabouts(train, now);
        let grounds: Vec<_> = stands.iter().map(|stand| self.ground(stand)).collect();
        let mut place = 0;
        while let Some(&passage) = self.runs[train].lent.get(place) {
            let reaches = grounds.iter().any(|ground| {
                ground.as_ref().is_none_or(|ground| ground.passages.iter().any(|it| it.section == passage.section))
            });
            // What it has on its path it has anyway.
            let is_on_its_path = self.runs[train].granted.iter().any(|own| own.way == passage.way);
            if !is_on_its_path && (reaches || picture.holders(passage.section).contains(&train)) {
                place += 1;
            } else {
                self.runs[train].lent.remove(place);
                self.give_back(train, passage, outputs);
            }
        }
    }
}
