//! What `lineclear run` learns of trains, and how `lineclear profile` shows it.

#![cfg(test)]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn lineclear(arguments: &[&str]) -> Output {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout");
    let (command, rest) = arguments.split_first().unwrap();
    Command::new(env!("CARGO_BIN_EXE_lineclear")).arg(command).arg(demo).args(rest).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn state(name: &str) -> (PathBuf, String) {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("profile-{name}"));
    let _ = std::fs::remove_dir_all(&folder);
    (folder.clone(), folder.display().to_string())
}

fn run(state: &str) -> Output {
    lineclear(&["run", "--for", "5m", "--pace", "fast", "--plain", "--seed", "3", "--state", state])
}

/// The bounds of one train in one direction at one step.
fn bounds(csv: &str, train: &str, direction: &str, step: &str) -> (f64, f64) {
    let line = csv.lines().find(|line| line.starts_with(&format!("{train},{direction},{step},"))).unwrap();
    let fields: Vec<&str> = line.split(',').collect();
    (fields[4].parse().unwrap(), fields[5].parse().unwrap())
}

#[test]
fn a_train_begins_the_next_run_with_what_it_learned_in_the_last() {
    let (folder, state) = state("next");
    assert_eq!(run(&state).status.code(), Some(0));
    let first = lineclear(&["profile", "--state", &state, "--csv"]);
    assert_eq!(first.status.code(), Some(0));
    let (least, most) = bounds(&text(&first.stdout), "Heron", "forward", "14");
    assert!(most - least < 20.0, "it learned next to nothing: {least} to {most}");
    let before = std::fs::read_to_string(folder.join("profiles.toml")).unwrap();
    // A run that is over before any train moves keeps what it began with, to the last digit.
    let again = lineclear(&["run", "--for", "0.001s", "--pace", "fast", "--plain", "--state", &state]);
    assert_eq!(again.status.code(), Some(0));
    assert_eq!(std::fs::read_to_string(folder.join("profiles.toml")).unwrap(), before);
    let fresh = lineclear(&["run", "--for", "0.001s", "--pace", "fast", "--plain", "--state", &state, "--fresh"]);
    assert!(text(&fresh.stderr).contains("profiles.toml.aside-1"), "{}", text(&fresh.stderr));
    assert_eq!(std::fs::read_to_string(folder.join("profiles.toml.aside-1")).unwrap(), before);
    let anew = text(&lineclear(&["profile", "--state", &state, "--csv"]).stdout);
    let (least_anew, most_anew) = bounds(&anew, "Heron", "forward", "14");
    assert!(most_anew - least_anew > 1.5 * (most - least), "nothing was learned yet: {least_anew} to {most_anew}");
}

#[test]
fn a_profile_is_shown_drawn_and_forgotten() {
    let (folder, state) = state("shown");
    let nothing = lineclear(&["profile", "--state", &state]);
    assert_eq!(nothing.status.code(), Some(2));
    assert!(text(&nothing.stderr).contains("nothing is kept"), "{}", text(&nothing.stderr));
    run(&state);
    let svg = folder.join("heron.svg").display().to_string();
    let shown = lineclear(&["profile", "Heron", "--state", &state, "--svg", &svg]);
    assert!(text(&shown.stdout).starts_with("Heron: speed at each step"), "{}", text(&shown.stdout));
    let drawn = std::fs::read_to_string(&svg).unwrap();
    assert!(drawn.starts_with("<svg ") && drawn.ends_with("</svg>\n") && drawn.matches("<polygon").count() == 2);
    assert_eq!(lineclear(&["profile", "--state", &state, "--reset", "Heron"]).status.code(), Some(0));
    let gone = lineclear(&["profile", "Heron", "--state", &state]);
    assert_eq!(gone.status.code(), Some(2));
    assert!(text(&gone.stderr).contains("something is kept of `Plover`"), "{}", text(&gone.stderr));
}

#[test]
fn a_measuring_run_teaches_how_fast_a_train_is_both_ways() {
    let (folder, state) = state("measured");
    let measured = lineclear(&["measure", "Heron", "--steps", "2", "--state", &state]);
    let told = text(&measured.stdout);
    assert_eq!(measured.status.code(), Some(0), "{told}");
    assert!(told.contains("pass 4 of 4, at step 28") && told.contains("all passes are done"), "{told}");
    let csv = text(&lineclear(&["profile", "Heron", "--state", &state, "--csv"]).stdout);
    for direction in ["forward", "backward"] {
        let (least, most) = bounds(&csv, "Heron", direction, "14");
        // 10 % either way, all of it as likely, would be 41 mm/s apart.
        assert!(most - least < 25.0, "{direction}: {least} to {most}");
    }
    assert!(folder.join("profiles.toml").exists());
    let nobody = lineclear(&["measure", "Nobody"]);
    assert_eq!(nobody.status.code(), Some(2));
}

#[test]
fn a_file_that_cannot_be_understood_is_never_written_over() {
    let (folder, state) = state("damaged");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("profiles.toml"), "version = 99\n").unwrap();
    let shown = lineclear(&["profile", "--state", &state]);
    assert!(text(&shown.stderr).contains("version 99"), "{}", text(&shown.stderr));
    let ran = run(&state);
    assert!(text(&ran.stderr).contains("profiles.toml.aside-1"), "{}", text(&ran.stderr));
    assert_eq!(std::fs::read_to_string(folder.join("profiles.toml.aside-1")).unwrap(), "version = 99\n");
}
