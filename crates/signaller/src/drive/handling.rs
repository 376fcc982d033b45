//! How a train is driven before anything is learned of it, for whoever has to know that in advance.

use track::braking::Braking;
use track::{Speed, Train};

use super::motion::REACTION;
use super::profile::Profile;
use super::reach::LOOK;

/// What is reckoned with of a train.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Handling {
    /// The fastest it is driven.
    pub top: Speed,
    /// How it brakes at least on level track, and how late.
    pub braking: Braking,
}

impl Handling {
    /// What is reckoned with of a train that was described like this.
    pub fn of(train: &Train) -> Self {
        let profile = Profile::new(Some(train));
        Self {
            top: profile.nominal(train.speed_steps.highest()),
            braking: Braking { rate: profile.braking, delay: REACTION + LOOK },
        }
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use track::Acceleration;

    use super::*;

    #[test]
    fn a_train_is_reckoned_with_four_fifths_of_its_brakes_and_answers_late() {
        let train = Train { braking: Some(Acceleration::from_mm(100)), ..Train::stranger("Heron") };
        let handling = Handling::of(&Train { top_speed: Some(Speed::from_mm(180)), ..train });
        assert_eq!(handling.top, Speed::from_mm(180));
        let braking = Braking { rate: Acceleration::from_mm(80), delay: Duration::from_millis(250) };
        assert_eq!(handling.braking, braking);
    }
}
