//! Turnouts that do not do what they were told, or do not say so.

use signaller::{Fact, Request};
use testtrack::{Fault, Misthrow};
use track::{Lie, TurnoutId};

use crate::railway::Railway;

/// The turnouts of the yard's east throat that lie against Dunlin, which stands in the second track.
const AGAINST_DUNLIN: [&str; 4] = ["W5", "W6", "W7", "W8"];

/// Dunlin is sent from the yard to the loop; something is wrong with the turnouts that are to be thrown for it.
fn dunlin_leaves_the_yard(misthrow: Misthrow, seed: u64) -> Railway {
    let mut railway = Railway::new(seed);
    for turnout in AGAINST_DUNLIN.map(|name| railway.turnout(name)) {
        railway.table().misthrow_next(turnout, misthrow);
    }
    railway.send("Dunlin", "loop-2");
    railway
}

/// What the signaller says of why Dunlin does not go.
fn waits_for(railway: &Railway) -> String {
    let reasons = std::cell::RefCell::new(String::new());
    railway.told(signaller::Time::ZERO, |fact| match fact {
        Fact::Waiting { reason, .. } | Fact::Suspected { because: reason, .. } => {
            reasons.borrow_mut().push_str(reason);
            true
        }
        _ => false,
    });
    reasons.into_inner()
}

#[test]
pub(crate) fn a_turnout_that_does_not_move_keeps_the_train_before_it_until_somebody_has_mended_it() {
    let mut railway = dunlin_leaves_the_yard(Misthrow::Stays, 1);
    for _ in 0..120 {
        // It is thrown again and again, and never moves.
        for turnout in AGAINST_DUNLIN.map(|name| railway.turnout(name)) {
            railway.table().misthrow_next(turnout, Misthrow::Stays);
        }
        railway.run(1.0);
    }
    let why = waits_for(&railway);
    assert!(railway.lies_in("Dunlin", "yard-2") && !railway.is_moving("Dunlin"), "it waits");
    assert!(AGAINST_DUNLIN.iter().any(|name| why.contains(name)), "it is said for which turnout: {why}");
    railway.session.heal();
    let dunlin = railway.train("Dunlin");
    railway.all_arrive(&[dunlin], 600);
    railway.in_order(&[Fault::TurnoutFails]);
}

#[test]
pub(crate) fn a_turnout_that_takes_five_times_as_long_only_costs_time() {
    let mut railway = dunlin_leaves_the_yard(Misthrow::Slow(5), 2);
    let dunlin = railway.train("Dunlin");
    railway.run(2.0);
    assert!(!railway.is_moving("Dunlin"), "it set off before its turnouts lay");
    railway.all_arrive(&[dunlin], 600);
    railway.in_order(&[Fault::TurnoutSlow]);
}

#[test]
pub(crate) fn a_turnout_that_says_nothing_is_not_run_over_until_it_speaks_again() {
    let mut railway = dunlin_leaves_the_yard(Misthrow::Mute, 3);
    railway.run(120.0);
    assert!(railway.is_all_in("Dunlin", "yard-2"), "it ran over a turnout of which nobody knows how it lies");
    railway.session.heal();
    let dunlin = railway.train("Dunlin");
    railway.all_arrive(&[dunlin], 600);
    railway.in_order(&[Fault::TurnoutMute]);
}

#[test]
pub(crate) fn a_turnout_that_moved_and_says_that_it_did_not_keeps_the_train_before_it() {
    let mut railway = dunlin_leaves_the_yard(Misthrow::MovesAndReportsThatItStayed, 4);
    railway.run(120.0);
    assert!(railway.is_all_in("Dunlin", "yard-2"), "it ran over a turnout that was said to lie wrong");
    railway.session.heal();
    let dunlin = railway.train("Dunlin");
    railway.all_arrive(&[dunlin], 600);
    railway.in_order(&[Fault::TurnoutReportsWrongly]);
}

/// Heron comes from the hill to the loop's west end; W3 was to lead Plover into the second track, and lies.
#[test]
pub(crate) fn a_train_that_a_lying_turnout_leads_into_the_wrong_track_is_found_there_and_nobody_runs_into_it() {
    let mut railway = Railway::new(5);
    let turnout: TurnoutId = railway.turnout("W3");
    railway.table().misthrow_next(turnout, Misthrow::StaysAndReportsThatItMoved);
    railway.ask(Request::Throw { turnout, lie: Lie::Diverging });
    railway.run(3.0);
    railway.send("Heron", "loop-2");
    railway.until("Heron was led astray", 600, |railway| railway.lies_in("Heron", "loop-1"));
    let heron = railway.train("Heron");
    assert!(railway.session.table().is_out_of_hand(heron, railway.session.now()));
    railway.run(30.0);
    assert!(!railway.is_moving("Heron"));
    assert!(!railway.is_given_away("loop-1", "Heron"), "{:?}", railway.tag("loop-1"));
    railway.send("Plover", "loop-1");
    railway.run(300.0);
    assert!(!railway.lies_in("Plover", "loop-1"));
    railway.session.heal();
    railway.a_person_sees_to(heron);
    railway.goes_with_help("Heron", "shore-1", 600);
    let thrown = railway.ask(Request::Throw { turnout, lie: Lie::Diverging });
    railway.run(3.0);
    assert_eq!(railway.refusal(thrown), None);
    railway.all_run_on(5, 1800);
    railway.in_order(&[Fault::TurnoutReportsWrongly]);
}
