//! Trains near which something strange happened.
//!
//! Where what was heard can only be explained by a hand, by something unknown, or by a train that does otherwise than it is told,
//! the reckoning of what is how likely ends: hands do one such thing after another, and each of them would have to be paid for.
//! So whatever the accounts say, no section is said for sure to hold a train that was near, until it is named by a reading or a
//! person, or does a few times what it is told. Two things that happen to one train soon after each other, and are only unusual each,
//! are taken together. Where people drive every train, none is told anything: there the accounts are all there is.

use std::time::Duration;

use smallvec::SmallVec;
use track::{Length, SectionId, TrainId};

use super::account::Who;
use super::picture::Hold;
use super::search::Line;
use super::{Identity, LATEST};
use crate::time::Time;

/// Less likely than this is strange, where more than one thing may have done it. Common practice, no source.
const STRANGE: f64 = 5e-3;

/// The same where there is only one train near: what its wheels and detectors get wrong by themselves is no reason to mistake it.
const STRANGE_ALONE: f64 = 1e-4;

/// What is less likely than this counts together with what else happened to the same train just before.
const UNUSUAL: f64 = 0.1;

/// So long after one unusual thing another one that happens to the same train has to do with it. Common practice, no source.
const SOON_AFTER: Duration = Duration::from_secs(20);

/// What is as likely as this is in the ordinary course of things.
const ORDINARY: f64 = 0.3;

/// So often a train must do what it is told, and be heard where it should be, until it is said for sure to be anywhere again.
const TIMES: u8 = 3;

/// So long after a train was taken off it may be put down anywhere. Common practice, no source.
const IN_SOMEBODYS_HANDS: Duration = Duration::from_secs(300);

/// What fills again so long after it emptied under a train that stands did not lose contact for a moment. Common practice, no source.
const LONG: Duration = Duration::from_secs(30);

/// A train near which something strange happened.
#[derive(Clone, Copy, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Strange {
    pub train: TrainId,
    /// When the first of what is strange happened.
    since: Time,
    /// How often it did as it was told since the last of it.
    times: u8,
    /// The other one, where nothing else is strange than that the two may have been taken for each other.
    other: Option<TrainId>,
}

/// What happened to a train that is unusual.
#[derive(Clone, Copy, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Unusual {
    train: TrainId,
    at: Time,
    likelihood: f64,
}

impl Identity {
    /// Takes note of how likely what was heard was, with `self.joint` before it and `self.results` after.
    pub(super) fn note_strange(&mut self, lines: &[Line], likelihood: f64) {
        if likelihood < UNUSUAL && self.odometers.is_any_driven() {
            let mut near: Vec<Who> = Vec::new();
            for account in self.joint.iter().filter(|account| account.weight >= self.prices.sure) {
                near.extend(account.stands.iter().map(|stand| stand.who));
            }
            near.sort_unstable();
            near.dedup();
            let strange = if near.len() > 1 { STRANGE } else { STRANGE_ALONE };
            let now = self.heard_at;
            self.unusual.retain(|it| now.since(it.at) <= SOON_AFTER);
            for train in near.into_iter().filter_map(Who::known) {
                self.unusual.push(Unusual { train, at: now, likelihood });
                let together = self.unusual.iter().filter(|it| it.train == train).map(|it| it.likelihood);
                if together.product::<f64>() < strange {
                    self.is_strange_from_now_on(train);
                }
            }
        } else if likelihood > ORDINARY && !self.strange.is_empty() {
            for (train, nose) in self.came_in(lines, 1.0 - self.prices.sure) {
                self.count_if_told(train, nose);
            }
        }
    }

