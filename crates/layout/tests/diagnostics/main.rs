//! Every mistake a layout's files can hold: text in, diagnostics out.

#![cfg(test)]

mod axles;
mod behaviour;
mod big;
mod books;
mod demo;
mod drawing;
mod electrics;
mod fittings;
mod keys;
mod links;
mod read;
mod reference;
mod shown;
mod signals;
mod speeds;
mod track;
mod trains;
mod wiring;

use layout::{Diagnostics, Loaded, Refused};

/// What stands in a fixture's first line where it has no `[layout]` of its own.
const HEAD: &str = "layout = { name = \"t\", scale = \"H0\" }";

/// Loads a fixture: the text of `layout.toml`, and behind a line such as `--- trains.toml` that of another file.
fn load(fixture: &str) -> Result<Loaded, Refused> {
    let mut files = vec![("layout.toml", String::new())];
    for line in fixture.lines() {
        match line.strip_prefix("--- ") {
            Some(name) => files.push((name, String::new())),
            None => {
                let (_, text) = files.last_mut().unwrap();
                text.push_str(line);
                text.push('\n');
            }
        }
    }
    if !fixture.contains("[layout]") {
        files[0].1.insert_str(0, HEAD);
    }
    layout::load(|name| Ok(files.iter().find(|(file, _)| *file == name).map(|(_, text)| text.clone().into_bytes())))
}

/// Holds the diagnostics of a fixture against `expect`, one in two lines: where, how bad and what; then what would be
/// right.
///
/// A layout without mistakes and warnings gives nothing. Lines are counted from the one the fixture's quote opens in.
#[track_caller]
fn check(fixture: &str, expect: &str) {
    let found = match load(fixture) {
        Ok(loaded) => in_lines(&loaded.warnings),
        Err(Refused::Mistakes(diagnostics)) => in_lines(&diagnostics),
        Err(Refused::Unreadable(unreadable)) => unreadable.to_string(),
    };
    let expect: Vec<&str> = expect.lines().map(str::trim).filter(|line| !line.is_empty()).collect();
    let found: Vec<&str> = found.lines().map(str::trim).filter(|line| !line.is_empty()).collect();
    assert_eq!(found, expect, "found:\n{}\n", found.join("\n"));
}

fn in_lines(diagnostics: &Diagnostics) -> String {
    let lines = diagnostics.iter().map(|diagnostic| {
        let (from, to) = diagnostics.places(diagnostic);
        let file = diagnostics.file(diagnostic).trim_end_matches(".toml");
        let hint = diagnostic.hint.as_ref().map(|hint| format!("\n  hint: {hint}")).unwrap_or_default();
        let (word, message) = (diagnostic.severity.word(), &diagnostic.message);
        let to = if from.line == to.line { to.column.to_string() } else { format!("{}:{}", to.line, to.column) };
        format!("{file} {}:{}-{to} {word}: {message}{hint}\n", from.line, from.column)
    });
    lines.collect()
}
