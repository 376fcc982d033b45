//! Track out of service, and track in a person's hands.

use super::*;

fn out_of_service(world: &World, section: &str) -> Request {
    Request::TakeOutOfService { section: world.section(section), reason: "the rail is loose".to_owned() }
}

fn hand_over(world: &World, sections: &[&str]) -> Request {
    let sections = sections.iter().map(|name| world.section(name)).collect();
    Request::HandRegionOver { sections, to: "the yard crew".to_owned() }
}

#[test]
fn a_train_runs_round_a_track_that_is_out_of_service() {
    let mut world = World::with_two_trains();
    let lift = Request::Lift { train: world.train("Plover") };
    let (plover, e0) = (world.train("Plover"), world.section("e0"));
    assert_eq!(world.ask(lift), Answer::Accepted);
    world.trains[plover] = None;
    world.step(&[Input::SectionReported { section: e0, occupied: false }]);
    assert_eq!(world.ask(out_of_service(&world, "north")), Answer::Accepted);
    assert_eq!(world.go("Heron", "far east"), Answer::Accepted);
    let mut tracks = Vec::new();
    assert!(world.run(180.0, |world| world.has_arrived("Heron")));
    for fact in world.facts() {
        if let Fact::RouteSet { sections, .. } = fact {
            tracks.extend(sections.iter().map(|&section| world.layout.sections[section].name.clone()));
        }
    }
    assert!(tracks.iter().any(|name| name == "south") && !tracks.iter().any(|name| name == "north"), "{tracks:?}");
}

#[test]
fn a_train_waits_for_track_that_is_out_of_service_where_there_is_no_other() {
    let mut world = World::with_two_trains();
    assert_eq!(world.ask(out_of_service(&world, "w1")), Answer::Accepted);
    assert_eq!(refusal(world.go_to_section("Heron", "w1")), "`w1` is out of service");
    assert_eq!(world.go("Heron", "halt"), Answer::Accepted);
    world.run(30.0, |_| false);
    assert_eq!((world.nose("Heron").0, world.speed("Heron")), ("w0", 0.0));
    assert_eq!(world.waits("Heron"), ["`w1` is out of service"]);
    assert_eq!(world.shows("S1"), "red");
    let section = world.section("w1");
    assert_eq!(world.ask(Request::PutInService { section }), Answer::Accepted);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    assert_eq!(refusal(world.ask(Request::PutInService { section })), "`w1` is not out of service");
}

#[test]
fn what_a_train_on_an_errand_has_is_not_taken_out_of_service_under_it() {
    let mut world = World::with_two_trains();
    assert_eq!(world.go("Heron", "halt"), Answer::Accepted);
    assert!(world.run(20.0, |world| world.nose("Heron").0 == "w1"));
    assert_eq!(refusal(world.ask(out_of_service(&world, "w1"))), "`w1` is taken by `Heron`; hint: stop it first");
    assert_eq!(refusal(world.ask(hand_over(&world, &["w1"]))).split(';').next(), Some("`w1` is taken by `Heron`"));
    assert!(world.run(60.0, |world| world.has_arrived("Heron")), "it is not disturbed");
    assert_eq!(world.ask(out_of_service(&world, "north")), Answer::Accepted, "it may stand there");
    assert_eq!(refusal(world.go("Heron", "far west")), "`north` is out of service");
}

#[test]
fn a_region_is_handed_to_a_person_with_the_train_and_the_turnout_in_it() {
    let mut world = World::with_two_trains();
    let region = ["e0", "e1", "east"];
    assert_eq!(world.ask(hand_over(&world, &region)), Answer::Accepted);
    world.run(1.0, |_| false);
    assert!(world.signaller.interlock().is_driven_by_hand(world.train("Plover")));
    assert_eq!(refusal(world.go("Plover", "far west")).split(';').next(), Some("`Plover` is driven by hand"));
    let turnout = world.layout.turnout_named("W2").unwrap();
    let lie = world.signaller.interlock().lie(turnout).map_or(Lie::Diverging, Lie::other);
    assert_eq!(world.ask(Request::Throw { turnout, lie }), Answer::Accepted, "a person throws what is in their hands");
    assert_eq!(refusal(world.go("Heron", "far east")), "`e0` is in a person's hands");
    assert_eq!(world.go("Heron", "halt"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")), "everything else goes on");
    assert_eq!(refusal(world.ask(out_of_service(&world, "e1"))), "`e1` is in a person's hands");
    let sections = region.iter().map(|name| world.section(name)).collect();
    assert_eq!(world.ask(Request::TakeRegionBack { sections }), Answer::Accepted);
    let train = world.train("Plover");
    assert_eq!(world.ask(Request::HandBack { train }), Answer::Accepted);
    assert_eq!(world.go("Heron", "far west"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
}

#[test]
fn nobody_hands_over_what_is_half_a_trains() {
    let mut world = World::with_two_trains();
    assert_eq!(world.go("Heron", "halt"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    assert_eq!(world.ask(hand_over(&world, &["north"])), Answer::Accepted, "it stands in it as a whole");
    assert_eq!(refusal(world.ask(hand_over(&world, &["north"]))), "`north` is in a person's hands", "once is enough");
    assert_eq!(
        refusal(world.ask(Request::HandRegionOver { sections: Vec::new(), to: String::new() })),
        "no section was named"
    );
}

#[test]
fn a_train_whose_nose_may_reach_into_track_that_is_out_of_service_stays_where_it_is() {
    let mut world = World::with_two_trains();
    assert_eq!(world.go("Heron", "halt"), Answer::Accepted);
    assert!(world.run(40.0, |world| world.nose("Heron").0 == "west"));
    let train = world.train("Heron");
    assert_eq!(world.ask(Request::Stop { train }), Answer::Accepted);
    assert!(world.run(20.0, |world| world.speed("Heron") == 0.0));
    world.run(1.0, |_| false);
    assert_eq!((world.nose("Heron").0, world.granted("Heron").last()), ("west", Some(&"north")));
    assert_eq!(world.ask(out_of_service(&world, "north")), Answer::Accepted);
    assert_eq!(refusal(world.go("Heron", "far west")), "`north` is out of service");
    assert_eq!(world.ask(Request::PutInService { section: world.section("north") }), Answer::Accepted);
    assert_eq!(world.go("Heron", "far west"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
}
