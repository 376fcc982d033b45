//! Tells the crate which form its state has: a digest of the sources that decide it.
//!
//! A snapshot is read back only by a program whose state has the same form. The version number does not tell that between
//! releases, so every change of these sources counts as another form: a snapshot refused costs a longer replay, one that is
//! misread could move a train.

// A build script reads files and answers on standard output; the crate itself does neither.
#![allow(clippy::disallowed_methods, clippy::print_stdout)]

use std::path::{Path, PathBuf};

/// The crates of which state is kept.
const SOURCES: [&str; 2] = ["src", "../track/src"];

fn main() -> std::io::Result<()> {
    let mut files = Vec::new();
    for source in SOURCES {
        println!("cargo::rerun-if-changed={source}");
        collect(Path::new(source), &mut files)?;
    }
    files.sort();
    let mut form = 0xCBF2_9CE4_8422_2325_u64;
    for file in files {
        let name = file.to_string_lossy().into_owned();
        for byte in name.bytes().chain([0]).chain(std::fs::read(&file)?) {
            // FNV-1a, as in `src/digest.rs`, which a build script cannot use.
            form = (form ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3);
        }
    }
    println!("cargo::rustc-env=FORM_OF_STATE={form:016x}");
    Ok(())
}

fn collect(path: &Path, files: &mut Vec<PathBuf>) -> std::io::Result<()> {
    for entry in std::fs::read_dir(path)? {
        let path = entry?.path();
        if path.is_dir() {
            collect(&path, files)?;
        } else {
            files.push(path);
        }
    }
    Ok(())
}
