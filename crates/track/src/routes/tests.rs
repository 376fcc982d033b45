//! Small pieces of track, and track by lot.

use std::sync::Arc;

use super::*;
use crate::{Beyond, Builder, Length, Overlap, Scale};

/// Track in a few words a line:
/// `plain NAME`, `turnout NAME MOTOR` (ends toe, one, two), `join END END`, `signal NAME END`, `overlap SIGNAL MM`,
/// `stop NAME END`, `buffer END`.
fn track(text: &str) -> Routes {
    let mut builder = Builder::new("t", Scale::UNKNOWN);
    for line in text.lines().map(str::trim).filter(|line| !line.is_empty()) {
        let words: Vec<&str> = line.split_whitespace().collect();
        let end = |builder: &Builder, name: &str| builder.layout().end_named(name).unwrap();
        match words[..] {
            ["plain", name] => {
                builder.plain_section(name, Some(Length::from_mm(1000)));
            }
            ["turnout", name, motor] => {
                let known = builder.layout().turnout_named(motor);
                let motor = known.unwrap_or_else(|| builder.turnout(motor));
                let section = builder.section(name);
                let [toe, one, two] = ["toe", "one", "two"].map(|end| builder.end(section, end));
                for (to, lie) in [(one, Lie::Straight), (two, Lie::Diverging)] {
                    let way = builder.way(toe, to, Some(Length::from_mm(240)));
                    builder.need(way, motor, lie);
                }
                builder.area_detector(section);
            }
            ["join", one, other] => builder.join(end(&builder, one), end(&builder, other)),
            ["signal", name, at] => {
                builder.signal(name, end(&builder, at));
            }
            ["overlap", name, mm] => {
                let signal = builder.layout().signal_named(name).unwrap();
                builder.signal_mut(signal).overlap = Overlap::Length(Length::from_mm(mm.parse().unwrap()));
            }
            ["stop", name, at] => {
                builder.stop(name, end(&builder, at), Length::ZERO);
            }
            ["buffer", at] => builder.close(end(&builder, at), Beyond::BufferStop),
            _ => panic!("`{line}` says nothing"),
        }
    }
    Routes::new(Arc::new(builder.build()))
}

fn names(routes: &Routes, signal: &str) -> Vec<String> {
    let entry = routes.layout().signal_named(signal).unwrap();
    routes.fan(entry).routes.iter().map(|route| route.name.clone()).collect()
}

fn route<'r>(routes: &'r Routes, name: &str) -> &'r Route {
    routes.route(routes.named(name).unwrap_or_else(|| panic!("no route `{name}`")))
}

fn sections<'r>(routes: &'r Routes, name: &str) -> Vec<&'r str> {
    route(routes, name).sections().map(|section| routes.layout().sections[section].name.as_str()).collect()
}

fn turnouts(routes: &Routes, name: &str) -> Vec<(String, Lie)> {
    let of = |need: &Need| (routes.layout().turnouts[need.turnout].name.clone(), need.lie);
    route(routes, name).turnouts.iter().map(of).collect()
}

/// The flank protection in words.
fn flank(routes: &Routes, name: &str) -> Vec<String> {
    let layout = routes.layout();
    let by = |flank: &Flank| match flank.by {
        Protection::Turnout(need) => format!("{} {:?}", layout.turnouts[need.turnout].name, need.lie),
        Protection::Signal(signal) => layout.signals[signal].name.clone(),
        Protection::None(Exposure::Edge(end)) => format!("open to the edge at {}", layout.end_name(end)),
        Protection::None(Exposure::Siding(end)) => format!("open to the siding {}", layout.end_name(end)),
        Protection::None(Exposure::FarAway(_)) => "open to far away".to_owned(),
    };
    route(routes, name).flank.iter().map(|flank| format!("{}: {}", layout.end_name(flank.leg), by(flank))).collect()
}

fn reasons(routes: &Routes, one: &str, other: &str) -> Vec<String> {
    let (one, other) = (routes.named(one).unwrap(), routes.named(other).unwrap());
    assert_eq!(routes.between(one, other), routes.between(other, one), "a conflict is one for both");
    routes.between(one, other).iter().map(|reason| reason.in_words(routes.layout())).collect()
}

/// A loop with a siding off its second track: signals at both ends of both tracks, and outside.
const LOOP: &str = "
    plain west
    turnout in W1
    plain one
    plain two
    turnout out W2
    plain east
    join west.b in.toe
    join in.one one.a
    join in.two two.a
    join one.b out.one
    join two.b out.two
    join out.toe east.a
    signal A west.b
    signal B one.b
    signal C two.b
    signal K east.a
    signal L one.a
    signal M two.a
