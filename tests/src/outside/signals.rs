//! What real four-aspect signals showed, against what ours show from the same track circuits.
//!
//! Beside the track circuits three things go in: what the last signal showed, whose look-ahead lies beyond the
//! recording; when a person kept a signal at red, read off the recording as red for more than ten seconds over free
//! track; and how each section was before it was first reported. Not judged are ten seconds after any section fills or
//! empties, and whatever lies within five hours in which nothing at all was recorded.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;

use serde_json::{Value, json};

use super::folder;
use super::lamps::{Lamps, Timeline, value_at};
use crate::program::{lineclear, root, scratch};

const ASPECTS: [&str; 4] = ["red", "single yellow", "double yellow", "green"];
/// Red for longer over free track is a person's doing.
const HELD_S: f64 = 10.0;
const SETTLING_S: f64 = 10.0;
const GAP_S: f64 = 5.0 * 3600.0;
/// Agreement by time that must be reached, in per cent.
const FLOOR: f64 = 99.9;

/// The line with a signal before the sections of each, the four-aspect book, and the stretch behind the last signal as
/// its overlap.
fn layout(folder: &Path, lamps: &Lamps) -> String {
    let made = scratch("outside-signals");
    let script = root().join("scripts/layout-from-joints");
    let ran = Command::new(script)
        .args([folder.join("sections.csv"), folder.join("joints.csv"), made.clone()])
        .output()
        .unwrap();
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let file = made.join("layout.toml");
    let mut text = std::fs::read_to_string(&file).unwrap();
    let first = &lamps.signals[0].1[0];
    let (edge, book) = (format!("\"{first}.b\""), "scale = \"1:1\"\naspects = \"uk-four-aspect\"");
    assert!(text.contains(&format!("  {edge},")), "the line begins at {edge}");
    text = text.replacen("scale = \"1:1\"", book, 1).replacen(&format!("  {edge},"), "  \"before.b\",", 1);
    // The first signal stands at the end of track of which nothing was recorded.
    write!(text, "\n[[section]]\nname = \"before\"\ndark = true\n\n[[joint]]\nends = [\"before.a\", {edge}]\n")
        .unwrap();
    let mut before = "before".to_owned();
    let last = lamps.signals.len() - 1;
    for (place, (signal, sections)) in lamps.signals.iter().enumerate() {
        write!(text, "\n[[signal]]\nname = \"{signal}\"\nat = \"{before}.a\"\n").unwrap();
        if place == last {
            writeln!(text, "overlap = {sections:?}").unwrap();
        }
        before = sections.last().unwrap().clone();
    }
    std::fs::write(&file, text).unwrap();
    let checked = lineclear(&["check", made.to_str().unwrap()], b"");
    assert_eq!(checked.status, Some(0), "{}{}", checked.output, checked.complaints);
    made.to_str().unwrap().to_owned()
}

/// From when to when each signal was kept at red by a person.
fn held(lamps: &Lamps) -> Vec<(String, f64, f64)> {
    let mut held = Vec::new();
    let count = lamps.signals.len();
    for (place, (signal, sections)) in lamps.signals.iter().enumerate().take(count - 1) {
        let mut vouched = sections.clone();
        if place == count - 2 {
            vouched.extend(lamps.signals[count - 1].1.iter().cloned());
        }
        let (free, shown) = (lamps.free(&vouched), &lamps.shown[signal]);
        let mut since = None;
        for &at in &lamps.times {
            let kept = value_at(shown, at) == Some("red") && value_at(&free, at);
            match (kept, since) {
                (true, None) => since = Some(at),
                (false, Some(from)) => {
                    if at - from > HELD_S {
                        held.push((signal.clone(), from, at));
                    }
                    since = None;
                }
                _ => {}
            }
        }
    }
    held
}

