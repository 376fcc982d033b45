//! A person's word that a train is in a section, or that nothing is.
//!
//! A word is believed. Where some account has it so, those accounts are kept and nothing else changes. Where none has, what is
//! believed is wrong: the train is moved there and stands nowhere else, and whoever was believed to be there may be where the
//! named train was believed to be, or lost from sight; that is doubt until it shows itself.
//!
//! A reading may come before its section shows anything. Then it is weighed once more when the section does.

use std::time::Duration;

use smallvec::{SmallVec, smallvec};
use track::{SectionId, TrainId};

use super::account::{Account, Head, Stand, Stands, Who, drop, put};
use super::clusters::ClusterId;
use super::picture::Hold;
use super::place::BELIEVABLE;
use super::search::settle;
use super::{Evidence, Identity};
use crate::door::Tag;
use crate::time::Time;

/// A section shows a train no later than this after a reader read it there. Common practice, no source.
const READ_AHEAD: Duration = Duration::from_secs(2);

/// What becomes of an account that has another train where one is named, beside those that have nobody known there: it was wrong
/// of two trains.
const DISPLACED: f64 = 0.01;

impl Identity {
    /// A reader read the train in the section.
    pub(super) fn take_reading(&mut self, now: Time, section: SectionId, train: TrainId) {
        self.weigh_presence(section, Some(train));
        if !self.topology.is_dark(section) && self.clusters.home(train).is_some() {
            self.read_ahead.push((now, section, train));
        }
    }

    /// Looks whether sections show by now what was read there just now, or a moment ago.
    pub(super) fn take_readings_ahead(&mut self, now: Time) {
        self.read_ahead.retain(|&(at, ..)| now.since(at) <= READ_AHEAD);
        let mut place = 0;
        while let Some(&(_, section, train)) = self.read_ahead.get(place) {
            if self.reported[section] != Some(true) || !self.is_known(section) {
                place += 1;
                continue;
            }
            self.read_ahead.remove(place);
            let before = self.before(|| Evidence::Read(section, train));
            self.weigh_reading(now, section, train);
            self.note(now, before);
        }
    }

    /// The section shows the train that was read there, unless that was misread.
    fn weigh_reading(&mut self, now: Time, section: SectionId, train: TrainId) {
        if self.believes(section, train) {
            self.is_shown_in(section, train);
        }
        let Some(home) = self.clusters.home(train) else { return };
        let who = Who::train(train);
        let accounts = || self.clusters.cluster(home).accounts.iter();
        let fits: Vec<bool> = accounts().map(|account| self.has_there(account, who, section)).collect();
        let is_far =
            |account: &Account| account.stands.iter().all(|stand| stand.who != who || !self.is_next_to(stand, section));
        let is_another_there = || matches!(self.belief(section), Tag::Sure(other) if other != train);
        let fits_nowhere = fits.iter().all(|fits| !fits) && (accounts().all(is_far) || is_another_there());
        if self.odometers.is_any_driven() && fits_nowhere {
            return self.take_strange_reading(now, section, train);
        }
        self.weigh(home, &fits, self.prices.misread);
    }

    /// A train was read where no account can have it: if it is seen elsewhere, either it was misread or it was exchanged for another by
    /// hand, and nobody knows which; else it is there.
    fn take_strange_reading(&mut self, now: Time, section: SectionId, train: TrainId) {
        let mut clusters: SmallVec<[ClusterId; 4]> = self.clusters.at(section).iter().copied().collect();
        clusters.extend(self.clusters.home(train).filter(|home| !clusters.contains(home)));
        let stands = clusters.iter().flat_map(|&cluster| &self.clusters.cluster(cluster).accounts);
        let stands = stands.filter(|account| account.weight >= self.prices.sure).flat_map(|account| &account.stands);
        let concerned: Vec<&Stand> =
            stands.filter(|stand| stand.who == Who::train(train) || stand.position(section).is_some()).collect();
        if concerned.iter().any(|stand| stand.who == Who::train(train) && stand.is_seen()) {
            let mut trains: Vec<TrainId> = concerned.iter().filter_map(|stand| stand.who.known()).collect();
            trains.sort_unstable();
            trains.dedup();
            for train in trains {
                self.is_strange_from_now_on(train);
            }
            for &cluster in &clusters {
                // Made anew, so that its doubts are looked at.
                self.change(cluster, |_| {});
            }
        } else {
            self.move_there(now, section, train);
            self.is_found_in(section, train);
            self.anchor(train, now);
        }
    }

