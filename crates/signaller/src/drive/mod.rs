//! From authority to speed steps: how far a train may go, and how fast.
//!
//! A train is taken to be where its nose can be farthest, to answer late and to brake poorly: what is not known stops it early,
//! never late. It is looked at when something changed near it, and ten times a second while it moves.
//!
//! An order may be lost on its way, so each is repeated once or twice, and a train counts as driven by the one before until then
//! (`motion.rs`). One that does not show itself where it must be by now is stopped and held (`answer.rs`).
//!
//! How fast a train really is at a speed step is learned as it runs (`learned.rs`), from passages timed from joint to joint
//! (`passage.rs`): the better that is known, the closer to its stopping point it comes to stand.
//!
//! Beside the bounds, an estimate follows where the nose most likely is (`estimate.rs`, fed by `locate.rs`), and learns from every run
//! how fast the train most likely is (`curve.rs`). Coming up to a stopping point a train is driven by that (`approach.rs`), within
//! what the bounds allow.
//!
//! A person may drive a train at a throttle of theirs, through the signaller (`cab.rs`).
//!
//! What was learned can be taken out, kept, and told again (`lessons.rs`).
//!
//! Limits: a train whose nose is only known within wide bounds stops short by as much.

mod answer;
mod approach;
mod behaviour;
#[cfg(test)]
mod behaviour_tests;
mod cab;
mod curve;
mod estimate;
mod handling;
mod learned;
mod lessons;
mod locate;
mod motion;
mod pacing;
mod passage;
mod profile;
mod reach;
mod report;
mod shown;
mod signalled;
#[cfg(test)]
mod tests;

use std::sync::Arc;
use std::time::Duration;

use smallvec::SmallVec;
use track::{DetectorKind, Id, Layout, Length, LinkId, SectionId, Speed, Table, Train, TrainId, WayId};

use crate::aspect::Signals;
use crate::door::{Direction, Output};
use crate::identity::{LATEST, Pace, SpotPassage, Whereabouts};
use crate::interlock::{Authority, Call, Creep, Interlock};
use crate::picture::Picture;
use crate::snapshot::kept;
use crate::time::Time;

use answer::Answer;
use approach::Approach;
use behaviour::Behaviour;
pub use cab::Advice;
use cab::Cab;
use estimate::Likely;
pub use handling::Handling;
pub use lessons::{Described, Lessons, Rate, SideLessons, SpeedProfile, StepSpeed, TaughtNear, TimedBand};
use locate::Locating;
use motion::{Motion, RUN_AGAIN, STOP_AGAIN};
use pacing::Pacer;
use passage::Passage;
use profile::Profile;
use reach::{CREEP, LOOK, Reach, SECTION_APPROACH};
use signalled::Signalled;

/// How every train is driven.
#[derive(Clone, Debug)]
pub struct Drive {
    layout: Arc<Layout>,
    rows: Table<TrainId, Row>,
    /// Trains that are looked at again in a while.
    moving: Vec<TrainId>,
    /// Trains whose last order is repeated in a while.
    repeating: Vec<TrainId>,
    /// Trains that stand because they may be farther than they are, and when it is known better.
    waiting: Vec<(Time, TrainId)>,
    /// What passed spots in this step.
    spots: SmallVec<[SpotPassage; 2]>,
    /// Where on each way there are spots, measured from its first end.
    spots_on: Table<WayId, SmallVec<[Length; 2]>>,
    /// What is still to be carried by each link.
    pacers: Table<LinkId, Pacer>,
}

kept!(Drive { kept: [rows, moving, repeating, waiting, pacers], parts: [], made_anew: [layout, spots, spots_on] });

