//! Scenarios about how trains are driven.

use track::{Beyond, Length, Speed};

use crate::model::{World, builder, end, passing_loop, railcar, row};
use crate::{Answer, Fact, Output, Request};

#[test]
fn a_train_stops_before_a_signal_at_danger_every_time_whether_it_is_fast_or_slow() {
    for permille in [905, 950, 1000, 1050, 1095] {
        let mut world = World::with_two_trains();
        let heron = world.train("Heron");
        world.trains[heron].as_mut().unwrap().factor = f64::from(permille) / 1000.0;
        let s1 = world.layout.signal_named("S1").unwrap();
        assert_eq!(world.ask(Request::KeepAtDanger { signal: s1, held: true }), Answer::Accepted);
        world.go("Heron", "halt");
        world.run(60.0, |_| false);
        let (section, short) = world.nose("Heron");
        assert_eq!((section, world.speed("Heron")), ("w1", 0.0), "{permille}");
        assert!((0.0..400.0).contains(&short), "{permille}: it stands {short} mm short");
        world.ask(Request::KeepAtDanger { signal: s1, held: false });
        assert!(world.run(60.0, |world| world.has_arrived("Heron")), "{permille}");
    }
}

#[test]
fn a_train_stops_short_of_its_stopping_point_by_no_more_than_its_speed_is_unsure() {
    let mut world = World::with_two_trains();
    world.go("Heron", "halt");
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    let (section, short) = world.nose("Heron");
    // A tenth of 1500 mm for the speed curve, and what it may run on while its orders take effect.
    assert_eq!(section, "north");
    assert!((60.0..60.0 + 150.0 + 100.0).contains(&short), "{short} mm short of the end, 60 mm wanted");
}

#[test]
fn a_train_keeps_to_a_limit_while_any_of_it_is_on_the_way() {
    let mut builder = builder();
    let line = row(&mut builder, &["a", "b", "slow", "c", "d"], 1500);
    let way = builder.layout().sections[line[2]].ways[0];
    builder.limit(way, Speed::from_mm(60));
    let far = end(&builder, line[4], "b");
    builder.close(far, Beyond::BufferStop);
    builder.train(railcar("Heron"));
    let mut world = World::new(builder.build());
    world.put("Heron", "a", "a.b");
    world.go_to_section("Heron", "d");
    assert!(world.run(60.0, |world| world.speed("Heron") > 100.0), "it runs faster where it may");
    let mut fastest: f64 = 0.0;
    let slow = world.section("slow");
    let heron = world.train("Heron");
    let on_it = |world: &World| world.signaller.identity().holders(slow).contains(&heron);
    assert!(world.run(60.0, on_it));
    while on_it(&world) {
        fastest = fastest.max(world.speed("Heron"));
        world.run(0.1, |_| false);
    }
    assert!(fastest <= 60.0 && fastest > 40.0, "{fastest} mm/s on the slow way");
    assert!(world.run(60.0, |world| world.speed("Heron") > 100.0), "it gathers speed behind it");
}

#[test]
fn without_lengths_a_train_stops_once_the_last_section_it_may_enter_has_filled() {
    let mut builder = builder();
    let names = ["a", "b", "c", "d"];
    let line: Vec<_> = names.iter().map(|name| builder.plain_section(*name, None)).collect();
    for pair in line.windows(2) {
        let (b, a) = (end(&builder, pair[0], "b"), end(&builder, pair[1], "a"));
        builder.join(b, a);
    }
    builder.train(railcar("Heron"));
    let mut world = World::new(builder.build());
    world.put("Heron", "a", "a.b");
    world.go_to_section("Heron", "c");
    assert!(world.run(90.0, |world| world.has_arrived("Heron")));
    let (section, short) = world.nose("Heron");
    assert_eq!(section, "c");
    assert!(short > 900.0, "it ran {} mm into the section", 1000.0 - short);
}

#[test]
fn a_train_is_told_its_speed_only_when_it_changes_and_left_alone_when_it_stands() {
    let mut world = World::with_two_trains();
    world.go("Heron", "halt");
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    world.run(2.0, |_| false);
    let told: Vec<_> = world
        .said
        .iter()
        .filter_map(|(_, output)| match output {
            Output::Drive { step, .. } => Some(*step),
            _ => None,
        })
        .collect();
    assert!(told.windows(2).all(|pair| pair[0] != pair[1]), "{told:?}");
    assert_eq!(told.last(), Some(&0));
    assert_eq!(world.wake_at, None, "nothing moves, so nothing has to be looked at");
}

#[test]
fn a_train_departs_once_and_arrives_once() {
    let mut world = World::with_two_trains();
    world.go("Heron", "far east");
    world.go("Plover", "far west");
    assert!(world.run(180.0, |world| world.has_arrived("Heron") && world.has_arrived("Plover")));
    let count = |wanted: fn(&Fact) -> bool| world.facts().filter(|fact| wanted(fact)).count();
    assert_eq!(count(|fact| matches!(fact, Fact::Departed { .. })), 2);
    assert_eq!(count(|fact| matches!(fact, Fact::Arrived { .. })), 2);
}

#[test]
fn a_held_train_stands_at_once_and_not_only_at_the_next_signal() {
    let mut world = World::with_two_trains();
    world.go("Heron", "halt");
    assert!(world.run(20.0, |world| world.speed("Heron") > 80.0));
    let train = world.train("Heron");
    world.ask(Request::Hold { train, reason: "smoke".into() });
    assert!(matches!(world.said.last(), Some((_, Output::Drive { step: 0, .. }))));
    assert!(world.run(2.0, |world| world.speed("Heron") == 0.0));
}

#[test]
fn a_longer_train_draws_up_far_enough_to_clear_the_turnout_behind_it() {
    let layout = passing_loop();
    assert!(layout.trains.values().all(|train| train.length() < Some(Length::from_mm(1500))));
    let mut world = World::new(layout);
    world.put("Heron", "w0", "w0.b");
    world.go("Heron", "halt");
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    world.run(2.0, |_| false);
    assert_eq!(world.granted("Heron"), ["north"]);
}
