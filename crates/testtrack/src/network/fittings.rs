//! What a network is fitted with once its track lies: signals, stopping points, spots, readers, districts, links.

use std::time::Duration;

use track::{Beyond, Detector, DetectorKind, EndId, Length, SectionId, Voltage};

use super::sketch::Sketch;
use super::stock::LOWEST_VOLTAGE;

/// How far short of a signal, and of a buffer stop, a nose should stand.
const SHORT_OF_SIGNAL: Length = Length::from_mm(80);
const SHORT_OF_BUFFER: Length = Length::from_mm(150);

/// How far before an end spots lie: where trains begin to brake, and where they creep.
const SPOTS_MM: [(&str, i64); 2] = [("brake", 480), ("creep", 240)];

pub(super) fn fit(sketch: &mut Sketch) {
    set_signals(sketch);
    if sketch.habits.measured {
        set_stops(sketch);
    }
    set_readers(sketch);
    feed(sketch);
    wire(sketch);
}

/// The other end of a plain section; nothing where the section has turnouts.
fn across(sketch: &Sketch, end: EndId) -> Option<EndId> {
    let layout = sketch.builder.layout();
    let ways = &layout.sections[layout.ends[end].section].ways;
    (ways.len() == 1).then(|| layout.far_end(ways[0], end))
}

/// A signal wherever plain track meets turnouts, and now and then in the middle of a line.
fn set_signals(sketch: &mut Sketch) {
    let mut count = 0;
    for end in sketch.builder.layout().ends.ids() {
        let layout = sketch.builder.layout();
        let [next] = layout.ends[end].meets[..] else { continue };
        if across(sketch, end).is_none() {
            continue;
        }
        let before_turnouts = across(sketch, next).is_none();
        let watched = |end: EndId| !layout.is_dark(layout.ends[end].section);
        let may_block = watched(end) && watched(next);
        if before_turnouts || (may_block && sketch.chance(sketch.habits.block_signals)) {
            count += 1;
            sketch.builder.signal(format!("S{count}"), end);
        }
    }
}

/// A stopping point before every signal and buffer stop on tracks to stand on, and spots before it.
fn set_stops(sketch: &mut Sketch) {
    for standing in sketch.standing.clone() {
        let ends = sketch.builder.layout().sections[standing.section].ends.clone();
        for end in ends {
            let row = &sketch.builder.layout().ends[end];
            let short = if row.beyond == Beyond::BufferStop { SHORT_OF_BUFFER } else { SHORT_OF_SIGNAL };
            let name = sketch.builder.layout().end_name(end);
            sketch.builder.stop(&name, end, short);
            if sketch.habits.spots {
                set_spots(sketch, end, &name, standing.length);
            }
        }
    }
}

fn set_spots(sketch: &mut Sketch, end: EndId, name: &str, length: Length) {
    let layout = sketch.builder.layout();
    let [way] = layout.ends[end].ways[..] else { return };
    let counts_from_here = layout.ways[way].ends[0] == end;
    for (what, mm) in SPOTS_MM {
        let before = Length::from_mm(mm);
        let from_first_end = Some(if counts_from_here { before } else { length - before });
        let on_delay = Duration::from_millis(sketch.stream.between(0, 30) as u64);
        let kind = DetectorKind::Spot { way, from_first_end };
        sketch.builder.detector(Detector { on_delay, ..Detector::new(format!("{name} {what}"), kind) });
    }
}

fn set_readers(sketch: &mut Sketch) {
    let places: Vec<_> = sketch.standing.iter().map(|standing| standing.section).collect();
    let mut taken: Vec<SectionId> = Vec::new();
    for index in 0..sketch.habits.readers {
        let Some(&section) = sketch.stream.one_of(&places) else { return };
        if !taken.contains(&section) {
            taken.push(section);
            sketch.builder.detector(Detector::new(format!("reader {}", index + 1), DetectorKind::Reader(section)));
        }
    }
}

/// Cuts the network into one to four districts, in the order in which it was built.
fn feed(sketch: &mut Sketch) {
    let sections: Vec<_> = sketch.builder.layout().sections.ids().collect();
    let count = sketch.stream.between(1, 4).min(sections.len() as i64) as usize;
    let volts = sketch.stream.between(LOWEST_VOLTAGE.mv() / 1000, 18);
    for (index, part) in sections.chunks(sections.len().div_ceil(count)).enumerate() {
        let district = sketch.builder.district(format!("district {}", index + 1));
        sketch.builder.district_mut(district).voltage = Some(Voltage::from_mv(volts * 1000));
        sketch.builder.district_mut(district).is_switched = true;
        for &section in part {
            sketch.builder.feed(section, district);
        }
    }
}

/// Lets links carry the reports: each those of neighbouring detectors and turnouts.
fn wire(sketch: &mut Sketch) {
    let count = sketch.habits.links as usize;
    if count == 0 {
        return;
    }
    let links: Vec<_> = (1..=count).map(|index| sketch.builder.link(format!("link {index}"))).collect();
    let carried_by = |section: SectionId, sections: usize| {
        let index = track::Id::index(section) * count / sections.max(1);
        links.get(index).copied()
    };
    let layout = sketch.builder.layout();
    let sections = layout.sections.len();
    let place = |kind| match kind {
        DetectorKind::Area(section) | DetectorKind::Reader(section) => section,
        DetectorKind::Spot { way, .. } => layout.ways[way].section,
    };
    let detectors: Vec<_> =
        layout.detectors.iter().map(|(id, row)| (id, carried_by(place(row.kind), sections))).collect();
    let of_turnouts =
        layout.turnouts.iter().filter_map(|(id, row)| Some((id, carried_by(*row.sections.first()?, sections))));
    let turnouts: Vec<_> = of_turnouts.collect();
    for (detector, link) in detectors {
        sketch.builder.detector_mut(detector).link = link;
    }
    for (turnout, link) in turnouts {
        sketch.builder.turnout_mut(turnout).link = link;
    }
}
