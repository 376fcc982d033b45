//! A writer that is killed at any moment leaves everything behind that it said was durable.

use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};
use std::sync::Arc;

use register::{After, Ending, Opened, Origin, Register, Settings, Span};

use super::scene::{Dice, beginning};
use super::{ALL, folder, reader, replay};

/// How many times the writer is killed; the environment variable `LINECLEAR_KILLS` says otherwise.
const KILLS: usize = 20;

#[test]
fn no_step_of_a_train_that_was_said_to_be_durable_is_missing_after_a_kill() {
    let kills = std::env::var("LINECLEAR_KILLS").ok().and_then(|text| text.parse().ok()).unwrap_or(KILLS);
    let seed = std::env::var("LINECLEAR_SEED").ok().and_then(|text| text.parse().ok()).unwrap_or(1);
    println!("LINECLEAR_SEED={seed} LINECLEAR_KILLS={kills}");
    let mut dice = Dice::new(seed);
    let (mut kept, mut beyond) = (0, 0);
    for kill in 0..kills {
        let folder = folder("killed");
        let mut writer = Command::new(env!("CARGO_BIN_EXE_scribe"))
            .args([folder.to_str().unwrap(), &(seed + kill as u64).to_string(), "1000000000"])
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(writer.stdout.take().unwrap()).lines().map(Result::unwrap);
        // So many commits it is let, and then it is ended in the middle of whatever it does.
        let last = lines.by_ref().take(1 + dice.below(40)).last().expect("the writer says nothing");
        writer.kill().unwrap();
        // What it said before it was ended counts, too. A last line may be cut off in the middle: then it was not said.
        let last = lines.filter(|line| line.len() >= last.len()).last().unwrap_or(last);
        writer.wait().unwrap();
        let acknowledged: u64 = last.parse().unwrap();

        let Opened { register, told, .. } = Register::open(&folder, Settings::default()).unwrap();
        assert!(told.is_empty(), "kill {kill}: {told:?}");
        register.close();
        let reader = reader(&folder);
        let (shift, replayed) = replay(&reader);
        let (first, durable) = shift.steps.unwrap();
        assert_eq!((first, shift.ending), (1, Ending::Lost), "kill {kill}");
        assert!(durable >= acknowledged, "kill {kill}: {acknowledged} was durable, and {durable} is the last");
        assert_eq!((replayed.run, replayed.differing), (durable, 0), "kill {kill}: {:?}", replayed.first);
        kept += acknowledged;
        beyond += durable - acknowledged;
        std::fs::remove_dir_all(folder).unwrap();
    }
    println!("{kills} kills: {kept} steps were said to be durable, and are; {beyond} more are there");
}

#[test]
fn what_went_on_when_the_writer_was_killed_ends_with_its_last_step() {
    let folder = folder("lost");
    let mut register = super::open(&folder, Settings::default());
    let mut traffic = super::scene::Traffic::new(9);
    register.begin_shift(beginning(&traffic.layout, Origin::Afresh));
    for _ in 0..100 {
        register.record(traffic.step()).unwrap();
    }
    register.wait_until_durable(100);
    // A copy of what is on the disk now is what a kill leaves.
    let copy = super::folder("lost-copy");
    for entry in std::fs::read_dir(&folder).unwrap() {
        let entry = entry.unwrap();
        std::fs::copy(entry.path(), copy.join(entry.file_name())).unwrap();
    }
    register.close();
    super::open(&copy, Settings::default()).close();
    let db = rusqlite::Connection::open(copy.join(register::FILE)).unwrap();
    let count = |sql: &str| db.query_row(sql, [], |row| row.get::<_, i64>(0)).unwrap();
    assert!(count("SELECT count(*) FROM stand") > 0);
    assert_eq!(count("SELECT count(*) FROM stand WHERE until IS NULL"), 0);
    let last = traffic.now().nanos();
    assert_eq!(count("SELECT max(until) FROM stand"), last);
    let reader = reader(&copy);
    let shift = reader.shift(None).unwrap().unwrap();
    assert_eq!((shift.ending, shift.last_at), (Ending::Lost, traffic.now()));
    let span = Span { after_difference: After::End, ..ALL };
    assert_eq!(reader.replay(&shift, &Arc::new(super::scene::layout()), span, None).unwrap().differing, 0);
    std::fs::remove_dir_all(folder).unwrap();
    std::fs::remove_dir_all(copy).unwrap();
}
