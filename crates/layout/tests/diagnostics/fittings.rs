//! Signals, stopping points, detectors, power districts.

use crate::{check, load};

#[test]
fn a_signal_at_a_buffer_stop_is_fixed_and_has_no_overlap() {
    let fixed = |overlap: &str| {
        format!(
            "\n[[section]]\nname = \"quay\"\n[[buffer-stop]]\nat = \"quay.a\"\n[[off-layout]]\nat = \"quay.b\"\n\
             [[signal]]\nname = \"S1\"\nat = \"quay.a\"\n{overlap}"
        )
    };
    let layout = load(&fixed("")).unwrap_or_else(|refused| panic!("{refused}")).layout;
    assert!(layout.is_fixed(layout.signal_named("S1").unwrap()));
    check(
        &fixed("overlap = 200\n"),
        r#"
            layout 11:11-14 mistake: behind this signal is a buffer stop, so it has no overlap
            hint: the overlap of a signal is the track beyond it
        "#,
    );
}

#[test]
fn tracks_that_cross_hang_together_and_each_knows_of_the_other() {
    let tracks = |crosses: &str| {
        format!(
            "\n[[section]]\nname = \"quay\"\n{crosses}\n[[section]]\nname = \"line\"\n\
             [[off-layout]]\nat = [\"quay.a\", \"quay.b\", \"line.a\", \"line.b\"]\n"
        )
    };
    let layout = load(&tracks("crosses = \"line\"")).unwrap_or_else(|refused| panic!("{refused}")).layout;
    let [quay, line] = ["quay", "line"].map(|name| layout.section_named(name).unwrap());
    assert_eq!(layout.sections[quay].crosses, [line]);
    assert_eq!(layout.sections[line].crosses, [quay]);
    check(
        &tracks("crosses = [\"line\", \"quay\", \"lino\", 7]"),
        r#"
            layout 4:20-26 mistake: `quay` is said to cross itself
            hint: name the other section; ways of one section exclude each other anyway
            layout 4:28-34 mistake: no section is named `lino`
            hint: the nearest name is `line`
            layout 4:36-37 mistake: `crosses` is a text, not a whole number
            hint: put it in quotes: `"7"`
        "#,
    );
}

#[test]
fn two_signals_at_one_end_and_two_of_one_name() {
    check(
        r#"
[[section]]
name = "quay"
[[off-layout]]
at = ["quay.a", "quay.b"]
[[signal]]
name = "S1"
at = "quay.a"
[[signal]]
name = "S2"
at = "quay.a"
[[signal]]
name = "S1"
at = "quay.b"
"#,
        r#"
            layout 11:6-14 mistake: a second signal stands at `quay.a`
            hint: one signal governs leaving a section by an end
            layout 13:8-12 mistake: a second signal is named `S1`
            hint: give each its own name
        "#,
    );
}

#[test]
fn a_stopping_point_needs_a_measured_way_that_is_long_enough() {
    check(
        r#"
[[section]]
name = "quay"
[[section]]
name = "line"
length = 900
[[joint]]
ends = ["quay.b", "line.a"]
[[off-layout]]
at = ["quay.a", "line.b"]
[[stopping-point]]
at = "quay.b"
short-of-end = 100
[[stopping-point]]
at = "line.b"
short-of-end = 900
[[stopping-point]]
at = "line.a"
short-of-end = -1
"#,
        r#"
            layout 3:8-14 mistake: this way through `quay` needs a length: a stopping point is measured along it
            hint: measure it, and add `length = ...` in millimetres
            layout 16:16-19 mistake: the stopping point lies 900 mm from the end of a way of 900 mm
            hint: `short-of-end` is measured back from the end, within the section
            layout 19:16-18 mistake: `short-of-end` is negative
            hint: `short-of-end` is a number of millimetres
        "#,
    );
}

#[test]
fn two_stopping_points_at_one_end_need_names() {
    check(
        r#"
[[section]]
name = "quay"
length = 900
[[off-layout]]
at = ["quay.a", "quay.b"]
[[stopping-point]]
at = "quay.b"
[[stopping-point]]
at = "quay.b"
short-of-end = 300
[[stopping-point]]
name = "the crane"
at = "quay.b"
short-of-end = 500
"#,
        r#"
            layout 10:6-14 mistake: a second stopping point is named `quay.b`
            hint: give each its own name
        "#,
    );
}

