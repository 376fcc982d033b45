//! What may be in a section beside the train that is said to be there.
//!
//! A section that is filled already tells nothing of what else comes in. Where a train was lost from sight beside it, or does not
//! answer there, or something unknown appeared or vanished there, its staying filled does not show that the train is there still. What
//! is unknown counts only where trains are driven: elsewhere nobody is there to be asked.

use smallvec::SmallVec;
use track::{SectionId, TrainId};

use super::account::{Stand, Who};
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
            || self.lost_beside(section).iter().any(|&lost| lost != train)
            || self.may_hide_unknown(section, train)
    }

    /// The trains that were lost from sight with their noses beside the section.
    pub(super) fn lost_beside(&self, section: SectionId) -> SmallVec<[TrainId; 2]> {
        let mut lost = SmallVec::new();
        if self.clusters.lost == 0 {
            return lost;
        }
        for beside in self.topology.beside(section).filter(|&beside| !self.topology.is_dark(beside)) {
            let clusters = self.clusters.at(beside).iter().map(|&cluster| self.clusters.cluster(cluster));
            let accounts = clusters.flat_map(|it| &it.accounts).filter(|account| account.weight >= self.prices.sure);
            let is_it = |stand: &&Stand| {
                stand.nose().section == beside && stand.is_lost() && self.odometers.is_driven(stand.who)
            };
            lost.extend(accounts.flat_map(|account| &account.stands).filter(is_it).filter_map(|it| it.who.known()));
        }
        lost
    }

    /// Whether only one end of a train is there, and something unknown may be there, too: that the section stays filled does not show
    /// that this end has not left.
    pub(super) fn may_hide_unknown(&self, section: SectionId, train: TrainId) -> bool {
        let who = Who::train(train);
        let is_one_end = |stand: &Stand| {
            (stand.tail().section == section || stand.nose().section == section)
                && stand.holds.iter().any(|hold| hold.seen && hold.section != section)
        };
        let clusters = self.clusters.at(section).iter().flat_map(|&cluster| &self.clusters.cluster(cluster).accounts);
        let counts = clusters.filter(|account| account.weight >= self.prices.sure);
        self.tags.hides_unknown[section]
            && counts.flat_map(|account| &account.stands).any(|stand| stand.who == who && is_one_end(stand))
    }

    /// Whether the section was filled already when something unknown appeared or vanished beside it, which may have come in.
    pub(crate) fn hides_unknown(&self, section: SectionId) -> bool {
        self.tags.hides_unknown[section]
    }

    /// Something unknown that came into the section, or is gone from it, may have run into one beside it that was filled already.
    pub(super) fn note_unknown_beside(&mut self, section: SectionId) -> SmallVec<[SectionId; 8]> {
        let counts = |beside: &SectionId| self.reported[*beside] == Some(true) && self.odometers.is_any_driven();
        let filled: SmallVec<[SectionId; 8]> = self.topology.beside(section).filter(counts).collect();
        for &beside in &filled {
            self.tags.hides_unknown[beside] = true;
        }
        filled
    }

    /// What was unknown in the section is known to be a train there: it did not run on.
    pub(super) fn forget_unknown_beside(&mut self, section: SectionId) {
        for beside in self.topology.beside(section) {
            self.tags.is_told_of(beside);
        }
    }

    /// Whether what is unknown in the section was left behind there by a train, or is a detector that is held: that stays where it is.
    pub(super) fn was_left_behind(&self, section: SectionId) -> bool {
        let clusters = self.clusters.at(section).iter().flat_map(|&cluster| &self.clusters.cluster(cluster).accounts);
        clusters.flat_map(|account| &account.stands).any(|stand| stand.who.was_left() && stand.sees(section))
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
    use std::sync::Arc;

    use track::{Builder, Id, Layout, Scale, Speed, Train};

    use super::super::{Batch, Pace, Placement};
    use super::*;
    use crate::Time;

    struct Scene {
        layout: Arc<Layout>,
        sections: Vec<SectionId>,
        identity: Identity,
        now: i64,
    }

    impl Scene {
        /// Five sections in a row. Heron is driven, stands in the third and points to the fourth.
        fn new() -> Self {
            let mut builder = Builder::new("line", Scale::named("H0").unwrap());
            let sections: Vec<_> = ["a", "b", "c", "d", "e"].map(|name| builder.plain_section(name, None)).to_vec();
            for pair in sections.windows(2) {
                let (b, a) = (builder.layout().sections[pair[0]].ends[1], builder.layout().sections[pair[1]].ends[0]);
                builder.join(b, a);
            }
            builder.train(Train::stranger("Heron"));
            let layout = Arc::new(builder.build());
            let identity = Identity::new(Arc::clone(&layout));
            let mut scene = Self { layout, sections, identity, now: 0 };
            scene.place(&[2]);
            scene.drives(0);
            scene
        }

        fn place(&mut self, on: &[usize]) {
            let on: Vec<SectionId> = on.iter().map(|&at| self.sections[at]).collect();
            let nose = self.layout.sections[*on.last().unwrap()].ends[1];
            let placed = vec![Placement::new(&self.layout, heron(), &on, Some(nose)).unwrap()];
            self.observe(1, &Batch { placed, ..Batch::default() });
        }

        fn drives(&mut self, speed: i64) {
            let speed = Speed::from_mm(speed);
            self.identity.set_pace(heron(), Time::from_millis(self.now), Pace { least: speed, most: speed });
        }

        fn observe(&mut self, later: i64, batch: &Batch) {
            self.now += later;
            self.identity.observe(Time::from_millis(self.now), batch);
        }

        fn hear(&mut self, at: usize, filled: bool) {
            let edges = vec![(self.sections[at], filled)];
            self.observe(30_000, &Batch { edges, ..Batch::default() });
        }

        /// Something unknown comes into `b`, beside Heron.
        fn something_comes(&mut self) {
            self.hear(0, true);
            self.hear(1, true);
            assert_eq!(self.tag(1), Tag::Unexplained);
        }

        /// Heron runs on into `d` as it was told.
        fn runs_on(&mut self) {
            self.drives(100);
            self.identity.set_granted(self.sections[3], Some(heron()));
            self.hear(3, true);
        }

        fn tag(&self, at: usize) -> Tag {
            self.identity.tag(self.sections[at])
        }
    }

    fn heron() -> TrainId {
        TrainId::from_index(0)
    }

    fn doubted() -> Tag {
        Tag::Doubt(smallvec::smallvec![heron()])
    }

    #[test]
    fn a_train_that_leaves_where_something_unknown_may_have_come_in_is_in_doubt_and_somebody_is_asked() {
        for is_gone in [false, true] {
            let mut scene = Scene::new();
            scene.something_comes();
            if is_gone {
                scene.hear(1, false);
            }
            assert_eq!(scene.tag(2), Tag::Sure(heron()), "wherever the other is, it is there");
            scene.runs_on();
            assert_eq!(scene.tag(2), doubted(), "its rear, or the other");
            assert!(scene.identity.open_doubts().any(|(_, matter)| matter.trains[..] == [heron()]));
        }
    }

    #[test]
    fn who_says_where_all_of_the_train_stands_settles_it() {
        let mut scene = Scene::new();
        scene.something_comes();
        scene.runs_on();
        scene.place(&[2, 3]);
        assert_eq!((scene.tag(2), scene.tag(3)), (Tag::Sure(heron()), Tag::Sure(heron())));
    }

    #[test]
    fn what_came_in_after_the_section_had_emptied_is_heard() {
        let mut scene = Scene::new();
        scene.something_comes();
        scene.runs_on();
        scene.hear(2, false);
        scene.place(&[3]);
        scene.hear(2, true);
        assert_eq!(scene.tag(2), Tag::Unexplained);
        assert_eq!(scene.tag(3), Tag::Sure(heron()));
    }
}
