//! Scenarios about trains that are not where they are believed to be, and about roll calls.

use std::sync::Arc;

use smallvec::smallvec;
use track::SectionId;

use crate::interlock::{HoldKind, Interlock};
use crate::model::{World, passing_loop, refusal};
use crate::{Answer, Direction, Fact, Input, Output, Request, Tag};

#[test]
fn a_train_that_is_out_of_sight_is_not_called() {
    let mut world = World::with_two_trains();
    let (train, w1) = (world.train("Heron"), world.section("w1"));
    assert_eq!(refusal(world.ask(Request::RollCall { train: None })), "it is sure where every train stands");
    world.mute.push(w1);
    world.go_to_section("Heron", "w1");
    assert!(world.run(20.0, |world| world.signaller.interlock().is_held(train)));
    world.run(5.0, |_| false);
    assert!(world.signaller.interlock().hold_kinds(train).eq([HoldKind::Doubt]));
    assert_eq!(refusal(world.ask(Request::RollCall { train: None })), "`Heron` is out of sight");
}

/// Heron in `north` and Plover in `south`, both facing west, and one of them has come into the throat with nobody watching how
/// its turnout lies.
fn one_of_two_in_the_throat() -> World {
    let mut world = one_of_two_moved_into_the_throat();
    world.run(25.0, |_| false);
    world
}

/// The same, just now.
fn one_of_two_moved_into_the_throat() -> World {
    let mut world = World::new(passing_loop());
    world.put("Heron", "north", "north.a");
    world.put("Plover", "south", "south.a");
    let turnout = world.layout.turnout_named("W1").unwrap();
    world.step(&[Input::TurnoutReported { turnout, lie: None }]);
    world.by_hand("Heron", Direction::Forward, 60);
    assert!(world.run(30.0, |world| world.nose("Heron").0 == "west"));
    world.by_hand("Heron", Direction::Forward, 0);
    world.run(2.0, |_| false);
    world.by_hand.clear();
    world
}

/// Heron stalls where it stands, facing `w1`, and is held.
fn stalled() -> World {
    let mut world = World::with_two_trains();
    let train = world.train("Heron");
    world.trains[train].as_mut().unwrap().factor = 0.0;
    world.go_to_section("Heron", "w1");
    assert!(world.run(60.0, |world| world.signaller.interlock().is_held(train)));
    world.run(5.0, |_| false);
    world
}

/// What is said of the roll calls so far.
fn calls(world: &World) -> Vec<&Fact> {
    world.facts().filter(|it| matches!(it, Fact::RollCallBegan { .. } | Fact::RollCallEnded { .. })).collect()
}

fn call_is_over(world: &World) -> bool {
    world.facts().any(|fact| matches!(fact, Fact::RollCallEnded { .. }))
}

