//! What passages have taught of how fast a train really is.
//!
//! A train that ran from joint to joint of a measured way at a steady command was so fast: within what the length, and the
//! lateness of both reports, leave open. Speed steps fall into bands, and each band of each direction learns for itself; what was
//! never measured keeps the tolerance that was stated.
//!
//! One passage proves little: a report may have been lost and another train's taken for it, a detector may be slow, somebody may have
//! pushed. So a band is believed once several passages were timed, and then everything that any of the last few leaves open, widened
//! by a margin for what changes with load and temperature and from step to step. A passage that contradicts what is believed widens
//! it at once, and is forgotten in time.

use std::time::Duration;

use track::{Length, Speed};

use super::lessons::TimedBand;
use crate::door::Direction;

/// So many bands share the speed steps.
pub(super) const BANDS: usize = 24;
/// So many passages have to be timed before a band is believed. One alone may be wrong, and two may be wrong alike.
const PROVING: usize = 3;
/// So many of the last passages count, all that each of them leaves open: a detector that is slow for a while makes passages that
/// end there too long, and those that begin there too short.
pub(super) const KEPT: usize = 5;
/// What a believed interval is widened by, in millionths: a passage is timed over some seconds, and within them a speed wanders by
/// up to 3 %. Common practice, no source.
const MARGIN: i64 = 12_000;
/// And for the steps of a band being unlike: this part of the tolerance, that is, a curve that wanders once through its whole
/// tolerance over half the range does so by this much within a band.
const MARGIN_OF_TOLERANCE: i64 = 24;

pub(super) const MILLION: i64 = 1_000_000;
/// What a passage that took next to no time counts as, in millionths: a train runs no million times faster than was said.
pub(super) const MOST_TIMED_RATIO: i64 = MILLION * MILLION;

/// Bounds of a real speed in relation to the nominal one, in millionths.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub(super) struct Ratio {
    pub(super) least: i64,
    pub(super) most: i64,
}

/// How fast a train ran from joint to joint.
#[derive(Clone, Copy, Debug)]
pub(super) struct Timed {
    /// How far.
    pub(super) length: Length,
    /// How far the length may be off.
    pub(super) length_within: Length,
    /// The least time it can have taken.
    pub(super) least: Duration,
    /// The most time it can have taken.
    pub(super) most: Duration,
}

/// All bands of one train.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Learned {
    tolerance: i64,
    bands: [[Band; BANDS]; 2],
}

#[derive(Clone, Copy, Debug, serde::Serialize, serde::Deserialize)]
struct Band {
    /// What the last passages left open each, in no order.
    recent: [Ratio; KEPT],
    /// How many there were so far.
    count: usize,
}

impl Band {
    /// Everything that one of the last passages left open; nothing where there was none.
    fn open(&self) -> Option<Ratio> {
        self.recent[..self.count.min(KEPT)].iter().copied().reduce(Ratio::hull)
    }
}

impl Timed {
    /// The speed in relation to `nominal`; nothing where the times say nothing.
    fn ratio(&self, nominal: Speed) -> Option<Ratio> {
        let ratio = |length: Length, time: Duration| {
            let nominal_um = i128::from(nominal.um()) * time.as_nanos() as i128;
            (nominal_um > 0)
                .then(|| (i128::from(length.um()) * 1_000_000_000 * i128::from(MILLION) / nominal_um) as i64)
        };
        let least = ratio((self.length - self.length_within).max(Length::ZERO), self.most)?;
        let most = ratio(self.length + self.length_within, self.least)?;
        Some(Ratio { least: least.min(MOST_TIMED_RATIO), most: most.min(MOST_TIMED_RATIO - 1) + 1 })
    }
}

impl Ratio {
    fn hull(self, other: Self) -> Self {
        Self { least: self.least.min(other.least), most: self.most.max(other.most) }
    }

    fn widened(self, by: i64) -> Self {
        Self { least: (self.least - by).max(0), most: self.most + by }
    }
}

impl Learned {
    /// Nothing is learned: the speed may be off by so many thousandths.
    pub(super) fn new(tolerance_permille: i64) -> Self {
        let tolerance = tolerance_permille * 1000;
        let band = Band { recent: [Ratio { least: MILLION, most: MILLION }; KEPT], count: 0 };
        Self { tolerance, bands: [[band; BANDS]; 2] }
    }

    /// What is believed of a step out of `steps`.
    pub(super) fn believed(&self, direction: Direction, step: u8, steps: u8) -> Ratio {
        let stated = Ratio { least: MILLION - self.tolerance, most: MILLION + self.tolerance };
        let band = &self.bands[side(direction)][band_of(step, steps)];
        match band.open() {
            Some(open) if band.count >= PROVING => open.widened(self.margin()),
            Some(open) => stated.hull(open),
            None => stated,
        }
    }

