//! What scripts have to say, and what is said about them.

use std::fmt;

use signaller::Time;

/// Something a person should read.
#[derive(Clone, Debug, PartialEq)]
pub struct Notice {
    /// When, in layout time.
    pub at: Time,
    /// The script's file.
    pub file: String,
    /// What it is.
    pub kind: NoticeKind,
}

/// What a notice is.
#[derive(Clone, Debug, PartialEq)]
pub enum NoticeKind {
    /// The script said so.
    Said(String),
    /// The script, a task or a hook of it failed and was ended.
    Failed(Failure),
    /// The script said more than it may; so many lines were left out.
    LinesLeftOut(u64),
    /// A hold that was asked for because of a failure was refused: the train may move.
    HoldRefused {
        /// The train's name.
        train: String,
        /// Why.
        reason: String,
    },
}

/// How a script, a task or a hook failed.
#[derive(Clone, Debug, PartialEq)]
pub struct Failure {
    /// What was ended.
    pub ended: Ended,
    /// The line it happened in, where that is known.
    pub line: Option<u32>,
    /// What went wrong, in plain words.
    pub what: String,
    /// The trains that were in its care. A hold was requested for each.
    pub held: Vec<String>,
}

/// What was ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ended {
    /// The whole script.
    Script,
    /// The task of that name.
    Task(String),
    /// The hook on that event.
    Hook(String),
}

impl fmt::Display for Ended {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Script => write!(f, "script ended"),
            Self::Task(name) => write!(f, "task `{name}` ended"),
            Self::Hook(event) => write!(f, "hook on `{event}` ended"),
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.ended, self.what)?;
        match self.held.as_slice() {
            [] => Ok(()),
            held => write!(f, "; in its care and now held: {}", held.join(", ")),
        }
    }
}

impl fmt::Display for Notice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.kind {
            NoticeKind::Said(text) => write!(f, "{}: {text}", self.file),
            NoticeKind::Failed(failure) => match failure.line {
                Some(line) => write!(f, "{}:{line}: {failure}", self.file),
                None => write!(f, "{}: {failure}", self.file),
            },
            NoticeKind::LinesLeftOut(count) => write!(f, "{}: said too much; {count} lines left out", self.file),
            NoticeKind::HoldRefused { train, reason } => {
                write!(f, "{}: `{train}` could not be held after a failure: {reason}", self.file)
            }
        }
    }
}

/// Why a script was not taken into service.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScriptError {
    /// Its file.
    pub file: String,
    /// The line, where that is known.
    pub line: Option<u32>,
    /// What is wrong, in plain words.
    pub what: String,
}

impl fmt::Display for ScriptError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "{}:{line}: {}", self.file, self.what),
            None => write!(f, "{}: {}", self.file, self.what),
        }
    }
}

impl std::error::Error for ScriptError {}
