//! Trains: vehicles, addresses, and where they stand.

use crate::{check, load};

/// A line of four sections of a metre each, and behind it what trains are given.
fn on_the_line(trains: &str) -> String {
    let mut text = String::from("\n");
    for name in ["quay", "line", "hill", "yard"] {
        text += &format!("[[section]]\nname = \"{name}\"\nlength = 1000\n");
    }
    for (one, other) in [("quay", "line"), ("line", "hill"), ("hill", "yard")] {
        text += &format!("[[joint]]\nends = [\"{one}.b\", \"{other}.a\"]\n");
    }
    text + "[[off-layout]]\nat = [\"quay.a\", \"yard.b\"]\n--- trains.toml\n" + trains
}

#[track_caller]
fn check_trains(trains: &str, expect: &str) {
    check(&on_the_line(trains), expect);
}

#[test]
fn four_trains_of_all_kinds() {
    check_trains(
        r#"[[train]]
name = "Heron"
vehicles = [{ name = "motor car", length = 200, detectable = true }, { length = 100 }]
address = 3
speed-steps = 28
top-speed = "60 km/h"
acceleration = 50
braking = 80
speed-tolerance = 0.1
stands = { on = ["quay"], nose = "quay.b" }
[[train]]
name = "Plover"
vehicles = [{ length = 1500, detectable = [30, 1400] }]
address = { long = 3 }
stands = { on = ["line", "hill"] }
[[train]]
name = "Dunlin"
"#,
        "",
    );
}

#[test]
fn what_was_not_said_of_a_train_has_a_documented_default() {
    let trains = "[[train]]\nname = \"Heron\"\nvehicles = [{ length = 200, detectable = true }, \
                  { length = 40, detectable = true }, { length = 100 }]\n";
    let layout = load(&on_the_line(trains)).unwrap().layout;
    let train = layout.trains.values().next().unwrap();
    let seen: Vec<_> =
        train.vehicles.iter().map(|vehicle| vehicle.detectable.map(|(first, last)| (first.mm(), last.mm()))).collect();
    assert_eq!(seen, [Some((25.0, 175.0)), Some((10.0, 30.0)), None]);
    assert_eq!(train.speed_steps, track::SpeedSteps::Steps126);
    assert_eq!(train.speed_tolerance_permille, 200);
    assert_eq!((train.top_speed, train.address, &train.start), (None, None, &None));
}

#[test]
fn addresses_out_of_the_published_ranges() {
    check_trains(
        r#"[[train]]
name = "Heron"
address = 0
[[train]]
name = "Plover"
address = 10240
[[train]]
name = "Dunlin"
address = { short = 128 }
[[train]]
name = "Curlew"
address = { long = -1 }
[[train]]
name = "Knot"
address = { short = 3, long = 3 }
[[train]]
name = "Ruff"
address = {}
[[train]]
name = "Teal"
address = "3"
[[train]]
name = "Smew"
address = { long = 0 }
"#,
        r#"
            trains 3:11-12 mistake: a short address is 1 to 127 (NMRA S-9.2), not 0
            hint: 0 speaks to all decoders at once; the long address 0 is written `{ long = 0 }`
            trains 6:11-16 mistake: a long address is 0 to 10239 (NMRA S-9.2.1), not 10240
            hint: read the decoder's address again: configuration variables 17 and 18 hold a long one
            trains 9:21-24 mistake: a short address is 1 to 127 (NMRA S-9.2), not 128
            hint: a larger number is a long address: `{ long = ... }`
            trains 12:20-22 mistake: a long address is 0 to 10239 (NMRA S-9.2.1), not -1
            hint: read the decoder's address again: configuration variables 17 and 18 hold a long one
            trains 15:11-34 mistake: an address is either short or long
            hint: write `{ short = 3 }` or `{ long = 1003 }`
            trains 18:11-13 mistake: an address is either short or long
            hint: write `{ short = 3 }` or `{ long = 1003 }`
            trains 21:11-14 mistake: `address` is a whole number, not a text
            hint: write `address = 3`, without quotes
        "#,
    );
}