    /// Whether some account that is worth believing has the train in the section.
    pub(crate) fn believes(&self, section: SectionId, train: TrainId) -> bool {
        self.weight_there(section, train) >= BELIEVABLE
    }

    /// How much those accounts weigh together that have the train in the section.
    pub(super) fn weight_there(&self, section: SectionId, train: TrainId) -> f64 {
        let who = Who::train(train);
        let Some(home) = self.clusters.home(train) else { return 0.0 };
        let accounts = self.clusters.cluster(home).accounts.iter();
        accounts.filter(|it| self.has_there(it, who, section)).map(|account| account.weight).sum()
    }

    fn has_there(&self, account: &Account, who: Who, section: SectionId) -> bool {
        let dark = self.topology.is_dark(section);
        account.stands.iter().any(|stand| {
            stand.who == who && stand.holds.iter().any(|hold| hold.section == section && (hold.seen || dark))
        })
    }

    /// Takes a person's word that the train is in the section.
    pub(super) fn take_word(&mut self, now: Time, section: SectionId, train: TrainId) {
        if self.reported[section].is_none() && !self.topology.is_dark(section) {
            self.reported[section] = Some(true);
            self.filled_at[section] = now;
        }
        self.tags.is_told_of(section);
        if self.believes(section, train) {
            self.keep_those_with(section, train);
            self.keep_others_out(section, train);
        } else {
            // What it may cover beside that section, unseen, it may cover still.
            let beside = self.unseen_beside(section, train);
            self.move_there(now, section, train);
            self.note_hidden(train, &[], &beside);
        }
        self.anchor(train, now);
    }

    /// Takes a person's word that nothing stands in the section: whatever was believed to be there is not. A train of which an account
    /// knows no other place is nowhere in that account: it is not elsewhere only because it is not here. What the detector says is
    /// for nobody to ask about any more.
    pub(super) fn take_emptiness(&mut self, section: SectionId) {
        for cluster in self.clusters.at(section).to_vec() {
            self.change(cluster, |accounts| {
                for stands in accounts.iter_mut().map(|account| &mut account.stands) {
                    stands.retain(|stand| {
                        stand.forget_in(section);
                        !stand.holds.is_empty()
                    });
                }
            });
        }
        self.trails.forget_in(section);
        // Where no detector watches it, it is asked anew as soon as something may have come in.
        self.found_empty[section] = !self.topology.is_dark(section);
        self.tags.touch_section(section);
    }

    /// The train that is surely in the section, or is remembered there, so that it cannot be empty.
    pub(crate) fn must_hold(&self, section: SectionId) -> Option<TrainId> {
        match self.tag(section) {
            Tag::Sure(train) => Some(train),
            _ => self.memories.over(section).next(),
        }
    }

    /// The sections in which a train may lie unseen, by an account that counts, in one piece with this one.
    fn unseen_beside(&self, section: SectionId, train: TrainId) -> SmallVec<[SectionId; 4]> {
        let mut found: SmallVec<[SectionId; 4]> = SmallVec::new();
        let Some(home) = self.clusters.home(train) else { return found };
        let counts = self.clusters.cluster(home).accounts.iter().filter(|account| account.weight >= self.prices.sure);
        let stands = counts.flat_map(|account| &account.stands).filter(|stand| stand.who == Who::train(train));
        for stand in stands {
            let is_beside =
                |hold: &Hold| hold.section == section || self.topology.beside(section).any(|it| it == hold.section);
            if stand.holds.iter().any(is_beside) {
                let unseen = stand.holds.iter().filter(|hold| !hold.seen && hold.section != section);
                let free = unseen.map(|hold| hold.section).filter(|&it| self.reported[it] == Some(false));
                found.extend(free.filter(|it| !found.contains(it)).collect::<SmallVec<[SectionId; 4]>>());
            }
        }
        found
    }

