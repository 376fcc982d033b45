//! What axles draw, what voltage there is to draw it from, and what a detector makes of the current.

use std::ops::{AddAssign, Sub, SubAssign};

use track::{Detector, Scale, SensingKind, Voltage};

use crate::random::Stream;

/// What each axle of a vehicle draws of which only `detectable` was said: more than any detector misses. Common practice, no
/// source.
const AMPLE: Load = Load { conductance_ns: 0, share_ua: 50_000 };

/// The threshold of a detector of which nobody said how it senses.
const THRESHOLD_UNSAID_UA: i64 = 1_000;

/// What a diode-drop detector takes away, in millivolts, up to the worst that layouts reckon with. Common practice, no source.
const DIODE_DROP_MV: (i64, i64) = (500, SensingKind::DiodeDrop.drop().mv());

/// Below this a current transformer gives no signal, in microamperes, likewise. Common practice, no source.
const TRANSFORMER_FLOOR_UA: (i64, i64) = (1_000, SensingKind::CurrentTransformer.floor().ua());

/// How far a Hall sensor's reading may be off, in microamperes, likewise.
const HALL_NOISE_UA: i64 = SensingKind::Hall.error().ua();

/// How much of the voltage is left in a brown-out, in thousandths.
const BROWN_PERMILLE: i64 = 600;

/// What axles draw: through resistors, in nanosiemens, and by motors, decoders and lamps, in microamperes at full voltage.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Load {
    conductance_ns: i64,
    share_ua: i64,
}

impl Load {
    pub(crate) const NONE: Self = Self { conductance_ns: 0, share_ua: 0 };

    /// What an axle draws of which only is known that a detector sees it.
    pub(crate) const fn ample() -> Self {
        AMPLE
    }

    /// A resistor across the rails.
    pub(crate) const fn resistor(ohm: i64) -> Self {
        Self { conductance_ns: if ohm > 0 { 1_000_000_000 / ohm } else { 0 }, share_ua: 0 }
    }

    /// A share of a motor's, a decoder's or a lamp's current.
    pub(crate) const fn share(ua: i64) -> Self {
        Self { conductance_ns: 0, share_ua: ua }
    }

    /// Whether it draws anything.
    pub(crate) fn draws(self) -> bool {
        self != Self::NONE
    }

    /// Whether a motor is fed by it.
    pub(crate) fn feeds(self) -> bool {
        self.share_ua > 0
    }

    /// The current, in microamperes, at what is left of a voltage behind a drop.
    fn current_ua(self, supply: Supply, drop_mv: i64) -> i64 {
        let (voltage, left) = (supply.mv(), supply.mv() - drop_mv);
        if left <= 0 {
            return 0;
        }
        // Millivolts by nanosiemens are picoamperes.
        left * self.conductance_ns / 1_000_000 + self.share_ua * voltage / supply.nominal_mv
    }
}

impl AddAssign for Load {
    fn add_assign(&mut self, other: Self) {
        self.conductance_ns += other.conductance_ns;
        self.share_ua += other.share_ua;
    }
}

impl SubAssign for Load {
    fn sub_assign(&mut self, other: Self) {
        *self = *self - other;
    }
}

impl Sub for Load {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self { conductance_ns: self.conductance_ns - other.conductance_ns, share_ua: self.share_ua - other.share_ua }
    }
}

/// Whether a power district is live.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Feed {
    Live,
    /// The voltage sags.
    Brown,
    Dark,
}

impl Feed {
    /// What is left of the voltage, in thousandths.
    pub(crate) const fn permille(self) -> i64 {
        match self {
            Self::Live => 1000,
            Self::Brown => BROWN_PERMILLE,
            Self::Dark => 0,
        }
    }
}

/// The voltage that a section is fed with.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Supply {
    nominal_mv: i64,
    pub(crate) feed: Feed,
}

impl Supply {
    /// A live supply, of the voltage that was said, else of the nominal one of the scale.
    pub(crate) fn new(said: Option<Voltage>, scale: Scale) -> Self {
        let nominal = said.map_or_else(|| nominal_mv(scale), Voltage::mv);
        Self { nominal_mv: nominal.max(1), feed: Feed::Live }
    }

    const fn mv(self) -> i64 {
        self.nominal_mv * self.feed.permille() / 1000
    }
}

/// The nominal voltage at the track (NMRA S-9.1, Table 3): 12 V for N and smaller, 15 V for H0, S and 0, 18 V for large scales.
/// TT and TTm stand between N and H0 and count with H0; real railways count as large.
fn nominal_mv(scale: Scale) -> i64 {
    if scale.ratio >= 148.0 {
        12_000
    } else if scale.ratio >= 40.0 {
        15_000
    } else {
        18_000
    }
}

/// How an area detector senses current.
#[derive(Debug)]
pub(crate) struct Sense {
    kind: Option<SensingKind>,
    threshold_ua: i64,
    drop_mv: i64,
    /// Below this it gives no signal.
    floor_ua: i64,
    /// How far its reading is off at the moment; drawn anew whenever the current changes.
    off_ua: i64,
    noise: Stream,
}

impl Sense {
    /// As its layout says, with what is drawn for each piece of hardware drawn from the seed.
    pub(crate) fn new(detector: &Detector, seed: u64) -> Self {
        let mut noise = Stream::labelled(seed, &format!("sense of {}", detector.name));
        let kind = detector.sensing.map(|sensing| sensing.kind);
        let drawn_drop = noise.between(DIODE_DROP_MV.0, DIODE_DROP_MV.1);
        let drawn_floor = noise.between(TRANSFORMER_FLOOR_UA.0, TRANSFORMER_FLOOR_UA.1);
        Self {
            kind,
            threshold_ua: detector.sensing.map_or(THRESHOLD_UNSAID_UA, |sensing| sensing.threshold.ua().max(1)),
            drop_mv: if kind == Some(SensingKind::DiodeDrop) { drawn_drop } else { 0 },
            floor_ua: if kind == Some(SensingKind::CurrentTransformer) { drawn_floor } else { 0 },
            off_ua: 0,
            noise,
        }
    }

    /// Whether moisture between the rails can fill its section.
    pub(crate) fn sees_moisture(&self) -> bool {
        matches!(self.kind, Some(SensingKind::DiodeDrop))
    }

    /// The current through it, in microamperes.
    pub(crate) fn current_ua(&self, load: Load, supply: Supply) -> i64 {
        load.current_ua(supply, self.drop_mv)
    }

    /// Takes note that the current changed.
    pub(crate) fn stir(&mut self) {
        if self.kind == Some(SensingKind::Hall) {
            self.off_ua = self.noise.between(-HALL_NOISE_UA, HALL_NOISE_UA);
        }
    }

    /// Whether that current is enough for it.
    pub(crate) fn sees(&self, current_ua: i64) -> bool {
        current_ua > 0 && current_ua >= self.floor_ua && current_ua + self.off_ua >= self.threshold_ua
    }
}
