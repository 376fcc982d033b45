//! What holds of every diagram: of the demo, of what the swarm draws, of thousands of sections.

use std::collections::BTreeMap;
use std::path::Path;

use testtrack::network;
use track::{Builder, Hint, Layout, Lie, Scale, SectionId};

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

/// The demo with wishes for its drawing: what is drawn, and what is said of the wishes that are not kept to.
fn wished(hints: &[Hint]) -> (Diagram, Vec<(usize, String)>) {
    let (diagram, unheeded) = Diagram::wished(&demo(), hints);
    assert_eq!(overlaps(&diagram), vec![]);
    (diagram, unheeded.into_iter().map(|it| (it.hint, it.why)).collect())
}

fn named(section: &str) -> SectionId {
    demo().section_named(section).unwrap()
}

fn above(upper: &str, lower: &str) -> Hint {
    Hint::Above { upper: named(upper), lower: named(lower) }
}

/// How far along an end of a plain section lies.
fn across(diagram: &Diagram, end: &str) -> f64 {
    let ways = diagram.sections.iter().flat_map(|section| &section.ways);
    let found = ways.into_iter().find_map(|way| match way.ends.iter().position(|it| it == end)? {
        0 => Some(way.line[0][0]),
        _ => way.line.last().map(|at| at[0]),
    });
    found.unwrap()
}

#[test]
fn the_branch_is_turned_round_where_its_other_end_is_wanted_on_the_left() {
    let plain = Diagram::of(&demo());
    assert!(across(&plain, "quay-1.a") < across(&plain, "quay-1.b"));
    let (turned, unheeded) = wished(&[Hint::Left(demo().end_named("quay-1.b").unwrap())]);
    assert_eq!(unheeded, vec![]);
    assert!(across(&turned, "quay-1.b") < across(&turned, "quay-1.a"));
    assert!(across(&turned, "harbour-1.b") < across(&turned, "harbour-1.a"), "and with it what hangs on it");
    assert_eq!(crossings(&turned), 0);
}

#[test]
fn a_section_lies_above_another_where_that_is_wanted() {
    let plain = Diagram::of(&demo());
    for (one, other) in [("quay-1", "quay-2"), ("loop-1", "loop-2"), ("yard-1", "yard-5"), ("shore-1", "hill-1")] {
        let is_above = lane_of(&plain, one) < lane_of(&plain, other);
        let (upper, lower) = if is_above { (other, one) } else { (one, other) };
        let (drawn, unheeded) = wished(&[above(upper, lower)]);
        assert_eq!(unheeded, vec![]);
        assert!(lane_of(&drawn, upper) < lane_of(&drawn, lower), "`{upper}` above `{lower}`");
    }
    let order = ["yard-3", "yard-1", "yard-5", "yard-2", "yard-4"];
    let hints: Vec<Hint> = order.windows(2).map(|two| above(two[0], two[1])).collect();
    let (drawn, unheeded) = wished(&hints);
    assert_eq!(unheeded, vec![]);
    let lanes = order.map(|section| lane_of(&drawn, section));
    assert!(lanes.windows(2).all(|two| two[0] < two[1]), "{lanes:?}");
}

#[test]
fn the_side_of_a_ring_that_is_drawn_backwards_can_be_chosen() {
    // With the quays at the left the tunnel leads home; the shore could as well.
    let (drawn, unheeded) = wished(&[Hint::Backwards(named("hill-2"))]);
    assert_eq!(unheeded, vec![]);
    let runs = |diagram: &Diagram, section: &str| {
        let [a, b] = ["a", "b"].map(|end| across(diagram, &format!("{section}.{end}")));
        a < b
    };
    let plain = Diagram::of(&demo());
    assert!(runs(&plain, "hill-2") != runs(&drawn, "hill-2") || runs(&plain, "tunnel-2") != runs(&drawn, "tunnel-2"));
}

#[test]
fn wishes_that_cannot_be_are_told_and_all_others_are_kept_to() {
    let (drawn, unheeded) = wished(&[
        above("loop-2", "loop-1"),
        above("loop-1", "loop-2"),
        above("harbour-1", "harbour-2"),
        Hint::Left(demo().end_named("quay-1.b").unwrap()),
        Hint::Left(demo().end_named("quay-2.a").unwrap()),
        Hint::Backwards(named("quay-1")),
        Hint::Backwards(named("yard-1")),
    ]);
    assert_eq!(
        unheeded,
        [
            (1, "`loop-1` cannot be above `loop-2`: by what is written before, it is below".to_owned()),
            (
                2,
                "`harbour-1` and `harbour-2` are drawn in one row: the track runs straight from one to the other"
                    .to_owned()
            ),
            (4, "`quay-2.a` comes to lie on the right if the ends named before it are on the left".to_owned()),
            (5, "`quay-1` is not drawn backwards: no ring would be open by that".to_owned()),
            (6, "`yard-1` is not drawn backwards: no ring would be open by that".to_owned()),
        ]
    );
    assert!(lane_of(&drawn, "loop-2") < lane_of(&drawn, "loop-1"));
    assert!(across(&drawn, "quay-1.b") < across(&drawn, "quay-1.a"));
}