#[test]
fn a_roll_call_settles_which_of_two_trains_is_in_the_throat() {
    let mut world = one_of_two_in_the_throat();
    let (train, west, north) = (world.train("Heron"), world.section("west"), world.section("north"));
    assert_eq!(world.signaller.identity().tag(west), Tag::Doubt(smallvec![train, world.train("Plover")]));
    let offered = |fact: &Fact| matches!(fact, Fact::DoubtRaised { about, .. } if about.roll_call == Some(train));
    assert!(world.facts().any(offered), "it is offered as soon as the doubt is raised");
    assert_eq!(world.ask(Request::RollCall { train: None }), Answer::Accepted);
    assert!(world.granted("Heron").contains(&"east"), "it creeps away from the throat, where the track is free");
    assert!(world.run(60.0, call_is_over));
    let ended = Fact::RollCallEnded { train, found: Some(north) };
    assert_eq!(calls(&world), [&Fact::RollCallBegan { train }, &ended]);
    assert_eq!(world.signaller.identity().tag(north), Tag::Sure(train));
    assert_eq!(world.granted("Heron"), ["east"], "its end may lie just beyond the joint, where nobody sees it");
    assert_eq!(world.go_to_section("Heron", "w1"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    assert!(!world.granted("Heron").contains(&"east"));
    assert_eq!(world.speed("Plover"), 0.0);
}

#[test]
fn a_train_that_moved_just_now_though_it_was_told_to_stand_is_not_called() {
    let mut world = one_of_two_moved_into_the_throat();
    let train = world.train("Heron");
    let call = Request::RollCall { train: Some(train) };
    assert_eq!(refusal(world.ask(call.clone())), "`Heron` moves, though it was told to stand");
    world.run(25.0, |_| false);
    assert_eq!(world.ask(call), Answer::Accepted);
}

#[test]
fn a_roll_call_ends_when_another_train_moves_that_was_told_nothing_and_either_may_be_the_other() {
    let mut world = stalled();
    let (train, plover) = (world.train("Heron"), world.train("Plover"));
    assert_eq!(world.ask(Request::RollCall { train: Some(train) }), Answer::Accepted);
    assert!(!world.run(10.0, call_is_over), "it is still looked for");
    world.by_hand("Plover", Direction::Forward, 60);
    assert!(world.run(30.0, |world| world.nose("Plover").0 == "e1"));
    world.by_hand("Plover", Direction::Forward, 0);
    assert!(world.run(5.0, call_is_over));
    for train in [train, plover] {
        assert!(world.signaller.interlock().is_held(train) && world.signaller.identity().is_strange(train));
    }
}

#[test]
fn a_train_that_did_not_answer_is_not_looked_for_any_more_once_somebody_says_where_it_stands() {
    let mut world = World::with_two_trains();
    let (train, w0) = (world.train("Heron"), world.section("w0"));
    world.trains[train].as_mut().unwrap().factor = 0.0;
    world.go_to_section("Heron", "w1");
    assert!(world.run(60.0, |world| world.signaller.interlock().is_missing(train)));
    assert_eq!(world.ask(Request::Place { train, on: vec![w0], nose: None }), Answer::Accepted);
    assert!(!world.signaller.interlock().is_missing(train));
}

#[test]
fn what_a_train_keeps_as_it_turns_back_is_not_given_back_and_granted_anew() {
    let mut world = World::with_two_trains();
    world.go_to_section("Heron", "w1");
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    let (before, w1) = (world.said.len(), world.section("w1"));
    assert!(world.granted("Heron").contains(&"w1"));
    assert_eq!(world.go_to_section("Heron", "w0"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.nose("Heron").0 == "w0"));
    let grants = world.said[before..].iter().filter(|(_, output)| match output {
        Output::Fact(Fact::RouteSet { sections, .. }) => sections.contains(&w1),
        _ => false,
    });
    assert_eq!(grants.count(), 0, "it had that all the time");
    assert!(world.granted("Heron").contains(&"w0"));
}

#[test]
fn a_train_that_stalled_answers_a_roll_call_and_comes_back_to_where_it_stood() {
    let mut world = stalled();
    let train = world.train("Heron");
    world.trains[train].as_mut().unwrap().factor = 1.0;
    let (section, short) = world.nose("Heron");
    assert_eq!((section, short), ("w0", 350.0));
    let held = world.said.len();
    assert_eq!(world.ask(Request::RollCall { train: Some(train) }), Answer::Accepted);
    let lifted = |output: &Output| matches!(output, Output::Fact(Fact::HoldLifted { .. }));
    assert!(world.said[held..].iter().any(|(_, output)| lifted(output)), "it is not moved while it is held");
    assert!(world.run(90.0, |world| world.nose("Heron").0 == "w1"));
    assert!(world.run(60.0, call_is_over));
    let (section, back) = world.nose("Heron");
    assert_eq!(section, "w0");
    assert!(
        (0.0..=350.0).contains(&back),
        "it stands {back} mm short of the joint, and never farther back than before"
    );
    assert!(!world.signaller.interlock().is_held(train));
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
}

#[test]
fn a_roll_call_is_refused_where_the_track_is_not_free_under_every_account() {
    let mut world = one_of_two_in_the_throat();
    let (heron, east) = (world.train("Heron"), world.section("east"));
    world.falsely_filled.push(east);
    world.run(1.0, |_| false);
    let reason = "`west` is taken by `Plover`; and the other way `east` is occupied, and nobody knows by what";
    assert_eq!(refusal(world.ask(Request::RollCall { train: Some(heron) })), reason);
    assert_eq!(calls(&world), Vec::<&Fact>::new());
}

#[test]
fn a_roll_call_ends_at_once_when_something_unknown_fills_a_section_elsewhere() {
    let mut world = stalled();
    let (train, elsewhere) = (world.train("Heron"), world.section("south"));
    assert_eq!(world.ask(Request::RollCall { train: Some(train) }), Answer::Accepted);
    assert!(!world.run(20.0, call_is_over), "it is still looked for");
    world.falsely_filled.push(elsewhere);
    assert!(world.run(5.0, call_is_over), "it may be that one, and not be where it is thought to be");
    assert_eq!(calls(&world), [&Fact::RollCallBegan { train }, &Fact::RollCallEnded { train, found: None }]);
    assert!(world.signaller.interlock().is_held(train));
    let is_stopped = |(_, it): &(_, Output)| *it == Output::EmergencyStop { train };
    assert!(world.said.iter().any(is_stopped));
    let reason = "`Heron` was called in vain; hint: say where it is";
    assert_eq!(refusal(world.ask(Request::RollCall { train: Some(train) })), reason);
    world.falsely_filled.clear();
    world.run(5.0, |_| false);
    assert_eq!(refusal(world.ask(Request::RollCall { train: Some(train) })), reason, "nobody has seen to it");
}

#[test]
fn a_train_in_doubt_that_was_called_in_vain_is_called_again_only_when_somebody_has_seen_to_it() {
    let mut world = one_of_two_in_the_throat();
    let (train, west) = (world.train("Heron"), world.section("west"));
    world.trains[train].as_mut().unwrap().factor = 0.0;
    assert_eq!(world.ask(Request::RollCall { train: Some(train) }), Answer::Accepted);
    assert!(world.run(240.0, call_is_over));
    assert_eq!(calls(&world).last(), Some(&&Fact::RollCallEnded { train, found: None }));
    world.run(25.0, |_| false);
    let reason = "`Heron` was called in vain; hint: say where it is";
    assert_eq!(refusal(world.ask(Request::RollCall { train: Some(train) })), reason);
    assert_eq!(world.ask(Request::Place { train, on: vec![west], nose: None }), Answer::Accepted);
    assert_eq!(refusal(world.ask(Request::RollCall { train: Some(train) })), "it is sure where `Heron` stands");
}

#[test]
fn only_its_answer_tells_where_a_train_is_that_is_called() {
    let mut world = stalled();
    let train = world.train("Heron");
    world.trains[train].as_mut().unwrap().factor = 1.0;
    assert_eq!(world.ask(Request::RollCall { train: Some(train) }), Answer::Accepted);
    world.run(1.0, |_| false);
    assert!(world.signaller.identity().is_strange(train), "it has not answered yet");
    assert!(world.run(90.0, |world| world.nose("Heron").0 == "w1"));
    world.run(1.0, |_| false);
    assert!(!world.signaller.identity().is_strange(train));
}

#[test]
fn a_train_is_not_called_beside_one_that_a_person_drives() {
    let mut world = one_of_two_in_the_throat();
    let (heron, plover) = (world.train("Heron"), world.train("Plover"));
    assert_eq!(world.ask(Request::TakeOver { train: plover }), Answer::Accepted);
    world.run(2.0, |_| false);
    assert!(world.signaller.interlock().is_driven_by_hand(plover));
    let reason = refusal(world.ask(Request::RollCall { train: Some(heron) }));
    assert_eq!(reason, "`Plover` must stand first");
}

#[test]
fn a_train_that_goes_the_other_way_when_it_is_called_is_stopped_at_once() {
    let mut world = World::with_two_trains();
    let train = world.train("Heron");
    world.go_to_section("Heron", "w1");
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    world.trains[train].as_mut().unwrap().factor = 0.0;
    world.go("Heron", "halt");
    let is_asked = |world: &World| holds(world).last().is_some_and(|(_, reason)| reason.contains("see where it is"));
    assert!(world.run(120.0, is_asked));
    world.run(5.0, |_| false);
    assert_eq!(world.ask(Request::RollCall { train: Some(train) }), Answer::Accepted);
    world.run(2.0, |_| false);
    world.trains[train].as_mut().unwrap().factor = 1.0;
    world.by_hand("Heron", Direction::Backward, 60);
    assert!(world.run(60.0, call_is_over));
    let is_stopped = |(_, it): &(_, Output)| *it == Output::EmergencyStop { train };
    assert!(world.said.iter().any(is_stopped));
    assert_eq!(calls(&world).last(), Some(&&Fact::RollCallEnded { train, found: None }));
}

#[test]
fn who_takes_back_what_they_wished_does_not_say_that_they_saw_where_the_train_is() {
    let mut world = stalled();
    let train = world.train("Heron");
    world.ask(Request::Hold { train, reason: "smoke".into() });
    assert_eq!(world.ask(Request::Release { train }), Answer::Accepted);
    assert!(world.signaller.interlock().hold_kinds(train).eq([HoldKind::NoAnswer]));
    assert_eq!(world.ask(Request::Release { train }), Answer::Accepted);
    assert!(!world.signaller.interlock().is_held(train));
}

#[test]
fn a_roll_call_ends_at_once_when_the_train_is_held() {
    let mut world = one_of_two_in_the_throat();
    let train = world.train("Heron");
    assert_eq!(world.ask(Request::RollCall { train: Some(train) }), Answer::Accepted);
    let reason = "`Heron` is being called";
    assert_eq!(refusal(world.ask(Request::RollCall { train: Some(world.train("Plover")) })), reason);
    assert!(world.run(10.0, |world| world.speed("Heron") > 5.0));
    world.ask(Request::Hold { train, reason: "smoke".into() });
    assert!(world.run(2.0, |world| world.speed("Heron") == 0.0));
    assert!(world.run(2.0, call_is_over));
    assert!(!world.run(10.0, |world| world.speed("Heron") > 0.0));
}

/// Why trains were held, in order.
fn holds(world: &World) -> Vec<(&str, &str)> {
    let holds = world.facts().filter_map(|fact| match fact {
        Fact::HoldSet { train, reason } => Some((world.layout.trains[*train].name.as_str(), reason.as_str())),
        _ => None,
    });
    holds.collect()
}

#[test]
fn two_trains_that_were_taken_for_each_other_are_stopped_as_soon_as_the_wrong_one_moves() {
    let mut world = World::with_two_trains();
    let (heron, plover) = (world.train("Heron"), world.train("Plover"));
    let (one, other) = (world.trains[heron].take(), world.trains[plover].take());
    (world.trains[heron], world.trains[plover]) = (other, one);
    world.by_hand = vec!["Heron".to_owned(), "Plover".to_owned()];
    world.run(10.0, |_| false);
    assert_eq!(world.go("Heron", "halt"), Answer::Accepted);
    assert!(world.run(20.0, |world| world.nose("Heron").0 == "e1"), "the train that is told to go is the other one");
    world.run(2.0, |_| false);
    let reason = "`Heron` was told to go and does not answer, and `Plover` moves, which was not";
    assert_eq!(holds(&world), [("Heron", reason), ("Plover", reason)]);
    assert_eq!((world.speed("Heron"), world.speed("Plover")), (0.0, 0.0));
    assert!(world.signaller.interlock().hold_kinds(heron).eq([HoldKind::Doubt]));
    let both = |fact: &Fact| matches!(fact, Fact::DoubtRaised { about, .. } if about.trains.len() == 2);
    assert!(world.facts().any(both));
}

#[test]
fn a_train_that_has_not_answered_yet_is_stopped_when_something_unknown_appears_far_from_any_train() {
    let mut world = World::with_two_trains();
    let (heron, south) = (world.train("Heron"), world.section("south"));
    world.go("Heron", "halt");
    world.run(0.5, |_| false);
    world.falsely_filled.push(south);
    world.run(2.0, |_| false);
    let reason = "`Heron` was told to go and does not answer, and something unknown fills `south`";
    assert_eq!(holds(&world), [("Heron", reason)]);
    assert_eq!(world.ask(Request::Release { train: heron }), Answer::Accepted);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
}

#[test]
fn a_train_that_has_answered_since_it_started_runs_on_whatever_appears_elsewhere() {
    let mut world = World::with_two_trains();
    let south = world.section("south");
    world.go("Heron", "halt");
    assert!(world.run(20.0, |world| world.nose("Heron").0 == "w1"));
    world.falsely_filled.push(south);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    assert_eq!(holds(&world), []);
}

#[test]
fn a_train_that_waits_while_it_is_held_asks_for_no_look_round_until_it_is_released() {
    let mut world = World::with_two_trains();
    let (heron, plover) = (world.train("Heron"), world.train("Plover"));
    world.go("Heron", "far east");
    world.ask(Request::Hold { train: heron, reason: "smoke".into() });
    world.ask(Request::Lift { train: plover });
    world.trains[plover] = None;
    let e0 = world.section("e0");
    world.step(&[Input::SectionReported { section: e0, occupied: false }]);
    world.run(20.0, |_| false);
    assert_eq!(world.wake_at, None, "nothing can come of looking while it is held");
    assert_eq!(world.ask(Request::Release { train: heron }), Answer::Accepted);
    assert!(world.run(120.0, |world| world.has_arrived("Heron")));
}

#[test]
fn what_is_granted_given_back_and_granted_anew_in_one_step_is_told_as_what_comes_of_it() {
    let world = World::with_two_trains();
    let (train, one, other) = (world.train("Heron"), world.section("w1"), world.section("south"));
    let grants = |section| Output::Fact(Fact::RouteSet { train, sections: vec![section] });
    let gives_back = |section| Output::Fact(Fact::SectionReleased { train, section });
    let left_of = |had: &[SectionId], mut outputs: Vec<Output>| {
        let mut interlock = Interlock::new(Arc::clone(&world.layout));
        interlock.had.extend(had.iter().map(|&section| (train, section)));
        interlock.leave_out_what_stays(&mut outputs);
        outputs
    };
    assert_eq!(left_of(&[one], vec![gives_back(one), grants(one), grants(other)]), [grants(other)]);
    let again = || vec![grants(one), gives_back(one), grants(one)];
    assert_eq!(left_of(&[one], again()), [grants(one)], "it had not been told that it has it");
    let twice = vec![gives_back(one), grants(one), gives_back(one), grants(one)];
    assert_eq!(left_of(&[one, one], twice), []);
    assert_eq!(left_of(&[one], vec![gives_back(one), gives_back(one), grants(one)]), []);
    let for_good = vec![gives_back(one), grants(one), gives_back(one)];
    assert_eq!(left_of(&[one, one], for_good), [gives_back(one)]);
}
