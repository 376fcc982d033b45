//! Trains that a person drives at a throttle through the signaller.
//!
//! The track such a train needs is granted to it like to any other. How fast it goes the person says: they are told what the
//! next signal shows, how far it is to where the train must stand and how fast to be now, with a moment to spare for somebody
//! who has to read that and turn a knob. Where they let it be kept back, it never gets a higher step than it would if nobody
//! drove it; where they do not, it may pass the end of its authority, and is stopped then like one that went astray.
//!
//! Whoever drives, a train that is held stands, and one that is not surely where it is thought to be is kept back.

use std::time::Duration;

use track::{Aspect, Length, SignalId, Speed, TrainId};

use super::reach::{self, CREEP, Reach, SECTION_APPROACH};
use super::{Drive, Row, WORTH_STARTING, Wish};
use crate::aspect::Signals;
use crate::door::{Direction, Fact, Output, Protection};
use crate::identity::Whereabouts;
use crate::interlock::{Authority, Call, Interlock};
use crate::picture::Picture;
use crate::time::Time;

/// How long a person takes to do what they are told. Common practice, no source.
const PERSON_TAKES: Duration = Duration::from_millis(1000);

/// And how long where they creep up to a point and wait for the word to stand.
const PERSON_STOPS: Duration = Duration::from_millis(400);
const STOPS: f64 = 0.4;

/// What a person wants of a train that they drive.
#[derive(Clone, Copy, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Cab {
    protection: Protection,
    direction: Direction,
    step: u8,
    /// They were told that it is kept back, since they set the throttle last.
    is_told: bool,
}

/// How a person should drive a train now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Advice {
    /// Whether it is braked if they do not do so.
    pub protection: Protection,
    /// How the throttle is set: which way, as the train sees it, and at which step.
    pub set: (Direction, u8),
    /// Which way the train may go, as it sees it; nothing where nobody is sure where it stands.
    pub leading: Option<Direction>,
    /// The next signal on its way, and what it shows.
    pub signal: Option<(SignalId, Aspect)>,
    /// How far it is to where its nose must stand; nothing where that is not known.
    pub to_stand: Option<Length>,
    /// How fast to be now at most,
    pub speed: Speed,
    /// and the step for that.
    pub step: u8,
}

impl Drive {
    /// Whether a person drives the train through the signaller.
    pub fn is_at_throttle(&self, train: TrainId) -> bool {
        self.rows.get(train).is_some_and(|row| row.cab.is_some())
    }

    /// A person drives the train from now on, or says anew whether it is to be kept back.
    pub(crate) fn take_throttle(&mut self, train: TrainId, protection: Protection) {
        let row = self.row(train);
        let fresh = Cab { protection, direction: row.profile.direction, step: 0, is_told: false };
        row.cab = Some(row.cab.map_or(fresh, |cab| Cab { protection, ..cab }));
    }

    /// The person sets the throttle.
    pub(crate) fn set_throttle(&mut self, train: TrainId, direction: Direction, step: u8) -> Result<(), String> {
        let row = self.row(train);
        let highest = row.profile.described().steps;
        let Some(cab) = &mut row.cab else {
            return Err("is not driven at a throttle; hint: take it first".to_owned());
        };
        if step > highest {
            return Err(format!("has no speed step {step}; hint: name one from 0 to {highest}"));
        }
        *cab = Cab { direction, step, is_told: false, ..*cab };
        Ok(())
    }

    /// Nobody drives the train any more but the signaller. Tells whether somebody did.
    pub(crate) fn give_throttle_back(&mut self, train: TrainId) -> bool {
        self.rows.get(train).is_some() && self.row(train).cab.take().is_some()
    }