    /// A passage at a steady `step` was timed.
    pub(super) fn learn(&mut self, direction: Direction, step: u8, steps: u8, timed: &Timed, nominal: Speed) {
        let Some(ratio) = timed.ratio(nominal) else { return };
        let band = &mut self.bands[side(direction)][band_of(step, steps)];
        band.recent[band.count % KEPT] = ratio;
        band.count += 1;
    }

    /// What the last passages left open, band by band.
    pub(super) fn timed(&self, side: usize) -> Vec<TimedBand> {
        let band = |band: &Band| TimedBand {
            passages: band.count as u64,
            recent: band.recent[..band.count.min(KEPT)].iter().map(|ratio| (ratio.least, ratio.most)).collect(),
        };
        self.bands[side].iter().map(band).collect()
    }

    /// The same once more, from what [`Learned::timed`] said.
    pub(super) fn remember(&mut self, side: usize, timed: &[TimedBand]) {
        for (band, said) in self.bands[side].iter_mut().zip(timed) {
            band.count = said.passages as usize;
            for (ratio, &(least, most)) in band.recent.iter_mut().zip(&said.recent) {
                *ratio = Ratio { least, most };
            }
        }
    }

    /// How far the speed was said to be off at most, in thousandths.
    pub(super) fn tolerance_permille(&self) -> i64 {
        self.tolerance / 1000
    }

    fn margin(&self) -> i64 {
        MARGIN + self.tolerance / MARGIN_OF_TOLERANCE
    }
}

pub(super) fn side(direction: Direction) -> usize {
    usize::from(direction == Direction::Backward)
}

fn band_of(step: u8, steps: u8) -> usize {
    (usize::from(step.saturating_sub(1)) * BANDS / usize::from(steps.max(1))).min(BANDS - 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOMINAL: Speed = Speed::from_mm(100);

    /// A passage over 1000 mm of a train that is so fast, in thousandths of what it should be, heard up to 50 ms wrong.
    fn passage(permille: i64) -> Timed {
        let nanos = 10_000_000_000_000 / permille as u64;
        let slack = 50_000_000;
        Timed {
            length: Length::from_mm(1000),
            length_within: Length::from_mm(5),
            least: Duration::from_nanos(nanos - slack),
            most: Duration::from_nanos(nanos + slack),
        }
    }

    fn learn(learned: &mut Learned, permille: i64) -> Ratio {
        learned.learn(Direction::Forward, 60, 126, &passage(permille), NOMINAL);
        learned.believed(Direction::Forward, 60, 126)
    }

    #[test]
    fn a_train_is_believed_to_be_as_fast_as_several_passages_agree_on() {
        let mut learned = Learned::new(150);
        let stated = Ratio { least: 850_000, most: 1_150_000 };
        assert_eq!(learn(&mut learned, 1080), stated, "one passage proves nothing");
        assert_eq!(learn(&mut learned, 1080), stated);
        let believed = learn(&mut learned, 1080);
        assert!(believed.least > 1_040_000 && believed.least < 1_080_000, "{believed:?}");
        assert!(believed.most < 1_120_000 && believed.most > 1_080_000, "{believed:?}");
        assert_eq!(learned.believed(Direction::Backward, 60, 126), stated, "nobody measured it backwards");
        assert_eq!(learned.believed(Direction::Forward, 100, 126), stated, "nor so fast");
    }

    #[test]
    fn a_train_that_turns_out_faster_than_believed_counts_as_fast_at_once() {
        let mut learned = Learned::new(100);
        for _ in 0..5 {
            learn(&mut learned, 950);
        }
        let believed = learn(&mut learned, 1200);
        assert!(believed.least < 950_000 && believed.most > 1_200_000, "{believed:?}");
        for _ in 0..4 {
            learn(&mut learned, 950);
        }
        let believed = learn(&mut learned, 950);
        assert!(believed.most < 1_000_000, "one that did not agree is forgotten in time: {believed:?}");
    }

    #[test]
    fn the_true_speed_is_never_outside_what_is_believed_however_reports_are_late() {
        for permille in [860, 930, 1000, 1070, 1140] {
            let mut learned = Learned::new(150);
            for round in 0..40_i64 {
                let late = Duration::from_millis((round * 37 % 50) as u64);
                let exact = passage(permille);
                let timed = match round % 2 {
                    0 => Timed { least: exact.least + late, most: exact.most + late, ..exact },
                    _ => Timed { least: exact.least - late, most: exact.most - late, ..exact },
                };
                learned.learn(Direction::Forward, 60, 126, &timed, NOMINAL);
                let believed = learned.believed(Direction::Forward, 60, 126);
                let truth = permille * 1000;
                assert!((believed.least..=believed.most).contains(&truth), "{permille}, round {round}: {believed:?}");
            }
        }
    }
}
