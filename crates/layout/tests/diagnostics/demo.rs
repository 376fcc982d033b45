//! Low Staithe, the shipped example, is held to what it promises.

use std::collections::BTreeSet;

use layout::Loaded;
use track::{Beyond, EndId, Graph, Layout, Length};

const ROOM_TO_SPARE: Length = Length::from_mm(300);

fn demo() -> Loaded {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout");
    layout::load(|name| Ok(std::fs::read(folder.join(name)).ok())).unwrap_or_else(|refused| panic!("{refused}"))
}

fn section_of(layout: &Layout, end: EndId) -> &str {
    &layout.sections[layout.ends[end].section].name
}

#[test]
fn low_staithe_has_no_mistake_and_no_warning() {
    let loaded = demo();
    assert!(loaded.warnings.is_empty(), "{}", loaded.warnings);
    let layout = &loaded.layout;
    assert_eq!((layout.sections.len(), layout.turnouts.len(), layout.trains.len()), (25, 12, 4));
    assert!(layout.ways.values().all(|way| way.length.is_some()), "everything was measured");
    assert!(layout.turnouts.values().any(|turnout| turnout.reported));
    assert!(layout.turnouts.values().any(|turnout| !turnout.reported));
}

#[test]
fn every_train_fits_every_stopping_place_with_room_to_spare() {
    let layout = demo().layout;
    let longest = layout.trains.values().filter_map(track::Train::length).max().unwrap();
    for stop in layout.stops.values() {
        for &way in &layout.ends[stop.towards].ways {
            let room = layout.ways[way].length.unwrap() - stop.short_of_end;
            assert!(room >= longest + ROOM_TO_SPARE, "{} has room for {room:?}", stop.name);
        }
    }
}

#[test]
fn every_signal_of_the_demo_has_a_stopping_point_and_every_quay_a_last_one() {
    let layout = demo().layout;
    let stops: BTreeSet<EndId> = layout.stops.values().map(|stop| stop.towards).collect();
    for signal in layout.signals.values() {
        assert!(stops.contains(&signal.at), "{} has none", signal.name);
    }
    for (id, end) in layout.ends.iter() {
        assert!(end.beyond != Beyond::BufferStop || stops.contains(&id), "{}", layout.end_name(id));
        assert_ne!(end.beyond, Beyond::OffLayout, "nothing leaves the table at {}", layout.end_name(id));
    }
}

#[test]
fn every_way_into_a_turnout_of_the_demo_is_guarded_by_a_signal() {
    let layout = demo().layout;
    for (id, end) in
        layout.ends.iter().filter(|(id, _)| layout.ends[*id].ways.iter().any(|&way| !layout.ways[way].needs.is_empty()))
    {
        for &before in &end.meets {
            let plain = layout.ends[before].ways.iter().all(|&way| layout.ways[way].needs.is_empty());
            assert!(!plain || layout.ends[before].signal.is_some(), "nothing guards {}", layout.end_name(id));
        }
    }
}

/// Whether a train that leaves `from` onward can come to enter `to`, never reversing.
fn can_run(layout: &Layout, from: &str, to: &str) -> Vec<String> {
    let graph = Graph::new(layout);
    let from = layout.end_named(from).unwrap();
    let entered = layout.ends[from].ways.iter().map(|&way| layout.far_end(way, from)).next().unwrap();
    let goal = layout.end_named(to).unwrap();
    let (path, _) =
        graph.path(entered, |end| end == goal, |passage| Some(track::distance_cost(layout, passage))).unwrap();
    path.iter().map(|passage| section_of(layout, passage.leave).to_owned()).collect()
}

#[test]
fn a_train_leaves_the_yard_by_the_east_and_comes_home_by_the_west() {
    let layout = demo().layout;
    for track in 1..=5 {
        let round = can_run(&layout, &format!("yard-{track}.b"), &format!("yard-{}.a", track % 5 + 1));
        assert!(round.contains(&"tunnel-2".to_owned()) && round.contains(&"hill-2".to_owned()), "{round:?}");
    }
}

#[test]
fn a_train_runs_from_the_quays_to_the_loop_and_to_the_yard_and_back() {
    let layout = demo().layout;
    assert_eq!(can_run(&layout, "quay-1.b", "loop-2.a").last().unwrap(), "loop-west");
    assert_eq!(can_run(&layout, "loop-2.a", "quay-1.b").last().unwrap(), "quay-throat");
    assert_eq!(can_run(&layout, "quay-2.b", "yard-4.b").last().unwrap(), "yard-east");
    assert_eq!(can_run(&layout, "yard-4.b", "quay-2.b").last().unwrap(), "quay-throat");
}

#[test]
fn the_trains_of_low_staithe_differ_in_length_and_in_what_can_be_seen() {
    let layout = demo().layout;
    let lengths: BTreeSet<_> = layout.trains.values().map(|train| train.length().unwrap()).collect();
    assert_eq!(lengths.len(), 4);
    let plover = &layout.trains[layout.train_named("Plover").unwrap()];
    assert_eq!(plover.blind_rear(), Length::from_mm(578), "as `trains.toml` says");
    let steps: BTreeSet<_> = layout.trains.values().map(|train| train.speed_steps.highest()).collect();
    assert_eq!(steps, BTreeSet::from([28, 126]));
    let standing: BTreeSet<_> = layout
        .trains
        .values()
        .flat_map(|train| train.start.as_ref().unwrap().on.clone())
        .map(|id| layout.sections[id].name.as_str())
        .collect();
    assert_eq!(standing, BTreeSet::from(["quay-1", "yard-1", "yard-2", "yard-3"]));
}

#[test]
fn what_is_seen_of_the_trains_of_low_staithe_follows_from_what_they_draw() {
    let layout = demo().layout;
    let seen = |name: &str| -> Vec<Option<(f64, f64)>> {
        let train = &layout.trains[layout.train_named(name).unwrap()];
        train.vehicles.iter().map(|vehicle| vehicle.detectable.map(|(first, last)| (first.mm(), last.mm()))).collect()
    };
    assert_eq!(seen("Heron"), [Some((25.0, 245.0)), Some((25.0, 237.0))]);
    assert_eq!(seen("Plover"), [Some((22.0, 106.0)), None, None, None, None, None]);
    let carriage = Some((25.0, 211.0));
    assert_eq!(seen("Dunlin"), [Some((30.0, 180.0)), carriage, carriage, Some((25.0, 197.0))]);
    assert_eq!(seen("Curlew"), [Some((28.0, 140.0)), None, None, None, None, Some((25.0, 79.0))]);
}

#[test]
fn everything_in_low_staithe_reports_by_the_box_of_its_district() {
    let layout = demo().layout;
    let box_of = |section| {
        let district = layout.sections[section].district.unwrap();
        layout.link_named(&format!("{} box", layout.districts[district].name))
    };
    for detector in layout.detectors.values() {
        let section = match detector.kind {
            track::DetectorKind::Area(section) | track::DetectorKind::Reader(section) => section,
            track::DetectorKind::Spot { way, .. } => layout.ways[way].section,
        };
        assert!(detector.link.is_some() && detector.link == box_of(section), "{}", detector.name);
    }
    for turnout in layout.turnouts.values() {
        assert!(turnout.link.is_some() && turnout.link == box_of(turnout.sections[0]), "{}", turnout.name);
    }
}
