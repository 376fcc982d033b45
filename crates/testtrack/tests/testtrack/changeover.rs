//! A layout takes over from itself while trains run: nothing that holds may be lost by it, and nothing else may come of it.

use std::sync::Arc;
use std::time::Duration;

use testtrack::network::{self, Fixture};
use testtrack::{Faults, Session, Settings, Traffic};
use track::Layout;

/// Ten minutes of traffic, with a changeover every so many seconds; tells how many there were, and how many trips.
fn run(layout: &Arc<Layout>, seed: u64, faults: Faults, every: Option<u64>) -> (u32, u64) {
    let settings = Settings { faults, ..Settings::seeded(seed) };
    let mut session = Session::new(Arc::clone(layout), &settings).unwrap();
    let mut traffic = Traffic::new(layout, seed);
    let mut changeovers = 0;
    for second in 1..=600 {
        session.run_until(signaller::Time::ZERO + Duration::from_secs(second), &mut |moment, desk| {
            traffic.hear(moment, desk);
        });
        if every.is_none_or(|every| second % every != 0) || !session.desk().is_clear() {
            continue;
        }
        // Without power, and in a roll call, it is refused.
        if let Ok(changeover) = session.signaller().change_over(layout) {
            assert!(changeover.numbers.keeps_numbers && changeover.numbers.touched.is_empty());
            session.rebuild(layout, &settings, &changeover.numbers, changeover.signaller).unwrap();
            changeovers += 1;
        }
    }
    assert!(session.violations().is_empty(), "seed {seed}: {:?}", session.violations());
    (changeovers, session.statistics().trips)
}

#[test]
fn trains_run_on_while_their_layout_takes_over_from_itself_again_and_again() {
    for fixture in Fixture::ALL {
        let layout = Arc::new(fixture.layout());
        let (_, undisturbed) = run(&layout, 4, Faults::NONE, None);
        let (changeovers, trips) = run(&layout, 4, Faults::NONE, Some(7));
        assert!(changeovers > 40, "{}: only {changeovers} changeovers", fixture.name());
        // The first look at a signal comes a moment later, and lots fall otherwise.
        assert!(trips * 4 >= undisturbed * 3, "{}: {trips} trips, and {undisturbed} without", fixture.name());
    }
}

#[test]
fn trains_on_drawn_networks_come_to_no_harm_by_changeovers_while_things_go_wrong() {
    for seed in 1..=8 {
        let layout = Arc::new(network::drawn(seed));
        let faults = if seed % 2 == 0 { Faults::mild() } else { Faults::NONE };
        let (changeovers, trips) = run(&layout, seed, faults, Some(11));
        assert!(changeovers > 20 && trips > 0, "seed {seed}: {changeovers} changeovers, {trips} trips");
    }
}
