//! Trains that are coupled and uncoupled.

#![allow(clippy::unwrap_used, clippy::panic, clippy::expect_used)]

mod scene;

use scene::{doubts, line, play, play_and_listen, refused, tags};
use signaller::{Direction, Fact, Signaller, Time};
use track::{Layout, Length, Vehicle};

/// A row of sections of 1000 mm. Heron is an engine `H` and two wagons `h1`, `h2`; Plover an engine `P` and a wagon `p1`; the
/// wagons `b1` and `b2` of Dunlin draw no current; nobody said what Curlew is made of.
fn track(text: &str) -> Layout {
    let mut layout = line(text).build();
    for way in layout.ways.values_mut() {
        way.length = Some(Length::from_mm(1000));
    }
    for (train, vehicles) in [("Heron", &["H", "h1", "h2"][..]), ("Plover", &["P", "p1"]), ("Dunlin", &["b1", "b2"])] {
        let id = layout.train_named(train).unwrap();
        layout.trains[id].vehicles = vehicles.iter().map(|name| vehicle(name)).collect();
    }
    layout
}

fn vehicle(name: &str) -> Vehicle {
    let axles = (Length::from_mm(20), Length::from_mm(90));
    let detectable = (!name.starts_with('b')).then_some(axles);
    Vehicle { name: name.to_owned(), length: Length::from_mm(100), detectable, axles: Vec::new() }
}

fn made_of(signaller: &Signaller, train: &str) -> String {
    let id = signaller.layout().train_named(train).unwrap();
    let vehicles = &signaller.roster().train(id).unwrap().vehicles;
    vehicles.iter().map(|vehicle| vehicle.name.as_str()).collect::<Vec<_>>().join(" ")
}

fn leads(signaller: &Signaller, train: &str) -> Direction {
    let id = signaller.layout().train_named(train).unwrap();
    let stand = signaller.identity().whereabouts(id, Time::from_millis(1_000_000)).unwrap();
    assert!(stand.sure, "{train} is not sure where it stands");
    stand.leading
}

#[test]
fn two_trains_in_neighbouring_sections_become_one() {
    let signaller = play(track("a b c d"), "Heron@c>c.b +c Plover@b>b.b +b \n Heron+Plover");
    assert_eq!(tags(&signaller), "b: Heron, c: Heron");
    assert_eq!(made_of(&signaller, "Heron"), "H h1 h2 P p1");
    assert_eq!(signaller.roster().measure(signaller.layout().train_named("Heron").unwrap()).unwrap().seen.mm(), 470.0);
}

#[test]
fn vehicles_are_joined_as_their_ends_meet() {
    // Heron runs east in `b`; Plover stands on either side of it, pointing either way.
    for (scene, expect) in [
        ("Plover@a>a.b +a", "H h1 h2 P p1"),
        ("Plover@a>a.a +a", "H h1 h2 p1 P"),
        ("Plover@c>c.b +c", "P p1 H h1 h2"),
        ("Plover@c>c.a +c", "p1 P H h1 h2"),
    ] {
        let signaller = play(track("a b c"), &format!("Heron@b>b.b +b {scene} \n Heron+Plover"));
        assert_eq!(made_of(&signaller, "Heron"), expect, "{scene}");
        assert_eq!(leads(&signaller, "Heron"), Direction::Forward, "{scene}");
    }
}

#[test]
fn the_ends_that_meet_count_and_not_the_way_a_train_last_ran() {
    // Heron backs from `c` to `b` against Plover in `a`: its rear, which leads, meets Plover's front.
    let scene = "Heron@c>c.b +c Plover@a>a.b +a \n +d -c \n +c -d \n +b -c \n Heron+Plover";
    let signaller = play(track("a b c d"), scene);
    assert_eq!(made_of(&signaller, "Heron"), "H h1 h2 P p1");
    assert_eq!(tags(&signaller), "a: Heron, b: Heron");
    assert_eq!(leads(&signaller, "Heron"), Direction::Backward);
}

