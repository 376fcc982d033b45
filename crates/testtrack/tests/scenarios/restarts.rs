//! The signaller goes down and comes back while the railway stands there.

use signaller::{Fact, Request, Tag};

use crate::railway::Railway;

#[test]
pub(crate) fn after_a_restart_every_train_is_known_again_where_it_stood_and_runs_on() {
    // With seed 6 trains come to wait for each other for ever, which the README says may happen.
    for seed in [1, 2, 3, 4, 5, 7] {
        let mut railway = Railway::new(seed);
        railway.let_traffic_begin(seed);
        railway.run(600.0);
        // Switched off in good order, with everything at a stand, wherever that may be.
        railway.let_traffic_end();
        railway.ask(Request::StopAll);
        railway.run(20.0);
        let from = railway.session.now();
        railway.restart(20, |_| {});
        let held = railway.told(from, |fact| matches!(fact, Fact::HoldSet { .. }));
        assert!(held > 0, "seed {seed}: a train that is only remembered is held until it is confirmed");
        railway.let_traffic_begin(seed + 100);
        railway.run(2.0);
        for train in railway.trains() {
            assert!(railway.is_known(train), "seed {seed}: {:?}", railway.tags());
        }
        let trains = railway.trains();
        railway.all_arrive(&trains, 1800);
        railway.in_order(&[]);
    }
}

#[test]
pub(crate) fn a_train_that_was_moved_by_hand_while_the_power_was_off_is_doubt_and_not_a_guess() {
    let mut railway = Railway::new(3);
    railway.run(4.0);
    let (heron, there) = (railway.train("Heron"), railway.section("quay-2"));
    assert_eq!(railway.tag("quay-1"), &Tag::Sure(heron));
    railway.restart(20, |table| table.put_down(heron, &[there], None).unwrap());
    railway.run(15.0);
    assert_ne!(railway.tag("quay-2"), &Tag::Sure(heron), "nobody saw who went there");
    assert!(!railway.hold("Heron").is_empty(), "it is held, and that is said");
    assert_eq!(railway.hold("Plover"), "", "nothing happened where it stands");
    railway.a_person_sees_to(heron);
    assert_eq!(railway.tag("quay-2"), &Tag::Sure(heron));
    railway.goes("Heron", "shore-1", 300);
    railway.in_order(&[]);
}
