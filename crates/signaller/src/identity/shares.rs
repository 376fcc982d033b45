//! Two trains in one section: what was one train until it was uncoupled.
//!
//! This is the one case in which two trains are seen in the same section by the same account. Neither can leave it past the
//! other. As soon as one of them is seen to go elsewhere, the section shows the other, and what the first may still have there
//! nobody sees; when the section empties, both are out of it.

use track::{EndId, SectionId, TrainId};

use super::Identity;
use super::account::{Stands, Who, put};
use super::moves::Scene;

/// A section that two trains share, which stand against each other.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Share {
    pub section: SectionId,
    /// The end on whose side `behind` stands.
    pub enter: EndId,
    pub ahead: TrainId,
    pub behind: TrainId,
    /// The one of them that the section is called after.
    pub named: TrainId,
}

impl Share {
    pub fn is_of(&self, train: TrainId) -> bool {
        self.ahead == train || self.behind == train
    }

    fn bars(&self, train: TrainId, section: SectionId, leave: EndId) -> bool {
        let past_behind = self.ahead == train && leave == self.enter;
        let past_ahead = self.behind == train && leave != self.enter;
        self.section == section && (past_behind || past_ahead)
    }
}

impl Scene<'_> {
    /// The price of leaving a section past a train that stands against it there.
    pub fn past_partner(&self, who: Who, section: SectionId, leave: EndId) -> f64 {
        if self.shares.is_empty() {
            return 1.0;
        }
        let bars = |train: TrainId| self.shares.iter().any(|share| share.bars(train, section, leave));
        if who.known().is_some_and(bars) { self.prices.by_hand } else { 1.0 }
    }

    /// Whether two trains share the section.
    pub fn is_shared(&self, section: SectionId) -> bool {
        !self.shares.is_empty() && self.shares.iter().any(|share| share.section == section)
    }

    /// What may follow from `section` having emptied, for each train that was seen there.
    pub fn empties(&self, stands: &Stands, section: SectionId, lifted: &[Who], sink: &mut impl FnMut(Stands, f64)) {
        if !self.is_shared(section) {
            return self.empties_of_one(stands, section, lifted, sink);
        }
        let mut open: Vec<(Stands, f64)> = vec![(stands.clone(), 1.0)];
        while let Some((stands, price)) = open.pop() {
            if stands.iter().any(|stand| stand.sees(section)) {
                self.empties_of_one(&stands, section, lifted, &mut |after, more| open.push((after, price * more)));
            } else {
                sink(stands, price);
            }
        }
    }
}

impl Identity {
    /// Whether a train would run against another if it left its section by this end.
    pub(crate) fn is_barred(&self, train: TrainId, section: SectionId, leave: EndId) -> bool {
        self.shares.iter().any(|share| share.bars(train, section, leave))
    }

    /// Whether the section is called after another train than this one, which it shares it with.
    pub(super) fn is_called_after_other(&self, section: SectionId, who: Who) -> bool {
        let other = |train: TrainId| {
            self.shares.iter().any(|share| share.section == section && share.is_of(train) && share.named != train)
        };
        !self.shares.is_empty() && who.known().is_some_and(other)
    }

    /// Ends the shares of trains that are seen to have gone elsewhere, or are gone.
    pub(super) fn settle_shares(&mut self) {
        let mut at = 0;
        while let Some(share) = self.shares.get(at).cloned() {
            let (ahead, behind) = (self.is_only_within(&share, share.ahead), self.is_only_within(&share, share.behind));
            if ahead && behind {
                at += 1;
                continue;
            }
            self.shares.remove(at);
            self.tags.touch_section(share.section);
            for (train, stays, other_stays) in [(share.ahead, ahead, behind), (share.behind, behind, ahead)] {
                if !stays && other_stays {
                    self.is_seen_no_more(share.section, train);
                }
            }
        }
    }

    /// Whether the train has no section yet beside those that it had when it was uncoupled: its other sections lie on its own
    /// side of the shared one, so a new one is beyond them.
    fn is_only_within(&self, share: &Share, train: TrainId) -> bool {
        let Some(home) = self.clusters.home(train) else { return false };
        let who = Who::train(train);
        let stands = self.clusters.cluster(home).accounts.iter().flat_map(|account| &account.stands);
        let mut own = stands.filter(|stand| stand.who == who);
        own.all(|stand| stand.sees(share.section) && stand.holds.len() <= self.sections_at_parting(train))
    }

    fn sections_at_parting(&self, train: TrainId) -> usize {
        self.parted.iter().find(|(parted, _)| *parted == train).map_or(1, |(_, sections)| *sections)
    }

    fn is_seen_no_more(&mut self, section: SectionId, train: TrainId) {
        let Some(home) = self.clusters.home(train) else { return };
        let who = Who::train(train);
        self.change(home, |accounts| {
            for account in accounts {
                let Some(mut stand) = account.stands.iter().find(|stand| stand.who == who).cloned() else { continue };
                let elsewhere = stand.holds.iter().any(|hold| hold.seen && hold.section != section);
                if let Some(at) = stand.position(section).filter(|_| elsewhere) {
                    stand.holds[at].seen = false;
                    put(&mut account.stands, stand);
                }
            }
        });
    }
}
