//! How trains move, stop, derail and touch.

use std::time::Duration;

use signaller::{Direction, Output};
use testtrack::{Happening, Settings, Spread};
use track::{Beyond, Lie, Speed};

use crate::fixture::{Corner, corner, corner_with, heron, plover, vehicle};

fn what_happened(corner: &mut Corner) -> Vec<Happening> {
    let happenings = corner.table.take_happenings().into_iter().map(|(_, happening)| happening);
    happenings.filter(|happening| !matches!(happening, Happening::Entered { .. })).collect()
}

#[test]
fn a_train_gathers_speed_and_comes_to_its_true_speed_within_its_tolerance() {
    let mut corner = Corner::new();
    corner.put("Heron", &["quay-1"], "quay-1.b");
    corner.drive("Heron", Direction::Forward, 63);
    corner.run(0.2);
    let early = corner.table.speed(corner.train("Heron"));
    assert!(early > Speed::from_mm(18) && early <= Speed::from_mm(24), "after 0.2 s at 96 to 120 mm/s2: {early:?}");
    corner.run(2.0);
    let speed = corner.table.speed(corner.train("Heron"));
    assert!((speed - Speed::from_mm(140)).um().abs() <= 7_000, "half of 280 mm/s, give or take 5 %: {speed:?}");
    assert_ne!(speed, Speed::from_mm(140), "no train is exactly as described");
}

#[test]
fn a_train_that_is_told_to_stand_needs_its_braking_distance() {
    let mut corner = Corner::new();
    corner.put("Plover", &["quay-1"], "quay-1.b");
    corner.drive("Plover", Direction::Forward, 126);
    corner.run(5.0);
    let (plover, (end, before)) = (corner.train("Plover"), corner.nose("Plover"));
    let (speed, time) = (corner.table.speed(plover), corner.table.time_to_stand(plover, Duration::ZERO));
    corner.drive("Plover", Direction::Forward, 0);
    corner.run(time.as_secs_f64() + 0.02);
    assert_eq!(corner.table.speed(plover), Speed::ZERO);
    let (same_end, after) = corner.nose("Plover");
    assert_eq!(end, same_end, "still in the same section");
    let (braked, reckoned) = (before - after, speed.um() as f64 / 1e6 * time.as_secs_f64() / 2.0 * 1e3);
    assert!((braked - reckoned).abs() < 2.0, "braked over {braked} mm, v * t / 2 is {reckoned} mm");
}

#[test]
fn a_train_that_turns_back_returns_to_where_it_was() {
    let mut corner = Corner::new();
    corner.put("Heron", &["quay-1"], "quay-1.b");
    corner.drive("Heron", Direction::Forward, 100);
    corner.run(5.0);
    let heron = corner.train("Heron");
    assert!(corner.table.covers(heron, corner.section("line-1")));
    corner.drive("Heron", Direction::Backward, 100);
    corner.run(30.0);
    assert_eq!(corner.nose("Heron"), ("quay-1.a".to_owned(), 0.0), "it ran back against the buffer stop");
    assert_eq!(corner.table.footprint(heron).to_vec(), [corner.section("quay-1")]);
    let end = corner.end("quay-1.a");
    assert_eq!(what_happened(&mut corner), [Happening::HitBuffer { train: heron, at: end }], "once, not in every tick");
    corner.drive("Heron", Direction::Forward, 100);
    corner.run(2.0);
    assert!(corner.table.speed(heron) > Speed::ZERO, "it gets away from the buffer stop again");
}

#[test]
fn a_train_takes_the_way_that_the_turnout_lies_for() {
    for (lie, quay) in [(Lie::Straight, "quay-1"), (Lie::Diverging, "quay-2")] {
        let mut corner = Corner::new();
        corner.put("Plover", &["line-1"], "line-1.a");
        let turnout = corner.turnout("W1");
        corner.table.act(&Output::Throw { turnout, lie });
        corner.run(2.0);
        corner.drive("Plover", Direction::Forward, 80);
        corner.run(6.0);
        assert!(corner.table.covers(corner.train("Plover"), corner.section(quay)), "W1 {lie:?} leads to {quay}");
        assert_eq!(what_happened(&mut corner), []);
    }
}

