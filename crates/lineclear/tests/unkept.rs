//! A register that cannot be written, or cannot be made: the trains stop or run on, as was chosen, and people are told.

#![cfg(test)]
#![cfg(unix)]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn folder(name: &str) -> PathBuf {
    let path = std::env::temp_dir().join(format!("lineclear-unkept-{}-{name}", std::process::id()));
    let _ = std::fs::remove_dir_all(&path);
    std::fs::create_dir_all(&path).unwrap();
    path
}

/// Half an hour of the demo, with files that can grow to so many kilobytes and no further: a full disk.
fn run(state: &Path, kilobytes: u32, more: &[&str]) -> Output {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout");
    let script = format!("ulimit -f {kilobytes} && trap '' XFSZ && exec \"$@\"");
    Command::new("bash")
        .args(["-c", &script, "bash", env!("CARGO_BIN_EXE_lineclear"), "run"])
        .arg(demo)
        .args(["--plain", "--pace", "fast", "--for", "30m", "--state"])
        .arg(state)
        .args(more)
        .output()
        .unwrap()
}

#[test]
fn every_train_stops_when_the_disk_is_full() {
    let state = folder("full");
    let ran = run(&state, 600, &[]);
    let said = String::from_utf8_lossy(&ran.stdout);
    let (before, after) = said.split_once("what happens is not kept any more: ").expect("it was not told");
    assert!(before.contains("Heron departs"), "{before}");
    assert!(after.contains("steps are not in the register; every train is stopped"), "{after}");
    assert!(after.contains("Heron is held: everything was stopped"), "{after}");
    assert!(!after.contains(" departs for "), "{after}");
    std::fs::remove_dir_all(state).unwrap();
}

#[test]
fn trains_run_on_over_a_full_disk_if_that_was_chosen() {
    let state = folder("run-on");
    let ran = run(&state, 600, &["--unkept", "run-on"]);
    let said = String::from_utf8_lossy(&ran.stdout);
    let (_, after) = said.split_once("what happens is not kept any more: ").expect("it was not told");
    assert!(after.contains("the trains run on"), "{after}");
    assert!(after.contains(" departs for ") && !after.contains("everything was stopped"), "{after}");
    std::fs::remove_dir_all(state).unwrap();
}

#[test]
fn no_train_moves_where_a_register_was_wanted_and_there_can_be_none() {
    let state = folder("file").join("in the way");
    std::fs::write(&state, "no folder").unwrap();
    let ran = run(&state, 600_000, &[]);
    assert_eq!(ran.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&ran.stderr).contains("error: "));
    assert!(!String::from_utf8_lossy(&ran.stdout).contains("departs"));
    std::fs::remove_dir_all(state.parent().unwrap()).unwrap();
}
