//! Trains as they were described: vehicles in order, what of them a detector can see, how they are driven.

use std::time::Duration;

use crate::electrics::{Current, Resistance, Voltage};
use crate::ids::{EndId, LinkId, SectionId};
use crate::units::{Acceleration, Length, Speed};

/// A train: vehicles in order from the front as it usually runs.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Train {
    /// Its name.
    pub name: String,
    /// Its vehicles, front first. Empty where nobody said what it is made of.
    pub vehicles: Vec<Vehicle>,
    /// The decoder's address.
    pub address: Option<Address>,
    /// The link that carries the orders for it, where that was said.
    pub link: Option<LinkId>,
    /// How many speed steps its decoder is driven with.
    pub speed_steps: SpeedSteps,
    /// Its speed at the highest step.
    pub top_speed: Option<Speed>,
    /// How it may gather speed.
    pub acceleration: Option<Acceleration>,
    /// How it may brake in ordinary service.
    pub braking: Option<Acceleration>,
    /// How much of gravity gets through its gears to its wheels, in thousandths: all of it would be free rolling.
    pub gradient_share_permille: i64,
    /// How far the real speed may differ from what its speed curve says, in thousandths.
    pub speed_tolerance_permille: i64,
    /// How long it stands at least at a stopping point before it sets out again.
    pub dwell: Duration,
    /// How long it takes to set out once it may.
    pub start_delay: Duration,
    /// What of its decoders is switched on when.
    pub functions: Vec<Function>,
    /// Its engines, where there are several, each with a decoder of its own: they run together.
    pub engines: Vec<Engine>,
    /// Where it stands when the layout is first loaded.
    pub start: Option<Start>,
}

/// A function of a decoder, by its number, and when it is on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Function {
    /// Its number; 0 is called FL in NMRA S-9.2.1.
    pub number: u8,
    /// When it is on.
    pub on: On,
}

/// When a function is on. Where several rules name one function it is on whenever one of them says so.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum On {
    /// While the train is driven at some step.
    Moving,
    /// While it is not.
    Standing,
    /// While its first vehicle leads.
    Forward,
    /// While its last vehicle leads.
    Backward,
    /// For so long from when it is about to set out.
    AtStart(Duration),
    /// For so long from when it is told to stand.
    AtStop(Duration),
}

impl Function {
    /// The highest number (NMRA S-9.2.1: F0 to F28).
    pub const HIGHEST: u8 = crate::dcc::HIGHEST_FUNCTION;
}

/// An engine of a train that has several.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Engine {
    /// Which vehicle of the train it is, counted from 0.
    pub vehicle: usize,
    /// Its decoder's address.
    pub address: Address,
    /// How it stands in the train.
    pub facing: Facing,
}

/// How an engine stands in its train.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum Facing {
    /// Forward is forward for it, too.
    Ahead,
    /// It runs backward when the train runs forward.
    Astern,
}

/// Where a train stands at first.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Start {
    /// The sections it stands on, tail first.
    pub on: Vec<SectionId>,
    /// The end that its front points at, where that was said.
    pub nose: Option<EndId>,
}

/// One vehicle.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Vehicle {
    /// Its name, for people.
    pub name: String,
    /// Length over buffers or couplings.
    pub length: Length,
    /// From its first to its last axle that a detector can see, measured from its front; nothing where it draws no current.
    pub detectable: Option<(Length, Length)>,
    /// Its axles that draw current, front first. Empty where nobody said which: then only `detectable` is known.
    pub axles: Vec<Axle>,
}

/// An axle that draws current.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Axle {
    /// Where it is, measured from the vehicle's front.
    pub at: Length,
    /// What it draws.
    pub draw: Draw,
}

/// What an axle draws.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
pub enum Draw {
    /// What flows through the resistor between its wheels: the more, the higher the voltage.
    Resistor(Resistance),
    /// Its share of what motor, decoder and lights draw together while the vehicle stands, whatever the voltage: as long as
    /// all axles that collect current touch the rails.
    Share(Current),
}

impl Axle {
    /// What it draws of track at `voltage`, of which a detector takes `drop` away. Nothing where nothing is left.
    pub fn current(&self, voltage: Voltage, drop: Voltage) -> Current {
        let left = voltage - drop;
        match self.draw {
            Draw::Resistor(resistance) => resistance.current_at(left),
            Draw::Share(current) if left > Voltage::ZERO => current,
            Draw::Share(_) => Current::ZERO,
        }
    }
}

/// A decoder's address (NMRA S-9.2 baseline, S-9.2.1 extended).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
pub enum Address {
    /// 7-bit, 1 to 127.
    Short(u8),
    /// 14-bit, 0 to 10239.
    Long(u16),
}

impl Address {
    /// The highest short address (NMRA S-9.2: first byte 0AAAAAAA, 0 being the broadcast).
    pub const HIGHEST_SHORT: u8 = 127;
    /// The highest long address (NMRA S-9.2.1: first bytes 0xC0 to 0xE7).
    pub const HIGHEST_LONG: u16 = 10_239;

    /// A short address, where the number is one.
    pub fn short(number: u64) -> Option<Self> {
        let number = u8::try_from(number).ok()?;
        (1..=Self::HIGHEST_SHORT).contains(&number).then_some(Self::Short(number))
    }

    /// A long address, where the number is one.
    pub fn long(number: u64) -> Option<Self> {
        let number = u16::try_from(number).ok()?;
        (number <= Self::HIGHEST_LONG).then_some(Self::Long(number))
    }
}

