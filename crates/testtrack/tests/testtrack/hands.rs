//! What happens to trains and turnouts by itself and by people's hands.

use std::time::Duration;

use signaller::{Direction, Input, Output, Request, Ticket, Time};
use testtrack::{Fault, Faults, Happening, Rate, Return, Settings, Talk};
use track::{Length, Lie, Speed, TrainId};

use crate::fixture::{Corner, corner, corner_with, plover, vehicle};

fn under(faults: Faults) -> Corner {
    Corner::with(corner(), &Settings { faults, ..Settings::seeded(11) })
}

fn always(fault: Fault) -> Faults {
    Faults::NONE.with(fault, Rate::PerMillion(1_000_000))
}

fn accidents(corner: &mut Corner) -> Vec<Happening> {
    let happened = corner.table.take_happenings().into_iter().map(|(_, it)| it);
    happened.filter(|it| matches!(it, Happening::Derailed { .. } | Happening::Collided { .. })).collect()
}

fn requests(heard: &[(Time, Input)]) -> Vec<Request> {
    let request = |(_, input): &(Time, Input)| match input {
        Input::Requested { request, .. } => Some(request.clone()),
        _ => None,
    };
    heard.iter().filter_map(request).collect()
}

fn lies_reported(heard: &[(Time, Input)]) -> Vec<Lie> {
    let lie = |(_, input): &(Time, Input)| match *input {
        Input::TurnoutReported { lie, .. } => lie,
        _ => None,
    };
    heard.iter().filter_map(lie).collect()
}

#[test]
fn a_train_that_is_pushed_moves_as_far_and_as_fast_as_the_hand_does() {
    let mut corner = Corner::new();
    corner.put("Plover", &["line-1"], "line-1.a");
    let (plover, (_, before)) = (corner.train("Plover"), corner.nose("Plover"));
    assert!(corner.table.push(plover, Direction::Backward, Length::from_mm(300), Speed::from_mm(100)));
    corner.run(1.0);
    assert_eq!(corner.table.speed(plover), Speed::from_mm(-100));
    assert!(corner.table.is_out_of_hand(plover, corner.table.now()));
    corner.run(5.0);
    assert_eq!(corner.table.speed(plover), Speed::ZERO);
    let moved = corner.table.short_of(plover, corner.end("line-1.a")).unwrap().mm() - before;
    assert!((moved - 300.0).abs() < 2.0, "{moved} mm");
}

#[test]
fn a_hand_does_not_push_a_train_through_another_nor_off_the_end_of_the_track() {
    let mut corner = Corner::new();
    corner.put("Heron", &["line-1"], "line-1.b");
    corner.put("Plover", &["line-2"], "line-2.a");
    let plover = corner.train("Plover");
    for direction in [Direction::Forward, Direction::Backward] {
        assert!(corner.table.push(plover, direction, Length::from_mm(5000), Speed::from_mm(300)));
        corner.run(30.0);
        assert_eq!(corner.table.speed(plover), Speed::ZERO);
    }
    let happened = corner.table.take_happenings();
    let bad = |it: &Happening| !matches!(it, Happening::Entered { .. } | Happening::Faulted { .. });
    assert!(!happened.iter().any(|(_, it)| bad(it)), "{happened:?}");
    let gap = corner.table.short_of(plover, corner.end("line-2.b")).unwrap().mm();
    assert!((gap - 30.0).abs() < 4.0, "it stands {gap} mm short of the end of the track");
}

#[test]
fn a_train_that_was_pushed_is_in_hand_again_when_a_detector_has_seen_it_pass_a_joint_and_it_could_have_braked() {
    let mut corner = Corner::new();
    corner.table.first_inputs(|| Ticket(0));
    corner.put("Plover", &["quay-1"], "quay-1.b");
    let plover = corner.train("Plover");
    assert!(corner.table.push(plover, Direction::Backward, Length::from_mm(200), Speed::from_mm(200)));
    corner.run(60.0);
    assert!(corner.table.is_out_of_hand(plover, corner.table.now()), "time alone shows nothing");
    corner.drive("Plover", Direction::Forward, 60);
    while !corner.table.covers(plover, corner.section("throat")) {
        corner.run(0.01);
    }
    assert!(corner.table.is_out_of_hand(plover, corner.table.now()), "no report came yet");
    corner.run(2.0);
    assert!(!corner.table.is_out_of_hand(plover, corner.table.now()));
}

