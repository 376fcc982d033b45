//! The rule that comes to mind first, to see what the accounts are worth.
//!
//! A section that fills takes the tag that has waited longest in a neighbouring section; one that empties loses its tag. The
//! rule never doubts. It is treated kindly: what empties in an instant can still be asked by what fills in it, and so can
//! what filled in it before.

use std::collections::BTreeMap;

use serde_json::Value;

use super::recording::Recording;
use super::score::{Claim, Said};

/// A tag: since when it waits, and whose it is.
type Tag = (usize, String);

/// What the naive rule claims, instant by instant.
pub(super) fn claims(recording: &Recording) -> Vec<Claim> {
    let lines: Vec<Value> = recording.lines().iter().map(|line| serde_json::from_str(line).unwrap()).collect();
    let mut rule = Rule { recording, tags: BTreeMap::new(), claims: Vec::new() };
    for instant in lines.chunk_by(|one, other| one["at"] == other["at"]) {
        rule.hear(instant);
    }
    rule.claims
}

struct Rule<'r> {
    recording: &'r Recording,
    tags: BTreeMap<String, Tag>,
    claims: Vec<Claim>,
}

impl Rule<'_> {
    fn hear(&mut self, instant: &[Value]) {
        let at = instant[0]["at"].as_f64().unwrap();
        for line in instant {
            if let Some(train) = line["place"].as_str() {
                for section in line["on"].as_array().unwrap() {
                    self.claim(at, section.as_str().unwrap(), Said::Sure(train.to_owned()));
                }
            }
        }
        let reported = |occupied: bool| {
            let lines = instant.iter().filter(move |line| line["occupied"] == occupied);
            lines.filter_map(|line| line["section"].as_str())
        };
        let mut filled: Vec<&str> = reported(true).filter(|section| !self.tags.contains_key(*section)).collect();
        // A train that ran through several sections in one instant hands its tag on from one to the next.
        while let Some((index, train)) = filled.iter().enumerate().find_map(|(index, section)| {
            let train = self.longest_waiting(section)?;
            Some((index, train))
        }) {
            self.claim(at, filled.swap_remove(index), Said::Sure(train));
        }
        for section in filled {
            self.claim(at, section, Said::Unexplained);
        }
        for section in reported(false) {
            self.claim(at, section, Said::Free);
        }
    }

    fn claim(&mut self, at: f64, section: &str, said: Said) {
        match &said {
            Said::Sure(train) => drop(self.tags.insert(section.to_owned(), (self.claims.len(), train.clone()))),
            _ => drop(self.tags.remove(section)),
        }
        self.claims.push(Claim { at, section: section.to_owned(), said });
    }

    fn longest_waiting(&self, section: &str) -> Option<String> {
        let neighbours = self.recording.neighbours.get(section).into_iter().flatten();
        neighbours.filter_map(|neighbour| self.tags.get(neighbour)).min().map(|(_, train)| train.clone())
    }
}
