//! Low Staithe at work: what ships with the program must run, and run well.

use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};

use crate::program::{Ran, lineclear, program, root};

/// The demonstration layout for a while of layout time, as fast as it goes.
fn run(span: &str, seed: &str) -> Ran {
    let demo = root().join("demo-layout");
    lineclear(&["run", demo.to_str().unwrap(), "--for", span, "--pace", "fast", "--seed", seed, "--plain"], b"")
}

/// The value of a row of the summary.
fn row<'a>(ran: &'a Ran, label: &str) -> &'a str {
    let found = ran.output.lines().find_map(|line| line.strip_prefix("  ")?.strip_prefix(label));
    found.unwrap_or_else(|| panic!("no `{label}` in:\n{}\n{}", ran.output, ran.complaints)).trim()
}

#[test]
fn the_demonstration_layout_has_no_mistakes() {
    let ran = lineclear(&["check", root().join("demo-layout").to_str().unwrap()], b"");
    assert_eq!(ran.status, Some(0), "{}{}", ran.output, ran.complaints);
}

#[test]
fn every_train_of_the_demonstration_travels_and_no_rule_is_broken() {
    for seed in ["1", "2", "3"] {
        let ran = run("30m", seed);
        assert_eq!(ran.status, Some(0), "seed {seed}:\n{}\n{}", ran.output, ran.complaints);
        assert_eq!(row(&ran, "violations"), "none", "seed {seed}");
        assert_eq!(row(&ran, "scripts"), "none failed", "seed {seed}");
        for train in row(&ran, "trips").split(", ") {
            let (name, trips) = train.rsplit_once(' ').unwrap();
            assert!(trips.parse::<u32>().unwrap() > 0, "{name} never arrived with seed {seed}:\n{}", ran.output);
        }
        println!("seed {seed}: trips {}; stops {}", row(&ran, "trips"), row(&ran, "stops"));
    }
}

#[test]
fn the_same_seed_gives_the_same_run() {
    let told = |ran: Ran| -> Vec<String> {
        ran.output.lines().filter(|line| !line.contains("real time")).map(str::to_owned).collect()
    };
    let (once, again, other) = (told(run("10m", "7")), told(run("10m", "7")), told(run("10m", "8")));
    assert!(once.len() > 10, "nothing happened:\n{}", once.join("\n"));
    assert_eq!(once, again);
    assert_ne!(once, other, "the seed decides nothing");
}

#[test]
fn an_interrupt_stops_every_train_before_the_run_ends() {
    let demo = root().join("demo-layout");
    let mut child = Command::new(program())
        .args(["run", demo.to_str().unwrap(), "--pace", "200", "--plain"])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map(Result::unwrap);
    assert!(lines.any(|line| line.contains("departs")), "no train departs");
    // The shell's own `kill` is there even where the program of that name is not.
    assert!(Command::new("bash").args(["-c", &format!("kill -INT {}", child.id())]).status().unwrap().success());
    let rest: Vec<String> = lines.collect();
    assert!(rest.iter().any(|line| line.contains("is held: everything was stopped")), "{}", rest.join("\n"));
    assert!(rest.iter().any(|line| line.contains("violations  none")), "{}", rest.join("\n"));
    let ended = child.wait_with_output().unwrap();
    assert_eq!(ended.status.code(), Some(0));
    let complaints = String::from_utf8(ended.stderr).unwrap();
    assert!(!complaints.contains("still moving"), "{complaints}");
    assert!(complaints.contains("emergency stop"), "the cautions are missing: {complaints}");
}

#[test]
fn a_newcomer_is_told_what_the_program_is_for() {
    let ran = lineclear(&["--help"], b"");
    assert!(ran.output.starts_with("Runs a model railway from what its section detectors say"), "{}", ran.output);
    let trace = lineclear(&["trace", "--help"], b"");
    for part in ["\"occupied\": true", "\"lies\": \"straight\"", "\"held\": true", "Exit status: 0"] {
        assert!(trace.output.contains(part), "no `{part}` in:\n{}", trace.output);
    }
}

#[test]
fn what_cannot_be_run_is_refused() {
    let demo = root().join("demo-layout");
    let demo = demo.to_str().unwrap();
    for arguments in [
        &["run", "no-such-layout"][..],
        &["run", demo, "--pace", "0"],
        &["run", demo, "--pace", "quick"],
        &["run", demo, "--for", "10"],
        &["run", demo, "--for", "-5m"],
        &["run", demo, "--seed", "x"],
        &["run", demo, "--log", "loud"],
    ] {
        let ran = lineclear(arguments, b"");
        assert_eq!((ran.status, ran.output.as_str()), (Some(2), ""), "{arguments:?}");
        assert!(
            !ran.complaints.is_empty() && !ran.complaints.contains("panicked"),
            "{arguments:?}: {}",
            ran.complaints
        );
    }
}

/// The demonstration layout with one other script, run for a while.
fn run_with(name: &str, script: &str) -> Ran {
    let folder = crate::program::scratch(name);
    for file in ["layout.toml", "trains.toml"] {
        std::fs::copy(root().join("demo-layout").join(file), folder.join(file)).unwrap();
    }
    std::fs::create_dir(folder.join("scripts")).unwrap();
    std::fs::write(folder.join("scripts/good.lua"), "task(\"out\", function() send(\"Heron\", \"loop-1\") end)\n")
        .unwrap();
    std::fs::write(folder.join("scripts/bad.lua"), script).unwrap();
    lineclear(&["run", folder.to_str().unwrap(), "--for", "3m", "--pace", "fast", "--plain"], b"")
}

#[test]
fn a_script_with_a_mistake_is_told_with_its_line_and_the_others_run() {
    let ran = run_with("script-mistake", "\nsend(\"Heron\", \n");
    assert_eq!(ran.status, Some(2), "{}\n{}", ran.output, ran.complaints);
    assert!(ran.complaints.contains("error: scripts/bad.lua:"), "{}", ran.complaints);
    assert_eq!(row(&ran, "scripts"), "0 failed, 1 left out because of errors");
    assert!(ran.output.contains("Heron arrives at loop-1"), "{}", ran.output);
}

#[test]
fn a_script_that_fails_on_the_way_shows_in_the_exit_status_and_the_others_run() {
    let ran = run_with("script-failure", "task(\"late\", function() wait(5) error(\"no steam\") end)\n");
    assert_eq!(ran.status, Some(1), "{}\n{}", ran.output, ran.complaints);
    assert!(ran.output.contains("no steam"), "{}", ran.output);
    assert_eq!(row(&ran, "scripts"), "1 failed");
    assert!(ran.output.contains("Heron arrives at loop-1"), "{}", ran.output);
}
