//! Whether a line is still there, though not everything that was asked is answered.

use std::time::Duration;

/// So many failures without a whole round of answers between them, and the line is lost.
const FAILURES: u32 = 3;
/// One that answers nothing for so long is lost, however few failures that is: so soon a loss must be noticed, for what is
/// believed meanwhile is only what was so.
const LONGEST: Duration = Duration::from_millis(1500);

/// What is made of failures. Times are since some beginning, and never go back.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Trust {
    failures: u32,
    /// When the first question was asked that was not answered, or else the last one.
    since: Duration,
}

impl Trust {
    /// There is nothing to go by yet.
    pub(super) fn new(now: Duration) -> Self {
        Self { failures: 0, since: now }
    }

    /// Something is about to be asked.
    pub(super) fn asks(&mut self, now: Duration) {
        if self.failures == 0 {
            self.since = now;
        }
    }

    /// Everything was answered, one after the other. Only that makes up for failures: where one server answers and another
    /// does not, what the other one said is not known to be so any more.
    pub(super) fn round_is_over(&mut self) {
        self.failures = 0;
    }

    /// Something was not answered; tells whether the line is lost.
    pub(super) fn failed(&mut self, now: Duration) -> bool {
        self.failures += 1;
        self.failures >= FAILURES || self.left(now) == Duration::ZERO
    }

    /// Something was not answered, and not everything has been since: what is said otherwise now may have been so for a while.
    pub(super) fn is_doubtful(self) -> bool {
        self.failures > 0
    }

    /// How long to wait for an answer at most before the line is lost.
    pub(super) fn left(self, now: Duration) -> Duration {
        (self.since + LONGEST).saturating_sub(now)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ms(count: u64) -> Duration {
        Duration::from_millis(count)
    }

    #[test]
    fn one_answer_that_is_missing_is_no_lost_line_and_three_are() {
        let mut trust = Trust::new(ms(0));
        assert!(!trust.failed(ms(300)) && trust.is_doubtful());
        trust.asks(ms(400));
        trust.round_is_over();
        assert!(!trust.is_doubtful(), "everything was answered since");
        trust.asks(ms(450));
        assert_eq!([500, 600, 700].map(|at| trust.failed(ms(at))), [false, false, true]);
    }

    #[test]
    fn a_server_that_is_silent_is_missed_though_its_neighbour_answers() {
        let mut trust = Trust::new(ms(0));
        let lost = [1, 2, 3].map(|time| {
            trust.asks(ms(time * 100));
            trust.failed(ms(time * 100 + 50))
        });
        assert_eq!(lost, [false, false, true]);
    }

    #[test]
    fn a_line_is_not_waited_for_longer_than_a_loss_may_go_unnoticed() {
        let mut trust = Trust::new(ms(0));
        trust.asks(ms(9000));
        assert!(!trust.failed(ms(10_000)));
        trust.asks(ms(10_100));
        assert_eq!(trust.left(ms(10_100)), ms(400), "since the first that was not answered");
        assert!(trust.failed(ms(10_500)), "two failures are enough if they take so long");
    }
}
