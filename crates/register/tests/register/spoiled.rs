//! Files that are damaged, disks that are full, folders that may not be written, registers of others.

use std::path::Path;

use register::{FILE, Health, OpenError, Opened, Origin, Reader, Register, ReplayError, Settings, TroubleKind};

use super::scene::{Dice, Traffic, beginning};
use super::{ALL, folder, open, reader, record, replay};

#[test]
fn a_damaged_file_is_moved_aside_as_it_is_and_trains_are_recorded_in_a_new_one() {
    let folder = folder("damaged");
    for seed in 1..=12 {
        record(&folder, seed, 120);
        let path = folder.join(FILE);
        let mut bytes = std::fs::read(&path).unwrap();
        let mut dice = Dice::new(seed);
        // A stretch of noise: over the head of the file, over the roots of its tables, or over all pages but the first.
        let (from, length) = [(0, 100), (100, 3_000), (4_096, bytes.len() - 4_096)][dice.below(3)];
        for byte in &mut bytes[from..from + length] {
            *byte = dice.below(256) as u8;
        }
        std::fs::write(&path, &bytes).unwrap();
        let Opened { register, before, told } = Register::open(&folder, Settings::default()).unwrap();
        let aside = folder.join(format!("{FILE}.aside-{seed}"));
        assert!(told[0].contains(&aside.display().to_string()), "seed {seed}: {told:?}");
        assert!(before.is_empty());
        assert_eq!(std::fs::read(&aside).unwrap(), bytes, "seed {seed}: it is as it was");
        register.close();
        assert_eq!(reader(&folder).shifts().unwrap(), []);
    }
    std::fs::remove_dir_all(folder).unwrap();
}

