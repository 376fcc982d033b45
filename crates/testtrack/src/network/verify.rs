//! What would be wrong with a network: whoever draws one up must be able to rely on it.

use std::collections::BTreeSet;

use track::{Beyond, Current, Graph, Id as _, Layout, Length, Voltage};

/// What a detector is taken to be sure to see of which nobody said how it senses.
pub(super) const THRESHOLD_UNSAID: Current = Current::from_ua(1_000);

/// Everything that is wrong with a layout of the swarm, in plain words; nothing where all is well.
pub fn faults_of(layout: &Layout) -> Vec<String> {
    let mut found = Vec::new();
    check_ends(layout, &mut found);
    check_ways(layout, &mut found);
    check_names(layout, &mut found);
    check_room(layout, &mut found);
    check_sight(layout, &mut found);
    if layout.ways.values().any(|way| way.length.is_some()) && layout.ways.values().any(|way| way.length.is_none()) {
        found.push("some of the track is measured and some is not".to_owned());
    }
    for section in Graph::new(layout).unreachable_sections(layout) {
        found.push(format!("no track leads to {}", layout.sections[section].name));
    }
    if layout.trains.is_empty() {
        found.push("there is no train".to_owned());
    }
    found
}

fn check_ends(layout: &Layout, found: &mut Vec<String>) {
    for (id, end) in layout.ends.iter() {
        let leads_on = !end.meets.is_empty() && end.beyond == Beyond::Joint;
        let ends_here = end.meets.is_empty() && end.beyond == Beyond::BufferStop;
        if !leads_on && !ends_here {
            found.push(format!("{} leads nowhere", layout.end_name(id)));
        }
        if end.meets.contains(&id) {
            found.push(format!("{} meets itself", layout.end_name(id)));
        }
    }
}

/// Ways from one end must be told apart by a turnout.
fn check_ways(layout: &Layout, found: &mut Vec<String>) {
    for (id, end) in layout.ends.iter() {
        for (index, &one) in end.ways.iter().enumerate() {
            for &other in &end.ways[index + 1..] {
                let (one, other) = (&layout.ways[one], &layout.ways[other]);
                let differ = one.needs.iter().any(|need| {
                    other.needs.iter().any(|theirs| theirs.turnout == need.turnout && theirs.lie != need.lie)
                });
                if !differ {
                    found.push(format!("no turnout tells two ways from {} apart", layout.end_name(id)));
                }
            }
        }
    }
}

fn check_names(layout: &Layout, found: &mut Vec<String>) {
    let mut twice = |kind: &str, names: Vec<&String>| {
        let mut seen = BTreeSet::new();
        for name in names {
            if !seen.insert(name) {
                found.push(format!("two {kind} are called {name}"));
            }
        }
    };
    twice("sections", layout.sections.values().map(|row| &row.name).collect());
    twice("turnouts", layout.turnouts.values().map(|row| &row.name).collect());
    twice("signals", layout.signals.values().map(|row| &row.name).collect());
    twice("stopping points", layout.stops.values().map(|row| &row.name).collect());
    twice("detectors", layout.detectors.values().map(|row| &row.name).collect());
    twice("trains", layout.trains.values().map(|row| &row.name).collect());
}

/// The longest train fits at every stopping point, and no two trains stand on one track at first.
fn check_room(layout: &Layout, found: &mut Vec<String>) {
    let longest = layout.trains.values().filter_map(track::Train::length).max().unwrap_or(Length::ZERO);
    for stop in layout.stops.values() {
        let ways = &layout.ends[stop.towards].ways;
        let room = ways.iter().filter_map(|&way| layout.ways[way].length).min();
        if room.is_some_and(|room| room - stop.short_of_end < longest) {
            found.push(format!("the longest train does not fit at {}", stop.name));
        }
    }
    let mut taken = vec![false; layout.sections.len()];
    for (train, start) in layout.trains.values().filter_map(|train| Some((train, train.start.as_ref()?))) {
        for section in &start.on {
            if std::mem::replace(&mut taken[section.index()], true) {
                found.push(format!("{} stands where another train stands", train.name));
            }
        }
    }
}

/// Every axle that is said to be seen is seen by itself, by every detector, at every voltage of the layout.
fn check_sight(layout: &Layout, found: &mut Vec<String>) {
    let lowest = layout.districts.values().filter_map(|district| district.voltage).min();
    let lowest = lowest.unwrap_or(Voltage::from_mv(15_000));
    for detector in layout.detectors.values() {
        let Some(sensing) = detector.sensing else { continue };
        for train in layout.trains.values() {
            let mut axles = train.vehicles.iter().flat_map(|vehicle| &vehicle.axles);
            if axles.any(|axle| axle.current(lowest, sensing.kind.drop()) < sensing.sure_from()) {
                found.push(format!("{} may miss axles of {}", detector.name, train.name));
            }
        }
    }
}
