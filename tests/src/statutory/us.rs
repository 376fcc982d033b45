//! Block signals and interlocking signals. Source: 49 CFR Part 236 (annual edition of 2015), one scenario a section,
//! named after it.
//!
//! What these sections say of derails, of fouling wires and of circuits that only the hardware has is not tried: there
//! is nothing of the kind on a layout.

use signaller::{Answer, Conduct, Input, Request};
use track::Lie;

use super::{Scene, buffer_stops, head, joints, line, sections, signals, throat};

const BOOKS: [&str; 2] = ["us-block", "us-speed"];

/// Plain single track `a b c d e`, signalled both ways: E1, E2, E3 towards `e`, W1, W2, W3 towards `a`.
fn both_ways(book: &str) -> String {
    line(book, 5).replace("\"S", "\"E") + &signals(&[("W1", "b.a"), ("W2", "c.a"), ("W3", "d.a"), ("W4", "e.a")])
}

#[test]
fn cfr_236_204_a_train_on_two_way_track_puts_the_opposing_signal_ahead_of_it_at_stop() {
    for book in BOOKS {
        for (train, opposing) in [("b", "W2"), ("c", "W3"), ("d", "W4")] {
            let mut scene = Scene::new(&both_ways(book), Conduct::Observe);
            assert!(scene.is_proceed(opposing));
            scene.section(train, true);
            assert!(scene.is_at_stop(opposing), "{book}: a train in {train} runs towards {opposing}");
        }
    }
}

#[test]
fn cfr_236_204_with_overlaps_opposing_trains_are_both_stopped_with_track_between_them() {
    // The opposing signals that stop them stand a section apart: the sum of the stopping distances has to fit into it.
    let text = both_ways("us-block")
        .replace("name = \"E3\"\n", "name = \"E3\"\noverlap = [\"d\"]\n")
        .replace("name = \"W2\"\n", "name = \"W2\"\noverlap = [\"b\"]\n");
    let mut scene = Scene::new(&text, Conduct::Observe);
    assert!(scene.is_proceed("E2") && scene.is_proceed("W3"));
    // One comes to E2 from the west while the other is in the overlap behind E3.
    scene.section("b", true);
    scene.section("d", true);
    assert!(scene.is_at_stop("E2") && scene.is_at_stop("W3"), "neither enters the section between");
}

#[test]
fn cfr_236_205_a_block_that_is_occupied_puts_its_signal_at_its_most_restrictive_aspect() {
    for book in BOOKS {
        let mut scene = Scene::new(&line(book, 6), Conduct::Observe);
        scene.section("c", true);
        assert_eq!((scene.shows("S1"), scene.shows("S2")), ("Approach", "Stop"), "{book}");
        let text = line(book, 6).replace("name = \"S2\"\n", "name = \"S2\"\npermissive = true\n");
        let mut scene = Scene::new(&text, Conduct::Observe);
        scene.section("c", true);
        assert_eq!((scene.shows("S1"), scene.shows("S2")), ("Approach", "Stop and Proceed"), "{book}");
    }
}

#[test]
fn cfr_236_205_points_that_are_not_closed_in_position_put_the_signal_at_stop() {
    for book in BOOKS {
        let mut scene = fork(book);
        assert!(scene.is_proceed("S1"));
        scene.turnout("T1", None);
        assert!(scene.is_at_stop("S1"), "{book}");
    }
}

#[test]
fn cfr_236_205_a_detector_that_was_never_heard_or_whose_link_is_down_puts_the_signal_at_stop() {
    for book in BOOKS {
        // Even where occupied track might be entered on sight.
        let permissive = line(book, 4).replace("name = \"S1\"\n", "name = \"S1\"\npermissive = true\n");
        let mut unheard = Scene::unheard(&permissive, Conduct::Observe);
        unheard.hear(&[]);
        assert_eq!(unheard.shows("S1"), "Stop");
        let linked = permissive.replace("name = \"b\"\n", "name = \"b\"\nlink = \"west\"\n");
        let mut scene = Scene::new(&(linked + "[[link]]\nname = \"west\"\n"), Conduct::Observe);
        assert!(scene.is_proceed("S1"));
        let link = scene.layout.link_named("west").unwrap();
        scene.hear(&[Input::LinkReported { link, up: false }]);
        assert_eq!(scene.shows("S1"), "Stop", "{book}");
    }
}

