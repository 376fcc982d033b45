//! How the file is laid out, and how files of older versions are brought up to date.
//!
//! The version is SQLite's `user_version`: how many of [`MIGRATIONS`] were applied. A migration that was released is never
//! changed. A file of a newer version is refused, for nobody here knows what it means.

use rusqlite::{Connection, TransactionBehavior};

use crate::trouble::OpenError;

/// Every step from one version to the next, the first from nothing to version 1.
const MIGRATIONS: &[&str] = &[include_str!("version_1.sql"), include_str!("version_2.sql")];

/// The version that this program writes.
pub(crate) const CURRENT: i64 = MIGRATIONS.len() as i64;

/// Marks a file as a register: "Lcrg" in ASCII.
const APPLICATION: i32 = 0x4C63_7267;

/// What a file is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Nothing was written yet.
    Empty,
    /// A register of a version that is known.
    Register,
    /// A file of some other program.
    Foreign,
}

/// Tells what a file is.
///
/// # Errors
/// A register of a newer version; a file that cannot be read.
pub(crate) fn kind(db: &Connection) -> Result<Kind, OpenError> {
    let version: i64 = db.pragma_query_value(None, "user_version", |row| row.get(0))?;
    let application: i32 = db.pragma_query_value(None, "application_id", |row| row.get(0))?;
    let tables: i64 = db.query_row("SELECT count(*) FROM sqlite_master", [], |row| row.get(0))?;
    match (application, version) {
        (APPLICATION, version) if version > CURRENT => Err(OpenError::Newer { found: version, known: CURRENT }),
        (APPLICATION, 1..) => Ok(Kind::Register),
        (0, 0) if tables == 0 => Ok(Kind::Empty),
        _ => Ok(Kind::Foreign),
    }
}

/// Brings a file up to the current version, in one transaction.
///
/// # Errors
/// When it cannot be written.
pub(crate) fn migrate(db: &mut Connection) -> Result<(), OpenError> {
    let version: i64 = db.pragma_query_value(None, "user_version", |row| row.get(0))?;
    let missing = MIGRATIONS.get(usize::try_from(version).unwrap_or(0)..).unwrap_or_default();
    if missing.is_empty() {
        return Ok(());
    }
    let transaction = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    for migration in missing {
        transaction.execute_batch(migration)?;
    }
    transaction.pragma_update(None, "application_id", APPLICATION)?;
    transaction.pragma_update(None, "user_version", CURRENT)?;
    transaction.commit()?;
    Ok(())
}
