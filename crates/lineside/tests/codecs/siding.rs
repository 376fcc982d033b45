//! A small layout with links, for codecs that need one.

use std::sync::Arc;

use track::Layout;
use track::wiring::{WiredLink, Wiring};

const TRACK: &str = r#"
[layout]
name = "A siding"
scale = "H0"
[[section]]
name = "quay"
[[section]]
name = "throat"
ways = [
  { from = "toe", to = "one", length = 200, needs = { W1 = "straight" } },
  { from = "toe", to = "two", length = 200, needs = { W1 = "diverging" } },
]
[[turnout]]
name = "W1"
reported = true
[[detector]]
name = "magnet"
spot = "throat.toe"
to = "one"
[[detector]]
name = "gate"
reader = "quay"
[[district]]
name = "harbour"
switched = true
[[accessory]]
name = "quay lamps"
[[input]]
name = "coal stage lever"
[[joint]]
ends = ["quay.b", "throat.toe"]
[[off-layout]]
at = ["quay.a", "throat.one", "throat.two"]
[[signal]]
name = "S1"
at = "quay.b"
"#;

const TRAINS: &str = r#"
[[train]]
name = "Heron"
address = 12
speed-steps = 28
vehicles = [{ length = 128, detectable = true }]
[[train]]
name = "Plover"
address = 1203
vehicles = [{ length = 128, detectable = true }]
[[train]]
name = "Teal"
vehicles = [
  { length = 128, detectable = true, address = 21 },
  { length = 128, detectable = true, address = 1022, reversed = true },
]
"#;

/// The layout with its links.
pub(super) fn siding(links: &str) -> (Arc<Layout>, Wiring) {
    let loaded = layout::load(|name| {
        Ok(match name {
            "layout.toml" => Some(TRACK.as_bytes().to_vec()),
            "trains.toml" => Some(TRAINS.as_bytes().to_vec()),
            "links.toml" => Some(links.as_bytes().to_vec()),
            _ => None,
        })
    });
    let loaded = loaded.unwrap_or_else(|refused| panic!("{refused}"));
    (Arc::new(loaded.layout), loaded.wiring.unwrap())
}

/// The layout with its one link.
pub(super) fn one(links: &str) -> (Arc<Layout>, WiredLink) {
    let (layout, mut wiring) = siding(links);
    (layout, wiring.links.remove(0))
}

/// Everything on one broker, at the usual topics.
pub(super) const BROKER: &str = "[[link]]\nname = \"box\"\nby = \"mqtt\"\nbroker = \"box\"\nsections = \"all\"\n\
    spots = \"all\"\nreaders = \"all\"\nturnouts = \"all\"\nsignals = \"all\"\ntrains = \"all\"\ndistricts = \"all\"\n";

/// Everything behind one adapter, by its name.
pub(super) const ADAPTER: &str = "[[link]]\nname = \"box\"\nby = \"adapter\"\ntcp = \"box:1\"\nsections = \"all\"\n\
    spots = \"all\"\nreaders = \"all\"\nturnouts = \"all\"\nsignals = \"all\"\ntrains = \"all\"\ndistricts = \"all\"\n";

/// Everything on one bus.
pub(super) const BUS: &str = r#"[[link]]
name = "bus"
by = "lcc"
tcp = "box"
node-id = "05.01.01.01.03.01"
detection-draft = true
sections = { "quay" = { occupied = "05.01.01.01.8C.00.00.01", free = "05.01.01.01.8C.00.00.02" }, "throat" = { occupied = "05.01.01.01.8C.00.00.03", free = "05.01.01.01.8C.00.00.04" } }
spots = { "magnet" = "05.01.01.01.8C.00.00.05" }
readers = { "gate" = "05.01.01.01.8C.01" }
turnouts = { "W1" = { straight = "05.01.01.01.8C.00.00.06", diverging = "05.01.01.01.8C.00.00.07", accessory = 12 } }
trains = { "Heron" = "06.01.00.00.00.0C" }
[link.signals]
"S1" = { red = "05.01.01.01.03.01.00.01", yellow = "05.01.01.01.03.01.00.02", green = "05.01.01.01.03.01.00.03" }
"#;