    /// Takes note of trains that were told to stand, stood, and came in somewhere all the same, or were lost from sight for long and are
    /// seen there again: a hand moved them, or it is another train that came.
    pub(super) fn note_moved_unbidden(&mut self, lines: &[Line]) {
        let now = self.heard_at;
        for (train, nose) in self.came_in(lines, self.prices.sure) {
            let was_there = self.joint.iter().filter(|account| account.weight >= self.prices.sure).any(|account| {
                account.stands.iter().any(|stand| stand.who == Who::train(train) && stand.position(nose).is_some())
            });
            let is_placed = lines.iter().any(|line| line.section == nose && !line.placed.is_empty());
            let is_strange = !was_there || now.since(self.emptied_at[nose]) > LONG;
            if is_strange && !is_placed && self.odometers.has_stood(Who::train(train), now, LATEST) {
                self.is_strange_from_now_on(train);
            }
        }
    }

    /// Takes note of trains that are taken off.
    pub(super) fn note_taken_off(&mut self, lifted: &[TrainId]) {
        let now = self.heard_at;
        self.taken_off.extend(lifted.iter().map(|&train| (now, train)));
    }

    /// When a person moves a train that they drive nobody knows. What came in beside it may be one that was taken off a moment ago and
    /// put down again, or one that the signaller drives and that ran on.
    pub(super) fn note_beside_one_in_hand(&mut self, lines: &[Line]) {
        let now = self.heard_at;
        let clusters = &self.clusters;
        self.taken_off.retain(|&(at, train)| now.since(at) <= IN_SOMEBODYS_HANDS && clusters.home(train).is_none());
        for (train, section) in self.came_in(lines, self.prices.sure) {
            if !self.odometers.is_in_hand(Who::train(train)) {
                continue;
            }
            if !self.taken_off.is_empty() {
                self.is_strange_from_now_on(train);
            }
            for other in self.may_have_come_into(section) {
                if other != train {
                    self.are_strange_from_now_on(train, other);
                }
            }
        }
    }

    /// The trains beside the section that the signaller drives and that moved a moment ago, or that are strange.
    fn may_have_come_into(&self, section: SectionId) -> SmallVec<[TrainId; 2]> {
        let beside: SmallVec<[SectionId; 4]> = self.topology.beside(section).collect();
        let elsewhere = beside.iter().flat_map(|&it| self.stands_that_count(it));
        let stands = self.results.iter().flat_map(|account| &account.stands).chain(elsewhere);
        let near = stands.filter(|stand| stand.holds.iter().any(|hold| beside.contains(&hold.section)));
        let moved = |who: Who| {
            let lately = self.odometers.lately(who, self.heard_at, LATEST);
            self.odometers.is_driven(who) && (lately > Length::ZERO || self.odometers.has_moved(who, self.heard_at))
        };
        let may = |train: &TrainId| self.is_strange(*train) || moved(Who::train(*train));
        let mut trains: SmallVec<[TrainId; 2]> = near.filter_map(|stand| stand.who.known()).filter(may).collect();
        trains.sort_unstable();
        trains.dedup();
        trains
    }

    /// The trains that came into a section that one of the lines says has filled, each with that section, by an account that weighs
    /// more than that.
    fn came_in(&self, lines: &[Line], weight: f64) -> SmallVec<[(TrainId, SectionId); 2]> {
        let accounts = self.results.iter().filter(|account| account.weight > weight);
        let has_filled =
            |nose: SectionId| lines.iter().any(|line| line.section == nose && line.values.last() == Some(&true));
        let noses = accounts.flat_map(|account| &account.stands).filter_map(|stand| {
            let nose = stand.nose().section;
            stand.who.known().filter(|_| has_filled(nose)).map(|train| (train, nose))
        });
        let mut trains: SmallVec<[(TrainId, SectionId); 2]> = noses.collect();
        trains.sort_unstable();
        trains.dedup();
        trains
    }

    /// Something strange happened near the train.
    pub(super) fn is_strange_from_now_on(&mut self, train: TrainId) {
        self.note_strangeness(train, None);
    }

    fn note_strangeness(&mut self, train: TrainId, other: Option<TrainId>) {
        let since = self.strange.iter().find(|it| it.train == train).map_or(self.heard_at, |it| it.since);
        self.strange.retain(|it| it.train != train);
        self.strange.push(Strange { train, since, times: 0, other });
    }

