//! What was learned of how a train runs, as plain data: to be shown, kept, and told again to the next signaller.
//!
//! [`Lessons`] are what restores a profile: whole numbers only, so that however they are kept they come back as they went.
//! [`SpeedProfile`] is what they mean: speeds by step and direction, with their bounds.

use track::{Acceleration, Speed, Train, TrainId};

use super::curve::{NODES, RATIOS_BILLIONTHS};
use super::estimate::Ramps;
use super::learned::{BANDS, KEPT, MOST_TIMED_RATIO};
use super::locate::Locating;
use super::profile::Profile;
use super::{Drive, Row};
use crate::door::Direction;

/// No weight or variance is taken beyond this: floats and sums of them stay exact.
const MOST_WHOLE: i64 = 1 << 50;
/// No decoder is taken to gather or lose speed more quickly, in micrometres a second squared.
const MOST_RATE_UM: i64 = 100_000_000;

/// Everything that was learned of how a train runs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lessons {
    /// The train as it was described then.
    pub described: Described,
    /// What was learned of it running forwards.
    pub forward: SideLessons,
    /// What was learned of it running backwards.
    pub backward: SideLessons,
    /// How it gathers speed, in micrometres a second squared.
    pub gathers_um: i64,
    /// How it loses speed, in micrometres a second squared.
    pub loses_um: i64,
    /// How far these may be off: the variance of either, and what they have in common, in micrometres a second squared,
    /// squared.
    pub variances_um: [i64; 3],
    /// At what share of its highest step it ran of late, in billionths.
    pub usual_share_billionths: i64,
}

/// What a train was said to be. Lessons mean nothing for one that is said to be something else.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Described {
    /// Its speed at the highest step.
    pub top: Speed,
    /// Its highest step.
    pub steps: u8,
    /// How far its speed may be off, in thousandths.
    pub tolerance_permille: i64,
}

/// What was learned of one direction.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SideLessons {
    /// What runs taught, at places spread evenly from standstill to the highest step.
    pub taught: Vec<TaughtNear>,
    /// What passages from joint to joint left open, by bands of steps, lowest first.
    pub timed: Vec<TimedBand>,
}

/// What runs taught near one place of the speed curve.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TaughtNear {
    /// The speed in relation to the straight line, in billionths.
    pub ratio_billionths: i64,
    /// The weight of that, one over its variance, in millionths.
    pub weight_millionths: i64,
    /// How many times runs have taught something here.
    pub runs: u32,
}

/// What the last passages left open in one band of steps.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TimedBand {
    /// How many there were so far.
    pub passages: u64,
    /// Least and most speed in relation to the straight line that each of the last ones left open, in millionths.
    pub recent: Vec<(i64, i64)>,
}

/// How fast a train is, as far as that is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SpeedProfile {
    /// Forwards, by steps from 1 up.
    pub forward: Vec<StepSpeed>,
    /// Backwards, by steps from 1 up.
    pub backward: Vec<StepSpeed>,
    /// How it gathers speed.
    pub gathers: Rate,
    /// How it loses speed.
    pub loses: Rate,
}

/// How fast a train runs at one step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StepSpeed {
    /// The step.
    pub step: u8,
    /// The likeliest speed.
    pub likely: Speed,
    /// In 95 runs of 100 it is between this
    pub least: Speed,
    /// and this.
    pub most: Speed,
    /// How many times runs near this step have taught something.
    pub runs: u32,
}

/// How quickly a train changes its speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rate {
    /// Most likely.
    pub likely: Acceleration,
    /// The standard deviation of that.
    pub deviation: Acceleration,
}

impl Lessons {
    /// Whether this can be said of a train as it is described now.
    ///
    /// # Errors
    /// In plain words, why not.
    pub fn fits(&self, train: &Train) -> Result<(), String> {
        self.fit(Profile::new(Some(train)).described())
    }