#[test]
fn a_coupled_train_moves_as_one() {
    let scene = "Heron@c>c.b +c Plover@b>b.b +b \n Heron+Plover \n +d \n -b \n -c";
    assert_eq!(tags(&play(track("a b c d"), scene)), "d: Heron");
}

#[test]
fn a_train_that_was_coupled_on_stands_nowhere_and_can_be_put_down_again() {
    let scene = "Heron@c>c.b +c Plover@b>b.b +b \n Heron+Plover \n Plover@a>a.b +a";
    assert_eq!(tags(&play(track("a b c d"), scene)), "a: Plover, b: Heron, c: Heron");
    let reason = refused(track("a b c d"), "Heron@c>c.b +c Plover@b>b.b +b \n Heron+Plover \n Heron+Plover");
    assert_eq!(reason, "nobody knows where `Plover` stands");
}

#[test]
fn an_uncoupled_train_leaves_its_rest_behind() {
    let scene = "Heron@b>b.b +b \n Heron/1/Plover";
    let signaller = play(track("a b c d e"), scene);
    assert_eq!((made_of(&signaller, "Heron"), made_of(&signaller, "Plover")), ("H".into(), "h1 h2".into()));
    assert_eq!(tags(&signaller), "b: Heron");
    let scene = format!("{scene} \n +c");
    assert_eq!(tags(&play(track("a b c d e"), &scene)), "b: Plover, c: Heron");
    let scene = format!("{scene} \n +d \n -c");
    assert_eq!(tags(&play(track("a b c d e"), &scene)), "b: Plover, d: Heron");
    assert_eq!(doubts(track("a b c d e"), &scene), "");
}

#[test]
fn the_section_empties_when_the_last_of_two_trains_leaves_it() {
    let scene = "Heron@b>b.b +b \n Heron/1/Plover \n +c \n +d \n -c \n +a \n -b";
    assert_eq!(tags(&play(track("a b c d e"), scene)), "a: Plover, d: Heron");
}

#[test]
fn the_rest_may_leave_first_by_the_other_end() {
    let scene = "Heron@b>b.b +b \n Heron/1/Plover \n +a";
    assert_eq!(tags(&play(track("a b c d e"), scene)), "a: Plover, b: Heron");
}

#[test]
fn wagons_that_no_detector_sees_stay_where_they_were_left() {
    // Heron couples on two wagons that draw no current, drops them again in `b`, and runs on.
    let scene = "Heron@b>b.b +b Dunlin@a>a.b \n Heron+Dunlin";
    let signaller = play(track("a b c d e"), scene);
    assert_eq!(made_of(&signaller, "Heron"), "H h1 h2 b1 b2");
    let scene = format!("{scene} \n Heron@b>b.b \n Heron/3/Dunlin \n +c -b");
    let signaller = play(track("a b c d e"), &scene);
    assert_eq!(tags(&signaller), "c: Heron");
    let section = signaller.layout().section_named("b").unwrap();
    let dunlin = signaller.layout().train_named("Dunlin").unwrap();
    assert_eq!(signaller.identity().holders(section).as_slice(), [dunlin]);
}

#[test]
fn trains_uncoupled_in_one_section_can_be_coupled_there_again() {
    let scene = "Heron@b>b.b +b \n Heron/1/Plover \n Heron+Plover \n +c \n -b";
    let signaller = play(track("a b c d"), scene);
    assert_eq!((tags(&signaller).as_str(), made_of(&signaller, "Heron").as_str()), ("c: Heron", "H h1 h2"));
    let scene = "Heron@b>b.b +b \n Heron/1/Plover \n Plover+Heron";
    assert_eq!(made_of(&play(track("a b c d"), scene), "Plover"), "H h1 h2");
}

#[test]
fn a_train_in_two_sections_is_cut_where_its_lengths_say() {
    // Its nose has just come into `c`, so that all but the very front of it is in `b`; but how far it has run on nobody knows
    // where people drive.
    let reason = refused(track("a b c d"), "Heron@b>b.b +b \n +c \n Heron/1/Plover");
    assert_eq!(
        reason,
        "`Heron` lies in several sections, and nobody knows in which it would be cut; hint: move it into one"
    );
}

