//! What the signaller could not know is not charged to it; and what comes next to that is.

use std::time::Duration;

use signaller::{Aspect, Direction, Input, Request, Tag, Ticket};
use testtrack::{Fault, Faults, Rate, Rule, Settings};
use track::{Beyond, Layout, Length, Lie, Speed, TrainId};

use crate::checkers::Watched;
use crate::fixture::{Corner, corner, corner_with};

const YELLOW: Aspect = Aspect(1);

/// A corner whose detectors have all said how it is.
fn watched() -> Watched {
    let mut watched = Watched::new();
    watched.corner.table.first_inputs(|| Ticket(0));
    watched
}

/// The same, with turnouts on which a fault always strikes.
fn watched_under(fault: Fault, layout: Layout, seed: u64) -> Watched {
    let faults = Faults::NONE.with(fault, Rate::PerMillion(1_000_000));
    let settings = Settings { faults, ..Settings::seeded(seed).repeating() };
    let mut watched = Watched::of(Corner::with(layout, &settings));
    watched.corner.table.first_inputs(|| Ticket(0));
    watched
}

fn with_an_unreported_turnout() -> Layout {
    corner_with(|builder| {
        let turnout = builder.layout().turnout_named("W1").unwrap();
        builder.turnout_mut(turnout).reported = false;
    })
}

#[derive(Clone, Copy)]
enum Axles {
    Seen,
    Unseen,
}

fn put_wagon(watched: &mut Watched, on: &str, nose: &str, axles: Axles) -> TrainId {
    let (on, nose) = (watched.corner.section(on), watched.corner.end(nose));
    let seen = (Length::from_mm(15), Length::from_mm(85));
    let detectable = matches!(axles, Axles::Seen).then_some(seen);
    watched.corner.table.put_wagon(Length::from_mm(100), detectable, &[on], Some(nose)).unwrap()
}

fn excused(watched: &Watched) -> Vec<&str> {
    watched.checkers.excused().iter().map(|it| it.sentence.as_str()).collect()
}

fn rules(watched: &Watched) -> Vec<Rule> {
    watched.broken().into_iter().map(|(rule, _)| rule).collect()
}

fn send_plover_through(watched: &mut Watched) {
    watched.grant("Plover", &["throat", "line-1", "line-2"]);
    watched.drive("Plover", Direction::Forward, 80);
    watched.run(20.0);
}

#[test]
fn a_wagon_that_no_detector_sees_and_nobody_knows_of_is_an_accident_that_nobody_could_know_of() {
    let mut watched = watched();
    watched.corner.put("Plover", &["quay-1"], "quay-1.b");
    put_wagon(&mut watched, "line-1", "line-1.b", Axles::Unseen);
    watched.run(60.0);
    send_plover_through(&mut watched);
    assert_eq!(watched.broken(), [], "neither the grant nor the contact");
    let why = "no report showed that it was there, and nobody drove it there";
    assert_eq!(excused(&watched), [format!("Plover touched a wagon that nobody knows of in line-1; {why}")]);
}

#[test]
fn a_wagon_that_a_detector_shows_is_to_be_reckoned_with_though_nobody_said_a_word() {
    let mut watched = watched();
    watched.corner.put("Plover", &["quay-1"], "quay-1.b");
    put_wagon(&mut watched, "line-1", "line-1.b", Axles::Seen);
    watched.run(60.0);
    send_plover_through(&mut watched);
    assert_eq!(rules(&watched), [Rule::N2, Rule::N0]);
    assert_eq!(excused(&watched), [] as [&str; 0]);
}

#[test]
fn a_wagon_put_down_right_before_a_running_train_is_nobodys_fault_but_the_persons() {
    let mut watched = watched();
    watched.corner.put("Plover", &["line-1"], "line-1.b");
    watched.grant("Plover", &["line-2"]);
    watched.drive("Plover", Direction::Forward, 80);
    while watched.corner.nose("Plover").1 > 15.0 {
        watched.run(0.01);
    }
    put_wagon(&mut watched, "line-2", "line-2.a", Axles::Seen);
    watched.run(10.0);
    assert_eq!(watched.broken(), []);
    let why = "it came there out of hand a moment before";
    assert_eq!(excused(&watched), [format!("Plover touched a wagon that nobody knows of in line-2; {why}")]);
}