";

#[test]
fn a_route_leads_to_every_next_signal_that_faces_the_same_way() {
    let routes = track(LOOP);
    assert_eq!(names(&routes, "A"), ["A-B", "A-C"]);
    assert_eq!(names(&routes, "B"), ["B-east.b"]);
    assert_eq!(names(&routes, "L"), ["L-west.a"]);
    assert_eq!(sections(&routes, "A-C"), ["in", "two"]);
    assert_eq!(turnouts(&routes, "A-C"), [("W1".to_owned(), Lie::Diverging)]);
    assert_eq!(route(&routes, "A-C").berth(routes.layout()), routes.layout().section_named("west").unwrap());
}

#[test]
fn trains_that_would_meet_or_need_a_turnout_otherwise_exclude_each_other() {
    let routes = track(LOOP);
    assert_eq!(reasons(&routes, "A-B", "A-C"), ["both begin at `A`"]);
    assert_eq!(reasons(&routes, "A-B", "K-L"), ["they meet in `one`"]);
    assert_eq!(reasons(&routes, "A-B", "L-west.a"), ["they meet in `in`"]);
    assert_eq!(
        reasons(&routes, "A-B", "M-west.a"),
        [
            "both lead through `in`",
            "they need `W1` both straight and diverging",
            "the flank of one needs `M` at danger"
        ]
    );
    assert_eq!(reasons(&routes, "A-B", "K-M"), [""; 0], "trains cross in the loop");
    assert_eq!(reasons(&routes, "A-B", "B-east.b"), [""; 0], "one follows from the other");
}

#[test]
fn several_paths_to_one_exit_are_told_apart_by_number() {
    let routes = track(&LOOP.replace("signal B one.b", "").replace("signal C two.b", "signal C east.b"));
    assert_eq!(names(&routes, "A"), ["A-C/1", "A-C/2"]);
    assert_eq!(sections(&routes, "A-C/1"), ["in", "one", "out", "east"]);
    assert_eq!(sections(&routes, "A-C/2"), ["in", "two", "out", "east"]);
    assert_eq!(routes.named("A-C"), None);
}

#[test]
fn a_route_leads_to_a_stopping_point_before_the_signal_and_before_buffers_only_to_those() {
    let routes = track(
        "plain a\nplain b\nplain c\njoin a.b b.a\njoin b.b c.a\nbuffer c.b\nsignal S a.b\nstop halt b.b\nstop end c.b",
    );
    assert_eq!(names(&routes, "S"), ["S-halt", "S-c.b"]);
    assert_eq!(sections(&routes, "S-halt"), ["b"]);
}

#[test]
fn a_signal_at_the_edge_clears_for_whatever_lies_beyond() {
    let routes = track("plain a\nsignal S a.b");
    assert_eq!(names(&routes, "S"), ["S-a.b"]);
    assert!(route(&routes, "S-a.b").passages.is_empty());
}

#[test]
fn a_signal_on_a_circle_is_its_own_next_one() {
    let routes = track("plain a\nplain b\njoin a.b b.a\njoin b.b a.a\nsignal S a.b");
    assert_eq!(names(&routes, "S"), ["S-S"]);
    assert_eq!(sections(&routes, "S-S"), ["b", "a"]);
}

#[test]
fn a_path_that_comes_back_without_a_signal_is_no_route_and_is_told_of() {
    let balloon =
        "plain line\nturnout neck W1\nplain bow\njoin line.b neck.toe\njoin neck.one bow.a\njoin bow.b neck.two
        signal S line.b";
    let routes = track(balloon);
    let fan = routes.fan(routes.layout().signal_named("S").unwrap());
    assert!(fan.routes.is_empty());
    let lost: Vec<String> = fan.lost.iter().map(|&end| routes.layout().end_name(end)).collect();
    assert_eq!(lost, ["neck.one", "neck.two"]);
    let routes = track(&format!("{balloon}\nsignal T bow.b\nsignal U bow.a"));
    assert_eq!(names(&routes, "S"), ["S-T", "S-U"]);
    assert_eq!(names(&routes, "T"), ["T-line.a"]);
    assert_eq!(flank(&routes, "S-T"), [""; 0], "the other leg is the end of its own path");
    assert_eq!(flank(&routes, "T-line.a"), [""; 0], "the other leg leads back to where the train stands");
}

