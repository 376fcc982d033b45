//! Lines in, claims and complaints out, without a process around them.

use std::io::Cursor;
use std::sync::Arc;

use track::{Beyond, Builder, Detector, DetectorKind, District, Layout, Link, Scale};

use super::reader::{LINES_OF_AN_INSTANT, LONGEST_LINE};
use super::{BadLine, Ending, Facts, Signals, Wanted, trace};

/// Two sections of the harbour branch, end to end, a second quay, and a section apart.
fn branch() -> Arc<Layout> {
    let mut builder = Builder::new("Low Staithe", Scale::named("H0").unwrap());
    let quay = builder.plain_section("quay-1", None);
    let main = builder.plain_section("main-1", None);
    builder.plain_section("hill \"top\"", None);
    let (leave, enter) = (builder.layout().sections[quay].ends[1], builder.layout().sections[main].ends[0]);
    builder.join(leave, enter);
    // A second quay whose end meets the same end of the line as the first one's.
    let other = builder.plain_section("quay-9", None);
    builder.join(builder.layout().sections[other].ends[1], enter);
    builder.signal("W2", leave);
    builder.turnout("W1");
    Arc::new(builder.build())
}

fn run(input: impl Into<Vec<u8>>, bad_line: BadLine) -> (Ending, String, String) {
    run_on(branch(), input, Facts::Silent, bad_line)
}

fn run_on(layout: Arc<Layout>, input: impl Into<Vec<u8>>, facts: Facts, bad_line: BadLine) -> (Ending, String, String) {
    let (mut output, mut complaints) = (Vec::new(), Vec::new());
    let (input, wanted) = (Cursor::new(input.into()), Wanted { signals: Signals::Silent, facts });
    let ending = trace(layout, input, &mut output, &mut complaints, wanted, bad_line).unwrap();
    (ending, String::from_utf8(output).unwrap(), String::from_utf8(complaints).unwrap())
}

/// What is said of one bad line after a good one.
fn complaint(line: &str) -> String {
    let good = "{\"at\": 5.0, \"section\": \"quay-1\", \"occupied\": false}\n";
    let (ending, _, complaints) = run(format!("{good}{line}\n"), BadLine::Stops);
    assert_eq!(ending, Ending::Stopped, "{line} was taken");
    complaints
}

#[track_caller]
fn refused(line: &str, words: &str) {
    let complaint = complaint(line);
    assert!(complaint.starts_with("error: line 2: "), "{complaint}");
    assert!(complaint.contains(words), "`{words}` is not in: {complaint}");
}

#[test]
fn a_line_that_makes_no_sense_is_refused_with_its_number_and_what_would_be_right() {
    refused("garbage", "expected value");
    refused("[1, 2]", "expected an object");
    refused("{\"at\": NaN, \"lift\": \"Heron\"}", "column 8");
    refused("{\"at\": 1e999, \"lift\": \"Heron\"}", "too far away");
    refused("{\"at\": -3, \"lift\": \"Heron\"}", "before the start");
    refused("{\"at\": \"noon\", \"lift\": \"Heron\"}", "not a number");
    refused("{\"at\": 6, \"at\": 6, \"section\": \"quay-1\", \"occupied\": true}", "`at` stands there twice");
    refused("{\"section\": \"quay-1\", \"occupied\": true}", "`at` is missing");
    refused("{\"at\": 6, \"section\": \"quay-1\"}", "`occupied` is missing");
    refused("{\"at\": 6, \"section\": \"quay-1\", \"occupied\": 1}", "`true` or `false`");
    refused("{\"at\": 6, \"section\": \"quay-2\", \"occupied\": true}", "hint: the nearest name is `quay-1`");
    refused("{\"at\": 6, \"section\": \"quay-1\", \"ocupied\": true}", "hint: the nearest name is `occupied`");
    refused(
        "{\"at\": 6, \"section\": \"quay-1\", \"occupied\": true, \"train\": \"Heron\"}",
        "`train` does not belong",
    );
    refused("{\"at\": 6, \"section\": \"quay-1\", \"lift\": \"Heron\"}", "about `section` and `lift`");
    refused("{\"at\": 6}", "does not say what it is about");
    refused("{\"at\": 6, \"turnout\": \"W1\", \"lies\": \"left\"}", "`straight`, `diverging` or `unknown`");
    refused("{\"at\": 6, \"signal\": \"W2\", \"shows\": \"read\"}", "hint: the nearest name is `red`");
    refused("{\"at\": 6, \"signal\": \"W2\"}", "one of `shows`, `held` and `called-on`");
    refused("{\"at\": 6, \"reader\": \"gate\", \"train\": \"Heron\"}", "no reader is named `gate`");
    refused("{\"at\": 6, \"spot\": \"magnet\"}", "no spot is named `magnet`");
    refused("{\"at\": 6, \"district\": \"hil\", \"live\": true}", "no power district is named `hil`");
    refused("{\"at\": 6, \"district\": \"hil\"}", "no power district is named `hil`");
    refused("{\"at\": 6, \"link\": \"west\", \"live\": true}", "`live` does not belong beside `link`");
    refused("{\"at\": 6, \"identify\": \"Heron\"}", "`in` is missing");
    refused("{\"at\": 6, \"identify\": \"Heron\", \"in\": \"quay-2\"}", "hint: the nearest name is `quay-1`");
    refused("{\"at\": 6, \"remember\": \"Heron\", \"on\": [\"quay-1\"], \"nose\": \"main-1.a\"}", "the nose points at");
    refused("{\"at\": 4.9, \"section\": \"quay-1\", \"occupied\": true}", "time goes back from 5 to 4.9");
    refused("{\"at\": 6, \"section\": \"quay-1\", \"occupied\": true} {}", "trailing characters");
}

