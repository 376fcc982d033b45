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
    // A tenth of 1500 mm for the speed curve, and what it may run on while its orders take effect; and the report of the joint
    // may have come so late as what was known before leaves open.
    assert_eq!(section, "north");
    assert!((60.0..60.0 + 150.0 + 100.0 + 60.0).contains(&short), "{short} mm short of the end, 60 mm wanted");
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
fn a_train_is_told_a_speed_twice_at_most_and_to_stand_three_times_and_then_left_alone() {
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
    let running = told.strip_suffix(&[0, 0, 0]).expect("it is told to stand three times");
    assert!(running.windows(3).all(|told| told[0] != told[1] || told[1] != told[2]), "{told:?}");
    assert!(running.iter().all(|&step| step > 0), "{told:?}");
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
fn a_train_that_is_limited_to_a_speed_step_runs_no_faster_until_it_is_let_go_again() {
    let mut world = World::with_two_trains();
    let train = world.train("Heron");
    let limit = |world: &mut World, step| world.ask(Request::LimitStep { train, step });
    assert_eq!(limit(&mut world, Some(20)), Answer::Accepted);
    assert!(matches!(limit(&mut world, Some(0)), Answer::Refused(_)));
    world.go("Heron", "halt");
    world.run(10.0, |_| false);
    assert_eq!(world.signaller.drive().step_of(train), 20);
    assert_eq!(limit(&mut world, Some(15)), Answer::Accepted);
    assert_eq!(world.signaller.drive().step_of(train), 15, "at once, not only when it is looked at");
    assert!(matches!(world.ask(Request::ForgetProfile { train }), Answer::Refused(_)), "it moves");
    assert_eq!(limit(&mut world, None), Answer::Accepted);
    assert!(world.run(20.0, |world| world.signaller.drive().step_of(train) > 20));
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    world.run(5.0, |_| false);
    assert_eq!(world.ask(Request::ForgetProfile { train }), Answer::Accepted);
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

/// Why the train was held last.
fn hold(world: &World) -> Option<&str> {
    let reasons = world.facts().filter_map(|fact| match fact {
        Fact::HoldSet { reason, .. } => Some(reason.as_str()),
        _ => None,
    });
    reasons.last()
}

#[test]
fn a_train_that_stalls_for_a_while_is_tried_again_and_runs_on_by_itself() {
    let mut world = World::with_two_trains();
    let train = world.train("Heron");
    world.trains[train].as_mut().unwrap().factor = 0.0;
    world.go("Heron", "halt");
    assert!(world.run(60.0, |world| world.signaller.interlock().is_held(train)));
    assert_eq!(hold(&world), Some("`Heron` was told to go and does not answer in `w1`; it is tried again in a moment"));
    assert_eq!(world.signaller.drive().step_of(train), 0);
    world.trains[train].as_mut().unwrap().factor = 1.0;
    assert!(world.run(90.0, |world| world.has_arrived("Heron")));
}

#[test]
fn a_train_that_goes_on_stalling_is_tried_twice_and_held_until_somebody_has_seen_to_it() {
    let mut world = World::with_two_trains();
    let train = world.train("Heron");
    world.trains[train].as_mut().unwrap().factor = 0.0;
    world.go("Heron", "halt");
    let asks = |world: &World| hold(world).is_some_and(|reason| reason.ends_with("see where it is and release it"));
    assert!(world.run(300.0, asks));
    assert!(world.run(5.0, |world| world.signaller.drive().step_of(train) == 0));
    world.trains[train].as_mut().unwrap().factor = 1.0;
    assert!(!world.run(20.0, |world| world.speed("Heron") > 0.0), "it would set out with nobody watching");
    assert_eq!(world.ask(Request::Release { train }), Answer::Accepted);
    assert!(world.run(90.0, |world| world.has_arrived("Heron")));
}

#[test]
fn a_train_whose_next_section_says_nothing_stops_in_it_and_goes_on_when_it_is_seen_again() {
    let mut world = World::with_two_trains();
    let (train, w1) = (world.train("Heron"), world.section("w1"));
    world.mute.push(w1);
    world.trains[train].as_mut().unwrap().factor = 0.3;
    world.go("Heron", "halt");
    assert!(world.run(60.0, |world| world.signaller.interlock().is_held(train)));
    world.trains[train].as_mut().unwrap().factor = 1.0;
    world.run(5.0, |_| false);
    assert_eq!((world.nose("Heron").0, world.speed("Heron")), ("w1", 0.0), "it stands where nobody sees it");
    world.mute.clear();
    assert!(world.run(90.0, |world| world.has_arrived("Heron")));
}

#[test]
fn a_train_on_track_that_nobody_measured_is_given_up_after_a_long_while() {
    let mut builder = builder();
    let line: Vec<_> = ["a", "b"].iter().map(|name| builder.plain_section(*name, None)).collect();
    let (b, a) = (end(&builder, line[0], "b"), end(&builder, line[1], "a"));
    builder.join(b, a);
    builder.train(railcar("Heron"));
    let mut world = World::new(builder.build());
    world.put("Heron", "a", "a.b");
    let train = world.train("Heron");
    world.trains[train].as_mut().unwrap().factor = 0.0;
    world.go_to_section("Heron", "b");
    assert!(!world.run(100.0, |world| world.signaller.interlock().is_held(train)), "the section may be long");
    assert!(world.run(200.0, |world| world.signaller.interlock().is_held(train)));
}

#[test]
fn a_train_that_misses_the_order_to_stand_hears_it_again_and_keeps_to_its_authority() {
    let mut world = World::with_two_trains();
    world.go("Heron", "halt");
    world.lost_stops = 1;
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    world.run(3.0, |_| false);
    assert_eq!((world.lost_stops, world.speed("Heron")), (0, 0.0));
    let (section, short) = world.nose("Heron");
    assert!(section == "north" && short > 20.0, "{short} mm short of the end of {section}");
}
