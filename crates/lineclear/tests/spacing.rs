//! The spacing of signals, as `lineclear check` judges it: each signal far enough from the next for its restrictive
//! indication to be obeyed by a brake application that begins at it (49 CFR 236.24).

#![cfg(test)]

use std::path::{Path, PathBuf};
use std::process::Command;

/// A train of 200 mm, of which 20 at either end are not seen. From 250 mm/s (78 km/h in H0) it needs, with four fifths of its
/// brakes and an answer after a quarter of a second, 20 + 250 · 0.25 + 250² / (2 · 80) = 473.1 mm.
const HERON: &str = "[[train]]\nname = \"Heron\"\nvehicles = [{ length = 200, detectable = [20, 180] }]\n\
                     top-speed = 250\nbraking = 100\n";

/// Sections in a row from a buffer stop to the edge, each with a signal at its far end but for the last. More is said of a
/// section behind its length.
fn line(head: &str, sections: &[(&str, &str)]) -> String {
    let mut text = format!("{head}\n[[buffer-stop]]\nat = \"{}.a\"\n", sections[0].0);
    for (name, said) in sections {
        text += &format!("[[section]]\nname = \"{name}\"\nlength = {said}\n");
    }
    for pair in sections.windows(2) {
        let [(one, _), (next, _)] = pair else { unreachable!("windows of two") };
        text += &format!("[[joint]]\nends = [\"{one}.b\", \"{next}.a\"]\n");
        text += &format!("[[signal]]\nname = \"{}\"\nat = \"{one}.b\"\n", one.to_uppercase());
    }
    text + &format!("[[off-layout]]\nat = \"{}.b\"\n", sections[sections.len() - 1].0)
}

fn head(aspects: &str) -> String {
    format!("[layout]\nname = \"t\"\nscale = \"H0\"\naspects = \"{aspects}\"")
}

fn folder(name: &str, layout: &str, trains: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("spacing-{name}"));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("layout.toml"), layout).unwrap();
    std::fs::write(folder.join("trains.toml"), trains).unwrap();
    folder
}

fn check(folder: &Path, arguments: &[&str]) -> String {
    let ran = Command::new(env!("CARGO_BIN_EXE_lineclear")).arg("check").arg(folder).args(arguments).output().unwrap();
    let output = String::from_utf8(ran.stdout).unwrap();
    assert_eq!(ran.status.code(), Some(0), "{output}");
    output
}

/// The warnings, each with its hint.
fn warnings(name: &str, layout: &str, trains: &str) -> Vec<(String, String)> {
    let output = check(&folder(name, layout, trains), &["--json"]);
    let lines = output.lines().map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap());
    let text = |value: &serde_json::Value| value.as_str().unwrap_or_default().to_owned();
    lines
        .filter(|line| line["severity"] == "warning")
        .map(|line| (text(&line["message"]), text(&line["hint"])))
        .collect()
}

#[test]
fn a_signal_too_close_behind_its_caution_is_told_with_every_cure() {
    let layout = line(&head("three-aspect"), &[("a", "900"), ("b", "400"), ("c", "400"), ("d", "900")]);
    let found = warnings("close", &layout, HERON);
    // 380 mm are left for Heron: v · 0.25 + v² / 160 = 380 for v = 227.4 mm/s.
    let message = |one, next| {
        format!(
            "`Heron` passes `{one}` at 250 mm/s (78 km/h) and needs 474 mm to stop before `{next}`, but there are 400: 74 mm too few"
        )
    };
    let cures = |one| format!("a `limit` of 227 mm/s (71 km/h) before `{one}`");
    assert_eq!(
        found,
        [
            (message("A", "B"), format!("{}, or 74 mm more track between them", cures("A"))),
            (
                message("B", "C"),
                format!(
                    "{}, 74 mm more track between them, or one more caution: an aspect by which `A` foretells `C` too",
                    cures("B")
                )
            ),
        ]
    );
}

#[test]
fn a_train_stops_to_the_millimetre_where_there_is_just_enough_track() {
    for (mm, warned) in [(473, 1), (474, 0)] {
        let layout = line(&head("three-aspect"), &[("a", "900"), ("b", &mm.to_string()), ("c", "900")]);
        assert_eq!(warnings("just", &layout, HERON).len(), warned, "{mm} mm");
    }
}

#[test]
fn each_cure_that_is_named_cures() {
    let sections = |a: &'static str, b: &'static str| [("a", a), ("b", b), ("c", "900")];
    for (what, a, b) in [("a lower limit", "900\nlimit = 227", "400"), ("more track", "900", "474")] {
        let found = warnings("cured", &line(&head("three-aspect"), &sections(a, b)), HERON);
        assert_eq!(found, [], "{what}");
    }
    let found = warnings("not-cured", &line(&head("three-aspect"), &sections("900\nlimit = 228", "400")), HERON);
    assert_eq!(found.len(), 1, "a higher limit does not: {found:?}");
}