    /// Two trains may have been taken for each other.
    pub(super) fn are_strange_from_now_on(&mut self, one: TrainId, other: TrainId) {
        for (train, other) in [(one, other), (other, one)] {
            let other = if self.is_strange(train) { None } else { Some(other) };
            self.note_strangeness(train, other);
        }
    }

    /// The train was heard in a section: if it was told to go there, it has once more done as it was told.
    fn count_if_told(&mut self, train: TrainId, nose: SectionId) {
        let who = Who::train(train);
        let is_told = match self.odometers.is_driven(who) {
            true => {
                self.granted[nose] == Some(train) && self.odometers.lately(who, self.heard_at, LATEST) > Length::ZERO
            }
            // Where people drive, nobody says what a train is told: there it must do what trains do.
            false => !self.odometers.is_in_hand(who),
        };
        if let Some(strange) = self.strange.iter_mut().find(|it| it.train == train && is_told) {
            strange.times += 1;
            if strange.times >= TIMES {
                self.is_known_again(train);
            }
        }
    }

    /// A roll call has told that the train is in the section: from the next instant on it is known again.
    pub(crate) fn note_answer(&mut self, train: TrainId, section: SectionId) {
        self.answered.push((train, section));
    }

    /// Hears the answers to roll calls. It is no answer that something came into the section which is rather something unknown.
    pub(super) fn hear_answers(&mut self) {
        while let Some((train, section)) = self.answered.pop() {
            if self.weight_there(section, train) > 0.5 {
                self.is_shown_in(section, train);
            }
        }
    }

    /// The train was read in the section, or has answered there: if something strange happened near it, nothing shows that what is
    /// farther away belongs to it.
    pub(super) fn is_shown_in(&mut self, section: SectionId, train: TrainId) {
        let may_be_another =
            || self.may_lie_far_from(section, train) || self.may_lie_where_another_does(section, train);
        if !self.is_strange(train) || !may_be_another() {
            self.is_named(train);
        }
    }

    /// The train was read in the section, where nobody had thought it to be: what else was thought of who is there may be of another.
    pub(super) fn is_found_in(&mut self, section: SectionId, train: TrainId) {
        let is_elsewhere = |hold: &Hold| hold.seen && hold.section != section;
        match self.may_lie(train, section, 0.5, is_elsewhere) || self.may_lie_far_from(section, train) {
            true => self.is_strange_from_now_on(train),
            false => self.is_named(train),
        }
    }

    /// Whether the train is said to cover more than the section and those beside it: it may be that another is taken for its rest.
    fn may_lie_far_from(&self, section: SectionId, train: TrainId) -> bool {
        let beside: SmallVec<[SectionId; 4]> = self.topology.beside(section).collect();
        let is_far = |hold: &Hold| hold.section != section && !beside.contains(&hold.section);
        self.may_lie(train, section, self.prices.sure, is_far)
    }

    /// Whether the train is said to cover more than the section, and another near which something strange happened may lie there or beside
    /// it: its rest may be that one's.
    fn may_lie_where_another_does(&self, section: SectionId, train: TrainId) -> bool {
        let another_lies = |hold: &Hold| {
            let near = self.topology.beside(hold.section).chain([hold.section]);
            hold.section != section
                && near.flat_map(|it| self.holders(it)).any(|other| other != train && self.is_strange(other))
        };
        self.may_lie(train, section, self.prices.sure, another_lies)
    }

    /// Whether an account that weighs so much has the train both in the section and over something of that kind.
    fn may_lie(&self, train: TrainId, section: SectionId, weight: f64, over: impl Fn(&Hold) -> bool) -> bool {
        let counts = self.accounts_at(section).flatten().filter(|account| account.weight >= weight);
        let mut stands = counts.flat_map(|account| &account.stands).filter(|stand| stand.who == Who::train(train));
        stands.any(|stand| stand.sees(section) && stand.holds.iter().any(&over))
    }

