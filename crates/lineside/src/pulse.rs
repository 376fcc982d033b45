//! Whether the loop that drives the trains goes round.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Tells links that the loop goes round.
#[derive(Clone, Debug)]
pub struct Pulse {
    began: Instant,
    last: Arc<AtomicU64>,
}

impl Pulse {
    pub(crate) fn new() -> Self {
        Self { began: Instant::now(), last: Arc::new(AtomicU64::new(0)) }
    }

    /// The loop went round.
    pub fn beat(&self) {
        self.last.store(self.began.elapsed().as_millis() as u64, Ordering::Relaxed);
    }

    pub(crate) fn silent_for(&self) -> Duration {
        self.began.elapsed().saturating_sub(Duration::from_millis(self.last.load(Ordering::Relaxed)))
    }
}