#[test]
fn a_wagon_put_down_in_good_time_before_a_running_train_is_to_be_stopped_for() {
    let mut watched = watched();
    watched.corner.put("Plover", &["quay-1"], "quay-1.b");
    watched.grant("Plover", &["throat", "line-1", "line-2"]);
    watched.drive("Plover", Direction::Forward, 40);
    watched.run(2.0);
    put_wagon(&mut watched, "line-2", "line-2.b", Axles::Seen);
    watched.run(40.0);
    assert_eq!(rules(&watched), [Rule::N0]);
}

#[test]
fn a_train_that_a_hand_pushes_into_one_that_runs_is_not_charged_and_one_that_was_pushed_there_long_ago_is() {
    let contact = |pushed_when_short_of: f64, minutes_before: f64| {
        let mut watched = watched();
        watched.corner.put("Plover", &["quay-1"], "quay-1.b");
        watched.corner.put("Heron", &["line-2"], "line-2.a");
        let heron = watched.corner.train("Heron");
        watched.grant("Plover", &["throat", "line-1"]);
        let push = |watched: &mut Watched| {
            let (far, fast) = (Length::from_mm(200), Speed::from_mm(300));
            assert!(watched.corner.table.push(heron, Direction::Forward, far, fast));
        };
        if minutes_before > 0.0 {
            push(&mut watched);
            watched.run(minutes_before * 60.0);
        }
        watched.drive("Plover", Direction::Forward, 80);
        while watched.corner.nose("Plover").0 != "line-1.b" || watched.corner.nose("Plover").1 > pushed_when_short_of {
            watched.run(0.01);
        }
        if minutes_before == 0.0 {
            push(&mut watched);
        }
        watched.run(4.0);
        watched
    };
    let watched = contact(300.0, 0.0);
    assert_eq!(watched.broken(), []);
    let why = "it came there out of hand a moment before";
    assert_eq!(excused(&watched), [format!("Plover touched Heron in line-1; {why}")]);
    let watched = contact(300.0, 1.0);
    assert_eq!(watched.broken(), [(Rule::N0, "Plover touched Heron in line-1")]);
}

#[test]
fn a_turnout_that_nobody_reports_and_that_did_not_move_derails_a_train_by_nobodys_fault() {
    let derail = |waits: f64| {
        let mut watched = watched_under(Fault::TurnoutFails, with_an_unreported_turnout(), 11);
        watched.corner.put("Plover", &["quay-2"], "quay-2.b");
        watched.drive("Plover", Direction::Forward, 126);
        while watched.corner.nose("Plover").1 > 10.0 {
            watched.run(0.01);
        }
        watched.throw("W1", Lie::Diverging);
        watched.corner.table.stall(watched.corner.train("Plover"), Duration::from_secs_f64(waits));
        watched.grant("Plover", &["throat", "line-1"]);
        watched.run(10.0);
        (rules(&watched), excused(&watched).join(""))
    };
    let why = "Plover derailed on W1, which lay wrong or moved; nobody could know how the turnout lay";
    assert_eq!(derail(3.0), (vec![], why.to_owned()));
    assert_eq!(derail(0.01).0, [Rule::N0], "before it may have moved it is not to be relied on");
}

#[test]
fn a_turnout_that_reports_and_did_not_say_that_it_moved_is_not_to_be_relied_on() {
    let mut watched = watched_under(Fault::TurnoutFails, corner(), 11);
    watched.corner.put("Plover", &["quay-2"], "quay-2.b");
    watched.throw("W1", Lie::Diverging);
    watched.run(5.0);
    watched.grant("Plover", &["throat", "line-1"]);
    watched.drive("Plover", Direction::Forward, 100);
    watched.run(10.0);
    assert_eq!(rules(&watched), [Rule::N0]);
}

