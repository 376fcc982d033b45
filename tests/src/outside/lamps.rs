//! A recording of signal lamps and track circuits, as timelines.
//!
//! A change that was recorded says how it was before, too: what a section or a lamp was at the beginning follows from
//! its first.

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::Value;

use super::recording::rows;

/// What something was from each time on.
pub(super) type Timeline<T> = Vec<(f64, T)>;

/// What the recording holds.
pub(super) struct Lamps {
    /// The signals in running order, each with its sections.
    pub(super) signals: Vec<(String, Vec<String>)>,
    /// Whether each section was occupied.
    pub(super) sections: BTreeMap<String, Timeline<bool>>,
    /// What each signal showed; nothing where its lamps make no aspect.
    pub(super) shown: BTreeMap<String, Timeline<Option<&'static str>>>,
    /// Every time at which anything was recorded, in order.
    pub(super) times: Vec<f64>,
    /// Those at which a section filled or emptied.
    pub(super) changes: Vec<f64>,
}

impl Lamps {
    pub(super) fn open(folder: &Path) -> Self {
        let text = |file: &str| std::fs::read_to_string(folder.join(file)).unwrap();
        let signals: Vec<(String, Vec<String>)> = rows(&text("signals.csv"))
            .into_iter()
            .map(|row| (row[0].clone(), row[1].split(' ').map(str::to_owned).collect()))
            .collect();
        let mut reports: Vec<(f64, String, bool)> = Vec::new();
        for line in text("trace.jsonl").lines() {
            let line: Value = serde_json::from_str(line).unwrap();
            if let Some(section) = line["section"].as_str() {
                let at = line["at"].as_f64().unwrap();
                reports.push((at, section.to_owned(), line["occupied"].as_bool().unwrap()));
            }
        }
        let lamps: Vec<(f64, String, String, bool)> = rows(&text("lamps.csv"))
            .into_iter()
            .map(|row| (row[0].parse().unwrap(), row[1].clone(), row[2].clone(), row[3] == "true"))
            .collect();
        let mut times: Vec<f64> =
            reports.iter().map(|report| report.0).chain(lamps.iter().map(|lamp| lamp.0)).collect();
        times.sort_unstable_by(f64::total_cmp);
        times.dedup();
        let mut sections: BTreeMap<String, Timeline<bool>> = BTreeMap::new();
        for (at, section, occupied) in &reports {
            sections.entry(section.clone()).or_insert_with(|| vec![(0.0, !occupied)]).push((*at, *occupied));
        }
        let mut changes: Vec<f64> = reports.iter().map(|report| report.0).collect();
        changes.dedup();
        Self { signals, sections, shown: shown(&lamps), times, changes }
    }

    /// Whether all of these sections were free, as it went.
    pub(super) fn free(&self, sections: &[String]) -> Timeline<bool> {
        let of = |section: &String| &self.sections[section];
        let mut times: Vec<f64> = sections.iter().flat_map(|section| of(section).iter().map(|it| it.0)).collect();
        times.sort_unstable_by(f64::total_cmp);
        times.dedup();
        times.into_iter().map(|at| (at, sections.iter().all(|section| !value_at(of(section), at)))).collect()
    }
}

/// What each signal showed, from its lamps.
fn shown(lamps: &[(f64, String, String, bool)]) -> BTreeMap<String, Timeline<Option<&'static str>>> {
    let mut lit: BTreeMap<(&str, &str), bool> = BTreeMap::new();
    for (_, signal, lamp, is_lit) in lamps {
        lit.entry((signal, lamp)).or_insert(!is_lit);
    }
    let mut shown: BTreeMap<String, Timeline<Option<&'static str>>> = BTreeMap::new();
    for (_, signal, _, _) in lamps {
        if !shown.contains_key(signal) {
            shown.insert(signal.clone(), vec![(0.0, aspect(&lit, signal))]);
        }
    }
    for (place, (at, signal, lamp, is_lit)) in lamps.iter().enumerate() {
        lit.insert((signal, lamp), *is_lit);
        // All lamps of a signal that change at one time make one change.
        let more = lamps.get(place + 1).is_some_and(|next| next.0 == *at && next.1 == *signal);
        if !more {
            shown.get_mut(signal).unwrap().push((*at, aspect(&lit, signal)));
        }
    }
    shown
}

fn aspect(lit: &BTreeMap<(&str, &str), bool>, signal: &str) -> Option<&'static str> {
    let is = |lamp| lit.get(&(signal, lamp)).copied().unwrap_or(false);
    match (is("red"), is("yellow"), is("second-yellow"), is("green")) {
        (true, false, false, false) => Some("red"),
        (false, true, false, false) => Some("single yellow"),
        (false, true, true, false) => Some("double yellow"),
        (false, false, false, true) => Some("green"),
        _ => None,
    }
}

/// What it was at a time.
pub(super) fn value_at<T: Copy>(timeline: &Timeline<T>, at: f64) -> T {
    let after = timeline.partition_point(|(from, _)| *from <= at);
    timeline[after.saturating_sub(1)].1
}
