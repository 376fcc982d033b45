//! Orders that can never be carried out are refused, and say why; what somebody may change is waited for.

use track::Beyond;

use super::*;

/// Tracks `x` and `y`, and the turnout `W1` that leads from both into the headshunt `h`, which is so long and ends there. Heron
/// stands in `x`, its nose towards the turnout.
fn headshunt(mm: i64) -> World {
    headshunt_of(Some(Length::from_mm(mm)))
}

fn headshunt_of(length: Option<Length>) -> World {
    let mut builder = builder();
    let other = Some(Length::from_mm(1000));
    let plain = [("x", other), ("y", other), ("h", length)];
    let [x, y, h] = plain.map(|(name, length)| builder.plain_section(name, length));
    let (throat, _) = throat(&mut builder, "throat", "W1");
    for (section, leg) in [(x, "one"), (y, "two"), (h, "toe")] {
        let (near, leg) = (end(&builder, section, "a"), end(&builder, throat, leg));
        builder.join(near, leg);
        let far = end(&builder, section, "b");
        builder.close(far, Beyond::BufferStop);
        builder.signal(format!("from {}", builder.layout().sections[section].name), near);
    }
    builder.train(railcar("Heron"));
    builder.train(railcar("Plover"));
    let mut world = World::new(builder.build());
    world.put("Heron", "x", "x.a");
    world
}

#[test]
fn a_train_that_has_to_turn_back_on_its_way_goes_to_where_it_can_first() {
    let mut world = headshunt(1000);
    assert_eq!(world.go_to_section("Heron", "y"), Answer::Accepted);
    let said = "it has to turn back on its way: it goes to `h` first";
    assert!(world.waits("Heron").contains(&said), "{:?}", world.waits("Heron"));
    assert!(world.run(120.0, |world| world.has_arrived("Heron")));
    assert_eq!(world.nose("Heron").0, "y");
}

