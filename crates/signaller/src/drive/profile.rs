//! How a train answers to speed steps, as far as it was described; defaults where it was not.

use track::braking::Gradient;
use track::{Acceleration, Length, Speed, SpeedSteps, Train};

use super::curve::Curve;
use super::estimate::{Lesson, Momentum};
use super::learned::{Learned, MILLION, Ratio, Timed, side};
use super::lessons::{Described, Lessons, SideLessons, StepSpeed};
use crate::door::Direction;

/// The speed at the highest step of a train that was not measured. Common practice, no source: about 80 km/h in H0.
const TOP_SPEED: Speed = Speed::from_mm(250);
/// How a train gathers speed that was not measured: quickly enough for a table, slowly enough to look right. Common practice,
/// no source.
const ACCELERATION: Acceleration = Acceleration::from_mm(80);
/// How a train brakes that was not measured. Common practice, no source.
const BRAKING: Acceleration = Acceleration::from_mm(120);
/// How far the real speed may be off where nobody said, in thousandths. Common practice, no source.
const TOLERANCE: i64 = 100;
/// No train is taken to brake better than this part of what is said of it, in thousandths: a loaded train needs room. What
/// falling track takes is reckoned apart. Common practice, no source.
const BRAKING_COUNTED_ON: i64 = 800;

/// No gradient is taken to leave a train less than this part of its brakes, in thousandths: one that runs away does so
/// however it is driven, and one that does not must be known to come to rest some time.
const LEAST_BRAKING: i64 = 100;

/// What lies no more deviations off holds in 95 cases of 100, if it is distributed normally.
const WITHIN_95_PERCENT: f64 = 1.96;

/// One train's speed curve: a straight line, with bounds that narrow as it is timed.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub(crate) struct Profile {
    top: Speed,
    steps: u8,
    learned: Learned,
    /// What is most likely, forwards and backwards.
    curves: [Curve; 2],
    /// At what share of its highest step it ran of late.
    usual_share: f64,
    /// Which way it ran before, and how fast it was taken to be then.
    run_before: Option<(Direction, f64)>,
    /// Which way it faces: an engine is not as fast backwards as forwards.
    pub(crate) direction: Direction,
    /// How it is made to gather speed.
    pub(crate) acceleration: Acceleration,
    /// How well it brakes at least, on the track before it.
    pub(crate) braking: Acceleration,
    /// How well it brakes at least on level track.
    braking_on_the_level: Acceleration,
    /// How much of gravity gets through its gears, in thousandths.
    gradient_share: i64,
    /// The blind length ahead of the first axle that a detector sees, whichever end leads.
    pub(crate) blind: Length,
}

impl Profile {
    /// The profile of a train; of a stranger, where nothing is known.
    pub(crate) fn new(train: Option<&Train>) -> Self {
        let tolerance = train.map_or(0, |train| train.speed_tolerance_permille);
        let tolerance = if tolerance > 0 { tolerance.min(900) } else { TOLERANCE };
        // Anything within the tolerance is as likely.
        let deviation = tolerance as f64 / 1000.0 / 3.0_f64.sqrt();
        let counted_on = train.and_then(|train| train.braking).unwrap_or(BRAKING).scaled(BRAKING_COUNTED_ON, 1000);
        Self {
            top: train.and_then(|train| train.top_speed).unwrap_or(TOP_SPEED),
            steps: train.map_or(SpeedSteps::Steps126, |train| train.speed_steps).highest(),
            learned: Learned::new(tolerance),
            curves: [Curve::new(deviation), Curve::new(deviation)],
            usual_share: 0.5,
            run_before: None,
            direction: Direction::Forward,
            acceleration: train.and_then(|train| train.acceleration).unwrap_or(ACCELERATION),
            braking: counted_on,
            braking_on_the_level: counted_on,
            gradient_share: train.map_or(Train::GRADIENT_SHARE_PERMILLE, |train| train.gradient_share_permille),
            blind: train.map_or(Length::ZERO, |train| train.blind_front().max(train.blind_rear())),
        }
    }

