//! `lineclear check --aspects`: what signals can show, when they show it, and with which lamps.

use std::collections::BTreeSet;
use std::io::{self, Write};

use track::{Aspect, AspectBook, AspectRow, Layout, Lie, Next, Overlap, Role, Rule, SignalId};

/// Writes every book that some signal is shown by, and what is said of single signals.
pub(crate) fn write(output: &mut impl Write, layout: &Layout) -> io::Result<()> {
    if layout.signals.is_empty() {
        return writeln!(output, "the layout has no signal");
    }
    for (id, book) in layout.books.iter() {
        let signals: Vec<SignalId> = layout.signals.ids().filter(|&it| layout.signals[it].book == id).collect();
        if !signals.is_empty() {
            write_book(output, layout, book, &signals)?;
        }
    }
    Ok(())
}

fn write_book(output: &mut impl Write, layout: &Layout, book: &AspectBook, signals: &[SignalId]) -> io::Result<()> {
    let what = match book.role() {
        Role::Main => "main signals",
        Role::Distant => "distant signals",
    };
    writeln!(output, "{}: {what}", book.title())?;
    if !book.parts().source.is_empty() {
        writeln!(output, "  after: {}", book.parts().source)?;
    }
    let width = book.aspects().map(|(_, row)| row.name.chars().count()).max().unwrap_or(0);
    writeln!(output)?;
    for (_, row) in book.aspects() {
        let expect = row.expect.map_or_else(String::new, |expect| format!(", expect {expect}"));
        writeln!(output, "  {:width$}  pass {}{expect}{}", row.name, row.pass, lamps(row))?;
        if !row.says.is_empty() {
            writeln!(output, "  {:width$}    {}", "", row.says)?;
        }
    }
    writeln!(output)?;
    let stop = book.name(Aspect::STOP).unwrap_or_default();
    writeln!(
        output,
        "  {stop:width$}  where anything is not known good, and in occupied track but for what is said below"
    )?;
    for rule in &book.parts().rules {
        writeln!(output, "  {:width$}  {}", book.name(rule.show).unwrap_or_default(), in_words(rule, book))?;
    }
    let betters = lamps_that_must_be_watched(book);
    if !betters.is_empty() {
        writeln!(output, "\n  lamps that must be watched, for without one the signal looks better than it is:")?;
        for (shown, lamp, looks) in betters {
            writeln!(output, "  {shown:width$}  without {lamp} looks like {looks}")?;
        }
    }
    writeln!(output)?;
    for &signal in signals {
        write_signal(output, layout, signal)?;
    }
    writeln!(output)
}

fn write_signal(output: &mut impl Write, layout: &Layout, signal: SignalId) -> io::Result<()> {
    let row = &layout.signals[signal];
    let mut words = vec![format!("at {}", layout.end_name(row.at))];
    if row.is_permissive {
        words.push("permissive".to_owned());
    }
    if row.is_approach_lit {
        words.push("lit on approach".to_owned());
    }
    if row.is_controlled {
        words.push("controlled".to_owned());
    }
    match &row.overlap {
        Overlap::None => {}
        Overlap::Sections(sections) => {
            let names: Vec<&str> = sections.iter().map(|&section| layout.sections[section].name.as_str()).collect();
            words.push(format!("overlap {}", names.join(", ")));
        }
        Overlap::Length(length) => words.push(format!("overlap {:.0} mm", length.mm())),
    }
    writeln!(output, "  signal {} {}", row.name, words.join("; "))
}

fn lamps(row: &AspectRow) -> String {
    let mut words = Vec::new();
    if !row.lamps.is_empty() {
        words.push(format!("lit {}", row.lamps.join(", ")));
    }
    if !row.flashing.is_empty() {
        words.push(format!("flashing {}", row.flashing.join(", ")));
    }
    if words.is_empty() { String::new() } else { format!("; {}", words.join("; ")) }
}

