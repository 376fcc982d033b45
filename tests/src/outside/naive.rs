//! The rule that comes to mind first, to see what the accounts are worth.
//!
//! A section that fills takes the tag that has waited longest in a neighbouring section; one that empties loses its tag. The
//! rule never doubts. It is treated kindly: what empties in an instant can still be asked by what fills in it.

use std::collections::BTreeMap;

use serde_json::Value;

use super::recording::Recording;
use super::score::{Claim, Said};

/// A tag: since when it waits, and whose it is.
type Tag = (usize, String);

/// What the naive rule claims, instant by instant.
pub(super) fn claims(recording: &Recording) -> Vec<Claim> {
    let lines: Vec<Value> = recording.lines().iter().map(|line| serde_json::from_str(line).unwrap()).collect();
    let mut tags = BTreeMap::new();
    let mut claims = Vec::new();
    for instant in lines.chunk_by(|one, other| one["at"] == other["at"]) {
        // What can be asked for a tag in this instant: what had one before, and what got one since.
        let mut asked: BTreeMap<String, Tag> = tags.clone();
        let is_placing = |line: &&Value| line["place"].is_string();
        for line in instant.iter().filter(is_placing).chain(instant.iter().filter(|line| line["section"].is_string())) {
            let turn = claims.len();
            let section = line["on"][0].as_str().or(line["section"].as_str()).unwrap().to_owned();
            let train = match line["place"].as_str() {
                Some(train) => Some(train.to_owned()),
                None if line["occupied"] == true => match tags.get(&section) {
                    Some((_, there)) => Some(there.clone()),
                    None => longest_waiting(recording, &asked, &section),
                },
                None => None,
            };
            let said = match (&train, line["occupied"] == false) {
                (Some(train), _) => Said::Sure(train.clone()),
                (None, true) => Said::Free,
                (None, false) => Said::Unexplained,
            };
            match train {
                Some(train) => {
                    asked.insert(section.clone(), (turn, train.clone()));
                    tags.insert(section.clone(), (turn, train));
                }
                None => drop(tags.remove(&section)),
            }
            claims.push(Claim { at: line["at"].as_f64().unwrap(), section, said });
        }
    }
    claims
}

fn longest_waiting(recording: &Recording, tags: &BTreeMap<String, Tag>, section: &str) -> Option<String> {
    let neighbours = recording.neighbours.get(section).into_iter().flatten();
    neighbours.filter_map(|neighbour| tags.get(neighbour)).min().map(|(_, train)| train.clone())
}
