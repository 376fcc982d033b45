//! What holds of every diagram: of the demo, of what the swarm draws, of thousands of sections.

use std::collections::BTreeMap;
use std::path::Path;

use testtrack::network;
use track::{Builder, Layout, Lie, Scale};

use super::*;

fn demo() -> Layout {
    let text = |name: &str| {
        std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout").join(name)).unwrap()
    };
    let files: BTreeMap<String, String> =
        ["layout.toml", "trains.toml"].into_iter().map(|name| (name.to_owned(), text(name))).collect();
    load(&files)
}

fn load(files: &BTreeMap<String, String>) -> Layout {
    layout::load(|name| Ok(files.get(name).map(|text| text.clone().into_bytes()))).unwrap().layout
}

/// Every line of the diagram, cut into straight pieces.
fn pieces(diagram: &Diagram) -> Vec<(usize, Place, Place)> {
    let ways = diagram.sections.iter().flat_map(|section| &section.ways).map(|way| &way.line);
    let lines = ways.chain(diagram.links.iter().map(|link| &link.line));
    lines.enumerate().flat_map(|(number, line)| line.windows(2).map(move |two| (number, two[0], two[1]))).collect()
}

fn turn(a: Place, b: Place, c: Place) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// How often lines cross each other.
fn crossings(diagram: &Diagram) -> usize {
    let pieces = pieces(diagram);
    let mut count = 0;
    for (index, &(line, a, b)) in pieces.iter().enumerate() {
        for &(other, c, d) in &pieces[index + 1..] {
            let is_proper = turn(a, b, c) * turn(a, b, d) < -1e-9 && turn(c, d, a) * turn(c, d, b) < -1e-9;
            count += usize::from(line != other && is_proper);
        }
    }
    count
}

/// Pairs of sections that are drawn over each other on level track.
fn overlaps(diagram: &Diagram) -> Vec<(String, String)> {
    let mut level: BTreeMap<i64, Vec<(f64, f64, &str)>> = BTreeMap::new();
    for section in &diagram.sections {
        for two in section.ways.iter().flat_map(|way| way.line.windows(2)).filter(|two| two[0][1] == two[1][1]) {
            let (from, to) = (two[0][0].min(two[1][0]), two[0][0].max(two[1][0]));
            level.entry((two[0][1] * 2.0) as i64).or_default().push((from, to, &section.name));
        }
    }
    let mut found = Vec::new();
    for lane in level.values_mut() {
        lane.sort_by(|a, b| a.partial_cmp(b).unwrap());
        for (index, one) in lane.iter().enumerate() {
            let over =
                lane[index + 1..].iter().take_while(|other| other.0 < one.1 - 1e-9).filter(|other| other.2 != one.2);
            found.extend(over.map(|other| (one.2.to_owned(), other.2.to_owned())));
        }
    }
    found
}

fn lane_of(diagram: &Diagram, section: &str) -> f64 {
    diagram.sections.iter().find(|drawn| drawn.name == section).unwrap().ways[0].line[0][1]
}

#[test]
fn the_harbour_branch_is_drawn_without_a_crossing() {
    let diagram = Diagram::of(&demo());
    assert_eq!((crossings(&diagram), overlaps(&diagram)), (0, vec![]));
    assert!(diagram.lanes <= 7.0 && diagram.columns <= 26.0, "{} by {}", diagram.columns, diagram.lanes);
    // The yard's tracks lie beside each other in the order in which its turnouts lead to them.
    let lanes: Vec<f64> = (1..=5).map(|track| lane_of(&diagram, &format!("yard-{track}"))).collect();
    assert!(lanes.windows(2).all(|two| (two[0] - two[1]).abs() == 1.0), "{lanes:?}");
    assert_eq!(diagram.turnouts.len(), 12);
    assert!(diagram.yards.len() >= 2, "{:?}", diagram.yards);
}

#[test]
fn the_tunnel_that_leads_home_is_drawn_backwards_and_even() {
    let diagram = Diagram::of(&demo());
    let tunnel: Vec<&DrawnWay> = (1..=3)
        .map(|number| &diagram.sections.iter().find(|drawn| drawn.name == format!("tunnel-{number}")).unwrap().ways[0])
        .collect();
    let long: Vec<f64> = tunnel.iter().map(|way| (way.line[0][0] - way.line[1][0]).abs()).collect();
    assert!(long.iter().all(|it| (it - long[0]).abs() < 0.2 && *it > 2.0), "{long:?}");
    assert!(tunnel.iter().all(|way| way.line.iter().all(|at| at[1] == tunnel[0].line[0][1])));
}

