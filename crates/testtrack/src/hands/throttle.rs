//! A person at a throttle that the signaller does not control: drives by sight, as a sensible person does.
//!
//! They start, run for a while, stop, rest and turn back by lot. They stop 300 mm short of another train, and do not enter a
//! section where a train stands, into which one is running, or which was granted to one: signals and the trains nearby show
//! that. They lay no turnouts, and stop before one that lies wrong.

use std::time::Duration;

use signaller::{Direction, Time};
use track::{SectionId, Speed, TrainId};

use super::Deed;
use crate::faults::Fault;
use crate::table::Table;

/// How often the person looks up.
const LOOKS_EVERY: Duration = Duration::from_millis(200);

/// How long it takes them to do something about what they see, at most, in milliseconds.
const SLOW_MS: i64 = 400;

const RUN_MS: (i64, i64) = (5_000, 40_000);
const REST_MS: (i64, i64) = (3_000, 30_000);
const MM_A_SECOND: (i64, i64) = (50, 150);

/// They keep clear of another train by so much, and stop so far short of anything else.
const CLEAR_OF_TRAINS: i64 = 300_000;
const CLEAR_OF_ENDS: i64 = 40_000;

/// A train whose nose is so near to a section is running into it.
const NEAR: i64 = 800_000;

/// Slower than this they do not drive.
const SLOWEST: i64 = 8_000;

/// What somebody who drives is about.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Driver {
    direction: Option<Direction>,
    speed: i64,
    /// When they think of something else to do.
    until: Time,
}

impl Table {
    /// The person who drives the train looks at the track ahead, and sets the throttle.
    pub(super) fn look_ahead(&mut self, train: TrainId) {
        if !self.trains[train].mischief.by_hand {
            return;
        }
        self.hands.plan(self.now() + LOOKS_EVERY, Deed::Look(train));
        let Some(mut driver) = self.hands.drivers.get(&train).copied() else { return };
        if !self.trains[train].is_on_table() || self.trains[train].wrecked {
            return;
        }
        if driver.until <= self.now() {
            driver = self.think(driver);
        }
        let wanted = self.dares(train, driver);
        if wanted == 0 && self.speed(train) == Speed::ZERO && driver.speed > 0 {
            // Nothing goes on here: a rest, and then perhaps the other way.
            driver = Driver { speed: 0, until: self.now() + self.rest(), ..driver };
        }
        self.hands.drivers.insert(train, driver);
        self.trains[train].throttle(wanted);
        self.count_active();
    }

    fn think(&mut self, before: Driver) -> Driver {
        let now = self.now();
        if before.speed > 0 {
            return Driver { speed: 0, until: now + self.rest(), ..before };
        }
        let lasts = self.hands.draw_ms(Fault::HandDriven, RUN_MS.0, RUN_MS.1);
        let stream = self.hands.stream(Fault::HandDriven);
        let direction = if stream.below(2) == 0 { Direction::Forward } else { Direction::Backward };
        let speed = 1000 * stream.between(MM_A_SECOND.0, MM_A_SECOND.1);
        Driver { direction: Some(direction), speed, until: now + lasts }
    }

    fn rest(&mut self) -> Duration {
        self.hands.draw_ms(Fault::HandDriven, REST_MS.0, REST_MS.1)
    }

    /// The speed that they dare, backwards below zero.
    fn dares(&self, train: TrainId, driver: Driver) -> i64 {
        let Some(direction) = driver.direction.filter(|_| driver.speed > 0) else { return 0 };
        let speed = self.speed(train).um();
        let sign = if direction == Direction::Forward { 1 } else { -1 };
        if speed * sign < 0 {
            return 0;
        }
        let (fastest, braking) = (driver.speed.max(speed.abs()), self.trains[train].braking);
        let ahead = fastest * SLOW_MS / 1000 + fastest * fastest / (2 * braking) + CLEAR_OF_TRAINS + CLEAR_OF_ENDS;
        let may_enter = |section| self.looks_free_to(train, section);
        let track = self.clear_ahead(train, direction, ahead, &may_enter);
        let trains = self.gap_ahead(train, direction, ahead).map_or(i64::MAX, |gap| gap - CLEAR_OF_TRAINS);
        let room = (track - CLEAR_OF_ENDS).min(trains) - fastest * SLOW_MS / 1000;
        let dared = (2 * braking * room.max(0)).isqrt().min(driver.speed);
        if dared < SLOWEST { 0 } else { sign * dared }
    }

    /// Whether a section looks as if a train may enter it.
    fn looks_free_to(&self, train: TrainId, section: SectionId) -> bool {
        let stands_there = self.trains_in(section).iter().any(|presence| presence.train != train);
        let is_granted = self.holders(section).iter().any(|&holder| holder != train);
        !stands_there && !is_granted && !self.somebody_runs_into(train, section)
    }

    fn somebody_runs_into(&self, train: TrainId, section: SectionId) -> bool {
        self.trains.ids().filter(|&other| other != train && self.speed(other) != Speed::ZERO).any(|other| {
            let Some(nose) = self.nose(other).filter(|nose| nose.short_of_end.um() < NEAR) else { return false };
            self.layout().ends[nose.towards].meets.iter().any(|&end| self.layout().ends[end].section == section)
        })
    }
}
