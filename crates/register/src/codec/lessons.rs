//! What was learned of trains, as bytes. Nothing in it depends on a layout.

use signaller::drive::{Described, Lessons, SideLessons, TaughtNear, TimedBand};
use track::{Acceleration, Length, Speed};

use super::{Coded, Garbled, fields};

macro_rules! quantities {
    ($($name:ident),*) => {$(
        impl Coded for $name {
            fn put(&self, out: &mut Vec<u8>) {
                self.um().put(out);
            }

            fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
                i64::take(from).map(Self::from_um)
            }
        }
    )*};
}

quantities!(Acceleration, Length, Speed);

impl Coded for [i64; 3] {
    fn put(&self, out: &mut Vec<u8>) {
        self.iter().for_each(|number| number.put(out));
    }

    fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
        Ok([i64::take(from)?, i64::take(from)?, i64::take(from)?])
    }
}

impl Coded for (i64, i64) {
    fn put(&self, out: &mut Vec<u8>) {
        self.0.put(out);
        self.1.put(out);
    }

    fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
        Ok((i64::take(from)?, i64::take(from)?))
    }
}

fields! {
    Lessons { described, forward, backward, gathers_um, loses_um, variances_um, usual_share_billionths }
    Described { top, steps, tolerance_permille }
    SideLessons { taught, timed }
    TaughtNear { ratio_billionths, weight_millionths, runs }
    TimedBand { passages, recent }
}