#[test]
fn two_trains_with_one_address_or_one_name() {
    check_trains(
        r#"[[train]]
name = "Heron"
address = 3
[[train]]
name = "Plover"
address = { short = 3 }
[[train]]
name = "Heron"
address = { long = 3 }
"#,
        r#"
            trains 6:11-24 mistake: `Heron` and `Plover` have the same address
            hint: both would answer: give one decoder another address
            trains 8:8-15 mistake: a second train is named `Heron`
            hint: give each its own name
        "#,
    );
}

#[test]
fn speed_steps_that_no_decoder_has() {
    check_trains(
        r#"[[train]]
name = "Heron"
speed-steps = 128
[[train]]
name = "Plover"
speed-steps = 27
[[train]]
name = "Dunlin"
speed-steps = 28.0
"#,
        r#"
            trains 3:15-18 mistake: no decoder has 128 speed steps (NMRA S-9.2, S-9.2.1)
            hint: the 128-step instruction has 126 steps, a stop and an emergency stop: write 126
            trains 6:15-17 mistake: no decoder has 27 speed steps (NMRA S-9.2, S-9.2.1)
            hint: the nearest is 28
            trains 9:15-19 mistake: `speed-steps` is a whole number, not a number with a fraction
        "#,
    );
}

#[test]
fn vehicles_that_cannot_be() {
    check_trains(
        r#"[[train]]
name = "Heron"
vehicles = [
  { name = "no length" },
  { length = 9000 },
  { length = 100, detectable = [80, 20] },
  { length = 100, detectable = [20, 120] },
  { length = 100, detectable = [20] },
  { length = 100, detectable = "yes" },
  { length = 100, wheels = 4 },
  "wagon",
]
speed-tolerance = 1.5
"#,
        r#"
            trains 4:3-25 mistake: a vehicle needs `length`
            hint: add `length = 120`
            trains 5:14-18 mistake: the vehicle is longer than five metres on the table
            hint: lengths are millimetres on the table, not of the real railway
            trains 6:32-40 mistake: the last detectable axle lies ahead of the first
            hint: both are measured from the vehicle's front: `detectable = [first, last]`
            trains 7:37-40 mistake: the last detectable axle lies behind the vehicle, which is 100 mm long
            hint: both are measured from the vehicle's front
            trains 8:32-36 mistake: `detectable` is `true`, `false` or `[first, last]`, not a list
            hint: give the distances of the first and the last detectable axle from the vehicle's front, in millimetres
            trains 9:32-37 mistake: `detectable` is `true`, `false` or `[first, last]`, not a text
            hint: give the distances of the first and the last detectable axle from the vehicle's front, in millimetres
            trains 10:19-25 mistake: a vehicle has no key `wheels`
            hint: its keys are `name`, `length`, `detectable`, `pickups`, `draws`, `resistor-axles`, `resistance`, `address` and `reversed`
            trains 11:3-10 mistake: a vehicle is a table, not a text
            hint: write it as `{ key = value, ... }`
            trains 13:19-22 mistake: `speed-tolerance` is more than the whole
            hint: `speed-tolerance` is a number between 0 and 1
        "#,
    );
}

#[test]
fn a_train_that_no_detector_sees() {
    check_trains(
        "[[train]]\nname = \"Heron\"\nvehicles = [{ length = 100 }]\n",
        r#"
        trains 2:8-15 warning: no detector will ever see `Heron`
        hint: say `detectable = true` for the vehicles that draw current: engines, lit or resistor-fitted cars
    "#,
    );
}

#[test]
fn a_train_longer_than_the_sections_it_stands_on() {
    check_trains(
        r#"[[train]]
name = "Heron"
vehicles = [{ length = 1001, detectable = true }]
stands = { on = ["quay"] }
[[train]]
name = "Plover"
vehicles = [{ length = 1100, detectable = true }, { length = 950, detectable = true }]
stands = { on = ["line", "hill"], nose = "hill.b" }
"#,
        r#"
            trains 4:17-25 mistake: `Heron` is 1001 mm long, but stands on 1000 mm of track
            hint: list every section that some part of it stands on, tail first
            trains 8:17-33 mistake: `Plover` is 2050 mm long, but stands on 2000 mm of track
            hint: list every section that some part of it stands on, tail first
        "#,
    );
}

