//! `lineclear check --control-table`, run as a user runs it.

#![cfg(test)]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// A main line from west to far, with a siding that nothing protects.
const LINE: &str = r#"
layout = { name = "line", scale = "H0" }

[[section]]
name = "west"
[[section]]
name = "fork"
ways = [
  { from = "toe", to = "one", needs = { W1 = "straight" } },
  { from = "toe", to = "two", needs = { W1 = "diverging" } },
]
[[section]]
name = "east"
[[section]]
name = "far"
[[section]]
name = "siding"
[[turnout]]
name = "W1"
[[joint]]
ends = ["west.b", "fork.toe"]
[[joint]]
ends = ["fork.one", "east.a"]
[[joint]]
ends = ["fork.two", "siding.a"]
[[joint]]
ends = ["east.b", "far.a"]
[[off-layout]]
at = ["west.a", "far.b"]
[[buffer-stop]]
at = "siding.b"
[[signal]]
name = "A"
at = "west.b"
[[signal]]
name = "B"
at = "east.a"
[[signal]]
name = "E"
at = "east.b"
overlap = ["far"]
"#;

fn folder(name: &str, text: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("control-table-{name}"));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("layout.toml"), text).unwrap();
    folder
}

fn check(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_lineclear")).arg("check").arg(folder).args(arguments).output().unwrap()
}

fn text(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).unwrap()
}

#[test]
fn a_line_with_a_siding_has_the_control_table_that_an_engineer_writes_for_it() {
    let ran = check(&folder("csv", LINE), &["--control-table", "--csv"]);
    let expected = [
        "route,entry,exit,turnouts normal,turnouts reverse,flank,sections clear,overlap,conflicts,aspects,reasons",
        "A-E,A,E,W1,,NONE at fork.two (siding to siding.b),fork; east,far,A-siding.b; B-west.a,\
         yellow (E red); green (E yellow); green (E green),A-siding.b: both begin at A; B-west.a: they meet in fork",
        "A-siding.b,A,buffers siding.b,,W1,B at danger,fork; siding,,A-E; B-west.a,yellow,\"A-E: both begin at A; B-west.a: both \
         lead through fork, they need W1 both straight and diverging, the flank of one needs B at danger\"",
        "B-west.a,B,edge west.a,W1,,NONE at fork.two (siding to siding.b),fork; west,,A-E; A-siding.b,yellow,\"A-E: they meet in \
         fork; A-siding.b: both lead through fork, they need W1 both straight and diverging, the flank of one needs B at danger\"",
        "E-far.b,E,edge far.b,,,,far,,,yellow,",
    ];
    assert_eq!(text(&ran.stdout).split("\r\n").filter(|line| !line.is_empty()).collect::<Vec<_>>(), expected);
    assert_eq!(text(&ran.stderr), "note: 2 routes have a flank that nothing protects\n");
    assert_eq!(ran.status.code(), Some(0));
}

#[test]
fn the_columns_of_the_table_for_people_are_aligned() {
    let ran = check(&folder("text", LINE), &["--control-table"]);
    let output = text(&ran.stdout);
    let lines: Vec<&str> = output.lines().collect();
    let rule = lines.iter().find(|line| line.starts_with("---")).unwrap();
    let starts: Vec<usize> = (0..rule.len())
        .filter(|&at| rule.as_bytes()[at] == b'-' && (at == 0 || rule.as_bytes()[at - 1] == b' '))
        .collect();
    assert_eq!(starts.len(), 10);
    let row = lines.iter().find(|line| line.starts_with("A-E ")).unwrap();
    for (column, begins) in
        [(0, "A-E"), (1, "A "), (2, "E "), (3, "W1"), (5, "NONE at fork.two"), (6, "fork, east"), (7, "far")]
    {
        assert!(row[starts[column]..].starts_with(begins), "column {column} of {row}");
    }
    assert!(output.contains("note: 2 routes have a flank that nothing protects\n"), "{output}");
    assert!(lines.iter().all(|line| *line == line.trim_end()), "spaces at the end of a line");
    assert_eq!(ran.stderr, b"");
}

