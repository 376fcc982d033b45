//! What one script may use, and how often it may ask for something.

use std::time::Duration;

use signaller::Time;

/// What one script file may use.
///
/// The count of checks ends a loop at the same place in every run; the time is for what takes long between two checks. Luau
/// checks at every call, at every turn of a loop and at every step of a pattern search.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Budget {
    /// Checks between being woken and giving way again.
    pub checks: u64,
    /// Time between being woken and giving way again.
    pub time: Duration,
    /// Memory, in bytes, for everything the script keeps.
    pub memory: usize,
    /// Requests that may leave at once after a while of quiet.
    pub requests_at_once: u32,
    /// Requests a second of layout time that may leave for ever.
    pub requests_per_second: u32,
    /// Lines that may be said at once after a while of quiet; in the long run as many a second as requests.
    pub lines_at_once: u32,
}

impl Default for Budget {
    fn default() -> Self {
        Self {
            checks: 200_000,
            time: Duration::from_millis(500),
            memory: 16 << 20,
            requests_at_once: 20,
            requests_per_second: 10,
            lines_at_once: 50,
        }
    }
}

/// A store of permissions that fills up with layout time.
#[derive(Clone, Debug)]
pub(crate) struct Allowance {
    /// When the store will be full again.
    full_at: Time,
    /// How long one permission takes to come back.
    each: Duration,
    /// How many permissions a full store holds.
    at_once: u32,
}

impl Allowance {
    pub(crate) fn new(at_once: u32, per_second: u32) -> Self {
        let each = Duration::from_secs(1) / per_second.max(1);
        Self { full_at: Time::ZERO, each, at_once: at_once.max(1) }
    }

    /// When the next permission can be had; now or earlier: at once.
    pub(crate) fn next(&self) -> Time {
        self.full_at - self.each * (self.at_once - 1)
    }

    /// Takes a permission, where there is one.
    pub(crate) fn take(&mut self, now: Time) -> bool {
        if self.next() > now {
            return false;
        }
        self.full_at = self.full_at.max(now) + self.each;
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn after_the_first_rush_one_request_leaves_at_a_time() {
        let mut allowance = Allowance::new(3, 10);
        let start = Time::from_millis(5_000);
        assert_eq!((0..9).filter(|_| allowance.take(start)).count(), 3);
        assert_eq!(allowance.next(), Time::from_millis(5_100));
        assert!(!allowance.take(Time::from_millis(5_099)));
        assert!(allowance.take(Time::from_millis(5_100)));
        assert!(!allowance.take(Time::from_millis(5_199)));
        assert_eq!((0..9).filter(|_| allowance.take(Time::from_millis(60_000))).count(), 3);
    }
}
