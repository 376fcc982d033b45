//! What is wrong with a line of input, in words.

use std::fmt;

/// Something wrong with one line of the input.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Problem {
    /// The line, counted from 1.
    pub(super) line: u64,
    /// What is wrong: lower case, no full stop.
    pub(super) reason: String,
    /// What would be right.
    pub(super) hint: Option<String>,
    /// The line is left out, and the run goes on whatever was asked for.
    pub(super) is_warning: bool,
}

impl Problem {
    /// What is wrong, without advice.
    pub(super) fn new(line: u64, reason: impl Into<String>) -> Self {
        Self { line, reason: reason.into(), hint: None, is_warning: false }
    }

    /// Adds advice.
    pub(super) fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }

    /// Says that the line can be left out without harm, and why.
    pub(super) fn of_no_consequence(mut self, why: &str) -> Self {
        self.reason = format!("{}: {why}", self.reason);
        self.is_warning = true;
        self
    }

    /// A name that the layout does not have, with the nearest that it has.
    pub(super) fn unknown<'a>(line: u64, kind: &str, name: &str, known: impl Iterator<Item = &'a str>) -> Self {
        let problem = Self::new(line, format!("no {kind} is named `{}`", shortened(name)));
        match layout::nearest(name, known) {
            Some(near) => problem.hint(format!("the nearest name is `{near}`")),
            None => problem,
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let severity = if self.is_warning { "warning" } else { "error" };
        write!(f, "{severity}: line {}: {}", self.line, self.reason)?;
        match &self.hint {
            Some(hint) => write!(f, "\nhint: {hint}"),
            None => Ok(()),
        }
    }
}

/// At most sixty characters of what the user wrote, nothing that could upset a terminal.
pub(super) fn shortened(text: &str) -> String {
    const LONGEST: usize = 60;
    let clean = |character: char| if character.is_control() { '\u{fffd}' } else { character };
    let mut short: String = text.chars().take(LONGEST).map(clean).collect();
    if text.chars().nth(LONGEST).is_some() {
        short.push('…');
    }
    short
}