    fn fit(&self, described: Described) -> Result<(), String> {
        if described != self.described {
            return Err(
                "was described otherwise when this was learned: its top speed, its speed steps or how far its \
                        speed may be off have changed since"
                    .to_owned(),
            );
        }
        let are_sane = [&self.forward, &self.backward].into_iter().all(SideLessons::is_sane)
            && [self.gathers_um, self.loses_um].iter().all(|rate| (1..=MOST_RATE_UM).contains(rate))
            && self.variances_um[..2].iter().all(|variance| (0..=MOST_WHOLE).contains(variance))
            && is_possible(self.variances_um)
            && (0..=1_000_000_000).contains(&self.usual_share_billionths);
        if are_sane {
            Ok(())
        } else {
            Err("cannot have shown what is said here: a number is beyond all bounds".to_owned())
        }
    }
}

/// Whether two things with such variances can have so much in common.
fn is_possible([one, other, shared]: [i64; 3]) -> bool {
    i128::from(shared) * i128::from(shared) <= i128::from(one) * i128::from(other)
}

impl SideLessons {
    fn is_sane(&self) -> bool {
        let near = |near: &TaughtNear| {
            let is_ratio = RATIOS_BILLIONTHS.contains(&near.ratio_billionths);
            (0..=MOST_WHOLE).contains(&near.weight_millionths)
                && if near.runs > 0 { is_ratio } else { near.is_nothing() }
        };
        let band = |band: &TimedBand| {
            band.recent.len() as u64 == band.passages.min(KEPT as u64)
                && band.passages <= MOST_WHOLE as u64
                && band.recent.iter().all(|&(least, most)| 0 <= least && least <= most && most <= MOST_TIMED_RATIO)
        };
        self.taught.len() == NODES
            && self.timed.len() == BANDS
            && self.taught.iter().all(near)
            && self.timed.iter().all(band)
    }
}

impl TaughtNear {
    fn is_nothing(&self) -> bool {
        self.ratio_billionths == 0 && self.weight_millionths == 0
    }
}

impl SpeedProfile {
    /// What lessons mean for a train.
    ///
    /// # Errors
    /// As [`Lessons::fits`].
    pub fn of(train: &Train, lessons: &Lessons) -> Result<Self, String> {
        lessons.fits(train)?;
        let mut profile = Profile::new(Some(train));
        let mut locating = Locating::new(Some(train), profile.momentum());
        profile.remember(lessons);
        locating.remember(&lessons.ramps());
        Ok(Self::shown(&profile, &locating))
    }

    /// The steps of one direction.
    pub fn side(&self, direction: Direction) -> &[StepSpeed] {
        match direction {
            Direction::Forward => &self.forward,
            Direction::Backward => &self.backward,
        }
    }

    fn shown(profile: &Profile, locating: &Locating) -> Self {
        let ramps = locating.ramps();
        let rate = |likely: f64, variance: f64| Rate {
            likely: Acceleration::from_um(um(likely)),
            deviation: Acceleration::from_um(um(variance.max(0.0).sqrt())),
        };
        Self {
            forward: profile.speeds(Direction::Forward),
            backward: profile.speeds(Direction::Backward),
            gathers: rate(ramps.gathers, ramps.variances[0]),
            loses: rate(ramps.loses, ramps.variances[1]),
        }
    }
}

impl Lessons {
    fn ramps(&self) -> Ramps {
        let mm = |um: i64| um as f64 / 1e3;
        let variances = self.variances_um.map(|variance| variance as f64 / 1e6);
        Ramps { gathers: mm(self.gathers_um), loses: mm(self.loses_um), variances }
    }
}

fn um(mm: f64) -> i64 {
    (mm * 1e3).round() as i64
}

impl Drive {
    /// What was learned of how a train runs; nothing of a train that was never heard of.
    pub fn lessons(&self, train: TrainId) -> Option<Lessons> {
        let row = self.rows.get(train)?;
        let (profile, ramps) = (&row.profile, row.locating.ramps());
        let [one, other, shared] = ramps.variances.map(|variance| (variance * 1e6).round() as i64);
        let (one, other) = (one.max(0), other.max(0));
        // Rounding must not leave more in common than there is.
        let shared = if is_possible([one, other, shared]) { shared } else { 0 };
        Some(Lessons {
            described: profile.described(),
            forward: profile.lessons(Direction::Forward),
            backward: profile.lessons(Direction::Backward),
            gathers_um: um(ramps.gathers),
            loses_um: um(ramps.loses),
            variances_um: [one, other, shared],
            usual_share_billionths: profile.usual_share_billionths(),
        })
    }

