//! Layouts for tests, as somebody would describe them.

use std::sync::Arc;

use track::Layout;
use track::wiring::WiredLink;

/// A layout and its only link, by the texts of `layout.toml` and `links.toml`.
pub(crate) fn described(track: &str, links: &str) -> (Arc<Layout>, WiredLink) {
    let loaded = layout::load(|name| {
        Ok(match name {
            "layout.toml" => Some(track.as_bytes().to_vec()),
            "links.toml" => Some(links.as_bytes().to_vec()),
            _ => None,
        })
    });
    let loaded = loaded.unwrap_or_else(|refused| panic!("{refused}"));
    let [link] = <[WiredLink; 1]>::try_from(loaded.wiring.unwrap().links).unwrap();
    (Arc::new(loaded.layout), link)
}