#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
struct Row {
    profile: Profile,
    motion: Motion,
    locating: Locating,
    passage: Passage,
    /// The speeds that signals have set for the track it was granted.
    signalled: Signalled,
    /// What identity was told last of its speed.
    told: Option<Pace>,
    look_at: Time,
    answer: Answer,
    /// A person drives it.
    is_let_go: bool,
    /// What it covered when it started, until that changes.
    started_on: Option<SmallVec<[SectionId; 4]>>,
    /// What it does besides running.
    behaviour: Behaviour,
    /// When it was told something last.
    told_at: Option<Time>,
    /// When its last order is repeated.
    repeat_at: SmallVec<[Time; 2]>,
    /// Somebody wants it to run no faster than at this step.
    no_faster: Option<u8>,
    /// Where its nose is while it surely stands, and has stood for long, and which end that is.
    stands_in: Option<(SectionId, Direction)>,
    /// It was told to stand in an emergency.
    is_stopped_dead: bool,
    /// A person drives it at a throttle through the signaller.
    cab: Option<Cab>,
}

/// Looks at trains that start together are spread over so many turns.
const TURNS: u32 = 10;

/// A train that stands does not start for less than this, in millimetres.
const WORTH_STARTING: f64 = 40.0;

/// It is looked at again after so long at the earliest.
const SOON: Duration = Duration::from_millis(2);

/// What is wanted of a train now.
#[derive(Clone, Copy, Debug)]
struct Wish {
    step: u8,
    /// It stops because it may not go farther, not for a hold.
    is_at_its_end: bool,
    /// It has to be looked at again as soon as this.
    look_in: Option<Duration>,
    /// It stands short of the last section it may enter, because it may be farther than it most likely is.
    waits: bool,
}

const STAND: Wish = Wish { step: 0, is_at_its_end: false, look_in: None, waits: false };

impl Drive {
    /// All trains stand.
    pub fn new(layout: Arc<Layout>) -> Self {
        let rows = layout.trains.values().map(|train| Row::new(Some(train))).collect();
        let mut spots_on = Table::filled(SmallVec::new(), layout.ways.len());
        for detector in layout.detectors.values() {
            if let DetectorKind::Spot { way, from_first_end: Some(at) } = detector.kind {
                spots_on[way].push(at);
            }
        }
        let pacers = layout.links.values().map(|_| Pacer::new()).collect();
        Self {
            rows,
            layout,
            moving: Vec::new(),
            repeating: Vec::new(),
            waiting: Vec::new(),
            spots: SmallVec::new(),
            spots_on,
            pacers,
        }
    }

    /// Takes note of what passed spots in this step, and of whom that concerns.
    pub(crate) fn hear_spots(&mut self, passed: &[SpotPassage], picture: &impl Picture, interlock: &mut Interlock) {
        self.spots.clear();
        self.spots.extend_from_slice(passed);
        for spot in passed {
            if let [train] = picture.holders(self.layout.ways[spot.way].section)[..] {
                interlock.touch(train);
            }
        }
    }

    /// Whether the train surely stands, as far as it was told.
    pub fn is_at_rest(&self, train: TrainId) -> bool {
        self.rows.get(train).is_none_or(|row| row.motion.is_at_rest())
    }

    /// How far the train has run at least, and may have run at most, all in all.
    pub(crate) fn travelled(&self, train: TrainId) -> (Length, Length) {
        let motion = self.rows.get(train).map(|row| &row.motion);
        motion.map_or((Length::ZERO, Length::ZERO), |motion| (motion.surely_run(), motion.may_have_run()))
    }

    /// How much room the train needs to stop when it creeps, an order that was missed included.
    pub(crate) fn room_to_stop_creeping(&self, train: TrainId) -> Length {
        self.rows.get(train).map_or(Length::ZERO, |row| {
            let most = row.profile.most(row.profile.creep_step(CREEP));
            reach::room_to_stop(most, &row.profile) + most.distance_in(STOP_AGAIN[0] + LOOK)
        })
    }

    /// Since when a train surely stands; nothing where it may move. A train that was never told anything has always stood.
    pub(crate) fn rests_since(&self, train: TrainId) -> Option<Time> {
        self.rows.get(train).map_or_else(|| Motion::default().rests_since(), |row| row.motion.rests_since())
    }

    /// Whether any train has not shown yet that it started.
    pub(crate) fn any_unanswered(&self) -> bool {
        self.moving.iter().any(|&train| self.rows[train].started_on.is_some())
    }

