//! How trains behave: functions, engines, where they stand, what carries their orders.

use std::time::Duration;

use track::{Address, Facing, Function, Length, On};

use crate::{check, load};

/// A line of two sections of a metre each, and behind it what trains are given.
fn on_the_line(track: &str, trains: &str) -> String {
    format!(
        r#"
[[section]]
name = "quay"
length = 1000
[[section]]
name = "hill"
length = 1000
[[joint]]
ends = ["quay.b", "hill.a"]
[[buffer-stop]]
at = ["quay.a", "hill.b"]
{track}
--- trains.toml
[[train]]
name = "Heron"
{trains}"#
    )
}

#[test]
fn a_train_behaves_as_it_is_described() {
    let text = on_the_line(
        "[[link]]\nname = \"bus\"\norders = 20",
        r#"vehicles = [
  { length = 120, detectable = true, address = 12 },
  { length = 200 },
  { length = 120, detectable = true, address = 14, reversed = true },
]
link = "bus"
dwell = 8
start-delay = 1.5
[[train.function]]
number = 0
while = "forward"
[[train.function]]
number = 2
at = "start"
for = 1.2
"#,
    );
    let layout = load(&text).unwrap_or_else(|refused| panic!("{refused}")).layout;
    let heron = &layout.trains[layout.train_named("Heron").unwrap()];
    assert_eq!((heron.dwell, heron.start_delay), (Duration::from_secs(8), Duration::from_millis(1500)));
    let lights = Function { number: 0, on: On::Forward };
    let horn = Function { number: 2, on: On::AtStart(Duration::from_millis(1200)) };
    assert_eq!(heron.functions, [lights, horn]);
    let decoders: Vec<_> = heron.decoders().collect();
    assert_eq!(decoders, [(Address::Short(12), Facing::Ahead), (Address::Short(14), Facing::Astern)]);
    assert_eq!(layout.links[heron.link.unwrap()].orders_a_second, Some(20));
}

#[test]
fn a_train_stands_with_its_middle_at_that_of_the_platform_or_clear_of_the_turnouts() {
    let text = r#"
[[section]]
name = "quay"
length = 1000
[[section]]
name = "throat"
ways = [{ from = "toe", to = "one", needs = { W1 = "straight" } }, { from = "toe", to = "two", needs = { W1 = "diverging" } }]
[[turnout]]
name = "W1"
[[joint]]
ends = ["throat.toe", "quay.a"]
[[buffer-stop]]
at = ["quay.b", "throat.one", "throat.two"]
[[stopping-point]]
name = "platform"
at = "quay.b"
short-of-end = 100
platform = [100, 900]
[[stopping-point]]
name = "buffer"
at = "quay.b"
short-of-end = 200
"#;
    let layout = load(text).unwrap_or_else(|refused| panic!("{refused}")).layout;
    let short = |stop: &str, mm: i64| {
        let stop = layout.stop_named(stop).unwrap();
        layout.stands_short(stop, Some(Length::from_mm(mm))).um() / 1000
    };
    assert_eq!(short("platform", 400), 300, "its middle is 500 mm from the end");
    assert_eq!(short("platform", 850), 100, "no nearer to the end than the stopping point for the platform's sake");
    assert_eq!(short("buffer", 700), 200);
    assert_eq!(short("buffer", 850), 120, "30 mm clear of the turnout");
    assert_eq!(short("buffer", 990), 40, "no nearer to the end than that");
}

#[test]
fn functions_that_no_decoder_has_or_that_go_by_nothing() {
    check(
        &on_the_line(
            "",
            r#"[[train.function]]
number = 29
while = "moving"
[[train.function]]
number = 1
while = "running"
[[train.function]]
number = 2
at = "dawn"
for = 1
[[train.function]]
number = 3
at = "start"
[[train.function]]
while = "moving"
"#,
        ),
        r#"
            trains 4:10-12 mistake: no decoder has a function 29 (NMRA S-9.2.1)
            hint: functions are numbered 0 to 28
            trains 8:9-18 mistake: `running` is no state of a train that a function can go by
            hint: write "moving", "standing", "forward" or "backward"
            trains 11:6-12 mistake: a function cannot be switched on at `dawn`
            hint: write "start" or "stop"
            trains 13:1-19 mistake: a function is on while something is so, or for a time at a moment
            hint: write `while = "forward"`, or `at = "start"` and `for = 1.2`
            trains 16:1-19 mistake: a function needs `number`
            hint: add `number = 0`
        "#,
    );
}

#[test]
fn engines_that_cannot_be_told_apart() {
    check(
        &on_the_line(
            "",
            r#"vehicles = [
  { length = 120, detectable = true, address = 12 },
  { length = 120, detectable = true, address = 12 },
  { length = 100, reversed = true },
]
"#,
        ),
        r#"
            trains 5:48-50 mistake: two engines of `Heron` have the same address
            hint: where they run alike say it once, as the `address` of the train
            trains 6:30-34 mistake: `reversed` is said of an engine, and this vehicle has no `address`
            hint: an engine that stands the other way round has an address of its own
        "#,
    );
    check(
        &on_the_line("", "address = 3\nvehicles = [{ length = 120, detectable = true, address = 12 }]\n"),
        r#"
            trains 4:58-60 mistake: a train has one address, or each of its engines has one
            hint: leave out one of them
        "#,
    );
}

#[test]
fn platforms_and_links_that_cannot_be() {
    check(
        &on_the_line(
            r#"[[stopping-point]]
at = "quay.b"
platform = [900, 100]
[[stopping-point]]
at = "hill.b"
platform = [100, 1200]
[[link]]
name = "bus"
orders = 0"#,
            "link = \"buss\"\n",
        ),
        r#"
            layout 14:12-22 mistake: the platform ends before it begins
            hint: both are measured back from the end named by `at`, the nearer first
            layout 17:12-23 mistake: the platform reaches 1200 mm back from the end of a way of 1000 mm
            hint: `platform` is measured back from the end, within the section
            layout 19:8-13 warning: nothing uses link `bus`
            hint: add `link = "bus"` to the sections, detectors and turnouts that it carries the reports of
            layout 20:10-11 mistake: a link carries 1 to 10000 orders a second, not 0
            hint: leave `orders` out where their number is of no matter
            trains 3:8-14 mistake: no link is named `buss`
            hint: the nearest name is `bus`
        "#,
    );
}
