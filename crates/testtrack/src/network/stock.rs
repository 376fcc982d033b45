//! Trains for a network: what they are made of, and where they stand at first.

use track::{Acceleration, Axle, Current, Draw, EndId, Length, Resistance, Speed, SpeedSteps, Start, Train, Vehicle};

use super::sketch::{Sketch, Standing};
use crate::random::Stream;

/// So much longer than a train a track must be that it may stand on.
const ROOM: Length = Length::from_mm(300);

/// Axles are so far from the ends of a vehicle.
const OVERHANG_MM: i64 = 25;

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
        let train = train(&mut sketch.stream, name, shortest - ROOM, (section, nose));
        sketch.builder.train(train);
    }
}

fn train(stream: &mut Stream, name: &str, longest: Length, (on, nose): (track::SectionId, Option<EndId>)) -> Train {
    let vehicles = vehicles(stream, longest);
    let steps = [SpeedSteps::Steps14, SpeedSteps::Steps28, SpeedSteps::Steps126, SpeedSteps::Steps126];
    Train {
        vehicles,
        speed_steps: stream.one_of(&steps).copied().unwrap_or(SpeedSteps::Steps126),
        top_speed: Some(Speed::from_mm(stream.between(120, 260))),
        acceleration: Some(Acceleration::from_mm(stream.between(40, 120))),
        braking: Some(Acceleration::from_mm(stream.between(60, 180))),
        speed_tolerance_permille: stream.between(0, 200),
        start: Some(Start { on: vec![on], nose }),
        ..Train::stranger(name)
    }
}

/// A railcar, lit carriages, wagons that no detector sees behind the engine or ahead of it, or with a brake van at the end.
fn vehicles(stream: &mut Stream, longest: Length) -> Vec<Vehicle> {
    let kind = stream.below(5);
    let mut vehicles = vec![engine(stream)];
    let most = if kind == 0 { 1 } else { stream.between(1, 6) };
    for _ in 0..most {
        let mm = stream.between(90, 240);
        let next = match kind {
            0 | 1 => carriage(mm),
            _ => Vehicle { name: "wagon".to_owned(), length: Length::from_mm(mm), detectable: None, axles: Vec::new() },
        };
        let length: Length = vehicles.iter().map(|vehicle| vehicle.length).sum();
        if length + next.length + Length::from_mm(120) > longest {
            break;
        }
        vehicles.push(next);
    }
    match kind {
        // The engine pushes: the blind wagons lead.
        3 => vehicles.reverse(),
        4 => vehicles.push(carriage(100)),
        _ => {}
    }
    vehicles
}

/// An engine: all of its axles collect current, for its motor, its lights and its decoder.
fn engine(stream: &mut Stream) -> Vehicle {
    let mm = stream.between(120, 220);
    let share = Draw::Share(Current::from_ua(stream.between(6_000, 15_000)));
    let axles = [OVERHANG_MM, mm / 2, mm - OVERHANG_MM].map(|at| Axle { at: Length::from_mm(at), draw: share });
    vehicle("engine", mm, axles.to_vec())
}

/// A carriage or a van of which every axle has a resistor of 10 kilohms.
fn carriage(mm: i64) -> Vehicle {
    let draw = Draw::Resistor(Resistance::from_ohm(10_000));
    let axles = [OVERHANG_MM, mm - OVERHANG_MM].map(|at| Axle { at: Length::from_mm(at), draw });
    vehicle("carriage", mm, axles.to_vec())
}

fn vehicle(name: &str, mm: i64, axles: Vec<Axle>) -> Vehicle {
    let detectable = Some((Length::from_mm(OVERHANG_MM), Length::from_mm(mm - OVERHANG_MM)));
    Vehicle { name: name.to_owned(), length: Length::from_mm(mm), detectable, axles }
}