#[test]
fn with_two_cautions_a_train_has_begun_to_brake_a_signal_earlier() {
    let sections = [("a", "900"), ("b", "400"), ("c", "400"), ("d", "400"), ("e", "900")];
    let found = warnings("four", &line(&head("uk-four-aspect"), &sections), HERON);
    let about: Vec<&str> = found.iter().map(|(message, _)| &message[..message.find(" at ").unwrap()]).collect();
    assert_eq!(about, ["`Heron` passes `A`"], "nothing stands before the first signal to foretell it: {found:?}");
    let output = check(&folder("four", &line(&head("uk-four-aspect"), &sections), HERON), &["--spacing", "--csv"]);
    let rows: Vec<&str> = output.lines().map(str::trim_end).collect();
    assert_eq!(
        rows,
        [
            "caution,for,to,distance_mm,train,speed_mm_s,speed_km_h,needs_mm,margin_mm",
            "A,B,stop,400,Heron,250,78,473,-73",
            "A,C,stop,800,Heron,250,78,473,327",
            "B,D,stop,800,Heron,250,78,473,327",
        ]
    );
}

#[test]
fn a_train_that_was_told_of_medium_speed_comes_no_faster() {
    // Medium speed is 40 mph, 205.5 mm/s in H0. From 250 mm/s: 20 + 62.5 + (250² - 205.5²) / 160 = 209.1 mm.
    let sections = [("a", "900"), ("b", "200"), ("c", "400\nspeed-class = \"medium\""), ("d", "900")];
    let found = warnings("medium", &line(&head("us-speed"), &sections), HERON);
    let slow: Vec<_> = found.iter().filter(|(message, _)| message.contains("medium speed")).collect();
    assert_eq!(slow.len(), 1, "{found:?}");
    assert_eq!(
        slow[0].0,
        "`Heron` passes `A` at 250 mm/s (78 km/h) and needs 210 mm to come down to medium speed, 206 mm/s (64 km/h), at `B`, \
         but there are 200: 10 mm too few"
    );
    // From medium speed: 20 + 205.5 · 0.25 + 205.5² / 160 = 335.4 mm, of 400 there are.
    assert!(!found.iter().any(|(message, _)| message.contains("passes `B`")), "{found:?}");
}

#[test]
fn a_distant_signal_gives_the_caution_of_a_main_signal_that_foretells_nothing() {
    let mut layout = line(&head("de-hp"), &[("a", "900"), ("b", "900"), ("c", "900")]);
    layout += "[[signal]]\nname = \"v\"\nat = \"in.a\"\naspects = \"de-vr\"\n";
    layout = layout
        .replace("ends = [\"a.b\", \"b.a\"]", "ends = [\"a.b\", \"in.b\"]\n[[joint]]\nends = [\"in.a\", \"b.a\"]");
    layout = layout.replace(
        "length = 900\n[[section]]\nname = \"b\"\nlength = 900",
        "length = 900\n[[section]]\nname = \"in\"\nlength = 500\n[[section]]\nname = \"b\"\nlength = 450",
    );
    let found = warnings("distant", &layout, HERON);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].0.starts_with("`Heron` passes `v` at 250 mm/s (78 km/h) and needs 474 mm to stop before `B`"));
    assert!(found[0].1.ends_with("or one more caution: an aspect by which `A` foretells `B` too"), "{}", found[0].1);
}

#[test]
fn falling_track_takes_of_the_brakes_until_none_are_left() {
    // A tenth of 9.81 m/s² · 20 / 1000 is 19.6 mm/s²: 20 + 62.5 + 250² / (2 · 60.4) = 600.1 mm.
    let falls = |gradient| [("a", "900"), ("b", gradient), ("c", "900")];
    let found = warnings("fall", &line(&head("three-aspect"), &falls("600\ngradient = -20")), HERON);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].0.ends_with("needs 601 mm to stop before `B`, but there are 600: 1 mm too few"), "{}", found[0].0);
    assert_eq!(warnings("rise", &line(&head("three-aspect"), &falls("474\ngradient = 20")), HERON), []);
    let free = HERON.to_owned() + "gradient-share = 1\n";
    let found = warnings("free", &line(&head("three-aspect"), &falls("600\ngradient = -9")), &free);
    assert_eq!(found[0].0, "`Heron` cannot brake from `A` to `B`: the track falls 9 mm a metre");
}

#[test]
fn a_detector_that_speaks_late_is_told_where_a_train_has_left_its_section_by_then() {
    let text = |mm: &str, delay: &str| {
        line("[layout]\nname = \"t\"\nscale = \"H0\"", &[("a", "900"), ("b", mm)])
            + &format!("[[detector]]\narea = \"b\"\non-delay = {delay}\n")
    };
    // 250 mm/s for 2 s are 500 mm, and 20 mm of its nose are not seen.
    assert_eq!(
        warnings("late", &text("400", "2"), HERON),
        [(
            "the nose of `Heron` can have left `b` before its detector speaks, after 2 s, at 250 mm/s (78 km/h): it is 120 mm \
             too short"
                .to_owned(),
            "a `limit` of 190 mm/s (59 km/h), 120 mm more track, or a detector with less `on-delay`".to_owned()
        )]
    );
    assert_eq!(warnings("late-enough", &text("520", "2"), HERON), []);
    let found = warnings("unseen", &text("300", "2"), HERON);
    assert!(found[0].0.starts_with("the whole of `Heron` can pass `b` before"), "300 and the 160 seen: {found:?}");
}

