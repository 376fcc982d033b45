//! What may be in a section beside the train that is said to be there.
//!
//! A section that is filled already tells nothing of what else comes in. Where a train was lost from sight beside it, or does not
//! answer there, or something unknown appeared or vanished there, its staying filled does not show that the train is there still. What
//! is unknown counts only where trains are driven: elsewhere nobody is there to be asked.

use smallvec::SmallVec;
use track::{SectionId, TrainId};

use super::account::{Account, Stand, Who};
use super::{Identity, Missing};
use crate::door::Tag;

impl Identity {
    /// Whether a train that does not answer, or was lost from sight beside it, may have run into the section unheard, for it was filled
    /// already: that it stays filled does not show then that this train is still there. Its rear may have drawn out of it, and
    /// somebody who sees to two trains that touch each other may have taken it off.
    pub(super) fn may_hide_another(&self, section: SectionId, train: TrainId) -> bool {
        let does_not_answer = |missing: &Missing| {
            missing.train != train && self.topology.beside(missing.nose).any(|beside| beside == section)
        };
        self.missing.iter().any(does_not_answer)
            || self.is_another_lost_beside(section, train)
            || self.may_hide_unknown(section, train)
    }

    /// Whether another train was lost from sight with its nose beside the section.
    fn is_another_lost_beside(&self, section: SectionId, train: TrainId) -> bool {
        let is_moved = |who: Who| self.odometers.is_driven(who) || self.odometers.is_in_hand(who);
        let is_lost = |stand: &Stand| stand.is_lost() && stand.who != Who::train(train) && is_moved(stand.who);
        let loses_one = |place: SectionId| {
            let mut stands = self.stands_that_count(place);
            !self.topology.is_dark(place) && stands.any(|stand| stand.nose().section == place && is_lost(stand))
        };
        self.clusters.lost > 0 && self.topology.beside(section).any(loses_one)
    }

    /// Where trains stand by the accounts of a section that count for anything.
    pub(super) fn stands_that_count(&self, section: SectionId) -> impl Iterator<Item = &Stand> {
        let counts = |account: &&Account| account.weight >= self.prices.sure;
        self.accounts_at(section).flatten().filter(counts).flat_map(|account| &account.stands)
    }

    /// Whether only one end of a train is there, and something unknown may be there, too: that the section stays filled does not show
    /// that this end has not left.
    fn may_hide_unknown(&self, section: SectionId, train: TrainId) -> bool {
        let who = Who::train(train);
        let is_one_end = |stand: &Stand| {
            (stand.tail().section == section || stand.nose().section == section)
                && stand.holds.iter().any(|hold| hold.seen && hold.section != section)
        };
        self.tags.hides_unknown[section]
            && self.stands_that_count(section).any(|stand| stand.who == who && is_one_end(stand))
    }

    /// Whether the section was filled already when something unknown appeared or vanished beside it, which may have come in.
    pub(crate) fn hides_unknown(&self, section: SectionId) -> bool {
        self.tags.hides_unknown[section]
    }

    /// Something unknown that came into the section, or is gone from it, may have run into one beside it that was filled already.
    pub(super) fn note_unknown_beside(&mut self, section: SectionId) -> SmallVec<[SectionId; 8]> {
        let counts = |beside: &SectionId| self.reported[*beside] == Some(true) && self.odometers.is_any_driven();
        let mut said_otherwise: SmallVec<[SectionId; 8]> = self.topology.beside(section).filter(counts).collect();
        for &beside in &said_otherwise {
            self.tags.hides_unknown[beside] = true;
        }
        for train in self.unseen_in_the_dark_beside(section) {
            let Some(home) = self.clusters.home(train).filter(|_| !self.is_strange(train)) else { continue };
            let stands = self.clusters.cluster(home).accounts.iter().flat_map(|account| &account.stands);
            said_otherwise.extend(stands.flat_map(|stand| &stand.holds).map(|hold| hold.section));
            self.is_strange_from_now_on(train);
            self.look_at_doubts_of(train);
        }
        said_otherwise
    }

