//! Scenarios about trains that give way to each other.

use crate::model::{World, builder, end, passing_loop, railcar, row, throat};
use crate::{Answer, Request};

/// Heron stands in the loop's north track and Plover before the loop, nose to nose.
fn nose_to_nose() -> World {
    let mut world = World::new(passing_loop());
    world.put("Heron", "north", "north.a");
    world.put("Plover", "w1", "w1.b");
    world
}

#[test]
fn of_two_trains_that_want_to_be_where_the_other_stands_one_draws_aside() {
    let mut world = nose_to_nose();
    assert_eq!(world.go("Heron", "far west"), Answer::Accepted);
    assert_eq!(world.go("Plover", "halt"), Answer::Accepted);
    assert!(world.run(240.0, |world| world.has_arrived("Heron") && world.has_arrived("Plover")));
    assert_eq!((world.nose("Heron").0, world.nose("Plover").0), ("w0", "north"));
    let said = ["Heron", "Plover"].map(|train| world.waits(train).join("; ").contains("draws aside"));
    assert_ne!(said, [false, false], "whoever does says so");
}

#[test]
fn a_train_without_an_order_does_not_draw_aside() {
    let mut world = nose_to_nose();
    assert_eq!(world.go("Heron", "far west"), Answer::Accepted);
    assert!(!world.run(120.0, |world| world.speed("Plover") > 0.0));
    assert_eq!(world.waits("Heron").last(), Some(&"`w1` is taken by `Plover`"));
}

#[test]
fn trains_that_cannot_pass_anywhere_stay_where_they_are() {
    let mut builder = builder();
    row(&mut builder, &["a", "b", "c"], 1200);
    builder.train(railcar("Heron"));
    builder.train(railcar("Plover"));
    let mut world = World::new(builder.build());
    world.put("Heron", "a", "a.b");
    world.put("Plover", "c", "c.a");
    assert_eq!(world.go_to_section("Heron", "c"), Answer::Accepted);
    assert_eq!(world.go_to_section("Plover", "a"), Answer::Accepted);
    assert!(!world.run(120.0, |world| world.speed("Heron") > 0.0 || world.speed("Plover") > 0.0));
}

#[test]
fn a_train_on_its_way_aside_goes_where_it_is_sent_meanwhile() {
    let mut world = nose_to_nose();
    world.go("Heron", "far west");
    world.go("Plover", "halt");
    let draws_aside = |world: &World, train| world.waits(train).iter().any(|why| why.contains("draws aside"));
    assert!(world.run(60.0, |world| draws_aside(world, "Heron") || draws_aside(world, "Plover")));
    let (one, to) = if draws_aside(&world, "Heron") { ("Heron", "far east") } else { ("Plover", "far west") };
    assert_eq!(world.go(one, to), Answer::Accepted);
    assert!(world.run(120.0, |world| world.has_arrived(one)));
}

/// Heron comes to stand with its nose in the north track, over the turnout before it.
fn over_a_turnout() -> World {
    let mut world = World::with_two_trains();
    world.go("Heron", "halt");
    assert!(world.run(60.0, |world| world.nose("Heron").0 == "north"));
    let train = world.train("Heron");
    assert_eq!(world.ask(Request::Stop { train }), Answer::Accepted);
    assert!(world.run(20.0, |world| world.speed("Heron") == 0.0));
    world.run(1.0, |_| false);
    assert!(world.granted("Heron").contains(&"west"), "it lies over the turnout");
    world
}

#[test]
fn a_train_over_a_turnout_that_is_sent_down_its_other_leg_draws_clear_of_it_first() {
    let mut world = over_a_turnout();
    assert_eq!(world.go_to_section("Heron", "south"), Answer::Accepted);
    assert!(world.run(120.0, |world| world.has_arrived("Heron")));
    assert_eq!(world.nose("Heron").0, "south");
    let said = world.waits("Heron");
    assert!(said.iter().any(|why| why.contains("draws aside")), "it says so: {said:?}");
}

/// `near` and `spur` come together over a turnout and lead to `middle` and `far`. Heron in `near` and Plover in `far` want to change
/// places, and nowhere is there room to; Teal stands in the spur.
fn nowhere_to_change_places() -> World {
    let mut builder = builder();
    let [near, spur] = ["near", "spur"].map(|name| row(&mut builder, &[name], 1200)[0]);
    let line = row(&mut builder, &["middle", "far"], 1200);
    let (fork, _) = throat(&mut builder, "fork", "W1");
    for ((one, at), (other, leg)) in
        [((near, "b"), (fork, "one")), ((spur, "b"), (fork, "two")), ((fork, "toe"), (line[0], "a"))]
    {
        let (one, other) = (end(&builder, one, at), end(&builder, other, leg));
        builder.join(one, other);
    }
    for name in ["Heron", "Plover", "Teal"] {
        builder.train(railcar(name));
    }
    let mut world = World::new(builder.build());
    for (train, on, nose) in [("Heron", "near", "near.b"), ("Plover", "far", "far.a"), ("Teal", "spur", "spur.b")] {
        world.put(train, on, nose);
    }
    assert_eq!(world.go_to_section("Heron", "far"), Answer::Accepted);
    assert_eq!(world.go_to_section("Plover", "near"), Answer::Accepted);
    world
}

#[test]
fn a_train_goes_at_once_into_the_way_of_those_that_have_not_waited_for_long() {
    let mut world = nowhere_to_change_places();
    world.run(20.0, |_| false);
    assert_eq!(world.go_to_section("Teal", "middle"), Answer::Accepted);
    assert!(world.run(20.0, |world| world.speed("Teal") > 0.0));
}

#[test]
fn a_train_that_would_end_in_the_way_of_one_that_has_waited_a_minute_lets_it_go_first_for_two_minutes() {
    let mut world = nowhere_to_change_places();
    world.run(70.0, |_| false);
    assert_eq!(world.go_to_section("Teal", "middle"), Answer::Accepted);
    assert!(!world.run(115.0, |world| world.speed("Teal") > 0.0), "the others may yet get through");
    assert!(world.run(20.0, |world| world.speed("Teal") > 0.0), "they do not, and it does not wait for ever");
}
