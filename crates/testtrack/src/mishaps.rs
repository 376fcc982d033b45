//! The log of everything that went wrong: what, when, and with which train, section or turnout. For the checkers, which say
//! what a wrong claim is explained by, and for people who look into a run. The signaller never sees it.

use std::time::Duration;

use signaller::Time;
use track::{DistrictId, LinkId, SectionId, TrainId, TurnoutId};

use crate::faults::Fault;

/// Something that went wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mishap {
    /// What.
    pub fault: Fault,
    /// When it began.
    pub at: Time,
    /// When it was over; nothing while it lasts, or where it is over at once.
    pub until: Option<Time>,
    /// The train it befell, where it was one.
    pub train: Option<TrainId>,
    /// The section it befell, where it was one.
    pub section: Option<SectionId>,
    /// The turnout it befell, where it was one.
    pub turnout: Option<TurnoutId>,
    /// The power district it befell, where it was one.
    pub district: Option<DistrictId>,
    /// The link it befell, where it was one.
    pub link: Option<LinkId>,
    /// The node of detectors it befell, where it was one.
    pub(crate) node: Option<usize>,
}

impl Mishap {
    /// One that begins now and befalls nothing in particular.
    pub const fn new(fault: Fault, at: Time) -> Self {
        Self {
            fault,
            at,
            until: None,
            train: None,
            section: None,
            turnout: None,
            district: None,
            link: None,
            node: None,
        }
    }

    /// The same, befalling a train.
    #[must_use]
    pub const fn to_train(self, train: TrainId) -> Self {
        Self { train: Some(train), ..self }
    }

    /// The same, befalling a section.
    #[must_use]
    pub const fn to_section(self, section: SectionId) -> Self {
        Self { section: Some(section), ..self }
    }

    /// The same, befalling a turnout.
    #[must_use]
    pub const fn to_turnout(self, turnout: TurnoutId) -> Self {
        Self { turnout: Some(turnout), ..self }
    }

    /// The same, befalling a power district.
    #[must_use]
    pub const fn to_district(self, district: DistrictId) -> Self {
        Self { district: Some(district), ..self }
    }

    /// The same, befalling a link.
    #[must_use]
    pub const fn to_link(self, link: LinkId) -> Self {
        Self { link: Some(link), ..self }
    }

    /// The same, over at that time.
    #[must_use]
    pub const fn until(self, until: Time) -> Self {
        Self { until: Some(until), ..self }
    }
}

/// Everything that went wrong so far, in order.
#[derive(Debug, Default)]
pub(crate) struct Log {
    mishaps: Vec<Mishap>,
}

impl Log {
    pub(crate) fn note(&mut self, mishap: Mishap) {
        self.mishaps.push(mishap);
    }

    /// The last one of that kind that befell the same and is not over is over now.
    pub(crate) fn end(&mut self, same: Mishap, now: Time) {
        let befell = |it: &Mishap| Mishap { at: same.at, ..*it };
        if let Some(mishap) = self.mishaps.iter_mut().rev().find(|it| befell(it) == same) {
            mishap.until = Some(now);
        }
    }

    /// The last one of that kind that befell the train and is not over is over now.
    pub(crate) fn over(&mut self, fault: Fault, train: TrainId, now: Time) {
        let lasting = |it: &&mut Mishap| it.fault == fault && it.train == Some(train) && it.until.is_none();
        if let Some(mishap) = self.mishaps.iter_mut().rev().find(lasting) {
            mishap.until = Some(now);
        }
    }

    /// The same for the last one that befell the section.
    pub(crate) fn over_in(&mut self, fault: Fault, section: SectionId, now: Time) {
        let lasting = |it: &&mut Mishap| it.fault == fault && it.section == Some(section) && it.until.is_none();
        if let Some(mishap) = self.mishaps.iter_mut().rev().find(lasting) {
            mishap.until = Some(now);
        }
    }

    pub(crate) fn all(&self) -> &[Mishap] {
        &self.mishaps
    }

    /// The faults that befell the train or the section, or something that is neither, and began or lasted within `span` before
    /// `now`; each once, in order.
    pub(crate) fn explaining(&self, train: TrainId, section: SectionId, now: Time, span: Duration) -> Vec<Fault> {
        let recent = |it: &&Mishap| it.until.is_none_or(|until| until >= now || now.since(until) <= span);
        let concerns =
            |it: &&Mishap| it.train.is_none_or(|of| of == train) && it.section.is_none_or(|of| of == section);
        let mut faults: Vec<_> = self.mishaps.iter().filter(recent).filter(concerns).map(|it| it.fault).collect();
        faults.sort_unstable();
        faults.dedup();
        faults
    }
}
