//! Locking of levers, as far as there is more to it than iron. Source: 49 CFR Part 236, definitions 236.761 and 236.763 to
//! 236.766, from memory. Here people drive, and set routes.
//!
//! There are no levers here. What a lever is held by in those rules a request is refused by: a person's hand on a latch is
//! the request, the lever's travel the time in which a switch moves.

use signaller::{Answer, Conduct, Input, Request};
use track::Lie;
use track::routes::Exit;

use super::{Scene, buffer_stops, head, joints, sections, throat};

/// `near` leads over the turnout `T1` to `x` and `y`; a controlled signal on each side, `S1` on that of `near`.
fn junction() -> Scene {
    let text = head("us-block")
        + &sections(&["near", "x", "y"])
        + &throat("points", "T1")
        + &joints(&[("near.b", "points.toe"), ("points.one", "x.a"), ("points.two", "y.a")])
        + &buffer_stops(&["near.a", "x.b", "y.b"])
        + &controlled(&[("S1", "near.b"), ("S2", "x.a"), ("S4", "y.a")]);
    Scene::new(&text, Conduct::Observe)
}

fn controlled(signals: &[(&str, &str)]) -> String {
    let signal =
        |(name, at): &(&str, &str)| format!("[[signal]]\nname = \"{name}\"\nat = \"{at}\"\ncontrolled = true\n");
    signals.iter().map(signal).collect()
}

fn set(scene: &mut Scene, entry: &str, to: &str) -> Answer {
    let exit = Exit::BufferStop(scene.layout.end_named(to).unwrap());
    let entry = scene.signal(entry);
    scene.ask(Request::SetRoute { entry, exit, via: Vec::new() })
}

fn cancel(scene: &mut Scene, entry: &str) -> Answer {
    let entry = scene.signal(entry);
    scene.ask(Request::CancelRoute { entry })
}

fn throw(scene: &mut Scene, turnout: &str, lie: Lie) -> Answer {
    let turnout = scene.layout.turnout_named(turnout).unwrap();
    scene.ask(Request::Throw { turnout, lie })
}

fn refusal(answer: Answer) -> String {
    match answer {
        Answer::Refused(refusal) => refusal.reason,
        answer => panic!("{answer:?}"),
    }
}

#[test]
fn cfr_236_761_a_switch_is_secured_while_a_route_is_set_over_it_and_while_a_train_is_on_it() {
    let mut scene = junction();
    assert_eq!(set(&mut scene, "S1", "x.b"), Answer::Accepted);
    let reason = refusal(throw(&mut scene, "T1", Lie::Diverging));
    assert_eq!(reason, "turnout `T1` is locked for the route that is set from `S1`");
    assert_eq!(cancel(&mut scene, "S1"), Answer::Accepted);
    scene.section("points", true);
    let reason = refusal(throw(&mut scene, "T1", Lie::Diverging));
    assert!(reason.contains("`points`"), "{reason}");
    scene.section("points", false);
    assert_eq!(throw(&mut scene, "T1", Lie::Diverging), Answer::Accepted, "under no other conditions");
    assert_eq!(scene.throws, ["T1 Diverging"]);
}

#[test]
fn cfr_236_763_whoever_conflicts_is_locked_before_anything_has_moved() {
    let mut scene = junction();
    assert_eq!(set(&mut scene, "S1", "y.b"), Answer::Accepted);
    assert!(scene.is_at_stop("S1"), "the switch has not moved yet");
    let reason = refusal(set(&mut scene, "S2", "near.a"));
    assert!(reason.starts_with("route `S1-y.b` is set"), "{reason}");
    assert!(scene.is_at_stop("S2"));
}

#[test]
fn cfr_236_764_whoever_conflicts_stays_locked_while_a_switch_is_on_its_way() {
    let mut scene = junction();
    assert_eq!(throw(&mut scene, "T1", Lie::Diverging), Answer::Accepted);
    scene.turnout("T1", None);
    assert_eq!(set(&mut scene, "S1", "y.b"), Answer::Accepted, "it moves to where this needs it");
    for _ in 0..3 {
        assert!(matches!(set(&mut scene, "S2", "near.a"), Answer::Refused(_)));
        assert!(scene.is_at_stop("S1") && scene.is_at_stop("S2"), "not before it has arrived");
    }
    scene.turnout("T1", Some(Lie::Diverging));
    assert!(scene.is_proceed("S1") && scene.is_at_stop("S2"));
}

#[test]
fn cfr_236_765_switches_and_signals_move_in_the_order_that_is_safe() {
    let mut scene = junction();
    // To clear: the switch, then the signal.
    assert_eq!(set(&mut scene, "S1", "y.b"), Answer::Accepted);
    assert_eq!((scene.throws.len(), scene.is_at_stop("S1")), (1, true));
    scene.turnout("T1", Some(Lie::Diverging));
    assert!(scene.is_proceed("S1"));
    // To restore: the signal, then the switch.
    assert!(matches!(throw(&mut scene, "T1", Lie::Straight), Answer::Refused(_)));
    assert_eq!(cancel(&mut scene, "S1"), Answer::Accepted);
    assert!(scene.is_at_stop("S1"));
    assert_eq!(throw(&mut scene, "T1", Lie::Straight), Answer::Accepted);
}

/// A bridge that is drawn is a section with one way, which needs the drive of the bridge to lie straight.
#[test]
fn cfr_236_766_no_signal_onto_a_movable_bridge_clears_unless_it_is_proved_closed_and_then_it_is_locked() {
    let bridge = "[[turnout]]\nname = \"bridge drive\"\nreported = true\n[[section]]\nname = \"bridge\"\nways = [\
                  { from = \"a\", to = \"b\", length = 900, needs = { \"bridge drive\" = \"straight\" } }]\n";
    let text = head("us-block")
        + &sections(&["west", "east"])
        + bridge
        + &joints(&[("west.b", "bridge.a"), ("bridge.b", "east.a")])
        + &buffer_stops(&["west.a", "east.b"])
        + &controlled(&[("S1", "west.b"), ("S2", "east.a")]);
    let mut scene = Scene::new(&text, Conduct::Observe);
    assert_eq!(throw(&mut scene, "bridge drive", Lie::Diverging), Answer::Accepted, "nobody needs it");
    scene.turnout("bridge drive", Some(Lie::Diverging));
    assert_eq!(set(&mut scene, "S1", "east.b"), Answer::Accepted);
    assert_eq!(scene.throws.last().map(String::as_str), Some("bridge drive Straight"));
    scene.turnout("bridge drive", None);
    assert!(scene.is_at_stop("S1"), "it closes");
    scene.turnout("bridge drive", Some(Lie::Straight));
    assert!(scene.is_proceed("S1"));
    assert!(matches!(throw(&mut scene, "bridge drive", Lie::Diverging), Answer::Refused(_)));
    scene.hear(&[Input::Woke]);
    scene.section("bridge", true);
    assert!(scene.is_at_stop("S1"));
    let reason = refusal(throw(&mut scene, "bridge drive", Lie::Diverging));
    assert!(reason.contains("bridge drive"), "a train is on it: {reason}");
}