    /// The trains that were told to go and still cover the same sections as when they started.
    pub(crate) fn unanswered<'a>(&'a self, now: Time, picture: &'a impl Picture) -> impl Iterator<Item = TrainId> + 'a {
        self.moving.iter().copied().filter(move |&train| {
            let row = &self.rows[train];
            let stand = picture.whereabouts(train, now);
            let on = stand.iter().flat_map(|stand| &stand.footprint).map(|hold| hold.section);
            row.motion.step > 0 && row.started_on.as_ref().is_some_and(|before| on.eq(before.iter().copied()))
        })
    }

    /// The speed step a train was told last.
    pub fn step_of(&self, train: TrainId) -> u8 {
        self.rows.get(train).map_or(0, |row| row.motion.step)
    }

    /// Reckons how fast moving trains can be by now, and names those that are due to be looked at.
    pub(crate) fn reckon(&mut self, now: Time, picture: &mut impl Picture, interlock: &mut Interlock) {
        while let Some(place) = self.waiting.iter().position(|&(at, _)| at <= now) {
            interlock.touch(self.waiting.swap_remove(place).1);
        }
        let mut place = 0;
        while let Some(&train) = self.moving.get(place) {
            let row = &mut self.rows[train];
            if row.look_at <= now {
                interlock.touch(train);
                row.motion.advance(&row.profile, now);
                row.tell(train, now, picture);
                row.look_at = now + LOOK;
                if row.motion.is_at_rest() {
                    self.moving.swap_remove(place);
                    continue;
                }
            }
            place += 1;
        }
    }

    /// Tells every train that this step has to do with how fast to go now.
    pub(crate) fn work(
        &mut self,
        now: Time,
        picture: &mut impl Picture,
        interlock: &mut Interlock,
        signals: &Signals,
        outputs: &mut Vec<Output>,
    ) {
        let layout = Arc::clone(&self.layout);
        self.repeat(now, outputs);
        while let Some(train) = interlock.next_to_stop() {
            self.stop_dead(train, now, outputs);
        }
        for place in 0..interlock.touched().len() {
            let train = interlock.touched()[place];
            if interlock.is_driven_by_hand(train) {
                self.let_go(train, picture);
                continue;
            }
            self.row(train).is_let_go = false;
            if let Some(creep) = interlock.creep(train) {
                self.creep(train, creep, now, picture, outputs);
                continue;
            }
            let Some(stand) = picture.whereabouts(train, now) else {
                self.order(train, STAND, None, now, picture, outputs);
                continue;
            };
            self.learn(train, &stand, now);
            if self.has_moved_unasked(train, &stand, now) {
                interlock.hold_for_moving(train, &stand, outputs);
            }
            self.expect_answer(train, &stand, picture, interlock, signals, outputs);
            let authority = interlock.authority(train, picture, signals);
            if let Some(authority) = &authority {
                self.look_ahead(train, authority, signals);
            }
            let call = authority.as_ref().map(|authority| authority.call);
            let wish = match authority {
                Some(authority) if stand.sure => self.wish(train, &authority, &stand),
                Some(authority) => self.wish_in_doubt(train, &authority, now, picture, interlock),
                None => STAND,
            };
            let wish = self.mind_throttle(train, wish, call, &stand, outputs);
            let wish = self.take_time(train, wish, layout.trains.get(train), now);
            if self.order(train, wish, Some(stand.leading), now, picture, outputs) {
                interlock.departed(train, outputs);
                interlock.note_who_stands(now, picture, self);
                self.row(train).started_on = Some(stand.footprint.iter().map(|hold| hold.section).collect());
            }
            self.switch(train, layout.trains.get(train), stand.leading, now, outputs);
            if wish.waits && self.is_at_rest(train) && self.waiting.iter().all(|&(_, other)| other != train) {
                self.waiting.push((now + LATEST, train));
            }
            if wish.is_at_its_end && self.is_at_rest(train) {
                interlock.stands_at_its_end(train, now, picture, outputs);
            }
        }
    }