#[test]
fn a_train_that_is_lifted_comes_back_where_it_was_and_people_say_so() {
    let mut corner = Corner::new();
    corner.put("Heron", &["quay-1"], "quay-1.b");
    let (heron, before) = (corner.train("Heron"), corner.nose("Heron"));
    corner.table.take_off(heron, Duration::from_secs(20), Talk::Say, Return::SamePlace);
    assert!(!corner.table.is_on_table(heron));
    let said = requests(&corner.run(15.0));
    assert_eq!(said, [Request::Lift { train: heron }]);
    let said = requests(&corner.run(15.0));
    let (on, nose) = (vec![corner.section("quay-1")], Some(corner.end("quay-1.b")));
    assert_eq!(said, [Request::Place { train: heron, on, nose }]);
    assert_eq!(corner.nose("Heron"), before);
    assert!(
        !corner.table.is_out_of_hand(heron, corner.table.now() + Duration::from_secs(5)),
        "people said where it is"
    );
}

#[test]
fn a_train_that_is_lifted_comes_back_elsewhere_and_people_forget_to_say_so() {
    let mut corner = Corner::new();
    corner.put("Heron", &["quay-1"], "quay-1.b");
    corner.put("Plover", &["line-1"], "line-1.a");
    let heron = corner.train("Heron");
    corner.table.take_off(heron, Duration::from_secs(20), Talk::Forget, Return::Elsewhere);
    assert_eq!(requests(&corner.run(60.0)), []);
    assert!(corner.table.is_on_table(heron) && corner.table.is_out_of_hand(heron, corner.table.now()));
    assert_eq!(accidents(&mut corner), []);
    assert!(!corner.table.covers(heron, corner.section("line-1")), "Plover stands there");
}

#[test]
fn a_train_whose_place_was_taken_meanwhile_comes_back_elsewhere() {
    let mut corner = Corner::new();
    corner.put("Heron", &["quay-1"], "quay-1.b");
    let heron = corner.train("Heron");
    corner.table.take_off(heron, Duration::from_secs(20), Talk::Say, Return::SamePlace);
    corner.put("Plover", &["quay-1"], "quay-1.b");
    corner.run(40.0);
    assert!(corner.table.is_on_table(heron) && !corner.table.covers(heron, corner.section("quay-1")));
}

#[test]
fn what_people_say_is_said_again_if_it_is_refused() {
    let mut corner = Corner::new();
    corner.put("Heron", &["quay-1"], "quay-1.b");
    let heron = corner.train("Heron");
    corner.table.take_off(heron, Duration::from_secs(120), Talk::Say, Return::SamePlace);
    let heard = corner.run(15.0);
    let [(_, Input::Requested { ticket, .. })] = heard[..] else { panic!("{heard:?}") };
    let answer = signaller::Answer::Refused(signaller::Refusal { reason: "a test".to_owned() });
    corner.table.act(&Output::Fact(signaller::Fact::Answered { ticket, answer }));
    assert_eq!(requests(&corner.run(15.0)), [Request::Lift { train: heron }]);
    assert_eq!(requests(&corner.run(15.0)), [], "nobody refused it this time");
}

#[test]
fn a_tail_that_parts_stays_where_it_is_while_the_train_runs_on() {
    let mut corner = Corner::new();
    corner.put("Heron", &["quay-1"], "quay-1.b");
    corner.drive("Heron", Direction::Forward, 80);
    corner.run(3.0);
    let heron = corner.train("Heron");
    let tail = corner.table.part(heron, 2).unwrap();
    let stays = corner.table.footprint(tail);
    corner.run(10.0);
    assert_eq!(corner.table.footprint(tail), stays);
    assert_eq!(corner.table.belongs_to(tail), Some(heron));
    assert!(corner.table.covers(heron, stays[0]), "its vehicles are there");
    assert!(corner.table.covers(heron, corner.section("line-2")), "and it is here");
    assert_eq!(accidents(&mut corner), [], "a train does not run into what it left behind");
}

#[test]
fn a_train_that_backs_up_to_its_tail_is_whole_again() {
    let mut corner = Corner::new();
    corner.put("Heron", &["quay-1"], "quay-1.b");
    corner.drive("Heron", Direction::Forward, 80);
    corner.run(3.0);
    let heron = corner.train("Heron");
    let tail = corner.table.part(heron, 2).unwrap();
    corner.run(3.0);
    corner.drive("Heron", Direction::Backward, 60);
    corner.run(30.0);
    assert!(!corner.table.is_on_table(tail));
    assert_eq!(accidents(&mut corner), []);
    assert_eq!(corner.table.part(heron, 3), None, "it has three vehicles again, no more");
    let rear = corner.table.short_of(heron, corner.end("quay-1.a"));
    assert!(rear.is_some_and(|rear| rear == Length::ZERO), "it pushed its tail back against the buffer stop: {rear:?}");
    assert!(corner.table.part(heron, 2).is_some());
}

