//! Two trains that may have been taken for each other.

use track::TrainId;

use super::Identity;
use super::account::{Account, Head, Stand, Who, put};
use super::clusters::ClusterId;
use super::search::settle;

/// The share of belief that each account gives to the two having been taken for each other, once there is reason to think so. So
/// little that the next move alone does not settle it: somebody may be moving one of them by hand.
const EXCHANGED: f64 = 0.01;

impl Identity {
    /// One train was told to go and did not answer, and another moved though nobody told it to: perhaps each is where the other
    /// was believed to be. From the next call of [`Identity::observe`] on there is an account in which it is so beside every one
    /// in which it is not, and both are in doubt until something tells them apart. Nothing changes where one of them stands
    /// nowhere.
    pub fn suspect_exchange(&mut self, one: TrainId, other: TrainId) {
        if one != other {
            self.suspected.push((one, Some(other)));
        }
    }

    /// One train was told to go and did not answer, and something unknown moved: perhaps that is this train, and what stands where
    /// it was believed to be is not. From the next call of [`Identity::observe`] on it is not sure where it is, until it is named or
    /// does as it is told.
    pub fn suspect_unknown(&mut self, train: TrainId) {
        self.suspected.push((train, None));
    }

    /// Adds the accounts that were asked for.
    pub(super) fn add_exchanges(&mut self) {
        while let Some((one, other)) = self.suspected.pop() {
            let Some(other) = other else {
                self.is_strange_from_now_on(one);
                self.look_at_doubts_of(one);
                continue;
            };
            let (Some(home), Some(other_home)) = (self.clusters.home(one), self.clusters.home(other)) else { continue };
            self.are_strange_from_now_on(one, other);
            let (one, other) = (Who::train(one), Who::train(other));
            let clusters: &[ClusterId] = if home == other_home { &[home] } else { &[home, other_home] };
            let given_up = self.take_joint(clusters);
            let mut accounts = std::mem::take(&mut self.joint);
            self.tags.touch(&accounts);
            let more: Vec<Account> = accounts.iter().filter_map(|account| exchanged(account, one, other)).collect();
            accounts.extend(more);
            settle(&mut accounts, 0.0);
            self.clusters.add_split(&mut accounts, given_up);
            self.joint = accounts;
        }
    }
}

/// The account in which each stands where the other does in this one.
fn exchanged(account: &Account, one: Who, other: Who) -> Option<Account> {
    let stand_of = |who: Who| account.stands.iter().find(|stand| stand.who == who);
    let (first, second) = (stand_of(one)?, stand_of(other)?);
    let mut stands = account.stands.clone();
    // Bounds of a nose are reckoned from its own train's odometer: they mean nothing for the other.
    put(&mut stands, Stand { who: one, head: Head::UNKNOWN, ..second.clone() });
    put(&mut stands, Stand { who: other, head: Head::UNKNOWN, ..first.clone() });
    Some(Account { weight: account.weight * EXCHANGED, stands })
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use track::{Builder, Id, Layout, Scale, SectionId, Train};

    use super::super::{Batch, Placement};
    use super::*;
    use crate::Time;
    use crate::door::Tag;
    use crate::model;

    fn line() -> (Arc<Layout>, Vec<SectionId>) {
        let mut builder = Builder::new("line", Scale::named("H0").unwrap());
        let sections = model::line(&mut builder, &["a", "b", "c", "d", "e"], None);
        for name in ["Heron", "Plover"] {
            builder.train(Train::stranger(name));
        }
        (Arc::new(builder.build()), sections)
    }

    #[test]
    fn trains_that_may_have_been_taken_for_each_other_are_in_doubt_until_one_is_read() {
        let (layout, sections) = line();
        let [heron, plover] = [0, 1].map(TrainId::from_index);
        let mut identity = Identity::new(Arc::clone(&layout));
        let placed = |train, at: usize| Placement::new(&layout, train, &[sections[at]], None).unwrap();
        let batch = Batch { placed: vec![placed(heron, 0), placed(plover, 3)], ..Batch::default() };
        identity.observe(Time::ZERO, &batch);
        assert_eq!(identity.tag(sections[3]), Tag::Sure(plover));
        identity.suspect_exchange(heron, plover);
        identity.observe(Time::from_millis(1), &Batch::default());
        for at in [0, 3] {
            let Tag::Doubt(trains) = identity.tag(sections[at]) else { panic!("{:?}", identity.tag(sections[at])) };
            assert_eq!(trains.len(), 2);
        }
        let read = Batch { read: vec![(sections[3], heron)], ..Batch::default() };
        identity.observe(Time::from_millis(2), &read);
        assert_eq!((identity.tag(sections[0]), identity.tag(sections[3])), (Tag::Sure(plover), Tag::Sure(heron)));
    }

    #[test]
    fn a_train_that_may_be_something_unknown_that_moved_is_in_doubt_until_it_is_read() {
        let (layout, sections) = line();
        let heron = TrainId::from_index(0);
        let mut identity = Identity::new(Arc::clone(&layout));
        let placed = vec![Placement::new(&layout, heron, &[sections[0]], None).unwrap()];
        identity.observe(Time::ZERO, &Batch { placed, ..Batch::default() });
        identity.suspect_unknown(heron);
        identity.observe(Time::from_millis(1), &Batch::default());
        assert_eq!(identity.tag(sections[0]), Tag::Doubt(smallvec::smallvec![heron]));
        let read = Batch { read: vec![(sections[0], heron)], ..Batch::default() };
        identity.observe(Time::from_millis(2), &read);
        assert_eq!(identity.tag(sections[0]), Tag::Sure(heron));
    }
}