    fn keep_those_with(&mut self, section: SectionId, train: TrainId) {
        let Some(home) = self.clusters.home(train) else { return };
        let who = Who::train(train);
        let accounts = self.clusters.cluster(home).accounts.iter();
        let keep: Vec<bool> = accounts.map(|account| self.has_there(account, who, section)).collect();
        let mut keep = keep.into_iter();
        self.change(home, |accounts| accounts.retain(|_| keep.next() == Some(true)));
    }

    /// Trains that have nothing to do with this one are not in its section either, as far as there is an account in which they
    /// are elsewhere. What it shares with another by right (`shares.rs`) stays.
    pub(super) fn keep_others_out(&mut self, section: SectionId, train: TrainId) {
        let shared = self.shares.iter().any(|share| share.section == section && share.is_of(train));
        if self.topology.is_dark(section) || shared {
            return;
        }
        let home = self.clusters.home(train);
        let others: Vec<ClusterId> = self.clusters.at(section).iter().copied().filter(|it| Some(*it) != home).collect();
        for other in others {
            let is_out = |account: &Account| account.stands.iter().all(|stand| !stand.sees(section));
            if self.clusters.cluster(other).accounts.iter().any(is_out) {
                self.change(other, |accounts| accounts.retain(is_out));
            }
        }
    }

    fn move_there(&mut self, now: Time, section: SectionId, train: TrainId) {
        let who = Who::train(train);
        let shared = self.may_be_unseen_in(section, train);
        let before = self.sure_stand(who);
        if let Some(before) = &before {
            // What was too unlikely to count until now would else be all that is left there.
            self.settle_as(before);
        }
        self.remove(train);
        let dark = self.topology.is_dark(section);
        let clusters: SmallVec<[ClusterId; 4]> = match dark {
            // Several trains may be where nobody sees them.
            true => SmallVec::new(),
            false => self.clusters.at(section).iter().copied().collect(),
        };
        let given_up = self.take_joint(&clusters);
        let mut joint = std::mem::take(&mut self.joint);
        self.tags.touch(&joint);
        self.strangers = self.strangers.wrapping_add(1);
        let stranger = Who::stranger(self.strangers & (u32::MAX >> 1));
        let mut accounts: Vec<Account> = Vec::new();
        for account in &joint {
            let alone = Hold { section, enter: None, seen: !dark };
            let Some(holder) = account.stands.iter().find(|stand| stand.sees(section)) else {
                let mut stands = account.stands.clone();
                put(&mut stands, Stand::new(who, alone));
                accounts.push(Account { weight: account.weight, stands });
                continue;
            };
            if shared && holder.holds.len() > 1 {
                let mut stands = account.stands.clone();
                let mut both = holder.clone();
                both.holds.iter_mut().filter(|hold| hold.section == section).for_each(|hold| hold.seen = false);
                put(&mut stands, both);
                put(&mut stands, Stand::new(who, alone));
                accounts.push(Account { weight: account.weight, stands });
            }
            for new in self.taken_over(now, who, holder) {
                let wrong = if holder.who.known().is_some() { DISPLACED } else { 1.0 };
                for (share, mut stands) in displaced(account, holder, before.as_ref(), stranger) {
                    put(&mut stands, new.clone());
                    accounts.push(Account { weight: account.weight * wrong * share, stands });
                }
            }
        }
        joint.clear();
        self.joint = joint;
        settle(&mut accounts, 0.0);
        self.tags.touch(&accounts);
        self.clusters.add_split(&mut accounts, given_up);
    }

