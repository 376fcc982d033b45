//! Whatever is fed to the program, it says what is wrong and where, and never falls over.

use std::io::Write;
use std::path::PathBuf;
use std::process::Command;

use crate::program::{Ran, finish, lineclear, program, scratch, start};

const TRACK: &str = r#"
[layout]
name = "Low Staithe"
scale = "H0"

[[section]]
name = "quay-1"
length = 1450

[[section]]
name = "main-1"
length = 2000

[[section]]
name = "hill-1"
length = 2000

[[joint]]
ends = ["quay-1.b", "main-1.a"]

[[joint]]
ends = ["main-1.b", "hill-1.a"]

[[buffer-stop]]
at = "quay-1.a"

[[off-layout]]
at = "hill-1.b"
"#;

const GOOD: &str = r#"{"at": 1.0, "section": "quay-1", "occupied": true}
{"at": 1.0, "place": "Heron", "on": ["quay-1"]}
{"at": 12.5, "section": "main-1", "occupied": true}
{"at": 15.25, "section": "quay-1", "occupied": false}
"#;

fn layout(name: &str) -> PathBuf {
    let folder = scratch(name);
    std::fs::write(folder.join("layout.toml"), TRACK).unwrap();
    folder
}

fn trace(name: &str, arguments: &[&str], input: &[u8]) -> Ran {
    let folder = layout(name);
    let arguments: Vec<&str> = ["trace", folder.to_str().unwrap()].iter().chain(arguments).copied().collect();
    lineclear(&arguments, input)
}

/// Every line of output is one whole JSON object.
#[track_caller]
fn assert_whole(ran: &Ran) {
    assert!(ran.output.is_empty() || ran.output.ends_with('\n'), "half a line: {:?}", ran.output);
    for line in ran.output.lines() {
        serde_json::from_str::<serde_json::Map<String, serde_json::Value>>(line).unwrap();
    }
    assert!(!ran.complaints.contains("panicked"), "{}", ran.complaints);
}

