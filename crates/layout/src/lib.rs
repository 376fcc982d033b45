//! Text to checked layout: TOML in, every mistake reported, in one run.

mod check;
mod diagnostic;
mod fittings;
mod keys;
mod load;
mod names;
mod nearest;
mod read_track;
mod read_trains;
mod resolve;
mod resolve_trains;
mod show;
mod source;
mod syntax;
mod written;

pub use diagnostic::{Diagnostic, Diagnostics, Severity};
pub use load::{LARGEST_FILE, LINKS_FILE, Loaded, Refused, TRACK_FILE, TRAINS_FILE, Unreadable, load};
pub use nearest::nearest;
pub use source::Place;
