//! People who drive trains through the signaller: they take throttles, set them, and give trains back, by lot.
//!
//! Most drive sensibly: they look at the advice five times a second, and a while later do what it says. Some do not look: they
//! set the throttle to anything, now and then the wrong way round. Those let their trains be kept back; who drives sensibly may
//! not, and then only the advice keeps the train from passing the end of its authority.

use std::collections::BTreeMap;
use std::time::Duration;

use signaller::{Direction, Protection, Request, Signaller, Ticket, Time};
use track::{Layout, TrainId};

use crate::random::Stream;
use crate::session::{Desk, Moment};

/// How long a train is driven by a person, and by nobody, in milliseconds.
const DRIVES_MS: (i64, i64) = (60_000, 600_000);
const RESTS_MS: (i64, i64) = (5_000, 300_000);
/// How often somebody looks at the advice.
const LOOKS_EVERY: Duration = Duration::from_millis(200);
/// How long they take to do what it says, in milliseconds.
const TAKES_MS: (i64, i64) = (100, 400);
/// How long somebody careless leaves the throttle as it is, in milliseconds.
const LEAVES_MS: (i64, i64) = (1_000, 20_000);

/// How somebody drives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Style {
    Sensible,
    Careless,
}

/// Somebody at a throttle.
#[derive(Clone, Copy, Debug)]
struct Driver {
    style: Style,
    until: Time,
    looks_at: Time,
    set: (Direction, u8),
}

/// Everybody who drives. The listener of a session, or part of one.
#[derive(Debug)]
pub struct Drivers {
    stream: Stream,
    at_throttles: BTreeMap<TrainId, Driver>,
    /// When somebody takes each of the other trains.
    take_at: BTreeMap<TrainId, Time>,
    goes_home: bool,
}

impl Drivers {
    /// Nobody drives yet.
    pub fn new(layout: &Layout, seed: u64) -> Self {
        let mut stream = Stream::labelled(seed, "drivers");
        let take_at = layout.trains.ids().map(|train| {
            let at = Time::from_millis(stream.between(RESTS_MS.0, RESTS_MS.1));
            (train, at)
        });
        Self { take_at: take_at.collect(), at_throttles: BTreeMap::new(), goes_home: false, stream }
    }

    /// Everybody gives their train back, and nobody takes another.
    pub fn go_home(&mut self) {
        self.goes_home = true;
    }

    /// Looks at the advice, and sets throttles.
    pub fn hear(&mut self, moment: &Moment<'_, Signaller>, desk: &mut Desk) {
        if self.goes_home {
            for train in std::mem::take(&mut self.at_throttles).into_keys() {
                let _: Ticket = desk.request(Request::HandBack { train });
            }
            return;
        }
        let due = self.take_at.iter().filter(|(_, at)| **at <= moment.now);
        let due: Vec<TrainId> = due.map(|(&train, _)| train).collect();
        for train in due {
            self.take(train, moment.now, desk);
        }
        let due = self.at_throttles.iter().filter(|(_, driver)| driver.looks_at <= moment.now);
        let due: Vec<TrainId> = due.map(|(&train, _)| train).collect();
        for train in due {
            self.drive(train, moment, desk);
        }
        let looks = self.at_throttles.values().map(|driver| driver.looks_at);
        if let Some(next) = looks.chain(self.take_at.values().copied()).min() {
            desk.call_at(next);
        }
    }

    fn take(&mut self, train: TrainId, now: Time, desk: &mut Desk) {
        let style = if self.stream.below(3) == 0 { Style::Careless } else { Style::Sensible };
        let dares = style == Style::Sensible && self.stream.below(2) == 0;
        let protection = if dares { Protection::Off } else { Protection::On };
        let _: Ticket = desk.request(Request::TakeThrottle { train, protection });
        let driver = Driver {
            style,
            until: now + self.draw(DRIVES_MS),
            looks_at: now + LOOKS_EVERY,
            set: (Direction::Forward, 0),
        };
        self.at_throttles.insert(train, driver);
        self.take_at.remove(&train);
    }

    fn drive(&mut self, train: TrainId, moment: &Moment<'_, Signaller>, desk: &mut Desk) {
        let Some(mut driver) = self.at_throttles.get(&train).copied() else { return };
        let now = moment.now;
        let advice = moment.signaller.advice(train, now);
        if driver.until <= now || advice.is_none() {
            let _: Ticket = desk.request(Request::HandBack { train });
            self.at_throttles.remove(&train);
            let rest = self.draw(RESTS_MS);
            self.take_at.insert(train, now + rest);
            return;
        }
        let highest = moment.table.layout().trains[train].speed_steps.highest();
        let wanted = match (driver.style, advice) {
            (Style::Sensible, Some(advice)) => {
                driver.looks_at = now + LOOKS_EVERY;
                (advice.leading.unwrap_or(driver.set.0), advice.step)
            }
            _ => {
                driver.looks_at = now + self.draw(LEAVES_MS);
                self.anything(advice.and_then(|advice| advice.leading), highest)
            }
        };
        if wanted != driver.set {
            let at = now + self.draw(TAKES_MS);
            let _: Ticket = desk.request_at(at, Request::SetThrottle { train, direction: wanted.0, step: wanted.1 });
            driver.set = wanted;
            // They have one hand for it.
            driver.looks_at = driver.looks_at.max(at + LOOKS_EVERY / 4);
        }
        self.at_throttles.insert(train, driver);
    }

    /// What somebody careless does: mostly too fast, now and then nothing, or the other way.
    fn anything(&mut self, leading: Option<Direction>, highest: u8) -> (Direction, u8) {
        let leading = leading.unwrap_or(Direction::Forward);
        match self.stream.below(10) {
            0 | 1 => (leading, 0),
            2 => (leading.other(), highest),
            3..=5 => (leading, highest),
            _ => (leading, 1 + self.stream.below(u64::from(highest)) as u8),
        }
    }

    fn draw(&mut self, (least, most): (i64, i64)) -> Duration {
        Duration::from_millis(self.stream.between(least, most) as u64)
    }
}