/// SQLite keeps no checksums, so not every byte that is wrong is found out at once. But nothing else may come of it than that it is
/// told, or a replay that differs, or values that nobody looks at.
#[test]
fn a_few_bytes_that_went_bad_are_told_or_found_out_or_of_no_matter_to_a_replay() {
    let folder = folder("bad-bytes");
    record(&folder, 1, 400);
    let path = folder.join(FILE);
    let good = std::fs::read(&path).unwrap();
    let mut outcomes = [0; 4];
    for seed in 1..=60 {
        let mut dice = Dice::new(seed);
        let mut bytes = good.clone();
        for _ in 0..=dice.below(6) {
            let place = dice.below(bytes.len());
            bytes[place] ^= 1 + dice.below(255) as u8;
        }
        std::fs::write(&path, &bytes).unwrap();
        let outcome = match Register::open(&folder, Settings::default()) {
            Ok(Opened { told, .. }) if !told.is_empty() => 0,
            Ok(_) => {
                let reader = reader(&folder);
                let shift = reader.shift(None).ok().flatten();
                let layout = std::sync::Arc::new(super::scene::layout());
                match shift.map(|shift| reader.replay(&shift, &layout, ALL, None)) {
                    None | Some(Err(_)) => 1,
                    Some(Ok(replayed)) if replayed.differing > 0 || replayed.run != 400 => 2,
                    Some(Ok(_)) => 3,
                }
            }
            Err(_) => 1,
        };
        outcomes[outcome] += 1;
        for entry in std::fs::read_dir(&folder).unwrap() {
            std::fs::remove_file(entry.unwrap().path()).unwrap();
        }
    }
    println!(
        "moved aside {}, cannot be read {}, differs {}, harmless {}",
        outcomes[0], outcomes[1], outcomes[2], outcomes[3]
    );
    assert!(outcomes[0] > 0 && outcomes[2] > 0, "{outcomes:?}");
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn a_log_that_was_half_written_ends_with_a_whole_step() {
    let folder = folder("half");
    let mut register = open(&folder, Settings::default());
    let mut traffic = Traffic::new(3);
    register.begin_shift(beginning(&traffic.layout, Origin::Afresh));
    for number in 1..=200 {
        register.record(traffic.step()).unwrap();
        if number % 10 == 0 {
            register.wait_until_durable(number);
        }
    }
    let wal = format!("{FILE}-wal");
    let (file, log) = (std::fs::read(folder.join(FILE)).unwrap(), std::fs::read(folder.join(&wal)).unwrap());
    assert!(log.len() > 20_000, "all of it is in the log: {} bytes", log.len());
    let mut dice = Dice::new(1);
    let mut ends = Vec::new();
    for cut in 0..25 {
        let copy = super::folder("half-copy");
        std::fs::write(copy.join(FILE), &file).unwrap();
        let mut log = log[..dice.below(log.len())].to_vec();
        if cut % 2 == 0 {
            // The last sector holds something else.
            let noise = log.len().saturating_sub(512);
            log[noise..].fill(0xA5);
        }
        std::fs::write(copy.join(&wal), log).unwrap();
        let Opened { register, told, .. } = Register::open(&copy, Settings::default()).unwrap();
        assert!(told.is_empty(), "cut {cut}: {told:?}");
        register.close();
        let reader = reader(&copy);
        if reader.shift(None).unwrap().is_some_and(|shift| shift.steps.is_some()) {
            let (shift, replayed) = replay(&reader);
            let (first, last) = shift.steps.unwrap();
            assert_eq!((first, last % 10, replayed.run, replayed.differing), (1, 0, last, 0), "cut {cut}");
            ends.push(last);
        }
        std::fs::remove_dir_all(copy).unwrap();
    }
    ends.sort_unstable();
    ends.dedup();
    assert!(ends.len() > 5, "the cuts are all alike: {ends:?}");
    register.close();
    std::fs::remove_dir_all(folder).unwrap();
}

/// A disk that is full is stood in for by SQLite's own limit on pages, which fails in the same way.
#[test]
fn on_a_full_disk_steps_wait_until_too_many_do_and_then_each_is_refused() {
    let folder = folder("full");
    let settings = Settings { most_pages: Some(64), most_waiting: 300, ..Settings::default() };
    let mut register = open(&folder, settings);
    let mut traffic = Traffic::new(4);
    register.begin_shift(beginning(&traffic.layout, Origin::Afresh));
    let mut refused = Vec::new();
    let mut full_at = None;
    for _ in 0..20_000 {
        let taken = register.record(traffic.step());
        if let Err(refusal) = taken {
            refused.push(refusal.number);
            if refused.len() == 100 {
                break;
            }
        } else if full_at.is_none() {
            let progress = register.wait_for_room();
            if let Health::Failing(trouble) = progress.health {
                assert_eq!(trouble.kind, TroubleKind::Full, "{trouble}");
                full_at = Some(progress.durable_up_to);
            }
        }
    }
    let full_at = full_at.expect("64 pages are never full");
    assert_eq!(refused.len(), 100);
    let progress = register.progress();
    assert_eq!((progress.durable_up_to, progress.waiting, progress.lost), (full_at, 300, 100));
    assert_eq!(refused[0], full_at + 301, "all that there was room for was taken");
    let closed = register.close();
    assert!(matches!(&closed.health, Health::Ended(trouble) if trouble.kind == TroubleKind::Full), "{closed:?}");

    // What was durable is there, and the register can be used again once there is room.
    let reader = reader(&folder);
    let (shift, replayed) = replay(&reader);
    assert_eq!((shift.steps, replayed.differing), (Some((1, full_at)), 0));
    record(&folder, 5, 50);
    assert_eq!(reader.shifts().unwrap().len(), 2);
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn steps_that_were_not_taken_are_a_gap_at_which_a_replay_ends() {
    let folder = folder("gap");
    let settings =
        Settings { most_waiting: 5, commit_every: std::time::Duration::from_secs(3_600), ..Settings::default() };
    let mut register = open(&folder, settings);
    let mut traffic = Traffic::new(4);
    register.begin_shift(beginning(&traffic.layout, Origin::Afresh));
    let taken: Vec<bool> = (0..9).map(|_| register.record(traffic.step()).is_ok()).collect();
    assert_eq!(taken, [true, true, true, true, true, false, false, false, false]);
    assert_eq!(register.wait_until_durable(5).durable_up_to, 5);
    assert_eq!(register.record(traffic.step()), Ok(10));
    register.close();
    let reader = reader(&folder);
    let shift = reader.shift(None).unwrap().unwrap();
    let Err(ReplayError::Missing { number, so_far }) =
        reader.replay(&shift, &std::sync::Arc::new(super::scene::layout()), ALL, None)
    else {
        panic!("a gap was not seen");
    };
    assert_eq!((number, so_far.run, so_far.differing), (6, 5, 0));
    let db = rusqlite::Connection::open(folder.join(FILE)).unwrap();
    let gap = db.query_row("SELECT first, last FROM gap", [], |row| Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?)));
    assert_eq!(gap.unwrap(), (6, 9));
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn a_folder_that_may_not_be_written_is_told_as_such() {
    // Not even the superuser makes folders there.
    let refused = Register::open(Path::new("/proc/lineclear"), Settings::default()).unwrap_err();
    assert!(matches!(refused, OpenError::Trouble(_)), "{refused:?}");
    let folder = folder("read-only");
    let file = folder.join("a file");
    std::fs::write(&file, "where a folder should be").unwrap();
    let refused = Register::open(&file, Settings::default()).unwrap_err();
    assert!(refused.to_string().starts_with("the register cannot be reached"), "{refused}");
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn a_register_that_another_process_writes_is_left_to_it() {
    let folder = folder("in-use");
    let register = open(&folder, Settings::default());
    let refused = Register::open(&folder, Settings::default()).unwrap_err();
    assert!(matches!(refused, OpenError::InUse(_)), "{refused:?}");
    register.close();
    open(&folder, Settings::default()).close();
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn a_register_of_a_newer_version_is_left_as_it_is() {
    let folder = folder("newer");
    record(&folder, 1, 10);
    let path = folder.join(FILE);
    let db = rusqlite::Connection::open(&path).unwrap();
    db.pragma_update(None, "journal_mode", "DELETE").unwrap();
    db.pragma_update(None, "user_version", 99).unwrap();
    drop(db);
    let before = std::fs::read(&path).unwrap();
    let refused = Register::open(&folder, Settings::default()).unwrap_err();
    assert!(matches!(refused, OpenError::Newer { found: 99, known: 2 }), "{refused:?}");
    assert!(refused.to_string().contains("version 99"), "{refused}");
    assert!(matches!(Reader::open(&path), Err(OpenError::Newer { .. })));
    assert_eq!(std::fs::read(&path).unwrap(), before);
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn a_file_of_another_program_is_no_register() {
    let folder = folder("foreign");
    let path = folder.join(FILE);
    let db = rusqlite::Connection::open(&path).unwrap();
    db.execute_batch("CREATE TABLE recipes (name TEXT); INSERT INTO recipes VALUES ('scones')").unwrap();
    drop(db);
    let bytes = std::fs::read(&path).unwrap();
    assert!(matches!(Reader::open(&path), Err(OpenError::Foreign(_))));
    let Opened { register, told, .. } = Register::open(&folder, Settings::default()).unwrap();
    assert!(told[0].contains("aside-1"), "{told:?}");
    register.close();
    assert_eq!(std::fs::read(folder.join(format!("{FILE}.aside-1"))).unwrap(), bytes);
    std::fs::write(&path, "no register at all").unwrap();
    assert!(matches!(Reader::open(&path), Err(OpenError::Foreign(_))));
    assert!(matches!(Reader::open(&folder.join("none")), Err(OpenError::Missing(_))));
    std::fs::remove_dir_all(folder).unwrap();
}
