//! What was recorded of a run is run again, and asked about.

#![cfg(test)]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("lineclear-past-{}-{name}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        Self(path)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn lineclear(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_lineclear")).args(args).output().unwrap()
}

fn told(output: &Output) -> String {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout.clone()).unwrap()
}

/// Twelve minutes of the demo, recorded.
fn recorded(name: &str) -> Folder {
    let folder = Folder::new(name);
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout");
    let state = folder.0.to_str().unwrap();
    told(&lineclear(&["run", demo.to_str().unwrap(), "--state", state, "--for", "12m", "--pace", "fast", "--plain"]));
    folder
}

#[test]
fn a_recorded_run_gives_the_same_again_from_its_start_and_from_a_snapshot() {
    let folder = recorded("replay");
    let state = folder.0.to_str().unwrap();
    let whole = told(&lineclear(&["replay", state]));
    assert!(whole.contains("all of them give what was recorded"), "{whole}");
    assert!(!whole.contains("begun with the snapshot"), "{whole}");
    let part = told(&lineclear(&["replay", state, "--from", "0:11:00"]));
    assert!(part.contains("begun with the snapshot") && part.contains("all of them give"), "{part}");
    let none = lineclear(&["replay", state, "--shift", "7"]);
    assert_eq!(none.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&none.stderr).contains("there is no shift 7; the only one is 1"));
}

#[test]
fn a_step_that_was_recorded_otherwise_is_found_and_told() {
    let folder = recorded("difference");
    let db = rusqlite::Connection::open(folder.0.join("register.sqlite")).unwrap();
    let other = "UPDATE step SET digest = digest + 1 WHERE id = 500 OR id = 600";
    assert_eq!(db.execute(other, []).unwrap(), 2);
    drop(db);
    let state = folder.0.to_str().unwrap();
    let all = lineclear(&["replay", state]);
    let words = String::from_utf8_lossy(&all.stdout).into_owned();
    assert_eq!(all.status.code(), Some(1), "{words}");
    assert!(words.contains("2 of these differ; the first:") && words.contains("step 500 at "), "{words}");
    let first = lineclear(&["replay", state, "--until-difference"]);
    let words = String::from_utf8_lossy(&first.stdout).into_owned();
    assert!(words.starts_with("shift 1 of Low Staithe") && words.contains("500 steps run"), "{words}");
}

#[test]
fn questions_about_a_run_are_answered_from_what_was_recorded() {
    let folder = recorded("history");
    let state = folder.0.to_str().unwrap();
    let stops = told(&lineclear(&["history", state, "stops", "--train", "Heron", "--json"]));
    let stops: serde_json::Value = serde_json::from_str(&stops).unwrap();
    let stops = stops.as_array().unwrap();
    assert!(stops.len() >= 3, "{stops:?}");
    assert!(stops.iter().all(|stop| stop["train"] == "Heron" && stop["short_mm"].as_f64().unwrap().abs() < 60.0));
    let trips = told(&lineclear(&["history", state, "trips", "--csv"]));
    assert!(
        trips.starts_with("train,from,to,departed_wall,arrived_wall,took_s,shift\r\nPlover,yard-1,loop-2.a,"),
        "{trips}"
    );
    let places = told(&lineclear(&["history", state, "places"]));
    for train in ["Heron", "Plover", "Dunlin", "Curlew"] {
        assert!(places.contains(train), "{train} was somewhere at the end:\n{places}");
    }
    assert!(told(&lineclear(&["history", state, "doubts"])).starts_with("nothing was recorded"));
    for (wrong, why) in [
        (&["trips", "--at", "12:00"][..], "`--at` is for `places`"),
        (&["shifts", "--train", "Heron"], "cannot be told of one train"),
        (&["places", "--at", "noon"], "`noon` is no time"),
    ] {
        let refused = lineclear(&[&["history", state], wrong].concat());
        assert_eq!(refused.status.code(), Some(2), "{wrong:?}");
        assert!(String::from_utf8_lossy(&refused.stderr).contains(why), "{wrong:?}");
    }
}

#[test]
fn it_is_told_why_a_train_was_taken_to_be_where_it_was() {
    let folder = recorded("explain");
    let state = folder.0.to_str().unwrap();
    // Heron came out of the loop at 0:11:12, and is the one in `harbour-2` now.
    let told_why = told(&lineclear(&["replay", state, "--explain", "harbour-2@720s"]));
    assert!(told_why.starts_with("`harbour-2` at 0:12:00.0: `Heron`, sure"), "{told_why}");
    let parts: Vec<usize> = ["accounts\n", "what led there, since it was free at", "`harbour-2` filled", "    after\n"]
        .map(|part| told_why.find(part).unwrap_or_else(|| panic!("no {part:?} in {told_why}")))
        .to_vec();
    assert!(parts.is_sorted(), "{told_why}");
    assert!(told_why.contains("the ordinary course of things: kept"), "{told_why}");
    // What else it could have been, and why that was not believed.
    let other = "and something unknown is in `harbour-2`\n        1 in 13,333, where something unknown fills a section: given up";
    assert!(told_why.contains(other), "{told_why}");
    assert!(!told_why.contains("something else now"), "{told_why}");
    let wall = told(&lineclear(&["replay", state, "--explain", "yard-1@2099-01-01 12:00"]));
    assert!(
        wall.starts_with("`yard-1` at 0:1") && wall.contains(": free; its detector says that nothing is there"),
        "{wall}"
    );
    assert!(wall.ends_with("said to be free since 0:00:04.3\n"), "{wall}");
    for (wrong, why) in [
        ("harbour-9@720s", "there is no section `harbour-9`; hint: `harbour-1`?"),
        ("harbour-2", "names no moment"),
        ("harbour-2@noon", "`noon` is no time"),
        ("harbour-2@1999-01-01 12:00", "nothing was recorded up to 1999-01-01 12:00:00"),
    ] {
        let refused = lineclear(&["replay", state, "--explain", wrong]);
        assert_eq!(refused.status.code(), Some(2));
        let said = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(said.contains(why), "{said}");
    }
}
