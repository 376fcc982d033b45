//! How fast a train can be and must be at least, from what it was told and when.

use std::time::Duration;

use smallvec::SmallVec;
use track::{Acceleration, Length, Speed};

use super::profile::Profile;
use crate::door::Direction;
use crate::identity::Pace;
use crate::time::Time;

/// How long an order may take until the train answers to it: a busy bus and a decoder's own pace. Common practice, no source.
pub(crate) const REACTION: Duration = Duration::from_millis(150);

/// An order to stand is repeated after so long, and again: one may be lost. Common practice, no source.
pub(crate) const STOP_AGAIN: [Duration; 2] = [Duration::from_millis(300), Duration::from_millis(1000)];
/// Any other order is repeated once after so long, if nothing newer was ordered.
pub(crate) const RUN_AGAIN: Duration = Duration::from_millis(500);

/// One train's motion.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub(crate) struct Motion {
    pub(crate) step: u8,
    pub(crate) direction: Option<Direction>,
    /// Bounds of its speed at `as_of`.
    pace: Pace,
    as_of: Time,
    /// Orders that it may still be acting on: until when, and what they meant.
    recent: SmallVec<[(Time, Pace); 4]>,
    /// Since when it has surely run as told, all ramps over.
    steady_since: Option<Time>,
    /// Since when it surely stands.
    rests_since: Option<Time>,
    /// How far it has run at least, all in all.
    surely_run: Length,
    /// And at most.
    may_have_run: Length,
}

impl Default for Motion {
    fn default() -> Self {
        Self {
            step: 0,
            direction: None,
            pace: STANDING,
            as_of: Time::ZERO,
            recent: SmallVec::new(),
            steady_since: None,
            rests_since: Some(Time::from_nanos(i64::MIN / 2)),
            surely_run: Length::ZERO,
            may_have_run: Length::ZERO,
        }
    }
}

pub(crate) const STANDING: Pace = Pace { least: Speed::ZERO, most: Speed::ZERO };

impl Motion {
    pub(crate) fn is_at_rest(&self) -> bool {
        self.step == 0 && self.pace.most == Speed::ZERO
    }

    /// Whether it has run at one speed since then.
    pub(crate) fn is_steady_since(&self, then: Time) -> bool {
        self.step > 0 && self.steady_since.is_some_and(|since| since <= then)
    }

    /// Bounds of the speed from now until the next order or the next look, whichever comes first.
    pub(crate) fn pace(&self) -> Pace {
        self.pace
    }

    /// How far the train has run at least, all in all.
    pub(crate) fn surely_run(&self) -> Length {
        self.surely_run
    }

    /// Since when the train surely stands; nothing where it may move.
    pub(crate) fn rests_since(&self) -> Option<Time> {
        self.rests_since
    }

    /// How far the train may have run at most, all in all.
    pub(crate) fn may_have_run(&self) -> Length {
        self.may_have_run
    }

    /// The train is told another step.
    ///
    /// One order in a row may be lost, and then the train goes on as it was told before until it hears the next one, or this
    /// one again: until then it is taken to be as fast as either makes it.
    pub(crate) fn order(&mut self, step: u8, direction: Direction, profile: &Profile, now: Time) {
        self.advance(profile, now);
        let before = Pace { least: profile.least(self.step), most: profile.most(self.step) };
        for (until, _) in &mut self.recent {
            *until = (*until).min(now + REACTION);
        }
        let again = if step == 0 { STOP_AGAIN[0] } else { RUN_AGAIN };
        self.recent.push((now + again + REACTION, before));
        self.step = step;
        self.direction = Some(direction);
        self.steady_since = None;
        self.advance(profile, now);
    }

    /// Brings the bounds up to `now`. A train may obey at once, or late and gently: it is no faster than any order of the
    /// last moments allows and its brakes explain, and no slower than any of them asks and its engine gives.
    pub(crate) fn advance(&mut self, profile: &Profile, now: Time) {
        while let Some(&(until, _)) = self.recent.first().filter(|(until, _)| *until <= now) {
            self.advance_under_same_orders(profile, until);
            self.recent.remove(0);
        }
        self.advance_under_same_orders(profile, now);
    }

