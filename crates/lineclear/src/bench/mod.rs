//! Looking at hardware by hand: `lineclear listen` shows what it says, `lineclear try` works one thing.

pub(crate) mod listen;
pub(crate) mod try_one;

use std::io::{self, Write};
use std::path::Path;
use std::sync::Arc;

use track::Layout;
use track::wiring::Wiring;

use crate::{Exit, folder};

/// A layout and its links.
///
/// # Errors
/// What to say, and how to end.
fn open(folder: &Path) -> Result<(Arc<Layout>, Wiring), Exit> {
    let loaded = folder::load(folder).map_err(|refused| complain(&refused))?;
    let wiring = loaded.wiring.ok_or_else(|| {
        complain(&"error: there is no `links.toml`\nhint: it says how hardware is reached: begin with one `[[link]]`")
    })?;
    Ok((Arc::new(loaded.layout), wiring))
}

fn complain(words: &dyn std::fmt::Display) -> Exit {
    // Where nobody listens there is nobody left to tell.
    let _ = writeln!(io::stderr(), "{words}");
    Exit::BadInput
}
