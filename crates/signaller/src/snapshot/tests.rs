//! Snapshots that are read back, and others that are refused.

use std::sync::Arc;

use track::Layout;

use super::{MARK, RestoreError, sum};
use crate::model::{World, passing_loop};
use crate::{Conduct, Request, Signaller, Time};

/// Two trains under way.
fn world() -> World {
    let mut world = World::with_two_trains();
    world.go("Heron", "far east");
    world.go("Plover", "far west");
    assert!(world.run(60.0, |world| world.nose("Heron").0 != "w0"));
    world
}

fn refused(layout: &Arc<Layout>, bytes: &[u8]) -> RestoreError {
    Signaller::restore(Arc::clone(layout), bytes).expect_err("it was taken for a snapshot")
}

/// Where the state begins, and where the sum that stands before it.
fn head(snapshot: &[u8]) -> (usize, usize) {
    let version = usize::from(u16::from_le_bytes([snapshot[8], snapshot[9]]));
    let sum_at = MARK.len() + 2 + version + 8;
    (sum_at + 8, sum_at)
}

/// The same bytes with a sum that fits them.
fn summed(mut bytes: Vec<u8>) -> Vec<u8> {
    let (state, sum_at) = head(&bytes);
    let right = sum(&bytes[..sum_at], &bytes[state..]).to_le_bytes();
    bytes[sum_at..state].copy_from_slice(&right);
    bytes
}

#[test]
fn a_signaller_restored_while_trains_run_lets_them_run_on_and_arrive() {
    let mut world = world();
    let snapshot = world.signaller.snapshot();
    world.signaller = Signaller::restore(Arc::clone(&world.layout), &snapshot).unwrap();
    assert_eq!(world.signaller.snapshot(), snapshot);
    assert!(world.run(240.0, |world| world.has_arrived("Heron") && world.has_arrived("Plover")));
}

#[test]
fn what_trains_are_made_of_and_who_only_watches_is_kept() {
    let mut world = World::with_two_trains();
    let (heron, plover) = (world.train("Heron"), world.train("Plover"));
    world.ask(Request::Lift { train: plover });
    world.trains[plover] = None;
    assert!(!world.run(5.0, |_| false));
    world.ask(Request::Uncouple { train: heron, keep: 1, rest: plover });
    let restored = Signaller::restore(Arc::clone(&world.layout), &world.signaller.snapshot()).unwrap();
    let vehicles = |signaller: &Signaller, train| signaller.roster().train(train).unwrap().vehicles.clone();
    assert_eq!(vehicles(&restored, heron).len(), 1);
    assert_eq!(vehicles(&restored, plover), vehicles(&world.signaller, plover));
    let mut watching = Signaller::new(Arc::clone(&world.layout), Conduct::Observe).silent_of_doubts();
    watching.step(Time::ZERO, &[]);
    let restored = Signaller::restore(Arc::clone(&world.layout), &watching.snapshot()).unwrap();
    assert_eq!(restored.conduct(), Conduct::Observe);
    assert_eq!(restored.snapshot(), watching.snapshot());
}

#[test]
fn a_snapshot_of_which_any_end_is_missing_is_refused() {
    let world = world();
    let snapshot = world.signaller.snapshot();
    for length in 0..snapshot.len() {
        let why = refused(&world.layout, &snapshot[..length]);
        let expected = if length < MARK.len() { RestoreError::NoSnapshot } else { RestoreError::Damaged };
        assert_eq!(why, expected, "{length} of {} bytes", snapshot.len());
    }
    let longer = [&snapshot[..], &[0]].concat();
    assert_eq!(refused(&world.layout, &longer), RestoreError::Damaged);
    assert_eq!(refused(&world.layout, &summed(longer)), RestoreError::Damaged);
}

#[test]
fn a_snapshot_with_any_byte_changed_is_refused() {
    let world = world();
    let mut bytes = world.signaller.snapshot();
    for at in 0..bytes.len() {
        let change = 1 << (at % 8);
        bytes[at] ^= change;
        let expected = if at < MARK.len() { RestoreError::NoSnapshot } else { RestoreError::Damaged };
        assert_eq!(refused(&world.layout, &bytes), expected, "byte {at}");
        bytes[at] ^= change;
    }
}

#[test]
fn whatever_stands_where_the_state_should_is_refused_or_read_and_never_a_panic() {
    let world = world();
    let snapshot = world.signaller.snapshot();
    let (state, _) = head(&snapshot);
    let (mut refused, mut dice) = (0, 1_u64);
    for _ in 0..2_000 {
        let mut bytes = snapshot.clone();
        for _ in 0..4 {
            // xorshift, so that every run tries the same.
            dice ^= dice << 13;
            dice ^= dice >> 7;
            dice ^= dice << 17;
            let at = state + (dice >> 8) as usize % (bytes.len() - state);
            bytes[at] = dice as u8;
        }
        bytes.truncate(if dice.is_multiple_of(3) {
            state + (dice >> 16) as usize % (bytes.len() - state)
        } else {
            bytes.len()
        });
        if let Err(why) = Signaller::restore(Arc::clone(&world.layout), &summed(bytes)) {
            assert_eq!(why, RestoreError::Damaged);
            refused += 1;
        }
    }
    assert!(refused > 500, "only {refused} of 2000 were refused");
}

#[test]
fn a_snapshot_of_another_layout_is_refused() {
    let world = world();
    let mut other = passing_loop();
    other.sections.values_mut().next().unwrap().name = "w00".into();
    let why = refused(&Arc::new(other), &world.signaller.snapshot());
    assert_eq!(why, RestoreError::OtherLayout);
    assert_eq!(why.to_string(), "the snapshot was made on another layout, or before this one was changed");
}

#[test]
fn a_snapshot_of_another_version_is_refused_and_says_whose_it_is() {
    let world = world();
    let mut bytes = world.signaller.snapshot();
    bytes[MARK.len() + 2..MARK.len() + 7].copy_from_slice(b"9.8.7");
    let why = refused(&world.layout, &summed(bytes));
    let RestoreError::OtherVersion(version) = &why else { panic!("{why:?}") };
    assert!(version.starts_with("9.8.7+"), "{version}");
    let said = why.to_string();
    assert!(said.starts_with("the snapshot was made by version `9.8.7+") && said.contains("and this is `"), "{said}");
}
