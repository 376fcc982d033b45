//! How a train runs otherwise than its speed curve says: it wanders, warms up, and its wheels slip.

use crate::random::Stream;
use crate::settings::{Running, TICK};

const MILLION: i64 = 1_000_000;
const TICK_MS: i64 = TICK.as_millis() as i64;

/// The wandering takes another step so often, in milliseconds, and forgets a tenth of where it was with each.
const WANDER_MS: i64 = 500;
/// Running warms a motor through in about so long, in milliseconds. Common practice, no source. It stays warm.
const WARM_MS: i64 = 600_000;
/// Wheels slip for so long, in milliseconds. Common practice, no source.
const SLIP_MS: (i64, i64) = (50, 250);
/// While wheels slip as it gathers speed, a train goes so much less far than they turn; while they slide as it brakes, so much
/// farther. In millionths; common practice, no source.
const SPINS: i64 = -150_000;
const SLIDES: i64 = 100_000;

/// What a train is like just now.
#[derive(Clone, Debug)]
pub(crate) struct Temper {
    stream: Stream,
    running: Running,
    /// How far its speed is off, in millionths.
    wander: i64,
    since_wander: i64,
    /// From 0, cold, to a million, warm.
    warmth: i64,
    slips_for: i64,
}

impl Temper {
    pub(crate) fn new(running: Running, mut stream: Stream) -> Self {
        let most = running.wander_permille * 1000;
        let wander = stream.between(-most / 2, most / 2);
        Self { stream, running, wander, since_wander: 0, warmth: 0, slips_for: 0 }
    }

    /// A tick passes in which the train runs. Tells what becomes of the speed that its motor strives for, in millionths.
    pub(crate) fn tick(&mut self) -> i64 {
        if self.running == Running::AS_DESCRIBED {
            return MILLION;
        }
        self.since_wander += TICK_MS;
        if self.since_wander >= WANDER_MS {
            self.since_wander = 0;
            let most = self.running.wander_permille * 1000;
            let step = self.stream.between(-most * 3 / 10, most * 3 / 10);
            self.wander = (self.wander * 9 / 10 + step).clamp(-most, most);
        }
        self.warmth += (MILLION - self.warmth) * TICK_MS / WARM_MS;
        MILLION + self.wander + self.warmth * self.running.warming_permille / 1000
    }

    /// What becomes of the speed that its motor strives for, as warm as it is, on average; in millionths.
    pub(crate) fn settled_millionths(&self) -> i64 {
        MILLION + self.warmth * self.running.warming_permille / 1000
    }

    /// How far the train goes in a tick in which its wheels turn so far, as it gathers speed or loses it.
    pub(crate) fn slip(&mut self, distance: i64, gained: i64) -> i64 {
        let Some(every) = self.running.slips_every.filter(|_| gained != 0) else { return distance };
        if self.slips_for <= 0 && self.stream.below((every.as_millis() as u64 / TICK_MS as u64).max(1)) == 0 {
            self.slips_for = self.stream.between(SLIP_MS.0, SLIP_MS.1);
        }
        if self.slips_for <= 0 {
            return distance;
        }
        self.slips_for -= TICK_MS;
        distance + distance * (if gained > 0 { SPINS } else { SLIDES }) / MILLION
    }
}
