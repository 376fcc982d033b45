//! Trains that seem to be longer than they are: a coupling has parted, or a detector goes on saying occupied.

use std::time::Duration;

use smallvec::SmallVec;
use track::{Length, SectionId, TrainId};

use super::Identity;
use super::account::{Account, Stand, Who, put};
use super::moves::Scene;
use super::odometer::{MEASURED_WITHIN, detectable_length};
use super::picture::Hold;
use super::search::settle;
use super::topology::length_towards;

/// Couplings give so much, and the first axle to be seen is reckoned within so much.
const SLACK: Length = Length::from_mm(40);

/// A report that a section has emptied takes no longer than this, beside what its detector is said to take. Common practice, no
/// source.
const UNTOLD: Duration = Duration::from_secs(3);

/// What was taken off the tails of trains.
#[derive(Debug, Default, serde::Serialize, serde::Deserialize)]
pub(super) struct Stretched {
    rows: SmallVec<[(TrainId, SectionId); 2]>,
    /// Trains that may have lost their tail, until they are taken off: nobody knows which vehicle is their last.
    parted: SmallVec<[TrainId; 2]>,
}

impl Stretched {
    pub fn clear(&mut self) {
        self.rows.clear();
    }

    /// How much is noted by now.
    fn noted(&self) -> (usize, usize) {
        (self.rows.len(), self.parted.len())
    }

    /// What was noted since does not count.
    fn forget_since(&mut self, (rows, parted): (usize, usize)) {
        self.rows.truncate(rows);
        self.parted.truncate(parted);
    }

    /// These trains were taken off: whoever puts them down again sees what they are made of.
    pub fn forget(&mut self, lifted: &[TrainId]) {
        self.parted.retain(|train| !lifted.contains(train));
    }
}

impl Scene<'_> {
    /// Whether what a train covered some time ago, from its nose back to the second of its sections, is already longer than it is
    /// from its first to its last axle that a detector sees: then what is seen in the first of them is no part of it, or not any
    /// more. That it left would have been told by now.
    pub fn is_stretched(&self, stand: &Stand) -> bool {
        if stand.holds.len() < 3 {
            return false;
        }
        let Some((seen, _, _)) = detectable_length(self.roster, stand.who) else { return false };
        let told = super::position::delays(self.layout, stand.tail().section).1 + UNTOLD;
        let mut covered = Length::ZERO;
        let mut filled = self.filled_at[stand.tail().section];
        for pair in stand.holds[1..].windows(2) {
            let (between, beyond) = (&pair[0], &pair[1]);
            // Nobody heard when it came into a dark one.
            if !self.topology.is_dark(between.section) {
                filled = filled.max(self.filled_at[between.section]);
            }
            let Some(length) =
                beyond.enter.and_then(|entry| length_towards(self.layout, self.topology, between, entry))
            else {
                return false;
            };
            covered += length - MEASURED_WITHIN;
            // When it came there it was in all of these already, if none filled again since. Of one that fills just now it is only
            // known when it filled before, by whatever that was.
            let at = self.filled_at[beyond.section];
            let is_heard = !self.topology.is_dark(beyond.section) && self.reported[beyond.section] == Some(true);
            let is_told = is_heard && at >= filled && at + told <= self.now;
            if is_told && covered > seen + SLACK {
                return true;
            }
        }
        false
    }
}

impl Identity {
    /// Takes off the tails of trains in `self.results` what cannot belong to them: something unknown stands there from now on.
    pub(super) fn take_off_what_is_too_long(&mut self, now: crate::Time) {
        let scene = self.scene(now);
        if !self.results.iter().flat_map(|account| &account.stands).any(|stand| scene.is_stretched(stand)) {
            return;
        }
        let mut results = std::mem::take(&mut self.results);
        let total: f64 = results.iter().map(|account| account.weight).sum();
        for account in &mut results {
            let noted = self.stretched.noted();
            self.shorten(account, now);
            if account.weight < self.prices.sure * total {
                // Too unlikely to be told, or to count against a train from now on.
                self.stretched.forget_since(noted);
            }
        }
        settle(&mut results, 0.0);
        self.results = results;
    }

    fn shorten(&mut self, account: &mut Account, now: crate::Time) {
        for place in 0..account.stands.len() {
            while self.scene(now).is_stretched(&account.stands[place]) {
                let who = account.stands[place].who;
                let tail = account.stands[place].holds.remove(0);
                let Some(train) = who.known() else { continue };
                if !self.stretched.rows.contains(&(train, tail.section)) {
                    self.stretched.rows.push((train, tail.section));
                }
                if !self.stretched.parted.contains(&train) {
                    self.stretched.parted.push(train);
                }
                if tail.seen && account.stands.iter().all(|stand| !stand.sees(tail.section)) {
                    // Named after the section, so that all accounts speak of the same thing.
                    let left_behind = Who::left_in(tail.section);
                    put(&mut account.stands, Stand::new(left_behind, Hold { enter: None, ..tail }));
                }
            }
        }
    }

    /// What no detector sees of a train at one of its ends, where so much is blind there while it is whole: of one that may have
    /// lost some of its vehicles as much as may lie between any two that are seen.
    pub(super) fn blind_end(&self, who: Who, whole: Length) -> Length {
        let parted = who.known().filter(|train| self.stretched.parted.contains(train));
        let gap = parted.and_then(|train| self.roster.measure(train)).map(|measure| measure.blind_gap);
        whole.max(gap.unwrap_or(Length::ZERO))
    }

