//! One recording: its layout, its lines, its truth.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use super::score::{Claim, Said, Score};
use crate::program::{lineclear, root, scratch};

/// A section was filled or emptied, and by whom, where that is known.
#[derive(Clone, Debug)]
pub(super) struct Truth {
    pub(super) at: f64,
    pub(super) section: String,
    pub(super) train: String,
    pub(super) occupied: bool,
}

/// A recording and the layout made for it.
pub(super) struct Recording {
    pub(super) name: String,
    folder: PathBuf,
    layout: PathBuf,
    lines: Vec<String>,
    pub(super) truth: Vec<Truth>,
    /// Which sections meet.
    pub(super) neighbours: BTreeMap<String, Vec<String>>,
}

impl Recording {
    /// Reads a recording and makes its layout, in a place of its own for each purpose.
    pub(super) fn open(folder: &Path, name: &str, purpose: &str) -> Self {
        let layout = scratch(&format!("outside-{purpose}-{name}"));
        let made = Command::new(root().join("scripts/layout-from-joints"))
            .args([folder.join("sections.csv"), folder.join("joints.csv"), layout.clone()])
            .output()
            .unwrap();
        assert!(made.status.success(), "no layout for `{name}`: {}", String::from_utf8_lossy(&made.stderr));
        let checked = lineclear(&["check", layout.to_str().unwrap()], b"");
        assert_eq!(checked.status, Some(0), "`check` refuses `{name}`: {}{}", checked.output, checked.complaints);
        let text = |file: &str| {
            std::fs::read_to_string(folder.join(file))
                .unwrap_or_else(|error| panic!("{}: {error}", folder.join(file).display()))
        };
        let mut neighbours: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for row in rows(&text("joints.csv")) {
            for (one, other) in [(&row[0], &row[2]), (&row[2], &row[0])] {
                neighbours.entry(one.clone()).or_default().push(other.clone());
            }
        }
        let truth = rows(&text("truth.csv")).into_iter().map(|row| Truth {
            at: row[0].parse().unwrap(),
            section: row[1].clone(),
            train: row[2].clone(),
            occupied: row[3] == "occupied",
        });
        Self {
            name: name.to_owned(),
            folder: folder.to_owned(),
            layout,
            lines: text("trace.jsonl").lines().map(str::to_owned).collect(),
            truth: truth.collect(),
            neighbours,
        }
    }

    /// The lines as they were recorded.
    pub(super) fn lines(&self) -> &[String] {
        &self.lines
    }

    /// What the program claims when it is given these lines.
    pub(super) fn trace(&self, lines: &[String]) -> Vec<Claim> {
        let ran = lineclear(&["trace", self.layout.to_str().unwrap()], (lines.join("\n") + "\n").as_bytes());
        assert_eq!((ran.status, ran.complaints.as_str()), (Some(0), ""), "`trace` refuses `{}`", self.name);
        ran.output.lines().map(claim).collect()
    }

    /// Where the recording came with a scoring script of its own, it must find what [`Score`] finds.
    pub(super) fn compare_with_their_score(&self, claims: &[Claim], score: &Score) {
        let script = self.folder.parent().unwrap().join("score.py");
        if !script.is_file() {
            println!("skipped: there is no `score.py` beside the recordings to compare our scoring with");
            return;
        }
        let file = self.layout.join("claims.jsonl");
        std::fs::write(&file, claims.iter().map(Claim::line).collect::<String>()).unwrap();
        let theirs = Command::new("python3").arg(script).arg(self.folder.join("truth.csv")).arg(file).output().unwrap();
        let theirs = String::from_utf8(theirs.stdout).unwrap();
        let ours = format!("sure-wrong {} of {}", score.wrong(), 3 * score.count());
        assert_eq!(theirs.lines().last(), Some(ours.as_str()), "the two ways of scoring differ:\n{theirs}{score}");
        let numbers =
            |text: &str| -> Vec<usize> { text.split_whitespace().filter_map(|word| word.parse().ok()).collect() };
        let table = |text: &str| -> Vec<usize> { text.lines().skip(1).take(3).flat_map(numbers).collect() };
        assert_eq!(table(&theirs), table(&score.to_string()), "the two ways of scoring differ:\n{theirs}{score}");
    }
}

/// The lines of a table without its heading. No value holds a comma.
pub(super) fn rows(table: &str) -> Vec<Vec<String>> {
    table.lines().skip(1).map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

fn claim(line: &str) -> Claim {
    let value: Value = serde_json::from_str(line).unwrap_or_else(|error| panic!("{line}: {error}"));
    let said = if value["free"] == true {
        Said::Free
    } else if value["unexplained"] == true {
        Said::Unexplained
    } else if value["sure"] == true {
        Said::Sure(value["train"].as_str().unwrap().to_owned())
    } else {
        Said::Doubt(
            value["trains"].as_array().unwrap().iter().map(|train| train.as_str().unwrap().to_owned()).collect(),
        )
    };
    Claim { at: value["at"].as_f64().unwrap(), section: value["section"].as_str().unwrap().to_owned(), said }
}
