//! How fast a train really goes at each speed step.

use track::{Speed, Train};

use crate::random::Stream;

/// Top speed of a train whose top speed nobody measured.
const TOP_SPEED_UNKNOWN: Speed = Speed::from_mm(250);

/// Shares of the tolerance, in thousandths of it: for being faster or slower throughout, and for not being linear. Together
/// they stay below the whole, so that their product stays inside too.
const SHARE_THROUGHOUT: i64 = 550;
const SHARE_BEND: i64 = 400;

const MILLION: i64 = 1_000_000;

/// A train's true speed at each step, one direction of it.
///
/// Near the straight line from standstill to top speed, off it by a drawn amount that stays within the train's tolerance: some
/// of it throughout, some as a bend that is widest in the middle.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SpeedCurve {
    by_step: Vec<Speed>,
}

impl SpeedCurve {
    /// Draws a curve for a train.
    pub fn drawn(train: &Train, stream: &mut Stream) -> Self {
        let tolerance = train.speed_tolerance_permille.clamp(0, 900);
        let throughout = stream.between(-tolerance * SHARE_THROUGHOUT, tolerance * SHARE_THROUGHOUT);
        let bend = stream.between(-tolerance * SHARE_BEND, tolerance * SHARE_BEND);
        let top = train.top_speed.unwrap_or(TOP_SPEED_UNKNOWN);
        let highest = i64::from(train.speed_steps.highest());
        let mut by_step = vec![Speed::ZERO];
        for step in 1..=highest {
            let linear = top.scaled(step, highest);
            let hump = 4 * MILLION * step * (highest - step) / (highest * highest);
            let speed = linear.scaled(MILLION + throughout + bend * hump / MILLION, MILLION);
            let (least, most) = (linear.scaled(1000 - tolerance, 1000), linear.scaled(1000 + tolerance, 1000));
            let before = by_step[by_step.len() - 1];
            by_step.push(speed.clamp(least, most).max(before));
        }
        Self { by_step }
    }

    /// The speed at a step; the highest where there is no such step.
    pub fn at(&self, step: u8) -> Speed {
        self.by_step[usize::from(step).min(self.by_step.len() - 1)]
    }
}

#[cfg(test)]
mod tests {
    use track::SpeedSteps;

    use super::*;

    fn heron(tolerance: i64) -> Train {
        Train {
            top_speed: Some(Speed::from_mm(280)),
            speed_steps: SpeedSteps::Steps126,
            speed_tolerance_permille: tolerance,
            ..Train::stranger("Heron")
        }
    }

    #[test]
    fn a_train_never_differs_from_its_straight_line_by_more_than_its_tolerance() {
        for seed in 0..200 {
            let curve = SpeedCurve::drawn(&heron(80), &mut Stream::new(seed));
            for step in 1..=126_u8 {
                let linear = Speed::from_mm(280).scaled(i64::from(step), 126);
                let off = (curve.at(step) - linear).um().abs();
                assert!(off * 1000 <= linear.um() * 80, "seed {seed}, step {step}: {off} um/s off");
                assert!(curve.at(step) >= curve.at(step - 1), "seed {seed}, step {step}: slower than the step below");
            }
        }
    }

    #[test]
    fn trains_differ_from_the_straight_line_and_from_each_other() {
        let curves: Vec<_> = (0..20).map(|seed| SpeedCurve::drawn(&heron(80), &mut Stream::new(seed))).collect();
        let widest = curves.iter().map(|curve| (curve.at(126) - Speed::from_mm(280)).um().abs()).max().unwrap();
        assert!(widest > 5_000, "the widest difference at the highest step is {widest} um/s");
        assert_ne!(curves[0], curves[1]);
        let bent = |curve: &SpeedCurve| (curve.at(63).scaled(2, 1) - curve.at(126)).um().abs() > 1_000;
        assert!(curves.iter().any(bent), "no curve bends");
    }

    #[test]
    fn a_train_without_tolerance_runs_exactly_as_described() {
        let curve = SpeedCurve::drawn(&heron(0), &mut Stream::new(3));
        assert_eq!(curve.at(63), Speed::from_mm(140));
        assert_eq!(curve.at(0), Speed::ZERO);
    }
}