    /// Whether a train has come to the next section though it has stood for so long that every report of how it came there is in.
    fn has_moved_unasked(&mut self, train: TrainId, stand: &Whereabouts, now: Time) -> bool {
        let row = self.row(train);
        let has_stood = row.motion.rests_since().is_some_and(|since| since + LATEST + Duration::from_secs(1) <= now);
        let is_known = stand.sure && has_stood;
        let stands_so = |section| (section, stand.leading);
        let nose = stand.footprint.last().filter(|_| is_known).map(|hold| stands_so(hold.section));
        let before = std::mem::replace(&mut row.stands_in, nose);
        let behind = stand.footprint.iter().rev().nth(1).map(|hold| stands_so(hold.section));
        before.is_some() && before != nose && before == behind
    }

    /// Times the train from joint to joint, and learns how fast it is.
    fn learn(&mut self, train: TrainId, stand: &Whereabouts, now: Time) {
        let (layout, spots) = (Arc::clone(&self.layout), self.spots.clone());
        let row = self.row(train);
        let on = stand.footprint.iter().map(|hold| hold.section);
        if row.started_on.as_ref().is_some_and(|before| !on.eq(before.iter().copied())) {
            row.started_on = None;
        }
        if let Some(timed) = row.passage.follow(&layout, stand, &row.motion, now) {
            row.profile.learn(row.motion.step, &timed);
        }
        let deviation = row.profile.deviation_of_run();
        if let Some(lesson) = row.locating.follow(&layout, stand, &row.motion, &spots, deviation, now) {
            row.profile.learn_run(&lesson);
        }
        if row.motion.is_at_rest() {
            row.profile.direction = stand.leading;
        }
    }

    /// Takes in what signals and gradients before the train make of how it may run.
    fn look_ahead(&mut self, train: TrainId, authority: &Authority<'_>, signals: &Signals) {
        let layout = Arc::clone(&self.layout);
        let row = self.row(train);
        row.signalled.look(&layout, authority, signals);
        row.profile.brake_on(reach::steepest_fall(&layout, authority));
    }

    /// Holds the train if it should have shown itself farther on by now.
    fn expect_answer(
        &mut self,
        train: TrainId,
        stand: &Whereabouts,
        picture: &impl Picture,
        interlock: &mut Interlock,
        signals: &Signals,
        outputs: &mut Vec<Output>,
    ) {
        let layout = Arc::clone(&self.layout);
        let Some(authority) = interlock.authority(train, picture, signals) else { return };
        let row = self.row(train);
        if let Some(missing) = row.answer.follow(&layout, stand, &row.motion, &authority) {
            interlock.hold_for_no_answer(train, missing.nose, missing.next, outputs);
        }
    }

    /// Drives a train that is being called: at the slowest step, whatever its authority says.
    fn creep(
        &mut self,
        train: TrainId,
        creep: Creep,
        now: Time,
        picture: &mut impl Picture,
        outputs: &mut Vec<Output>,
    ) {
        let row = self.row(train);
        if row.motion.is_at_rest() {
            row.profile.direction = creep.direction;
        }
        row.passage = Passage::default();
        row.stands_in = None;
        let step = if creep.goes { row.profile.creep_step(CREEP) } else { 0 };
        self.order(train, Wish { step, ..STAND }, Some(creep.direction), now, picture, outputs);
    }

    /// A person drives the train from now on: it gets no orders, and nothing is known of its speed.
    fn let_go(&mut self, train: TrainId, picture: &mut impl Picture) {
        let row = self.row(train);
        if std::mem::replace(&mut row.is_let_go, true) {
            return;
        }
        (row.told, row.cab) = (None, None);
        row.locating.lose();
        row.motion = Motion::default();
        row.passage = Passage::default();
        row.repeat_at.clear();
        self.moving.retain(|&other| other != train);
        self.repeating.retain(|&other| other != train);
        picture.forget_pace(train);
    }

    /// How every train that is driven was ordered to run last.
    pub(crate) fn orders(&self) -> impl Iterator<Item = Output> {
        self.rows.iter().filter(|(_, row)| !row.is_let_go).filter_map(|(train, row)| {
            let direction = row.motion.direction?;
            Some(Output::Drive { train, direction, step: row.motion.step })
        })
    }

