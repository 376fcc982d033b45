//! Sections, ways, turnouts, joints, and what hangs together.

use crate::{check, load};

#[test]
fn two_sections_of_one_name() {
    check(
        r#"
[[section]]
name = "quay"
[[section]]
name = "quay"
[[turnout]]
name = "W1"
[[turnout]]
name = "W1"
[[off-layout]]
at = ["quay.a", "quay.b"]
"#,
        r#"
            layout 5:8-14 mistake: a second section is named `quay`
            hint: give each its own name
            layout 7:8-12 warning: no way needs turnout `W1`
            hint: say so where it lies: `needs = { W1 = "straight" }`
            layout 9:8-12 mistake: a second turnout is named `W1`
            hint: give each its own name
        "#,
    );
}

#[test]
fn a_joint_with_an_end_that_does_not_exist() {
    check(
        r#"
[[section]]
name = "quay-1"
[[section]]
name = "throat"
ways = [{ from = "toe", to = "one" }]
[[joint]]
ends = ["quay-1.c", "throat.one"]
[[off-layout]]
at = ["quay-1.a", "throat.tow"]
"#,
        r#"
            layout 8:9-19 mistake: section `quay-1` has no end `c`
            hint: its ends are `a` and `b`
            layout 10:19-31 mistake: section `throat` has no end `tow`
            hint: the nearest end is `throat.toe`
        "#,
    );
}

#[test]
fn a_mistyped_section_in_a_joint_is_reported_once() {
    check(
        r#"
[[section]]
name = "quay-1"
[[section]]
name = "line"
[[joint]]
ends = ["qauy-1.b", "line.a"]
[[off-layout]]
at = ["quay-1.a", "line.b"]
"#,
        r#"
            layout 7:9-19 mistake: no section is named `qauy-1`
            hint: the nearest name is `quay-1`
        "#,
    );
}

#[test]
fn an_end_is_written_with_its_section() {
    check(
        r#"
[[section]]
name = "quay"
[[signal]]
name = "S1"
at = "quay"
[[off-layout]]
at = ["quay.a", "quay.b"]
"#,
        r#"
            layout 6:6-12 mistake: `quay` names no end
            hint: the section has the ends `a` and `b`: write `quay.a`
        "#,
    );
}

#[test]
fn an_end_joined_to_itself() {
    check(
        r#"
[[section]]
name = "quay"
[[joint]]
ends = ["quay.b", "quay.b"]
[[off-layout]]
at = "quay.a"
"#,
        r#"
            layout 5:19-27 mistake: `quay.b` is joined to itself
            hint: two ends meet at a joint; a track that simply ends has a `[[buffer-stop]]`
        "#,
    );
}

#[test]
fn a_circle_of_one_section_is_real_track() {
    check(
        r#"
[[section]]
name = "circle"
[[joint]]
ends = ["circle.a", "circle.b"]
"#,
        "",
    );
}

#[test]
fn a_joint_has_two_ends() {
    check(
        r#"
[[section]]
name = "quay"
[[joint]]
ends = ["quay.a"]
[[off-layout]]
at = ["quay.a", "quay.b"]
"#,
        r#"
            layout 5:8-18 mistake: a joint has two ends, not 1
            hint: an end that meets several others has a joint with each of them
        "#,
    );
}

