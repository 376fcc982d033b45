//! How trains are ordered to move, once emergency stops and several decoders are reckoned with.

use std::collections::BTreeMap;

use serde_json::Value;
use signaller::{Direction, Output};
use track::{Address, Facing, Layout, Renumbering, TrainId};

/// How a train is to move.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Motion {
    /// At a speed step; 0 stands.
    Step(u8),
    /// It is to stand as soon as it can.
    EmergencyStop,
}

/// How each train was last ordered to move.
#[derive(Debug, Default)]
pub(crate) struct Motions(BTreeMap<TrainId, (Direction, Motion)>);

impl Motions {
    /// Takes in an order; tells which train is to move how, where it is an order for that. An ordinary stop does not take the
    /// place of an emergency stop: only a step does.
    pub(crate) fn order(&mut self, output: &Output) -> Option<(TrainId, Direction, Motion)> {
        let before = |train: TrainId| self.0.get(&train).copied();
        let (train, direction, motion) = match *output {
            Output::Drive { train, direction, step: 0 } => {
                let is_emergency = before(train).is_some_and(|(_, motion)| motion == Motion::EmergencyStop);
                (train, direction, if is_emergency { Motion::EmergencyStop } else { Motion::Step(0) })
            }
            Output::Drive { train, direction, step } => (train, direction, Motion::Step(step)),
            Output::EmergencyStop { train } => {
                let direction = before(train).map_or(Direction::Forward, |(direction, _)| direction);
                (train, direction, Motion::EmergencyStop)
            }
            _ => return None,
        };
        self.0.insert(train, (direction, motion));
        Some((train, direction, motion))
    }

    /// Which way a train was last ordered to move.
    pub(crate) fn direction(&self, train: TrainId) -> Option<Direction> {
        self.0.get(&train).map(|(direction, _)| *direction)
    }

    /// The orders by which every train moves as it does.
    pub(crate) fn outputs(&self) -> Vec<Output> {
        let mut outputs = Vec::new();
        for (&train, &(direction, motion)) in &self.0 {
            let step = match motion {
                Motion::Step(step) => step,
                Motion::EmergencyStop => {
                    outputs.push(Output::EmergencyStop { train });
                    0
                }
            };
            outputs.push(Output::Drive { train, direction, step });
        }
        outputs
    }

    /// The orders by which every train stands, each facing as it does.
    pub(crate) fn standing(&self) -> Vec<Output> {
        let all = self.0.iter();
        all.map(|(&train, &(direction, _))| Output::Drive { train, direction, step: 0 }).collect()
    }

    /// The same, by the numbers of another layout.
    pub(crate) fn renumbered(&self, numbers: &Renumbering) -> Self {
        let now = |train: TrainId| numbers.trains.get(train).copied().flatten();
        Self(self.0.iter().filter_map(|(&train, &motion)| Some((now(train)?, motion))).collect())
    }

    /// Nothing is known any more of what was ordered.
    pub(crate) fn forget(&mut self) {
        self.0.clear();
    }
}

/// The direction as something sees it that stands so in the train; and back.
pub(crate) fn as_seen(direction: Direction, facing: Facing) -> Direction {
    match facing {
        Facing::Ahead => direction,
        Facing::Astern => direction.other(),
    }
}

/// The word for a direction.
pub(crate) fn word_of(direction: Direction) -> &'static str {
    match direction {
        Direction::Forward => "forward",
        Direction::Backward => "backward",
    }
}

/// What an object of JSON orders of a train: one for a decoder that stands the other way round means the other direction.
/// `key` is where the direction is said.
pub(crate) fn order_in(layout: &Layout, train: TrainId, said: &Value, key: &str) -> Option<Output> {
    let whole = |key: &str| said[key].as_u64().and_then(|number| u8::try_from(number).ok());
    if let Some(number) = whole("function") {
        return Some(Output::Function { train, number, on: said["on"].as_bool()? });
    }
    let described = layout.trains.get(train)?;
    let (direction, step) = (direction_of(said[key].as_str()?)?, whole("step")?);
    if step > described.speed_steps.highest() {
        return None;
    }
    if said["emergency"] == true {
        return Some(Output::EmergencyStop { train });
    }
    let is_meant = |address: Address| match address {
        Address::Short(number) => said["long"] != true && said["address"] == number,
        Address::Long(number) => said["long"] == true && said["address"] == number,
    };
    let facing =
        described.decoders().find(|(address, _)| is_meant(*address)).map_or(Facing::Ahead, |(_, facing)| facing);
    Some(Output::Drive { train, direction: as_seen(direction, facing), step })
}

/// The direction of that word.
fn direction_of(word: &str) -> Option<Direction> {
    match word {
        "forward" => Some(Direction::Forward),
        "backward" => Some(Direction::Backward),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use track::Id as _;

    use super::*;

    #[test]
    fn a_train_that_was_stopped_in_an_emergency_stays_so_until_it_is_given_a_step() {
        let train = TrainId::from_index(3);
        let drive = |direction, step| Output::Drive { train, direction, step };
        let mut motions = Motions::default();
        let mut motion = |output: &Output| motions.order(output).unwrap();
        assert_eq!(motion(&drive(Direction::Backward, 9)), (train, Direction::Backward, Motion::Step(9)));
        let stop = Output::EmergencyStop { train };
        assert_eq!(motion(&stop), (train, Direction::Backward, Motion::EmergencyStop));
        for _ in 0..3 {
            assert_eq!(motion(&drive(Direction::Forward, 0)), (train, Direction::Forward, Motion::EmergencyStop));
        }
        assert_eq!(motions.outputs(), [stop, drive(Direction::Forward, 0)]);
        motions.order(&drive(Direction::Forward, 1));
        assert_eq!(motions.outputs(), [drive(Direction::Forward, 1)]);
        motions.order(&drive(Direction::Forward, 0));
        assert_eq!(motions.outputs(), [drive(Direction::Forward, 0)], "and then stands as any other");
    }
}
