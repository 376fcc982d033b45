//! Rules of the house that no compiler knows.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use crate::program::root;

const LONGEST_FILE: usize = 800;
const LONGEST_FUNCTION: usize = 70;

/// Which crates of the house a crate may know. Arrows point one way.
const ARROWS: &[(&str, &[&str])] = &[
    ("track", &[]),
    ("layout", &["track"]),
    ("signaller", &["track"]),
    ("testtrack", &["track", "signaller", "layout"]),
    ("register", &["track", "signaller"]),
    ("hooks", &["track", "signaller"]),
    ("lineside", &["track", "signaller"]),
    ("panel", &["track", "signaller"]),
];

/// Crates that may know everything: the program, and the tests.
const TOPS: &[&str] = &["lineclear", "tests"];

/// The crates in which nothing may differ from run to run, and all that they may use from outside.
const DETERMINISTIC: &[&str] = &["track", "signaller", "testtrack"];
const HARMLESS: &[&str] = &["pathfinding", "petgraph", "postcard", "serde", "smallvec"];

/// Written in two parts so that this file may stand under its own rule.
const BANNED: &[&str] = &[
    concat!("TO", "DO"),
    concat!("FIX", "ME"),
    concat!("unimpl", "emented!"),
    concat!("db", "g!("),
    concat!("#[ig", "nore"),
];

/// Every text file of the project that people wrote.
fn texts() -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    for place in ["crates", "tests", "scripts", "demo-layout", ".ci", "README.md", "DEVELOPERS.md", "Cargo.toml"] {
        collect(&root().join(place), &mut found);
    }
    assert!(found.len() > 30, "only {} files were found", found.len());
    found
}

fn collect(path: &Path, found: &mut Vec<(PathBuf, String)>) {
    if path.is_dir() {
        for entry in std::fs::read_dir(path).unwrap() {
            collect(&entry.unwrap().path(), found);
        }
    } else if let Ok(text) = std::fs::read_to_string(path) {
        found.push((path.strip_prefix(root()).unwrap().to_owned(), text));
    }
}

fn rust_files() -> Vec<(PathBuf, String)> {
    texts().into_iter().filter(|(path, _)| path.extension().is_some_and(|extension| extension == "rs")).collect()
}

#[track_caller]
fn none(what: &str, offenders: &[String]) {
    assert!(offenders.is_empty(), "{what}:\n  {}", offenders.join("\n  "));
}

#[test]
fn no_file_is_too_long_to_read() {
    let offenders: Vec<String> = texts()
        .iter()
        .filter(|(path, _)| path.extension().is_some_and(|extension| extension == "rs" || extension == "lua"))
        .map(|(path, text)| (path, text.lines().count()))
        .filter(|&(_, lines)| lines > LONGEST_FILE)
        .map(|(path, lines)| format!("{}: {lines} lines", path.display()))
        .collect();
    none(&format!("files of more than {LONGEST_FILE} lines"), &offenders);
}

/// Where functions begin and how long they are. Relies on the formatter: a function that opens at some indent closes with a
/// brace alone at the same indent.
fn functions(text: &str) -> Vec<(usize, &str, usize)> {
    let lines: Vec<&str> = text.lines().collect();
    let mut found = Vec::new();
    for (start, line) in lines.iter().enumerate() {
        let indent = line.len() - line.trim_start().len();
        let words: Vec<&str> = line.split_whitespace().take_while(|word| !word.contains("//")).collect();
        let Some(place) = words.iter().position(|&word| word == "fn") else { continue };
        let leading = ["pub", "const", "async", "unsafe", "extern"];
        if !words[..place].iter().all(|word| leading.iter().any(|lead| word.starts_with(lead))) {
            continue;
        }
        let closing = format!("{}}}", &line[..indent]);
        let length = lines[start..].iter().position(|&line| line == closing).map_or(1, |end| end + 1);
        let is_one_line = line.ends_with('}') || line.ends_with(';');
        found.push((start + 1, words.get(place + 1).copied().unwrap_or(""), if is_one_line { 1 } else { length }));
    }
    found
}

#[test]
fn functions_are_measured_as_they_stand() {
    let text = "impl A {\n    pub(crate) fn one(\n        x: u8,\n    ) {\n        x;\n    }\n    fn two() {}\n}\nasync fn three() {\n}\n";
    assert_eq!(functions(text), [(2, "one(", 5), (7, "two()", 1), (9, "three()", 2)]);
}

#[test]
fn no_function_is_too_long_to_read() {
    let mut offenders = Vec::new();
    for (path, text) in rust_files() {
        for (line, name, length) in functions(&text) {
            if length > LONGEST_FUNCTION {
                offenders.push(format!("{}:{line}: `{name}` has {length} lines", path.display()));
            }
        }
    }
    none(&format!("functions of more than {LONGEST_FUNCTION} lines"), &offenders);
}

