//! A long run as fast as the machine can: what it takes does not grow with how long it lasts, and all of it replays.
//!
//! `LINECLEAR_HOURS` says how many hours of layout time; without it two.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

use crate::program;

/// So much may be held at the most of what is bound by a number: 50,000 steps that wait are the most of it.
const BOUND_KIB: u64 = 16 * 1024;

/// The memory that a process holds, in KiB; nothing where the system does not say.
fn memory(process: u32) -> Option<u64> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"))?;
    line.trim().trim_end_matches(" kB").parse().ok()
}

/// The layout time that a line begins with, in seconds.
fn clock(line: &str) -> Option<f64> {
    let (clock, _) = line.split_once("  ")?;
    let parts: Option<Vec<f64>> = clock.split(':').map(|part| part.parse().ok()).collect();
    match parts?.as_slice() {
        [hours, minutes, seconds] => Some(hours * 3600.0 + minutes * 60.0 + seconds),
        _ => None,
    }
}

fn size(folder: &Path) -> u64 {
    std::fs::read_dir(folder).unwrap().map(|file| file.unwrap().metadata().unwrap().len()).sum()
}

#[test]
fn what_a_long_run_takes_does_not_grow_with_how_long_it_lasts() {
    let held = run_and_replay("day", &[]);
    // What is bound by a number grows up to that: lines, keys, pages of the register, steps that wait for the disk of a busy machine.
    if let [early, _, late] = held[..] {
        assert!(late <= early + early / 4 + BOUND_KIB, "it grew from {early} to {late} KiB");
    }
}

#[test]
fn evenings_by_the_timetable_replay_without_their_script() {
    let script = program::root().join("demo-layout/scripts/evening/evening.lua");
    run_and_replay("evenings", &["--script", script.to_str().unwrap()]);
}

/// Runs the demo, and then what was recorded of it, which knows no scripts: every step must give what it gave. Tells how much memory
/// the run held after an eighth, half and all of it.
fn run_and_replay(name: &str, more: &[&str]) -> Vec<u64> {
    let hours: u64 = std::env::var("LINECLEAR_HOURS").map_or(2, |hours| hours.parse().unwrap());
    let state = program::scratch(name);
    let demo = program::root().join("demo-layout");
    let span = format!("{hours}h");
    let began = Instant::now();
    let mut run = Command::new(program::program())
        .arg("run")
        .arg(demo)
        .args(["--plain", "--pace", "fast", "--for", &span])
        .args(more)
        .arg("--state")
        .arg(&state)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    // After an eighth, when everything that is made once has been; after half; and at the end.
    let (mut held, whole) = (Vec::new(), hours as f64 * 3600.0);
    let mut last = None;
    for line in BufReader::new(run.stdout.take().unwrap()).lines() {
        let line = line.unwrap();
        let Some(at) = clock(&line) else { continue };
        last = memory(run.id()).or(last);
        if held.len() < 2 && at >= [whole / 8.0, whole / 2.0][held.len()] {
            held.extend(last);
        }
    }
    held.extend(last);
    assert!(run.wait().unwrap().success(), "rules were broken, or a script failed");
    let (took, bytes) = (began.elapsed(), size(&state));
    println!("{hours} hours of layout time in {took:.1?}: {held:?} KiB of memory after an eighth, half and all of it");
    println!("the register takes {:.1} MB, {:.1} MB an hour", bytes as f64 / 1e6, bytes as f64 / 1e6 / hours as f64);
    assert!(bytes < 560 << 20, "the register is larger than it may be");
    let began = Instant::now();
    let replayed = program::lineclear(&["replay", state.to_str().unwrap(), "--until-difference"], b"");
    assert_eq!(replayed.status, Some(0), "{}{}", replayed.output, replayed.complaints);
    println!("replayed in {:.1?}: {}", began.elapsed(), replayed.output.lines().last().unwrap_or_default());
    held
}