    /// Whether the train may share the section with the one that is seen there: then that one stays where it is.
    fn may_be_unseen_in(&self, section: SectionId, train: TrainId) -> bool {
        let Some(home) = self.clusters.home(train) else { return false };
        let stands = self.clusters.cluster(home).accounts.iter().flat_map(|account| &account.stands);
        let is_unseen = |stand: &Stand| stand.holds.iter().any(|hold| hold.section == section && !hold.seen);
        stands.filter(|stand| stand.who == Who::train(train)).any(is_unseen)
    }

    /// Where a train stands, if that is beyond doubt and some section shows it.
    fn sure_stand(&self, who: Who) -> Option<Stand> {
        let cluster = self.clusters.cluster(self.clusters.home(who.known()?)?);
        let likeliest = cluster.accounts.first()?.stands.iter().find(|stand| stand.who == who)?;
        let agree: f64 = cluster.accounts.iter().filter(|it| it.stands.contains(likeliest)).map(|it| it.weight).sum();
        (1.0 - agree + cluster.given_up < self.prices.sure && likeliest.is_seen()).then(|| likeliest.clone())
    }

    /// How a train stands that is found where another was believed to be: in the same sections, either way round.
    fn taken_over(&self, now: Time, who: Who, holder: &Stand) -> SmallVec<[Stand; 2]> {
        let mut new =
            Stand { who, backward: false, is_said: false, lost_for: 0, head: Head::UNKNOWN, ..holder.clone() };
        if let [only] = new.holds.as_mut_slice() {
            only.enter = None;
            return smallvec![new];
        }
        let mut turned = self.scene(now).turned(&new);
        turned.backward = false;
        smallvec![new, turned]
    }
}