#[test]
fn a_train_that_is_stopped_where_it_turns_back_forgets_where_it_was_going() {
    let mut world = headshunt(1000);
    assert_eq!(world.go_to_section("Heron", "y"), Answer::Accepted);
    world.run(3.0, |_| false);
    let train = world.train("Heron");
    assert_eq!(world.ask(Request::Stop { train }), Answer::Accepted);
    world.run(20.0, |world| world.speed("Heron") == 0.0);
    assert_eq!(world.go_to_section("Heron", "h"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    assert!(!world.run(30.0, |world| world.speed("Heron") != 0.0), "nobody sent it on from there");
}

#[test]
fn a_train_does_not_turn_back_by_itself_where_nobody_measured_the_track() {
    let mut world = headshunt_of(None);
    let reason = "`Heron` would have to turn back in `h` on its way to `y`, and does so by itself only at stopping points and ends \
                  of tracks that have room for it; hint: send it to `h` first";
    assert_eq!(refusal(world.go_to_section("Heron", "y")), reason);
    assert_eq!(world.go_to_section("Heron", "h"), Answer::Accepted);
}

#[test]
fn a_train_that_runs_to_where_it_can_turn_back_may_be_sent_on_to_where_that_leads() {
    let mut world = headshunt(1000);
    assert_eq!(world.go_to_section("Heron", "h"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.speed("Heron") > 0.0));
    assert_eq!(world.go_to_section("Heron", "y"), Answer::Accepted);
    assert!(world.run(120.0, |world| world.has_arrived("Heron")));
    assert_eq!(world.nose("Heron").0, "y");
}

#[test]
fn a_train_that_is_too_long_for_where_it_would_have_to_turn_back_is_told_so() {
    let mut world = headshunt(400);
    let reason = "`Heron` would have to turn back in `h` on its way to `y`, and is too long for that: 500 mm, where there is \
                  room for 400 mm";
    assert_eq!(refusal(world.go_to_section("Heron", "y")), reason);
    assert_eq!(refusal(world.go_to_section("Heron", "h")), "`Heron` is 500 mm long, and `h` has room for 400 mm");
}

/// Heron comes to stand with its nose in the headshunt, over the turnout.
fn over_the_turnout(mm: i64) -> World {
    let mut world = headshunt(mm);
    assert_eq!(world.go_to_section("Heron", "h"), Answer::Accepted);
    let x = world.section("x");
    assert!(world.run(60.0, |world| !world.signaller.identity().is_occupied(x)));
    let train = world.train("Heron");
    assert_eq!(world.ask(Request::Stop { train }), Answer::Accepted);
    assert!(world.run(20.0, |world| world.speed("Heron") == 0.0));
    world.run(1.0, |_| false);
    world
}

#[test]
fn a_train_that_lies_over_the_turnout_it_would_need_otherwise_and_cannot_draw_clear_of_it_is_told_so() {
    let mut world = over_the_turnout(560);
    let reason =
        "turnout `W1` would have to move under `Heron`; hint: send it ahead first, until all of it is past the turnout";
    assert_eq!(refusal(world.go_to_section("Heron", "y")), reason);
}

#[test]
fn a_train_that_lies_over_the_turnout_it_would_need_otherwise_draws_clear_of_it_first() {
    let mut world = over_the_turnout(1000);
    assert_eq!(world.go_to_section("Heron", "y"), Answer::Accepted);
    assert!(world.run(120.0, |world| world.has_arrived("Heron")));
    assert_eq!(world.nose("Heron").0, "y");
}

#[test]
fn a_train_that_can_only_come_the_wrong_way_round_is_told_which_way_a_stopping_point_faces() {
    let mut layout = passing_loop();
    for way in layout.ways.ids().collect::<Vec<_>>() {
        // Nowhere can it turn.
        layout.ways[way].length =
            layout.ways[way].length.filter(|length| length.mm() < 1.0).or(Some(Length::from_mm(450)));
    }
    let mut world = World::new(layout);
    world.put("Plover", "e0", "e0.a");
    let reason = "`Plover` comes to `halt` only the wrong way round: whoever stops there points at `north.b`";
    assert_eq!(refusal(world.go("Plover", "halt")), reason);
}

#[test]
fn a_train_is_not_sent_over_tracks_that_meet_where_nobody_reports_which_way_it_goes() {
    let mut builder = builder();
    let line = row(&mut builder, &["a", "b"], 1000);
    let [c, d] = ["c", "d"].map(|name| builder.plain_section(name, Some(Length::from_mm(1000))));
    let out = end(&builder, line[1], "b");
    for section in [c, d] {
        let near = end(&builder, section, "a");
        builder.join(out, near);
    }
    builder.train(railcar("Heron"));
    let mut world = World::new(builder.build());
    world.put("Heron", "a", "a.b");
    let reason = "no path leads from where `Heron` stands to `c` but over tracks that meet at `b.b`, and nobody reports which \
                  way a train goes there";
    assert_eq!(refusal(world.go_to_section("Heron", "c")), reason);
}

#[test]
fn an_order_that_no_path_can_fulfil_is_refused_to_a_train_that_runs_too() {
    let mut world = headshunt(560);
    assert_eq!(world.go_to_section("Heron", "h"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.speed("Heron") > 0.0));
    let train = world.train("Heron");
    assert!(refusal(world.go_to_section("Heron", "y")).starts_with("`Heron` would have to turn back in `h`"));
    assert!(world.signaller.interlock().destination(train).is_some(), "its order stands");
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
}

#[test]
fn a_train_runs_against_signals_that_face_the_other_way() {
    let mut builder = builder();
    let line = row(&mut builder, &["a", "b", "c"], 1000);
    for (name, section) in [("S2", 1), ("S4", 2)] {
        let at = end(&builder, line[section], "a");
        builder.signal(name, at);
    }
    builder.train(railcar("Heron"));
    let mut world = World::new(builder.build());
    world.put("Heron", "a", "a.b");
    assert_eq!(world.go_to_section("Heron", "c"), Answer::Accepted);
    world.run(1.0, |_| false);
    assert_eq!(world.granted("Heron"), ["a", "b", "c"], "all of it, or nothing");
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
}

#[test]
fn a_train_waits_for_what_people_can_change_and_says_so() {
    let mut layout = passing_loop();
    let west = layout.turnout_named("W1").unwrap();
    layout.turnouts[west].worked = false;
    let mut world = World::new(layout);
    world.put("Heron", "w0", "w0.b");
    assert_eq!(world.go_to_section("Heron", "south"), Answer::Accepted);
    world.run(20.0, |_| false);
    assert_eq!(world.waits("Heron"), ["turnout `W1` must be thrown to `diverging` by hand"]);
    world.lies[west] = Lie::Diverging;
    world.step(&[Input::TurnoutReported { turnout: west, lie: Some(Lie::Diverging) }]);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    let crew = Request::HandRegionOver { sections: vec![world.section("west")], to: "the track crew".to_owned() };
    assert_eq!(world.ask(crew), Answer::Accepted);
    assert_eq!(world.go("Heron", "far west"), Answer::Accepted);
    world.run(20.0, |_| false);
    assert_eq!(world.waits("Heron").last(), Some(&"`west` is in a person's hands"));
    let back = Request::TakeRegionBack { sections: vec![world.section("west")] };
    assert_eq!(world.ask(back), Answer::Accepted);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
}
