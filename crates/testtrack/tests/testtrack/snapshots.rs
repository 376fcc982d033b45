//! A signaller that is taken down in a snapshot, and the one restored from it that goes on instead.

use std::sync::Arc;
use std::time::Duration;

use signaller::{Conduct, Digest, Signaller, Time};
use testtrack::network::{self, Fixture};
use testtrack::{Faults, Meddling, Recording, Session, Settings, Traffic};
use track::Layout;

/// Traffic on a layout for some minutes, and somebody who meddles.
fn run(layout: &Arc<Layout>, seed: u64, faults: Faults, minutes: u64) -> (Recording, Digest) {
    let settings = Settings { faults, ..Settings::seeded(seed).repeating() };
    let mut session = Session::new(Arc::clone(layout), &settings).unwrap();
    let (mut traffic, mut meddling) = (Traffic::new(layout, seed), Meddling::new(layout, seed));
    let mut recording = Recording::default();
    session.run_until(Time::ZERO + Duration::from_secs(60 * minutes), &mut |moment, desk| {
        recording.hear(moment.now, moment.inputs);
        traffic.hear(moment, desk);
        meddling.hear(moment, desk);
    });
    (recording, session.digest())
}

#[test]
fn trains_do_the_same_under_a_signaller_that_is_restored_before_every_step() {
    for (fixture, faults) in
        Fixture::ALL.into_iter().zip([Faults::NONE, Faults::mild(), Faults::harsh()].into_iter().cycle())
    {
        let layout = Arc::new(fixture.layout());
        let (recording, digest) = run(&layout, 4, faults, 1);
        assert!(recording.len() > 50, "{}: only {} steps", fixture.name(), recording.len());
        assert_eq!(recording.replay_over_snapshots(&layout, 1), Ok(digest), "{}", fixture.name());
    }
}

#[test]
fn trains_on_drawn_networks_do_the_same_under_a_signaller_that_is_restored_at_many_moments() {
    for seed in 1..=8 {
        let layout = Arc::new(network::drawn(seed));
        let faults = if seed % 2 == 0 { Faults::mild() } else { Faults::harsh() };
        let (recording, digest) = run(&layout, seed, faults, 6);
        let every = recording.len().div_ceil(60);
        assert_eq!(recording.replay_over_snapshots(&layout, every), Ok(digest), "seed {seed}");
    }
}

#[test]
fn a_signaller_that_begins_anew_instead_does_not_do_the_same() {
    let layout = Arc::new(Fixture::PassingLoop.layout());
    let (recording, digest) = run(&layout, 4, Faults::NONE, 2);
    let mut again = Digest::new();
    let mut signaller = Signaller::new(Arc::clone(&layout), Conduct::Control);
    for (place, (now, inputs)) in recording.steps().enumerate() {
        if place == recording.len() / 2 {
            signaller = Signaller::new(Arc::clone(&layout), Conduct::Control);
        }
        again.add(&now);
        again.add(&inputs);
        again.add(&signaller.step(now, inputs).outputs);
    }
    assert_ne!(again, digest);
}
