//! What people say to a signaller that drives.

use track::{AccessoryId, Id as _, InputId, Length, Lie};

use crate::model::{World, builder, passing_loop, refusal};
use crate::{Answer, Fact, Input, Output, Request, Suspect, Tag};

fn identify(world: &World, section: &str, train: &str) -> Request {
    Request::Identify { section: world.section(section), train: world.train(train) }
}

#[test]
fn a_train_held_in_doubt_goes_on_when_a_person_says_which_it_is() {
    let mut world = World::with_two_trains();
    assert_eq!(world.go("Heron", "far east"), Answer::Accepted);
    assert_eq!(world.go("Plover", "far west"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.nose("Heron").0 != "w0"));
    let (heron, plover) = (world.train("Heron"), world.train("Plover"));
    world.signaller.identity.suspect_exchange(heron, plover);
    world.step(&[]);
    assert!(world.run(30.0, |world| world.speed("Heron") == 0.0 && world.speed("Plover") == 0.0));
    assert!(!world.run(30.0, |world| world.speed("Heron") > 0.0), "it goes on in doubt");
    let word = identify(&world, world.nose("Heron").0, "Heron");
    assert_eq!(world.ask(word), Answer::Accepted);
    assert!(world.facts().any(|fact| matches!(fact, Fact::DoubtCleared { by, .. } if by == "a person said so")));
    assert!(world.run(240.0, |world| world.has_arrived("Heron") && world.has_arrived("Plover")));
}

#[test]
fn a_train_found_elsewhere_by_a_word_gives_back_what_it_was_granted() {
    let mut world = World::with_two_trains();
    assert_eq!(world.go("Heron", "far east"), Answer::Accepted);
    assert!(world.run(1.0, |world| !world.granted("Heron").is_empty()));
    let stop = Request::Stop { train: world.train("Heron") };
    assert_eq!(world.ask(stop), Answer::Accepted);
    assert!(!world.run(20.0, |_| false));
    assert_eq!(world.granted("Heron"), ["w0"]);
    let word = identify(&world, "e0", "Heron");
    assert_eq!(world.ask(word), Answer::Accepted);
    assert_eq!(world.granted("Heron"), Vec::<&str>::new());
}

#[test]
fn a_train_that_moves_is_not_put_elsewhere_by_a_word() {
    let mut world = World::with_two_trains();
    assert_eq!(world.go("Heron", "far east"), Answer::Accepted);
    assert_eq!(world.go("Plover", "far west"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.speed("Heron") > 0.0));
    let word = identify(&world, "e0", "Heron");
    let reason = refusal(world.ask(word));
    assert_eq!(reason, "`Heron` moves, and cannot have come to `e0`; hint: stop it first");
}

#[test]
fn functions_and_accessories_are_switched_as_somebody_wishes() {
    let mut world = World::with_two_trains();
    let train = world.train("Heron");
    assert_eq!(world.ask(Request::SwitchFunction { train, number: 28, on: true }), Answer::Accepted);
    assert!(world.said.iter().any(|(_, said)| *said == Output::Function { train, number: 28, on: true }));
    let reason = refusal(world.ask(Request::SwitchFunction { train, number: 29, on: true }));
    assert_eq!(reason, "there is no function 29; hint: they are numbered from 0 to 28");
    let reason = refusal(world.ask(Request::SwitchAccessory { accessory: AccessoryId::from_index(0), on: true }));
    assert_eq!(reason, "there is no such accessory");
    let mut builder = builder();
    let lamps = builder.accessory("lamps", None);
    let mut world = World::new(builder.build());
    assert_eq!(world.ask(Request::SwitchAccessory { accessory: lamps, on: true }), Answer::Accepted);
    assert!(world.said.iter().any(|(_, said)| *said == Output::Accessory { accessory: lamps, on: true }));
}

#[test]
fn of_an_input_is_said_what_changes_and_that_nothing_is_known_while_its_link_is_down() {
    let mut builder = builder();
    let link = builder.link("west");
    let (lever, bell) = (builder.input("lever", Some(link)), builder.input("bell", None));
    let mut world = World::new(builder.build());
    let mut heard = |inputs: &[Input]| {
        let before = world.said.len();
        world.step(inputs);
        let facts = world.said[before..].iter().filter_map(|(_, said)| match said {
            Output::Fact(Fact::InputIs { input, on }) => Some((*input, *on)),
            _ => None,
        });
        facts.collect::<Vec<_>>()
    };
    let said = |input, on| Input::InputReported { input, on };
    assert_eq!(heard(&[said(lever, false), said(lever, false)]), [(lever, Some(false))]);
    assert_eq!(heard(&[said(bell, true), said(bell, false)]), [(bell, Some(true)), (bell, Some(false))]);
    assert_eq!(heard(&[said(lever, true), said(bell, false)]), [(lever, Some(true))]);
    let up = |up| Input::LinkReported { link, up };
    assert_eq!(heard(&[up(false), said(lever, true)]), [(lever, None)], "what it carries is old news");
    assert_eq!(heard(&[said(lever, false), said(bell, true)]), [(bell, Some(true))]);
    assert_eq!(heard(&[said(lever, false), up(true)]), [(lever, Some(false))], "links come first");
    assert_eq!(heard(&[up(false)]), [(lever, None)]);
    let work = |input, on| Request::WorkInput { input, on };
    assert_eq!(refusal(world.ask(work(lever, true))), "link `west` is down: nothing is heard of it");
    assert_eq!(world.ask(work(bell, false)), Answer::Accepted);
    let told = Output::Fact(Fact::InputIs { input: bell, on: Some(false) });
    assert!(world.said.iter().filter(|(_, said)| *said == told).count() == 2);
    assert_eq!(refusal(world.ask(work(InputId::from_index(7), true))), "there is no such input");
}