    /// What it was said to be when this was learned.
    pub(super) fn described(&self) -> Described {
        Described { top: self.top, steps: self.steps, tolerance_permille: self.learned.tolerance_permille() }
    }

    /// What was learned of one direction.
    pub(super) fn lessons(&self, direction: Direction) -> SideLessons {
        let side = side(direction);
        SideLessons { taught: self.curves[side].taught(), timed: self.learned.timed(side) }
    }

    /// At what share of its highest step it ran of late, in billionths.
    pub(super) fn usual_share_billionths(&self) -> i64 {
        (self.usual_share * 1e9).round() as i64
    }

    /// Knows again what was learned before.
    pub(super) fn remember(&mut self, lessons: &Lessons) {
        for (direction, of_side) in [(Direction::Forward, &lessons.forward), (Direction::Backward, &lessons.backward)] {
            self.curves[side(direction)].remember(&of_side.taught);
            self.learned.remember(side(direction), &of_side.timed);
        }
        self.usual_share = lessons.usual_share_billionths as f64 / 1e9;
    }

    /// Takes over what a profile says of which nothing was learned; which way the train faces, and what it is made of, stays.
    pub(super) fn forget(&mut self, fresh: Self) {
        let (direction, blind, braking) = (self.direction, self.blind, self.braking);
        *self = Self { direction, blind, braking, ..fresh };
    }

    /// How fast it is in one direction at every step, lowest first, as far as that is known.
    pub(super) fn speeds(&self, direction: Direction) -> Vec<StepSpeed> {
        let curve = &self.curves[side(direction)];
        let mut speeds: Vec<StepSpeed> = (1..=self.steps)
            .map(|step| {
                let share = self.share(step);
                let (ratio, off) = (curve.ratio(share), WITHIN_95_PERCENT * curve.deviation_of_run(share));
                let speed =
                    |ratio: f64| self.nominal(step).scaled((ratio.max(0.0) * 1e9).round() as i64, 1_000_000_000);
                let (likely, least, most) = (speed(ratio), speed(ratio - off), speed(ratio + off));
                StepSpeed { step, likely, least, most, runs: curve.runs(share) }
            })
            .collect();
        // No step is slower than the one below: what holds for one bounds the others, too.
        for place in 1..speeds.len() {
            speeds[place].least = speeds[place].least.max(speeds[place - 1].least);
        }
        for place in (1..speeds.len()).rev() {
            speeds[place - 1].most = speeds[place - 1].most.min(speeds[place].most);
        }
        speeds
    }

    /// From now on it brakes on track that falls so at most; a rise helps nobody, for all of the train may not be on it yet.
    pub(super) fn brake_on(&mut self, fall: Gradient) {
        let left = self.braking_on_the_level + fall.min(Gradient::LEVEL).pull(self.gradient_share);
        self.braking = left.max(self.braking_on_the_level.scaled(LEAST_BRAKING, 1000));
    }

    /// The speed that a step means.
    pub(crate) fn nominal(&self, step: u8) -> Speed {
        self.top.scaled(i64::from(step), i64::from(self.steps))
    }

    /// The highest speed it can have at a step, once it has settled.
    pub(crate) fn most(&self, step: u8) -> Speed {
        self.nominal(step).scaled(self.believed(step).most, MILLION)
    }

    /// The least speed it can have at a step, once it has settled.
    pub(crate) fn least(&self, step: u8) -> Speed {
        self.nominal(step).scaled(self.believed(step).least, MILLION)
    }

    fn believed(&self, step: u8) -> Ratio {
        self.learned.believed(self.direction, step, self.steps)
    }

