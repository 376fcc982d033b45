//! Opening a layout's folder. Files are only ever read.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::Path;

use layout::{LARGEST_FILE, Loaded, Refused, TRACK_FILE, Unreadable};

/// Loads the layout in a folder.
///
/// # Errors
///
/// As [`layout::load`]; a folder that is none counts as unreadable.
pub(crate) fn load(folder: &Path) -> Result<Loaded, Refused> {
    check_folder(folder).map_err(Refused::Unreadable)?;
    layout::load(|name| read(folder, name))
}

/// Loads the layout in a folder, and gives the text of each file that was read for it as well.
///
/// # Errors
///
/// As [`load`].
pub(crate) fn load_with_files(folder: &Path) -> Result<(Loaded, BTreeMap<String, String>), Refused> {
    check_folder(folder).map_err(Refused::Unreadable)?;
    let mut files = BTreeMap::new();
    let loaded = layout::load(|name| {
        let bytes = read(folder, name)?;
        if let Some(bytes) = &bytes {
            files.insert(name.to_owned(), String::from_utf8_lossy(bytes).into_owned());
        }
        Ok(bytes)
    })?;
    Ok((loaded, files))
}

fn check_folder(folder: &Path) -> Result<(), Unreadable> {
    let unreadable =
        |reason: String, hint: Option<String>| Unreadable { file: folder.display().to_string(), reason, hint };
    let metadata = std::fs::metadata(folder).map_err(|error| match error.kind() {
        ErrorKind::NotFound => unreadable("there is no such folder".to_owned(), None),
        _ => unreadable(in_words(&error), None),
    })?;
    if !metadata.is_dir() {
        let hint = folder.parent().filter(|_| folder.file_name().is_some_and(|name| name == TRACK_FILE));
        let hint = hint.map(|parent| if parent.as_os_str().is_empty() { Path::new(".") } else { parent });
        let hint = hint.map_or_else(
            || format!("a layout is a folder that holds `{TRACK_FILE}`"),
            |parent| format!("name the folder: `{}`", parent.display()),
        );
        return Err(unreadable("it is a file, not a folder".to_owned(), Some(hint)));
    }
    let mut entries = std::fs::read_dir(folder).map_err(|error| unreadable(in_words(&error), None))?;
    if entries.next().is_none() {
        let hint = format!("a layout is a folder that holds `{TRACK_FILE}`");
        return Err(unreadable("the folder is empty".to_owned(), Some(hint)));
    }
    Ok(())
}

/// The bytes of a file of the folder; nothing where there is none. Never reads more than a layout file may hold.
fn read(folder: &Path, name: &str) -> Result<Option<Vec<u8>>, Unreadable> {
    let path = folder.join(name);
    let unreadable = |reason: String| Unreadable { file: path.display().to_string(), reason, hint: None };
    match std::fs::metadata(&path) {
        Ok(metadata) if !metadata.is_file() => return Err(unreadable("it is no ordinary file".to_owned())),
        Ok(_) => {}
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(unreadable(in_words(&error))),
    }
    let mut bytes = Vec::new();
    let file = File::open(&path).map_err(|error| unreadable(in_words(&error)))?;
    file.take(LARGEST_FILE as u64 + 1).read_to_end(&mut bytes).map_err(|error| unreadable(in_words(&error)))?;
    Ok(Some(bytes))
}

/// What went wrong, in a few plain words.
fn in_words(error: &std::io::Error) -> String {
    match error.kind() {
        ErrorKind::PermissionDenied => "it may not be opened by this user".to_owned(),
        _ => error.to_string().to_lowercase(),
    }
}