    /// Says again what was ordered a while ago, in case it was lost.
    fn repeat(&mut self, now: Time, outputs: &mut Vec<Output>) {
        let mut place = 0;
        while let Some(&train) = self.repeating.get(place) {
            let is_due = self.rows[train].repeat_at.first().is_some_and(|&at| at <= now);
            if is_due && self.may_repeat(train, now) {
                self.note_told(train, now);
                let row = &mut self.rows[train];
                row.repeat_at.remove(0);
                let direction = row.motion.direction.unwrap_or(Direction::Forward);
                if row.is_stopped_dead {
                    outputs.push(Output::EmergencyStop { train });
                }
                outputs.push(Output::Drive { train, direction, step: row.motion.step });
            } else if is_due {
                self.rows[train].repeat_at[0] = now + LOOK;
            }
            if self.rows[train].repeat_at.is_empty() {
                self.repeating.swap_remove(place);
            } else {
                place += 1;
            }
        }
    }

    /// The step at which a train should go that is in doubt: the least that any account allows.
    fn wish_in_doubt(
        &self,
        train: TrainId,
        authority: &Authority<'_>,
        now: Time,
        picture: &impl Picture,
        interlock: &Interlock,
    ) -> Wish {
        let mut least: Option<Wish> = None;
        for stand in picture.possible_whereabouts(train, now) {
            let Some(authority) = interlock.authority_in_doubt(train, authority, &stand, picture) else { return STAND };
            let wish = self.wish(train, &authority, &stand);
            if least.is_none_or(|least| wish.step < least.step) {
                least = Some(wish);
            }
        }
        least.unwrap_or(STAND)
    }

    /// The step at which the train should go now.
    fn wish(&self, train: TrainId, authority: &Authority<'_>, stand: &Whereabouts) -> Wish {
        let Some(row) = self.rows.get(train) else { return STAND };
        let (profile, step) = (&row.profile, row.motion.step);
        let layout = &self.layout;
        if authority.call == Call::Stand {
            return STAND;
        }
        if authority.call == Call::Brake {
            let slower = profile.nominal(step) - Speed::from_um(profile.braking.scaled(1, 10).um());
            return Wish { step: profile.step_within(slower.max(Speed::ZERO)).min(step.saturating_sub(1)), ..STAND };
        }
        let late = self.told_late(train);
        let creep = profile.creep_step(CREEP);
        let slow = if authority.call == Call::Creep { profile.nominal(creep) } else { Speed::MAX };
        let limit = reach::limit(layout, authority, stand, profile, (&row.signalled, late)).min(slow);
        let close = self.approach(row, authority, late);
        let reach = match close {
            Some((_, likely)) => reach::to_end(layout, authority, stand, &likely, profile),
            None => reach::reach(layout, authority, stand, profile),
        };
        let allowed = match reach {
            Reach::Measured(room) => {
                let before = reach::speed_before_late(room, Speed::ZERO, profile, late);
                let by_room = profile.step_within(limit.min(before));
                let to_creep = reach::room_to_stop(profile.most(creep), profile);
                // A train that stands does not start again for a few millimetres.
                let worth_it = if step == 0 { to_creep + to_creep + Length::from_mm(10) } else { to_creep };
                if room < worth_it { 0 } else { by_room.max(creep) }
            }
            Reach::Sections(0) => 0,
            Reach::Sections(1) => profile.step_within(limit.min(SECTION_APPROACH)).max(creep),
            Reach::Sections(_) => profile.step_within(limit).max(1),
        };
        let (close, look_in) = close.map_or((u8::MAX, None), |(close, _)| (close.step, close.look_in));
        let allowed = allowed.min(close).min(row.no_faster.unwrap_or(u8::MAX));
        if allowed > step {
            let turn = LOOK.max(self.round(train)).as_millis() as i64;
            let gained = Speed::from_um(profile.acceleration.scaled(turn, 1000).um());
            let step = allowed.min(profile.step_up(step, profile.nominal(step) + gained));
            return Wish { step, is_at_its_end: false, look_in, waits: false };
        }
        let waits = allowed == 0 && authority.nose + 1 < authority.end;
        Wish { step: allowed, is_at_its_end: allowed == 0, look_in, waits }
    }

