//! Hints for the diagram that it cannot keep to.

use layout::{Loaded, Written};
use panel::diagram::Diagram;

/// Adds a warning for each of them.
pub(super) fn judge(loaded: &mut Loaded) {
    if loaded.hints.is_empty() {
        return;
    }
    let (_, unheeded) = Diagram::wished(&loaded.layout, &loaded.hints);
    for found in unheeded {
        loaded.warn(Written::Hint(found.hint), found.why, found.instead);
    }
}