    /// The train was named, and so that one is known again, too, with which alone it may have been exchanged.
    pub(super) fn is_named(&mut self, train: TrainId) {
        let others = self.strange.iter().filter(|it| it.other == Some(train)).map(|it| it.train);
        let known: SmallVec<[TrainId; 2]> = others.chain([train]).collect();
        for train in known {
            self.is_known_again(train);
        }
    }

    /// The train was named, or has confirmed by what it did that it is where it is said to be.
    fn is_known_again(&mut self, train: TrainId) {
        if self.is_strange(train) {
            self.strange.retain(|it| it.train != train);
            self.look_at_doubts_of(train);
        }
    }

    /// Its accounts are made anew, so that its doubts are looked at.
    pub(super) fn look_at_doubts_of(&mut self, train: TrainId) {
        if let Some(home) = self.clusters.home(train) {
            self.change(home, |_| {});
        }
    }

    /// Whether the section has filled since something strange happened near the train: whatever that is may be another.
    pub(crate) fn may_be_another(&self, train: TrainId, section: SectionId) -> bool {
        let strange = self.strange.iter().find(|it| it.train == train);
        strange.is_some_and(|strange| self.filled_at[section] >= strange.since)
    }

    /// Whether something strange happened near the train since it was known for sure.
    pub(crate) fn is_strange(&self, train: TrainId) -> bool {
        self.strange.iter().any(|it| it.train == train)
    }
}

#[cfg(test)]
mod tests {
    use super::super::scene::{Scene, doubted, train};
    use super::super::{Batch, Placement, clusters};
    use crate::door::Tag;

    const HERON: u32 = 0;
    const PLOVER: u32 = 1;
    /// What is heard is heard so many milliseconds later.
    const LATER: i64 = 2_000;

    /// Eight sections in a row. Heron stands in the second and points to the third; Plover stands in the first behind it. The
    /// signaller drives both.
    fn two_trains() -> Scene {
        let mut scene = Scene::new(&["a", "b", "c", "d", "e", "f", "g", "h"], &["Heron", "Plover"]);
        scene.place(HERON, &[1]);
        scene.place(PLOVER, &[0]);
        for number in [HERON, PLOVER] {
            scene.drive(number, 0);
        }
        scene.observe(60_000, &Batch::default());
        scene
    }

    /// Heron runs on by one section, as it was told.
    fn runs_to(scene: &mut Scene, at: usize) {
        scene.identity.set_granted(scene.sections[at], Some(train(HERON)));
        scene.hear(LATER, at, true);
        scene.hear(LATER, at - 1, false);
    }

    /// Heron is told to stand, and the section before it fills: somebody pushed it, or something is there.
    fn heron_was_pushed() -> Scene {
        let mut scene = two_trains();
        assert_eq!((scene.tag(0), scene.tag(1)), (Tag::Sure(train(PLOVER)), Tag::Sure(train(HERON))));
        scene.hear(LATER, 2, true);
        scene.hear(LATER, 1, false);
        assert!(!matches!(scene.tag(2), Tag::Sure(_)), "{:?}", scene.tag(2));
        scene
    }

    #[test]
    fn a_train_that_moved_by_a_hand_is_not_sure_until_it_did_three_times_what_it_was_told() {
        let mut scene = heron_was_pushed();
        scene.observe(60_000, &Batch::default());
        scene.place(HERON, &[2]);
        assert_eq!(scene.tag(2), Tag::Sure(train(HERON)), "a person named it");
        scene.identity.is_strange_from_now_on(train(HERON));
        scene.drive(HERON, 100);
        for at in [3, 4] {
            runs_to(&mut scene, at);
            assert_eq!(scene.tag(at), doubted(HERON), "section {at}");
        }
        runs_to(&mut scene, 5);
        assert_eq!(scene.tag(5), Tag::Sure(train(HERON)));
    }