#[test]
fn a_locomotive_that_stalls_stands_for_a_while_and_is_in_hand() {
    let mut corner = Corner::new();
    corner.put("Heron", &["quay-1"], "quay-1.b");
    corner.drive("Heron", Direction::Forward, 60);
    corner.run(2.0);
    let heron = corner.train("Heron");
    corner.table.stall(heron, Duration::from_secs(3));
    corner.run(1.0);
    assert_eq!(corner.table.speed(heron), Speed::ZERO);
    assert!(!corner.table.is_out_of_hand(heron, corner.table.now()));
    corner.run(4.0);
    assert!(corner.table.speed(heron) > Speed::ZERO);
}

#[test]
fn a_locomotive_that_runs_away_is_itself_again_after_a_moment() {
    let mut corner = Corner::new();
    corner.put("Plover", &["quay-1"], "quay-1.b");
    let plover = corner.train("Plover");
    corner.table.run_away(plover, Speed::from_mm(100), Duration::from_secs(2));
    corner.run(1.9);
    assert_eq!(corner.table.speed(plover), Speed::from_mm(100));
    corner.run(3.0);
    assert_eq!(corner.table.speed(plover), Speed::ZERO);
    assert!(corner.table.is_out_of_hand(plover, corner.table.now()));
}

#[test]
fn an_order_that_a_locomotive_did_not_hear_reaches_it_later() {
    let mut corner = Corner::new();
    corner.put("Plover", &["quay-1"], "quay-1.b");
    let plover = corner.train("Plover");
    corner.table.deafen(plover, Duration::from_secs(2));
    corner.drive("Plover", Direction::Forward, 60);
    corner.run(1.9);
    assert_eq!(corner.table.speed(plover), Speed::ZERO);
    corner.run(1.0);
    assert!(corner.table.speed(plover) > Speed::ZERO);
}

#[test]
fn a_turnout_that_fails_lies_as_before_and_says_nothing() {
    let mut corner = under(always(Fault::TurnoutFails));
    let turnout = corner.turnout("W1");
    corner.table.act(&Output::Throw { turnout, lie: Lie::Diverging });
    assert_eq!(lies_reported(&corner.run(5.0)), []);
    assert_eq!(corner.table.lie(turnout), Some(Lie::Straight));
    corner.table.heal();
    assert_eq!(lies_reported(&corner.run(5.0)), [Lie::Diverging], "somebody lends it a hand");
}

#[test]
fn a_turnout_that_is_slow_takes_two_to_five_times_as_long() {
    let mut corner = under(always(Fault::TurnoutSlow));
    let turnout = corner.turnout("W1");
    corner.table.act(&Output::Throw { turnout, lie: Lie::Diverging });
    let [(at, Input::TurnoutReported { lie: Some(Lie::Diverging), .. })] = corner.run(9.0)[..] else { panic!() };
    assert!(at >= Time::from_millis(2 * 700) && at <= Time::from_millis(5 * 1000 + 80), "{at:?}");
}

#[test]
fn a_turnout_that_reports_wrongly_says_the_opposite_of_how_it_lies() {
    let mut seen = Vec::new();
    for seed in 0..8 {
        let settings = Settings { faults: always(Fault::TurnoutReportsWrongly), ..Settings::seeded(seed) };
        let mut corner = Corner::with(corner(), &settings);
        let turnout = corner.turnout("W1");
        corner.table.act(&Output::Throw { turnout, lie: Lie::Diverging });
        let said = lies_reported(&corner.run(5.0));
        let lies = corner.table.lie(turnout).unwrap();
        assert_eq!(said, [lies.other()]);
        seen.push(lies);
    }
    assert!(seen.contains(&Lie::Straight) && seen.contains(&Lie::Diverging), "it moves or it does not: {seen:?}");
}

#[test]
fn a_mute_turnout_moves_and_says_nothing() {
    let mut corner = under(always(Fault::TurnoutMute));
    let turnout = corner.turnout("W1");
    corner.table.act(&Output::Throw { turnout, lie: Lie::Diverging });
    assert_eq!(lies_reported(&corner.run(5.0)), []);
    assert_eq!(corner.table.lie(turnout), Some(Lie::Diverging));
}

