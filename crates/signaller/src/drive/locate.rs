//! Feeds the estimate of where a nose is with everything that is heard of the train.

use smallvec::SmallVec;
use track::{EndId, Layout, Length, Train};

use super::estimate::{Estimate, Lesson, Likely, Momentum, REPORT_TAKES, Ramps};
use super::motion::Motion;
use super::passage::length_between;
use crate::door::Direction;
use crate::identity::{SpotPassage, Whereabouts};
use crate::time::Time;

/// How well the place of a joint is known, and that of a spot, in millimetres. Common practice, no source.
const JOINT_WITHIN: f64 = 2.0;
const SPOT_WITHIN: f64 = 1.0;
/// Two axles are told apart at a spot if one explains it so much better than the other, in deviations.
const TOLD_APART: f64 = 1.5;

/// The estimate of one train, and what it counts from.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Locating {
    estimate: Estimate,
    /// Where the train came into each section that it covers, tail first. Places of the nose count from the last of these.
    enters: SmallVec<[EndId; 4]>,
    leading: Direction,
    length: Option<Length>,
    /// How far behind the nose each axle is that detectors see, front leading and rear leading.
    axles: [SmallVec<[f64; 8]>; 2],
}

impl Locating {
    pub(super) fn new(train: Option<&Train>, momentum: Momentum) -> Self {
        let axles = train.map_or_else(Default::default, axles);
        let length = train.and_then(Train::length);
        let (enters, leading) = (SmallVec::new(), Direction::Forward);
        Self { estimate: Estimate::new(momentum), enters, leading, length, axles }
    }

    /// The train is made of other vehicles from now on.
    pub(super) fn make_up(&mut self, train: &Train) {
        (self.axles, self.length) = (axles(train), train.length());
        self.lose();
    }

    /// How its decoder gathers and loses speed.
    pub(super) fn ramps(&self) -> Ramps {
        self.estimate.ramps()
    }

    /// It gathers and loses speed so, as was known before.
    pub(super) fn remember(&mut self, ramps: &Ramps) {
        self.estimate.remember(ramps);
    }

    /// Nobody knows any more where the nose is.
    pub(super) fn lose(&mut self) {
        self.estimate.lose();
        self.enters.clear();
    }

    /// The train is told to run at a speed, in millimetres a second by its curve, at such a share of its highest step.
    pub(super) fn order(&mut self, now: Time, by_curve: f64, share: f64) {
        self.estimate.order(now, by_curve, share);
    }

    /// Takes in where the train is said to be, and what passed spots. Its speed in relation to the curve is known no better than
    /// that deviation when it starts. Tells what a run has taught that ends with this.
    pub(super) fn follow(
        &mut self,
        layout: &Layout,
        stand: &Whereabouts,
        motion: &Motion,
        spots: &[SpotPassage],
        ratio_deviation: f64,
        now: Time,
    ) -> Option<Lesson> {
        let enters: Option<SmallVec<[EndId; 4]>> = stand.footprint.iter().map(|hold| hold.enter).collect();
        let enters = enters.filter(|_| stand.sure);
        let (Some(enters), Some(nose)) = (enters, stand.nose.filter(|nose| nose.least <= nose.most)) else {
            self.lose();
            return None;
        };
        let &enter = enters.last()?;
        let bounds = (nose.least.mm(), nose.most.mm());
        let before = std::mem::replace(&mut self.enters, enters);
        let taught = self.estimate.taught().filter(|_| motion.is_at_rest());
        let has_turned = std::mem::replace(&mut self.leading, stand.leading) != stand.leading;
        if !motion.is_at_rest() {
            if !self.estimate.is_placed() {
                return None;
            }
            self.estimate.advance(now);
            let passed = before.last().filter(|&&before| before != enter);
            if passed.is_some_and(|&before| !self.pass_joint(layout, before, enter, stand.blind_nose, now)) {
                self.estimate.lose();
                return None;
            }
            for spot in spots {
                self.pass_spot(layout, enter, spot, now);
            }
        } else if before.last() == Some(&enter) && !has_turned && self.estimate.is_placed() {
            self.estimate.stand(now, ratio_deviation);
        } else {
            let turned = self.turned(layout, &before, enter).filter(|_| has_turned);
            match turned {
                Some(place) => self.estimate.stand_at(now, place, -1.0, ratio_deviation),
                None => self.estimate.put(now, bounds, ratio_deviation),
            }
        }
        self.estimate.keep_within(bounds);
        taught
    }

