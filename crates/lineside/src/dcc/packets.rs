//! What is ordered, as packets for the track.

use std::collections::BTreeMap;
use std::sync::Arc;

use signaller::{Direction, Output};
use track::dcc::{self, Accessory, Current, SpeedOrder};
use track::wiring::Thing;
use track::{AccessoryId, Address, Facing, Layout, Lie, SpeedSteps, TrainId, TurnoutId};

use super::scheduler::Scheduler;
use crate::motion::{Motion, Motions, as_seen};

/// Trains, turnouts and accessories of one link that are reached by packets.
#[derive(Debug)]
pub struct Packets {
    scheduler: Scheduler,
    motions: Motions,
    trains: BTreeMap<TrainId, Decoders>,
    turnouts: BTreeMap<TurnoutId, Accessory>,
    accessories: BTreeMap<AccessoryId, Accessory>,
}

/// The decoders of a train, each with how it stands there.
#[derive(Debug)]
struct Decoders {
    all: Vec<(Address, Facing)>,
    steps: SpeedSteps,
}

impl Packets {
    /// For what a link carries: each thing with its name and its address, which for a turnout or an accessory is the number of its
    /// decoder.
    pub fn new(layout: &Arc<Layout>, carries: &[(Thing, String, String)]) -> Self {
        let (mut trains, mut turnouts, mut accessories) = (BTreeMap::new(), BTreeMap::new(), BTreeMap::new());
        let decoder_at = |at: &str| at.parse().ok().and_then(|number| Accessory::of_user_number(number).ok());
        for (thing, _, at) in carries {
            match *thing {
                Thing::Train(train) => {
                    let described = &layout.trains[train];
                    let decoders = Decoders { all: described.decoders().collect(), steps: described.speed_steps };
                    if !decoders.all.is_empty() {
                        trains.insert(train, decoders);
                    }
                }
                Thing::Turnout(turnout) => turnouts.extend(decoder_at(at).map(|decoder| (turnout, decoder))),
                Thing::Accessory(accessory) => {
                    accessories.extend(decoder_at(at).map(|decoder| (accessory, decoder)));
                }
                _ => {}
            }
        }
        Self { scheduler: Scheduler::new(), motions: Motions::default(), trains, turnouts, accessories }
    }

    /// Takes an order in; tells whether it is one for packets.
    pub fn order(&mut self, output: &Output) -> bool {
        match *output {
            Output::Drive { train, .. } | Output::EmergencyStop { train } => {
                let Some(Decoders { all, steps }) = self.trains.get(&train) else { return false };
                let Some((_, direction, motion)) = self.motions.order(output) else { return false };
                let order = match motion {
                    Motion::EmergencyStop => SpeedOrder::EmergencyStop,
                    Motion::Step(0) => SpeedOrder::Stop,
                    Motion::Step(step) => SpeedOrder::Step(step.min(steps.highest())),
                };
                for &(address, facing) in all {
                    let direction = match as_seen(direction, facing) {
                        Direction::Forward => dcc::Direction::Forward,
                        Direction::Backward => dcc::Direction::Reverse,
                    };
                    self.scheduler.drive(address, *steps, order, direction);
                }
                true
            }
            Output::Function { train, number, on } => {
                let Some(Decoders { all, .. }) = self.trains.get(&train) else { return false };
                for &(address, _) in all {
                    self.scheduler.set_function(address, number, if on { dcc::State::On } else { dcc::State::Off });
                }
                true
            }
            Output::Throw { turnout, lie } => {
                let Some(&accessory) = self.turnouts.get(&turnout) else { return false };
                let output = match lie {
                    Lie::Straight => dcc::Output::Second,
                    Lie::Diverging => dcc::Output::First,
                };
                self.scheduler.work(accessory, output, Current::On);
                true
            }
            Output::Accessory { accessory, on } => {
                let Some(&decoder) = self.accessories.get(&accessory) else { return false };
                let output = if on { dcc::Output::Second } else { dcc::Output::First };
                self.scheduler.work(decoder, output, Current::On);
                true
            }
            _ => false,
        }
    }

    /// Whoever sends them is there anew: nothing is said until it is ordered again.
    pub fn begin(&mut self) {
        self.scheduler = Scheduler::new();
        self.motions.forget();
    }

    /// The packet that is to be sent now.
    pub fn next_packet(&mut self) -> Vec<u8> {
        self.scheduler.next_packet()
    }
}
