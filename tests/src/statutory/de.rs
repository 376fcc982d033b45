//! Main, distant and combined signals. Source of both tables: Eisenbahn-Signalordnung 1959, as of 31.10.2006, B.II (14)
//! and B.III; that Hp 2 is announced by Vr 2: Eisenbahn-Bau- und Betriebsordnung 1967, as of 25.7.2012, 14 (14).

use signaller::{Answer, Conduct, Request};
use track::Lie;

use super::{Scene, buffer_stops, head, joints, sections, signals, table, throat};

/// A distant signal V, then a main signal A before a turnout to two tracks.
fn distant_and_main() -> Scene {
    let text = head("de-hp")
        + &sections(&["a", "b", "c", "d"])
        + &throat("fork", "W1")
        + &joints(&[("a.b", "b.a"), ("b.b", "fork.toe"), ("fork.one", "c.a"), ("fork.two", "d.a")])
        + &buffer_stops(&["a.a", "c.b", "d.b"])
        + &signals(&[("A", "b.b"), ("V", "a.b")])
        + "aspects = \"de-vr\"\n";
    Scene::new(&text, Conduct::Observe)
}

/// Lets a main signal before the turnout `turnout`, with `beyond` on its straight leg, show this.
fn make(scene: &mut Scene, shows: &str, turnout: &str, beyond: &str) {
    scene.section(beyond, shows == "stop");
    scene.turnout(turnout, Some(if shows == "slow" { Lie::Diverging } else { Lie::Straight }));
}

#[test]
fn the_distant_signal_foretells_what_the_main_signal_shows() {
    let rows = table(include_str!("de_hv.csv"));
    assert_eq!(rows.len(), 3);
    for row in rows {
        let mut scene = distant_and_main();
        let state = match row[0] {
            "Hp 0" => "stop",
            "Hp 1" => "proceed",
            _ => "slow",
        };
        make(&mut scene, state, "W1", "c");
        assert_eq!((scene.shows("A"), scene.shows("V")), (row[0], row[1]));
    }
}

#[test]
fn the_distant_signal_speaks_of_the_main_signal_whatever_stands_between_them() {
    let mut scene = distant_and_main();
    scene.section("b", true);
    assert_eq!((scene.shows("A"), scene.shows("V")), ("Hp 1", "Vr 1"), "it lets nobody into any track");
    scene.turnout("W1", None);
    assert_eq!((scene.shows("A"), scene.shows("V")), ("Hp 0", "Vr 0"));
}

#[test]
fn a_stop_that_is_not_a_main_signal_is_foretold_by_vr_0_too() {
    // B.II (14): Vr 0 may announce a protective stop, which is what stands at the end of the track.
    let text = head("de-vr")
        + &sections(&["a", "b"])
        + &joints(&[("a.b", "b.a")])
        + &buffer_stops(&["a.a", "b.b"])
        + &signals(&[("V", "a.b")]);
    assert_eq!(Scene::new(&text, Conduct::Observe).shows("V"), "Vr 0");
}

/// A signal A before a turnout to two tracks, a signal N at the end of the one and M at the end of the other, each with
/// a turnout behind it.
fn two_in_a_row(book: &str) -> Scene {
    let text = head(book)
        + &sections(&["a", "c", "d", "e", "f", "g", "h"])
        + &throat("fork", "W1")
        + &throat("north", "W2")
        + &throat("south", "W3")
        + &joints(&[
            ("a.b", "fork.toe"),
            ("fork.one", "c.a"),
            ("fork.two", "d.a"),
            ("c.b", "north.toe"),
            ("d.b", "south.toe"),
        ])
        + &joints(&[("north.one", "e.a"), ("north.two", "f.a"), ("south.one", "g.a"), ("south.two", "h.a")])
        + &buffer_stops(&["a.a", "e.b", "f.b", "g.b", "h.b"])
        + &signals(&[("A", "a.b"), ("N", "c.b"), ("M", "d.b")]);
    Scene::new(&text, Conduct::Observe)
}

fn set_two(scene: &mut Scene, own: &str, next: &str) {
    make(scene, next, "W2", "e");
    make(scene, next, "W3", "g");
    scene.turnout("W1", Some(if own == "slow" { Lie::Diverging } else { Lie::Straight }));
}

#[test]
fn combined_signals_show_for_every_route_and_every_next_signal_what_the_table_says() {
    let rows = table(include_str!("de_sv.csv"));
    assert_eq!(rows.len(), 6);
    for row in rows {
        let mut sv = two_in_a_row("de-sv");
        set_two(&mut sv, row[0], row[1]);
        assert_eq!(sv.shows("A"), row[2], "own {}, next {}", row[0], row[1]);
        // Its left and right lights are those of a main and a distant signal on one post.
        let mut hv = two_in_a_row("de-hp-vr");
        set_two(&mut hv, row[0], row[1]);
        assert_eq!(hv.shows("A"), format!("{} + {}", row[3], row[4]));
    }
}

#[test]
fn combined_signals_stop_a_train_before_occupied_track() {
    let mut scene = two_in_a_row("de-sv");
    scene.section("c", true);
    assert_eq!(scene.shows("A"), "Sv 0", "stop, then on sight");
    scene.section("c", false);
    scene.turnout("W1", None);
    assert_eq!(scene.shows("A"), "Sv 0");
}

#[test]
fn a_train_is_let_past_a_main_signal_at_stop_only_by_zs_7_and_only_on_request() {
    // B.IV: Zs 7 lets a train pass a stop signal on sight.
    let mut scene = distant_and_main();
    scene.section("b", true);
    scene.section("c", true);
    assert_eq!(scene.shows("A"), "Hp 0");
    let signal = scene.signal("A");
    assert_eq!(scene.ask(Request::CallOn { signal, wanted: true }), Answer::Accepted);
    assert_eq!((scene.shows("A"), scene.shows("V")), ("Hp 0 + Zs 7", "Vr 0"));
    scene.turnout("W1", None);
    assert_eq!(scene.shows("A"), "Hp 0", "not over a turnout that may move");
    scene.turnout("W1", Some(Lie::Straight));
    scene.section("b", false);
    assert_eq!(scene.shows("A"), "Hp 0", "the train has passed");
}

#[test]
fn facing_points_that_are_not_known_to_lie_right_keep_the_signal_at_stop() {
    // EBO 14 (9).
    for book in ["de-hp", "de-hp-vr", "de-sv", "de-ks"] {
        let mut scene = two_in_a_row(book);
        assert!(scene.is_proceed("A"), "{book}");
        scene.turnout("W1", None);
        assert!(scene.is_at_stop("A"), "{book}");
    }
}