/// Everything that goes in, in order of time.
fn lines(lamps: &Lamps, held: &[(String, f64, f64)]) -> String {
    let mut lines: Vec<(f64, String)> = Vec::new();
    let begin = (lamps.times[0] - 1.0).floor();
    for (section, timeline) in &lamps.sections {
        for (at, occupied) in timeline {
            let at = at.max(begin);
            lines.push((at, json!({ "at": at, "section": section, "occupied": occupied }).to_string()));
        }
    }
    let (last, _) = lamps.signals.last().unwrap();
    for (at, shows) in &lamps.shown[last] {
        let at = at.max(begin);
        // A head whose lamps make no aspect is no better than red.
        let shows = if *shows == Some("single yellow") { "yellow" } else { shows.unwrap_or("red") };
        lines.push((at, json!({ "at": at, "signal": last, "shows": shows }).to_string()));
    }
    for (signal, from, to) in held {
        for (at, held) in [(from, true), (to, false)] {
            lines.push((*at, json!({ "at": at, "signal": signal, "held": held }).to_string()));
        }
    }
    lines.sort_by(|one, other| one.0.total_cmp(&other.0));
    lines.into_iter().map(|(_, line)| line + "\n").collect()
}

/// What our signals show.
fn ours(layout: &str, lines: &str) -> BTreeMap<String, Timeline<&'static str>> {
    let ran = lineclear(&["trace", layout, "--signals"], lines.as_bytes());
    assert_eq!((ran.status, ran.complaints.as_str()), (Some(0), ""));
    let mut shown: BTreeMap<String, Timeline<&'static str>> = BTreeMap::new();
    for line in ran.output.lines().filter(|line| line.contains("\"signal\"")) {
        let line: Value = serde_json::from_str(line).unwrap();
        let aspect = ASPECTS.into_iter().find(|name| line["aspect"] == *name).unwrap_or_else(|| panic!("{line}"));
        let timeline = shown.entry(line["signal"].as_str().unwrap().to_owned()).or_insert_with(|| vec![(0.0, "red")]);
        timeline.push((line["at"].as_f64().unwrap(), aspect));
    }
    shown
}

/// How long each signal showed each aspect, and how long ours showed the same.
#[derive(Default)]
struct Agreement {
    cells: BTreeMap<(String, usize), (f64, f64)>,
    /// Stretches in which ours shows less restrictive: signal, from, to, real, ours.
    better: Vec<(String, f64, f64, usize, usize)>,
}

impl Agreement {
    fn of(lamps: &Lamps, ours: &BTreeMap<String, Timeline<&'static str>>) -> Self {
        let mut agreement = Self::default();
        let mut times: Vec<f64> =
            lamps.times.iter().copied().chain(ours.values().flatten().map(|(at, _)| *at)).collect();
        times.sort_unstable_by(f64::total_cmp);
        times.dedup();
        for pair in times.windows(2).filter(|pair| pair[0] >= lamps.times[0]) {
            let recorded = lamps.times.partition_point(|at| *at <= pair[0]);
            let in_gap = recorded >= lamps.times.len() || lamps.times[recorded] - lamps.times[recorded - 1] >= GAP_S;
            let changed = lamps.changes.partition_point(|at| *at <= pair[0]);
            let from = if changed == 0 { pair[0] } else { pair[0].max(lamps.changes[changed - 1] + SETTLING_S) };
            if in_gap || from >= pair[1] {
                continue;
            }
            for (signal, _) in &lamps.signals {
                let Some(real) = value_at(&lamps.shown[signal], pair[0]) else { continue };
                agreement.add(signal, (from, pair[1]), (real, value_at(&ours[signal], pair[0])));
            }
        }
        agreement
    }

    fn add(&mut self, signal: &str, (from, to): (f64, f64), (real, shown): (&str, &str)) {
        let [real, shown] = [real, shown].map(|name| ASPECTS.iter().position(|other| *other == name).unwrap());
        let cell = self.cells.entry((signal.to_owned(), real)).or_default();
        cell.0 += to - from;
        if shown == real {
            cell.1 += to - from;
        } else if shown > real {
            match self.better.iter_mut().rev().find(|it| it.0 == signal) {
                Some(it) if it.2 == from && (it.3, it.4) == (real, shown) => it.2 = to,
                _ => self.better.push((signal.to_owned(), from, to, real, shown)),
            }
        }
    }

    /// In per cent, over the signals and aspects that `counts`.
    fn share(&self, counts: impl Fn(&str, usize) -> bool) -> f64 {
        let counted = self.cells.iter().filter(|((signal, aspect), _)| counts(signal, *aspect));
        let (all, same) = counted.fold((0.0, 0.0), |sum, (_, cell)| (sum.0 + cell.0, sum.1 + cell.1));
        100.0 * same / all
    }

