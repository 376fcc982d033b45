//! What people say to the signaller, and what it finds out by itself: doubts settled by a word or a roll call, and a train that
//! is not who it was said to be.

use signaller::{Fact, Request, Tag};
use testtrack::Faults;
use track::TrainId;

use crate::railway::{Railway, low_staithe_with};

/// Heron and Plover stand on the open line, far apart, and people took each for the other.
fn heron_and_plover_are_taken_for_each_other(seed: u64) -> (Railway, [TrainId; 2]) {
    let layout = low_staithe_with("");
    let [heron, plover] = ["Heron", "Plover"].map(|name| layout.train_named(name).unwrap());
    let mut railway = Railway::with(layout, seed, Faults::NONE, |layout, table| {
        let place = |name: &str| (layout.section_named(name).unwrap(), layout.end_named(&format!("{name}.b")));
        let [harbour, hill] = ["harbour-2", "hill-1"].map(place);
        table.put_down(heron, &[hill.0], hill.1).unwrap();
        table.put_down(plover, &[harbour.0], harbour.1).unwrap();
    });
    railway.forgive("Heron was granted harbour-2, but Plover lies there");
    railway.forgive("Plover was granted hill-1, but Heron lies there");
    railway.forgive("Heron ran into hill-2, which it had not been granted");
    for (train, said) in [(heron, "harbour-2"), (plover, "hill-1")] {
        let (on, nose) = (vec![railway.section(said)], railway.layout.end_named(&format!("{said}.b")));
        railway.ask(Request::Place { train, on, nose });
    }
    railway.run(10.0);
    (railway, [heron, plover])
}

#[test]
fn a_train_that_is_told_to_go_and_does_not_answer_while_something_else_moves_is_stopped_at_once_and_doubted() {
    let (mut railway, [heron, plover]) = heron_and_plover_are_taken_for_each_other(1);
    assert_eq!(railway.tag("harbour-2"), &Tag::Sure(heron), "so people said");
    railway.send("Heron", "shore-1");
    railway.until("Heron came into the next section, where nobody was to go", 120, |railway| {
        railway.lies_in("Heron", "hill-2")
    });
    railway.run(3.0);
    assert!(!railway.is_moving("Heron"), "it runs on: {}", railway.hold("Heron"));
    assert!(railway.hold("Heron").contains("does not answer"), "{}", railway.hold("Heron"));
    assert!(railway.doubts().iter().any(|doubt| doubt.trains.contains(&heron) && doubt.trains.contains(&plover)));
    railway.a_person_sees_to(heron);
    railway.a_person_sees_to(plover);
    assert_eq!(railway.tag("harbour-2"), &Tag::Sure(plover));
    railway.all_run_on(1, 1800);
    railway.in_order(&[]);
}

#[test]
fn two_trains_that_may_have_been_taken_for_each_other_are_told_apart_by_one_word_of_a_person() {
    let (mut railway, [heron, plover]) = heron_and_plover_are_taken_for_each_other(2);
    railway.send("Heron", "shore-1");
    railway.until("it was in doubt who is who", 120, |railway| {
        railway.doubts().iter().any(|doubt| doubt.trains.contains(&heron) && doubt.trains.contains(&plover))
    });
    railway.until("all stood", 30, |railway| railway.moving().is_empty());
    assert!(railway.doubts().iter().any(|doubt| doubt.settled_by.contains("a person's word which train is in")));
    railway.ask(Request::Identify { section: railway.section("harbour-2"), train: plover });
    railway.run(2.0);
    assert_eq!(railway.tag("harbour-2"), &Tag::Sure(plover));
    assert!(railway.is_known(heron), "the other one is known by that as well: {:?}", railway.tags());
    railway.in_order(&[]);
}

/// Where the two stand, none of the sections ahead fills before the room is used up that every account leaves: so the call finds
/// nobody, and they stay in doubt until a person answers.
#[test]
fn a_roll_call_moves_one_train_a_little_and_no_other_and_never_makes_a_wrong_name_sure() {
    for seed in 3..9 {
        let (mut railway, [heron, plover]) = heron_and_plover_are_taken_for_each_other(seed);
        railway.send("Heron", "shore-1");
        railway.until("it was in doubt who is who", 120, |railway| {
            railway.doubts().iter().any(|doubt| doubt.trains.contains(&heron) && doubt.trains.contains(&plover))
        });
        railway.until("all stood", 30, |railway| railway.moving().is_empty());
        railway.run(10.0);
        let from = railway.session.now();
        let call = railway.ask(Request::RollCall { train: None });
        railway.run(1.0);
        assert_eq!(railway.refusal(call), None, "seed {seed}");
        let is_over = |railway: &Railway| railway.told(from, |fact| matches!(fact, Fact::RollCallEnded { .. })) == 1;
        while !is_over(&railway) {
            railway.run(0.5);
            assert!(railway.moving().len() <= 1, "seed {seed}: two trains move");
        }
        railway.all_run_on(seed, 1800);
        railway.in_order(&[]);
    }
}