#[test]
fn a_train_that_was_never_put_down_is_taken_off_with_a_warning() {
    let input = "{\"at\": 1, \"lift\": \"Heron\"}\n{\"at\": 2, \"section\": \"quay-1\", \"occupied\": false}\n";
    let (ending, output, complaints) = run(input, BadLine::Stops);
    assert_eq!(ending, Ending::Complete);
    assert_eq!(complaints, "warning: line 1: no train is named `Heron`: it was never put down here\n");
    assert_eq!(output, "{\"at\": 2.0, \"section\": \"quay-1\", \"free\": true}\n");
}

#[test]
fn a_train_that_is_put_down_where_no_train_can_stand_is_refused() {
    refused("{\"at\": 6, \"place\": \"Heron\", \"on\": []}", "must stand on some section");
    refused("{\"at\": 6, \"place\": \"Heron\", \"on\": [\"yard-9\"]}", "no section is named `yard-9`");
    refused(
        "{\"at\": 6, \"place\": \"Heron\", \"on\": [\"quay-1\", \"main-1\", \"quay-9\"]}",
        "no way through `main-1` leads there",
    );
    refused("{\"at\": 6, \"place\": \"Heron\", \"on\": [\"quay-1\", \"quay-1\"]}", "names `quay-1` twice");
    refused("{\"at\": 6, \"place\": \"Heron\", \"on\": [\"quay-1\", \"hill \\\"top\\\"\"]}", "they do not meet");
    refused("{\"at\": 6, \"place\": \"Heron\", \"on\": [\"quay-1\"], \"nose\": \"main-1.a\"}", "the nose points at");
    refused("{\"at\": 6, \"place\": \"\", \"on\": [\"quay-1\"]}", "names no train");
    let twice = "{\"at\": 6, \"place\": \"Heron\", \"on\": [\"main-1\"]}\n{\"at\": 6, \"place\": \"Heron\", \"on\": [\"quay-1\"]}";
    assert!(complaint(twice).contains("put down elsewhere in the same instant"));
}

