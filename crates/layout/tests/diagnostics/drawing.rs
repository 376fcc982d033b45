//! How the track is to be drawn: `[diagram]`.

use track::Hint;

use crate::{check, load};

/// Two quays behind a throat, and what is said of the drawing.
fn quays(diagram: &str) -> String {
    format!(
        r#"
[diagram]
{diagram}
[[section]]
name = "quay-1"
[[section]]
name = "quay-2"
[[section]]
name = "throat"
ways = [
  {{ from = "toe", to = "one", needs = {{ W1 = "straight" }} }},
  {{ from = "toe", to = "two", needs = {{ W1 = "diverging" }} }},
]
[[turnout]]
name = "W1"
[[joint]]
ends = ["quay-1.b", "throat.one"]
[[joint]]
ends = ["quay-2.b", "throat.two"]
[[buffer-stop]]
at = ["quay-1.a", "quay-2.a"]
[[off-layout]]
at = "throat.toe"
"#
    )
}

#[test]
fn hints_are_read_in_the_order_of_their_kinds_and_change_no_track() {
    let hinted =
        load(&quays("backwards = \"quay-1\"\nleft = \"throat.toe\"\nfrom-top = [\"quay-2\", \"quay-1\"]")).unwrap();
    let layout = &hinted.layout;
    let section = |name| layout.section_named(name).unwrap();
    let above = Hint::Above { upper: section("quay-2"), lower: section("quay-1") };
    let left = Hint::Left(layout.end_named("throat.toe").unwrap());
    assert_eq!(hinted.hints, [left, above, Hint::Backwards(section("quay-1"))]);
    let plain = load(&quays("")).unwrap();
    assert_eq!((plain.hints.len(), format!("{:?}", plain.layout)), (0, format!("{layout:?}")));
    let several = load(&quays("from-top = [[\"quay-2\", \"quay-1\"], [\"quay-1\", \"quay-2\"]]")).unwrap();
    assert_eq!(several.hints.len(), 2, "that they contradict each other is seen when it is drawn");
}

#[test]
fn hints_that_name_nothing_or_what_cannot_be_meant_are_told_with_what_would_be_right() {
    check(
        &quays("left = [\"quay-1.c\"]\nfrom-top = [\"quay-2\", \"qay-1\"]\nbackwards = \"throat\""),
        "layout 3:9-19 mistake: section `quay-1` has no end `c`
            hint: its ends are `a` and `b`
         layout 4:23-30 mistake: no section is named `qay-1`
            hint: the nearest name is `quay-1`
         layout 5:13-21 mistake: `throat` has several ways, which are drawn in several rows
            hint: name a section with two ends and one way between them",
    );
    check(
        &quays("from-top = [\"quay-2\"]"),
        "layout 3:12-22 mistake: `from-top` names two sections or more, from top to bottom
            hint: `from-top = [\"quay-2\", \"quay-1\"]`, or several such lists in brackets",
    );
    check(
        &quays("from-top = \"quay-2\"\nfrom-left = \"quay-1.a\""),
        "layout 3:12-20 mistake: `from-top` is a list, not a text
            hint: name two sections or more, from top to bottom: `from-top = [\"quay-2\", \"quay-1\"]`
         layout 4:1-10 mistake: `[diagram]` has no key `from-left`
            hint: its keys are `left`, `from-top` and `backwards`",
    );
    check(
        &quays("from-top = [\"quay-2\", \"quay-2\"]"),
        "layout 3:23-31 mistake: `quay-2` cannot be drawn above itself
            hint: name each section once in a list",
    );
}

#[test]
fn a_drawing_of_endless_hints_is_refused() {
    let many = vec!["\"quay-1.a\""; 1001].join(", ");
    check(
        &quays(&format!("left = [{many}]")),
        "layout 2:1-10 mistake: `[diagram]` holds at most 1000 names, not 1001
            hint: leave out what is drawn so by itself",
    );
}