#[test]
fn after_a_restart_a_train_that_stood_stands_where_it_stood() {
    let mut world = World::with_two_trains();
    assert_eq!(world.go("Heron", "halt"), Answer::Accepted);
    assert!(world.run(120.0, |world| world.has_arrived("Heron")));
    world.run(1.0, |_| false);
    let nose = |world: &World| world.signaller.identity.whereabouts(world.train("Heron"), world.now).unwrap().nose;
    let before = nose(&world).unwrap();
    world.restart();
    let after = nose(&world).unwrap();
    // It was granted nothing beyond.
    assert_eq!((after.least, after.most), (before.least, Length::from_mm(1500)));
    // There already, and clear of the throat behind it.
    let stands = world.nose("Heron").1;
    assert_eq!(world.go("Heron", "halt"), Answer::Accepted);
    assert!(world.run(5.0, |world| world.has_arrived("Heron")));
    assert_eq!(world.nose("Heron").1, stands);
    assert_eq!(world.go("Plover", "far west"), Answer::Accepted);
    assert!(world.run(120.0, |world| world.has_arrived("Plover")));
}

#[test]
fn after_a_restart_a_train_that_was_on_its_way_may_be_anywhere_in_its_section() {
    let mut world = World::with_two_trains();
    assert_eq!(world.go("Heron", "halt"), Answer::Accepted);
    assert!(world.run(120.0, |world| world.nose("Heron").0 == "north" && world.nose("Heron").1 < 800.0));
    world.restart();
    assert!(world.run(30.0, |world| world.speed("Heron") == 0.0));
    let reason = refusal(world.go("Heron", "halt"));
    let hint = "hint: send it somewhere else first";
    assert_eq!(reason, format!("`Heron` may stand at `halt` or far short of it, and nobody knows; {hint}"));
    assert_eq!(world.go("Heron", "far west"), Answer::Accepted);
    assert!(world.run(240.0, |world| world.has_arrived("Heron")));
    assert_eq!(world.go("Heron", "halt"), Answer::Accepted);
    assert!(world.run(240.0, |world| world.nose("Heron").0 == "north" && world.speed("Heron") == 0.0));
}

/// Heron has been uncoupled in `w0`; Plover is the rest, on the side away from the loop.
fn uncoupled() -> World {
    let mut world = World::with_two_trains();
    let (heron, plover) = (world.train("Heron"), world.train("Plover"));
    assert_eq!(world.ask(Request::Lift { train: plover }), Answer::Accepted);
    world.trains[plover] = None;
    assert!(!world.run(5.0, |_| false));
    assert_eq!(world.ask(Request::Uncouple { train: heron, keep: 1, rest: plover }), Answer::Accepted);
    let shared = world.section("w0");
    world.falsely_filled.push(shared);
    world
}

#[test]
fn an_uncoupled_train_drives_off_and_its_rest_keeps_the_section() {
    let mut world = uncoupled();
    assert_eq!(world.go("Heron", "far east"), Answer::Accepted);
    assert!(world.run(180.0, |world| world.has_arrived("Heron")));
    let (shared, plover) = (world.section("w0"), world.train("Plover"));
    assert_eq!(world.signaller.identity().tag(shared), Tag::Sure(plover));
    assert_eq!(world.signaller.identity().holders(shared).as_slice(), [plover]);
    assert!(world.granted("Plover").is_empty());
}

#[test]
fn a_rest_is_not_driven_against_the_train_it_was_uncoupled_from() {
    let mut world = uncoupled();
    let reason = refusal(world.go("Plover", "far east"));
    assert_eq!(reason, "no path leads from where `Plover` stands to `far east`");
}

