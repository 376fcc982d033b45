//! A layout far larger than any table.

use std::fmt::Write as _;

use layout::Refused;

const SECTIONS: usize = 100_000;

/// A hundred thousand sections in a row, with a signal and a stopping point at every tenth.
fn big() -> String {
    let mut text = String::from("[layout]\nname = \"big\"\nscale = \"N\"\n");
    for number in 0..SECTIONS {
        writeln!(text, "[[section]]\nname = \"s{number}\"\nlength = 1200").unwrap();
        if number > 0 {
            writeln!(text, "[[joint]]\nends = [\"s{}.b\", \"s{number}.a\"]", number - 1).unwrap();
        }
        if number % 10 == 0 {
            writeln!(text, "[[signal]]\nname = \"S{number}\"\nat = \"s{number}.b\"").unwrap();
            writeln!(text, "[[stopping-point]]\nat = \"s{number}.b\"\nshort-of-end = 50").unwrap();
        }
    }
    writeln!(text, "[[off-layout]]\nat = [\"s0.a\", \"s{}.b\"]", SECTIONS - 1).unwrap();
    text
}

fn load(text: &str) -> Result<layout::Loaded, Refused> {
    layout::load(|name| Ok((name == "layout.toml").then(|| text.as_bytes().to_vec())))
}

#[test]
fn a_hundred_thousand_sections_are_loaded_and_checked() {
    let loaded = load(&big()).unwrap();
    assert_eq!(loaded.layout.sections.len(), SECTIONS);
    assert_eq!(loaded.layout.signals.len(), SECTIONS / 10);
    assert!(loaded.warnings.is_empty(), "{}", loaded.warnings);
    let last = loaded.layout.sections.ids().next_back().unwrap();
    let [a, b] = loaded.layout.sections[last].ends[..] else { panic!("two ends") };
    assert_eq!(loaded.layout.ends[a].meets.len(), 1);
    assert_eq!(loaded.layout.ends[b].beyond, track::Beyond::OffLayout);
}

#[test]
fn a_slip_among_a_hundred_thousand_sections_is_found() {
    let spoiled = big().replace("ends = [\"s77.b\", \"s78.a\"]", "ends = [\"s77.b\", \"z78.a\"]");
    let Err(Refused::Mistakes(diagnostics)) = load(&spoiled) else { panic!("accepted") };
    let messages: Vec<_> = diagnostics.iter().map(|diagnostic| diagnostic.message.as_str()).collect();
    assert_eq!(messages, ["no section is named `z78`"]);
}
