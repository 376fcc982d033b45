//! Routes and conflicts of every junction that the documentation shows.

use std::collections::BTreeSet;

use crate::shown::{Junction, shown};

const NONE: &[&str] = &[];

#[test]
fn every_junction_of_the_documentation_has_a_test() {
    let tested: BTreeSet<&str> =
        include_str!("routes.rs").split("load(\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    let shown = shown();
    let shown: BTreeSet<&str> = shown.keys().map(String::as_str).collect();
    assert_eq!(shown, tested);
}

#[test]
fn trains_pass_a_turnout_one_at_a_time() {
    let turnout = Junction::load("Turnout");
    turnout.has(
        "toe > one: W1 straight
         toe > two: W1 diverging
         one > toe: W1 straight
         two > toe: W1 diverging",
        NONE,
    );
    assert_eq!(turnout.flank("toe > one"), ["fork.two: signal two"]);
}

#[test]
fn a_three_way_turnout_never_needs_both_drives_diverging() {
    Junction::load("Three-way turnout").has(
        "toe > left: W1 diverging, W2 straight
         toe > middle: W1 straight, W2 straight
         toe > right: W1 straight, W2 diverging
         left > toe: W1 diverging, W2 straight
         middle > toe: W1 straight, W2 straight
         right > toe: W1 straight, W2 diverging",
        NONE,
    );
}

#[test]
fn a_train_into_the_far_tracks_of_a_ladder_needs_all_turnouts_before() {
    Junction::load("Ladder in one section").has(
        "toe > one: W1 diverging
         toe > two: W1 straight, W2 diverging
         toe > three: W1 straight, W2 straight, W3 diverging
         toe > four: W1 straight, W2 straight, W3 straight
         one > toe: W1 diverging
         two > toe: W1 straight, W2 diverging
         three > toe: W1 straight, W2 straight, W3 diverging
         four > toe: W1 straight, W2 straight, W3 straight",
        NONE,
    );
}

#[test]
fn trains_on_two_tracks_pass_each_other_by_a_crossover_that_lies_straight() {
    let crossover = Junction::load("Crossover");
    crossover.has(
        "up.west > up.east: W1 straight
         up.east > up.west: W1 straight
         down.west > down.east: W2 straight
         down.east > down.west: W2 straight
         up.west > down.east: W1 diverging, W2 diverging
         down.east > up.west: W2 diverging, W1 diverging",
        &[
            "up.east > up.west + down.east > down.west",
            "up.east > up.west + down.west > down.east",
            "up.west > up.east + down.east > down.west",
            "up.west > up.east + down.west > down.east",
        ],
    );
    assert_eq!(crossover.flank("up.west > up.east"), ["up.over: W2 straight"]);
    assert_eq!(crossover.flank("up.west > down.east"), ["up.east: signal up.east", "down.west: signal down.west"]);
}

#[test]
fn one_train_at_a_time_is_on_a_diamond() {
    Junction::load("Diamond crossing").has("west > east\neast > west\nnorth > south\nsouth > north", NONE);
}

#[test]
fn trains_on_tracks_that_cross_exclude_each_other_though_each_track_has_its_detector() {
    let diamond = Junction::load("Diamond crossing with a detector on each track");
    diamond.has(
        "across.a > across.b
         across.b > across.a
         along.a > along.b
         along.b > along.a",
        NONE,
    );
    assert_eq!(diamond.flank("across.a > across.b"), ["along.a: signal along.a", "along.b: signal along.b"]);
}

#[test]
fn a_single_slip_leads_over_one_curve() {
    Junction::load("Single slip").has(
        "a > d: W1 straight
         d > a: W1 straight
         b > c: W2 straight
         c > b: W2 straight
         a > c: W1 diverging, W2 diverging
         c > a: W1 diverging, W2 diverging",
        NONE,
    );
}

#[test]
fn a_double_slip_leads_from_each_side_to_each_of_the_other() {
    Junction::load("Double slip").has(
        "a > d: W1 straight, W2 straight
         d > a: W1 straight, W2 straight
         b > c: W1 straight, W2 straight
         c > b: W1 straight, W2 straight
         a > c: W1 diverging, W2 diverging
         c > a: W1 diverging, W2 diverging
         b > d: W1 diverging, W2 diverging
         d > b: W1 diverging, W2 diverging",
        NONE,
    );
    Junction::load("Double slip whose drives choose a track each").has(
        "a > c: W1 straight, W2 straight
         c > a: W1 straight, W2 straight
         a > d: W1 straight, W2 diverging
         d > a: W1 straight, W2 diverging
         b > c: W1 diverging, W2 straight
         c > b: W1 diverging, W2 straight
         b > d: W1 diverging, W2 diverging
         d > b: W1 diverging, W2 diverging",
        NONE,
    );
    Junction::load("Double slip with one drive").has(
        "a > d: W1 straight
         d > a: W1 straight
         b > c: W1 straight
         c > b: W1 straight
         a > c: W1 diverging
         c > a: W1 diverging
         b > d: W1 diverging
         d > b: W1 diverging",
        NONE,
    );
}

#[test]
fn one_train_at_a_time_is_on_a_scissors_crossing_in_one_section() {
    Junction::load("Scissors crossing").has(
        "w1 > e1: W1 straight, W3 straight
         e1 > w1: W1 straight, W3 straight
         w2 > e2: W2 straight, W4 straight
         e2 > w2: W2 straight, W4 straight
         w1 > e2: W1 diverging, W4 diverging
         e2 > w1: W1 diverging, W4 diverging
         w2 > e1: W2 diverging, W3 diverging
         e1 > w2: W2 diverging, W3 diverging",
        NONE,
    );
}

#[test]
fn trains_pass_each_other_straight_on_over_a_scissors_crossing_with_a_detector_on_each_track() {
    let scissors = Junction::load("Scissors crossing with a detector on each track");
    scissors.has(
        "north.west > north.east: W1 straight, W3 straight
         north.east > north.west: W1 straight, W3 straight
         south.west > south.east: W2 straight, W4 straight
         south.east > south.west: W2 straight, W4 straight
         north.west > south.east: W1 diverging, W4 diverging
         south.east > north.west: W4 diverging, W1 diverging
         south.west > north.east: W2 diverging, W3 diverging
         north.east > south.west: W3 diverging, W2 diverging",
        &[
            "north.east > north.west + south.east > south.west",
            "north.east > north.west + south.west > south.east",
            "north.west > north.east + south.east > south.west",
            "north.west > north.east + south.west > south.east",
        ],
    );
    assert_eq!(scissors.flank("north.west > north.east"), ["north.down: W4 straight", "north.rise: W2 straight"]);
}

#[test]
fn a_train_goes_round_a_reversing_loop_in_two_routes() {
    let balloon = Junction::load("Reversing loop");
    balloon.has(
        "neck.line > B2: W1 straight
         neck.line > B1: W1 diverging
         B1 > neck.line: W1 straight
         B2 > neck.line: W1 diverging",
        NONE,
    );
    assert_eq!(balloon.flank("neck.line > B2"), NONE, "the other leg is the end of its own path");
}

#[test]
fn two_trains_on_a_triangle_always_need_one_of_its_corners_both() {
    let triangle = Junction::load("Triangle");
    triangle.has(
        "a.out > b.out: W1 straight, W2 diverging
         a.out > c.out: W1 diverging, W3 straight
         b.out > c.out: W2 straight, W3 diverging
         b.out > a.out: W2 diverging, W1 straight
         c.out > a.out: W3 straight, W1 diverging
         c.out > b.out: W3 diverging, W2 straight",
        NONE,
    );
    // Each third corner turns others away from both legs at once only where it may lie for one of them.
    assert_eq!(triangle.flank("a.out > b.out"), ["a.right: W3 diverging", "b.left: signal c.out"]);
}

#[test]
fn a_turntable_is_turned_by_people() {
    Junction::load("Turntable").has(
        "approach > stall-1
         approach > stall-2
         approach > stall-3
         stall-1 > approach
         stall-2 > approach
         stall-3 > approach",
        NONE,
    );
}