#[test]
fn a_train_too_short_to_reach_over_a_section() {
    check_trains(
        r#"[[train]]
name = "Heron"
vehicles = [{ length = 999, detectable = true }]
stands = { on = ["quay", "line", "hill"] }
"#,
        r#"
            trains 4:17-41 mistake: `Heron` is 999 mm long, too short to reach over the 1000 mm between
            hint: list only the sections that some part of it stands on
        "#,
    );
}

#[test]
fn two_trains_on_one_section() {
    check_trains(
        r#"[[train]]
name = "Heron"
stands = { on = ["quay", "line"] }
[[train]]
name = "Plover"
stands = { on = ["line"] }
"#,
        r#"
            trains 6:18-24 mistake: `Plover` stands on `line`, where `Heron` stands
            hint: a section holds one train at first
        "#,
    );
}

#[test]
fn sections_that_do_not_follow_each_other() {
    check_trains(
        r#"[[train]]
name = "Heron"
stands = { on = ["quay", "hill"] }
[[train]]
name = "Plover"
stands = { on = ["yard", "yard"] }
[[train]]
name = "Dunlin"
stands = { on = [] }
[[train]]
name = "Curlew"
stands = { on = ["yrad"], nose = "yard.c" }
[[train]]
name = "Knot"
stands = { nose = "yard" }
"#,
        r#"
            trains 3:26-32 mistake: no train can stand on `quay` and go on into `hill`
            hint: `quay` touches `line`
            trains 6:26-32 mistake: `yard` is listed twice
            trains 9:17-19 mistake: `on` is empty
            hint: list the sections the train stands on, tail first, or leave `stands` out
            trains 12:18-24 mistake: no section is named `yrad`
            hint: the nearest name is `yard`
            trains 12:34-42 mistake: section `yard` has no end `c`
            hint: its ends are `a` and `b`
            trains 15:10-27 mistake: `stands` needs `on`
            hint: add `on = ["quay-1"]`
        "#,
    );
}

#[test]
fn a_train_cannot_turn_within_itself() {
    check(
        r#"
[[turnout]]
name = "W1"
[[section]]
name = "one"
[[section]]
name = "two"
[[section]]
name = "throat"
ways = [
  { from = "toe", to = "one", needs = { W1 = "straight" } },
  { from = "toe", to = "two", needs = { W1 = "diverging" } },
]
[[joint]]
ends = ["throat.one", "one.a"]
[[joint]]
ends = ["throat.two", "two.a"]
[[off-layout]]
at = ["throat.toe", "one.b", "two.b"]
--- trains.toml
[[train]]
name = "Heron"
stands = { on = ["one", "throat", "two"] }
"#,
        r#"
            trains 3:35-40 mistake: no train can stand on `throat` and go on into `two`
            hint: they touch, but no way leads through: list the sections in order, tail first
        "#,
    );
}

#[test]
fn the_nose_is_at_the_far_end_of_the_last_section() {
    check_trains(
        r#"[[train]]
name = "Heron"
stands = { on = ["quay", "line"], nose = "quay.a" }
[[train]]
name = "Plover"
stands = { on = ["hill", "yard"], nose = "yard.a" }
[[train]]
name = "Dunlin"
stands = { on = ["yard"], nose = "line.b" }
"#,
        r#"
            trains 3:42-50 mistake: the nose of `Heron` is not in the last section it stands on
            hint: `on` lists the sections tail first: turn the list round
            trains 6:42-50 mistake: `Plover` cannot point at `yard.a`
            hint: no way leads there from where its tail stands
            trains 9:18-24 mistake: `Dunlin` stands on `yard`, where `Plover` stands
            hint: a section holds one train at first
            trains 9:34-42 mistake: the nose of `Dunlin` is not in the last section it stands on
            hint: the nose is in the last section of `on`, which is `yard`
        "#,
    );
}

#[test]
fn keys_of_a_train_that_do_not_exist() {
    check_trains(
        "[[train]]\nname = \"Heron\"\ntopspeed = 4\nstands = { on = [\"quay\"], noes = \"quay.b\" }\n[[engine]]\n",
        r#"
        trains 3:1-9 mistake: a train has no key `topspeed`
        hint: the nearest key is `top-speed`
        trains 4:27-31 mistake: `stands` has no key `noes`
        hint: the nearest key is `nose`
        trains 5:3-9 mistake: `trains.toml` has no key `engine`
        hint: its keys are `train`
    "#,
    );
}
