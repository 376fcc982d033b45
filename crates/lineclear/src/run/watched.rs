//! The scripts' files: when one of them changes, all are read anew.

use std::io;
use std::path::PathBuf;
use std::time::{Duration, SystemTime};

use tokio::sync::mpsc::{Receiver, channel};
use tokio::task::spawn_blocking;
use tokio::time::sleep;

/// How often they are looked at.
const APART: Duration = Duration::from_secs(1);

/// Texts of scripts, each with the name of its file; or why they cannot be read.
pub(super) type Texts = io::Result<Vec<(String, String)>>;

/// The folder of the scripts, and those that were chosen instead.
pub(super) type Chosen = (PathBuf, Vec<PathBuf>);

/// What tells one version of the files from another: their names, lengths, and when they were written.
type Stamp = Option<Vec<(PathBuf, u64, Option<SystemTime>)>>;

/// Watches the scripts' files, as long as somebody listens: their texts come once they changed and then stayed as they are
/// for a look. To be called within a runtime.
pub(super) fn watch(chosen: Chosen) -> Receiver<Texts> {
    let (sender, texts) = channel(1);
    tokio::spawn(async move {
        let look = |chosen: &Chosen| {
            let chosen = chosen.clone();
            // A disk may be slow; nobody waits for it.
            spawn_blocking(move || stamp(&chosen))
        };
        let mut read = look(&chosen).await.unwrap_or_default();
        let mut seen = read.clone();
        while !sender.is_closed() {
            sleep(APART).await;
            let now = look(&chosen).await.unwrap_or_default();
            let is_settled = now == seen;
            seen.clone_from(&now);
            if !is_settled || now == read {
                continue;
            }
            read = now;
            let (folder, instead) = chosen.clone();
            let texts = spawn_blocking(move || super::chosen_scripts(&folder, &instead)).await;
            if sender.send(texts.unwrap_or_else(|error| Err(io::Error::other(error)))).await.is_err() {
                return;
            }
        }
    });
    texts
}

fn stamp((folder, instead): &Chosen) -> Stamp {
    let paths = if instead.is_empty() {
        let entries = std::fs::read_dir(folder).ok()?.map(|entry| entry.map(|entry| entry.path()));
        entries.collect::<io::Result<Vec<PathBuf>>>().ok()?
    } else {
        instead.clone()
    };
    let scripts = paths.into_iter().filter(|path| path.extension().is_some_and(|extension| extension == "lua"));
    let mut stamp = scripts
        .map(|path| std::fs::metadata(&path).map(|about| (path, about.len(), about.modified().ok())))
        .collect::<io::Result<Vec<_>>>()
        .ok()?;
    stamp.sort();
    Some(stamp)
}
