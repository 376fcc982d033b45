//! Signals: their overlaps.

use crate::{check, load};

const LINE: &str = r#"
[[section]]
name = "quay"
[[section]]
name = "line"
length = 900
[[section]]
name = "hill"
[[joint]]
ends = ["quay.b", "line.a"]
[[joint]]
ends = ["line.b", "hill.a"]
[[off-layout]]
at = ["quay.a", "hill.b"]
"#;

#[test]
fn an_overlap_is_a_list_of_sections_or_a_length() {
    let with = |overlap: &str| {
        let signal = format!("{LINE}[[signal]]\nname = \"S1\"\nat = \"quay.b\"\noverlap = {overlap}\n");
        load(&signal).unwrap_or_else(|refused| panic!("{refused}")).layout
    };
    let layout = with("[\"line\", \"hill\"]");
    let [line, hill] = ["line", "hill"].map(|name| layout.section_named(name).unwrap());
    let signal = &layout.signals[layout.signal_named("S1").unwrap()];
    assert_eq!(signal.overlap, track::Overlap::Sections(vec![line, hill]));
    let layout = with("600");
    let signal = &layout.signals[layout.signal_named("S1").unwrap()];
    assert_eq!(signal.overlap, track::Overlap::Length(track::Length::from_mm(600)));
    assert_eq!(layout.overlap_sections(signal.at), [line]);
}

#[test]
fn overlaps_that_cannot_be() {
    check(
        &format!(
            "{LINE}{}",
            r#"[[signal]]
name = "S1"
at = "quay.b"
overlap = ["hill"]
[[signal]]
name = "S2"
at = "line.b"
overlap = "hill"
[[signal]]
name = "S3"
at = "hill.b"
overlap = 400
[[signal]]
name = "S4"
at = "line.a"
overlap = ["qauy"]
[[signal]]
name = "S5"
at = "hill.a"
overlap = 1200
"#
        ),
        r#"
            layout 3:8-14 mistake: this way through `quay` needs a length: an overlap is measured along it
            hint: measure it, and add `length = ...` in millimetres
            layout 18:12-18 mistake: `hill` does not lie behind this signal
            hint: an overlap begins behind its signal and has no gap; name the sections between, too
            layout 22:11-17 mistake: `overlap` is a list of sections, or a number of millimetres, not a text
            hint: put it in brackets: `overlap = ["hill"]`
            layout 26:11-14 mistake: nothing is known of the track behind this signal, so it has no overlap
            hint: the overlap of a signal is the track beyond it
            layout 30:12-18 mistake: no section is named `qauy`
            hint: the nearest name is `quay`
        "#,
    );
}
