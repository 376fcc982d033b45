//! What can go wrong with the file, and how the shell hears of it.

use std::fmt;
use std::path::PathBuf;

use rusqlite::ErrorCode;

/// Why the register cannot be opened at all.
#[derive(Debug)]
pub enum OpenError {
    /// A newer version of the program wrote it. Nothing of it is touched.
    Newer {
        /// The version of the file.
        found: i64,
        /// The newest version that is known here.
        known: i64,
    },
    /// Another process writes it.
    InUse(PathBuf),
    /// There is no such register: nothing was ever kept here.
    Missing(PathBuf),
    /// It is not a register, and was not moved aside, because it was only to be read.
    Foreign(PathBuf),
    /// It cannot be read or written.
    Trouble(Trouble),
}

impl fmt::Display for OpenError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Newer { found, known } => write!(
                f,
                "the register is of version {found}, and this program knows versions up to {known}\nhint: use the program \
                 that wrote it, or another folder; nothing of it was changed"
            ),
            Self::InUse(path) => write!(f, "the register `{}` is in use by another process", path.display()),
            Self::Missing(path) => write!(f, "there is no register `{}`", path.display()),
            Self::Foreign(path) => write!(f, "`{}` is no register", path.display()),
            Self::Trouble(trouble) => trouble.fmt(f),
        }
    }
}

impl std::error::Error for OpenError {}

/// What is wrong with the file or its disk.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trouble {
    /// What kind of trouble.
    pub kind: TroubleKind,
    /// In words.
    pub words: String,
}

/// Kinds of trouble.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TroubleKind {
    /// There is no room left on the disk.
    Full,
    /// It may not be written to.
    ReadOnly,
    /// What is written there makes no sense.
    Damaged,
    /// The disk, or the system, failed in another way.
    Io,
}

impl TroubleKind {
    /// Whether it may pass by itself or by what people do, so that trying again is worth it.
    pub fn may_pass(self) -> bool {
        self != Self::Damaged
    }
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let kind = match self.kind {
            TroubleKind::Full => "there is no room left for the register",
            TroubleKind::ReadOnly => "the register may not be written to",
            TroubleKind::Damaged => "the register is damaged",
            TroubleKind::Io => "the register cannot be reached",
        };
        write!(f, "{kind}: {}", self.words)
    }
}

impl From<rusqlite::Error> for Trouble {
    fn from(error: rusqlite::Error) -> Self {
        let kind = match error.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => TroubleKind::Full,
            Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => TroubleKind::ReadOnly,
            // SQL of ours that does not fit is SQL over a file that is not as it says.
            Some(
                ErrorCode::DatabaseCorrupt
                | ErrorCode::NotADatabase
                | ErrorCode::ConstraintViolation
                | ErrorCode::TypeMismatch
                | ErrorCode::Unknown,
            )
            | None => TroubleKind::Damaged,
            Some(_) => TroubleKind::Io,
        };
        Self { kind, words: error.to_string().to_lowercase() }
    }
}

impl From<std::io::Error> for Trouble {
    fn from(error: std::io::Error) -> Self {
        let kind = match error.kind() {
            std::io::ErrorKind::StorageFull | std::io::ErrorKind::QuotaExceeded => TroubleKind::Full,
            std::io::ErrorKind::ReadOnlyFilesystem | std::io::ErrorKind::PermissionDenied => TroubleKind::ReadOnly,
            _ => TroubleKind::Io,
        };
        Self { kind, words: error.to_string().to_lowercase() }
    }
}

impl From<rusqlite::Error> for OpenError {
    fn from(error: rusqlite::Error) -> Self {
        Self::Trouble(error.into())
    }
}

impl From<std::io::Error> for OpenError {
    fn from(error: std::io::Error) -> Self {
        Self::Trouble(error.into())
    }
}

/// What became of what was recorded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Health {
    /// It is written in time.
    Good,
    /// It cannot be written now. It is kept in memory, as far as there is room, and tried again.
    Failing(Trouble),
    /// Nothing more will be written until the register is opened anew.
    Ended(Trouble),
}

/// How far the writer has come.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Every step up to this number that was taken is durable.
    pub durable_up_to: u64,
    /// How many steps were taken and are not durable yet.
    pub waiting: usize,
    /// How many steps were not taken, because too many were waiting. Each was refused when it was recorded, too.
    pub lost: u64,
    /// What became of the writing.
    pub health: Health,
}