/// Wishes drawn by a seed, for any plain sections.
fn drawn_wishes(layout: &Layout, seed: u64) -> Vec<Hint> {
    let plain: Vec<SectionId> = layout
        .sections
        .iter()
        .filter(|(_, section)| section.ways.len() == 1 && section.ends.len() == 2)
        .map(|(id, _)| id)
        .collect();
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    let mut next = |most: usize| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state % most as u64) as usize
    };
    let mut hints = Vec::new();
    for _ in 0..if plain.is_empty() { 0 } else { 6 } {
        let (one, other) = (plain[next(plain.len())], plain[next(plain.len())]);
        hints.push(match next(4) {
            0 => Hint::Left(layout.sections[one].ends[next(2)]),
            1 => Hint::Backwards(one),
            _ if one == other => continue,
            _ => Hint::Above { upper: one, lower: other },
        });
    }
    hints
}

#[test]
fn on_any_railway_a_wish_is_kept_to_exactly_or_told() {
    let (mut kept, mut told) = (0, 0);
    for seed in 0..300 {
        let layout = if seed % 3 == 0 { network::drawn_crossed(seed) } else { network::drawn(seed) };
        let hints = drawn_wishes(&layout, seed);
        let (diagram, unheeded) = Diagram::wished(&layout, &hints);
        assert_eq!(overlaps(&diagram), vec![], "seed {seed}: {hints:?}");
        let section = |id: SectionId| layout.sections[id].name.as_str();
        let ends = |id: SectionId| layout.sections[id].ends.iter().map(|&end| across(&diagram, &layout.end_name(end)));
        for (number, hint) in hints.iter().enumerate() {
            if unheeded.iter().any(|it| it.hint == number) {
                told += 1;
                continue;
            }
            kept += 1;
            match *hint {
                Hint::Above { upper, lower } => {
                    assert!(
                        lane_of(&diagram, section(upper)) < lane_of(&diagram, section(lower)),
                        "seed {seed}: {hint:?}"
                    );
                }
                Hint::Left(end) => {
                    let here = across(&diagram, &layout.end_name(end));
                    assert!(ends(layout.ends[end].section).all(|at| here <= at), "seed {seed}: {hint:?}");
                }
                // Told apart below.
                Hint::Backwards(_) => {}
            }
        }
    }
    println!("{kept} wishes kept to, {told} told");
    assert!(kept > 300 && told > 100, "{kept} kept to, {told} told");
}

#[test]
fn a_ring_is_opened_wherever_every_train_that_goes_round_it_must_pass() {
    let (mut rings, mut choices, mut kept) = (0, 0, 0);
    for seed in 0..300 {
        let layout = network::drawn(seed);
        let sides = sides::sides(&layout);
        let default = columns::columns(&layout, &sides, &[]);
        let default: Vec<SectionId> =
            default.returns.iter().flat_map(|found| &found.ways).map(|(way, ..)| layout.ways[*way].section).collect();
        if default.is_empty() {
            continue;
        }
        rings += 1;
        for (id, section) in layout.sections.iter() {
            if section.ways.len() == 1 && section.ends.len() == 2 {
                choices += 1;
                let (diagram, unheeded) = Diagram::wished(&layout, &[Hint::Backwards(id)]);
                assert_eq!(overlaps(&diagram), vec![], "seed {seed}: {}", section.name);
                if unheeded.is_empty() {
                    kept += 1;
                    // What would be its left end lies on the right.
                    let [left, right] = [Side::Left, Side::Right].map(|side| {
                        let end = *section.ends.iter().find(|end| sides[end.index()] == side).unwrap();
                        across(&diagram, &layout.end_name(end))
                    });
                    assert!(right < left, "seed {seed}: {}", section.name);
                }
            }
        }
    }
    println!("{rings} railways with rings, {choices} choices, {kept} kept to");
    assert!(rings > 30 && kept > 200, "{rings} railways with rings, {kept} choices kept to");
}
