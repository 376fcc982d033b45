//! Aspect books: those that are shipped, those of a layout's own, and everything that can be wrong with one.

use layout::shipped_books;
use track::{Aspect, AspectBook, Role};

use crate::{check, load};

/// A line with one signal, shown by `book`.
fn with_book(book: &str) -> String {
    format!(
        "[layout]\nname = \"t\"\nscale = \"H0\"\naspects = \"{book}\"\n[[section]]\nname = \"quay\"\n[[section]]\nname = \"line\"\n\
         [[joint]]\nends = [\"quay.b\", \"line.a\"]\n[[off-layout]]\nat = [\"quay.a\", \"line.b\"]\n\
         [[signal]]\nname = \"S1\"\nat = \"quay.b\"\n"
    )
}

fn shipped(book: &str) -> AspectBook {
    let loaded = load(&with_book(book)).unwrap_or_else(|refused| panic!("{book}: {refused}"));
    assert!(loaded.warnings.is_empty(), "{}", loaded.warnings);
    let layout = loaded.layout;
    layout.book_of(layout.signal_named("S1").unwrap()).clone()
}

#[test]
fn every_shipped_book_shows_one_aspect_in_every_state_and_says_what_it_follows() {
    assert_eq!(shipped_books().count(), 11);
    for title in shipped_books() {
        let book = shipped(title);
        assert_eq!(book.title(), title);
        assert_eq!(book.role(), if title == "de-vr" { Role::Distant } else { Role::Main });
        let parts = book.parts();
        assert!(!parts.source.is_empty(), "{title} names no source");
        for (aspect, row) in book.aspects() {
            let has_lamps = !row.lamps.is_empty() || !row.flashing.is_empty();
            assert!(has_lamps && !row.says.is_empty(), "{title}: {}", row.name);
            assert_eq!(book.named(&row.name), Some(aspect));
        }
    }
}

#[test]
fn the_book_of_signals_that_name_none_is_the_shipped_three_aspect_book() {
    assert_eq!(shipped("three-aspect"), AspectBook::three_aspect());
    let layout =
        load("\n[[section]]\nname = \"quay\"\n[[off-layout]]\nat = [\"quay.a\", \"quay.b\"]\n").unwrap().layout;
    assert_eq!(layout.books.values().collect::<Vec<_>>(), [&AspectBook::three_aspect()]);
}

#[test]
fn a_border_signal_that_is_yellow_is_at_single_yellow() {
    for title in ["uk-three-aspect", "uk-four-aspect"] {
        let book = shipped(title);
        assert_eq!(book.named("yellow"), book.named("single yellow"));
        assert!(book.named("yellow").is_some());
    }
}

#[test]
fn a_layouts_own_book_comes_before_a_shipped_one_of_its_name() {
    let own = "--- aspects/two-aspect.toml\n[[aspect]]\nname = \"halt\"\npass = \"stop\"\n[[aspect]]\nname = \"go\"\n\
               [[rule]]\nshow = \"go\"\n";
    let layout = load(&(with_book("two-aspect") + own)).unwrap_or_else(|refused| panic!("{refused}")).layout;
    let book = layout.book_of(layout.signal_named("S1").unwrap());
    assert_eq!((book.name(Aspect::STOP), book.name(Aspect(1))), (Some("halt"), Some("go")));
}

#[test]
fn signals_of_several_books_may_stand_on_one_layout() {
    let more = "aspects = \"de-hp-vr\"\npermissive = true\napproach-lit = true\ncontrolled = true\n\
                [[signal]]\nname = \"V2\"\nat = \"line.b\"\naspects = \"de-vr\"\n";
    let layout = load(&(with_book("uk-four-aspect") + more)).unwrap_or_else(|refused| panic!("{refused}")).layout;
    let titles: Vec<&str> = layout.books.values().map(AspectBook::title).collect();
    assert_eq!(titles, ["uk-four-aspect", "de-hp-vr", "de-vr"]);
    let [s1, v2] = ["S1", "V2"].map(|name| layout.signal_named(name).unwrap());
    assert!(layout.signals[s1].is_permissive && layout.signals[s1].is_approach_lit);
    assert!(layout.signals[s1].is_controlled && !layout.signals[v2].is_controlled);
    assert_eq!(layout.main_signal(layout.signals[s1].at), Some(s1));
    assert_eq!(layout.main_signal(layout.signals[v2].at), None, "a distant signal ends no stretch");
}