    /// It ran so fast at a step, for long enough to be timed.
    pub(super) fn learn(&mut self, step: u8, timed: &Timed) {
        let nominal = self.nominal(step);
        self.learned.learn(self.direction, step, self.steps, timed, nominal);
    }

    /// The highest step at which it is surely no faster than `limit`.
    pub(crate) fn step_within(&self, limit: Speed) -> u8 {
        let mut step = self.step_by_curve(limit);
        while step > 0 && self.most(step) > limit {
            step -= 1;
        }
        step
    }

    /// The highest step whose speed is no more than `limit` by the curve, and at least one above `from`.
    pub(crate) fn step_up(&self, from: u8, limit: Speed) -> u8 {
        self.step_by_curve(limit).max(from.saturating_add(1).min(self.steps))
    }

    /// How fast it most likely is at a step, in millimetres a second.
    pub(super) fn likely(&self, step: u8) -> f64 {
        self.nominal(step).mm() * self.curve().ratio(self.share(step))
    }

    /// The highest step at which it is most likely no faster than so many millimetres a second.
    pub(super) fn step_at(&self, mm_s: f64) -> u8 {
        let (mut below, mut above) = (0, self.steps + 1);
        while above - below > 1 {
            let middle = below + (above - below) / 2;
            if self.likely(middle) <= mm_s {
                below = middle;
            } else {
                above = middle;
            }
        }
        below
    }

    /// What share of the highest step this one is.
    pub(super) fn share(&self, step: u8) -> f64 {
        f64::from(step) / f64::from(self.steps)
    }

    /// How far a run may be off what is likely, as a share and a standard deviation.
    pub(super) fn deviation_of_run(&self) -> f64 {
        self.curve().deviation_of_run(self.usual_share)
    }

    /// A run that has ended showed how fast the train is, and how fast it was on the run before.
    pub(super) fn learn_run(&mut self, lesson: &Lesson) {
        if let (Some(taught), Some((direction, base))) = (lesson.before, self.run_before) {
            self.curves[side(direction)].learn(taught.share, taught.ratio * base, taught.variance);
        }
        let base = self.curve().ratio(lesson.share);
        self.run_before = Some((self.direction, base));
        self.usual_share = (lesson.share * 1e9).round() / 1e9;
        if let Some(taught) = lesson.now {
            self.curves[side(self.direction)].learn(taught.share, taught.ratio * base, taught.variance);
        }
    }

    fn curve(&self) -> &Curve {
        &self.curves[side(self.direction)]
    }

    /// How decoders of such a train gather and lose speed, before it is known better.
    pub(super) fn momentum(&self) -> Momentum {
        Momentum {
            gathers: self.acceleration.mm(),
            gathers_at_least: self.acceleration.mm() / 2.0,
            loses: self.braking.scaled(1000, BRAKING_COUNTED_ON).mm(),
            loses_at_least: self.braking.mm(),
        }
    }

    fn step_by_curve(&self, limit: Speed) -> u8 {
        let share = limit.min(self.top).max(Speed::ZERO).um() * i64::from(self.steps);
        (share / self.top.um().max(1)) as u8
    }

    /// The step for creeping up to a point: the lowest that surely moves the train noticeably.
    pub(crate) fn creep_step(&self, creep: Speed) -> u8 {
        self.step_within(creep).max(1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_step_for_a_limit_is_the_highest_that_a_fast_engine_keeps_to() {
        for steps in [SpeedSteps::Steps14, SpeedSteps::Steps28, SpeedSteps::Steps126] {
            let profile = Profile::new(Some(&Train { speed_steps: steps, ..Train::stranger("Dunlin") }));
            for mm in [0, 10, 60, 140, 250, 900] {
                let limit = Speed::from_mm(mm);
                let step = profile.step_within(limit);
                assert!(profile.most(step) <= limit, "{steps:?} {mm}");
                assert!(step == steps.highest() || profile.most(step + 1) > limit, "{steps:?} {mm}: {step} is too low");
            }
        }
    }
}
