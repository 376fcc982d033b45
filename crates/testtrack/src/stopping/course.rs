//! The course: a single line between two buffer stops, with stopping points in both directions.

use std::time::Duration;

use track::{
    Axle, Beyond, Builder, Current, Detector, DetectorKind, Draw, EndId, Layout, Length, Scale, SectionId, Speed,
    SpeedSteps, Start, Train, Vehicle, WayId,
};

use super::Fitted;
use crate::random::Stream;

/// Places along the line that trains stop at, from either side.
const STATIONS: usize = 4;
/// How long a section is between stations, and a stopping section where there are no spots, in millimetres.
const LINE: (i64, i64) = (700, 1400);
const STOPPING_SECTION: (i64, i64) = (300, 400);
/// How far short of a section's end its stopping points lie.
const SHORT_OF_END: Length = Length::from_mm(120);
/// How far before a stopping point its spots lie, in millimetres. The nearest one is passed by the first axle when the nose is
/// a finger's breadth short: a train is slow there already.
const SPOTS: [i64; 2] = [350, 50];

/// The course of a seed: lengths, speed limits, delays of detectors and the train are drawn.
pub(crate) fn drawn(seed: u64, fitted: Fitted) -> Layout {
    let stream = &mut Stream::labelled(seed, "stopping course");
    let mut builder = Builder::new(format!("course {seed}"), Scale::named("H0").unwrap_or(Scale::UNKNOWN));
    let mut line: Vec<SectionId> = Vec::new();
    let mut first = None;
    for station in 1..=STATIONS {
        let limit = Speed::from_mm(stream.between(80, 300));
        if fitted == Fitted::Sections {
            line.push(section(&mut builder, &format!("west-{station}"), STOPPING_SECTION, limit, stream));
        }
        let middle = section(&mut builder, &format!("line-{station}"), LINE, limit, stream);
        first = first.or(Some(middle));
        line.push(middle);
        if fitted == Fitted::Sections {
            line.push(section(&mut builder, &format!("east-{station}"), STOPPING_SECTION, limit, stream));
        }
        let (west, east) =
            if fitted == Fitted::Sections { (line[line.len() - 3], line[line.len() - 1]) } else { (middle, middle) };
        for (name, end) in [("west", ends(&builder, west)[0]), ("east", ends(&builder, east)[1])] {
            builder.stop(format!("station {station} {name}"), end, SHORT_OF_END);
            if fitted == Fitted::Spots {
                spots(&mut builder, end, stream);
            }
        }
    }
    for pair in line.windows(2) {
        let (from, to) = (ends(&builder, pair[0])[1], ends(&builder, pair[1])[0]);
        builder.join(from, to);
    }
    let outermost = [line.first().map(|&it| ends(&builder, it)[0]), line.last().map(|&it| ends(&builder, it)[1])];
    outermost.into_iter().flatten().for_each(|end| builder.close(end, Beyond::BufferStop));
    let start = first.map(|middle| Start { on: vec![middle], nose: Some(ends(&builder, middle)[1]) });
    builder.train(train(stream, start));
    builder.build()
}

fn ends(builder: &Builder, section: SectionId) -> [EndId; 2] {
    let ends = &builder.layout().sections[section].ends;
    [ends[0], ends[1]]
}

fn section(
    builder: &mut Builder,
    name: &str,
    (least, most): (i64, i64),
    limit: Speed,
    stream: &mut Stream,
) -> SectionId {
    let section = builder.plain_section(name, Some(Length::from_mm(stream.between(least, most))));
    let row = &builder.layout().sections[section];
    let (way, detector) = (row.ways[0], row.detector);
    builder.limit(way, limit);
    if let Some(detector) = detector {
        let detector = builder.detector_mut(detector);
        (detector.on_delay, detector.off_delay) = (delay(stream), delay(stream));
    }
    section
}

/// Spots before a stopping point that lies towards an end.
fn spots(builder: &mut Builder, end: EndId, stream: &mut Stream) {
    let way = builder.layout().ends[end].ways[0];
    let described = &builder.layout().ways[way];
    let (is_first, length) = (described.ends[0] == end, described.length.unwrap_or(Length::ZERO));
    for before in SPOTS {
        let from_end = SHORT_OF_END + Length::from_mm(before);
        spot(builder, way, if is_first { from_end } else { length - from_end }, stream);
    }
}

/// A detector takes 20 to 200 ms, and the layout says how long.
fn delay(stream: &mut Stream) -> Duration {
    Duration::from_millis(stream.between(20, 200) as u64)
}

fn spot(builder: &mut Builder, way: WayId, at: Length, stream: &mut Stream) {
    let kind = DetectorKind::Spot { way, from_first_end: Some(at) };
    let name = format!("spot {}", builder.layout().detectors.len());
    let mut detector = Detector::new(name, kind);
    detector.on_delay = delay(stream);
    builder.detector(detector);
}

/// An engine with two carriages, of which nobody measured how it gathers speed and brakes.
fn train(stream: &mut Stream, start: Option<Start>) -> Train {
    let mut vehicle = |name: &str, least, most| {
        let length = Length::from_mm(stream.between(least, most));
        let overhang = Length::from_mm(stream.between(20, 30));
        let bogie = Length::from_mm(32);
        let places = [overhang, overhang + bogie, length - overhang - bogie, length - overhang];
        let axles = places.map(|at| Axle { at, draw: Draw::Share(Current::from_ua(5_000)) }).to_vec();
        Vehicle { name: name.to_owned(), length, detectable: Some((overhang, length - overhang)), axles }
    };
    let vehicles = vec![vehicle("engine", 160, 230), vehicle("carriage", 200, 260), vehicle("carriage", 200, 260)];
    let steps = [SpeedSteps::Steps14, SpeedSteps::Steps28, SpeedSteps::Steps126, SpeedSteps::Steps126];
    Train {
        vehicles,
        speed_steps: stream.one_of(&steps).copied().unwrap_or(SpeedSteps::Steps126),
        top_speed: Some(Speed::from_mm(stream.between(150, 300))),
        speed_tolerance_permille: 150,
        start,
        ..Train::stranger("Heron")
    }
}
