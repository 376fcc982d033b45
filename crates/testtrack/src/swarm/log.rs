//! The last lines of what happened.

use std::collections::{BTreeSet, VecDeque};

use track::TrainId;

/// What happened last, in words. Off unless somebody wants to read it, for words take time.
#[derive(Debug, Default)]
pub struct Log {
    lines: VecDeque<String>,
    most: usize,
    /// Trains that were told to run: being told to run faster or slower is not worth a line.
    pub(super) running: BTreeSet<TrainId>,
}

impl Log {
    /// A log that forgets everything.
    pub fn off() -> Self {
        Self::default()
    }

    /// A log that keeps so many lines.
    pub fn of_the_last(most: usize) -> Self {
        Self { most, ..Self::default() }
    }

    /// Whether it keeps anything.
    pub fn is_on(&self) -> bool {
        self.most > 0
    }

    /// The last lines, oldest first.
    pub fn lines(&self) -> impl Iterator<Item = &str> {
        self.lines.iter().map(String::as_str)
    }

    pub(super) fn write(&mut self, line: String) {
        if self.most > 0 {
            if self.lines.len() == self.most {
                self.lines.pop_front();
            }
            self.lines.push_back(line);
        }
    }
}
