//! `lineclear check`, run as a user runs it.

#![cfg(test)]

use std::path::{Path, PathBuf};
use std::process::Command;

/// What a run left behind.
struct Ran {
    status: Option<i32>,
    output: String,
    complaints: String,
}

fn check(arguments: &[&str]) -> Ran {
    let ran = Command::new(env!("CARGO_BIN_EXE_lineclear")).arg("check").args(arguments).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    Ran { status: ran.status.code(), output: text(&ran.stdout), complaints: text(&ran.stderr) }
}

/// A folder of its own for a test, with the files given.
fn folder(name: &str, files: &[(&str, &[u8])]) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("check-{name}"));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    for (file, bytes) in files {
        std::fs::write(folder.join(file), bytes).unwrap();
    }
    folder
}

fn demo() -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout").display().to_string()
}

const GOOD: &[u8] = b"layout = { name = \"t\", scale = \"N\" }\n[[section]]\nname = \"quay\"\nlength = 1500\n\
                      [[off-layout]]\nat = [\"quay.a\", \"quay.b\"]\n";

#[test]
fn the_demo_is_summed_up() {
    let ran = check(&[&demo()]);
    assert_eq!((ran.status, ran.complaints.as_str()), (Some(0), ""));
    for part in
        ["Low Staithe, scale H0", "25 sections", "m of track on the table", "12 turnouts", "3 links\n", "4 trains"]
    {
        assert!(ran.output.contains(part), "no `{part}` in:\n{}", ran.output);
    }
    assert!(!ran.output.contains("warning"), "{}", ran.output);
}

/// The demo in a folder of its own, with the links that the README shows for it.
fn demo_with_the_links_of_the_readme(name: &str) -> PathBuf {
    let readme = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../README.md");
    let readme = std::fs::read_to_string(readme).unwrap();
    let (_, behind) = readme.split_once("**From the demo to your own.**").unwrap();
    let (links, _) = behind.split_once("```toml\n").unwrap().1.split_once("```").unwrap();
    let read = |file: &str| std::fs::read(Path::new(&demo()).join(file)).unwrap();
    let files = [("layout.toml", read("layout.toml")), ("trains.toml", read("trains.toml"))];
    let folder = folder(name, &[]);
    for (file, bytes) in files {
        std::fs::write(folder.join(file), bytes).unwrap();
    }
    std::fs::write(folder.join("links.toml"), links).unwrap();
    folder
}

#[test]
fn the_way_from_the_demo_to_hardware_that_the_readme_shows_is_right() {
    let folder = demo_with_the_links_of_the_readme("readme");
    let ran = check(&[&folder.display().to_string()]);
    assert_eq!((ran.status, ran.complaints.as_str()), (Some(0), ""), "{}", ran.output);
    assert!(!ran.output.contains("warning"), "{}", ran.output);
    // With the yard box at a socket, as it says, a pretend table can stand behind all of it.
    let links = std::fs::read_to_string(folder.join("links.toml")).unwrap();
    let command = "command = [\"python3\", \"yard.py\"]";
    assert!(links.contains(command), "{links}");
    std::fs::write(folder.join("links.toml"), links.replace(command, "tcp = \"127.0.0.1:4470\"")).unwrap();
    let ran = check(&[&folder.display().to_string()]);
    assert_eq!((ran.status, ran.complaints.as_str()), (Some(0), ""), "{}", ran.output);
    // And what is wrong in it is told with its place.
    std::fs::write(folder.join("links.toml"), links.replace("by     = \"mqtt\"", "by     = \"mqqt\"")).unwrap();
    let ran = check(&[&folder.display().to_string()]);
    assert_eq!(ran.status, Some(1));
    assert!(
        ran.output.contains("links.toml:4") || ran.complaints.contains("links.toml:4"),
        "{}{}",
        ran.output,
        ran.complaints
    );
}

#[test]
fn one_thing_is_not_told_in_the_plural() {
    let ran = check(&[&folder("one", &[("layout.toml", GOOD)]).display().to_string()]);
    for part in ["1 section\n", "0 turnouts\n", "0 trains\n"] {
        assert!(ran.output.contains(part), "no `{part}` in:\n{}", ran.output);
    }
}

#[test]
fn detectors_that_no_link_carries_are_counted_where_there_are_links() {
    let detectors = "[[detector]]\nname = \"gate\"\nreader = \"quay\"\nlink = \"west\"\n[[link]]\nname = \"west\"\n";
    let linked = [GOOD, detectors.as_bytes()].concat();
    let ran = check(&[&folder("linked", &[("layout.toml", &linked)]).display().to_string()]);
    assert!(ran.output.contains("1 link, 1 detector on none of them\n"), "{}", ran.output);
    let ran = check(&[&folder("unlinked", &[("layout.toml", GOOD)]).display().to_string()]);
    assert!(!ran.output.contains("link"), "{}", ran.output);
}

#[test]
fn the_demo_is_summed_up_for_editors() {
    let ran = check(&[&demo(), "--json"]);
    assert_eq!(ran.status, Some(0));
    let lines: Vec<serde_json::Value> = ran.output.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let [summary] = &lines[..] else { panic!("one line: {}", ran.output) };
    let summary = &summary["summary"];
    assert_eq!(
        (&summary["sections"], &summary["trains"], &summary["unmeasured-ways"]),
        (&25.into(), &4.into(), &0.into())
    );
    let (table, real) = (summary["track"].as_f64().unwrap(), summary["real-track"].as_f64().unwrap());
    assert!((real / table - 87.0).abs() < 1e-9, "H0 is 1:87 (NEM 010)");
}

