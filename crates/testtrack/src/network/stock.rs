//! Trains for a network: what they are made of, and where they stand at first.

use track::{
    Acceleration, Axle, Current, Draw, EndId, Length, Resistance, SensingKind, Speed, SpeedSteps, Start, Train,
    Vehicle, Voltage,
};

use super::sketch::{Sketch, Standing};
use super::verify::THRESHOLD_UNSAID;
use crate::random::Stream;

/// So much longer than a train a track must be that it may stand on.
const ROOM: Length = Length::from_mm(300);

/// Axles are so far from the ends of a vehicle.
const OVERHANG_MM: i64 = 25;

/// Districts are fed with this at least.
pub(super) const LOWEST_VOLTAGE: Voltage = Voltage::from_mv(14_000);

/// Puts trains on tracks to stand on, one each, and leaves every piece a track free.
pub(super) fn put_trains(sketch: &mut Sketch) {
    let mut tracks = sketch.standing.clone();
    let mut rooms = sketch.rooms.clone();
    let most = (tracks.len() as u64 * 2 / 5).clamp(2, sketch.habits.trains_most);
    let shortest = tracks.iter().map(|track| track.length).min().unwrap_or(Length::ZERO);
    for _ in 0..most {
        tracks.retain(|track| rooms[track.piece] > 0);
        if tracks.is_empty() {
            return;
        }
        let at = sketch.stream.below(tracks.len() as u64) as usize;
        let Standing { section, piece, .. } = tracks.swap_remove(at);
        rooms[piece] -= 1;
        let Some(name) = sketch.names.train() else { return };
        let ends = sketch.builder.layout().sections[section].ends.clone();
        let nose = sketch.stream.one_of(&ends).copied();
        let sure_from = sketch.habits.sensing.map_or(THRESHOLD_UNSAID, |sensing| sensing.sure_from());
        let mut works = Works { stream: &mut sketch.stream, longest: shortest - ROOM, sure_from };
        let train = works.train(name, (section, nose));
        sketch.builder.train(train);
    }
}

/// Where trains are made.
struct Works<'a> {
    stream: &'a mut Stream,
    /// No train is longer.
    longest: Length,
    /// What every detector is sure to see.
    sure_from: Current,
}

impl Works<'_> {
    fn train(&mut self, name: &str, (on, nose): (track::SectionId, Option<EndId>)) -> Train {
        let vehicles = self.vehicles();
        let steps = [SpeedSteps::Steps14, SpeedSteps::Steps28, SpeedSteps::Steps126, SpeedSteps::Steps126];
        Train {
            vehicles,
            speed_steps: self.stream.one_of(&steps).copied().unwrap_or(SpeedSteps::Steps126),
            top_speed: Some(Speed::from_mm(self.stream.between(120, 260))),
            acceleration: Some(Acceleration::from_mm(self.stream.between(40, 120))),
            braking: Some(Acceleration::from_mm(self.stream.between(60, 180))),
            speed_tolerance_permille: self.stream.between(0, 200),
            start: Some(Start { on: vec![on], nose }),
            ..Train::stranger(name)
        }
    }

    /// A railcar, carriages, wagons that no detector sees behind the engine or ahead of it, or with a brake van at the end.
    fn vehicles(&mut self) -> Vec<Vehicle> {
        let kind = self.stream.below(5);
        let mut vehicles = vec![self.engine()];
        let most = if kind == 0 { 1 } else { self.stream.between(1, 6) };
        for _ in 0..most {
            let mm = self.stream.between(90, 240);
            let next = if kind <= 1 { self.carriage(mm) } else { wagon(mm) };
            let length: Length = vehicles.iter().map(|vehicle| vehicle.length).sum();
            if length + next.length + Length::from_mm(120) > self.longest {
                break;
            }
            vehicles.push(next);
        }
        match kind {
            // The engine pushes: the blind wagons lead.
            3 => vehicles.reverse(),
            4 => vehicles.push(self.carriage(100)),
            _ => {}
        }
        vehicles
    }

    /// An engine: all of its axles collect current, for its motor, its lights and its decoder.
    fn engine(&mut self) -> Vehicle {
        let mm = self.stream.between(120, 220);
        let more = Current::from_ua(self.stream.between(2_000, 10_000));
        vehicle("engine", mm, Draw::Share(self.sure_from + more))
    }

    /// A carriage or a van of which every axle has a resistor of 10 kilohms where detectors see so little, else lit ones.
    fn carriage(&mut self, mm: i64) -> Vehicle {
        let resistor = Resistance::from_ohm(10_000);
        let drawn = resistor.current_at(LOWEST_VOLTAGE - SensingKind::DiodeDrop.drop());
        if drawn >= self.sure_from {
            vehicle("carriage", mm, Draw::Resistor(resistor))
        } else {
            vehicle("lit carriage", mm, Draw::Share(self.sure_from + Current::from_ua(1_000)))
        }
    }
}

/// A wagon that draws nothing.
fn wagon(mm: i64) -> Vehicle {
    Vehicle { name: "wagon".to_owned(), length: Length::from_mm(mm), detectable: None, axles: Vec::new() }
}

fn vehicle(name: &str, mm: i64, draw: Draw) -> Vehicle {
    let places = [OVERHANG_MM, mm / 2, mm - OVERHANG_MM].map(Length::from_mm);
    let detectable = Some((places[0], places[2]));
    let axles = places.map(|at| Axle { at, draw }).to_vec();
    Vehicle { name: name.to_owned(), length: Length::from_mm(mm), detectable, axles }
}
