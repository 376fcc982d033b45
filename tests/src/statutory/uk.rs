//! Colour light signals. Source of both tables: Network Rail, public glossary, entries on colour light signals; the
//! column of three aspects is that of four without the double yellow.

use std::collections::BTreeMap;

use signaller::{Answer, Conduct, Request};

use super::{Scene, line, table};

const BOOKS: [&str; 3] = ["two-aspect", "uk-three-aspect", "uk-four-aspect"];

/// A line with a train so many clear sections beyond its first signal; none where there are more than four.
fn with_clear(book: &str, clear: usize) -> Scene {
    let mut scene = Scene::new(&line(book, 9), Conduct::Observe);
    if clear <= 4 {
        let train = (b'b' + clear as u8) as char;
        scene.section(&train.to_string(), true);
    }
    scene
}

#[test]
fn signals_show_by_the_sections_that_are_clear_beyond_them_what_the_glossary_says() {
    let rows = table(include_str!("uk_colour_light.csv"));
    assert_eq!(rows.len(), 4);
    for row in rows {
        let counts = match row[0] {
            "3 or more" => vec![3, 4, 9],
            count => vec![count.parse().unwrap()],
        };
        for clear in counts {
            for (column, book) in BOOKS.iter().enumerate() {
                let scene = with_clear(book, clear);
                assert_eq!(scene.shows("S1"), row[column + 1], "{book}, {clear} clear");
            }
        }
    }
}

#[test]
fn signals_show_by_what_the_next_one_shows_what_the_glossary_says() {
    for (column, book) in [(2, "uk-three-aspect"), (3, "uk-four-aspect")] {
        // What the first signal shows for each aspect of the next, as it comes about.
        let mut seen: BTreeMap<String, String> = BTreeMap::new();
        for clear in 1..=9 {
            let scene = with_clear(book, clear);
            let first = seen.insert(scene.shows("S2").to_owned(), scene.shows("S1").to_owned());
            assert!(first.is_none_or(|before| before == scene.shows("S1")), "{book}: it depends on more");
        }
        for row in table(include_str!("uk_next_signal.csv")) {
            if row[0] == "no" {
                assert_eq!(with_clear(book, 0).shows("S1"), row[column]);
            } else if row[column] != "-" {
                assert_eq!(seen.remove(row[1]).as_deref(), Some(row[column]), "{book} before {}", row[1]);
            }
        }
        assert!(seen.is_empty(), "the glossary knows nothing of {seen:?}");
    }
}

#[test]
fn a_train_is_warned_before_it_meets_a_signal_at_red() {
    // Public pages, second-hand: a stop signal at danger is preceded by at least one cautionary aspect.
    for book in ["uk-three-aspect", "uk-four-aspect"] {
        for clear in 1..=4 {
            let scene = with_clear(book, clear);
            let before = format!("S{clear}");
            assert_eq!((scene.shows(&before), scene.is_at_stop(&format!("S{}", clear + 1))), ("single yellow", true));
        }
    }
}

#[test]
fn a_train_is_called_on_into_occupied_track_by_the_position_light_below_red() {
    // From memory.
    for book in ["uk-three-aspect", "uk-four-aspect"] {
        let mut scene = with_clear(book, 0);
        assert_eq!(scene.shows("S1"), "red", "nobody asked");
        let signal = scene.signal("S1");
        assert_eq!(scene.ask(Request::CallOn { signal, wanted: true }), Answer::Accepted);
        assert_eq!(scene.shows("S1"), "red, position light");
        scene.section("b", false);
        assert_eq!(scene.shows("S1"), "green", "no more to be wary of");
    }
}