/// A turnout that says it moved and did not: seed by seed, it may also be the other way round.
fn a_turnout_that_claims_to_have_moved() -> Watched {
    let watched = (0..20).map(|seed| {
        let mut watched = watched_under(Fault::TurnoutReportsWrongly, corner(), seed);
        watched.throw("W1", Lie::Diverging);
        watched.run(3.0);
        watched
    });
    let stuck = |watched: &Watched| watched.corner.table.lie(watched.corner.turnout("W1")) == Some(Lie::Straight);
    watched.into_iter().find(stuck).unwrap()
}

#[test]
fn a_train_that_a_lying_turnout_leads_astray_is_not_charged_until_it_has_been_found() {
    let mut watched = a_turnout_that_claims_to_have_moved();
    watched.corner.put("Plover", &["line-1"], "line-1.a");
    watched.grant("Plover", &["throat", "quay-2"]);
    watched.drive("Plover", Direction::Forward, 60);
    watched.run(12.0);
    assert!(watched.corner.table.covers(watched.corner.train("Plover"), watched.corner.section("quay-1")));
    assert_eq!(watched.broken(), []);
    let plover = watched.corner.train("Plover");
    assert!(!watched.corner.table.is_out_of_hand(plover, watched.corner.table.now()), "quay-1 reported it");
    watched.drive("Plover", Direction::Forward, 0);
    watched.run(5.0);
    watched.drive("Plover", Direction::Backward, 60);
    watched.run(20.0);
    assert_eq!(rules(&watched)[0], Rule::N4, "it backs into line-1, which it has not been granted");
}

#[test]
fn a_train_that_is_led_astray_to_where_another_stands_shows_itself_neither_there_nor_by_what_it_leaves() {
    let mut watched = a_turnout_that_claims_to_have_moved();
    watched.corner.put("Heron", &["quay-1"], "quay-1.a");
    watched.run(2.0);
    watched.corner.put("Plover", &["line-1"], "line-1.a");
    watched.grant("Plover", &["throat", "quay-2"]);
    watched.drive("Plover", Direction::Forward, 60);
    let (plover, quay, throat) =
        (watched.corner.train("Plover"), watched.corner.section("quay-1"), watched.corner.section("throat"));
    while watched.corner.table.covers(plover, throat) || !watched.corner.table.covers(plover, quay) {
        watched.run(0.1);
    }
    watched.drive("Plover", Direction::Forward, 0);
    watched.run(60.0);
    assert!(watched.corner.table.is_out_of_hand(plover, watched.corner.table.now()), "quay-1 was occupied before");
    assert_eq!(watched.broken(), []);
}

#[test]
fn a_signal_cannot_know_of_a_turnout_that_lies_about_itself_but_of_one_that_was_never_thrown() {
    let mut watched = a_turnout_that_claims_to_have_moved();
    watched.show("Q2", YELLOW);
    assert_eq!(watched.broken(), []);
    let mut watched = self::watched();
    watched.show("Q2", YELLOW);
    assert_eq!(rules(&watched), [Rule::N5]);
}

#[test]
fn a_train_that_was_pushed_is_not_charged_with_where_it_runs_until_it_has_passed_a_joint() {
    let mut watched = watched();
    watched.corner.put("Plover", &["quay-1"], "quay-1.b");
    let plover = watched.corner.train("Plover");
    assert!(watched.corner.table.push(plover, Direction::Forward, Length::from_mm(150), Speed::from_mm(100)));
    watched.run(5.0);
    assert_eq!(watched.broken(), [], "a hand moved it into the throat");
    watched.drive("Plover", Direction::Forward, 60);
    watched.run_out_of("Plover", "throat");
    watched.run(3.0);
    assert!(!watched.corner.table.is_out_of_hand(plover, watched.corner.table.now()));
    let before = watched.broken().len();
    watched.run(10.0);
    assert_eq!(watched.broken()[before..], [(Rule::N4, "Plover ran into line-2, which it had not been granted")]);
}

