//! Why trains are held, and what lifts each hold.
//!
//! A train may be held for several reasons at once. It is said when it is held and why, and that it is held no more when the
//! last reason is gone.

use smallvec::SmallVec;
use track::TrainId;

use super::Interlock;
use crate::door::{Fact, Output};
use crate::identity::Whereabouts;
use crate::picture::Picture;

/// Why a train is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
pub enum HoldKind {
    /// A person or a script wished it; they lift it.
    Wished,
    /// Everything was stopped; it is lifted when everything is resumed.
    AllStopped,
    /// Its accounts disagree, or none is left, and its safety depends on that; lifted when it does not.
    Doubt,
    /// It was found outside what it was granted; lifted once it stands where nobody else may be, or by a person.
    Astray,
    /// It was told to go and is not seen where it should be by now; lifted when it is, to try it again, or by a person.
    NoAnswer,
    /// There is no power where it stands; lifted when there is.
    Dark,
    /// It was stopped as quickly as it could; a person lifts it.
    Emergency,
    /// It stood there when the signaller was last in charge; lifted when what detectors say agrees.
    Remembered,
}

impl HoldKind {
    /// All that concern one train, and not everything.
    pub(super) const OF_A_TRAIN: [Self; 7] =
        [Self::Wished, Self::Emergency, Self::Doubt, Self::Astray, Self::NoAnswer, Self::Dark, Self::Remembered];

    /// Whether the train is held because it is not sure who is where.
    pub fn is_doubt(self) -> bool {
        matches!(self, Self::Doubt | Self::Astray | Self::NoAnswer | Self::Remembered)
    }
}

/// All reasons for which a train is held, but for that everything was stopped.
#[derive(Clone, Debug, Default, serde::Serialize, serde::Deserialize)]
pub(crate) struct Holds {
    kinds: SmallVec<[HoldKind; 4]>,
}

impl Holds {
    pub(crate) fn any(&self) -> bool {
        !self.kinds.is_empty()
    }

    pub(crate) fn has(&self, kind: HoldKind) -> bool {
        self.kinds.contains(&kind)
    }
}

impl Interlock {
    /// Whether a train is held. One that a person drives never is.
    pub fn is_held(&self, train: TrainId) -> bool {
        let stopped = self.everything_stopped && !self.is_driven_by_hand(train);
        stopped || self.runs.get(train).is_some_and(|run| run.holds.any())
    }

    /// Why a train is held, the first reason first; nothing where it is not.
    pub fn hold_kinds(&self, train: TrainId) -> impl Iterator<Item = HoldKind> + '_ {
        let own = self.runs.get(train).into_iter().flat_map(|run| run.holds.kinds.iter().copied());
        let stopped = self.everything_stopped && !self.is_driven_by_hand(train);
        own.chain(stopped.then_some(HoldKind::AllStopped))
    }

    /// Holds a train, and says why unless it is held for that already.
    pub(crate) fn set_hold(&mut self, train: TrainId, kind: HoldKind, reason: String, outputs: &mut Vec<Output>) {
        if self.runs.get(train).is_none_or(|run| run.holds.has(kind)) {
            return;
        }
        self.runs[train].holds.kinds.push(kind);
        outputs.push(Output::Fact(Fact::HoldSet { train, reason }));
        self.touch(train);
    }

    /// Lifts one reason to hold a train. Tells whether it was held for that.
    pub(crate) fn lift_hold(&mut self, train: TrainId, kind: HoldKind, outputs: &mut Vec<Output>) -> bool {
        if !self.runs.get(train).is_some_and(|run| run.holds.has(kind)) {
            return false;
        }
        self.runs[train].holds.kinds.retain(|other| *other != kind);
        self.is_stirred = true;
        self.lifted += 1;
        self.tell_if_lifted(train, outputs);
        self.touch(train);
        true
    }

    pub(super) fn tell_if_lifted(&mut self, train: TrainId, outputs: &mut Vec<Output>) {
        if !self.is_held(train) {
            outputs.push(Output::Fact(Fact::HoldLifted { train }));
        }
    }

    /// Holds a train that stands, or reaches, where there is no power, until there is.
    pub(super) fn hold_while_dark(
        &mut self,
        train: TrainId,
        stand: &Whereabouts,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) {
        let run = &self.runs[train];
        let stands_on = stand.footprint.iter().map(|hold| hold.section);
        let reaches = run.granted.iter().map(|passage| passage.section);
        let reaches = reaches.filter(|&section| picture.holders(section).contains(&train));
        let dark = stands_on.chain(reaches).find(|&section| picture.is_frozen(section));
        match dark {
            Some(section) => {
                let district = self.layout.sections[section].district;
                let place = district.map(|district| format!(" in `{}`", self.layout.districts[district].name));
                let reason = format!("the power is off{}", place.unwrap_or_default());
                self.set_hold(train, HoldKind::Dark, reason, outputs);
            }
            None => {
                self.lift_hold(train, HoldKind::Dark, outputs);
            }
        }
    }
}