    #[test]
    fn what_a_train_does_that_it_was_not_told_confirms_nothing() {
        let mut scene = two_trains();
        scene.identity.is_strange_from_now_on(train(HERON));
        scene.drive(HERON, 100);
        for at in 2..7 {
            scene.hear(LATER, at, true);
            scene.hear(LATER, at - 1, false);
            assert!(!matches!(scene.tag(at), Tag::Sure(_)), "section {at}: {:?}", scene.tag(at));
        }
    }

    #[test]
    fn a_train_put_down_in_the_moment_in_which_its_section_fills_is_named() {
        let mut scene = two_trains();
        scene.identity.is_strange_from_now_on(train(HERON));
        let on = scene.sections[5];
        let placed = vec![Placement::new(&scene.layout, train(HERON), &[on], None).unwrap()];
        scene.observe(1_000, &Batch { placed, edges: vec![(on, true)], ..Batch::default() });
        assert_eq!(scene.tag(5), Tag::Sure(train(HERON)));
    }

    #[test]
    fn what_is_strange_is_a_doubt_that_says_so() {
        let mut scene = two_trains();
        scene.identity.is_strange_from_now_on(train(HERON));
        scene.place(PLOVER, &[0]);
        let doubts: Vec<_> = scene.identity.open_doubts().map(|(_, matter)| matter.clone()).collect();
        assert_eq!(doubts.len(), 1);
        assert!(doubts[0].is_strange && doubts[0].trains[..] == [train(HERON)]);
        assert_eq!(doubts[0].sections, [scene.sections[1]]);
        scene.observe(1_000, &Batch { named: vec![(scene.sections[1], train(HERON))], ..Batch::default() });
        assert_eq!(scene.identity.open_doubts().count(), 0);
        assert_eq!(scene.tag(1), Tag::Sure(train(HERON)));
    }

    #[test]
    fn two_unusual_things_soon_after_each_other_are_strange_where_one_is_not() {
        for (later, is_strange) in [(5_000, true), (60_000, false)] {
            let mut scene = two_trains();
            let hears_something_unusual = |scene: &mut Scene| {
                let homes = [HERON, PLOVER].map(|number| scene.identity.clusters.home(train(number)).unwrap());
                scene.identity.joint = clusters::product(
                    &scene.identity.clusters.cluster(homes[0]).accounts.clone(),
                    &scene.identity.clusters.cluster(homes[1]).accounts.clone(),
                );
                scene.identity.note_strange(&[], 0.02);
            };
            hears_something_unusual(&mut scene);
            assert!(!scene.identity.is_strange(train(HERON)));
            scene.observe(later, &Batch::default());
            hears_something_unusual(&mut scene);
            assert_eq!(scene.identity.is_strange(train(HERON)), is_strange, "{later} ms later");
        }
    }

    #[test]
    fn naming_a_train_settles_what_it_was_exchanged_with_and_nothing_else() {
        let mut scene = two_trains();
        scene.identity.are_strange_from_now_on(train(HERON), train(PLOVER));
        scene.place(HERON, &[1]);
        assert!(!scene.identity.is_strange(train(HERON)) && !scene.identity.is_strange(train(PLOVER)));
        scene.identity.are_strange_from_now_on(train(HERON), train(PLOVER));
        scene.identity.is_strange_from_now_on(train(PLOVER));
        scene.place(HERON, &[1]);
        assert!(!scene.identity.is_strange(train(HERON)) && scene.identity.is_strange(train(PLOVER)));
    }

    #[test]
    fn a_strange_train_that_may_lie_far_from_where_it_is_read_stays_strange() {
        let mut scene = two_trains();
        scene.place(HERON, &[1, 2, 3]);
        scene.identity.is_strange_from_now_on(train(HERON));
        let read = vec![(scene.sections[3], train(HERON))];
        scene.observe(1_000, &Batch { read, ..Batch::default() });
        assert!(scene.identity.is_strange(train(HERON)));
    }

    #[test]
    fn who_is_read_where_another_is_said_to_be_for_sure_may_be_there() {
        let mut scene = two_trains();
        assert_eq!(scene.tag(1), Tag::Sure(train(HERON)));
        let read = vec![(scene.sections[1], train(PLOVER))];
        scene.observe(1_000, &Batch { read, ..Batch::default() });
        assert_eq!((scene.tag(0), scene.tag(1)), (doubted(PLOVER), doubted(HERON)));
    }

