//! What classes of speed come to.

use super::meaning::{Pass, SpeedClass};
use crate::units::Speed;

/// A mile an hour (international mile).
const MPH_UM_S: i64 = 447_040;

/// The speeds that signals speak of, as far as they are known. Normal speed is none of them: it is what the line allows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ClassSpeeds {
    /// On sight.
    pub restricted: Option<Speed>,
    /// Slow.
    pub slow: Option<Speed>,
    /// Medium.
    pub medium: Option<Speed>,
    /// Limited.
    pub limited: Option<Speed>,
}

impl ClassSpeeds {
    /// What they come to on the real railway where nobody said it: 20 mph on sight and slow, 40 mph medium (49 CFR 236.812,
    /// 236.813, 236.811), and 45 mph limited (NORAC operating rules, 8th edition, 2003: of passenger trains).
    pub fn usual() -> Self {
        let mph = |speed| Some(Speed::from_um(speed * MPH_UM_S));
        Self { restricted: mph(20), slow: mph(20), medium: mph(40), limited: mph(45) }
    }

    /// The speed of who passes a signal so; nothing where that is not known, or the signal sets none.
    pub fn of(&self, pass: Pass) -> Option<Speed> {
        match pass {
            Pass::Stop | Pass::At(SpeedClass::Normal) => None,
            Pass::StopThenOnSight | Pass::OnSight => self.restricted,
            Pass::At(SpeedClass::Slow) => self.slow,
            Pass::At(SpeedClass::Medium) => self.medium,
            Pass::At(SpeedClass::Limited) => self.limited,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Builder, Scale};

    #[test]
    fn a_layout_says_what_slow_is_before_its_book_does_and_that_before_the_usual() {
        let mut builder = Builder::new("t", Scale { name: "half", ratio: 2.0 });
        let plain = builder.layout().books[builder.default_book()].clone();
        let slow = Pass::At(SpeedClass::Slow);
        let usual = builder.layout().speed_of(&plain, slow);
        assert_eq!(usual, Some(Speed::from_um(4_470_400)), "20 mph are 8940.8 mm/s");
        let said = ClassSpeeds { slow: Some(Speed::from_mm(11_000)), ..ClassSpeeds::default() };
        let book = plain.with_speeds(said);
        assert_eq!(builder.layout().speed_of(&book, slow), Some(Speed::from_mm(5_500)));
        assert_eq!(builder.layout().speed_of(&book, Pass::At(SpeedClass::Normal)), None);
        builder.speeds(ClassSpeeds { slow: Some(Speed::from_mm(90)), ..ClassSpeeds::default() });
        assert_eq!(builder.layout().speed_of(&book, slow), Some(Speed::from_mm(90)), "said on the table");
    }

    #[test]
    fn signals_that_say_less_let_trains_run_no_faster() {
        let usual = ClassSpeeds::usual();
        let speeds: Vec<_> = Pass::ALL.iter().filter_map(|(_, pass)| usual.of(*pass)).collect();
        assert!(speeds.is_sorted() && speeds.len() == 5, "{speeds:?}");
        assert_eq!(usual.of(Pass::Stop), None);
    }
}