#[test]
fn books_that_there_are_not() {
    let line = with_book("uk-four-aspcet") + "aspects = \"../secret\"\n";
    check(
        &(line + "[[signal]]\nname = \"S2\"\nat = \"line.a\"\naspects = \"harbour\"\n"),
        r#"
            layout 4:11-27 mistake: there is no aspect book `uk-four-aspcet`
            hint: the nearest name is `uk-four-aspect`
            layout 16:11-22 mistake: `../secret` cannot be the name of an aspect book
            hint: a book is named like its file: lower-case letters, digits and hyphens
            layout 20:11-20 mistake: there is no aspect book `harbour`
            hint: write `aspects/harbour.toml`, or take one of `two-aspect`, `three-aspect`, `us-block`, `us-speed`, `uk-three-aspect`, `uk-four-aspect`, `de-hp`, `de-vr`, `de-hp-vr`, `de-sv` and `de-ks`
        "#,
    );
}

#[test]
fn words_that_mean_nothing_in_a_book() {
    let own = r#"--- aspects/mine.toml
[book]
kind = "mian"
[[aspect]]
name = "red"
pass = "halt"
[[aspect]]
name = "yellow"
expect = "stpo"
lamp = ["yellow"]
[[aspect]]
name = "green"
also-called = ["yellow"]
[[rule]]
show = "grene"
"#;
    check(
        &(with_book("mine") + own),
        r#"
            aspects/mine 2:8-14 mistake: `mian` is not a kind of signal
            hint: the nearest word is `main`
            aspects/mine 5:8-14 mistake: `halt` is not how a train may pass
            hint: the words are `stop`, `stop-then-on-sight`, `on-sight`, `slow`, `medium`, `limited` and `normal`
            aspects/mine 8:10-16 mistake: `stpo` is not what a train may expect
            hint: the nearest word is `stop`
            aspects/mine 9:1-5 mistake: an aspect has no key `lamp`
            hint: the nearest key is `lamps`
        "#,
    );
}

#[test]
fn words_that_mean_nothing_in_a_rule() {
    let own = r#"--- aspects/mine.toml
[[aspect]]
name = "red"
pass = "stop"
[[aspect]]
name = "green"
[[rule]]
show = "green"
next = ["rde"]
[[rule]]
show = "grene"
clear = 4
path = "left"
speed = ["fast"]
[[rule]]
show = "green"
called-on = true
[[rule]]
show = "green"
occupied = true
next = ["edge"]
"#;
    check(
        &(with_book("mine") + own),
        r#"
            aspects/mine 8:9-14 mistake: no aspect is named `rde`
            hint: the nearest is `red`
            aspects/mine 10:8-15 mistake: no aspect is named `grene`
            hint: the nearest is `green`
            aspects/mine 11:9-10 mistake: `clear` is a number from 1 to 3, or a list of such
            hint: 3 means 3 or more
            aspects/mine 12:8-14 mistake: `left` is not how a path lies
            hint: the words are `straight` and `diverging`
            aspects/mine 13:10-16 mistake: `fast` is not a class of speed
            hint: the words are `slow`, `medium`, `limited` and `normal`
            aspects/mine 14:1-9 mistake: only a rule about occupied track can go by `permissive` or `called-on`
            hint: add `occupied = true`
            aspects/mine 17:1-9 mistake: a rule about occupied track cannot go by `next` or `clear`
            hint: what is beyond a train is not looked at
        "#,
    );
}