#[test]
fn a_train_that_leaves_the_quay_is_named_all_the_way() {
    let ran = trace("named", &[], GOOD.as_bytes());
    assert_eq!((ran.status, ran.complaints.as_str()), (Some(0), ""));
    assert_whole(&ran);
    assert!(
        ran.output.contains(r#"{"at": 12.5, "section": "main-1", "train": "Heron", "sure": true}"#),
        "{}",
        ran.output
    );
    assert!(ran.output.contains(r#"{"at": 15.25, "section": "quay-1", "free": true}"#), "{}", ran.output);
}

#[test]
fn a_bad_line_ends_the_run_with_its_number_unless_told_to_go_on() {
    let tail = r#"{"at": 30.0, "section": "hill-1", "occupied": true}"#;
    let bad_lines = [
        ("garbage", "expected value"),
        (r#"{"at": 20.0, "section": "mian-1", "occupied": false}"#, "no section is named `mian-1`"),
        (r#"{"at": 14.0, "section": "main-1", "occupied": false}"#, "time goes back"),
        (r#"{"at": NaN, "section": "main-1", "occupied": false}"#, "column 8"),
        (r#"{"at": 1e300, "section": "main-1", "occupied": false}"#, "too far away"),
        (r#"{"at": 20.0, "at": 21.0, "section": "main-1", "occupied": false}"#, "twice"),
        (r#"{"at": 20.0, "place": "Plover", "on": ["quay-1", "hill-1"]}"#, "do not meet"),
        ("\u{1}\u{2}\u{3}", "expected value"),
    ];
    for (bad, words) in bad_lines {
        let input = format!("{GOOD}{bad}\n{tail}\n");
        let stopped = trace("stopped", &[], input.as_bytes());
        assert_whole(&stopped);
        assert_eq!(stopped.status, Some(2), "for {bad}");
        assert!(stopped.complaints.starts_with("error: line 5: "), "{}", stopped.complaints);
        assert!(stopped.complaints.contains(words), "`{words}` is not in: {}", stopped.complaints);
        assert!(!stopped.output.contains("hill-1"), "went on behind {bad}");
        let went_on = trace("stopped", &["--keep-going"], input.as_bytes());
        assert_whole(&went_on);
        assert_eq!(went_on.status, Some(0), "for {bad}");
        assert!(went_on.complaints.starts_with("error: line 5: "), "{}", went_on.complaints);
        assert!(went_on.output.contains("hill-1"), "did not go on behind {bad}: {}", went_on.output);
    }
}

#[test]
fn signals_are_told_where_that_is_asked_for() {
    let folder = layout("signals");
    let signal = "\n[[signal]]\nname = \"S1\"\nat = \"quay-1.b\"\n";
    std::fs::write(folder.join("layout.toml"), format!("{TRACK}{signal}")).unwrap();
    let input = format!("{GOOD}{}\n", r#"{"at": 20.0, "signal": "S1", "held": true}"#);
    let shown = |arguments: &[&str]| -> Vec<String> {
        let ran = lineclear(arguments, input.as_bytes());
        assert_whole(&ran);
        assert_eq!((ran.status, ran.complaints.as_str()), (Some(0), ""));
        ran.output.lines().filter(|line| line.contains("aspect")).map(str::to_owned).collect()
    };
    let folder = folder.to_str().unwrap();
    assert_eq!(shown(&["trace", folder]), Vec::<String>::new());
    let shown = shown(&["trace", folder, "--signals"]);
    assert!(!shown.is_empty() && shown.iter().all(|line| line.contains(r#""signal": "S1", "aspect": "#)), "{shown:?}");
}

#[test]
fn a_hundred_megabytes_without_a_line_end_are_refused_in_little_memory() {
    let folder = layout("endless");
    let mut limited = Command::new("bash");
    limited.args(["-c", r#"ulimit -v 150000; exec "$0" trace "$1" --keep-going"#]).arg(program()).arg(folder);
    let ran = finish(start(&mut limited), |mut pipe| {
        let piece = vec![b'x'; 1_000_000];
        for _ in 0..100 {
            pipe.write_all(&piece).unwrap();
        }
        pipe.write_all(format!("\n{GOOD}").as_bytes()).unwrap();
    });
    assert_whole(&ran);
    assert_eq!(ran.status, Some(0), "{}", ran.complaints);
    assert!(ran.complaints.starts_with("error: line 1: longer than"), "{}", ran.complaints);
    assert!(ran.output.contains("Heron"), "the lines behind it were lost: {}", ran.output);
}

#[test]
fn nobody_reading_the_output_ends_the_run_quietly() {
    let folder = layout("unread");
    let mut child = start(Command::new(program()).args(["trace", folder.to_str().unwrap()]));
    drop(child.stdout.take());
    let mut pipe = child.stdin.take().unwrap();
    // The program may be gone before all of it is written.
    let _ = pipe.write_all(GOOD.as_bytes());
    drop(pipe);
    let ended = child.wait_with_output().unwrap();
    assert_eq!(ended.status.code(), Some(0));
    assert_eq!(String::from_utf8_lossy(&ended.stderr), "");
}

#[test]
fn claims_of_an_instant_are_written_before_the_input_ends() {
    use std::io::{BufRead, BufReader};
    let folder = layout("streamed");
    let mut child = start(Command::new(program()).args(["trace", folder.to_str().unwrap()]));
    let mut pipe = child.stdin.take().unwrap();
    pipe.write_all(GOOD.as_bytes()).unwrap();
    pipe.flush().unwrap();
    // The pipe stays open: were nothing written before the end, this would wait for ever.
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    assert!(lines.any(|line| line.unwrap().contains(r#""at": 12.5"#)));
    drop(pipe);
    assert!(child.wait().unwrap().success());
}

#[test]
fn folders_that_hold_no_layout_are_refused() {
    let empty = scratch("empty");
    let missing = empty.join("missing");
    let binary = scratch("binary");
    std::fs::write(binary.join("layout.toml"), [0_u8, 159, 146, 150].repeat(1000)).unwrap();
    let long = scratch("long");
    std::fs::write(long.join("layout.toml"), vec![b'x'; 100_000_000]).unwrap();
    let file = empty.parent().unwrap().join("no-folder");
    std::fs::write(&file, TRACK).unwrap();
    for folder in [&empty, &missing, &binary, &long, &file] {
        for command in ["check", "trace"] {
            let ran = lineclear(&[command, folder.to_str().unwrap()], GOOD.as_bytes());
            assert_eq!(ran.status, Some(2), "`{command}` took {}", folder.display());
            assert_eq!(ran.output, "", "`{command}` on {}", folder.display());
            assert!(!ran.complaints.is_empty() && !ran.complaints.contains("panicked"), "{}", ran.complaints);
        }
    }
}

#[test]
fn a_layout_that_makes_no_sense_is_refused_with_the_place() {
    for (text, words) in [
        ("garbage", "layout.toml:1"),
        ("[layout]\nname = \"x\"\nscale = \"H0\"\n[[section]]\nname = \"a\"\nlenght = 3\n", "length"),
        (&TRACK.replace("main-1.b", "mian-1.b"), "main-1"),
    ] {
        let folder = scratch("senseless");
        std::fs::write(folder.join("layout.toml"), text).unwrap();
        let checked = lineclear(&["check", folder.to_str().unwrap()], b"");
        assert_eq!(checked.status, Some(1), "{text}: {}", checked.output);
        assert!(checked.output.contains(words), "`{words}` is not in: {}", checked.output);
        let traced = lineclear(&["trace", folder.to_str().unwrap()], GOOD.as_bytes());
        assert_eq!((traced.status, traced.output.as_str()), (Some(2), ""));
        assert!(traced.complaints.contains(words), "`{words}` is not in: {}", traced.complaints);
    }
}
