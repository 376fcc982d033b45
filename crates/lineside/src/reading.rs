//! What words, numbers and bits say of the things that links carry.

use std::collections::BTreeMap;
use std::sync::Arc;

use signaller::{Input, Output};
use track::wiring::{Mark, Thing};
use track::{Address, DetectorId, Layout, Lie, TrainId};

/// What a mark says of a thing; nothing where it makes no sense of it.
pub(crate) fn input_of(thing: Thing, mark: Mark) -> Option<Input> {
    Some(match (thing, mark) {
        (Thing::Section(section), Mark::Occupied) => Input::SectionReported { section, occupied: true },
        (Thing::Section(section), Mark::Free) => Input::SectionReported { section, occupied: false },
        (Thing::Spot(detector), Mark::Passed) => Input::SpotPassed { detector },
        (Thing::Turnout(turnout), Mark::Straight) => Input::TurnoutReported { turnout, lie: Some(Lie::Straight) },
        (Thing::Turnout(turnout), Mark::Diverging) => Input::TurnoutReported { turnout, lie: Some(Lie::Diverging) },
        (Thing::Turnout(turnout), Mark::Moving) => Input::TurnoutReported { turnout, lie: None },
        (Thing::District(district), Mark::Live) => Input::PowerReported { district, live: true },
        (Thing::District(district), Mark::Dark) => Input::PowerReported { district, live: false },
        (Thing::Input(input), Mark::On) => Input::InputReported { input, on: true },
        (Thing::Input(input), Mark::Off) => Input::InputReported { input, on: false },
        _ => return None,
    })
}

/// What of a thing an input tells; nothing where links do not carry such things.
pub(crate) fn mark_of(input: &Input) -> Option<(Thing, Mark)> {
    let either = |is: bool, one: Mark, other: Mark| if is { one } else { other };
    Some(match *input {
        Input::SectionReported { section, occupied } => {
            (Thing::Section(section), either(occupied, Mark::Occupied, Mark::Free))
        }
        Input::SpotPassed { detector } => (Thing::Spot(detector), Mark::Passed),
        Input::TurnoutReported { turnout, lie } => (Thing::Turnout(turnout), lie.map_or(Mark::Moving, mark_of_lie)),
        Input::PowerReported { district, live } => (Thing::District(district), either(live, Mark::Live, Mark::Dark)),
        Input::InputReported { input, on } => (Thing::Input(input), either(on, Mark::On, Mark::Off)),
        _ => return None,
    })
}

/// How a turnout lies, or shall lie.
pub(crate) fn mark_of_lie(lie: Lie) -> Mark {
    match lie {
        Lie::Straight => Mark::Straight,
        Lie::Diverging => Mark::Diverging,
    }
}

/// What of a thing an order asks; nothing where one word cannot say it.
pub(crate) fn mark_ordered(output: &Output) -> Option<(Thing, Mark)> {
    Some(match *output {
        Output::Throw { turnout, lie } => (Thing::Turnout(turnout), mark_of_lie(lie)),
        Output::Power { district, live } => (Thing::District(district), if live { Mark::Live } else { Mark::Dark }),
        Output::Accessory { accessory, on } => (Thing::Accessory(accessory), if on { Mark::On } else { Mark::Off }),
        _ => return None,
    })
}

/// What a mark orders of a thing; nothing where it makes no sense of it.
pub(crate) fn order_of(thing: Thing, mark: Mark) -> Option<Output> {
    Some(match (thing, mark) {
        (Thing::Turnout(turnout), Mark::Straight) => Output::Throw { turnout, lie: Lie::Straight },
        (Thing::Turnout(turnout), Mark::Diverging) => Output::Throw { turnout, lie: Lie::Diverging },
        (Thing::District(district), mark) => Output::Power { district, live: mark == Mark::Live },
        (Thing::Accessory(accessory), mark) => Output::Accessory { accessory, on: mark == Mark::On },
        _ => return None,
    })
}

/// What such a thing is called.
pub(crate) fn kind_word(thing: Thing) -> &'static str {
    match thing {
        Thing::Section(_) => "section",
        Thing::Spot(_) => "spot",
        Thing::Reader(_) => "reader",
        Thing::Turnout(_) => "turnout",
        Thing::Signal(_) => "signal",
        Thing::Train(_) => "train",
        Thing::District(_) => "district",
        Thing::Accessory(_) => "accessory",
        Thing::Input(_) => "input",
    }
}

/// `section quay-1`.
pub(crate) fn title(thing: Thing, name: &str) -> String {
    format!("{} {name}", kind_word(thing))
}

/// Who is meant by what readers read.
#[derive(Debug)]
pub(crate) struct Trains {
    by_name: BTreeMap<String, TrainId>,
    by_address: BTreeMap<Address, TrainId>,
}

impl Trains {
    pub(crate) fn new(layout: &Arc<Layout>) -> Self {
        let by_name = layout.trains.iter().map(|(id, train)| (train.name.clone(), id)).collect();
        let decoders =
            layout.trains.iter().flat_map(|(id, train)| train.decoders().map(move |(address, _)| (address, id)));
        let by_address = decoders.collect();
        Self { by_name, by_address }
    }

    /// The train of that address.
    pub(crate) fn at(&self, address: Address) -> Option<TrainId> {
        self.by_address.get(&address).copied()
    }

    /// The train that a text names: by its name, or by its address, before which an `S` or an `L` may say whether it is short
    /// or long. A bare number that is both is nobody's.
    pub(crate) fn named(&self, text: &str) -> Option<TrainId> {
        let text = text.trim();
        if let Some(&train) = self.by_name.get(text) {
            return Some(train);
        }
        let number = |text: &str| text.parse::<u64>().ok();
        if let Some(short) = text.strip_prefix(['S', 's']).and_then(number) {
            return self.at(Address::short(short)?);
        }
        if let Some(long) = text.strip_prefix(['L', 'l']).and_then(number) {
            return self.at(Address::long(long)?);
        }
        let number = number(text)?;
        let short = Address::short(number).and_then(|address| self.at(address));
        let long = Address::long(number).and_then(|address| self.at(address));
        match (short, long) {
            (Some(one), None) | (None, Some(one)) => Some(one),
            _ => None,
        }
    }
}

/// A reader read a train.
pub(crate) fn read_by(detector: DetectorId, train: TrainId) -> Input {
    Input::TrainRead { detector, train }
}
