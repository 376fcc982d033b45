//! Turnouts beside a path that turn others away.

use super::*;

/// Two lines `n0 (nt) n1` and `s0 (st) s1`, and a crossover between their turnouts `W1` and `W2`, which lies set. Heron stands in
/// `n0`.
fn beside_a_crossover() -> World {
    let mut builder = builder();
    let [n0, n1, s0, s1] =
        ["n0", "n1", "s0", "s1"].map(|name| builder.plain_section(name, Some(Length::from_mm(1000))));
    let (nt, _) = throat(&mut builder, "nt", "W1");
    let (st, _) = throat(&mut builder, "st", "W2");
    let joints = [((n0, "b"), (nt, "toe")), ((nt, "one"), (n1, "a")), ((s0, "b"), (st, "one"))];
    for ((one, a), (other, b)) in joints.into_iter().chain([((st, "toe"), (s1, "a")), ((nt, "two"), (st, "two"))]) {
        let (one, other) = (end(&builder, one, a), end(&builder, other, b));
        builder.join(one, other);
    }
    for (name, section, at) in [("S1", n0, "b"), ("S2", n1, "a"), ("S3", s0, "b"), ("S4", s1, "a")] {
        let at = end(&builder, section, at);
        builder.signal(name, at);
    }
    builder.train(railcar("Heron"));
    builder.train(railcar("Plover"));
    let mut world = World::new(builder.build());
    let turnout = world.layout.turnout_named("W2").unwrap();
    world.lies[turnout] = Lie::Diverging;
    world.step(&[Input::TurnoutReported { turnout, lie: Some(Lie::Diverging) }]);
    world.put("Heron", "n0", "n0.b");
    world
}

fn throw(world: &mut World, turnout: &str, lie: Lie) -> Answer {
    let turnout = world.layout.turnout_named(turnout).unwrap();
    world.ask(Request::Throw { turnout, lie })
}

#[test]
fn a_turnout_that_turns_others_away_is_thrown_and_locked_until_the_train_has_left_what_it_protects() {
    let mut world = beside_a_crossover();
    assert_eq!(world.go_to_section("Heron", "n1"), Answer::Accepted);
    assert_eq!(world.speed("Heron"), 0.0, "it waits until the turnout is proved");
    assert!(world.run(20.0, |world| world.nose("Heron").0 == "nt"));
    let turnout = world.layout.turnout_named("W2").unwrap();
    assert_eq!(world.lies[turnout], Lie::Straight);
    assert_eq!(refusal(throw(&mut world, "W2", Lie::Diverging)), "turnout `W2` is locked for `Heron`");
    let nt = world.section("nt");
    assert!(world.run(20.0, |world| world.signaller.interlock().granted_to(nt).is_none()));
    assert!(!world.has_arrived("Heron"));
    assert_eq!(throw(&mut world, "W2", Lie::Diverging), Answer::Accepted);
}

#[test]
fn a_train_that_is_stopped_on_its_way_keeps_no_turnout_beside_it() {
    let mut world = beside_a_crossover();
    assert_eq!(world.go_to_section("Heron", "n1"), Answer::Accepted);
    assert!(world.run(20.0, |world| world.nose("Heron").0 == "nt"));
    let train = world.train("Heron");
    assert_eq!(world.ask(Request::Stop { train }), Answer::Accepted);
    assert_eq!(refusal(throw(&mut world, "W2", Lie::Diverging)), "turnout `W2` is locked for `Heron`");
    assert!(world.run(20.0, |world| world.speed("Heron") == 0.0));
    world.run(1.0, |_| false);
    assert!(world.granted("Heron").contains(&"nt"));
    assert_eq!(throw(&mut world, "W2", Lie::Diverging), Answer::Accepted);
    assert_eq!(refusal(throw(&mut world, "W1", Lie::Diverging)), "turnout `W1` is locked for `Heron`");
}

#[test]
fn a_train_does_without_a_protecting_turnout_that_something_lies_on() {
    let mut world = beside_a_crossover();
    let st = world.section("st");
    world.falsely_filled.push(st);
    world.run(1.0, |_| false);
    assert_eq!(world.go_to_section("Heron", "n1"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    let turnout = world.layout.turnout_named("W2").unwrap();
    assert_eq!(world.lies[turnout], Lie::Diverging);
}

#[test]
fn a_protecting_turnout_that_does_not_move_keeps_the_train_before_its_signal_and_it_is_said() {
    let mut world = beside_a_crossover();
    let turnout = world.layout.turnout_named("W2").unwrap();
    world.stuck.push(turnout);
    assert_eq!(world.go_to_section("Heron", "n1"), Answer::Accepted);
    world.run(20.0, |_| false);
    assert_eq!((world.nose("Heron").0, world.shows("S1")), ("n0", "red"));
    assert_eq!(world.waits("Heron"), ["turnout `W2` was thrown and does not report that it moved"]);
    world.stuck.clear();
    assert!(world.run(60.0, |world| world.has_arrived("Heron")), "it is thrown again until it moves");
}
