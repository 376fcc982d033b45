//! From authority to speed steps: how far a train may go, and how fast.

/// How every train is driven.
#[derive(Debug)]
pub struct Drive {}

impl Drive {
    /// All trains stand.
    pub fn new(_layout: std::sync::Arc<track::Layout>) -> Self {
        Self {}
    }
}