    /// How fast a train is, as far as that is known; nothing of a train that was never heard of.
    pub fn profile(&self, train: TrainId) -> Option<SpeedProfile> {
        let row = self.rows.get(train)?;
        Some(SpeedProfile::shown(&row.profile, &row.locating))
    }

    /// Knows again what was learned of a train before, if it fits, and the train has not been told to move.
    pub(crate) fn remember(&mut self, train: TrainId, lessons: &Lessons) {
        let row = self.row(train);
        if !row.motion.is_at_rest() || lessons.fit(row.profile.described()).is_err() {
            return;
        }
        row.profile.remember(lessons);
        row.locating.remember(&lessons.ramps());
    }

    /// Forgets what was learned of a train.
    pub(crate) fn forget_profile(&mut self, train: TrainId) -> Result<(), String> {
        if !self.is_at_rest(train) {
            return Err(
                "moves, and how fast it may be is reckoned from what was learned; hint: stop it first".to_owned()
            );
        }
        let fresh = Row::new(self.layout.trains.get(train));
        let row = self.row(train);
        row.profile.forget(fresh.profile);
        row.locating.remember(&fresh.locating.ramps());
        row.passage = fresh.passage;
        Ok(())
    }

    /// The train runs no faster than at a step from now on; without one, as fast as everything else allows.
    pub(crate) fn limit_step(&mut self, train: TrainId, step: Option<u8>) -> Result<(), String> {
        let row = self.row(train);
        let highest = row.profile.described().steps;
        if let Some(step) = step.filter(|step| !(1..=highest).contains(step)) {
            return Err(format!("has no speed step {step} to run at; hint: name one from 1 to {highest}"));
        }
        row.no_faster = step;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;
    use std::time::Duration;

    use track::{Builder, Length, Scale, SpeedSteps};

    use super::super::estimate::{Lesson, Taught};
    use super::super::learned::Timed;
    use super::*;

    fn heron() -> Train {
        Train { speed_steps: SpeedSteps::Steps28, speed_tolerance_permille: 150, ..Train::stranger("Heron") }
    }

    fn drive() -> (Drive, TrainId) {
        let mut builder = Builder::new("t", Scale::UNKNOWN);
        builder.plain_section("quay-1", Some(Length::from_mm(1000)));
        let train = builder.train(heron());
        (Drive::new(Arc::new(builder.build())), train)
    }

    /// A train that has run 40 times, at all steps and both ways.
    fn taught() -> (Drive, TrainId) {
        let (mut drive, train) = drive();
        let row = drive.row(train);
        for run in 0..40_u8 {
            row.profile.direction = if run % 2 == 0 { Direction::Forward } else { Direction::Backward };
            let step = 1 + run % 28;
            let off = 1.0 + f64::from(run % 7) / 61.0;
            let share = row.profile.share(step);
            let now = Some(Taught { share, ratio: off, variance: 1.0 / 7000.0 + f64::from(run) * 1e-5 });
            row.profile.learn_run(&Lesson { share, now, before: now.filter(|_| run % 3 == 0) });
            let least = Duration::from_nanos(2_900_000_017 + u64::from(run) * 1_003);
            let (length, length_within) = (Length::from_mm(310), Length::from_mm(3));
            row.profile.learn(step, &Timed { length, length_within, least, most: least + Duration::from_millis(60) });
        }
        (drive, train)
    }

    /// Everything that anybody asks of a profile, to the last bit.
    fn answers(drive: &mut Drive, train: TrainId) -> Vec<(Speed, Speed, u64, u8, u64)> {
        let profile = &mut drive.row(train).profile;
        let mut answers = Vec::new();
        for direction in [Direction::Forward, Direction::Backward] {
            profile.direction = direction;
            for step in 1..=28 {
                let likely = profile.likely(step);
                let of_run = profile.deviation_of_run().to_bits();
                let at = profile.step_at(f64::from(step) * 7.0);
                answers.push((profile.least(step), profile.most(step), likely.to_bits(), at, of_run));
            }
        }
        answers
    }

    #[test]
    fn a_train_that_is_told_what_it_learned_before_is_driven_just_as_before() {
        let (mut before, train) = taught();
        let lessons = before.lessons(train).unwrap();
        let (mut after, _) = drive();
        after.remember(train, &lessons);
        assert_eq!(after.lessons(train).unwrap(), lessons);
        assert_eq!(after.profile(train), before.profile(train));
        assert_eq!(SpeedProfile::of(&heron(), &lessons), Ok(before.profile(train).unwrap()));
        assert_eq!(answers(&mut after, train), answers(&mut before, train));
        let (mut fresh, _) = drive();
        assert_ne!(answers(&mut fresh, train), answers(&mut before, train), "nothing was learned at all");
        // And what it learns next.
        for drive in [&mut before, &mut after] {
            let now = Some(Taught { share: 0.4, ratio: 0.97, variance: 1e-4 });
            drive.row(train).profile.learn_run(&Lesson { share: 0.4, now, before: None });
        }
        assert_eq!(answers(&mut after, train), answers(&mut before, train));
    }

    #[test]
    fn a_train_that_was_never_run_is_known_by_its_description_alone() {
        let (drive, train) = drive();
        let profile = drive.profile(train).unwrap();
        assert_eq!(profile.forward, profile.backward);
        assert_eq!(profile.forward.len(), 28);
        let top = profile.forward[27];
        assert_eq!((top.likely, top.runs), (Speed::from_mm(250), 0));
        // 15 % either way, all of it as likely, has a deviation of 8.66 %; with 1.2 % from run to run that is 8.74 %.
        assert!((top.most.mm() - 250.0 * (1.0 + 1.96 * 0.0874)).abs() < 0.1, "{top:?}");
        assert!((top.least.mm() - 250.0 * (1.0 - 1.96 * 0.0874)).abs() < 0.1, "{top:?}");
    }

    #[test]
    fn a_train_whose_profile_is_forgotten_is_driven_as_it_was_described() {
        let (mut taught, train) = taught();
        let (mut fresh, _) = drive();
        taught.forget_profile(train).unwrap();
        assert_eq!(answers(&mut taught, train), answers(&mut fresh, train));
        assert_eq!(taught.lessons(train), fresh.lessons(train));
        taught.row(train).motion.step = 5;
        assert!(taught.forget_profile(train).is_err(), "it moves");
    }

    #[test]
    fn what_was_learned_of_another_train_or_cannot_be_is_not_taken() {
        let (before, train) = taught();
        let lessons = before.lessons(train).unwrap();
        assert_eq!(lessons.fits(&heron()), Ok(()));
        let faster = Train { top_speed: Some(Speed::from_mm(251)), ..heron() };
        let finer = Train { speed_steps: SpeedSteps::Steps126, ..heron() };
        assert!(lessons.fits(&faster).is_err() && lessons.fits(&finer).is_err());
        let spoils: [fn(&mut Lessons); 8] = [
            |lessons| lessons.gathers_um = 0,
            |lessons| lessons.variances_um[0] = -1,
            |lessons| lessons.variances_um[2] = MOST_WHOLE,
            |lessons| lessons.usual_share_billionths = 2_000_000_000,
            |lessons| lessons.forward.taught.truncate(3),
            |lessons| lessons.forward.taught[3].weight_millionths = -7,
            |lessons| lessons.backward.timed[0].recent.push((1, 2)),
            |lessons| lessons.backward.timed[2] = TimedBand { passages: 1, recent: vec![(3, 2)] },
        ];
        let (mut after, _) = drive();
        let nothing = after.lessons(train);
        for (place, spoil) in spoils.into_iter().enumerate() {
            let mut spoiled = lessons.clone();
            spoil(&mut spoiled);
            assert!(spoiled.fits(&heron()).is_err(), "spoil {place}");
            after.remember(train, &spoiled);
            assert_eq!(after.lessons(train), nothing, "spoil {place}");
        }
    }

    #[test]
    fn a_train_that_has_no_such_speed_step_is_not_limited_to_it() {
        let (mut drive, train) = drive();
        assert!(drive.limit_step(train, Some(29)).is_err() && drive.limit_step(train, Some(0)).is_err());
        assert_eq!(drive.limit_step(train, Some(28)), Ok(()));
        assert_eq!(drive.rows[train].no_faster, Some(28));
        assert_eq!(drive.limit_step(train, None), Ok(()));
        assert_eq!(drive.rows[train].no_faster, None);
    }
}