#[test]
fn the_table_in_markdown_has_ten_columns_in_every_row() {
    let ran = check(
        &folder("markdown", &LINE.replace("\"siding\"", "\"a|b\"").replace("siding.", "a|b.")),
        &["--control-table", "--markdown"],
    );
    let output = text(&ran.stdout);
    let rows: Vec<&str> = output.lines().filter(|line| line.starts_with('|')).collect();
    assert_eq!(rows.len(), 6);
    for row in rows {
        assert_eq!(row.replace("\\|", "").matches('|').count(), 11, "{row}");
    }
    assert!(output.contains("\n- 2 routes have a flank that nothing protects\n"), "{output}");
}

#[test]
fn what_a_table_cannot_show_is_said_below_it() {
    let ran = check(
        &folder(
            "bare",
            "layout = { name = \"t\", scale = \"N\" }\n[[section]]\nname = \"quay\"\n[[off-layout]]\nat = [\"quay.a\", \"quay.b\"]\n",
        ),
        &["--control-table"],
    );
    assert_eq!(ran.status.code(), Some(0));
    assert!(text(&ran.stdout).ends_with("note: there is no signal, and so no route\n"), "{}", text(&ran.stdout));
    let junction = LINE.replace("ends = [\"west.b\", \"fork.toe\"]", "ends = [\"west.b\", \"fork.toe\"]\n[[section]]\nname = \"spur\"\n[[joint]]\nends = [\"west.b\", \"spur.a\"]\n[[buffer-stop]]\nat = \"spur.b\"");
    let ran = check(&folder("junction", &junction), &["--control-table"]);
    let note = "note: route `A-spur.b` leads over `west.b`, which meets several ends: nobody reports where a train goes there\n";
    assert!(text(&ran.stdout).contains(note), "{}", text(&ran.stdout));
}

#[test]
fn a_layout_with_mistakes_has_no_table_and_the_forms_exclude_each_other() {
    let spoiled = folder("spoiled", &LINE.replace("at = \"west.b\"", "at = \"west.c\""));
    let ran = check(&spoiled, &["--control-table", "--csv"]);
    assert_eq!(ran.status.code(), Some(1));
    assert!(text(&ran.stdout).contains("section `west` has no end `c`"), "{}", text(&ran.stdout));
    let good = folder("good", LINE);
    for arguments in [&["--csv"][..], &["--control-table", "--csv", "--markdown"], &["--control-table", "--json"]] {
        assert_eq!(check(&good, arguments).status.code(), Some(2), "{arguments:?}");
    }
    assert_eq!(check(Path::new("no-such-folder"), &["--control-table"]).status.code(), Some(2));
}

#[test]
fn low_staithe_has_a_table_of_routes_with_a_protected_flank_each() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout");
    let ran = check(&demo, &["--control-table"]);
    let output = text(&ran.stdout);
    assert_eq!(ran.status.code(), Some(0));
    assert!(!output.contains("NONE"), "every way into a turnout is guarded by a signal:\n{output}");
    for route in ["S1-S5 ", "S13-S15 ", "S13-S23 ", "S2-quay-1.a"] {
        assert!(output.lines().any(|line| line.starts_with(route)), "no {route} in\n{output}");
    }
}

#[test]
fn of_a_long_way_that_two_trains_would_share_three_sections_are_named_and_the_others_counted() {
    let mut layout = LINE.replace("ends = [\"west.b\", \"fork.toe\"]", "ends = [\"west.b\", \"n1.a\"]");
    for place in 1..=5 {
        let next = if place < 5 { format!("n{}.a", place + 1) } else { "fork.toe".to_owned() };
        layout += &format!("[[section]]\nname = \"n{place}\"\n[[joint]]\nends = [\"n{place}.b\", \"{next}\"]\n");
    }
    let ran = check(&folder("long", &layout), &["--control-table", "--csv"]);
    let output = text(&ran.stdout);
    let reason = "B-west.a: they meet in fork, they meet in n1, they meet in n2, and 3 more like that";
    assert!(output.contains(reason), "{output}");
}