    /// Where the nose is of a train that has turned where it stands: where its tail was. Beyond `enter`, by which it would have
    /// come in; nothing where nobody can tell.
    fn turned(&self, layout: &Layout, before: &[EndId], enter: EndId) -> Option<f64> {
        let nose = self.estimate.likely()?.place;
        let section = layout.ends[enter].section;
        let place = before.iter().position(|&end| layout.ends[end].section == section)?;
        let mut tail = nose - self.length?.mm();
        for pair in before[place..].windows(2) {
            tail += length_between(layout, pair[0], pair[1])?.mm();
        }
        let way = layout.way_between(before[place], enter)?;
        Some(layout.ways[way].length?.mm() - tail)
    }

    /// Where the nose most likely is, beyond the entry of its section; nothing where it was never heard of.
    pub(super) fn likely(&self) -> Option<Likely> {
        self.estimate.likely().filter(|_| self.estimate.is_heard_of())
    }

    /// How far the train still runs if it is told to stand now, in millimetres.
    pub(super) fn room_to_stand(&self) -> f64 {
        self.estimate.room_to_stand()
    }

    /// How far the nose runs until the first axle that detectors see passes a spot at a place; nothing if it most likely has.
    pub(super) fn to_spot(&self, at: f64) -> Option<f64> {
        let axles = &self.axles[usize::from(self.leading == Direction::Backward)];
        let to_spot = at + axles.first()? - self.likely()?.place;
        (to_spot > 0.0).then_some(to_spot)
    }

    /// Tells whether it is known how far it was from the joint before.
    fn pass_joint(&mut self, layout: &Layout, before: EndId, enter: EndId, blind: Length, now: Time) -> bool {
        let Some(length) = length_between(layout, before, enter) else { return false };
        self.estimate.pass_joint(length.mm());
        // That it came into a dark section is heard from its tail.
        if let Some(detector) = layout.sections[layout.ends[enter].section].detector {
            let was = now - (layout.detectors[detector].on_delay + REPORT_TAKES);
            self.estimate.fix(was, blind.mm(), JOINT_WITHIN);
        }
        true
    }

    /// Some axle passed a spot: the one that explains it best, if no other does nearly as well.
    fn pass_spot(&mut self, layout: &Layout, enter: EndId, spot: &SpotPassage, now: Time) {
        let way = &layout.ways[spot.way];
        let (Some(place), Some(length)) = (spot.from_first_end, way.length) else { return };
        // Of a train that may be anywhere, any axle may have passed.
        if !way.ends.contains(&enter) || !self.estimate.is_heard_of() {
            return;
        }
        let at = if enter == way.ends[0] { place } else { length - place }.mm();
        let was = now - (spot.on_delay + REPORT_TAKES);
        let axles = &self.axles[usize::from(self.leading == Direction::Backward)];
        let mut best: Option<(f64, f64)> = None;
        let mut second = f64::INFINITY;
        for axle in axles {
            let surprise = self.estimate.surprise(was, at + axle);
            match best {
                Some((least, _)) if surprise >= least => second = second.min(surprise),
                _ => {
                    second = best.map_or(second, |(least, _)| least);
                    best = Some((surprise, at + axle));
                }
            }
        }
        if let Some((surprise, nose)) = best
            && second - surprise > TOLD_APART
        {
            self.estimate.fix(was, nose, SPOT_WITHIN);
        }
    }
}

/// How far behind the nose each axle is that detectors see, front leading and rear leading.
fn axles(train: &Train) -> [SmallVec<[f64; 8]>; 2] {
    let mut places: SmallVec<[f64; 8]> = SmallVec::new();
    let mut ahead = Length::ZERO;
    for vehicle in &train.vehicles {
        if vehicle.axles.is_empty() {
            places.extend(
                vehicle.detectable.into_iter().flat_map(|(first, last)| [(ahead + first).mm(), (ahead + last).mm()]),
            );
        } else {
            places.extend(vehicle.axles.iter().map(|axle| (ahead + axle.at).mm()));
        }
        ahead += vehicle.length;
    }
    let backward = places.iter().rev().map(|place| ahead.mm() - place).collect();
    [places, backward]
}
