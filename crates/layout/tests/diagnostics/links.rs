//! Links: what carries whose reports.

use crate::{check, load};

#[test]
fn a_link_carries_all_detectors_of_a_section_but_those_that_name_another() {
    let layout = load(
        r#"
[[link]]
name = "west"
[[link]]
name = "east"
[[turnout]]
name = "W1"
link = "east"
[[section]]
name = "throat"
link = "west"
ways = [
  { from = "toe", to = "one", length = 200, needs = { W1 = "straight" } },
  { from = "toe", to = "two", length = 200, needs = { W1 = "diverging" } },
]
[[section]]
name = "bay"
dark = true
link = "west"
[[joint]]
ends = ["throat.two", "bay.a"]
[[off-layout]]
at = ["throat.toe", "throat.one", "bay.b"]
[[detector]]
name = "gate"
reader = "bay"
[[detector]]
name = "magnet"
spot = "throat.one"
[[detector]]
name = "eye"
spot = "throat.two"
link = "east"
"#,
    )
    .unwrap()
    .layout;
    let link_of = |detector: &str| {
        let link = layout.detectors[layout.detector_named(detector).unwrap()].link?;
        Some(layout.links[link].name.as_str())
    };
    assert_eq!(link_of("throat"), Some("west"));
    assert_eq!(link_of("gate"), Some("west"));
    assert_eq!(link_of("magnet"), Some("west"));
    assert_eq!(link_of("eye"), Some("east"));
    assert_eq!(layout.turnouts.values().next().unwrap().link, layout.link_named("east"));
}

#[test]
fn links_that_nothing_uses_and_links_that_are_not_there() {
    check(
        r#"
[[link]]
name = "west"
[[link]]
name = "spare"
[[link]]
name = "west"
[[section]]
name = "quay"
link = "wset"
[[section]]
name = "bay"
dark = true
link = "west"
[[joint]]
ends = ["quay.b", "bay.a"]
[[off-layout]]
at = ["quay.a", "bay.b"]
[[detector]]
name = "gate"
reader = "quay"
link = "moon"
[[detector]]
area = "quay"
link = 4
"#,
        r#"
            layout 5:8-15 warning: nothing uses link `spare`
            hint: add `link = "spare"` to the sections, detectors and turnouts that it carries the reports of
            layout 7:8-14 mistake: a second link is named `west`
            hint: give each its own name
            layout 10:8-14 mistake: no link is named `wset`
            hint: the nearest name is `west`
            layout 14:8-14 warning: `bay` has a link, and no detector whose reports it could carry
            hint: a dark section needs a link only for a spot or a reader in it
            layout 22:8-14 mistake: no link is named `moon`
            layout 25:8-9 mistake: `link` is a text, not a whole number
            hint: put it in quotes: `"4"`
        "#,
    );
}

#[test]
fn a_link_without_a_table() {
    check(
        r#"
[[section]]
name = "quay"
link = "west"
[[off-layout]]
at = ["quay.a", "quay.b"]
"#,
        r#"
            layout 4:8-14 mistake: no link is named `west`
            hint: there is no link at all: add `[[link]]`
        "#,
    );
}