    /// What becomes of what is wanted of a train where a person drives it; `call` is what is asked of it.
    pub(super) fn mind_throttle(
        &mut self,
        train: TrainId,
        wish: Wish,
        call: Option<Call>,
        stand: &Whereabouts,
        outputs: &mut Vec<Output>,
    ) -> Wish {
        let row = self.row(train);
        let Some(cab) = row.cab else { return wish };
        let asked = if cab.direction == stand.leading { cab.step } else { 0 };
        let is_free = cab.protection == Protection::Off && stand.sure;
        let may = match call {
            Some(Call::Go | Call::Brake) if is_free => row.no_faster.unwrap_or(u8::MAX),
            _ => wish.step,
        };
        let reason = match call {
            _ if cab.step == 0 => None,
            Some(Call::Stand) => None,
            None => Some("nothing is granted to it; send it somewhere first".to_owned()),
            Some(_) if cab.direction != stand.leading => {
                let way = if stand.leading == Direction::Forward { "forward" } else { "backward" };
                Some(format!("it may go {way} only; to turn it, send it there"))
            }
            // One that gathers speed gets there by itself.
            Some(_) if asked <= may || may > row.motion.step => None,
            Some(_) if may == 0 => Some("it must stand here".to_owned()),
            Some(_) => Some(format!("it may run at step {may} here")),
        };
        if let (Some(reason), Some(cab)) = (reason, row.cab.as_mut().filter(|cab| !cab.is_told)) {
            cab.is_told = true;
            outputs.push(Output::Fact(Fact::KeptBack { train, reason }));
        }
        let step = asked.min(may);
        Wish { step, is_at_its_end: wish.is_at_its_end && step == 0, waits: wish.waits && asked > 0, ..wish }
    }

    /// How a person should drive a train that they drive through the signaller; nothing of other trains.
    pub(crate) fn advice(
        &self,
        train: TrainId,
        now: Time,
        picture: &impl Picture,
        interlock: &Interlock,
        signals: &Signals,
    ) -> Option<Advice> {
        let row = self.rows.get(train)?;
        let Cab { protection, direction, step, .. } = row.cab?;
        let set = (direction, step);
        let mut advice =
            Advice { protection, set, leading: None, signal: None, to_stand: None, speed: Speed::ZERO, step: 0 };
        let Some(stand) = picture.whereabouts(train, now).filter(|stand| stand.sure) else { return Some(advice) };
        advice.leading = Some(stand.leading);
        let Some(authority) = interlock.authority(train, picture, signals) else { return Some(advice) };
        let ahead = authority.granted.range(authority.nose..);
        let signal = ahead.filter_map(|passage| self.layout.main_signal(passage.leave)).next();
        advice.signal = signal.map(|signal| (signal, signals.shows(signal)));
        if matches!(authority.call, Call::Go | Call::Creep) {
            let (step, to_stand) = self.advised(row, &authority, &stand);
            advice.step = step.min(row.no_faster.unwrap_or(u8::MAX));
            advice.speed = row.profile.nominal(advice.step);
            advice.to_stand = to_stand;
        }
        Some(advice)
    }

    /// The highest step for somebody who takes a moment to do what they are told, and how far it is to where the nose must stand.
    fn advised(&self, row: &Row, authority: &Authority<'_>, stand: &Whereabouts) -> (u8, Option<Length>) {
        let (layout, profile) = (&self.layout, &row.profile);
        let creep = profile.creep_step(CREEP);
        let slow = if authority.call == Call::Creep { profile.nominal(creep) } else { Speed::MAX };
        let limit = reach::limit(layout, authority, stand, profile, (&row.signalled, PERSON_TAKES)).min(slow);
        let likely = row.locating.likely();
        let point = reach::to_stopping_point(layout, authority).zip(likely);
        let to_point = point.map(|(point, likely)| point.mm() - likely.place);
        let reach = match likely.filter(|_| to_point.is_some()) {
            Some(likely) => reach::to_end(layout, authority, stand, &likely, profile),
            None => reach::reach(layout, authority, stand, profile),
        };
        match reach {
            Reach::Measured(room) => {
                let left = to_point.map_or(room, |to_point| room.min(Length::from_mm_f64(to_point)));
                let before = reach::speed_before_late(left, Speed::ZERO, profile, PERSON_TAKES);
                let step = profile.step_within(limit.min(before));
                let is_there = match (row.motion.step, likely.zip(to_point)) {
                    (0, Some((_, to_point))) => to_point <= WORTH_STARTING,
                    (_, Some((likely, to_point))) => row.locating.room_to_stand() + likely.speed * STOPS >= to_point,
                    _ => false,
                };
                let to_creep = reach::room_to_stop(profile.most(creep), profile);
                let creeps = match row.motion.step {
                    0 => room >= to_creep + to_creep + Length::from_mm(10),
                    _ => room >= to_creep + profile.most(creep).distance_in(PERSON_STOPS),
                };
                let step = if is_there || !creeps { 0 } else { step.max(creep) };
                (step, Some(left.max(Length::ZERO)))
            }
            Reach::Sections(0) => (0, None),
            Reach::Sections(1) => (profile.step_within(limit.min(SECTION_APPROACH)).max(creep), None),
            Reach::Sections(_) => (profile.step_within(limit).max(1), None),
        }
    }
}
