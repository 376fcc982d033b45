//! Everything that went wrong by hand or by itself is set right: so that a run can show that all goes on afterwards.

use std::time::Duration;

use track::{Id, TrainId};

use super::{Deed, Word};
use crate::astray::Loose;
use crate::faults::{Fault, Faults};
use crate::table::Table;

/// People set things right one after the other, so far apart.
const ONE_BY_ONE: Duration = Duration::from_millis(1500);

impl Table {
    /// No fault of trains, turnouts and hands happens from now on, and what still goes wrong is set right: what stalls or runs
    /// away is itself again, who drives by hand stops and gives the train back, wagons that nobody knows of are taken off,
    /// tails are put to their trains, trains in somebody's hand are put down, wrecks are set right, trains that got into one section
    /// are parted, turnouts lie as they were ordered and report how they lie. People say what they do to trains.
    pub(crate) fn heal_hands(&mut self) {
        self.hands.rates = Faults::NONE;
        self.hands.agenda.retain(|_, deed| !matches!(deed, Deed::Strike(_)));
        let trains: Vec<TrainId> = self.layout().trains.ids().collect();
        for &train in &trains {
            self.end_stall(train);
            self.end_runaway(train);
            self.end_deafness(train);
            if self.trains[train].mischief.by_hand {
                self.leave_throttle(train);
                if self.hands.told_of.contains(&train) {
                    self.say_soon(Fault::HandDriven, Word::GivenBack(train));
                }
            }
        }
        let mut at = self.now();
        let mut next = || {
            at = at + ONE_BY_ONE;
            at
        };
        let mut deeds: Vec<Deed> = Vec::new();
        for body in (trains.len()..self.trains.len()).map(TrainId::from_index) {
            match self.loose_kind(body) {
                Some(Loose::Tail { .. }) => deeds.push(Deed::Mend(body)),
                Some(Loose::Wagon) => deeds.push(Deed::TakeOff(body)),
                Some(Loose::Gone) | None => {}
            }
        }
        for &train in &trains {
            if self.is_wrecked(train) {
                deeds.push(Deed::SetRight(train));
            }
            if self.stands_with_another(train) {
                deeds.push(Deed::Part(train));
            }
            if let Some(parked) = self.hands.parked.get_mut(&train) {
                parked.tell();
                deeds.push(Deed::PutBack(train));
            }
        }
        for deed in deeds {
            self.hands.plan(next(), deed);
        }
        self.heal_turnouts();
        self.count_active();
    }
}