    /// Trains that turned out to reach too far back in the last [`Identity::observe`], each with the section in which something
    /// is left.
    pub fn stretched(&self) -> &[(TrainId, SectionId)] {
        &self.stretched.rows
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use track::{Builder, Id, Layout, Scale, Train, Vehicle};

    use super::super::{Batch, Placement};
    use super::*;
    use crate::Time;
    use crate::door::Tag;
    use crate::model;

    /// Five sections of half a metre in a row, and a train of 300 mm in the first.
    fn line() -> (Arc<Layout>, Vec<SectionId>, Identity) {
        let mut builder = Builder::new("line", Scale::named("H0").unwrap());
        let sections = model::row(&mut builder, &["a", "b", "c", "d", "e"], 500);
        let whole = Some((Length::from_mm(20), Length::from_mm(130)));
        let wagon =
            || Vehicle { name: String::new(), length: Length::from_mm(150), detectable: whole, axles: Vec::new() };
        builder.train(Train { vehicles: vec![wagon(), wagon()], ..Train::stranger("Heron") });
        let layout = Arc::new(builder.build());
        let mut identity = Identity::new(Arc::clone(&layout));
        let nose = Some(layout.sections[sections[0]].ends[1]);
        let placed = Placement::new(&layout, TrainId::from_index(0), &[sections[0]], nose).unwrap();
        identity.observe(Time::ZERO, &Batch { placed: vec![placed], ..Batch::default() });
        (layout, sections, identity)
    }

    fn edge(identity: &mut Identity, seconds: i64, section: SectionId, filled: bool) {
        let batch = Batch { edges: vec![(section, filled)], ..Batch::default() };
        identity.observe(Time::from_millis(1000 * seconds), &batch);
    }

    #[test]
    fn what_stays_behind_a_train_that_would_be_too_long_for_it_is_something_else() {
        let (_, sections, mut identity) = line();
        let heron = TrainId::from_index(0);
        edge(&mut identity, 5, sections[1], true);
        assert_eq!(identity.tag(sections[0]), Tag::Sure(heron));
        edge(&mut identity, 6, sections[2], true);
        assert_eq!(identity.tag(sections[0]), Tag::Sure(heron), "that it left may not have been told yet");
        edge(&mut identity, 10, sections[3], true);
        assert_eq!(identity.stretched(), [(heron, sections[0])]);
        assert_eq!(identity.tag(sections[0]), Tag::Unexplained);
        assert_eq!((identity.tag(sections[2]), identity.tag(sections[3])), (Tag::Sure(heron), Tag::Sure(heron)));
        edge(&mut identity, 16, sections[1], false);
        edge(&mut identity, 17, sections[2], false);
        assert_eq!(identity.tag(sections[3]), Tag::Sure(heron));
        edge(&mut identity, 60, sections[0], false);
        assert_eq!(identity.tag(sections[0]), Tag::Free);
    }

    /// A stand of the train over the first sections, tail first.
    fn stand(layout: &Layout, sections: &[SectionId]) -> Stand {
        let hold = |&section: &SectionId| Hold { section, enter: Some(layout.sections[section].ends[0]), seen: true };
        let mut stand = Stand::new(Who::train(TrainId::from_index(0)), hold(&sections[0]));
        stand.holds.extend(sections[1..].iter().map(hold));
        stand
    }

    #[test]
    fn where_a_train_was_before_its_tail_came_in_proves_it_no_longer_than_it_is() {
        let (layout, sections, mut identity) = line();
        edge(&mut identity, 5, sections[1], true);
        edge(&mut identity, 6, sections[0], false);
        edge(&mut identity, 10, sections[2], true);
        edge(&mut identity, 15, sections[2], false);
        edge(&mut identity, 20, sections[0], true);
        // It turns once more, and comes into the third section before the first one says that it left.
        let there = stand(&layout, &sections[..3]);
        assert!(!identity.scene(Time::from_millis(30_000)).is_stretched(&there));
    }

    #[test]
    fn a_section_that_fills_just_now_and_was_filled_by_another_train_before_proves_nothing() {
        let (layout, sections, mut identity) = line();
        edge(&mut identity, 5, sections[1], true);
        edge(&mut identity, 20, sections[2], true);
        edge(&mut identity, 25, sections[2], false);
        let there = stand(&layout, &sections[..3]);
        assert!(!identity.scene(Time::from_millis(42_000)).is_stretched(&there), "that it left is told in a moment");
        edge(&mut identity, 42, sections[2], true);
        assert!(identity.scene(Time::from_millis(46_000)).is_stretched(&there));
    }

    #[test]
    fn a_train_that_turned_and_left_its_tail_where_it_turned_is_too_long() {
        let (layout, sections, mut identity) = line();
        edge(&mut identity, 5, sections[1], true);
        edge(&mut identity, 6, sections[0], false);
        edge(&mut identity, 10, sections[2], true);
        edge(&mut identity, 12, sections[0], true);
        // From the first section back to the third: the second filled before either.
        edge(&mut identity, 20, sections[3], true);
        let there = stand(&layout, &sections[..4]);
        assert!(!identity.scene(Time::from_millis(21_000)).is_stretched(&there), "it may not have been told yet");
        assert!(identity.scene(Time::from_millis(25_000)).is_stretched(&there));
    }

    #[test]
    fn a_train_that_covers_as_much_as_it_is_long_is_whole() {
        let (_, sections, mut identity) = line();
        edge(&mut identity, 5, sections[1], true);
        edge(&mut identity, 6, sections[0], false);
        edge(&mut identity, 10, sections[2], true);
        assert_eq!(identity.stretched(), []);
        assert_eq!(identity.tag(sections[1]), Tag::Sure(TrainId::from_index(0)));
    }
}