#[test]
fn detectors_of_all_kinds() {
    check(
        r#"
[[section]]
name = "quay"
length = 900
[[section]]
name = "bay"
dark = true
[[joint]]
ends = ["quay.b", "bay.a"]
[[off-layout]]
at = ["quay.a", "bay.b"]
[[detector]]
area = "quay"
on-delay = 0.1
off-delay = 0.8
[[detector]]
name = "gate"
reader = "quay"
[[detector]]
name = "magnet"
spot = "quay.b"
distance = 200
"#,
        "",
    );
}

#[test]
fn detectors_that_cannot_be() {
    check(
        r#"
[[section]]
name = "quay"
length = 900
[[section]]
name = "bay"
dark = true
[[joint]]
ends = ["quay.b", "bay.a"]
[[off-layout]]
at = ["quay.a", "bay.b"]
[[detector]]
area = "bay"
[[detector]]
area = "quay"
[[detector]]
area = "quay"
[[detector]]
reader = "quay"
[[detector]]
name = "magnet"
spot = "quay.b"
distance = 901
[[detector]]
name = "far"
spot = "bay.b"
distance = 10
[[detector]]
name = "both"
area = "quay"
reader = "quay"
[[detector]]
name = "nowhere"
[[detector]]
name = "gate"
reader = "quay"
distance = 4
[[detector]]
name = "quay"
reader = "qauy"
"#,
        r#"
            layout 6:8-13 mistake: this way through `bay` needs a length: a spot is measured along it
            hint: measure it, and add `length = ...` in millimetres
            layout 12:1-13 mistake: `bay` is dark, and yet has an area detector
            hint: take away one of the two
            layout 17:8-14 mistake: a second area detector watches `quay`
            hint: a section is what one detector watches: split the section, or keep one detector
            layout 18:1-13 mistake: a spot or a reader needs a `name`
            hint: add `name = "gate"`
            layout 23:12-15 mistake: the spot lies behind its way, which is 900 mm long
            hint: `distance` is measured from the end named by `spot`
            layout 28:1-13 mistake: a detector has one place
            hint: keep one of `area`, `reader` and `spot`
            layout 32:1-13 mistake: a detector needs a place
            hint: add `area = "section"`, `reader = "section"` or `spot = "section.end"`
            layout 37:12-13 mistake: only a spot has `to` and `distance`
            hint: a detector of a whole section needs neither
            layout 40:10-16 mistake: no section is named `qauy`
            hint: the nearest name is `quay`
        "#,
    );
}

#[test]
fn a_spot_where_several_ways_begin_says_which() {
    check(
        r#"
[[turnout]]
name = "W1"
[[section]]
name = "throat"
ways = [
  { from = "toe", to = "one", length = 200, needs = { W1 = "straight" } },
  { from = "toe", to = "two", length = 200, needs = { W1 = "diverging" } },
]
[[off-layout]]
at = ["throat.toe", "throat.one", "throat.two"]
[[detector]]
name = "unclear"
spot = "throat.toe"
[[detector]]
name = "wrong"
spot = "throat.toe"
to = "three"
[[detector]]
name = "clear"
spot = "throat.toe"
to = "two"
distance = 20
"#,
        r#"
            layout 14:8-20 mistake: several ways begin at `throat.toe`
            hint: say which is meant: `to` is one of `one` and `two`
            layout 18:6-13 mistake: no way leads from `throat.toe` to `three`
            hint: ways lead to `one` and `two`
        "#,
    );
}

#[test]
fn power_districts_that_do_not_fit() {
    check(
        r#"
[[district]]
name = "harbour"
[[district]]
name = "hill"
[[section]]
name = "quay"
district = "harbor"
[[section]]
name = "line"
district = "hill"
[[joint]]
ends = ["quay.b", "line.a"]
[[off-layout]]
at = ["quay.a", "line.b"]
"#,
        r#"
            layout 8:12-20 mistake: no power district is named `harbor`
            hint: the nearest name is `harbour`
        "#,
    );
    check(
        r#"
[[section]]
name = "quay"
district = "harbour"
[[off-layout]]
at = ["quay.a", "quay.b"]
"#,
        r#"
            layout 4:12-21 mistake: no power district is named `harbour`
            hint: there is no power district at all: add `[[district]]`
        "#,
    );
}
