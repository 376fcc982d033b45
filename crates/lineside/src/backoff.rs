//! How long to wait before the next try.

use std::time::Duration;

/// The first wait, and the longest.
const FIRST: Duration = Duration::from_millis(100);
const LONGEST: Duration = Duration::from_secs(10);
/// What lasted for so long was no failure: the next wait is the first again.
const LASTED: Duration = Duration::from_secs(10);

/// Waits that grow.
#[derive(Debug)]
pub(crate) struct Backoff {
    next: Duration,
}

impl Backoff {
    pub(crate) fn new() -> Self {
        Self { next: FIRST }
    }

    /// How long to wait after something that lasted so long ended.
    pub(crate) fn after(&mut self, lasted: Duration) -> Duration {
        if lasted >= LASTED {
            self.next = FIRST;
        }
        let wait = self.next;
        self.next = (wait * 2).min(LONGEST);
        wait
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_link_that_is_lost_again_and_again_is_tried_less_and_less_often() {
        let mut backoff = Backoff::new();
        let waits: Vec<u128> = (0..9).map(|_| backoff.after(Duration::ZERO).as_millis()).collect();
        assert_eq!(waits, [100, 200, 400, 800, 1600, 3200, 6400, 10_000, 10_000]);
        assert_eq!(backoff.after(Duration::from_secs(20)), FIRST, "it was up for long");
    }
}