#[test]
fn a_file_that_is_no_text_is_refused_without_falling_over() {
    let binary: Vec<u8> = (0..100_000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
    let (ending, output, complaints) = run(binary.clone(), BadLine::Stops);
    assert_eq!((ending, output.as_str()), (Ending::Stopped, ""));
    assert!(complaints.starts_with("error: line 1: "), "{complaints}");
    let (ending, output, complaints) = run(binary, BadLine::IsSkipped);
    assert_eq!((ending, output.as_str()), (Ending::Complete, ""));
    assert!(complaints.contains("lines left out"), "{complaints}");
}

#[test]
fn a_line_without_end_is_refused_once_and_the_next_one_is_read() {
    let mut input = vec![b'x'; 5 * LONGEST_LINE];
    input.extend_from_slice(b"\n{\"at\": 1, \"section\": \"quay-2\", \"occupied\": true}\n");
    let (ending, _, complaints) = run(input, BadLine::IsSkipped);
    assert_eq!(ending, Ending::Complete);
    let lines: Vec<&str> = complaints.lines().filter(|line| line.starts_with("error")).collect();
    assert_eq!(lines, ["error: line 1: longer than 1048576 bytes", "error: line 2: no section is named `quay-2`"]);
}

#[test]
fn a_recording_may_begin_with_a_mark_that_it_is_utf_8() {
    let line = "{\"at\": 1, \"section\": \"quay-1\", \"occupied\": false}\n";
    assert_eq!(run(format!("\u{feff}{line}"), BadLine::Stops), run(line, BadLine::Stops));
    assert!(complaint(&format!("\u{feff}{line}")).contains("line 2: column 1"), "elsewhere it is no JSON");
}

#[test]
fn what_is_no_json_is_told_in_plain_words() {
    refused("[1, 2]", "line 2: `[1, 2]`: invalid type");
    refused(
        "{\"at\": 6, \"section\": \"quay",
        "column 26 of `{\"at\": 6, \"section\": \"quay`: the line ends within a string",
    );
    refused("hello", "column 1 of `hello`: expected value");
}

#[test]
fn an_instant_that_never_ends_is_refused() {
    let line = "{\"at\":1,\"section\":\"quay-1\",\"occupied\":true}\n";
    let (ending, _, complaints) = run(line.repeat(LINES_OF_AN_INSTANT + 1), BadLine::Stops);
    assert_eq!(ending, Ending::Stopped);
    assert!(complaints.contains("lines of one instant"), "{complaints}");
}

#[test]
fn empty_lines_and_a_last_line_without_end_are_taken() {
    let (ending, _, complaints) =
        run("\n  \r\n{\"at\": 1, \"section\": \"quay-1\", \"occupied\": true}", BadLine::Stops);
    assert_eq!((ending, complaints.as_str()), (Ending::Complete, ""));
    assert_eq!(run("", BadLine::Stops), (Ending::Complete, String::new(), String::new()));
}

#[test]
fn the_quick_reader_and_the_careful_one_hear_the_same() {
    let layout = branch();
    let names = super::names::Names::new(&layout);
    for line in [
        "{\"at\": 12.5, \"section\": \"quay-1\", \"occupied\": true}",
        " { \"occupied\" :false,\t\"section\":\"main-1\" , \"at\":0.000000001 } \r",
        "{\"turnout\": \"W1\", \"lies\": \"diverging\", \"at\": 99999.25}",
        "{\"turnout\": \"W1\", \"lies\": \"unknown\", \"at\": 7}",
        "{\"at\": 91.0, \"signal\": \"W2\", \"shows\": \"yellow\"}",
        "{\"at\": 92.0, \"signal\": \"W2\", \"held\": true}",
    ] {
        let quick = super::quick::read(line.as_bytes(), 7, &names).unwrap_or_else(|| panic!("not quick: {line}"));
        let heard = super::careful::read(line.as_bytes(), 7, &layout, &names).unwrap();
        assert_eq!(quick, (heard.at, heard.input), "for {line}");
    }
}

#[test]
fn the_quick_reader_leaves_whatever_is_unusual_to_the_careful_one() {
    let names = super::names::Names::new(&branch());
    for line in [
        "",
        "{}",
        "{\"at\": 1}",
        "{\"at\": 1, \"section\": \"quay-1\", \"occupied\": true",
        "{\"at\": 1, \"section\": \"quay-1\", \"occupied\": true,}",
        "{\"at\": 1, \"section\": \"quay-1\", \"occupied\": true} x",
        "{\"at\": 1, \"section\": \"quay-1\", \"occupied\": truth}",
        "{\"at\": 1, \"section\": \"quay-1\", \"occupied\": true, \"held\": true}",
        "{\"at\": 1, \"section\": \"quay-1\", \"occupied\": true, \"lies\": \"straight\"}",
        "{\"at\": 1, \"section\": \"quay\\u002d1\", \"occupied\": true}",
        "{\"at\": 01, \"section\": \"quay-1\", \"occupied\": true}",
        "{\"at\": 1., \"section\": \"quay-1\", \"occupied\": true}",
        "{\"at\": -1, \"section\": \"quay-1\", \"occupied\": true}",
        "{\"at\": 1e3, \"section\": \"quay-1\", \"occupied\": true}",
        "{\"at\": 1.0000000001, \"section\": \"quay-1\", \"occupied\": true}",
        "{\"at\": 12345678901, \"section\": \"quay-1\", \"occupied\": true}",
        "{\"at\": 1, \"section\": \"nowhere\", \"occupied\": true}",
    ] {
        assert!(super::quick::read(line.as_bytes(), 1, &names).is_none(), "taken: {line}");
    }
}

/// The branch in two power districts, with a spot, and all of it on one link.
fn wired_branch() -> Arc<Layout> {
    let mut layout = Layout::clone(&branch());
    let harbour = layout.districts.push(District { name: "harbour".into(), voltage: None, is_switched: false });
    let link = layout.links.push(Link { name: "west".into(), orders_a_second: None });
    for section in ["quay-1", "main-1", "quay-9"] {
        let section = layout.section_named(section).unwrap();
        layout.sections[section].district = Some(harbour);
        let detector = layout.sections[section].detector.unwrap();
        layout.detectors[detector].link = Some(link);
    }
    for end in layout.ends.ids().filter(|&end| layout.ends[end].meets.is_empty()).collect::<Vec<_>>() {
        layout.ends[end].beyond = Beyond::BufferStop;
    }
    let way = layout.sections[layout.section_named("main-1").unwrap()].ways[0];
    layout.detectors.push(Detector::new("magnet", DetectorKind::Spot { way, from_first_end: None }));
    Arc::new(layout)
}

fn facts(lines: &[&str]) -> String {
    let (ending, output, complaints) = run_on(wired_branch(), lines.join("\n"), Facts::Told, BadLine::Stops);
    assert_eq!((ending, complaints.as_str()), (Ending::Complete, ""));
    let of_sections = |line: &&str| !line.contains("\"section\":");
    output.lines().filter(of_sections).collect::<Vec<_>>().join("\n")
}

#[test]
fn a_power_district_and_a_link_that_fail_in_a_recording_are_told_of() {
    let said = facts(&[
        "{\"at\": 1, \"place\": \"Heron\", \"on\": [\"quay-1\"]}",
        "{\"at\": 1, \"section\": \"quay-1\", \"occupied\": true}",
        "{\"at\": 1, \"section\": \"main-1\", \"occupied\": false}",
        "{\"at\": 1, \"section\": \"quay-9\", \"occupied\": false}",
        "{\"at\": 5, \"district\": \"harbour\", \"live\": false}",
        "{\"at\": 5.1, \"section\": \"quay-1\", \"occupied\": false}",
        "{\"at\": 9, \"district\": \"harbour\", \"live\": true}",
        "{\"at\": 9.1, \"section\": \"quay-1\", \"occupied\": true}",
        "{\"at\": 20, \"link\": \"west\", \"up\": false}",
        "{\"at\": 30, \"link\": \"west\", \"up\": true}",
        "{\"at\": 30.1, \"section\": \"quay-1\", \"occupied\": true}",
        "{\"at\": 30.1, \"section\": \"main-1\", \"occupied\": false}",
        "{\"at\": 30.1, \"section\": \"quay-9\", \"occupied\": false}",
    ]);
    assert_eq!(
        said,
        "{\"at\": 5.0, \"district\": \"harbour\", \"live\": false, \"because\": \"it was reported\"}\n\
         {\"at\": 9.5, \"district\": \"harbour\", \"live\": true}\n\
         {\"at\": 20.0, \"link\": \"west\", \"up\": false}\n\
         {\"at\": 30.6, \"link\": \"west\", \"up\": true}"
    );
}

#[test]
fn a_detector_that_a_recording_shows_to_fail_is_named() {
    let mut lines = vec![
        "{\"at\": 1, \"place\": \"Heron\", \"on\": [\"hill \\\"top\\\"\"]}".to_owned(),
        "{\"at\": 1, \"section\": \"hill \\\"top\\\"\", \"occupied\": true}".to_owned(),
        "{\"at\": 1, \"section\": \"main-1\", \"occupied\": false}".to_owned(),
        "{\"at\": 1, \"section\": \"quay-1\", \"occupied\": false}".to_owned(),
        "{\"at\": 1, \"section\": \"quay-9\", \"occupied\": false}".to_owned(),
    ];
    for time in 1..4 {
        lines.push(format!("{{\"at\": {time}00, \"section\": \"quay-9\", \"occupied\": true}}"));
        lines.push(format!("{{\"at\": {time}20, \"section\": \"quay-9\", \"occupied\": false}}"));
    }
    let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
    let said = facts(&lines);
    let suspected = said.lines().filter(|line| line.contains("suspect")).collect::<Vec<_>>();
    assert_eq!(
        suspected,
        [
            "{\"at\": 321.0, \"suspect\": \"section\", \"name\": \"quay-9\", \"because\": \"`quay-9` filled 3 times with \
          nothing there, in 0 passages: moisture, or something across the rails\"}"
        ]
    );
}

#[test]
fn a_train_is_remembered_named_and_passes_a_spot() {
    let lines = [
        "{\"at\": 0, \"remember\": \"Heron\", \"on\": [\"quay-1\"], \"nose\": \"quay-1.b\"}",
        "{\"at\": 1, \"section\": \"quay-1\", \"occupied\": true}",
        "{\"at\": 1, \"section\": \"main-1\", \"occupied\": false}",
        "{\"at\": 1, \"section\": \"quay-9\", \"occupied\": false}",
        "{\"at\": 2, \"section\": \"main-1\", \"occupied\": true}",
        "{\"at\": 2.5, \"spot\": \"magnet\"}",
        "{\"at\": 9, \"identify\": \"Heron\", \"in\": \"main-1\"}",
    ];
    let (ending, output, complaints) = run_on(wired_branch(), lines.join("\n"), Facts::Silent, BadLine::Stops);
    assert_eq!((ending, complaints.as_str()), (Ending::Complete, ""));
    let last = output.lines().rfind(|line| line.contains("main-1"));
    assert_eq!(last, Some("{\"at\": 2.0, \"section\": \"main-1\", \"train\": \"Heron\", \"sure\": true}"), "{output}");
}

/// `quay-1` and `main-1`, a signal between them and one at the far end of `main-1`.
fn line_with_signals() -> Arc<Layout> {
    let mut builder = Builder::new("Low Staithe", Scale::named("H0").unwrap());
    let [quay, main, top] = ["quay-1", "main-1", "top"].map(|name| builder.plain_section(name, None));
    for (from, to, name) in [(quay, main, "S2"), (main, top, "S4")] {
        let (leave, enter) = (builder.layout().sections[from].ends[1], builder.layout().sections[to].ends[0]);
        builder.join(leave, enter);
        builder.signal(name, leave);
    }
    builder.close(builder.layout().sections[top].ends[1], Beyond::BufferStop);
    Arc::new(builder.build())
}

#[test]
fn a_route_is_set_by_its_name_and_told_as_it_is_used() {
    let free = |at: &str, section: &str| format!("{{\"at\": {at}, \"section\": \"{section}\", \"occupied\": false}}\n");
    let fill = |at: &str, section: &str| free(at, section).replace("false", "true");
    let mut input = free("0", "quay-1") + &free("0", "main-1") + &free("0", "top");
    input += "{\"at\": 1, \"set\": \"S2-S4\"}\n";
    input += &(fill("2", "quay-1") + &fill("3", "main-1") + &free("4", "quay-1"));
    input += "{\"at\": 5, \"set\": \"S2-S4\"}\n";
    let (ending, output, complaints) = run_on(line_with_signals(), input.as_str(), Facts::Told, BadLine::IsSkipped);
    assert_eq!(ending, Ending::Complete, "{complaints}");
    let stages: Vec<&str> = output.lines().filter(|line| line.contains("\"route\"")).collect();
    let line = |at: &str, stage: &str| {
        format!("{{\"at\": {at}, \"route\": \"S2\", \"exit\": \"S4\", \"stage\": \"{stage}\"}}")
    };
    assert_eq!(
        stages,
        [
            line("1.0", "called"),
            line("1.0", "cleared"),
            line("2.0", "approach-locked"),
            line("3.0", "used"),
            line("3.0", "released")
        ]
    );
    assert!(complaints.contains("`main-1` is occupied"), "{complaints}");
}

#[test]
fn a_wish_that_names_nothing_is_refused_with_the_nearest_name() {
    let told = |line: &str| {
        let (_, _, complaints) = run_on(line_with_signals(), line, Facts::Silent, BadLine::Stops);
        complaints
    };
    assert!(told("{\"at\": 1, \"set\": \"S2-S5\"}").contains("the nearest name is `S2-S4`"));
    assert!(told("{\"at\": 1, \"set\": \"S9-S4\"}").contains("no route is named `S9-S4`"));
    assert!(told("{\"at\": 1, \"cancel\": \"S3\"}").contains("no signal is named `S3`"));
    assert!(told("{\"at\": 1, \"in-service\": \"top\"}").contains("`top` is not out of service"));
    refused("{\"at\": 6, \"throw\": \"W1\", \"to\": \"left\"}", "hint: write `straight` or `diverging`");
}
