//! The page in a real browser: what it shows is so, what is tapped is done, a lost daemon is seen.
//!
//! The checks themselves are in `tests/browser`, each a sentence. `LINECLEAR_NODE` names the folder into which `scripts/test` puts
//! what they need from others.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::program;

/// The folder with what the tests of the page need; nothing where it is not there and not needed.
fn node() -> Option<PathBuf> {
    let folder = std::env::var_os("LINECLEAR_NODE").map(PathBuf::from);
    let is_there = |name: &str| folder.as_ref().is_some_and(|folder| folder.join("node_modules").join(name).is_dir());
    let has_node = Command::new("node").arg("--version").output().is_ok_and(|ran| ran.status.success());
    if !has_node || !["playwright-core", "axe-core", "typescript", "jsqr"].into_iter().all(is_there) {
        program::skip("`LINECLEAR_NODE` does not name a folder with `playwright-core`: run `scripts/test`");
        return None;
    }
    folder
}

fn chromium() -> Option<PathBuf> {
    let named = std::env::var_os("LINECLEAR_CHROMIUM").map(PathBuf::from);
    let found = named.or_else(|| Some(Path::new("/usr/bin/chromium").to_owned())).filter(|path| path.exists());
    if found.is_none() {
        program::skip("there is no `chromium`: run `scripts/test`");
    }
    found
}

#[test]
fn the_types_of_the_page_hold_together() {
    let Some(folder) = node() else { return };
    let checked = Command::new("node")
        .arg(folder.join("node_modules/typescript/bin/tsc"))
        .arg("-p")
        .arg(program::root().join("crates/panel/page/tsconfig.json"))
        .output()
        .unwrap();
    assert!(checked.status.success(), "{}", String::from_utf8_lossy(&checked.stdout));
}

#[test]
fn whoever_looks_at_the_page_sees_the_trains_as_they_are_and_can_stop_them() {
    let (Some(folder), Some(chromium)) = (node(), chromium()) else { return };
    let ran = Command::new("node")
        .arg(program::root().join("tests/browser/page.mjs"))
        .env("LINECLEAR_NODE", folder)
        .env("LINECLEAR_CHROMIUM", chromium)
        .env("LINECLEAR_PROGRAM", program::program())
        .env("LINECLEAR_DEMO", program::root().join("demo-layout"))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&ran.stdout).into_owned();
    println!("{said}");
    assert!(ran.status.success(), "{said}\n{}", String::from_utf8_lossy(&ran.stderr));
}
