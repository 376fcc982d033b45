//! A published rule that is not safe, and that ours is not that rule.
//!
//! The source is D. Jackson's model of a railway among the sample models of Alloy (AlloyTools/models, models/transport/railway.als).
//! Trains stand on segments, some of which overlap, and leave a segment only while its gate is open. The rule closes every gate
//! towards an occupied or overlapped segment, and of two gates towards segments that overlap it opens one at most. Safe is a
//! state in which no segment has two trains on what overlaps it. The model shows that the rule leads from a safe state to one
//! that is not: into two segments that do not overlap each other, but both overlap a third.
//!
//! As track: two parallel tracks, both crossed by a third, all under one detector.

use std::sync::Arc;

use track::routes::Reason;
use track::{Beyond, Layout, Length, Routes};

use super::*;

/// `s1 - d1` and `s2 - d2`, crossed by `n - s`, all three through the section `x`.
fn crossed_twice() -> Layout {
    let mut builder = builder();
    let crossing = builder.section("x");
    builder.area_detector(crossing);
    for (from, to) in [("s1", "d1"), ("s2", "d2"), ("n", "s")] {
        let ends = [from, to].map(|outside| {
            let inside = builder.end(crossing, outside);
            let section = builder.plain_section(outside, Some(Length::from_mm(1200)));
            let (near, far) = (end(&builder, section, "b"), end(&builder, section, "a"));
            builder.join(near, inside);
            builder.close(far, Beyond::BufferStop);
            builder.signal(format!("from {outside}"), near);
            inside
        });
        builder.way(ends[0], ends[1], Some(Length::from_mm(700)));
    }
    builder.train(railcar("Heron"));
    builder.train(railcar("Plover"));
    builder.build()
}

/// The published model on that track. A state is the segments of the two trains.
mod naive {
    use std::collections::BTreeSet;

    pub(super) type State = [&'static str; 2];

    const SEGMENTS: [&str; 9] = ["s1", "over 1", "d1", "s2", "over 2", "d2", "n", "across", "s"];
    const NEXT: [(&str, &str); 6] =
        [("s1", "over 1"), ("over 1", "d1"), ("s2", "over 2"), ("over 2", "d2"), ("n", "across"), ("across", "s")];

    fn overlaps(one: &str, other: &str) -> bool {
        let crosses = |one: &str, other: &str| one == "across" && other.starts_with("over");
        one == other || crosses(one, other) || crosses(other, one)
    }

    fn next(segment: &str) -> impl Iterator<Item = &'static str> {
        NEXT.into_iter().filter(move |&(from, _)| from == segment).map(|(_, to)| to)
    }

    pub(super) fn is_safe(state: State) -> bool {
        SEGMENTS.iter().all(|segment| state.iter().filter(|on| overlaps(segment, on)).count() <= 1)
    }

    /// Whether the rule allows just these gates to be open.
    fn is_allowed(open: &[&str], state: State) -> bool {
        let towards_train = |gate: &str| next(gate).any(|to| state.iter().any(|on| overlaps(to, on)));
        let rivals = |one: &str, other: &str| next(one).any(|to| next(other).any(|theirs| overlaps(to, theirs)));
        let clash = |one: &str| open.iter().any(|&other| one != other && rivals(one, other));
        !open.iter().any(|&gate| towards_train(gate) || clash(gate))
    }

    /// The unsafe states to which the rule leads from safe ones, whichever trains move.
    pub(super) fn admitted() -> BTreeSet<State> {
        let mut bad = BTreeSet::new();
        for state in SEGMENTS.iter().flat_map(|one| SEGMENTS.map(|other| [*one, other])).filter(|&state| is_safe(state))
        {
            for gates in 0_u32..1 << SEGMENTS.len() {
                let is_open = |place: usize| gates >> place & 1 == 1;
                let open: Vec<&str> =
                    (0..SEGMENTS.len()).filter(|&place| is_open(place)).map(|place| SEGMENTS[place]).collect();
                if !is_allowed(&open, state) {
                    continue;
                }
                let moves = state.map(|on| {
                    let onward = next(on).filter(|_| open.contains(&on));
                    std::iter::once(on).chain(onward).collect::<Vec<_>>()
                });
                let after = moves[0].iter().flat_map(|&one| moves[1].iter().map(move |&other| [one, other]));
                bad.extend(after.filter(|&state| !is_safe(state)));
            }
        }
        bad
    }
}

#[test]
fn closing_the_gates_behind_trains_lets_two_of_them_onto_tracks_that_a_third_crosses() {
    // If it did not, the test below would prove nothing.
    assert!(naive::is_safe(["over 1", "s2"]) && !naive::is_safe(["over 1", "over 2"]));
    assert_eq!(naive::admitted().into_iter().collect::<Vec<_>>(), [["over 1", "over 2"], ["over 2", "over 1"]]);
}

#[test]
fn no_two_trains_are_on_tracks_that_a_third_crosses_under_one_detector() {
    let mut world = World::new(crossed_twice());
    world.put("Heron", "s1", "s1.b");
    world.put("Plover", "s2", "s2.b");
    assert_eq!(world.go_to_section("Heron", "d1"), Answer::Accepted);
    assert_eq!(world.go_to_section("Plover", "d2"), Answer::Accepted);
    // The table itself fails where two trains are in one section.
    let crossing = world.section("x");
    let mut passed = Vec::new();
    for name in ["Heron", "Plover"] {
        let train = world.train(name);
        assert!(world.run(60.0, |world| world.signaller.interlock().granted_to(crossing) == Some(train)));
        passed.push(world.nose("Plover").0.to_owned());
    }
    assert_eq!(passed, ["s2", "s2"], "the second waits before the crossing until the first is through");
    assert!(world.run(60.0, |world| world.has_arrived("Heron") && world.has_arrived("Plover")));
    assert_eq!(world.waits("Plover"), ["`x` is taken by `Heron`"]);
}

#[test]
fn routes_over_tracks_that_a_third_crosses_under_one_detector_exclude_each_other() {
    let layout = Arc::new(crossed_twice());
    let routes = Routes::new(Arc::clone(&layout));
    let route = |name: &str| routes.named(name).unwrap();
    let crossing = layout.section_named("x").unwrap();
    let reasons = routes.between(route("from s1-d1.a"), route("from s2-d2.a"));
    assert!(reasons.contains(&Reason::Section(crossing)), "{reasons:?}");
}