#[test]
fn a_section_more_moves_no_other_one_to_another_lane() {
    let before = Diagram::of(&demo());
    let text =
        std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout/layout.toml")).unwrap();
    let text = text.replace(
        "[[joint]]\nends = [\"harbour-1.b\", \"harbour-2.a\"]",
        "[[section]]\nname = \"cutting\"\nlength = 900\n\n[[joint]]\nends = [\"harbour-1.b\", \"cutting.a\"]\n\n[[joint]]\nends = [\"cutting.b\", \"harbour-2.a\"]",
    );
    let changed = load(&BTreeMap::from([("layout.toml".to_owned(), text)]));
    assert_eq!(changed.sections.len(), demo().sections.len() + 1);
    let after = Diagram::of(&changed);
    for section in &before.sections {
        let then = after.sections.iter().find(|drawn| drawn.name == section.name).unwrap();
        for (one, other) in section.ways.iter().zip(&then.ways) {
            let lanes = |way: &DrawnWay| way.line.iter().map(|at| at[1]).collect::<Vec<f64>>();
            assert_eq!(lanes(one), lanes(other), "{}", section.name);
        }
    }
}

#[test]
fn lines_that_meet_on_the_layout_meet_on_the_diagram() {
    for seed in 0..300 {
        let layout = if seed % 3 == 0 { network::drawn_crossed(seed) } else { network::drawn(seed) };
        let diagram = Diagram::of(&layout);
        assert_eq!(diagram, Diagram::of(&layout), "seed {seed} is drawn differently each time");
        let mut at: BTreeMap<&str, Place> = BTreeMap::new();
        for way in diagram.sections.iter().flat_map(|section| &section.ways) {
            for (end, place) in [(&way.ends[0], way.line[0]), (&way.ends[1], *way.line.last().unwrap())] {
                assert_eq!(*at.entry(end).or_insert(place), place, "seed {seed}: {end}");
                assert!(place[0] >= 0.0 && place[0] <= diagram.columns, "seed {seed}: {end} is off the diagram");
                assert!(place[1] >= 0.0 && place[1] < diagram.lanes, "seed {seed}: {end} is off the diagram");
            }
        }
        for link in &diagram.links {
            assert_eq!(
                [at[&*link.ends[0]], at[&*link.ends[1]]],
                [link.line[0], *link.line.last().unwrap()],
                "seed {seed}"
            );
        }
        for (end, row) in layout.ends.iter() {
            for &met in &row.meets {
                let names = [layout.end_name(end), layout.end_name(met)];
                let is_linked =
                    diagram.links.iter().any(|link| names.contains(&link.ends[0]) && names.contains(&link.ends[1]));
                assert!(is_linked || at[&*names[0]] == at[&*names[1]], "seed {seed}: {names:?} lie apart");
            }
        }
    }
}

#[test]
fn made_up_railways_are_drawn_with_few_crossings_and_nothing_over_anything_else() {
    let mut all = 0;
    for seed in 0..300 {
        let diagram = Diagram::of(&network::drawn(seed));
        assert_eq!(overlaps(&diagram), vec![], "seed {seed}");
        let crossings = crossings(&diagram);
        assert!(crossings <= 6, "seed {seed}: {crossings} crossings");
        all += crossings;
    }
    println!("{all} crossings on 300 railways");
    assert!(all <= 200, "{all} crossings on 300 railways");
}

/// A line of passing loops, with a yard now and then.
fn long_line(loops: usize) -> Layout {
    let mut line = Builder::new("Long line", Scale::UNKNOWN);
    let mut open = None;
    for number in 0..loops {
        let tracks = if number % 7 == 3 { 6 } else { 2 };
        let plain = line.plain_section(format!("line-{number}"), None);
        let (a, b) = (line.layout().sections[plain].ends[0], line.layout().sections[plain].ends[1]);
        if let Some(open) = open {
            line.join(open, a);
        } else {
            line.close(a, Beyond::BufferStop);
        }
        let [west, east] = ["west", "east"].map(|side| line.section(format!("{side}-{number}")));
        let [toe_west, toe_east] = [west, east].map(|section| line.end(section, "toe"));
        line.join(b, toe_west);
        let turnouts: Vec<_> = (1..tracks)
            .map(|turnout| ["w", "e"].map(|side| line.turnout(format!("{side}{number}-{turnout}"))))
            .collect();
        for track in 0..tracks {
            let plain = line.plain_section(format!("track-{number}-{track}"), None);
            let ends = line.layout().sections[plain].ends.clone();
            for (side, (section, toe)) in [(west, toe_west), (east, toe_east)].into_iter().enumerate() {
                let end = line.end(section, format!("t{track}"));
                line.join(ends[side], end);
                let way = line.way(toe, end, None);
                for (number, pair) in turnouts.iter().enumerate().take(track + 1) {
                    let lie = if number == track { Lie::Diverging } else { Lie::Straight };
                    line.need(way, pair[side], lie);
                }
            }
        }
        open = Some(toe_east);
    }
    if let Some(open) = open {
        line.close(open, Beyond::BufferStop);
    }
    line.build()
}

#[test]
fn a_railway_of_ten_thousand_sections_is_drawn_without_a_crossing() {
    let layout = long_line(1800);
    assert!(layout.sections.len() > 10_000, "{}", layout.sections.len());
    let diagram = Diagram::of(&layout);
    assert_eq!(overlaps(&diagram), vec![]);
    assert_eq!(crossings(&Diagram::of(&long_line(40))), 0);
    assert!(diagram.lanes <= 8.0, "{}", diagram.lanes);
}