#[test]
fn a_book_that_shows_two_things_nothing_or_too_much() {
    let own = r#"--- aspects/mine.toml
[[aspect]]
name = "red"
pass = "stop"
lamps = ["red"]
[[aspect]]
name = "yellow"
expect = "stop"
lamps = ["yellow"]
[[aspect]]
name = "green"
expect = "normal"
lamps = ["yellow"]
[[rule]]
show = "green"
next = ["red", "green", "yellow"]
[[rule]]
show = "yellow"
next = ["green", "buffer-stop"]
"#;
    check(
        &(with_book("mine") + own),
        r#"
            aspects/mine 1:1-1 mistake: no rule says what is shown: the layout's edge next
            hint: every state of clear track has exactly one aspect: add a `[[rule]]`
            aspects/mine 9:1-11 mistake: `green` looks like `yellow`
            hint: every aspect has lamps by which it is told from all others
            aspects/mine 13:1-9 mistake: this shows more than is so: it foretells normal speed, but: `red` next
            hint: show a more restrictive aspect, or mend its `pass` and `expect`
            aspects/mine 16:1-9 mistake: two rules show different aspects at once: `green` next
            hint: every state has exactly one aspect: say more of when each rule holds
        "#,
    );
}

#[test]
fn an_aspect_that_is_never_shown_and_a_first_one_that_does_not_stop() {
    let own = r#"--- aspects/mine.toml
[[aspect]]
name = "green"
[[aspect]]
name = "red"
pass = "stop"
[[rule]]
show = "red"
"#;
    check(
        &(with_book("mine") + own),
        r#"
            aspects/mine 1:1-11 mistake: `green` does not stop a train
            hint: the first aspect is the most restrictive: `pass = "stop"`
            aspects/mine 3:1-11 mistake: `red` is more restrictive than the aspect before it
            hint: aspects stand in order, the most restrictive first
        "#,
    );
    let own = r#"--- aspects/mine.toml
[[aspect]]
name = "red"
pass = "stop"
[[aspect]]
name = "yellow"
expect = "stop"
[[aspect]]
name = "green"
[[rule]]
show = "green"
[[rule]]
show = "green"
next = ["red"]
clear = 2
"#;
    check(
        &(with_book("mine") + own),
        r#"
            aspects/mine 11:1-9 mistake: this rule never holds
            hint: a next signal at danger, a buffer stop and the layout's edge leave 1 stretch clear, all else 2 or more
        "#,
    );
}

#[test]
fn a_book_by_which_no_signal_stands_at_stop_before_occupied_track() {
    let own = r#"--- aspects/mine.toml
[[aspect]]
name = "red"
pass = "stop"
[[aspect]]
name = "caution"
pass = "on-sight"
[[aspect]]
name = "green"
[[rule]]
show = "caution"
occupied = true
[[rule]]
show = "green"
"#;
    check(
        &(with_book("mine") + own),
        r#"
            aspects/mine 9:1-9 mistake: this lets every train into occupied track: stop is not shown there any more
            hint: let it hold where the signal is permissive, or a train is called on: `permissive = true` or `called-on = true`
        "#,
    );
    let called_on = own.replace("occupied = true\n", "occupied = true\ncalled-on = true\n");
    let layout = load(&(with_book("mine") + &called_on)).unwrap_or_else(|refused| panic!("{refused}")).layout;
    assert!(layout.book_of(layout.signal_named("S1").unwrap()).can_call_on());
}

#[test]
fn a_distant_signal_speaks_of_another_books_aspects() {
    let own = r#"--- aspects/mine.toml
[book]
kind = "distant"
reads = "de-hpp"
[[aspect]]
name = "caution"
expect = "stop"
[[rule]]
show = "caution"
"#;
    check(
        &(with_book("mine") + own),
        r#"
            aspects/mine 3:9-17 mistake: there is no aspect book `de-hpp`
            hint: the nearest name is `de-hp`
        "#,
    );
}