#[test]
fn the_other_turnout_of_a_crossover_protects_and_stays_so() {
    let crossover = "plain w1\nplain w2\nplain e1\nplain e2\nturnout p P\nturnout q Q\njoin w1.b p.toe\njoin p.one e1.a
        join p.two q.two\njoin q.toe e2.a\njoin q.one w2.b\nsignal A w1.b\nsignal B w2.b\nsignal K e1.a\nsignal L e2.a";
    let routes = track(crossover);
    assert_eq!(names(&routes, "A"), ["A-e1.b", "A-e2.b"]);
    assert_eq!(flank(&routes, "A-e1.b"), ["p.two: Q Straight"]);
    assert_eq!(flank(&routes, "A-e2.b"), ["p.one: K", "q.one: B"]);
    assert_eq!(reasons(&routes, "A-e1.b", "B-e2.b"), [""; 0]);
    assert!(reasons(&routes, "A-e1.b", "L-w1.a").contains(&"the flank of one needs `Q` otherwise".to_owned()));
    // Both ends of the crossover on one motor: the same, said by the path itself.
    let routes = track(&crossover.replace("turnout q Q", "turnout q P"));
    assert_eq!(flank(&routes, "A-e1.b"), ["p.two: P Straight"]);
    assert_eq!(reasons(&routes, "A-e1.b", "B-e2.b"), [""; 0]);
}

#[test]
fn trains_keep_out_of_each_others_overlap() {
    let routes = track(&format!("{LOOP}\noverlap B 100\noverlap C 100\noverlap L 100"));
    let overlap = &route(&routes, "A-B").overlap;
    let out = routes.layout().section_named("out").unwrap();
    let motor = routes.layout().turnout_named("W2").unwrap();
    assert_eq!((&overlap.sections, &overlap.turnouts), (&vec![out], &vec![(motor, Some(Lie::Straight))]));
    assert_eq!(
        reasons(&routes, "A-B", "K-M"),
        ["`out` is the overlap of one", "the overlap of one needs `W2` otherwise"],
        "no more trains cross in the loop"
    );
    assert_eq!(reasons(&routes, "A-B", "B-east.b"), [""; 0], "who goes on takes the overlap over");
    assert_eq!(reasons(&routes, "A-B", "C-east.b")[0], "`out` is the overlap of one");
    assert_eq!(reasons(&routes, "A-C", "K-L")[0], "`in` is the overlap of one");
}

#[test]
fn a_turnout_that_an_overlap_may_lead_over_either_way_is_locked_however_it_lies() {
    let routes =
        track("plain a\nplain b\nturnout t W\njoin a.b b.a\njoin b.b t.toe\nsignal S a.b\nsignal T b.b\noverlap T 50");
    let motor = routes.layout().turnout_named("W").unwrap();
    assert_eq!(route(&routes, "S-T").overlap.turnouts, [(motor, None)]);
    assert_eq!(route(&routes, "S-T").locks().collect::<Vec<_>>(), [(motor, None, LockedFor::Overlap)]);
}

#[test]
fn a_flank_that_nothing_protects_is_said_to_be_open() {
    let legs = "plain a\nplain b\nplain c\nturnout t W\njoin a.b t.toe\njoin t.one b.a\njoin t.two c.a\nsignal S a.b";
    assert_eq!(flank(&track(legs), "S-b.b"), ["t.two: open to the edge at c.b"]);
    assert_eq!(flank(&track(&format!("{legs}\nbuffer c.b")), "S-b.b"), ["t.two: open to the siding c.b"]);
    // A turnout that would only be run through protects nobody.
    let trailed =
        format!("{legs}\nplain d\nplain e\nturnout u V\njoin c.b u.toe\njoin u.one d.a\njoin u.two e.a\nsignal D d.a");
    assert_eq!(flank(&track(&trailed), "S-b.b"), ["t.two: D", "t.two: open to the edge at e.b"]);
}

#[test]
fn a_turnout_that_a_person_throws_protects_nobody() {
    let text = "plain a\nplain b\nplain c\nplain d\nturnout t W\nturnout u V\njoin a.b t.toe\njoin t.one b.a
        join t.two u.two\njoin u.one c.a\njoin u.toe d.a\nsignal S a.b\nsignal K d.a";
    assert_eq!(flank(&track(text), "S-b.b"), ["t.two: V Straight"]);
    let mut builder = Builder::from(track(text).layout().clone());
    let turnout = builder.layout().turnout_named("V").unwrap();
    builder.turnout_mut(turnout).worked = false;
    let routes = Routes::new(Arc::new(builder.build()));
    assert_eq!(flank(&routes, "S-b.b"), ["t.two: K"]);
}

