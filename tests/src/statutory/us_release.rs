//! What keeps a route locked after its signal was put back to stop. Source: 49 CFR Part 236 (annual edition of 2015), 236.760
//! and 236.768. Here people drive, and set routes.

use std::time::Duration;

use signaller::{Answer, Conduct, Input, Request};
use track::Lie;
use track::routes::Exit;

use super::{Scene, buffer_stops, head, joints, sections, throat};

/// The preset time of both rules, as it is here.
const PRESET: Duration = signaller::interlock::RELEASE_DELAY;

/// `far` and `near`, which are given, lead over the turnout `T1` to `x` and `y`. Before it stands a controlled signal on each of
/// its three sides, `S1` on that of `near`.
fn junction(approach: &str) -> Scene {
    let controlled = [("S1", "near.b"), ("S2", "x.a"), ("S4", "y.a")];
    let controlled =
        controlled.map(|(name, at)| format!("[[signal]]\nname = \"{name}\"\nat = \"{at}\"\ncontrolled = true\n"));
    let text = head("us-block")
        + approach
        + &sections(&["x", "y"])
        + &throat("points", "T1")
        + &joints(&[("far.b", "near.a"), ("near.b", "points.toe"), ("points.one", "x.a"), ("points.two", "y.a")])
        + &buffer_stops(&["far.a", "x.b", "y.b"])
        + &controlled.concat();
    Scene::new(&text, Conduct::Observe)
}

fn set(scene: &mut Scene, entry: &str, to: &str) -> Answer {
    let exit = Exit::BufferStop(scene.layout.end_named(to).unwrap());
    let entry = scene.signal(entry);
    scene.ask(Request::SetRoute { entry, exit, via: Vec::new() })
}

/// Neither does the switch move nor a conflicting signal clear.
fn expect_locked(scene: &mut Scene, after: u64) {
    let turnout = scene.layout.turnout_named("T1").unwrap();
    let moved = scene.ask(Request::Throw { turnout, lie: Lie::Diverging });
    let cleared = set(scene, "S2", "far.a");
    assert!(
        matches!((&moved, &cleared), (Answer::Refused(_), Answer::Refused(_))),
        "after {after} s: {moved:?}, {cleared:?}"
    );
    assert!(scene.is_at_stop("S2") && scene.throws.is_empty());
}

fn clear_and_restore(scene: &mut Scene) {
    assert_eq!(set(scene, "S1", "x.b"), Answer::Accepted);
    scene.hear(&[Input::Woke]);
    assert!(scene.is_proceed("S1"));
    let entry = scene.signal("S1");
    assert_eq!(scene.ask(Request::CancelRoute { entry }), Answer::Accepted);
    assert!(scene.is_at_stop("S1"), "its signal does not wait");
}

/// Every question takes a second, and so does every time that passes.
fn is_locked_for_the_preset_time(scene: &mut Scene) {
    for second in 0..PRESET.as_secs() / 3 - 1 {
        expect_locked(scene, 3 * second);
        scene.hear(&[Input::Woke]);
    }
    for _ in 0..4 {
        scene.hear(&[Input::Woke]);
    }
}

#[test]
fn cfr_236_760_a_route_that_an_approaching_train_may_have_seen_clear_stays_locked_for_a_preset_time() {
    let mut scene = junction(&sections(&["far", "near"]));
    scene.section("near", true);
    clear_and_restore(&mut scene);
    is_locked_for_the_preset_time(&mut scene);
    let turnout = scene.layout.turnout_named("T1").unwrap();
    assert_eq!(scene.ask(Request::Throw { turnout, lie: Lie::Diverging }), Answer::Accepted);
}

#[test]
fn cfr_236_760_a_route_that_nobody_approaches_is_released_at_once() {
    let mut scene = junction(&sections(&["far", "near"]));
    clear_and_restore(&mut scene);
    let turnout = scene.layout.turnout_named("T1").unwrap();
    assert_eq!(scene.ask(Request::Throw { turnout, lie: Lie::Diverging }), Answer::Accepted);
}

#[test]
fn cfr_236_768_where_the_approach_is_not_detected_every_route_stays_locked_for_a_preset_time() {
    let dark = "[[section]]\nname = \"near\"\nlength = 1000\ndark = true\n";
    let mut scene = junction(&(sections(&["far"]) + dark));
    clear_and_restore(&mut scene);
    is_locked_for_the_preset_time(&mut scene);
    let turnout = scene.layout.turnout_named("T1").unwrap();
    assert_eq!(scene.ask(Request::Throw { turnout, lie: Lie::Diverging }), Answer::Accepted);
}
