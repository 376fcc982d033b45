//! Scenarios about trains that people drive.

use track::Lie;

use crate::model::{World, refusal};
use crate::{Answer, Direction, Fact, Output, Request, Tag};

#[test]
fn a_train_taken_over_gets_no_orders_and_gives_back_what_it_did_not_use() {
    let mut world = World::with_two_trains();
    let train = world.train("Heron");
    world.go("Heron", "halt");
    assert!(world.run(20.0, |world| world.speed("Heron") > 50.0));
    assert_eq!(world.ask(Request::TakeOver { train }), Answer::Accepted);
    assert!(world.run(10.0, |world| world.signaller.interlock().is_driven_by_hand(train)));
    assert_eq!(world.speed("Heron"), 0.0, "it is handed over standing");
    assert_eq!(world.granted("Heron"), ["w0", "w1"], "its nose may reach into `w1`, for all that is known");
    assert_eq!(world.shows("S1"), "red");
    let reason = "`Heron` is driven by hand; hint: hand it back first";
    assert_eq!(refusal(world.go("Heron", "halt")), reason);
    assert_eq!(refusal(world.ask(Request::Hold { train, reason: "smoke".into() })), reason);
    assert_eq!(refusal(world.ask(Request::TakeOver { train })), reason);
    let said = world.said.len();
    world.ask(Request::StopAll);
    world.ask(Request::ResumeAll);
    world.run(5.0, |_| false);
    let orders = |output: &Output| matches!(output, Output::Drive { train: told, .. } if *told == train);
    assert!(!world.said[said..].iter().any(|(_, output)| orders(output)));
    assert!(!world.said[said..].iter().any(|(_, output)| matches!(output,
        Output::Fact(Fact::HoldSet { train: held, .. }) if *held == train)));
}

#[test]
fn a_train_driven_by_hand_is_followed_and_runs_again_once_it_is_given_back() {
    let mut world = World::with_two_trains();
    let train = world.train("Heron");
    assert_eq!(refusal(world.ask(Request::HandBack { train })), "nobody drives `Heron` by hand");
    assert_eq!(world.ask(Request::TakeOver { train }), Answer::Accepted);
    world.by_hand("Heron", Direction::Forward, 60);
    let north = world.section("north");
    assert!(world.run(60.0, |world| world.nose("Heron").0 == "north"));
    world.run(0.5, |_| false);
    assert_eq!(world.signaller.identity().tag(north), Tag::Sure(train));
    assert_eq!(world.go_to_section("Plover", "north"), Answer::Accepted);
    assert_eq!(world.waits("Plover"), ["`north` is taken by `Heron`"]);
    world.by_hand("Heron", Direction::Forward, 0);
    world.run(5.0, |_| false);
    assert_eq!(world.ask(Request::HandBack { train }), Answer::Accepted);
    assert!(!world.signaller.interlock().is_driven_by_hand(train));
    assert_eq!(world.go("Heron", "far west"), Answer::Accepted);
    assert!(world.run(90.0, |world| world.has_arrived("Heron")));
}

#[test]
fn a_train_is_given_back_though_its_nose_may_reach_over_a_turnout_that_lies_against_it() {
    let mut world = World::with_two_trains();
    world.put("Heron", "north", "north.b");
    let (train, turnout) = (world.train("Heron"), world.layout.turnout_named("W2").unwrap());
    assert_eq!(world.ask(Request::Throw { turnout, lie: Lie::Diverging }), Answer::Accepted);
    assert_eq!(world.ask(Request::TakeOver { train }), Answer::Accepted);
    world.run(5.0, |_| false);
    assert_eq!(world.ask(Request::HandBack { train }), Answer::Accepted);
    assert_eq!(world.granted("Heron"), ["north"]);
    assert_eq!(world.go("Heron", "far west"), Answer::Accepted);
    assert!(world.run(90.0, |world| world.has_arrived("Heron")));
}