#[test]
fn nothing_is_left_for_later() {
    let mut offenders = Vec::new();
    for (path, text) in texts() {
        for (number, line) in text.lines().enumerate() {
            for banned in BANNED.iter().filter(|&&banned| line.contains(banned)) {
                offenders.push(format!("{}:{}: `{banned}`", path.display(), number + 1));
            }
        }
    }
    none("words that have no place in finished work", &offenders);
}

#[test]
fn every_module_says_what_it_is_for() {
    let offenders: Vec<String> = rust_files()
        .iter()
        .filter(|(_, text)| !text.starts_with("//! ") || text.lines().next().is_some_and(|line| line.len() < 12))
        .map(|(path, _)| path.display().to_string())
        .collect();
    none("files without module docs", &offenders);
}

#[test]
fn names_and_parameters_follow_the_house_style() {
    let mut offenders = Vec::new();
    for (path, text) in rust_files() {
        for (line, name, _) in functions(&text) {
            let place = format!("{}:{line}", path.display());
            if name.starts_with("get_") {
                offenders.push(format!("{place}: `{name}` begins with `get_`"));
            }
            let signature: String = text.lines().skip(line - 1).collect::<Vec<_>>().join(" ");
            let signature = signature.split(['{', ';']).next().unwrap_or("");
            let parameters = signature.split("->").next().unwrap_or("");
            if signature.trim_start().starts_with("pub fn") && parameters.contains(": bool") {
                offenders.push(format!("{place}: `{name}` is public and takes a `bool`"));
            }
        }
    }
    none("functions that break the house style", &offenders);
}

/// The crates of the workspace, each with the names of its dependencies, those for tests left out.
fn crates() -> BTreeMap<String, Vec<String>> {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--no-deps", "--format-version", "1"])
        .current_dir(root())
        .output()
        .unwrap();
    let metadata: Value = serde_json::from_slice(&output.stdout).unwrap();
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let packages = metadata["packages"].as_array().unwrap();
    let found: BTreeMap<String, Vec<String>> = packages
        .iter()
        .map(|package| {
            let all = package["dependencies"].as_array().unwrap().iter();
            let kept = all.filter(|dependency| dependency["kind"] != "dev").map(|dependency| text(&dependency["name"]));
            (text(&package["name"]), kept.collect())
        })
        .collect();
    assert!(found.contains_key("signaller"), "no crates were found");
    found
}

#[test]
fn arrows_between_crates_point_one_way() {
    let crates = crates();
    let mut offenders = Vec::new();
    for (name, dependencies) in &crates {
        if TOPS.contains(&name.as_str()) {
            continue;
        }
        let Some((_, allowed)) = ARROWS.iter().find(|(known, _)| known == name) else {
            offenders.push(format!("`{name}` has no place in the house"));
            continue;
        };
        for dependency in dependencies.iter().filter(|&dependency| crates.contains_key(dependency)) {
            if !allowed.contains(&dependency.as_str()) {
                offenders.push(format!("`{name}` must not know `{dependency}`"));
            }
        }
    }
    none("arrows that point the wrong way", &offenders);
}

#[test]
fn the_deterministic_crates_use_nothing_that_differs_from_run_to_run() {
    let crates = crates();
    let mut offenders = Vec::new();
    for name in DETERMINISTIC {
        for dependency in &crates[*name] {
            if !crates.contains_key(dependency) && !HARMLESS.contains(&dependency.as_str()) {
                offenders.push(format!("`{name}` uses `{dependency}`"));
            }
        }
        let bans = std::fs::read_to_string(root().join("crates").join(name).join("clippy.toml")).unwrap_or_default();
        for ban in ["HashMap", "HashSet", "time::Instant", "SystemTime", "fs::File", "thread::spawn"] {
            if !bans.contains(ban) {
                offenders.push(format!("`crates/{name}/clippy.toml` does not ban `{ban}`"));
            }
        }
    }
    none("sources of difference", &offenders);
}

#[test]
fn every_crate_stands_under_the_same_lints() {
    let mut offenders = Vec::new();
    for (path, text) in texts() {
        if path.file_name().is_none_or(|name| name != "Cargo.toml") || path == Path::new("Cargo.toml") {
            continue;
        }
        let manifest: toml::Table = text.parse().unwrap();
        let inherits =
            manifest.get("lints").and_then(|lints| lints.get("workspace")) == Some(&toml::Value::Boolean(true));
        if !inherits {
            offenders.push(path.display().to_string());
        }
    }
    none("crates that do not inherit the lints of the workspace", &offenders);
}

#[test]
fn every_crate_and_dependency_is_explained_to_developers() {
    let explained = std::fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let mut offenders = Vec::new();
    for (name, dependencies) in crates() {
        for name in dependencies.iter().chain([&name]) {
            if !explained.contains(&format!("`{name}`")) {
                offenders.push(name.clone());
            }
        }
    }
    offenders.sort();
    offenders.dedup();
    none("crates of which DEVELOPERS.md says nothing", &offenders);
}