#[test]
fn somebody_who_drives_by_sight_goes_about_and_keeps_clear_of_a_train_that_stands() {
    let mut corner = Corner::of(corner_with(|builder| {
        builder.train(track::Train {
            name: "Dunlin".into(),
            vehicles: vec![vehicle(150, Some((15, 135)))],
            ..plover()
        });
    }));
    corner.put("Plover", &["quay-1"], "quay-1.b");
    corner.put("Heron", &["line-2"], "line-2.a");
    let (plover, heron) = (corner.train("Plover"), corner.train("Heron"));
    corner.table.drive_by_hand(plover);
    let mut visited = std::collections::BTreeSet::new();
    for _ in 0..9_000 {
        corner.run(0.2);
        visited.extend(corner.table.footprint(plover));
        assert!(!corner.table.covers(plover, corner.section("line-2")), "Heron stands there");
    }
    assert!(visited.contains(&corner.section("line-1")), "in half an hour it comes out of the quay: {visited:?}");
    assert_eq!(accidents(&mut corner), []);
    assert!(
        corner.table.is_out_of_hand(plover, corner.table.now())
            && !corner.table.is_out_of_hand(heron, corner.table.now())
    );
}

#[test]
fn somebody_who_drives_by_sight_does_not_enter_what_was_granted_to_a_train() {
    let mut corner = Corner::new();
    corner.put("Plover", &["quay-1"], "quay-1.b");
    let granted = corner.granted("Heron", &["throat"]);
    corner.table.act(&granted);
    let plover = corner.train("Plover");
    corner.table.drive_by_hand(plover);
    for _ in 0..3_000 {
        corner.run(0.2);
        assert!(!corner.table.covers(plover, corner.section("throat")));
    }
}

#[test]
fn wagons_come_and_go_and_none_is_put_where_something_stands() {
    let faults = Faults::NONE.with(Fault::PutDown, Rate::PerHour(100_000));
    let mut corner = under(faults);
    corner.put("Heron", &["quay-1"], "quay-1.b");
    corner.run(3600.0);
    let put = corner.table.mishaps().iter().filter(|it| it.fault == Fault::PutDown);
    let gone: Vec<_> = put.filter(|it| it.until.is_some()).collect();
    assert!(gone.len() > 10, "{} were taken off", gone.len());
    assert!(corner.table.mishaps().iter().all(|it| it.section != Some(corner.section("quay-1"))));
    assert_eq!(accidents(&mut corner), []);
}

/// Everything that befalls trains, often, for an hour of trains that run to and fro by themselves; then all is set right.
#[test]
fn after_everything_that_can_happen_every_train_stands_whole_on_the_track_again() {
    let faults = [Fault::Pushed, Fault::Lifted, Fault::PutDown, Fault::Parted, Fault::Stall, Fault::Runaway];
    let faults = faults.into_iter().fold(Faults::NONE, |all, fault| all.with(fault, Rate::PerHour(60_000)));
    let mut corner = under(faults);
    corner.put("Heron", &["quay-1"], "quay-1.b");
    corner.put("Plover", &["line-2"], "line-2.a");
    let trains: [TrainId; 2] = [corner.train("Heron"), corner.train("Plover")];
    for round in 0..180 {
        let direction = if round % 2 == 0 { Direction::Forward } else { Direction::Backward };
        corner.drive("Heron", direction, 40);
        corner.run(20.0);
    }
    let befell: std::collections::BTreeSet<_> = corner.table.mishaps().iter().map(|it| it.fault).collect();
    assert_eq!(befell.len(), 6, "{befell:?}");
    corner.drive("Heron", Direction::Forward, 0);
    corner.table.heal();
    corner.run(600.0);
    let after = corner.table.mishaps().len();
    for (train, vehicles) in trains.into_iter().zip([3, 1]) {
        assert!(corner.table.is_on_table(train) && !corner.table.is_wrecked(train));
        assert_eq!(corner.table.speed(train), Speed::ZERO);
        assert_eq!(corner.table.part(train, vehicles), None, "it has no more vehicles than it had");
        assert!(vehicles == 1 || corner.table.part(train, vehicles - 1).is_some(), "nor less");
    }
    let bodies: Vec<_> =
        corner.table.trains_on_table().filter(|&body| corner.table.belongs_to(body).is_none()).collect();
    assert_eq!(bodies, [], "no wagon that nobody knows of is left");
    let lasting = corner.table.mishaps()[..after].iter().filter(|it| it.until.is_none()).count();
    assert_eq!(lasting, 0);
}
