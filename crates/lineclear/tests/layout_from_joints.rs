//! `scripts/layout-from-joints`: tables of sections and joints become a layout that loads.

#![cfg(test)]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use layout::Loaded;

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("joints-{name}"));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// Runs the script on two tables; its output goes to `made` in the folder.
fn run(folder: &Path, sections: &[u8], joints: &[u8]) -> Output {
    let (sections_file, joints_file) = (folder.join("sections.csv"), folder.join("joints.csv"));
    std::fs::write(&sections_file, sections).unwrap();
    std::fs::write(&joints_file, joints).unwrap();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../scripts/layout-from-joints");
    Command::new(script).args([sections_file, joints_file, folder.join("made")]).output().unwrap()
}

fn load(folder: &Path) -> Loaded {
    let made = folder.join("made");
    layout::load(|name| Ok(std::fs::read(made.join(name)).ok())).unwrap_or_else(|refused| panic!("{refused}"))
}

fn complaints(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// Makes a layout of two tables and tells what every end meets.
#[track_caller]
fn check(name: &str, sections: &str, joints: &str, expect: &[&str]) -> String {
    let folder = folder(name);
    let output = run(&folder, sections.as_bytes(), format!("section_a,end_a,section_b,end_b\n{joints}").as_bytes());
    assert!(output.status.success(), "{}", complaints(&output));
    let loaded = load(&folder);
    assert!(loaded.warnings.is_empty(), "{}", loaded.warnings);
    let layout = &loaded.layout;
    let mut found = Vec::new();
    for (id, end) in layout.ends.iter() {
        let met: Vec<String> = end.meets.iter().map(|&met| layout.end_name(met)).collect();
        let beyond = if met.is_empty() { "off the layout".to_owned() } else { met.join(" and ") };
        found.push(format!("{}: {beyond}", layout.end_name(id)));
    }
    assert_eq!(found, expect);
    complaints(&output)
}

#[test]
fn a_line_with_a_junction_leads_off_the_layout_at_its_ends() {
    let told = check(
        "line",
        "section\nr0\nr1\nr2\n",
        "r0,b,r1,a\nr0,b,r2,a\n",
        &[
            "r0.a: off the layout",
            "r0.b: r1.a and r2.a",
            "r1.a: r0.b",
            "r1.b: off the layout",
            "r2.a: r0.b",
            "r2.b: off the layout",
        ],
    );
    assert_eq!(told, "");
}

#[test]
fn names_keep_their_dots_spaces_quotes_and_letters() {
    check(
        "names",
        "section\nTA.1 x\n\"q\"\"u, o\\te\"\nfjære\n",
        "TA.1 x,b,\"q\"\"u, o\\te\",a\n\"q\"\"u, o\\te\",b,fjære,a\n",
        &[
            "TA.1 x.a: off the layout",
            "TA.1 x.b: q\"u, o\\te.a",
            "q\"u, o\\te.a: TA.1 x.b",
            "q\"u, o\\te.b: fjære.a",
            "fjære.a: q\"u, o\\te.b",
            "fjære.b: off the layout",
        ],
    );
}

#[test]
fn a_circle_is_kept_a_balloon_is_opened_and_lonely_sections_stay() {
    let told = check(
        "odd",
        "section\ncircle\nballoon\nlonely\n",
        "circle,a,circle,b\nballoon,a,balloon,a\ncircle,b,circle,a\n",
        &[
            "circle.a: circle.b",
            "circle.b: circle.a",
            "balloon.a: off the layout",
            "balloon.b: off the layout",
            "lonely.a: off the layout",
            "lonely.b: off the layout",
        ],
    );
    assert!(told.contains("line 3: end `a` of `balloon` meets itself; left out"), "{told}");
    assert!(told.contains("line 4: the same two ends meet in an earlier line"), "{told}");
}

#[test]
fn a_section_may_meet_another_with_both_ends() {
    check(
        "ring",
        "section\none\ntwo\n",
        "one,a,two,a\none,b,two,b\n",
        &["one.a: two.a", "one.b: two.b", "two.a: one.a", "two.b: one.b"],
    );
}

#[test]
fn ends_of_other_names_get_ways_between_them() {
    let folder = folder("ends");
    let output = run(&folder, b"section\nx\ny\n", b"section_a,end_a,section_b,end_b\nx,1,y,a\nx,2,y,b\nx,3,y,b\n");
    assert!(output.status.success(), "{}", complaints(&output));
    let layout = load(&folder).layout;
    let x = layout.section_named("x").unwrap();
    assert_eq!((layout.sections[x].ends.len(), layout.sections[x].ways.len()), (3, 3));
    assert!(complaints(&output).contains("it has 3 ends"), "{}", complaints(&output));
}

#[test]
fn columns_may_stand_in_any_order_with_more_beside_them() {
    let folder = folder("columns");
    let joints = "\u{feff}note,end_b,section_b,end_a,section_a\r\n,a,y,b,x\r\n\r\n";
    let output = run(&folder, b"section,km\r\nx,1\r\ny,2\r\n", joints.as_bytes());
    assert!(output.status.success(), "{}", complaints(&output));
    let layout = load(&folder).layout;
    assert_eq!(layout.ends[layout.end_named("x.b").unwrap()].meets, [layout.end_named("y.a").unwrap()]);
}

#[test]
fn tables_that_cannot_be_used_leave_nothing_behind() {
    let joints: &[u8] = b"section_a,end_a,section_b,end_b\nx,b,y,a\n";
    let cases: [(&str, &[u8], &[u8], &str); 9] = [
        ("empty", b"", joints, "line 1: no column `section`"),
        ("heading", b"section\n", joints, "no section is listed"),
        ("unknown", b"section\nx\n", joints, "line 2: section `y` is not listed among the sections"),
        ("swapped", joints, b"section\nx\ny\n", "line 1: no column `section`"),
        ("short", b"section\nx\ny\n", b"section_a,end_a,section_b,end_b\nx,b\n", "line 2: 2 values, but 4 columns"),
        ("nameless", b"section,km\n,3\n", joints, "line 2: the name of the section is empty"),
        ("dotted", b"section\nx\ny\n", b"section_a,end_a,section_b,end_b\nx,b.c,y,a\n", "must not hold a dot"),
        ("binary", b"section\n\xff\xfe\n", joints, "it is not UTF-8 text"),
        ("quote", b"section\n\"x\n", joints, "sections.csv`, line"),
    ];
    for (name, sections, joints, reason) in cases {
        let folder = folder(&format!("bad-{name}"));
        let output = run(&folder, sections, joints);
        assert_eq!(output.status.code(), Some(2), "{name}");
        let told = complaints(&output);
        assert!(told.starts_with("error: ") && told.contains(reason), "{name}: no `{reason}` in: {told}");
        assert!(!folder.join("made").exists(), "{name} left something behind");
    }
}

#[test]
fn a_layout_of_somebody_else_is_not_replaced_but_its_own_is() {
    let folder = folder("replace");
    let made = folder.join("made");
    let (sections, joints): (&[u8], &[u8]) = (b"section\nx\n", b"section_a,end_a,section_b,end_b\n");
    std::fs::create_dir_all(&made).unwrap();
    std::fs::write(made.join("layout.toml"), "# mine\n").unwrap();
    let output = run(&folder, sections, joints);
    assert_eq!(output.status.code(), Some(2));
    assert!(complaints(&output).contains("was not made by this script"), "{}", complaints(&output));
    assert_eq!(std::fs::read_to_string(made.join("layout.toml")).unwrap(), "# mine\n");
    std::fs::remove_file(made.join("layout.toml")).unwrap();
    for _ in 0..2 {
        assert!(run(&folder, sections, joints).status.success());
    }
    let names: Vec<_> = std::fs::read_dir(&made).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(names, ["layout.toml"]);
}