#[test]
fn a_held_train_that_runs_away_is_not_charged_and_one_that_stalled_is() {
    let mut watched = watched();
    watched.corner.put("Plover", &["quay-1"], "quay-1.b");
    let plover = watched.corner.train("Plover");
    watched.hold("Plover");
    watched.run(1.0);
    watched.corner.table.run_away(plover, Speed::from_mm(20), Duration::from_secs(1));
    watched.run(5.0);
    assert_eq!(watched.broken(), []);
    let mut watched = self::watched();
    watched.corner.put("Plover", &["quay-1"], "quay-1.b");
    watched.drive("Plover", Direction::Forward, 20);
    watched.corner.table.stall(plover, Duration::from_secs(5));
    watched.hold("Plover");
    watched.run(6.0);
    assert_eq!(watched.broken(), [(Rule::N6, "Plover moved while it was held")], "nobody told it to stand");
}

#[test]
fn a_turnout_thrown_under_a_wagon_that_nobody_could_see_is_not_charged_and_under_one_that_shows_is() {
    for (axles, broken) in [(Axles::Unseen, vec![]), (Axles::Seen, vec![Rule::N3])] {
        let mut watched = watched();
        put_wagon(&mut watched, "throat", "throat.toe", axles);
        watched.run(2.0);
        watched.throw("W1", Lie::Diverging);
        let charged: Vec<_> = rules(&watched).into_iter().filter(|rule| *rule == Rule::N3).collect();
        assert_eq!(charged, broken);
    }
}

#[test]
fn a_signal_cannot_know_of_a_wagon_that_nobody_could_see() {
    for (axles, broken) in [(Axles::Unseen, vec![]), (Axles::Seen, vec![Rule::N5])] {
        let mut watched = watched();
        watched.show("L2", YELLOW);
        put_wagon(&mut watched, "line-2", "line-2.b", axles);
        watched.run(2.0);
        assert_eq!(rules(&watched), broken);
    }
}

#[test]
fn a_train_that_was_driven_to_where_no_detector_sees_it_is_known_to_be_there() {
    let mut watched = watched();
    watched.corner.put("Heron", &["quay-1"], "quay-1.b");
    watched.grant("Heron", &["throat", "line-1"]);
    watched.drive("Heron", Direction::Forward, 40);
    while watched.corner.table.told_occupied_since(watched.corner.section("throat")).is_none() {
        watched.run(0.01);
    }
    while watched.corner.table.told_occupied_since(watched.corner.section("throat")).is_some() {
        watched.run(0.01);
    }
    assert!(watched.corner.table.covers(watched.corner.train("Heron"), watched.corner.section("throat")));
    watched.release("Heron", "throat");
    watched.grant("Plover", &["throat"]);
    assert_eq!(watched.broken(), [(Rule::N2, "Plover was granted throat, but Heron lies there")]);
}

#[test]
fn a_name_that_a_person_gave_wrongly_is_excused_for_that_train_until_it_is_put_right() {
    let mut watched = watched();
    watched.corner.put("Heron", &["quay-1"], "quay-1.b");
    let (heron, plover) = (watched.corner.train("Heron"), watched.corner.train("Plover"));
    let (quay_1, line_1) = (watched.corner.section("quay-1"), watched.corner.section("line-1"));
    let say = |watched: &mut Watched, section, train| {
        let request = Request::Identify { section, train };
        watched.checkers.overhear(&[Input::Requested { ticket: Ticket(1), request }], &watched.corner.table);
    };
    say(&mut watched, quay_1, plover);
    watched.tag("quay-1", Tag::Sure(plover));
    assert_eq!(watched.broken(), [], "somebody said so");
    watched.tag("line-1", Tag::Sure(heron));
    assert_eq!(rules(&watched), [Rule::N1], "nobody said that");
    watched.corner.put("Plover", &["line-1"], "line-1.b");
    say(&mut watched, line_1, plover);
    watched.run(1.0);
    assert_eq!(rules(&watched), [Rule::N1, Rule::N1], "it was put right");
}

