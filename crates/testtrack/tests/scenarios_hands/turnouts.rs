//! Stories of turnouts that do not do what they were told, or do not say so.

use testtrack::Fault;

use crate::railway::{Railway, always};

/// Sends Dunlin from the yard to the shore, over turnouts that lie against it.
fn dunlin_leaves_the_yard(fault: Fault, seed: u64) -> Railway {
    let mut railway = Railway::under(seed, always(fault));
    railway.send("Dunlin", "harbour-2");
    railway
}

#[test]
fn a_turnout_that_does_not_move_keeps_the_train_before_it_until_somebody_has_mended_it() {
    let mut railway = dunlin_leaves_the_yard(Fault::TurnoutFails, 1);
    railway.run(300.0);
    assert!(railway.lies_in("Dunlin", "yard-2"), "it waits");
    railway.is_in_order();
    railway.session.heal();
    assert!(railway.run_until(20, |railway| railway.has_arrived("Dunlin")));
    railway.is_in_order();
}

#[test]
fn a_turnout_that_takes_its_time_only_costs_time() {
    let mut railway = dunlin_leaves_the_yard(Fault::TurnoutSlow, 2);
    assert!(railway.run_until(20, |railway| railway.has_arrived("Dunlin")));
    railway.is_in_order();
}

#[test]
fn a_turnout_that_says_nothing_is_not_run_over_until_it_speaks_again() {
    let mut railway = dunlin_leaves_the_yard(Fault::TurnoutMute, 3);
    railway.run(300.0);
    railway.is_in_order();
    railway.session.heal();
    assert!(railway.run_until(20, |railway| railway.has_arrived("Dunlin")));
    railway.is_in_order();
}

#[test]
fn a_train_that_a_lying_turnout_leads_astray_is_found_where_it_is() {
    let mut led_astray = 0;
    for seed in [4, 5] {
        let mut railway = dunlin_leaves_the_yard(Fault::TurnoutReportsWrongly, seed);
        railway.send("Heron", "loop-2");
        for _ in 0..300 {
            railway.run(1.0);
            let (table, now) = (railway.session.table(), railway.session.now());
            led_astray +=
                u32::from(["Dunlin", "Heron"].into_iter().any(|it| table.is_out_of_hand(railway.train(it), now)));
        }
        let broken = railway.session.violations();
        assert!(broken.is_empty(), "seed {seed}: {}", broken[0]);
    }
    assert!(led_astray > 0, "no turnout led any train astray");
}
