//! How far each section's detector is to be trusted: what is known of its kind, and of its record.

use track::{Layout, SectionId, SensingKind, Table};

use super::Identity;
use super::moves::Scene;

/// How much more often than others a detector errs. 1 is an ordinary one.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Trust {
    /// It says occupied though nothing is there.
    pub false_fills: f64,
    /// It says free though something is there, or does not say that something came.
    pub misses: f64,
}

/// However bad its record, a detector is not taken to err more often than others by more than this.
const WORST_RECORD: f64 = 100.0;

/// How often in a passage an ordinary detector loses contact, and how often it fills for nothing. Common practice, no source.
const ORDINARY_MISSES: f64 = 1e-2;
const ORDINARY_FALSE_FILLS: f64 = 1e-3;

/// However bad its record, a fault is not more likely than so much.
const AT_MOST: f64 = 0.3;

impl Trust {
    /// A detector of which nothing is known.
    pub const ORDINARY: Self = Self { false_fills: 1.0, misses: 1.0 };

    /// What the layout says of a section's detector.
    pub fn of_detector(layout: &Layout, section: SectionId) -> Self {
        let detector = layout.sections[section].detector.map(|detector| &layout.detectors[detector]);
        detector.and_then(|it| it.sensing).map_or(Self::ORDINARY, |sensing| Self::of_kind(sensing.kind))
    }

    /// A detector of this kind. Common practice, no source: what sees very small currents also sees moisture, and what is weak at
    /// small currents misses axles that draw little.
    pub fn of_kind(kind: SensingKind) -> Self {
        match kind {
            SensingKind::DiodeDrop => Self { false_fills: 1.5, misses: 1.0 },
            SensingKind::CurrentTransformer => Self { false_fills: 0.5, misses: 1.5 },
            SensingKind::Hall => Self { false_fills: 1.0, misses: 2.0 },
        }
    }

    /// The same detector, having erred so often in so many passages. The rates are what is to be expected of it after that, if
    /// before it was as likely as not to err once in the time in which an ordinary one does: the mean of a gamma distribution
    /// whose prior counts one error. A good record does not make a detector better than its kind: the first time it fails it
    /// has a good record, too.
    pub fn with_record(self, misses: u32, false_fills: u32, passages: u32) -> Self {
        let worse = |errors: u32, ordinary_rate: f64| {
            let expected = f64::from(passages) * ordinary_rate;
            ((f64::from(errors) + 1.0) / (expected + 1.0)).clamp(1.0, WORST_RECORD)
        };
        Self {
            false_fills: self.false_fills * worse(false_fills, ORDINARY_FALSE_FILLS),
            misses: self.misses * worse(misses, ORDINARY_MISSES),
        }
    }
}

/// The trust in every section's detector, as far as it is not ordinary.
pub(super) fn by_kind(layout: &Layout) -> Table<SectionId, Trust> {
    layout.sections.ids().map(|section| Trust::of_detector(layout, section)).collect()
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_detector_that_often_loses_contact_is_trusted_less_and_passages_without_a_fault_make_up_for_it() {
        let bad = Trust::ORDINARY.with_record(6, 0, 50);
        assert!(bad.misses > 4.0 && bad.misses < 5.0, "{bad:?}");
        assert_eq!(bad.false_fills, 1.0);
        let mended = Trust::ORDINARY.with_record(1, 0, 350);
        assert_eq!(mended, Trust::ORDINARY);
        assert!(Trust::ORDINARY.with_record(0, 500, 10).false_fills <= WORST_RECORD);
    }

    #[test]
    fn a_good_record_makes_no_detector_better_than_its_kind() {
        let hall = Trust::of_kind(SensingKind::Hall);
        assert_eq!(hall.with_record(0, 0, 400), hall);
        assert!(hall.with_record(3, 0, 20).misses > Trust::ORDINARY.with_record(3, 0, 20).misses);
    }
}
