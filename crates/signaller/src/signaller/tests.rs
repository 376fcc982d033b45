//! What people say to a signaller that drives.

use crate::model::{World, refusal};
use crate::{Answer, Fact, Request};

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
