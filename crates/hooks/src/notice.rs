//! What scripts have to say, and what is said about them.

use std::fmt;

use signaller::Time;

use crate::desk::Question;

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
    /// The script wrote that into the log.
    Logged(String),
    /// The script, a task or a hook of it failed and was ended.
    Failed(Failure),
    /// The script asks a question of people.
    Asked(Question),
    /// So many scripts were loaded anew.
    Reloaded(usize),
    /// Scripts were not loaded anew, because of these errors; those before stay in service.
    NotReloaded(Vec<String>),
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
    /// From where that was called, the innermost first: lines of the script, with the function they are in where it has a
    /// name.
    pub calls: Vec<String>,
    /// It is a hook that failed too often, and is called no more.
    pub is_paused: bool,
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
            Self::Hook(event) => write!(f, "hook on `{event}` failed"),
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.ended, self.what)?;
        if !self.calls.is_empty() {
            write!(f, "; called from {}", self.calls.join(", "))?;
        }
        if self.is_paused {
            write!(f, "; it failed three times in a minute and is called no more until the scripts are loaded anew")?;
        }
        match self.held.as_slice() {
            [] => Ok(()),
            held => write!(f, "; in its care and now held: {}", held.join(", ")),
        }
    }
}

impl fmt::Display for Notice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.kind {
            NoticeKind::Said(text) | NoticeKind::Logged(text) => write!(f, "{}: {text}", self.file),
            NoticeKind::Failed(failure) => match failure.line {
                Some(line) => write!(f, "{}:{line}: {failure}", self.file),
                None => write!(f, "{}: {failure}", self.file),
            },
            NoticeKind::Asked(Question { number, text, answers, .. }) => {
                let answers = answers.iter().map(|answer| format!("`lineclear tell answer {number} {answer:?}`"));
                write!(f, "{} asks: {text} Answer it by {}", self.file, answers.collect::<Vec<_>>().join(" or "))
            }
            NoticeKind::Reloaded(count) => write!(f, "{}: loaded anew, {count} of them", self.file),
            NoticeKind::NotReloaded(errors) => {
                write!(f, "{}: not loaded anew, those before stay in service: {}", self.file, errors.join("; "))
            }
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