/// When a rule holds.
fn in_words(rule: &Rule, book: &AspectBook) -> String {
    let mut words = vec![if rule.occupied { "occupied" } else { "clear" }.to_owned()];
    if let Some(clear) = &rule.clear {
        let most = track::MOST_CLEAR;
        let count = |it: &u8| if *it == most { format!("{it} or more") } else { it.to_string() };
        words.push(format!("{} stretches", clear.iter().map(count).collect::<Vec<_>>().join(" or ")));
    }
    if let Some(next) = &rule.next {
        let name = |next: &Next| match next {
            Next::Shows(aspect) => {
                book.read_rows().get(usize::from(aspect.0)).map_or_else(String::new, |row| row.name.clone())
            }
            Next::BufferStop => "a buffer stop".to_owned(),
            Next::Edge => "the layout's edge".to_owned(),
        };
        words.push(format!("next {}", next.iter().map(name).collect::<Vec<_>>().join(" or ")));
    }
    words.extend(
        rule.path.map(|path| if path == Lie::Straight { "path straight" } else { "path diverging" }.to_owned()),
    );
    if let Some(speed) = &rule.speed {
        let classes: Vec<String> = speed.iter().map(ToString::to_string).collect();
        words.push(format!("{} speed", classes.join(" or ")));
    }
    let flag = |flag: Option<bool>, yes: &str, no: &str| flag.map(|flag| if flag { yes } else { no }.to_owned());
    words.extend(flag(rule.approached, "a train before it", "no train before it"));
    words.extend(flag(rule.permissive, "permissive", "absolute"));
    words.extend(flag(rule.called_on, "a train called on", "no train called on"));
    words.join(", ")
}

/// Aspects that look like a less restrictive one when a lamp fails (49 CFR 236.23 forbids that): aspect, lamp, what it
/// looks like.
fn lamps_that_must_be_watched(book: &AspectBook) -> Vec<(&str, &str, &str)> {
    let look = |lamps: &[String], without: Option<usize>| -> BTreeSet<String> {
        lamps.iter().enumerate().filter(|(place, _)| Some(*place) != without).map(|(_, lamp)| lamp.clone()).collect()
    };
    let mut found = Vec::new();
    for (aspect, row) in book.aspects() {
        let better = || book.aspects().filter(|(other, _)| *other > aspect).map(|(_, row)| row);
        for place in 0..row.lamps.len() {
            let left = (look(&row.lamps, Some(place)), look(&row.flashing, None));
            if let Some(twin) = better().find(|other| (look(&other.lamps, None), look(&other.flashing, None)) == left) {
                found.push((row.name.as_str(), row.lamps[place].as_str(), twin.name.as_str()));
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The page of a line with one signal of a book.
    fn page(book: &str) -> String {
        let track = format!(
            "[layout]\nname = \"t\"\nscale = \"H0\"\naspects = \"{book}\"\n[[section]]\nname = \"quay\"\n[[section]]\nname = \"line\"\n\
             [[joint]]\nends = [\"quay.b\", \"line.a\"]\n[[off-layout]]\nat = [\"quay.a\", \"line.b\"]\n\
             [[signal]]\nname = \"S1\"\nat = \"quay.b\"\noverlap = [\"line\"]\npermissive = true\n"
        );
        let loaded = layout::load(|name| Ok((name == "layout.toml").then(|| track.clone().into_bytes())));
        let mut page = Vec::new();
        write(&mut page, &loaded.unwrap_or_else(|refused| panic!("{refused}")).layout).unwrap();
        String::from_utf8(page).unwrap()
    }

    #[test]
    fn a_page_tells_what_a_signal_shows_and_when() {
        assert_eq!(
            page("three-aspect").trim_end(),
            "three-aspect: main signals\n  after: common practice, no source\n\n\
             \x20 red     pass stop; lit red\n            stop\n\
             \x20 yellow  pass normal, expect stop; lit yellow\n            the next signal may be at danger\n\
             \x20 green   pass normal, expect normal; lit green\n            proceed\n\n\
             \x20 red     where anything is not known good, and in occupied track but for what is said below\n\
             \x20 yellow  clear, next red or a buffer stop or the layout's edge\n\
             \x20 green   clear, next yellow or green\n\n\
             \x20 signal S1 at quay.b; permissive; overlap line"
        );
    }

    #[test]
    fn a_lamp_without_which_a_signal_looks_better_is_told_of() {
        assert!(page("de-hp").contains("Hp 2         without yellow looks like Hp 1"), "{}", page("de-hp"));
        assert!(!page("three-aspect").contains("watched"));
    }
}
