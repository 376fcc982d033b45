//! The signaller goes down and comes back while the railway stands there.

use std::time::Duration;

use signaller::{Fact, Output, Request, Tag, Time};
use testtrack::{Session, Settings, Traffic};

use crate::closed_loop::low_staithe;

/// Runs the demo by lot for a while, and panics where a rule breaks.
fn run(session: &mut Session, traffic: &mut Traffic, seconds: i64) -> u64 {
    let (until, before) =
        (Time::from_millis(session.now().nanos() / 1_000_000 + seconds * 1000), session.statistics().trips);
    let now = session.now();
    session.desk().call_at(now);
    session.run_until(until, &mut |moment, desk| {
        if let Some(violation) = moment.violations.first() {
            panic!("{violation}");
        }
        traffic.hear(moment, desk);
    });
    session.statistics().trips - before
}

#[test]
fn after_a_restart_every_train_is_known_again_where_it_stood_and_runs_on() {
    let layout = low_staithe();
    for seed in 1..=8 {
        let mut session = Session::new(layout.clone(), &Settings::seeded(seed)).unwrap();
        let mut traffic = Traffic::new(&layout, seed);
        assert!(run(&mut session, &mut traffic, 600) > 0, "seed {seed}");
        // Switched off in good order, with everything at a stand, wherever that may be.
        session.desk().request(Request::StopAll);
        session.run_until(Time::from_millis(620_000), &mut |_, _| {});
        let mut held = 0;
        session.restart(Duration::from_secs(20), &mut |moment, _| {
            held = moment.outputs.iter().filter(|output| matches!(output, Output::Fact(Fact::HoldSet { .. }))).count();
        });
        assert!(held > 0, "seed {seed}: a train that is only remembered is held until it is confirmed");
        let mut traffic = Traffic::new(&layout, seed + 100);
        let trips = run(&mut session, &mut traffic, 900);
        let held: Vec<_> =
            layout.trains.ids().filter(|&train| session.signaller().interlock().is_held(train)).collect();
        assert!(trips > 0 && held.is_empty(), "seed {seed}: {trips} trips, {held:?} are held");
    }
}

#[test]
fn a_train_that_was_moved_by_hand_while_the_power_was_off_is_doubt_and_not_a_guess() {
    let layout = low_staithe();
    let (heron, there) = (layout.train_named("Heron").unwrap(), layout.section_named("quay-2").unwrap());
    let mut session = Session::new(layout.clone(), &Settings::seeded(3)).unwrap();
    session.run_until(Time::from_millis(5_000), &mut |_, _| {});
    assert_eq!(session.signaller().identity().tag(layout.section_named("quay-1").unwrap()), Tag::Sure(heron));
    session
        .restart_while(Duration::from_secs(20), &mut |_, _| {}, |table| table.put_down(heron, &[there], None).unwrap());
    session.run_until(Time::from_millis(40_000), &mut |_, _| {});
    assert!(session.violations().is_empty(), "{:?}", session.violations());
    assert_ne!(session.signaller().identity().tag(there), Tag::Sure(heron), "nobody saw who went there");
    assert!(session.signaller().interlock().is_held(heron));
    let plover = layout.train_named("Plover").unwrap();
    assert!(!session.signaller().interlock().is_held(plover), "nothing happened where it stands");
}