#[test]
fn a_train_that_moves_is_not_coupled_and_not_uncoupled() {
    let mut world = World::with_two_trains();
    assert_eq!(world.go("Heron", "far east"), Answer::Accepted);
    assert_eq!(world.go("Plover", "far west"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.speed("Heron") > 0.0));
    let (heron, plover) = (world.train("Heron"), world.train("Plover"));
    for request in
        [Request::Couple { train: heron, with: plover }, Request::Uncouple { train: heron, keep: 1, rest: plover }]
    {
        assert_eq!(refusal(world.ask(request)), "`Heron` moves; hint: stop it first");
    }
}

#[test]
fn it_is_told_which_report_made_a_train_be_taken_to_be_where_it_is() {
    let mut world = World::with_two_trains();
    let ahead = world.section("w1");
    world.signaller.call_witness(ahead);
    assert_eq!(world.go("Heron", "far east"), Answer::Accepted);
    assert_eq!(world.go("Plover", "far west"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.nose("Heron").0 == "w1"));
    assert!(!world.run(1.0, |_| false));
    let why = world.signaller.why(ahead);
    assert_eq!(why.tag, Tag::Sure(world.train("Heron")));
    assert_eq!(why.detector, "its detector says that something is there");
    assert!(why.accounts[0].share > 0.999 && why.accounts[0].words.contains("`w1`"), "{:?}", why.accounts);
    let finding = why.findings.iter().find(|finding| finding.evidence == "`w1` filled").unwrap();
    let [first, second, ..] = finding.explanations.as_slice() else { panic!("{finding:?}") };
    assert!(first.because.is_empty() && !first.is_given_up && first.likelihood > 0.99, "{first:?}");
    assert!(second.is_given_up && second.likelihood < 1e-3 && !second.because.is_empty(), "{second:?}");
}

#[test]
fn it_is_told_that_a_word_settled_a_doubt_and_which_accounts_it_removed() {
    let mut world = World::with_two_trains();
    let (heron, plover) = (world.train("Heron"), world.train("Plover"));
    world.step(&[]);
    let home = world.section(world.nose("Heron").0);
    world.signaller.call_witness(home);
    world.signaller.identity.suspect_exchange(heron, plover);
    world.step(&[]);
    let doubt = world.signaller.why(home);
    assert_eq!(doubt.accounts.len(), 2, "{:?}", doubt.accounts);
    let word = identify(&world, world.nose("Heron").0, "Heron");
    assert_eq!(world.ask(word), Answer::Accepted);
    let why = world.signaller.why(home);
    let told: Vec<&str> = why.findings.iter().map(|finding| finding.evidence.as_str()).collect();
    assert_eq!(
        told,
        [
            "one train did not answer, and another moved: they may have been taken for each other",
            "a person said that `Heron` is in `w0`",
        ]
    );
    assert_eq!((why.findings[1].before.len(), why.findings[1].after.len()), (2, 1));
    assert!(why.findings[1].explanations.is_empty());
}

#[test]
fn a_train_that_a_turnout_led_another_way_is_known_there_and_the_turnout_is_not_trusted_until_somebody_saw_to_it() {
    let mut layout = passing_loop();
    let turnout = layout.turnout_named("W1").unwrap();
    layout.turnouts[turnout].reported = false;
    let mut world = World::new(layout);
    world.put("Heron", "w0", "w0.b");
    world.stuck.push(turnout);
    let heron = world.train("Heron");
    assert_eq!(world.go_to_section("Heron", "south"), Answer::Accepted);
    // It goes where it was not sent.
    world.by_hand.push("Heron".to_owned());
    assert!(world.run(120.0, |world| world.nose("Heron").0 == "north"));
    assert!(world.run(10.0, |world| world.speed("Heron") == 0.0));
    let tag = world.signaller.identity.tag(world.section("north"));
    assert!(matches!(&tag, Tag::Doubt(trains) if trains.contains(&heron)), "{tag:?}");
    let suspected =
        |fact: &Fact| matches!(fact, Fact::Suspected { suspect: Suspect::Turnout(it), .. } if *it == turnout);
    assert_eq!(world.facts().filter(|fact| suspected(fact)).count(), 1);
    // A person says that it is there, and sends it back; nobody is sent over the turnout another way than it led.
    let word = identify(&world, "north", "Heron");
    assert_eq!(world.ask(word), Answer::Accepted);
    world.by_hand.clear();
    assert_eq!(world.go("Heron", "far west"), Answer::Accepted);
    assert!(world.run(120.0, |world| world.has_arrived("Heron")), "{:?}", world.waits("Heron"));
    assert_eq!(world.go_to_section("Heron", "south"), Answer::Accepted);
    assert!(!world.run(60.0, |world| world.nose("Heron").0 == "west"));
    let why = "turnout `W1` led a train another way than it was thought to lie; see to it, then have it thrown";
    assert_eq!(world.waits("Heron").last(), Some(&why));
    world.stuck.clear();
    assert_eq!(world.ask(Request::Throw { turnout, lie: Lie::Diverging }), Answer::Accepted);
    assert!(world.run(120.0, |world| world.nose("Heron").0 == "south"));
}