    /// How the train comes up to its stopping point; nothing where it has none, or nobody can tell where it is.
    fn approach(&self, row: &Row, authority: &Authority<'_>, late: Duration) -> Option<(Approach, Likely)> {
        let to_point = reach::to_stopping_point(&self.layout, authority).filter(|_| authority.call == Call::Go)?;
        let likely = row.locating.likely()?;
        let to_point = to_point.mm() - likely.place;
        let way = approach::Way {
            to_point,
            to_report: self.to_report(row, authority),
            room: row.locating.room_to_stand(),
            late: late.as_secs_f64(),
            brakes: row.locating.ramps().loses,
        };
        let close = approach::approach(&likely, way, &row.profile);
        // A train that stands does not start again for a few millimetres.
        let is_worth_it = row.motion.step > 0 || to_point > WORTH_STARTING;
        Some((if is_worth_it { close } else { Approach { step: 0, look_in: None } }, likely))
    }

    /// How far the nose of a train runs until it is next heard of before its stopping point, by a spot in the section of that or
    /// by the last joint before it.
    fn to_report(&self, row: &Row, authority: &Authority<'_>) -> Option<f64> {
        let nose = authority.granted.get(authority.nose)?;
        if authority.nose + 1 < authority.end {
            let mut ahead = -row.locating.likely()?.place;
            for passage in authority.granted.range(authority.nose..authority.end - 1) {
                ahead += self.layout.ways[passage.way].length?.mm();
            }
            return Some(ahead);
        }
        let way = &self.layout.ways[nose.way];
        let length = way.length?;
        let at = |from_first_end: Length| {
            let at = if nose.enter == way.ends[0] { from_first_end } else { length - from_first_end };
            row.locating.to_spot(at.mm())
        };
        self.spots_on[nose.way].iter().filter_map(|&spot| at(spot)).min_by(f64::total_cmp)
    }

    /// Tells the train its step if that is another than before; tells whether it starts with that.
    fn order(
        &mut self,
        train: TrainId,
        wish: Wish,
        leading: Option<Direction>,
        now: Time,
        picture: &mut impl Picture,
        outputs: &mut Vec<Output>,
    ) -> bool {
        let row = self.row(train);
        let before = row.motion.step;
        let direction = match leading {
            // A moving train is never told to go the other way.
            Some(leading) if row.motion.is_at_rest() => leading,
            _ => row.motion.direction.or(leading).unwrap_or(Direction::Forward),
        };
        if leading.is_some_and(|leading| leading != direction) && wish.step > 0 {
            return self.order(train, STAND, None, now, picture, outputs);
        }
        // A train that gathers speed does so only when it is looked at in turn, or it would gather it too quickly.
        if wish.step > before && before > 0 && row.look_at != now + LOOK {
            return false;
        }
        if wish.step != before
            && let Err(at) = self.may_tell(train, wish.step, now)
        {
            self.look_again(train, at);
            return false;
        }
        let row = self.row(train);
        if wish.step != before {
            row.motion.order(wish.step, direction, &row.profile, now);
            row.locating.order(now, row.profile.likely(wish.step), row.profile.share(wish.step));
            outputs.push(Output::Drive { train, direction, step: wish.step });
            self.note_told(train, now);
            let row = self.row(train);
            row.behaviour.note_step(wish.step, now);
            row.is_stopped_dead = false;
            row.repeat_at.clear();
            match wish.step {
                0 => row.repeat_at.extend(STOP_AGAIN.map(|after| now + after)),
                _ => row.repeat_at.push(now + RUN_AGAIN),
            }
            if !self.repeating.contains(&train) {
                self.repeating.push(train);
            }
            if before == 0 && !self.moving.contains(&train) {
                self.moving.push(train);
                // Trains that start together are looked at one after the other, not all in one step.
                self.rows[train].look_at = now + LOOK * (1 + train.index() as u32 % TURNS) / TURNS;
            }
        }
        let row = &mut self.rows[train];
        if let Some(look_in) = wish.look_in.filter(|_| wish.step > 0) {
            row.look_at = row.look_at.min(now + look_in.max(SOON));
        }
        if leading.is_some() {
            row.tell(train, now, picture);
        }
        before == 0 && wish.step > 0
    }

