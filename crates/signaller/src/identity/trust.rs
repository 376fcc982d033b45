//! How far each section's detector is to be trusted: what is known of its kind, and of its record.

use track::{Layout, SectionId, SensingKind, Table};

use super::Identity;
use super::moves::Scene;

/// How much more often than others a detector errs. 1 is an ordinary one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trust {
    /// It says occupied though nothing is there.
    pub false_fills: f64,
    /// It says free though something is there, or does not say that something came.
    pub misses: f64,
}

/// However bad its record, a fault is not more likely than so much.
const AT_MOST: f64 = 0.3;

impl Trust {
    /// A detector of which nothing is known.
    pub const ORDINARY: Self = Self { false_fills: 1.0, misses: 1.0 };

    /// A detector of this kind. Common practice, no source: what sees very small currents also sees moisture, and what is weak at
    /// small currents misses axles that draw little.
    pub fn of_kind(kind: SensingKind) -> Self {
        match kind {
            SensingKind::DiodeDrop => Self { false_fills: 1.5, misses: 1.0 },
            SensingKind::CurrentTransformer => Self { false_fills: 0.5, misses: 1.5 },
            SensingKind::Hall => Self { false_fills: 1.0, misses: 2.0 },
        }
    }
}

/// The trust in every section's detector, as far as it is not ordinary.
pub(super) fn by_kind(layout: &Layout) -> Table<SectionId, Trust> {
    let of_section = |section: &track::Section| {
        let detector = section.detector.map(|detector| &layout.detectors[detector]);
        detector.and_then(|it| it.sensing).map_or(Trust::ORDINARY, |sensing| Trust::of_kind(sensing.kind))
    };
    layout.sections.values().map(of_section).collect()
}

impl Identity {
    /// From now on a section's detector is trusted so far.
    pub fn set_trust(&mut self, section: SectionId, trust: Trust) {
        self.trust[section] = trust;
    }

    /// How far a section's detector is trusted.
    pub fn trust(&self, section: SectionId) -> Trust {
        self.trust[section]
    }
}

impl Scene<'_> {
    /// The price of something unknown filling the section.
    pub fn stranger(&self, section: SectionId) -> f64 {
        let price =
            if self.topology.is_border(section) { self.prices.stranger_at_border } else { self.prices.stranger };
        (price * self.trust[section].false_fills).min(AT_MOST)
    }

    /// The price of a section's detector missing something, where that costs `ordinary` as a rule.
    pub fn missed(&self, section: SectionId, ordinary: f64) -> f64 {
        (ordinary * self.trust[section].misses).min(AT_MOST.max(ordinary))
    }
}
