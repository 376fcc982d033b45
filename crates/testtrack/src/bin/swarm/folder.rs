//! Where layouts come from.

use std::path::Path;
use std::sync::Arc;

use layout::{Refused, TRACK_FILE, TRAINS_FILE, Unreadable};
use testtrack::network;
use testtrack::swarm::Place;
use track::Layout;

/// A layout that was asked for.
#[derive(Clone, Debug)]
pub(crate) enum Given {
    /// One of those that come with the swarm.
    Ours(Place),
    /// That of a folder.
    Folder(String, Arc<Layout>),
}

/// Understands which layout is meant.
///
/// # Errors
/// What is wrong with the folder.
pub(crate) fn place(which: &str) -> Result<Given, String> {
    if let Some(place) = Place::named(which) {
        return Ok(Given::Ours(place));
    }
    if !Path::new(which).is_dir() {
        let hint = "name a folder with a layout, `demo`, `network`, `crossed`, or one of the small ones";
        return Err(format!("there is no folder and no layout `{which}`\nhint: {hint}"));
    }
    let loaded = layout::load(|file| read(&Path::new(which).join(file)));
    loaded.map(|loaded| Given::Folder(which.to_owned(), Arc::new(loaded.layout))).map_err(|refused| refused.to_string())
}

/// The layout of one of our places for a seed.
///
/// # Errors
/// What is wrong with the demo layout.
pub(crate) fn build(place: Place, seed: u64) -> Result<Layout, String> {
    match place {
        Place::Demo => demo().map_err(|refused| refused.to_string()),
        Place::Fixture(fixture) => Ok(fixture.layout()),
        Place::Network => Ok(network::drawn(seed)),
        Place::Crossed => Ok(network::drawn_crossed(seed)),
    }
}

/// The demo layout, as it was when this was built.
fn demo() -> Result<Layout, Refused> {
    let loaded = layout::load(|name| {
        let text = match name {
            TRACK_FILE => include_str!("../../../../../demo-layout/layout.toml"),
            TRAINS_FILE => include_str!("../../../../../demo-layout/trains.toml"),
            _ => return Ok(None),
        };
        Ok(Some(text.as_bytes().to_vec()))
    });
    loaded.map(|loaded| loaded.layout)
}

#[expect(clippy::disallowed_methods, reason = "only what runs inside a trial must not depend on files")]
fn read(path: &Path) -> Result<Option<Vec<u8>>, Unreadable> {
    if !path.exists() {
        return Ok(None);
    }
    let unreadable = |error: std::io::Error| {
        let reason = error.to_string().to_lowercase();
        Unreadable { file: path.display().to_string(), reason, hint: None }
    };
    std::fs::read(path).map(Some).map_err(unreadable)
}
