//! Keys, types, numbers and names.

use crate::check;

#[test]
fn a_mistyped_key_is_shown_with_the_nearest_right_one() {
    check(
        r#"
[[section]]
name = "quay"
lenght = 1450
[[buffer-stop]]
at = ["quay.a", "quay.b"]
"#,
        r#"
            layout 4:1-7 mistake: a section has no key `lenght`
            hint: the nearest key is `length`
        "#,
    );
}

#[test]
fn a_key_that_resembles_none_is_shown_with_all_there_are() {
    check(
        r#"
[[section]]
name = "quay"
[[off-layout]]
at = ["quay.a", "quay.b"]
[[signal]]
name = "S1"
at = "quay.b"
lamp-colours = 3
"#,
        r#"
            layout 9:1-13 mistake: a signal has no key `lamp-colours`
            hint: its keys are `name`, `at`, `aspects`, `permissive`, `approach-lit`, `controlled` and `overlap`
        "#,
    );
}

#[test]
fn an_unknown_table_is_shown_with_the_nearest_right_one() {
    check(
        r#"
[[section]]
name = "quay"
[[bufferstop]]
at = "quay.a"
[[off-layout]]
at = ["quay.a", "quay.b"]
"#,
        r#"
            layout 4:3-13 mistake: `layout.toml` has no key `bufferstop`
            hint: the nearest key is `buffer-stop`
        "#,
    );
}

#[test]
fn every_wrong_type_is_shown_with_the_right_one() {
    check(
        r#"
[[section]]
name = 7
[[section]]
name = "quay"
length = "1450"
dark = "yes"
district = true
ways = "none"
limit = [50]
[[turnout]]
name = "W1"
reported = 1
throw-time = 2026-11-25
[[joint]]
ends = "quay.a"
[[off-layout]]
at = ["quay.a", 3]
"#,
        r#"
            layout 3:8-9 mistake: `name` is a text, not a whole number
            hint: put it in quotes: `"7"`
            layout 5:8-14 mistake: end `b` of `quay` leads nowhere
            hint: join it, or say what is there: `[[buffer-stop]]` or `[[off-layout]]` with `at = "quay.b"`
            layout 6:10-16 mistake: `length` is a number of millimetres, not a text
            hint: write `length = 1450`, without quotes
            layout 7:8-13 mistake: `dark` is `true` or `false`, not a text
            hint: write `dark = true`, without quotes
            layout 8:12-16 mistake: `district` is a text, not `true` or `false`
            hint: put it in quotes: `"true"`
            layout 9:8-14 mistake: `ways` is a list, not a text
            hint: put it in brackets: `ways = [...]`
            layout 10:9-13 mistake: `limit` is a number of millimetres a second, not a list
            layout 12:8-12 warning: no way needs turnout `W1`
            hint: say so where it lies: `needs = { W1 = "straight" }`
            layout 13:12-13 mistake: `reported` is `true` or `false`, not a whole number
            layout 14:14-24 mistake: `throw-time` is a number of seconds, not a date
            layout 16:8-16 mistake: `ends` is a list, not a text
            hint: put it in brackets: `ends = [...]`
            layout 18:17-18 mistake: `at` is a text, not a whole number
            hint: put it in quotes: `"3"`
        "#,
    );
}

#[test]
fn single_brackets_where_double_ones_belong() {
    check(
        r#"
[section]
name = "quay"
"#,
        r#"
            layout 2:1-10 mistake: `section` is a list of tables, not a table
            hint: write `[[section]]` with two brackets on each side
        "#,
    );
    check(
        r#"[[layout]]
name = "t"
[[section]]
name = "quay"
[[off-layout]]
at = ["quay.a", "quay.b"]
"#,
        r#"
            layout 1:1-11 mistake: `layout` is one table, not a list
            hint: write `[layout]` with one bracket on each side
        "#,
    );
}

#[test]
fn what_must_be_there_and_is_not() {
    check(
        r#"[layout]
[[section]]
length = 300
[[section]]
name = "quay"
ways = [{ from = "a" }, { to = "b" }]
[[turnout]]
[[joint]]
[[signal]]
[[stopping-point]]
[[district]]
[[buffer-stop]]
[[detector]]
"#,
        r#"
            layout 1:1-9 mistake: the layout needs `name`
            hint: add `name = "Low Staithe"`
            layout 1:1-9 mistake: the layout needs `scale`
            hint: add `scale = "H0"`
            layout 2:1-12 mistake: a section needs `name`
            hint: add `name = "quay-1"`
            layout 6:9-23 mistake: a way needs `to`
            hint: add `to = "one"`
            layout 6:25-37 mistake: a way needs `from`
            hint: add `from = "toe"`
            layout 7:1-12 mistake: a turnout needs `name`
            hint: add `name = "W1"`
            layout 8:1-10 mistake: a joint needs `ends`
            hint: add `ends = ["quay-1.b", "west-throat.one"]`
            layout 9:1-11 mistake: a signal needs `name`
            hint: add `name = "W2"`
            layout 9:1-11 mistake: a signal needs `at`
            hint: add `at = "quay-1.b"`
            layout 10:1-19 mistake: a stopping point needs `at`
            hint: add `at = "quay-1.b"`
            layout 11:1-13 mistake: a power district needs `name`
            hint: add `name = "harbour"`
            layout 12:1-16 mistake: a buffer stop needs `at`
            hint: add `at = "quay-1.a"`
            layout 13:1-13 mistake: a detector needs a place
            hint: add `area = "section"`, `reader = "section"` or `spot = "section.end"`
        "#,
    );
}

