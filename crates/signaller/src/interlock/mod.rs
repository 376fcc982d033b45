//! Who may have which track: exclusive sections, locked turnouts, release behind the tail.

/// All grants and locks.
#[derive(Debug)]
pub struct Interlock {}

impl Interlock {
    /// Nothing is granted.
    pub fn new(_layout: std::sync::Arc<track::Layout>, _conduct: crate::Conduct) -> Self {
        Self {}
    }
}