    fn advance_under_same_orders(&mut self, profile: &Profile, until: Time) {
        let elapsed = until.since(self.as_of);
        self.as_of = self.as_of.max(until);
        let mut asked = Pace { least: profile.least(self.step), most: profile.most(self.step) };
        for (_, order) in &self.recent {
            asked.least = asked.least.min(order.least);
            asked.most = asked.most.max(order.most);
        }
        let slowed = self.pace.most - change(profile.braking, elapsed);
        let gathered = self.pace.least + change(profile.acceleration.scaled(1, 2), elapsed);
        let before = self.pace;
        self.pace = Pace { least: asked.least.min(gathered), most: asked.most.max(slowed) };
        self.surely_run += self.pace.least.min(before.least).distance_in(elapsed);
        self.may_have_run += self.pace.most.max(before.most).distance_in(elapsed);
        if self.recent.is_empty() && self.pace == asked {
            self.steady_since.get_or_insert(until);
        }
        self.rests_since = self.rests_since.or(Some(until)).filter(|_| self.is_at_rest());
        debug_assert!(self.pace.least <= self.pace.most, "bounds of a speed that contradict each other");
    }
}

fn change(rate: Acceleration, elapsed: Duration) -> Speed {
    let nanos = elapsed.as_nanos().min(1 << 62) as i128;
    Speed::from_um((i128::from(rate.um()) * nanos / 1_000_000_000).min(i128::from(i64::MAX / 8)) as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seconds(seconds: f64) -> Time {
        Time::from_secs_f64(seconds)
    }

    #[test]
    fn a_train_told_to_stop_counts_as_moving_until_its_brakes_must_have_stopped_it() {
        let profile = Profile::new(None);
        let mut motion = Motion::default();
        motion.order(63, Direction::Forward, &profile, seconds(0.0));
        motion.advance(&profile, seconds(5.0));
        assert_eq!(motion.pace(), Pace { least: profile.least(63), most: profile.most(63) });
        motion.order(0, Direction::Forward, &profile, seconds(5.0));
        assert_eq!(motion.pace(), Pace { least: Speed::ZERO, most: profile.most(63) });
        assert!(!motion.is_at_rest());
        // 137.5 mm/s at 96 mm/s2 take 1.43 s; up to 0.15 s pass before it brakes, and 0.3 s more if it hears only the repeat.
        for tick in 1..=18 {
            motion.advance(&profile, seconds(5.0 + 0.1 * f64::from(tick)));
        }
        assert!(!motion.is_at_rest());
        motion.advance(&profile, seconds(7.0));
        assert!(motion.is_at_rest());
    }

    #[test]
    fn a_train_that_may_have_missed_one_of_many_orders_is_as_fast_as_the_one_before_allows() {
        let profile = Profile::new(None);
        let mut motion = Motion::default();
        motion.order(60, Direction::Forward, &profile, seconds(0.0));
        motion.advance(&profile, seconds(5.0));
        motion.order(50, Direction::Forward, &profile, seconds(5.0));
        motion.order(40, Direction::Forward, &profile, seconds(5.1));
        // It heard the second at 5.25 at the latest, if it missed the first.
        motion.advance(&profile, seconds(5.24));
        assert_eq!(motion.pace().most, profile.most(60));
        motion.advance(&profile, seconds(5.7));
        assert_eq!(motion.pace().most, profile.most(50), "it may have missed the last one");
        motion.advance(&profile, seconds(6.5));
        assert_eq!(motion.pace().most, profile.most(40));
    }

    #[test]
    fn a_train_that_starts_may_stand_for_a_moment_and_may_be_quick() {
        let profile = Profile::new(None);
        let mut motion = Motion::default();
        motion.order(20, Direction::Forward, &profile, seconds(1.0));
        motion.advance(&profile, seconds(1.1));
        assert_eq!(motion.pace(), Pace { least: Speed::ZERO, most: profile.most(20) });
        motion.advance(&profile, seconds(1.6));
        assert_eq!(motion.pace().least, Speed::ZERO, "it may have heard nothing yet");
        motion.advance(&profile, seconds(3.0));
        assert_eq!(motion.pace().least, profile.least(20));
    }
}