    #[test]
    fn what_comes_in_beside_a_train_in_hand_may_be_one_that_was_taken_off_a_moment_ago() {
        for (taken_off, minutes, is_known) in [(true, 1, false), (true, 10, true), (false, 1, true)] {
            let mut scene = two_trains();
            scene.take_over(HERON);
            if taken_off {
                scene.observe(1_000, &Batch { lifted: vec![train(PLOVER)], ..Batch::default() });
            }
            scene.hear(minutes * 60_000, 2, true);
            let expected = if is_known { Tag::Sure(train(HERON)) } else { doubted(HERON) };
            assert_eq!(scene.tag(2), expected, "{taken_off} {minutes} min");
        }
    }

    #[test]
    fn what_comes_in_between_a_train_in_hand_and_one_that_runs_may_be_either() {
        for (plover_runs, is_known) in [(true, false), (false, true)] {
            let mut scene = two_trains();
            scene.take_over(HERON);
            scene.place(PLOVER, &[3]);
            scene.drive(PLOVER, if plover_runs { 50 } else { 0 });
            scene.observe(500, &Batch::default());
            scene.hear(60_000, 2, true);
            let expected = if is_known { Tag::Sure(train(HERON)) } else { doubted(HERON) };
            assert_eq!(scene.tag(2), expected, "{plover_runs}");
        }
    }

    #[test]
    fn what_fills_a_section_after_something_strange_may_be_another_train() {
        let mut scene = two_trains();
        scene.identity.is_strange_from_now_on(train(HERON));
        assert!(!scene.identity.may_be_another(train(HERON), scene.sections[1]), "it was there before");
        scene.hear(LATER, 2, true);
        assert!(scene.identity.may_be_another(train(HERON), scene.sections[2]));
        scene.place(HERON, &[2]);
        assert!(!scene.identity.may_be_another(train(HERON), scene.sections[2]));
    }

    #[test]
    fn a_train_that_was_told_to_stand_and_comes_in_somewhere_is_strange() {
        for (speed, is_strange) in [(0, true), (50, false)] {
            let mut scene = Scene::new(&["a", "b", "c"], &["Heron"]);
            scene.place(HERON, &[0]);
            scene.drive(HERON, speed);
            scene.hear(60_000, 1, true);
            assert_eq!(scene.identity.is_strange(train(HERON)), is_strange, "{speed} mm/s");
            assert_eq!(scene.tag(1), if is_strange { doubted(HERON) } else { Tag::Sure(train(HERON)) });
        }
    }

    #[test]
    fn a_train_that_stands_and_is_seen_again_after_long_is_strange() {
        for (seconds, is_strange) in [(40, true), (5, false)] {
            let mut scene = Scene::new(&["a", "b", "c"], &["Heron"]);
            scene.place(HERON, &[1]);
            scene.drive(HERON, 0);
            scene.hear(60_000, 1, false);
            scene.hear(seconds * 1_000, 1, true);
            assert_eq!(scene.identity.is_strange(train(HERON)), is_strange, "after {seconds} s");
        }
    }

    #[test]
    fn a_strange_train_is_not_known_by_an_answer_while_its_rest_may_be_another_that_is_strange() {
        for (plover_is_strange, is_known) in [(true, false), (false, true)] {
            let mut scene = two_trains();
            scene.place(HERON, &[1, 2]);
            scene.identity.is_strange_from_now_on(train(HERON));
            if plover_is_strange {
                scene.identity.is_strange_from_now_on(train(PLOVER));
            }
            let answered_in = scene.sections[2];
            scene.identity.note_answer(train(HERON), answered_in);
            scene.observe(1_000, &Batch::default());
            assert_eq!(scene.identity.is_strange(train(HERON)), !is_known, "{plover_is_strange}");
        }
    }
}