#[test]
fn mistakes_of_all_files_are_shown_and_end_with_1() {
    let spoiled = String::from_utf8(GOOD.to_vec()).unwrap().replace("length", "lenght");
    let files: &[(&str, &[u8])] =
        &[("layout.toml", spoiled.as_bytes()), ("trains.toml", b"[[train]]\nname = \"Heron\"\naddress = 20000\n")];
    let folder = folder("mistakes", files);
    let folder = folder.to_str().unwrap();
    let ran = check(&[folder]);
    assert_eq!((ran.status, ran.complaints.as_str()), (Some(1), ""));
    assert!(ran.output.contains("layout.toml:4:1\n"), "{}", ran.output);
    assert!(ran.output.contains("trains.toml:3:11\n"), "{}", ran.output);
    assert!(ran.output.ends_with("2 mistakes\n"), "{}", ran.output);
    let ran = check(&[folder, "--json"]);
    assert_eq!(ran.status, Some(1));
    let lines: Vec<serde_json::Value> = ran.output.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(lines.len(), 2);
    assert_eq!((&lines[1]["file"], &lines[1]["from"]["line"]), (&"trains.toml".into(), &3.into()));
}

#[test]
fn warnings_do_not_fail_and_links_are_not_passed_over() {
    let text = [GOOD, b"[[turnout]]\nname = \"W1\"\n"].concat();
    let folder = folder(
        "warning",
        &[
            ("layout.toml", &text),
            ("links.toml", b"[[link]]\nname = \"box\"\nby = \"adapter\"\ncommand = [\"true\"]\n"),
        ],
    );
    let ran = check(&[folder.to_str().unwrap()]);
    assert_eq!(ran.status, Some(0));
    assert!(ran.output.starts_with("warning: no way needs turnout `W1`\n"), "{}", ran.output);
    assert!(ran.output.contains("link `box` carries 0 things"), "{}", ran.output);
}

#[track_caller]
fn is_bad_input(path: &Path, reason: &str) {
    let path = path.to_str().unwrap();
    let ran = check(&[path]);
    assert_eq!((ran.status, ran.output.as_str()), (Some(2), ""), "{}", ran.complaints);
    assert!(ran.complaints.contains(reason), "no `{reason}` in: {}", ran.complaints);
    let ran = check(&[path, "--json"]);
    assert_eq!(ran.status, Some(2));
    let told: serde_json::Value = serde_json::from_str(&ran.output).unwrap();
    assert_eq!(told["severity"], "unreadable");
    assert!(told["message"].as_str().is_some_and(|message| reason.contains(message)), "{told} is not `{reason}`");
}

#[test]
fn where_there_is_nothing_to_check_the_reason_is_told_and_the_status_is_2() {
    is_bad_input(Path::new("no-such-folder"), "`no-such-folder`: there is no such folder");
    is_bad_input(&folder("empty", &[]), "the folder is empty");
    is_bad_input(&folder("other", &[("notes.txt", b"quay")]), "`layout.toml`: there is no such file");
    let file = folder("file", &[("layout.toml", GOOD)]).join("layout.toml");
    is_bad_input(&file, "it is a file, not a folder");
    is_bad_input(&folder("utf", &[("layout.toml", b"\n# \xe9\n")]), "line 2 is not UTF-8");
    is_bad_input(&folder("binary", &[("layout.toml", b"\x7fELF\0\0")]), "line 1 holds a zero byte: it is no text");
    is_bad_input(
        &folder("trains", &[("layout.toml", GOOD), ("trains.toml", b"\0")]),
        "`trains.toml`: line 1 holds a zero byte: it is no text",
    );
}

#[test]
fn a_line_of_a_hundred_megabytes_is_refused() {
    let folder = folder("long", &[("layout.toml", &vec![b'x'; 100_000_000])]);
    is_bad_input(&folder, "it is larger than 16 MB");
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn nothing_is_ever_written_to_the_folder() {
    let folder = folder("untouched", &[("layout.toml", GOOD)]);
    assert_eq!(check(&[folder.to_str().unwrap()]).status, Some(0));
    let names: Vec<_> = std::fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(names, ["layout.toml"]);
    assert_eq!(std::fs::read(folder.join("layout.toml")).unwrap(), GOOD);
}

#[test]
fn a_hint_that_the_diagram_cannot_keep_to_is_warned_of_where_it_stands() {
    let hints = "[diagram]\nleft = \"quay.b\"\nbackwards = \"quay\"\n";
    let text = [GOOD, hints.as_bytes()].concat();
    let ran = check(&[&folder("hints", &[("layout.toml", &text)]).display().to_string()]);
    assert_eq!(ran.status, Some(0), "a drawing makes no layout unusable: {}", ran.output);
    let warned = "warning: `quay` is not drawn backwards: no ring would be open by that\n   layout.toml:9:13\n";
    assert!(ran.output.contains(warned) && ran.output.matches("warning").count() == 1, "{}", ran.output);
}