    /// Trains that are driven and said to have an end in a dark section beside this one, where nothing shows whether they are there
    /// still.
    fn unseen_in_the_dark_beside(&self, section: SectionId) -> SmallVec<[TrainId; 2]> {
        let mut trains = SmallVec::new();
        for dark in self.topology.beside(section).filter(|&beside| self.topology.is_dark(beside)) {
            let has_an_end = |stand: &&Stand| stand.nose().section == dark || stand.tail().section == dark;
            let driven = self.stands_that_count(dark).filter(has_an_end).map(|stand| stand.who);
            trains.extend(driven.filter(|&who| self.odometers.is_driven(who)).filter_map(Who::known));
        }
        trains
    }

    /// What was unknown in the section is known to be a train there: it did not run on.
    pub(super) fn forget_unknown_beside(&mut self, section: SectionId) {
        for beside in self.topology.beside(section) {
            self.tags.is_told_of(beside);
        }
    }

    /// Whether what is unknown in the section was left behind there by a train, or is a detector that is held: that stays where it is.
    pub(super) fn was_left_behind(&self, section: SectionId) -> bool {
        let mut stands = self.accounts_at(section).flatten().flat_map(|account| &account.stands);
        stands.any(|stand| stand.who.was_left() && stand.sees(section))
    }

    /// Where only one end of a train may be in a section, or something unknown, nothing that detectors say need ever settle it.
    pub(super) fn ask_where_unknown_hides(&mut self, section: SectionId, tag: &Tag) {
        if let Tag::Doubt(trains) = tag
            && let [train] = trains[..]
            && !self.is_strange(train)
            && self.may_hide_unknown(section, train)
        {
            self.is_strange_from_now_on(train);
        }
    }

    /// The sections beside those of a train that nothing shows in which it may be, too, for they were filled already.
    pub(super) fn may_have_run_into(&self, sections: &[SectionId]) -> SmallVec<[SectionId; 4]> {
        let beside = sections.iter().flat_map(|&section| self.topology.beside(section));
        beside.filter(|&it| matches!(self.tags.said[it], Some(Tag::Doubt(_)))).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::scene::{Scene, doubted, train};
    use super::*;

    const HERON: u32 = 0;

    /// Heron is driven, stands in the third of five sections and points to the fourth. Something unknown comes into the second.
    fn something_came() -> Scene {
        let mut scene = Scene::new(&["a", "b", "c", "d", "e"], &["Heron"]);
        scene.place(HERON, &[2]);
        scene.drive(HERON, 0);
        for at in [0, 1] {
            scene.hear(30_000, at, true);
        }
        assert_eq!(scene.tag(1), Tag::Unexplained);
        scene
    }

    /// Heron runs on into `d` as it was told.
    fn runs_on(scene: &mut Scene) {
        scene.drive(HERON, 100);
        scene.identity.set_granted(scene.sections[3], Some(train(HERON)));
        scene.hear(30_000, 3, true);
    }

    #[test]
    fn a_train_that_leaves_where_something_unknown_may_have_come_in_is_in_doubt_and_somebody_is_asked() {
        for is_gone in [false, true] {
            let mut scene = something_came();
            if is_gone {
                scene.hear(30_000, 1, false);
            }
            assert_eq!(scene.tag(2), Tag::Sure(train(HERON)), "wherever the other is, it is there");
            runs_on(&mut scene);
            assert_eq!(scene.tag(2), doubted(HERON), "its rear, or the other");
            assert!(scene.identity.open_doubts().any(|(_, matter)| matter.trains[..] == [train(HERON)]));
        }
    }

    #[test]
    fn who_says_where_all_of_the_train_stands_settles_it() {
        let mut scene = something_came();
        runs_on(&mut scene);
        scene.place(HERON, &[2, 3]);
        assert_eq!((scene.tag(2), scene.tag(3)), (Tag::Sure(train(HERON)), Tag::Sure(train(HERON))));
    }

    #[test]
    fn what_came_in_after_the_section_had_emptied_is_heard() {
        let mut scene = something_came();
        runs_on(&mut scene);
        scene.hear(30_000, 2, false);
        scene.place(HERON, &[3]);
        scene.hear(30_000, 2, true);
        assert_eq!(scene.tag(2), Tag::Unexplained);
        assert_eq!(scene.tag(3), Tag::Sure(train(HERON)));
    }
}