#[test]
fn a_train_is_taken_for_another_that_came_in_while_it_was_there_and_no_report_tells_of() {
    for comes_while_it_is_there in [true, false] {
        let mut watched = watched();
        watched.corner.put("Plover", &["line-1"], "line-1.b");
        let plover = watched.corner.train("Plover");
        watched.run(1.0);
        let put_another = |watched: &mut Watched| put_wagon(watched, "line-1", "line-1.a", Axles::Seen);
        if comes_while_it_is_there {
            put_another(&mut watched);
        }
        watched.grant("Plover", &["line-2"]);
        watched.drive("Plover", Direction::Forward, 40);
        watched.run_out_of("Plover", "line-1");
        watched.run(5.0);
        if !comes_while_it_is_there {
            put_another(&mut watched);
            watched.run(1.0);
        }
        watched.tag("line-1", Tag::Sure(plover));
        assert_eq!(rules(&watched), if comes_while_it_is_there { vec![] } else { vec![Rule::N1] });
    }
}

#[test]
fn a_train_taken_off_where_no_detector_watches_is_not_charged_and_one_that_ran_out_of_there_is() {
    let with_sheds = corner_with(|builder| {
        let mut shed = |name| {
            let section = builder.section(name);
            let (a, b) = (builder.end(section, "a"), builder.end(section, "b"));
            builder.way(a, b, Some(Length::from_mm(600)));
            (a, b)
        };
        let (one, two) = (shed("shed-1"), shed("shed-2"));
        builder.join(one.1, two.0);
        builder.close(one.0, Beyond::BufferStop);
        builder.close(two.1, Beyond::BufferStop);
    });
    for is_taken_off in [true, false] {
        let mut watched = Watched::of(Corner::with(with_sheds.clone(), &Settings::seeded(1).repeating()));
        watched.corner.table.first_inputs(|| Ticket(0));
        watched.corner.put("Plover", &["shed-1"], "shed-1.b");
        let plover = watched.corner.train("Plover");
        watched.tag("shed-1", Tag::Sure(plover));
        watched.run(1.0);
        if is_taken_off {
            watched.corner.table.lift(plover);
        } else {
            watched.grant("Plover", &["shed-2"]);
            watched.drive("Plover", Direction::Forward, 80);
        }
        watched.run(3.0);
        assert_eq!(rules(&watched), if is_taken_off { vec![] } else { vec![Rule::N1] });
    }
}

#[test]
fn a_tail_that_parted_is_still_its_train_and_a_stranger_is_nobodys() {
    let mut watched = watched();
    watched.corner.put("Heron", &["quay-1", "throat"], "throat.toe");
    let heron = watched.corner.train("Heron");
    let tail = watched.corner.table.part(heron, 1).unwrap();
    assert_eq!(watched.corner.table.belongs_to(tail), Some(heron));
    watched.grant("Heron", &["throat", "line-1", "line-2"]);
    watched.drive("Heron", Direction::Forward, 60);
    watched.run(10.0);
    watched.tag("quay-1", Tag::Sure(heron));
    watched.run(1.0);
    assert_eq!(watched.broken(), []);
    put_wagon(&mut watched, "quay-2", "quay-2.b", Axles::Seen);
    watched.tag("quay-2", Tag::Sure(heron));
    let sentence = "Heron is said for sure to be in quay-2, where a wagon that nobody knows of stands";
    assert_eq!(watched.broken(), [(Rule::N1, sentence)]);
}

#[test]
fn wrong_claims_are_counted_with_the_faults_that_explain_them() {
    let mut watched = watched();
    watched.corner.put("Heron", &["quay-1"], "quay-1.b");
    let (heron, plover) = (watched.corner.train("Heron"), watched.corner.train("Plover"));
    watched.corner.put("Plover", &["line-2"], "line-2.a");
    // The first reports are no news any more.
    watched.run(5.0);
    assert!(watched.corner.table.push(plover, Direction::Backward, Length::from_mm(50), Speed::from_mm(100)));
    watched.tag("quay-1", Tag::Sure(heron));
    watched.tag("line-1", Tag::Sure(plover));
    watched.run(1.0);
    watched.tag("throat", Tag::Sure(heron));
    let claims = watched.checkers.claims();
    assert_eq!((claims.made, claims.wrong.len()), (3, 2));
    assert_eq!(claims.wrong[0].explained_by, [Fault::Pushed], "Plover was pushed");
    assert_eq!(claims.wrong[1].explained_by, [] as [Fault; 0], "nothing befell Heron");
}