#[test]
fn a_joint_that_is_wrong_is_reported_once_and_not_as_dangling_ends() {
    let sections = "
            section = [{ name = \"quay-1\" }, { name = \"main-1\" }]
            off-layout = [{ at = [\"quay-1.a\", \"main-1.b\"] }]
    ";
    check(
        &format!("{sections}joint = [{{ end = [\"quay-1.b\", \"main-1.a\"] }}]"),
        "
            layout 4:14-48 mistake: a joint needs `ends`
            hint: add `ends = [\"quay-1.b\", \"west-throat.one\"]`
            layout 4:16-19 mistake: a joint has no key `end`
            hint: the nearest key is `ends`
        ",
    );
    check(
        &format!("{sections}joint = [{{ ends = [\"quay-1.b\", \"main-1.a\", 7] }}]"),
        "
            layout 4:23-50 mistake: a joint has two ends, not 3
            hint: an end that meets several others has a joint with each of them
            layout 4:48-49 mistake: `an end` is a text, not a whole number
            hint: put it in quotes: `\"7\"`
        ",
    );
}

#[test]
fn a_joint_said_twice_does_no_harm() {
    check(
        r#"
[[section]]
name = "quay"
[[section]]
name = "line"
[[joint]]
ends = ["quay.b", "line.a"]
[[joint]]
ends = ["line.a", "quay.b"]
[[off-layout]]
at = ["quay.a", "line.b"]
"#,
        r#"
            layout 9:9-17 warning: `line.a` and `quay.b` are joined twice
        "#,
    );
}

#[test]
fn a_junction_whose_turnout_nobody_reports() {
    check(
        r#"
[[section]]
name = "line"
[[section]]
name = "one"
[[section]]
name = "two"
[[joint]]
ends = ["line.b", "one.a"]
[[joint]]
ends = ["line.b", "two.a"]
[[off-layout]]
at = ["line.a", "one.b", "two.b"]
"#,
        "",
    );
}

#[test]
fn an_end_that_leads_nowhere() {
    check(
        r#"
[[section]]
name = "quay"
[[section]]
name = "throat"
ways = [{ from = "toe", to = "one" }]
[[joint]]
ends = ["quay.b", "throat.one"]
[[buffer-stop]]
at = "quay.a"
"#,
        r#"
            layout 6:18-23 mistake: end `toe` of `throat` leads nowhere
            hint: join it, or say what is there: `[[buffer-stop]]` or `[[off-layout]]` with `at = "throat.toe"`
        "#,
    );
}

#[test]
fn an_end_that_is_joined_and_closed() {
    check(
        r#"
[[section]]
name = "quay"
[[section]]
name = "line"
[[joint]]
ends = ["quay.b", "line.a"]
[[buffer-stop]]
at = ["quay.a", "line.a"]
[[off-layout]]
at = ["line.b", "quay.a", "line.b"]
"#,
        r#"
            layout 9:17-25 mistake: `line.a` has a buffer stop, and yet meets another end
            hint: take away one of the two
            layout 11:17-25 mistake: `quay.a` leads off the layout, but has a buffer stop as well
            hint: an end has a buffer stop or leads off the layout, and says so once
            layout 11:27-35 warning: `line.b` leads off the layout, as was said before
            hint: an end has a buffer stop or leads off the layout, and says so once
        "#,
    );
}

#[test]
fn a_way_that_needs_one_turnout_both_ways() {
    check(
        r#"
[[section]]
name = "throat"
ways = [
  { from = "toe", to = "one", needs = { W1 = "straight", W1 = "diverging" } },
]
"#,
        r#"
            layout 5:58-60 mistake: the way needs turnout `W1` twice
            hint: a turnout lies one way at a time: a way needs it `straight` or `diverging`
        "#,
    );
}

#[test]
fn two_ways_that_no_turnout_tells_apart() {
    check(
        r#"
[[turnout]]
name = "W1"
[[turnout]]
name = "W2"
[[section]]
name = "throat"
ways = [
  { from = "toe", to = "one", needs = { W1 = "straight" } },
  { from = "toe", to = "two", needs = { W1 = "straight" } },
  { from = "two", to = "three", needs = { W2 = "straight" } },
  { from = "three", to = "two", needs = { W2 = "straight" } },
]
[[off-layout]]
at = ["throat.toe", "throat.one", "throat.two", "throat.three"]
"#,
        r#"
            layout 3:8-12 warning: no way needs `W1` diverging
            hint: a track that leads nowhere yet can be a way to an end with a `[[buffer-stop]]`
            layout 5:8-12 warning: no way needs `W2` diverging
            hint: a track that leads nowhere yet can be a way to an end with a `[[buffer-stop]]`
            layout 10:3-60 mistake: two ways through `throat` begin at the same end, and no turnout tells them apart
            hint: let one of them need a turnout `straight` and the other need it `diverging`
            layout 11:3-62 mistake: two ways through `throat` begin at the same end, and no turnout tells them apart
            hint: let one of them need a turnout `straight` and the other need it `diverging`
            layout 12:3-62 mistake: two ways through `throat` begin at the same end, and no turnout tells them apart
            hint: let one of them need a turnout `straight` and the other need it `diverging`
            layout 12:3-62 mistake: two ways through `throat` join the same ends, and no turnout tells them apart
            hint: let one of them need a turnout `straight` and the other need it `diverging`
        "#,
    );
}

#[test]
fn a_ladder_of_turnouts_is_told_apart() {
    check(
        r#"
[[turnout]]
name = "W1"
[[turnout]]
name = "W2"
[[section]]
name = "throat"
ways = [
  { from = "toe", to = "one", needs = { W1 = "diverging" } },
  { from = "toe", to = "two", needs = { W1 = "straight", W2 = "diverging" } },
  { from = "toe", to = "three", needs = { W1 = "straight", W2 = "straight" } },
]
[[off-layout]]
at = ["throat.toe", "throat.one", "throat.two", "throat.three"]
"#,
        "",
    );
}

#[test]
fn a_turnout_that_lies_in_no_way_known() {
    check(
        r#"
[[turnout]]
name = "W1"
[[section]]
name = "throat"
ways = [
  { from = "toe", to = "one", needs = { W1 = "straigth" } },
  { from = "toe", to = "two", needs = { W2 = "diverging" } },
]
[[off-layout]]
at = ["throat.toe", "throat.one", "throat.two"]
"#,
        r#"
            layout 7:46-56 mistake: a turnout does not lie `straigth`
            hint: the nearest word is `straight`
            layout 8:41-43 mistake: no turnout is named `W2`
            hint: the nearest name is `W1`
        "#,
    );
}

#[test]
fn a_turnout_is_normally_straight_unless_it_is_said_to_diverge() {
    let fork = r#"
[[section]]
name = "fork"
ways = [
  { from = "toe", to = "one", needs = { W1 = "straight", W2 = "straight" } },
  { from = "toe", to = "two", needs = { W1 = "diverging", W2 = "diverging" } },
]
[[off-layout]]
at = ["fork.toe", "fork.one", "fork.two"]
[[turnout]]
name = "W2"
[[turnout]]
name = "W1"
normal = "diverging"
"#;
    let layout = load(fork).unwrap_or_else(|refused| panic!("{refused}")).layout;
    let normal = |name| layout.turnouts[layout.turnout_named(name).unwrap()].normal;
    assert_eq!((normal("W1"), normal("W2")), (track::Lie::Diverging, track::Lie::Straight));
    check(
        &fork.replace("\"diverging\"\n", "\"left\"\n"),
        r#"
            layout 14:10-16 mistake: a turnout does not lie `left`
            hint: write `straight` or `diverging`
        "#,
    );
}

#[test]
fn a_joint_whose_ways_contradict_each_other() {
    check(
        r#"
[[turnout]]
name = "W1"
[[section]]
name = "throat"
ways = [
  { from = "toe", to = "one", needs = { W1 = "straight" } },
  { from = "toe", to = "two", needs = { W1 = "diverging" } },
]
[[section]]
name = "beyond"
ways = [
  { from = "in", to = "out", needs = { W1 = "diverging" } },
]
[[joint]]
ends = ["throat.one", "beyond.in"]
[[off-layout]]
at = ["throat.toe", "throat.two", "beyond.out"]
"#,
        r#"
            layout 16:9-21 mistake: no train can pass from `throat.one` to `beyond.in`: the ways there need `W1` both straight and diverging
            hint: a turnout lies one way at a time: correct `needs`, or the joint
        "#,
    );
}

#[test]
fn turnouts_that_nothing_needs() {
    check(
        r#"
[[turnout]]
name = "W1"
[[turnout]]
name = "W2"
[[section]]
name = "throat"
ways = [{ from = "toe", to = "one", needs = { W2 = "straight" } }]
[[off-layout]]
at = ["throat.toe", "throat.one"]
"#,
        r#"
            layout 3:8-12 warning: no way needs turnout `W1`
            hint: say so where it lies: `needs = { W1 = "straight" }`
            layout 5:8-12 warning: no way needs `W2` diverging
            hint: a track that leads nowhere yet can be a way to an end with a `[[buffer-stop]]`
        "#,
    );
}

#[test]
fn a_way_from_an_end_to_itself() {
    check(
        r#"
[[section]]
name = "loop"
ways = [{ from = "a", to = "a" }]
"#,
        r#"
            layout 4:28-31 mistake: the way begins and finishes at the same end `a`
            hint: a loop that leads back is two ends joined by a `[[joint]]`
        "#,
    );
}

#[test]
fn a_section_with_ways_has_no_length_of_its_own() {
    check(
        r#"
[[section]]
name = "throat"
length = 300
ways = [{ from = "toe", to = "one" }]
[[section]]
name = "none"
ways = []
[[off-layout]]
at = ["throat.toe", "throat.one"]
"#,
        r#"
            layout 4:10-13 mistake: a section with `ways` has no `length` of its own
            hint: give each way its `length`
            layout 7:8-14 mistake: no track leads from the rest of the layout to `none`
            hint: add the missing `[[joint]]`; if the layout is in 2 parts that do not touch, say `parts = 2` under `[layout]`
            layout 8:8-10 mistake: `ways` is empty: no train could pass the section
            hint: leave `ways` out for a section with two ends `a` and `b`, joined by one way
        "#,
    );
}

#[test]
fn a_section_that_no_track_leads_to() {
    check(
        r#"
[[section]]
name = "quay"
[[section]]
name = "line"
[[section]]
name = "island"
[[joint]]
ends = ["quay.b", "line.a"]
[[off-layout]]
at = ["quay.a", "line.b", "island.a", "island.b"]
"#,
        r#"
            layout 7:8-16 mistake: no track leads from the rest of the layout to `island`
            hint: add the missing `[[joint]]`; if the layout is in 2 parts that do not touch, say `parts = 2` under `[layout]`
        "#,
    );
}

#[test]
fn a_layout_may_say_that_it_is_in_two_parts() {
    let two_islands = |parts: usize| {
        format!(
            r#"[layout]
name = "t"
scale = "H0"
parts = {parts}
[[section]]
name = "quay"
[[section]]
name = "island"
[[off-layout]]
at = ["quay.a", "quay.b", "island.a", "island.b"]
"#
        )
    };
    check(&two_islands(2), "");
    check(
        &two_islands(3),
        r#"
        layout 4:9-10 mistake: the layout is in 2 parts that do not touch, not in 3
        hint: write `parts = 2`, or take a joint away
    "#,
    );
    check(
        &two_islands(0),
        r#"
        layout 4:9-10 mistake: a layout has at least one part
        layout 8:8-16 mistake: no track leads from the rest of the layout to `island`
        hint: add the missing `[[joint]]`; if the layout is in 2 parts that do not touch, say `parts = 2` under `[layout]`
    "#,
    );
}

#[test]
fn a_layout_without_a_section() {
    check(
        "[layout]\nname = \"t\"\nscale = \"H0\"\n",
        r#"
        layout 1:1-1 mistake: the layout has no section
        hint: add `[[section]]` with a `name`
    "#,
    );
}
