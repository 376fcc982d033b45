//! Where the register lies: its file, the lock that only one writer can have, and what is done with a file that is damaged.

use std::fs::{File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};

use crate::trouble::OpenError;

/// The file in its folder.
pub const FILE: &str = "register.sqlite";
const LOCK: &str = "register.lock";
/// What SQLite keeps beside a file.
const BESIDE: [&str; 2] = ["-wal", "-shm"];

/// Makes the folder, and keeps other writers out of it for as long as the file that comes back is open.
pub(crate) fn claim(folder: &Path) -> Result<File, OpenError> {
    std::fs::create_dir_all(folder)?;
    let path = folder.join(LOCK);
    let lock = OpenOptions::new().create(true).truncate(false).write(true).open(path)?;
    match lock.try_lock() {
        Ok(()) => Ok(lock),
        Err(TryLockError::WouldBlock) => Err(OpenError::InUse(folder.join(FILE))),
        Err(TryLockError::Error(error)) => Err(error.into()),
    }
}

/// Moves a register aside, with what SQLite keeps beside it, and tells its new path.
pub(crate) fn move_aside(path: &Path) -> Result<PathBuf, OpenError> {
    let with = |path: &Path, end: &str| {
        let mut name = path.as_os_str().to_owned();
        name.push(end);
        PathBuf::from(name)
    };
    let mut number = 1_u32;
    let aside = loop {
        let aside = with(path, &format!(".aside-{number}"));
        if !aside.try_exists()? {
            break aside;
        }
        number += 1;
    };
    std::fs::rename(path, &aside)?;
    for end in BESIDE {
        if with(path, end).try_exists()? {
            std::fs::rename(with(path, end), with(&aside, end))?;
        }
    }
    Ok(aside)
}

/// The register that somebody means who names a file, its folder, or the folder of a layout with a folder `state` in it.
///
/// # Errors
/// Where there is none.
pub fn find(named: &Path) -> Result<PathBuf, OpenError> {
    let places = [named.to_owned(), named.join(FILE), named.join("state").join(FILE)];
    let found = places.into_iter().find(|place| place.is_file());
    found.ok_or_else(|| OpenError::Missing(if named.is_dir() { named.join(FILE) } else { named.to_owned() }))
}