#[test]
fn a_train_derails_on_a_turnout_that_lies_wrong_or_moves_and_lies_there() {
    let mut corner = Corner::new();
    corner.put("Plover", &["quay-2"], "quay-2.b");
    corner.drive("Plover", Direction::Forward, 100);
    corner.run(20.0);
    let (train, turnout, section) = (corner.train("Plover"), corner.turnout("W1"), corner.section("throat"));
    assert_eq!(what_happened(&mut corner), [Happening::Derailed { train, turnout, section }]);
    assert!(corner.table.is_wrecked(train));
    assert_eq!(corner.table.speed(train), Speed::ZERO);

    let mut corner = Corner::new();
    corner.put("Heron", &["quay-1", "throat"], "throat.toe");
    corner.table.act(&Output::Throw { turnout, lie: Lie::Diverging });
    let train = corner.train("Heron");
    assert_eq!(
        what_happened(&mut corner),
        [Happening::Derailed { train, turnout, section }],
        "under a standing train too"
    );
}

#[test]
fn two_trains_that_meet_touch_and_are_wrecks() {
    let mut corner = Corner::new();
    corner.put("Heron", &["line-1"], "line-1.b");
    corner.put("Plover", &["line-2"], "line-2.a");
    corner.drive("Heron", Direction::Forward, 60);
    corner.drive("Plover", Direction::Forward, 60);
    corner.run(20.0);
    let happened = what_happened(&mut corner);
    assert!(matches!(happened[..], [Happening::Collided { .. }]), "{happened:?}");
    assert!(corner.table.is_wrecked(corner.train("Heron")) && corner.table.is_wrecked(corner.train("Plover")));
}

#[test]
fn a_train_that_stands_foul_of_a_turnout_is_touched_by_one_on_the_other_track() {
    let mut corner = Corner::new();
    corner.put("Heron", &["quay-1", "throat"], "throat.toe");
    corner.put("Plover", &["line-1"], "line-1.b");
    corner.drive("Heron", Direction::Backward, 20);
    corner.run(2.0);
    let turnout = corner.turnout("W1");
    assert!(corner.table.covers(corner.train("Heron"), corner.section("throat")), "Heron still stands foul");
    corner.drive("Heron", Direction::Backward, 0);
    corner.run(1.0);
    corner.drive("Plover", Direction::Backward, 60);
    corner.run(20.0);
    let happened = what_happened(&mut corner);
    assert!(matches!(happened[..], [Happening::Collided { .. }]), "over {turnout:?}: {happened:?}");
}

#[test]
fn trains_on_the_two_quay_tracks_pass_each_other_untouched() {
    let mut corner = Corner::new();
    corner.put("Heron", &["quay-1"], "quay-1.b");
    corner.put("Plover", &["quay-2"], "quay-2.b");
    corner.drive("Heron", Direction::Forward, 100);
    corner.run(10.0);
    assert_eq!(what_happened(&mut corner), []);
}

#[test]
fn a_train_that_leaves_the_layout_can_come_back() {
    let mut corner = Corner::of(corner_with(|builder| {
        let end = builder.layout().end_named("line-2.b").unwrap();
        builder.close(end, Beyond::OffLayout);
    }));
    corner.put("Plover", &["line-2"], "line-2.b");
    corner.drive("Plover", Direction::Forward, 126);
    corner.run(5.0);
    let plover = corner.train("Plover");
    assert!(corner.table.footprint(plover).is_empty(), "it has left");
    corner.drive("Plover", Direction::Backward, 126);
    corner.run(9.0);
    assert!(corner.table.covers(plover, corner.section("line-2")), "it is back");
}