    fn table(&self, lamps: &Lamps) -> String {
        let mut table = format!("{:<8}", "");
        for aspect in ASPECTS {
            write!(table, "{aspect:>26}").unwrap();
        }
        writeln!(table, "{:>12}", "all").unwrap();
        for (signal, _) in &lamps.signals {
            write!(table, "{signal:<8}").unwrap();
            for aspect in 0..ASPECTS.len() {
                let (all, same) = self.cells.get(&(signal.clone(), aspect)).copied().unwrap_or_default();
                write!(table, "{:>12.2} h {:>9.3} %", all / 3600.0, 100.0 * same / all).unwrap();
            }
            writeln!(table, "{:>10.3} %", self.share(|other, _| other == signal)).unwrap();
        }
        table
    }

    /// Where ours is less restrictive: what lasts longer one by one, and the rest by kind.
    fn better(&self, longer_than: f64) -> String {
        let mut kinds: BTreeMap<(&str, usize, usize), (usize, f64, f64)> = BTreeMap::new();
        let mut list = String::new();
        for (signal, from, to, real, shown) in &self.better {
            let length = to - from;
            let kind = kinds.entry((signal, *real, *shown)).or_default();
            (kind.0, kind.1, kind.2) = (kind.0 + 1, kind.1 + length, kind.2.max(length));
            if length > longer_than {
                let (real, shown) = (ASPECTS[*real], ASPECTS[*shown]);
                writeln!(list, "  at {from:.3} for {length:.3} s {signal} shows {shown}, the real one {real}").unwrap();
            }
        }
        for ((signal, real, shown), (count, all, longest)) in kinds {
            let (real, shown) = (ASPECTS[real], ASPECTS[shown]);
            writeln!(
                list,
                "  {signal} shows {shown}, the real one {real}: {count} times, {all:.1} s, the longest {longest:.3} s"
            )
            .unwrap();
        }
        list
    }

    /// All of them, one a line.
    fn every_better(&self) -> String {
        let row = |(signal, from, to, real, shown): &(String, f64, f64, usize, usize)| {
            format!("{signal},{from:.3},{:.3},{},{}\n", to - from, ASPECTS[*real], ASPECTS[*shown])
        };
        "signal,from_seconds,for_seconds,real,ours\n".to_owned() + &self.better.iter().map(row).collect::<String>()
    }
}

#[test]
fn signals_show_what_real_signals_showed_over_the_same_trains() {
    let Some(folder) = folder().map(|folder| folder.join("real-line")) else { return };
    let lamps = Lamps::open(&folder);
    let layout = layout(&folder, &lamps);
    let held = held(&lamps);
    let with = Agreement::of(&lamps, &ours(&layout, &lines(&lamps, &held)));
    let without = Agreement::of(&lamps, &ours(&layout, &lines(&lamps, &[])));
    let last = &lamps.signals.last().unwrap().0;
    let hours: f64 = held.iter().map(|(_, from, to)| (to - from) / 3600.0).sum();
    println!("by the real aspect: for how long, and how much of that ours showed the same\n{}", with.table(&lamps));
    println!("kept at red by a person {} times, {hours:.2} hours in all", held.len());
    println!(
        "agreement without {last}, which is taken as given: {:.4} %; with it: {:.4} %",
        with.share(|signal, _| signal != last),
        with.share(|_, _| true)
    );
    println!(
        "without what is known of signals kept at red: {:.2} %; with {last}: {:.2} %",
        without.share(|signal, _| signal != last),
        without.share(|_, _| true)
    );
    let file = scratch("outside-signals-better").join("better.csv");
    std::fs::write(&file, with.every_better()).unwrap();
    println!("where ours is less restrictive, {} stretches in all, each in {}:", with.better.len(), file.display());
    println!("{}", with.better(2.0));
    println!(
        "almost all of it: when {last} changes while no section does, each real signal behind it follows some 0.7 s after the one \
         ahead of it, and ours at once"
    );
    assert!(with.share(|signal, _| signal != last) >= FLOOR, "without {last}");
    for (signal, _) in &lamps.signals {
        let share = with.share(|other, _| other == signal);
        assert!(share >= 99.8, "{signal}: {share:.3} %");
    }
    assert!(
        without.share(|signal, _| signal != last) < with.share(|signal, _| signal != last),
        "what a person did is known"
    );
}