    /// Lets a train stand as soon as it can, whatever it was told before. One that the signaller drives counts as braking in the
    /// ordinary way: it stands no later.
    pub(crate) fn stop_dead(&mut self, train: TrainId, now: Time, outputs: &mut Vec<Output>) {
        outputs.push(Output::EmergencyStop { train });
        self.note_told(train, now);
        let row = self.row(train);
        let direction = row.motion.direction.unwrap_or(Direction::Forward);
        // Where nobody knows how to stop it as quickly as that, it brakes at least.
        outputs.push(Output::Drive { train, direction, step: 0 });
        if row.is_let_go {
            return;
        }
        row.motion.order(0, direction, &row.profile, now);
        // How it comes to stand now is not how its decoder brakes.
        row.locating.lose();
        row.passage = Passage::default();
        row.behaviour.note_step(0, now);
        row.is_stopped_dead = true;
        row.repeat_at.clear();
        row.repeat_at.extend(STOP_AGAIN.map(|after| now + after));
        if !self.repeating.contains(&train) {
            self.repeating.push(train);
        }
        if !self.moving.contains(&train) && !self.rows[train].motion.is_at_rest() {
            self.moving.push(train);
        }
    }

    /// A train is looked at again at that time, whatever is heard until then.
    fn look_again(&mut self, train: TrainId, at: Time) {
        if self.moving.contains(&train) {
            let row = self.row(train);
            row.look_at = row.look_at.min(at);
        } else {
            match self.waiting.iter_mut().find(|(_, other)| *other == train) {
                Some((known, _)) => *known = at.min(*known),
                None => self.waiting.push((at, train)),
            }
        }
    }

    fn row(&mut self, train: TrainId) -> &mut Row {
        while self.rows.len() <= train.index() {
            self.rows.push(Row::new(None));
        }
        &mut self.rows[train]
    }

    /// The train counts as told this step, and as standing if that is 0.
    #[cfg(test)]
    pub(crate) fn pretend(&mut self, train: TrainId, step: u8) {
        self.row(train).motion.step = step;
    }

    /// The train is made of other vehicles from now on.
    pub(crate) fn make_up(&mut self, train: TrainId, described: &Train) {
        let row = self.row(train);
        row.profile.blind = described.blind_front().max(described.blind_rear());
        row.locating.make_up(described);
    }

    pub(crate) fn wake_at(&self) -> Option<Time> {
        let looks = self.moving.iter().map(|&train| self.rows[train].look_at);
        let repeats = self.repeating.iter().filter_map(|&train| self.rows[train].repeat_at.first().copied());
        let waits = self.waiting.iter().map(|&(at, _)| at);
        looks.chain(repeats).chain(waits).min()
    }
}

impl Row {
    fn new(train: Option<&Train>) -> Self {
        let profile = Profile::new(train);
        Self {
            locating: Locating::new(train, profile.momentum()),
            profile,
            motion: Motion::default(),
            passage: Passage::default(),
            signalled: Signalled::default(),
            told: None,
            look_at: Time::ZERO,
            answer: Answer::default(),
            is_let_go: false,
            started_on: None,
            behaviour: Behaviour::default(),
            told_at: None,
            repeat_at: SmallVec::new(),
            no_faster: None,
            stands_in: None,
            is_stopped_dead: false,
            cab: None,
        }
    }

    /// Tells identity how fast the train can be, if that is news.
    fn tell(&mut self, train: TrainId, now: Time, picture: &mut impl Picture) {
        let pace = self.motion.pace();
        if self.told.replace(pace) != Some(pace) {
            picture.set_pace(train, now, pace);
        }
    }
}
