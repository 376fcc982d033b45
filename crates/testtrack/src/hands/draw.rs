//! Whom a fault befalls that happens by the hour, and how badly: by lot.

use std::time::Duration;

use signaller::Direction;
use track::{Length, Speed, TrainId, TurnoutId};

use super::people::{Return, Talk};
use super::sight::Granted;
use super::{Deed, Word};
use crate::faults::{Fault, Rate};
use crate::ground::Fate;
use crate::mishaps::Mishap;
use crate::table::Table;

const PUSH_MM: (i64, i64) = (50, 1500);
const PUSH_MM_A_SECOND: (i64, i64) = (50, 300);
const STALL_MS: (i64, i64) = (500, 20_000);
const RUNAWAY_MS: (i64, i64) = (300, 3_000);
const DEAF_MS: (i64, i64) = (500, 3_000);
const LIFTED_MS: (i64, i64) = (5_000, 60_000);
const WAGON_STAYS_MS: (i64, i64) = (60_000, 600_000);
const TAIL_STAYS_MS: (i64, i64) = (60_000, 300_000);
const WAGON_MM: (i64, i64) = (80, 150);

/// How far the outer axles of a wagon are from its ends. Common practice, no source.
const WAGON_OVERHANG_MM: i64 = 15;

/// One wagon in so many is put down where a train may be about to run.
const THOUGHTLESS: u64 = 10;

/// How much faster than it should a locomotive runs that runs away, in thousandths.
const RUNAWAY_PERMILLE: i64 = 1500;

impl Table {
    /// A fault happens: draws whom it befalls, and does it. Where it can befall nobody now, nothing happens.
    pub(super) fn befall(&mut self, fault: Fault) {
        match fault {
            Fault::Pushed => self.draw_push(),
            Fault::Lifted => self.draw_lift(),
            Fault::PutDown => self.draw_wagon(),
            Fault::Parted => self.draw_parting(),
            Fault::Stall => self.draw_stall(),
            Fault::Runaway => self.draw_runaway(),
            _ => {}
        }
    }

    fn draw_train(&mut self, fault: Fault, among: impl Fn(&Self, TrainId) -> bool) -> Option<TrainId> {
        let trains: Vec<_> = self.at_large().into_iter().filter(|&train| among(self, train)).collect();
        self.hands.stream(fault).one_of(&trains).copied()
    }

    fn draw_from(&mut self, fault: Fault, (least, most): (i64, i64)) -> i64 {
        self.hands.stream(fault).between(least, most)
    }

    fn draw_direction(&mut self, fault: Fault) -> Direction {
        if self.hands.stream(fault).below(2) == 0 { Direction::Forward } else { Direction::Backward }
    }

    fn draw_push(&mut self) {
        let fault = Fault::Pushed;
        let Some(train) = self.draw_train(fault, |_, _| true) else { return };
        let direction = self.draw_direction(fault);
        let distance = Length::from_mm(self.draw_from(fault, PUSH_MM));
        let speed = Speed::from_mm(self.draw_from(fault, PUSH_MM_A_SECOND));
        let _ = self.push(train, direction, distance, speed) || self.push(train, direction.other(), distance, speed);
    }

    fn draw_lift(&mut self) {
        let fault = Fault::Lifted;
        let Some(train) = self.draw_train(fault, |_, _| true) else { return };
        let talk = if self.hands.stream(fault).below(2) == 0 { Talk::Say } else { Talk::Forget };
        let lasts = self.hands.draw_ms(fault, LIFTED_MS.0, LIFTED_MS.1);
        let to = if self.hands.stream(fault).below(2) == 0 { Return::Elsewhere } else { Return::SamePlace };
        self.take_off(train, lasts, talk, to);
    }

    fn draw_wagon(&mut self) {
        let fault = Fault::PutDown;
        let length = Length::from_mm(self.draw_from(fault, WAGON_MM));
        let overhang = Length::from_mm(WAGON_OVERHANG_MM);
        let shows = self.hands.stream(fault).below(2) == 0;
        let granted = if self.hands.stream(fault).below(THOUGHTLESS) == 0 { Granted::Ignore } else { Granted::Avoid };
        let mut stream = self.hands.stream(fault).clone();
        let room = self.find_room("a wagon", length, granted, &mut stream);
        *self.hands.stream(fault) = stream;
        let Some(room) = room else { return };
        let on: Vec<_> = room.path.iter().map(|&(on, _)| on.section).collect();
        let nose = room.path.last().map(|&(on, _)| on.leave);
        if let Ok(wagon) = self.put_wagon(length, shows.then_some((overhang, length - overhang)), &on, nose) {
            let stays = self.hands.draw_ms(fault, WAGON_STAYS_MS.0, WAGON_STAYS_MS.1);
            self.hands.plan(self.now() + stays, Deed::TakeOff(wagon));
        }
    }

