//! A register does not grow beyond its bound, and keeps what is newest.

use std::path::Path;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use register::{FILE, Health, Origin, ReplayError, Settings};

use super::scene::{Traffic, beginning, layout};
use super::{ALL, folder, open, reader};

const BOUND: u64 = 2 << 20;
/// SQLite's log beside the file, and pages that are free and kept to spare.
const BESIDE: u64 = (9 << 20) + (2 << 20);

fn bytes(folder: &Path) -> u64 {
    std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().metadata().unwrap().len()).sum()
}

fn settings() -> Settings {
    Settings { most_bytes: BOUND, ..Settings::default() }
}

#[test]
fn the_file_stays_within_its_bound_while_trains_run_on_and_on() {
    let folder = folder("bound");
    let mut register = open(&folder, settings());
    let mut traffic = Traffic::new(1);
    let (mut most, mut number) = (0, 0);
    // A shift of a few thousand steps after the other: each can be run again as long as all of it is there.
    for _ in 0..12 {
        traffic = Traffic::new(number + 1);
        register.begin_shift(beginning(&traffic.layout, Origin::Afresh));
        for _ in 0..3_000 {
            number = register.record(traffic.step()).unwrap();
            register.keep_up(traffic.now(), &traffic.signaller);
            if number % 500 == 0 {
                assert_eq!(register.wait_until_durable(number).health, Health::Good);
                most = most.max(bytes(&folder));
            }
        }
    }
    assert_eq!(register.close().health, Health::Good);
    println!("{number} steps: {most} bytes at most, {} in the end; {} are the bound", bytes(&folder), BOUND);
    assert!(most <= BOUND + BESIDE, "{most} bytes");
    assert!(bytes(&folder) <= BOUND + (2 << 20), "{} bytes in the end", bytes(&folder));
    let reader = reader(&folder);
    let shifts = reader.shifts().unwrap();
    let last = shifts.last().unwrap();
    assert_eq!(last.steps.unwrap().1, number, "the newest step is there");
    assert!(shifts[0].steps.is_none_or(|(first, _)| first > shifts[0].first_step), "the oldest are gone");
    let whole: Vec<_> =
        shifts.iter().filter(|shift| shift.steps.is_some_and(|(first, _)| first == shift.first_step)).collect();
    assert!(!whole.is_empty(), "no shift is whole");
    for shift in whole {
        let replayed = reader.replay(shift, &std::sync::Arc::new(layout()), ALL, None).unwrap();
        assert_eq!((replayed.run, replayed.differing), (3_000, 0), "shift {}", shift.id);
    }
    drop(traffic);
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn a_shift_that_outgrows_the_bound_loses_its_beginning_and_says_so() {
    let folder = folder("outgrown");
    let mut register = open(&folder, settings());
    let mut traffic = Traffic::new(2);
    register.begin_shift(beginning(&traffic.layout, Origin::Afresh));
    let mut number = 0;
    for _ in 0..30_000 {
        number = register.record(traffic.step()).unwrap();
        if number % 1_000 == 0 {
            register.wait_until_durable(number);
        }
        // Nobody takes snapshots at first; and then one.
        if number == 29_000 {
            register.snapshot(traffic.now(), number.to_le_bytes().to_vec());
        }
    }
    register.close();
    let reader = reader(&folder);
    let shift = reader.shift(None).unwrap().unwrap();
    let layout = std::sync::Arc::new(layout());
    let refused = reader.replay(&shift, &layout, ALL, None).unwrap_err();
    assert!(matches!(refused, ReplayError::NoBeginning { first: 1, first_kept: Some(2..) }), "{refused:?}");
    let restore = |_: &[u8], _: &std::sync::Arc<track::Layout>| {
        let mut traffic = Traffic::new(2);
        (0..29_000).for_each(|_| drop(traffic.step()));
        Ok(traffic.signaller)
    };
    let replayed = reader.replay(&shift, &layout, ALL, Some(&restore)).unwrap();
    assert_eq!((replayed.began_after, replayed.run, replayed.differing), (Some(29_000), number - 29_000, 0));
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn steps_and_facts_of_trains_that_are_too_old_go_each_by_its_own_age() {
    let folder = folder("age");
    let long_ago = UNIX_EPOCH + Duration::from_secs(1_000_000_000);
    let long = Duration::from_secs(100 * 365 * 86_400);
    let run = |steps: usize, began: SystemTime, keep_facts: Duration| {
        let mut register = open(&folder, Settings { keep_facts, ..Settings::default() });
        let mut traffic = Traffic::new(2);
        traffic.began = began;
        register.begin_shift(beginning(&traffic.layout, Origin::Afresh));
        // The writer looks for what is old when it has written, and as long as there is more.
        for at in 0..steps {
            let number = register.record(traffic.step()).unwrap();
            if at % 20 == 0 {
                register.wait_until_durable(number);
            }
        }
        assert_eq!(register.close().health, Health::Good);
    };
    run(500, long_ago, long);
    let count = |table: &str| -> i64 {
        let db = rusqlite::Connection::open(folder.join(FILE)).unwrap();
        db.query_row(&format!("SELECT count(*) FROM {table}"), [], |row| row.get(0)).unwrap()
    };
    let facts = count("wish");
    assert!(facts > 40, "only {facts} facts");
    assert_eq!(count("step"), 500);
    // The steps are of a shift that is over: they can go as soon as another has begun.
    run(40, SystemTime::now(), long);
    assert_eq!(count("step"), 40);
    assert!(count("wish WHERE shift = 1") == facts && count("shift") == 2, "the facts stay");
    run(40, SystemTime::now(), Duration::from_secs(86_400));
    assert_eq!(count("step"), 80);
    assert_eq!((count("wish WHERE shift = 1"), count("wish WHERE shift = 2") > 0), (0, true));
    std::fs::remove_dir_all(folder).unwrap();
}
