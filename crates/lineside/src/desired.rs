//! How everything that was ordered shall be.

use std::collections::BTreeMap;

use signaller::{Aspect, Direction, Output};
use track::{AccessoryId, DistrictId, Renumbering, SignalId, TrainId};

use crate::motion::Motions;

/// What hardware shall be like: told again when a link comes back. How turnouts shall lie is not: what was
/// safe to throw then may not be safe now.
#[derive(Debug, Default)]
pub struct Desired {
    motions: Motions,
    functions: BTreeMap<(TrainId, u8), bool>,
    power: BTreeMap<DistrictId, bool>,
    accessories: BTreeMap<AccessoryId, bool>,
    aspects: BTreeMap<SignalId, Aspect>,
    lit: BTreeMap<SignalId, bool>,
}

impl Desired {
    /// Takes in what is ordered.
    pub fn hear(&mut self, outputs: &[Output]) {
        for output in outputs {
            self.hear_one(output);
        }
    }

    fn hear_one(&mut self, output: &Output) {
        match *output {
            Output::Drive { .. } | Output::EmergencyStop { .. } => drop(self.motions.order(output)),
            Output::Function { train, number, on } => drop(self.functions.insert((train, number), on)),
            Output::Power { district, live } => drop(self.power.insert(district, live)),
            Output::Accessory { accessory, on } => drop(self.accessories.insert(accessory, on)),
            Output::Show { signal, aspect } => drop(self.aspects.insert(signal, aspect)),
            Output::Light { signal, lit } => drop(self.lit.insert(signal, lit)),
            Output::Throw { .. } | Output::Fact(_) => {}
        }
    }

    /// The same, by the numbers of another layout; without what is no part of it. An aspect of another book is shown anew.
    pub(crate) fn renumbered(&self, numbers: &Renumbering) -> Self {
        let train = |train: TrainId| numbers.trains.get(train).copied().flatten();
        let functions = self.functions.iter();
        let touched = |signal: &SignalId| numbers.signals_touched.contains(signal);
        Self {
            motions: self.motions.renumbered(numbers),
            functions: functions.filter_map(|(&(whose, number), &on)| Some(((train(whose)?, number), on))).collect(),
            power: moved(&self.power, |id| numbers.districts[id]),
            accessories: moved(&self.accessories, |id| numbers.accessories[id]),
            aspects: moved(&self.aspects, |id| numbers.signals[id].filter(|_| !touched(&id))),
            lit: moved(&self.lit, |id| numbers.signals[id]),
        }
    }

    /// Which way a train was last ordered to move.
    pub(crate) fn direction(&self, train: TrainId) -> Option<Direction> {
        self.motions.direction(train)
    }

    /// All of it: what takes power away first, and what gives it back last, when everything else is as it shall be.
    pub fn outputs(&self) -> Vec<Output> {
        let functions = self.functions.iter().map(|(&(train, number), &on)| Output::Function { train, number, on });
        let aspects = self.aspects.iter().map(|(&signal, &aspect)| Output::Show { signal, aspect });
        let lit = self.lit.iter().map(|(&signal, &lit)| Output::Light { signal, lit });
        let accessories = self.accessories.iter().map(|(&accessory, &on)| Output::Accessory { accessory, on });
        let power = |wanted: bool| {
            let all = self.power.iter().filter(move |(_, live)| **live == wanted);
            all.map(|(&district, &live)| Output::Power { district, live })
        };
        power(false)
            .chain(self.motions.outputs())
            .chain(functions)
            .chain(accessories)
            .chain(lit)
            .chain(aspects)
            .chain(power(true))
            .collect()
    }
}

/// Each at its new number, where it has one.
fn moved<I: Copy + Ord, T: Copy>(all: &BTreeMap<I, T>, now: impl Fn(I) -> Option<I>) -> BTreeMap<I, T> {
    all.iter().filter_map(|(&id, &is)| Some((now(id)?, is))).collect()
}

#[cfg(test)]
mod tests {
    use track::Id as _;

    use super::*;

    fn drive(train: usize, step: u8) -> Output {
        Output::Drive { train: TrainId::from_index(train), direction: Direction::Backward, step }
    }

    fn stop(train: usize) -> Output {
        Output::EmergencyStop { train: TrainId::from_index(train) }
    }

    #[test]
    fn a_link_that_is_back_is_told_of_dark_districts_first_and_of_live_ones_last() {
        let mut desired = Desired::default();
        let power = |place: usize, live| Output::Power { district: DistrictId::from_index(place), live };
        let function = |number, on| Output::Function { train: TrainId::from_index(1), number, on };
        let told =
            [power(0, true), power(1, true), drive(1, 9), function(0, true), function(5, true), stop(2), drive(2, 0)];
        desired.hear(&told);
        desired.hear(&[power(1, false), function(5, false)]);
        let wanted =
            [power(1, false), drive(1, 9), stop(2), drive(2, 0), function(0, true), function(5, false), power(0, true)];
        assert_eq!(desired.outputs(), wanted);
    }
}