    /// A coupling only parts while it pulls, so this befalls a train that runs with its locomotive leading.
    fn draw_parting(&mut self) {
        let fault = Fault::Parted;
        let pulls = |table: &Self, train| table.trains[train].vehicles() > 1 && table.speed(train) > Speed::ZERO;
        let Some(train) = self.draw_train(fault, pulls) else { return };
        let vehicles = self.trains[train].vehicles() as i64;
        let keep = self.draw_from(fault, (1, vehicles - 1)) as usize;
        let stays = self.hands.draw_ms(fault, TAIL_STAYS_MS.0, TAIL_STAYS_MS.1);
        if let Some(tail) = self.part(train, keep) {
            self.hands.plan(self.now() + stays, Deed::Mend(tail));
        }
    }

    fn draw_stall(&mut self) {
        let fault = Fault::Stall;
        let runs = |table: &Self, train| table.trains[train].pull() != 0;
        let Some(train) = self.draw_train(fault, runs) else { return };
        let lasts = self.hands.draw_ms(fault, STALL_MS.0, STALL_MS.1);
        self.stall(train, lasts);
    }

    /// A train that runs does so at half as much again; one that stands starts by itself.
    fn draw_runaway(&mut self) {
        let fault = Fault::Runaway;
        let Some(train) = self.draw_train(fault, |_, _| true) else { return };
        let lasts = self.hands.draw_ms(fault, RUNAWAY_MS.0, RUNAWAY_MS.1);
        let (direction, step) = (self.draw_direction(fault), self.draw_from(fault, (5, 60)) as u8);
        let speed = match self.trains[train].pull() {
            0 => {
                let speed = self.trains[train].speed_at(direction, step);
                if direction == Direction::Forward { speed } else { Speed::ZERO - speed }
            }
            pull => Speed::from_um(pull * RUNAWAY_PERMILLE / 1000),
        };
        self.run_away(train, speed, lasts);
    }

    /// An order is about to reach a train; now and then the train does not hear it, nor anything else for a moment.
    pub(crate) fn may_ignore_orders(&mut self, train: TrainId) {
        if self.hands.strikes(Fault::OrderIgnored) && !self.trains[train].mischief.deaf {
            let lasts: Duration = self.hands.draw_ms(Fault::OrderIgnored, DEAF_MS.0, DEAF_MS.1);
            self.deafen(train, lasts);
        }
    }

    /// Draws what comes of throwing a turnout.
    pub(crate) fn draw_fate(&mut self, turnout: TurnoutId) -> Fate {
        if let Some(misthrow) = self.hands.misthrows.remove(&turnout) {
            let (fault, fate) = misthrow.comes_to();
            self.note(Mishap::new(fault, self.now()).to_turnout(turnout).until(self.now()));
            return fate;
        }
        let is_reported = self.layout().turnouts[turnout].reported;
        let fate = if self.hands.strikes(Fault::TurnoutFails) {
            (Fault::TurnoutFails, Fate::Fails)
        } else if is_reported && self.hands.strikes(Fault::TurnoutReportsWrongly) {
            let moves = self.hands.stream(Fault::TurnoutReportsWrongly).below(2) == 0;
            (Fault::TurnoutReportsWrongly, if moves { Fate::MovesBelied } else { Fate::FailsUnnoticed })
        } else if is_reported && self.hands.strikes(Fault::TurnoutMute) {
            (Fault::TurnoutMute, Fate::MovesUnheard)
        } else if self.hands.strikes(Fault::TurnoutSlow) {
            let times = self.hands.stream(Fault::TurnoutSlow).between(2, 5) as u32;
            (Fault::TurnoutSlow, Fate::Slow(times))
        } else {
            return Fate::Moves;
        };
        let now = self.now();
        self.note(Mishap::new(fate.0, now).to_turnout(turnout).until(now));
        fate.1
    }

    /// Draws which trains people drive from the start. One at least is left to the signaller.
    pub(crate) fn draw_drivers(&mut self) {
        let fault = Fault::HandDriven;
        if self.hands.rates.rate(fault) == Rate::Never {
            return;
        }
        let mut left = self.at_large();
        let trains = left.clone();
        for train in trains {
            let (drives, tells) = (self.hands.strikes(fault), self.hands.stream(fault).below(2) == 0);
            if drives && left.len() > 1 {
                left.retain(|&other| other != train);
                self.drive_by_hand(train);
                if tells {
                    let at = self.now() + self.hands.draw_ms(fault, 100, 2_000);
                    self.hands.told_of.insert(train);
                    self.hands.say(at, Word::TakenOver(train));
                }
            }
        }
    }
}