#[test]
fn lengths_that_no_table_holds() {
    check(
        r#"
[[section]]
name = "one"
length = -4
[[section]]
name = "two"
length = 0
[[section]]
name = "three"
length = 2_000_000
[[section]]
name = "four"
length = inf
[[section]]
name = "five"
length = 99999999999999999999
[[joint]]
ends = ["one.b", "two.a"]
[[joint]]
ends = ["two.b", "three.a"]
[[joint]]
ends = ["three.b", "four.a"]
[[joint]]
ends = ["four.b", "five.a"]
[[off-layout]]
at = ["one.a", "five.b"]
"#,
        r#"
            layout 4:10-12 mistake: `length` is negative
            hint: `length` is a number of millimetres
            layout 7:10-11 mistake: `length` is zero
            hint: `length` is a number of millimetres
            layout 10:10-19 mistake: `length` is more than a kilometre on the table
            hint: `length` is a number of millimetres
            layout 13:10-13 mistake: `length` is `inf`
            hint: `length` is a number of millimetres
            layout 16:10-30 mistake: `length` has too many digits
            hint: `length` is a number of millimetres
        "#,
    );
}

#[test]
fn lengths_in_metres_are_doubted() {
    check(
        r#"
[[section]]
name = "quay"
length = 1.45
[[off-layout]]
at = ["quay.a", "quay.b"]
"#,
        r#"
            layout 4:10-14 warning: `length` is less than a centimetre
            hint: lengths are millimetres on the table
        "#,
    );
}

#[test]
fn names_that_could_not_be_told_apart_on_a_screen() {
    check(
        r#"
[[section]]
name = ""
[[section]]
name = " quay"
[[section]]
name = "quay\n2"
[[section]]
name = "good"
ways = [{ from = "a.b", to = "c" }]
"#,
        r#"
            layout 3:8-10 mistake: a name must not be empty
            layout 5:8-15 mistake: a name must not begin or end with white space
            layout 7:8-17 mistake: a name must not hold control characters
            layout 10:18-23 mistake: the name of an end must not hold a dot: `a.b`
            hint: within its section an end has a short name, such as `toe`; elsewhere it is written `section.toe`
        "#,
    );
}

#[test]
fn a_section_may_have_dots_spaces_and_any_letters_in_its_name() {
    check(
        r#"
[[section]]
name = "TA.1 fjære"
[[section]]
name = "TA"
[[joint]]
ends = ["TA.1 fjære.b", "TA.a"]
[[off-layout]]
at = ["TA.1 fjære.a", "TA.b"]
"#,
        "",
    );
}

#[test]
fn a_scale_that_is_none_is_shown_with_the_nearest() {
    check(
        r#"[layout]
name = "t"
scale = "h0"
[[section]]
name = "quay"
[[off-layout]]
at = ["quay.a", "quay.b"]
"#,
        r#"
            layout 3:9-13 mistake: no scale is named `h0`
            hint: the nearest scale is `H0`
        "#,
    );
}

#[test]
fn speeds_on_the_table_and_of_the_real_railway() {
    check(
        r#"
[[section]]
name = "quay"
limit = "fast"
[[section]]
name = "line"
limit = -5
[[section]]
name = "main"
limit = "60 km/h"
[[joint]]
ends = ["quay.b", "line.a"]
[[joint]]
ends = ["line.b", "main.a"]
[[off-layout]]
at = ["quay.a", "main.b"]
"#,
        r#"
            layout 4:9-15 mistake: `fast` is no speed
            hint: a speed is a number of mm/s on the table, or a text such as `"40 km/h"` or `"25 mph"` at the layout's scale
            layout 7:9-11 mistake: `limit` is negative
            hint: `limit` is a number of millimetres a second
        "#,
    );
}

#[test]
fn several_things_that_are_no_toml_are_all_shown() {
    check(
        r#"
[[section]
name = "quay"
[[section]]
name = "line"
length =
limit 4
name = "again"
lenght = 400
--- trains.toml
[[train]]
name = "Heron
"#,
        r#"
            layout 2:11-11 mistake: a bracket is missing
            hint: the head of a table is written `[layout]` or `[[section]]`
            layout 6:9-9 mistake: there is no value
            hint: write `key = value`
            layout 7:7-7 mistake: there is no `=`
            hint: write `key = value`
            trains 2:14-14 mistake: the text has no closing quote
            hint: close it on the same line
        "#,
    );
}
