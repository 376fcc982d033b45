//! What a report tells of where a train is. Arithmetic only.
//!
//! Before the report the place is distributed normally. That the train was at the reported place at any moment within which the report
//! can have been under way is as likely as at any other; that it came before it can have been is not possible, that it took longer than it
//! should is, if rarely. What follows of both has a mean and a variance, which are summed up over a row of places.

/// The row has so many places to either side of its middle,
const PLACES: i32 = 24;
/// and goes so many deviations to either side.
const DEVIATIONS: f64 = 6.0;
/// How likely it is that a report took longer than it should, in relation to one of the moments at which it should have come, where it
/// took several times as long at most; and that it came earlier than it can: only so that there is always something left.
const LATE: f64 = 3e-3;
const TIMES_AS_LONG: f64 = 3.0;
const EARLY: f64 = 1e-7;
/// No report makes the place known better than to this part of how it was known.
const LEAST: f64 = 1e-3;

/// Where a train was at a report, as it was believed to be.
#[derive(Clone, Copy, Debug)]
pub(super) struct Heard {
    /// How much farther than believed it is if the report came at once, in millimetres;
    pub(super) at_once: f64,
    /// and if it took as long as one may.
    pub(super) at_last: f64,
    /// How sharp both bounds are.
    pub(super) within: f64,
}

impl Heard {
    /// How much farther than believed it is most likely, and the variance of that, where what was believed had such a variance.
    pub(super) fn tells(self, variance: f64) -> (f64, f64) {
        let deviation = variance.sqrt();
        let (nearest, farthest) = (self.at_once.min(self.at_last), self.at_once.max(self.at_last));
        let edge = DEVIATIONS * self.within;
        let (least, most) = (-DEVIATIONS * deviation, DEVIATIONS * deviation);
        let mut sums = Sums::default();
        sums.add((least, most), |off| bell(off / deviation) * self.fits_badly(off));
        sums.add((least.max(nearest - edge), most.min(farthest + edge)), |off| bell(off / deviation) * self.fits(off));
        let mean = sums.first / sums.total;
        (mean, (sums.second / sums.total - mean * mean).max(square(LEAST * deviation)))
    }

    /// The same where nothing was believed before.
    pub(super) fn tells_by_itself(self) -> (f64, f64) {
        ((self.at_once + self.at_last) / 2.0, square(self.at_last - self.at_once) / 12.0 + square(self.within))
    }

    /// How likely the report came when it should, if the train is so much farther than believed.
    fn fits(self, off: f64) -> f64 {
        bell(self.beyond(off) / self.within)
    }

    /// How likely it came otherwise.
    fn fits_badly(self, off: f64) -> f64 {
        let beyond = self.beyond(off);
        let usual = (self.at_last - self.at_once).abs() + self.within;
        if off < self.at_once.min(self.at_last) { EARLY } else { LATE * bell(beyond / (TIMES_AS_LONG * usual)) }
    }

    /// How far that is beyond where the train can have been if the report came when it should.
    fn beyond(self, off: f64) -> f64 {
        let (nearest, farthest) = (self.at_once.min(self.at_last), self.at_once.max(self.at_last));
        (nearest - off).max(off - farthest).max(0.0)
    }
}

/// Of a density: its integral, and those of it times the place and times its square.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    total: f64,
    first: f64,
    second: f64,
}

impl Sums {
    fn add(&mut self, (least, most): (f64, f64), density: impl Fn(f64) -> f64) {
        let step = (most - least) / f64::from(2 * PLACES);
        for place in -PLACES..=PLACES {
            let off = (least + most) / 2.0 + step * f64::from(place);
            let weight = step.max(0.0) * density(off);
            self.total += weight;
            self.first += weight * off;
            self.second += weight * off * off;
        }
    }
}

fn square(value: f64) -> f64 {
    value * value
}

/// exp(-x²/2), by products alone.
fn bell(x: f64) -> f64 {
    let mut value = (1.0 - x * x / 2.0 / 1024.0).max(0.0);
    for _ in 0..10 {
        value *= value;
    }
    value
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A report of a train that ran at 100 mm/s, when it was believed to be there on average.
    const HEARD: Heard = Heard { at_once: -5.5, at_last: 5.5, within: 1.0 };

    #[test]
    fn a_train_that_is_known_better_than_a_report_can_tell_is_where_it_was() {
        let (off, variance) = HEARD.tells(1.0);
        assert!(off.abs() < 1e-9 && (variance - 1.0).abs() < 0.02, "{off} {variance}");
    }

    #[test]
    fn a_train_that_was_hardly_known_is_as_well_known_as_reports_are_late() {
        let (off, variance) = HEARD.tells(1e6);
        let (alone, by_itself) = HEARD.tells_by_itself();
        assert!((off - alone).abs() < 1.0, "{off} {alone}");
        assert!(variance > 0.8 * by_itself && variance < 4.0 * by_itself, "{variance} {by_itself}");
    }

    #[test]
    fn a_report_moves_a_train_to_where_it_can_have_been_and_hardly_farther() {
        let far = Heard { at_once: 8.0, at_last: 19.0, within: 1.0 };
        let (off, variance) = far.tells(square(3.0));
        assert!(off > 7.0 && off < 10.5, "at once: {off}");
        assert!(variance < square(3.0) / 2.0, "{variance}");
    }

    #[test]
    fn a_report_may_be_late_and_is_never_early() {
        let (ahead, _) = Heard { at_once: 20.0, at_last: 31.0, within: 1.0 }.tells(square(4.0));
        let (behind, _) = Heard { at_once: -31.0, at_last: -20.0, within: 1.0 }.tells(square(4.0));
        assert!(ahead > 15.0, "it cannot have been reported before it was there: {ahead}");
        assert!(behind > -ahead / 2.0, "that it is heard of so late proves little: {behind}");
    }
}