#[test]
fn what_cannot_be_coupled_is_refused_with_a_reason() {
    let both = "Heron@b>b.b +b Plover@d>d.b +d \n";
    for (scene, expect) in [
        (format!("{both} Heron+Plover"), "`Heron` and `Plover` do not stand next to each other"),
        (format!("{both} Heron+Heron"), "a train cannot be coupled to itself"),
        (format!("{both} Heron+Curlew"), "nobody knows where `Curlew` stands"),
        (
            "Heron@b>b.b +b Plover@c +c \n Heron+Plover".into(),
            "nobody knows which way `Plover` points; hint: place it with its nose",
        ),
        (
            "Heron@b>b.b +b Plover@c>c.b +c \n -b \n Heron+Plover".into(),
            "it is not sure where `Heron` stands; hint: say which train is where first",
        ),
        (
            "Heron@b>b.b +b Plover@c>c.b +c \n -b Heron+Plover".into(),
            "something moved there in the same instant; hint: try again when all is still",
        ),
        (
            "Heron@b>b.b +b Plover@c>c.b +c \n Plover! Heron+Plover".into(),
            "something else was said of `Plover` in the same instant",
        ),
    ] {
        assert_eq!(refused(track("a b c d"), &scene), expect, "{scene}");
    }
}

#[test]
fn what_cannot_be_uncoupled_is_refused_with_a_reason() {
    let heron = "Heron@b>b.b +b Plover@d>d.b +d Curlew@a>a.b +a \n";
    let count = "`Heron` has 3 vehicles, and at least one must be kept and one be left";
    for (scene, expect) in [
        (format!("{heron} Heron/0/Dunlin"), count),
        (format!("{heron} Heron/3/Dunlin"), count),
        (format!("{heron} Heron/99/Dunlin"), count),
        (
            format!("{heron} Heron/1/Plover"),
            "`Plover` stands somewhere already; hint: the rest needs a train that stands nowhere",
        ),
        (
            format!("{heron} Heron/1/Heron"),
            "`Heron` stands somewhere already; hint: the rest needs a train that stands nowhere",
        ),
        (format!("{heron} Curlew/1/Dunlin"), "nobody said what vehicles `Curlew` is made of"),
        (format!("{heron} Dunlin/1/Heron"), "nobody knows where `Dunlin` stands"),
        ("Heron@b +b \n Heron/1/Dunlin".into(), "nobody knows which way `Heron` points; hint: place it with its nose"),
        (
            "Heron@b>b.b +b \n Heron/1/Dunlin \n Heron/1/Plover".into(),
            "`Heron` has 1 vehicle, and at least one must be kept and one be left",
        ),
        (
            "Heron@b>b.b +b \n Heron/2/Dunlin \n Heron/1/Plover".into(),
            "`Heron` was uncoupled here before; hint: move it first",
        ),
    ] {
        assert_eq!(refused(track("a b c d"), &scene), expect, "{scene}");
    }
}

#[test]
fn a_section_that_two_trains_share_shows_both_gone_when_it_empties() {
    let said = doubts(track("a b c d e"), "Heron@b>b.b +b \n Heron/1/Plover \n -b");
    assert!(said.contains("`Heron` stands in `b` though nothing shows it there"), "{said}");
    assert!(said.contains("`Plover` stands in `b` though nothing shows it there"), "{said}");
}

#[test]
fn coupling_is_told_once() {
    let (_, facts) =
        play_and_listen(track("a b c"), "Heron@b>b.b +b Plover@a>a.b +a \n Heron+Plover \n Heron/2/Dunlin");
    let coupled = facts.iter().filter(|(_, fact)| matches!(fact, Fact::Coupled { .. })).count();
    assert_eq!(coupled, 1, "and what lies in two sections is not uncoupled by guessing: {facts:?}");
}
