//! Why trains are held, and what lifts each hold.
//!
//! A train may be held for several reasons at once. It is said when it is held and why, what holds it still when the reason that
//! was said last is gone, and that it is held no more when all are.

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
    /// Somebody says that another train stands on track that it has; lifted when that one is placed or lifted, or by a person.
    Disputed,
    /// It stood there when the signaller was last in charge; lifted when what detectors say agrees.
    Remembered,
}

impl HoldKind {
    /// All that concern one train, and not everything.
    pub(super) const OF_A_TRAIN: [Self; 8] = [
        Self::Wished,
        Self::Emergency,
        Self::Doubt,
        Self::Astray,
        Self::NoAnswer,
        Self::Dark,
        Self::Disputed,
        Self::Remembered,
    ];

    /// Whether the train is held because it is not sure who is where.
    pub fn is_doubt(self) -> bool {
        matches!(self, Self::Doubt | Self::Astray | Self::NoAnswer | Self::Remembered)
    }
}

/// Why trains are held when everything is.
pub(super) const ALL_STOPPED: &str = "everything was stopped";

/// All reasons for which a train is held, but for that everything was stopped.
#[derive(Clone, Debug, Default, serde::Serialize, serde::Deserialize)]
pub(crate) struct Holds {
    /// Each with the reason in words, in the order in which they came.
    kinds: SmallVec<[(HoldKind, String); 2]>,
    /// The one that was said last.
    told: Option<HoldKind>,
}

impl Holds {
    pub(crate) fn any(&self) -> bool {
        !self.kinds.is_empty()
    }

    pub(crate) fn has(&self, kind: HoldKind) -> bool {
        self.kinds.iter().any(|(own, _)| *own == kind)
    }

    /// Puts another reason in the place of one; tells whether there was one.
    pub(super) fn replace(&mut self, kind: HoldKind, reason: &str) -> bool {
        let own = self.kinds.iter_mut().find(|(own, _)| *own == kind);
        own.map(|(_, before)| reason.clone_into(before)).is_some()
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
        let own = self.runs.get(train).into_iter().flat_map(|run| run.holds.kinds.iter().map(|(kind, _)| *kind));
        let stopped = self.everything_stopped && !self.is_driven_by_hand(train);
        own.chain(stopped.then_some(HoldKind::AllStopped))
    }

    /// Why a train is held, in the words that were said last; nothing where it is not.
    pub(crate) fn why_held(&self, train: TrainId) -> Option<String> {
        let holds = &self.runs.get(train)?.holds;
        let own = holds.kinds.iter().find(|(kind, _)| Some(*kind) == holds.told);
        let reason = own.map_or(ALL_STOPPED, |(_, reason)| reason);
        self.is_held(train).then(|| reason.to_owned())
    }

    /// Holds a train, and says why unless it is held for that already.
    pub(crate) fn set_hold(&mut self, train: TrainId, kind: HoldKind, reason: String, outputs: &mut Vec<Output>) {
        if self.runs.get(train).is_none_or(|run| run.holds.has(kind)) {
            return;
        }
        self.runs[train].holds.kinds.push((kind, reason.clone()));
        self.tell_hold(train, kind, reason, outputs);
        self.touch(train);
    }

    /// Says why a train is held.
    pub(super) fn tell_hold(&mut self, train: TrainId, kind: HoldKind, reason: String, outputs: &mut Vec<Output>) {
        self.runs[train].holds.told = Some(kind);
        outputs.push(Output::Fact(Fact::HoldSet { train, reason }));
    }

    /// Lifts one reason to hold a train. Tells whether it was held for that.
    pub(crate) fn lift_hold(&mut self, train: TrainId, kind: HoldKind, outputs: &mut Vec<Output>) -> bool {
        if !self.runs.get(train).is_some_and(|run| run.holds.has(kind)) {
            return false;
        }
        self.runs[train].holds.kinds.retain(|(own, _)| *own != kind);
        self.is_stirred = true;
        self.lifted += 1;
        self.tell_lifted(train, kind, outputs);
        self.touch(train);
        true
    }

    /// Says that a train is held no more, or else what holds it still, where that for which it was is what was said last.
    pub(super) fn tell_lifted(&mut self, train: TrainId, lifted: HoldKind, outputs: &mut Vec<Output>) {
        if !self.is_held(train) {
            self.runs[train].holds.told = None;
            outputs.push(Output::Fact(Fact::HoldLifted { train }));
        } else if self.runs[train].holds.told == Some(lifted) {
            let own = self.runs[train].holds.kinds.last().cloned();
            let (kind, reason) = own.unwrap_or_else(|| (HoldKind::AllStopped, ALL_STOPPED.to_owned()));
            self.tell_hold(train, kind, reason, outputs);
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