/// A signal S1 before a turnout T1 to two tracks, with signals at their ends.
fn fork(book: &str) -> Scene {
    let text = head(book)
        + &sections(&["a", "b", "c", "d", "e", "f"])
        + &throat("fork", "T1")
        + &joints(&[("a.b", "b.a"), ("b.b", "fork.toe"), ("fork.one", "c.a"), ("fork.two", "d.a"), ("c.b", "e.a")])
        + &joints(&[("d.b", "f.a")])
        + &buffer_stops(&["a.a", "e.b", "f.b"])
        + &signals(&[("S0", "a.b"), ("S1", "b.b"), ("S2", "c.b"), ("S3", "d.b")]);
    Scene::new(&text, Conduct::Observe)
}

#[test]
fn cfr_236_303_no_aspect_is_better_than_restricted_unless_every_switch_of_the_route_is_proved() {
    for book in BOOKS {
        let mut scene = fork(book);
        for (lie, proved) in [(Some(Lie::Straight), true), (Some(Lie::Diverging), true), (None, false)] {
            scene.turnout("T1", lie);
            assert_eq!(scene.is_proceed("S1"), proved, "{book}, {lie:?}");
        }
        let signal = scene.signal("S1");
        assert_eq!(scene.ask(Request::CallOn { signal, wanted: true }), Answer::Accepted);
        assert_eq!(scene.shows("S1"), "Stop", "not even for a train that is called on");
    }
}

#[test]
fn cfr_236_310_the_signal_before_a_home_signal_tells_of_it_in_advance() {
    for book in BOOKS {
        let mut scene = fork(book);
        scene.turnout("T1", None);
        assert_eq!((scene.shows("S0"), scene.shows("S1")), ("Approach", "Stop"), "{book}");
        scene.turnout("T1", Some(Lie::Straight));
        assert!(scene.is_proceed("S1"));
        assert_ne!(scene.shows("S0"), "Approach", "{book}");
    }
}

#[test]
fn cfr_236_311_no_aspect_is_better_than_restricted_unless_all_track_of_the_route_is_clear() {
    for book in BOOKS {
        for occupied in ["fork", "c"] {
            let mut scene = fork(book);
            scene.section("b", true);
            scene.section(occupied, true);
            assert_eq!(scene.shows("S1"), "Stop");
            let signal = scene.signal("S1");
            scene.ask(Request::CallOn { signal, wanted: true });
            assert_eq!(
                scene.shows("S1"),
                "Restricting",
                "{book}: no better for a train that is called on into {occupied}"
            );
            scene.section(occupied, false);
            assert!(scene.is_proceed("S1"));
        }
        let mut scene = fork(book);
        scene.section("d", true);
        assert!(scene.is_proceed("S1"), "{book}: that is another route");
    }
}

#[test]
fn cfr_236_811_and_813_medium_and_slow_speed_are_foretold_and_shown_by_the_speed_of_the_path() {
    let with_class = |class: &str| {
        let text = head("us-speed")
            + &sections(&["a", "b", "c", "d", "e", "f"])
            + &throat("fork", "T1")
                .replace("T1 = \"diverging\" }", &format!("T1 = \"diverging\" }}, speed-class = \"{class}\""))
            + &joints(&[("a.b", "b.a"), ("b.b", "fork.toe"), ("fork.one", "c.a"), ("fork.two", "d.a"), ("c.b", "e.a")])
            + &joints(&[("d.b", "f.a")])
            + &buffer_stops(&["a.a", "e.b", "f.b"])
            + &signals(&[("S0", "a.b"), ("S1", "b.b"), ("S2", "c.b"), ("S3", "d.b")]);
        let mut scene = Scene::new(&text, Conduct::Observe);
        assert_eq!((scene.shows("S0"), scene.shows("S1"), scene.shows("S2")), ("Clear", "Clear", "Approach"));
        scene.turnout("T1", Some(Lie::Diverging));
        [scene.shows("S0"), scene.shows("S1"), scene.shows("S3")].map(str::to_owned)
    };
    assert_eq!(with_class("slow"), ["Approach", "Slow Clear", "Approach"]);
    assert_eq!(with_class("medium"), ["Approach Medium", "Medium Clear", "Approach"]);
    assert_eq!(with_class("limited"), ["Approach Medium", "Medium Clear", "Approach"], "no aspect says more");
    assert_eq!(with_class("normal"), ["Clear", "Clear", "Approach"]);
}