#[test]
fn trains_start_where_the_layout_says_with_the_turnouts_under_them_laid() {
    let corner = Corner::of(corner_with(|builder| {
        let layout = builder.layout();
        let on = ["quay-2", "throat"].map(|name| layout.section_named(name).unwrap()).to_vec();
        let nose = layout.end_named("throat.toe");
        let start = Some(track::Start { on, nose });
        builder.train(track::Train { name: "Dunlin".into(), start, ..heron() });
    }));
    assert_eq!(corner.table.lie(corner.turnout("W1")), Some(Lie::Diverging));
    let dunlin = corner.train("Dunlin");
    assert_eq!(corner.table.footprint(dunlin).to_vec(), [corner.section("quay-2"), corner.section("throat")]);
    assert!(!corner.table.is_on_table(corner.train("Heron")), "nobody said where Heron stands");
}

#[test]
fn a_train_starts_at_the_stopping_point_it_points_at() {
    let mut corner = Corner::new();
    corner.put("Heron", &["line-2"], "line-2.b");
    assert_eq!(corner.nose("Heron"), ("line-2.b".to_owned(), 100.0));
}

#[test]
fn a_train_that_does_not_fit_is_not_put_down() {
    let long = corner_with(|builder| {
        let on = vec![builder.layout().section_named("quay-1").unwrap()];
        let start = Some(track::Start { on, nose: None });
        let vehicles = vec![vehicle(1451, None)];
        builder.train(track::Train { name: "Curlew".into(), vehicles, start, ..plover() });
    });
    let error = testtrack::Table::new(long.into(), &testtrack::Settings::seeded(1)).unwrap_err();
    assert_eq!(error.to_string(), "`Curlew` does not fit on `quay-1`, reaching from the first to the last");
}

#[test]
fn a_turnout_lies_nowhere_while_it_moves() {
    let mut corner = Corner::new();
    let turnout = corner.turnout("W1");
    corner.table.act(&Output::Throw { turnout, lie: Lie::Diverging });
    assert_eq!(corner.table.lie(turnout), None);
    corner.run(0.65);
    assert_eq!(corner.table.lie(turnout), None, "it takes 0.7 to 1 s");
    corner.run(0.4);
    assert_eq!(corner.table.lie(turnout), Some(Lie::Diverging));
}

#[test]
fn an_order_takes_its_time_to_reach_a_train_and_is_not_overtaken_by_the_next() {
    let order_delay = Spread { least: Duration::from_millis(300), most: Duration::from_millis(900) };
    for seed in 0..20 {
        let mut corner = Corner::with(corner(), &Settings { order_delay, ..Settings::seeded(seed) });
        corner.put("Plover", &["quay-1"], "quay-1.a");
        let plover = corner.train("Plover");
        corner.drive("Plover", Direction::Forward, 60);
        corner.drive("Plover", Direction::Forward, 0);
        corner.run(0.29);
        assert_eq!(corner.table.speed(plover), Speed::ZERO, "seed {seed}: no order has come yet");
        corner.drive("Plover", Direction::Backward, 60);
        corner.run(1.5);
        assert!(corner.table.speed(plover) < Speed::ZERO, "seed {seed}: the last order counts");
    }
}

/// Plover stands on line-1 with 10 mm of its front over the throat, its first wheel short of the joint.
#[test]
fn a_train_that_only_sticks_out_over_a_turnout_takes_the_way_that_it_lies_for_when_it_moves_on() {
    let mut corner = Corner::new();
    corner.put("Plover", &["line-1"], "line-1.a");
    corner.drive("Plover", Direction::Forward, 20);
    while !corner.table.covers(corner.train("Plover"), corner.section("throat")) {
        corner.run(0.01);
    }
    corner.drive("Plover", Direction::Forward, 0);
    corner.run(1.0);
    assert!(!corner.table.stands_in(corner.train("Plover"), corner.section("throat")), "no wheel is over the joint");
    corner.table.act(&Output::Throw { turnout: corner.turnout("W1"), lie: Lie::Diverging });
    corner.run(2.0);
    corner.drive("Plover", Direction::Forward, 60);
    corner.run(8.0);
    assert!(corner.table.covers(corner.train("Plover"), corner.section("quay-2")), "W1 leads to quay-2 now");
    assert_eq!(what_happened(&mut corner), []);
}