/// Speed steps of a decoder (NMRA S-9.2, S-9.2.1).
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum SpeedSteps {
    /// 14 steps.
    Steps14,
    /// 28 steps.
    Steps28,
    /// 126 steps, of the 128-step instruction.
    Steps126,
}

impl SpeedSteps {
    /// The kind of decoder with so many steps, where there is one.
    pub fn of_count(count: u64) -> Option<Self> {
        [Self::Steps14, Self::Steps28, Self::Steps126].into_iter().find(|steps| u64::from(steps.highest()) == count)
    }

    /// The number of the highest step.
    pub const fn highest(self) -> u8 {
        match self {
            Self::Steps14 => 14,
            Self::Steps28 => 28,
            Self::Steps126 => 126,
        }
    }
}

impl Vehicle {
    /// So far at most a vehicle may stick out beyond its wheels into a section that it has left, or has not come to yet. The gaps
    /// between sections lie farther than that from where tracks come too near to each other. Common practice, no source.
    pub const OVERHANG: Length = Length::from_mm(40);

    /// How far it sticks out beyond its wheels where nobody said: 25 mm, or a quarter of its length where that is less. Common
    /// practice, no source.
    fn overhang(&self) -> Length {
        Length::from_mm(25).min(self.length.scaled(1, 4)).min(Self::OVERHANG)
    }
}

impl Train {
    /// A train of which only the name is known.
    pub fn stranger(name: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            vehicles: Vec::new(),
            address: None,
            link: None,
            speed_steps: SpeedSteps::Steps126,
            top_speed: None,
            acceleration: None,
            braking: None,
            gradient_share_permille: Self::GRADIENT_SHARE_PERMILLE,
            speed_tolerance_permille: 0,
            dwell: Duration::ZERO,
            start_delay: Duration::ZERO,
            functions: Vec::new(),
            engines: Vec::new(),
            start: None,
        }
    }

    /// How much of gravity gets through the gears of a train of which nobody said it: most of them hold still on a gradient
    /// without current. Common practice, no source.
    pub const GRADIENT_SHARE_PERMILLE: i64 = 100;

    /// The decoders that an order for the train is for, each with how it stands in the train.
    pub fn decoders(&self) -> impl Iterator<Item = (Address, Facing)> + '_ {
        let own = self.address.map(|address| (address, Facing::Ahead));
        own.into_iter().chain(self.engines.iter().map(|engine| (engine.address, engine.facing)))
    }

    /// Its whole length, where its vehicles are known.
    pub fn length(&self) -> Option<Length> {
        (!self.vehicles.is_empty()).then(|| self.vehicles.iter().map(|vehicle| vehicle.length).sum())
    }

    /// The length ahead of the first axle that a detector can see. The whole length where it sees none.
    pub fn blind_front(&self) -> Length {
        let mut ahead = Length::ZERO;
        for vehicle in &self.vehicles {
            if let Some((first, _)) = vehicle.detectable {
                return ahead + first;
            }
            ahead += vehicle.length;
        }
        ahead
    }

    /// The length behind the last axle that a detector can see. The whole length where it sees none.
    pub fn blind_rear(&self) -> Length {
        let mut behind = Length::ZERO;
        for vehicle in self.vehicles.iter().rev() {
            if let Some((_, last)) = vehicle.detectable {
                return behind + (vehicle.length - last);
            }
            behind += vehicle.length;
        }
        behind
    }

    /// How far its first vehicle sticks out ahead of its wheels, as far as that is of no matter: see [`Vehicle::OVERHANG`].
    pub fn overhang_front(&self) -> Length {
        self.vehicles.first().map_or(Length::ZERO, Vehicle::overhang)
    }

    /// How far its last vehicle sticks out behind its wheels, as far as that is of no matter: see [`Vehicle::OVERHANG`].
    pub fn overhang_rear(&self) -> Length {
        self.vehicles.last().map_or(Length::ZERO, Vehicle::overhang)
    }

    /// The longest stretch inside the train, between neighbouring detectable vehicles, that no detector can see.
    pub fn blind_gap(&self) -> Length {
        let (mut gap, mut longest, mut seen) = (Length::ZERO, Length::ZERO, false);
        for vehicle in &self.vehicles {
            match vehicle.detectable {
                Some((first, last)) => {
                    if seen {
                        longest = longest.max(gap + first);
                    }
                    seen = true;
                    gap = vehicle.length - last;
                }
                None => gap += vehicle.length,
            }
        }
        longest
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn vehicle(mm: i64, detectable: Option<(i64, i64)>) -> Vehicle {
        let detectable = detectable.map(|(first, last)| (Length::from_mm(first), Length::from_mm(last)));
        Vehicle { name: String::new(), length: Length::from_mm(mm), detectable, axles: Vec::new() }
    }

    #[test]
    fn wagons_that_draw_no_current_make_a_blind_tail() {
        let train = Train {
            vehicles: vec![vehicle(120, Some((20, 100))), vehicle(90, None), vehicle(90, None)],
            ..Train::stranger("Heron")
        };
        assert_eq!(train.length(), Some(Length::from_mm(300)));
        assert_eq!(train.blind_front(), Length::from_mm(20));
        assert_eq!(train.blind_rear(), Length::from_mm(200));
        assert_eq!(train.blind_gap(), Length::ZERO);
    }

    #[test]
    fn a_train_that_no_detector_sees_is_blind_from_end_to_end() {
        let train = Train { vehicles: vec![vehicle(90, None), vehicle(60, None)], ..Train::stranger("trolleys") };
        assert_eq!(train.blind_front(), Length::from_mm(150));
        assert_eq!(train.blind_rear(), Length::from_mm(150));
    }
}