/// What may have become of a train that a word drives out of where it was believed to be, with the share of each: it is where the
/// other was, or it is lost.
fn displaced(account: &Account, holder: &Stand, before: Option<&Stand>, stranger: Who) -> SmallVec<[(f64, Stands); 2]> {
    let mut without = account.stands.clone();
    drop(&mut without, holder.who);
    if holder.who.known().is_none() {
        return smallvec![(1.0, without)];
    }
    let mut lost = without.clone();
    let mut unseen = holder.clone();
    for hold in &mut unseen.holds {
        hold.seen = false;
    }
    put(&mut lost, unseen);
    let is_free = |stand: &Stand| stand.holds.iter().all(|hold| without.iter().all(|it| !it.sees(hold.section)));
    let Some(before) = before.filter(|before| is_free(before)) else { return smallvec![(1.0, lost)] };
    let mut exchanged = without;
    put(&mut exchanged, Stand { who: holder.who, head: Head::UNKNOWN, ..before.clone() });
    put(&mut lost, Stand { who: stranger, head: Head::UNKNOWN, ..before.clone() });
    smallvec![(0.5, exchanged), (0.5, lost)]
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use track::{Builder, Id, Scale, Speed, Train};

    use super::super::{Batch, Pace, Placement};
    use super::*;
    use crate::model;

    /// Five sections in a row. Heron stands before the third one and Plover behind it, and both may come in.
    fn line() -> (Vec<SectionId>, Identity) {
        let mut builder = Builder::new("line", Scale::named("H0").unwrap());
        let sections = model::line(&mut builder, &["a", "b", "c", "d", "e"], None);
        builder.train(Train::stranger("Heron"));
        builder.train(Train::stranger("Plover"));
        let layout = Arc::new(builder.build());
        let mut identity = Identity::new(Arc::clone(&layout));
        let placed = [(heron(), sections[1], 1), (TrainId::from_index(1), sections[3], 0)].map(|(train, on, nose)| {
            Placement::new(&layout, train, &[on], Some(layout.sections[on].ends[nose])).unwrap()
        });
        identity.observe(Time::ZERO, &Batch { placed: placed.to_vec(), ..Batch::default() });
        (sections, identity)
    }

    fn heron() -> TrainId {
        TrainId::from_index(0)
    }

    fn read(identity: &mut Identity, millis: i64, section: SectionId) {
        identity.observe(Time::from_millis(millis), &Batch { read: vec![(section, heron())], ..Batch::default() });
    }

    fn fill(identity: &mut Identity, millis: i64, section: SectionId) {
        identity.observe(Time::from_millis(millis), &Batch { edges: vec![(section, true)], ..Batch::default() });
    }

    #[test]
    fn a_train_that_is_read_just_before_its_section_fills_is_what_fills_it() {
        let (sections, mut identity) = line();
        read(&mut identity, 5_000, sections[2]);
        fill(&mut identity, 5_300, sections[2]);
        assert_eq!(identity.tag(sections[2]), Tag::Sure(heron()));
    }

    #[test]
    fn a_reading_of_long_ago_says_nothing_of_what_fills_a_section() {
        let (sections, mut identity) = line();
        read(&mut identity, 5_000, sections[2]);
        fill(&mut identity, 9_000, sections[2]);
        assert!(matches!(identity.tag(sections[2]), Tag::Doubt(_)), "{:?}", identity.tag(sections[2]));
    }

    fn is_driven(identity: &mut Identity) {
        for train in [0, 1].map(TrainId::from_index) {
            identity.set_pace(train, Time::ZERO, Pace { least: Speed::ZERO, most: Speed::ZERO });
        }
    }

    #[test]
    fn a_train_that_is_read_far_from_where_it_is_seen_was_misread_or_exchanged_and_nobody_knows_which() {
        let (sections, mut identity) = line();
        is_driven(&mut identity);
        let (heron, plover) = (heron(), TrainId::from_index(1));
        // Heron is in `b`, Plover in `d`; the reader at `d` reads Heron.
        read(&mut identity, 1_000, sections[3]);
        assert_eq!(identity.tag(sections[1]), Tag::Doubt(smallvec![heron]));
        assert_eq!(identity.tag(sections[3]), Tag::Doubt(smallvec![plover]));
    }

    #[test]
    fn a_train_that_was_lost_from_sight_is_where_it_is_read() {
        let (sections, mut identity) = line();
        is_driven(&mut identity);
        let emptied = Batch { edges: vec![(sections[1], false)], ..Batch::default() };
        identity.observe(Time::from_millis(1_000), &emptied);
        fill(&mut identity, 60_000, sections[4]);
        read(&mut identity, 60_100, sections[4]);
        assert_eq!(identity.tag(sections[4]), Tag::Sure(heron()));
    }

    #[test]
    fn where_nobody_says_how_trains_are_driven_what_is_read_far_away_is_misread() {
        let (sections, mut identity) = line();
        read(&mut identity, 1_000, sections[3]);
        assert_eq!(identity.tag(sections[3]), Tag::Sure(TrainId::from_index(1)));
    }

    #[test]
    fn a_train_that_is_named_is_rather_something_unknown_than_another_train_that_was_known() {
        let (sections, mut identity) = line();
        // Heron is lost from sight, and something unknown comes in where it was. Either that or Plover fills the section between.
        let edge = |at: usize, filled| Batch { edges: vec![(sections[at], filled)], ..Batch::default() };
        let lifted = Batch { lifted: vec![heron()], ..edge(1, false) };
        identity.observe(Time::from_millis(1_000), &lifted);
        for (millis, at) in [(30_000, 0), (60_000, 1), (90_000, 2)] {
            identity.observe(Time::from_millis(millis), &edge(at, true));
        }
        identity.take_word(Time::from_millis(91_000), sections[2], heron());
        let home = identity.clusters.home(TrainId::from_index(1)).unwrap();
        let accounts = identity.clusters.cluster(home).accounts.iter();
        let is_out = |account: &&Account| {
            account.stands.iter().any(|stand| stand.who.known() == Some(TrainId::from_index(1)) && stand.is_lost())
        };
        let weight: f64 = accounts.filter(is_out).map(|account| account.weight).sum();
        assert!(weight < 0.05, "{weight}");
    }
}
