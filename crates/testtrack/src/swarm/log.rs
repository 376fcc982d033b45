//! The last lines of what happened.

use std::collections::{BTreeSet, VecDeque};

use track::TrainId;

/// How many lines are kept.
const LINES: usize = 40;

/// What happened last, in words. Off unless somebody wants to read it, for words take time.
#[derive(Debug, Default)]
pub struct Log {
    lines: VecDeque<String>,
    is_on: bool,
    /// Trains that were told to run: being told to run faster or slower is not worth a line.
    pub(super) running: BTreeSet<TrainId>,
}

impl Log {
    /// A log that forgets everything.
    pub fn off() -> Self {
        Self::default()
    }

    /// A log that keeps the last lines.
    pub fn on() -> Self {
        Self { is_on: true, ..Self::default() }
    }

    /// Whether it keeps anything.
    pub fn is_on(&self) -> bool {
        self.is_on
    }

    /// The last lines, oldest first.
    pub fn lines(&self) -> impl Iterator<Item = &str> {
        self.lines.iter().map(String::as_str)
    }

    pub(super) fn write(&mut self, line: String) {
        if self.is_on {
            if self.lines.len() == LINES {
                self.lines.pop_front();
            }
            self.lines.push_back(line);
        }
    }
}