/// A stopping point with a turnout a way behind it, and one at a short track with buffers.
const PLATFORM: &str = r#"layout = { name = "t", scale = "H0" }
[[section]]
name = "platform"
length = 500
[[section]]
name = "throat"
ways = [
  { from = "toe", to = "one", length = 240, needs = { W1 = "straight" } },
  { from = "toe", to = "two", length = 245, needs = { W1 = "diverging" } },
]
[[section]]
name = "bay"
length = 400
[[turnout]]
name = "W1"
[[joint]]
ends = ["throat.one", "platform.a"]
[[joint]]
ends = ["throat.two", "bay.a"]
[[buffer-stop]]
at = ["platform.b", "bay.b"]
[[off-layout]]
at = "throat.toe"
[[stopping-point]]
name = "halt"
at = "platform.b"
short-of-end = 60
[[stopping-point]]
name = "out"
at = "bay.a"
short-of-end = 50
"#;

#[test]
fn a_train_whose_tail_stays_on_the_turnouts_or_finds_no_track_is_told_with_how_many_others() {
    let long = |name: &str, mm: i64| {
        format!("[[train]]\nname = \"{name}\"\nvehicles = [{{ length = {mm}, detectable = true }}]\n")
    };
    let trains = long("Heron", 440) + &long("Plover", 470) + &long("Dunlin", 360) + &long("Curlew", 340);
    assert_eq!(
        warnings("tails", PLATFORM, &trains),
        [
            (
                "behind the stopping point `halt` there are 460 mm up to the turnouts of `throat`, 10 too few for `Plover`, \
                 which is 470 mm long"
                    .to_owned(),
                "less `short-of-end`, 10 mm more track, or no train of more than 460 mm there".to_owned()
            ),
            (
                "behind the stopping point `out` there are 360 mm up to the buffers at `bay.b`, 110 too few for `Plover`, which \
                 is 470 mm long; so it is with another train"
                    .to_owned(),
                "less `short-of-end`, 110 mm more track, or no train of more than 360 mm there".to_owned()
            ),
        ]
    );
}

#[test]
fn many_trains_on_many_signals_make_one_warning_a_pair_of_signals() {
    let names: Vec<String> = (0..100).map(|number| format!("s{number}")).collect();
    let sections: Vec<(&str, &str)> = names.iter().map(|name| (name.as_str(), "400")).collect();
    let trains: String = (0..10).map(|number| HERON.replace("Heron", &format!("Heron {number}"))).collect();
    let found = warnings("many", &line(&head("three-aspect"), &sections), &trains);
    assert_eq!(found.len(), 98, "one for each of 99 signals but the last, which leads to the edge");
    assert!(found.iter().all(|(message, _)| message.ends_with("74 mm too few; so it is with 9 other trains")));
}

#[test]
fn the_demo_is_spaced_for_all_of_its_trains() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout");
    let output = check(&demo, &["--spacing"]);
    assert!(output.ends_with(
        "\n36 approaches, 0 of them too short for some train. Lengths in mm.\nnote: no signal foretells S1, S3\n"
    ));
    let lines: Vec<&str> = output.lines().collect();
    assert_eq!(lines[0], "caution  for                  to    distance  train   mm/s  km/h  needs  margin");
    // 30 km/h in H0 are 95.8 mm/s: 25 + 95.8 · 0.25 + 95.8² / (2 · 88) = 101.1 mm.
    assert_eq!(lines[2], "S1       S5                   stop      3300  Heron     96    30    101    3199");
}

#[test]
fn track_that_nobody_measured_is_not_judged_and_that_is_said() {
    let layout = line(&head("three-aspect"), &[("a", "900"), ("b", "400"), ("c", "900")]).replace("length = 400\n", "");
    let output = check(&folder("unmeasured", &layout, HERON), &["--spacing"]);
    assert!(output.contains("1 approach, 0 of them too short"), "{output}");
    assert!(output.contains("note: 1 approach has track without a length: it is not judged\n"), "{output}");
    let output = check(&folder("no-trains", &layout, ""), &["--spacing"]);
    assert!(output.contains("note: there is no train whose needs could be reckoned\n"), "{output}");
}

#[test]
fn one_table_is_written_at_a_time_and_spacing_not_as_markdown() {
    let folder = folder("forms", &line(&head("three-aspect"), &[("a", "900"), ("b", "900")]), HERON);
    for arguments in [["--spacing", "--markdown"], ["--spacing", "--control-table"], ["--spacing", "--json"]] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_lineclear"));
        let ran = command.arg("check").arg(&folder).args(arguments).output().unwrap();
        assert_eq!((ran.status.code(), ran.stdout.as_slice()), (Some(2), &b""[..]), "{arguments:?}");
    }
}