#[test]
fn a_junction_that_nobody_reports_is_led_over_and_named() {
    let routes = track(
        "plain a\nplain b\nplain c\njoin a.b b.a\njoin a.b c.a\nsignal S a.b\nsignal T b.a\nsignal B b.b\nsignal C c.b",
    );
    assert_eq!(names(&routes, "S"), ["S-B", "S-C"]);
    let unproved: Vec<String> =
        route(&routes, "S-C").unproved.iter().map(|&end| routes.layout().end_name(end)).collect();
    assert_eq!(unproved, ["a.b"]);
    assert_eq!(flank(&routes, "S-C"), ["a.b: T"]);
    assert_eq!(flank(&routes, "S-B"), ["a.b: open to the edge at c.b"]);
    assert_eq!(flank(&routes, "T-a.a"), ["a.b: open to the edge at c.b"]);
}

#[test]
fn nothing_is_reckoned_before_somebody_asks() {
    let routes = track(LOOP);
    let reckoned = |routes: &Routes| routes.fans.values().filter(|fan| fan.get().is_some()).count();
    assert_eq!(reckoned(&routes), 0);
    assert_eq!(routes.from_signal(routes.layout().signal_named("A").unwrap()).count(), 2);
    assert_eq!(reckoned(&routes), 1);
}

#[test]
fn a_maze_without_signals_ends() {
    let mut text = "plain s\nsignal S s.b\njoin s.b t0.toe\n".to_owned();
    for step in 0..40 {
        text += &format!("turnout t{step} W{step}\nturnout u{step} V{step}\n");
        text += &format!("join t{step}.one u{step}.one\njoin t{step}.two u{step}.two\n");
        if step > 0 {
            text += &format!("join u{}.toe t{step}.toe\n", step - 1);
        }
    }
    // What is joined must be there.
    let (declared, joined): (Vec<&str>, Vec<&str>) = text.lines().partition(|line| !line.starts_with("join"));
    let routes = track(&format!("{}\n{}", declared.join("\n"), joined.join("\n")));
    let fan = routes.fan(routes.layout().signal_named("S").unwrap());
    assert!(fan.is_cut_short);
    assert_eq!(fan.routes.len(), MOST_ROUTES);
}

/// Track by lot: turnouts and plain sections joined at random, signals at some ends.
fn by_lot(seed: u64) -> Routes {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    let mut below = |bound: usize| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize % bound
    };
    let (mut text, mut ends) = (String::new(), Vec::new());
    for place in 0..14 {
        if below(2) == 0 {
            text += &format!("turnout s{place} W{}\n", below(9));
            ends.extend(["toe", "one", "two"].map(|end| format!("s{place}.{end}")));
        } else {
            text += &format!("plain s{place}\n");
            ends.extend(["a", "b"].map(|end| format!("s{place}.{end}")));
        }
    }
    for place in (1..ends.len()).rev() {
        ends.swap(place, below(place + 1));
    }
    for pair in ends[..ends.len() - 6].chunks(2).filter(|pair| pair.len() == 2) {
        text += &format!("join {} {}\n", pair[0], pair[1]);
    }
    for (place, end) in ends.iter().enumerate() {
        if below(3) > 0 {
            text += &format!("signal S{place} {end}\n");
            if below(3) == 0 {
                text += &format!("overlap S{place} {}\n", 1 + below(1500));
            }
        }
    }
    track(&text)
}

#[test]
fn no_conflict_is_missed_by_looking_only_near_by() {
    let (mut pairs, mut conflicts) = (0, 0);
    for seed in 1..=60 {
        let routes = by_lot(seed);
        let all: Vec<RouteId> = routes.all().collect();
        for &one in &all {
            let near: Vec<RouteId> = routes.conflicts(one).iter().map(|conflict| conflict.with).collect();
            let every: Vec<RouteId> =
                all.iter().copied().filter(|&other| other != one && !routes.between(one, other).is_empty()).collect();
            assert_eq!(near, every, "seed {seed}, {}", routes.route(one).name);
            pairs += all.len() - 1;
            conflicts += every.len();
        }
    }
    assert!(conflicts > 1_000 && pairs > 2 * conflicts, "{conflicts} conflicts of {pairs} pairs prove nothing");
}

#[test]
fn no_turnout_is_locked_both_ways_by_one_route() {
    for seed in 1..=60 {
        let routes = by_lot(seed);
        for id in routes.all() {
            let route = routes.route(id);
            let lies: Vec<_> = route.locks().filter_map(|(turnout, lie, _)| Some((turnout, lie?))).collect();
            for (turnout, lie) in &lies {
                assert!(lies.iter().all(|(other, theirs)| other != turnout || theirs == lie), "seed {seed}");
            }
        }
    }
}
