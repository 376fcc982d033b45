//! Trains put down, taken off, read or turned: what people, readers and our own orders say of them.

use smallvec::{SmallVec, smallvec};
use track::{Length, SectionId, TrainId};

use super::Identity;
use super::account::{Account, Head, Stand, Who, drop, put};
use super::batch::{Batch, Placement};
use super::clusters::ClusterId;
use super::gather::Gather;
use super::moves::Scene;
use super::odometer::detectable_length;
use super::picture::Hold;
use super::search::{Line, settle};
use super::topology::way_length;
use crate::door::Direction;
use crate::time::Time;

/// An account that a person's word picks out must weigh at least so much; else the word speaks of something new.
pub(super) const BELIEVABLE: f64 = 1e-9;

impl Identity {
    pub(super) fn scene(&self, now: Time) -> Scene<'_> {
        Scene {
            layout: &self.layout,
            roster: &self.roster,
            shares: &self.shares,
            topology: &self.topology,
            prices: &self.prices,
            trust: &self.trust,
            lies: &self.lies,
            odometers: &self.odometers,
            filled_at: &self.filled_at,
            reported: &self.reported,
            granted: &self.granted,
            turned_in: &self.turned_in,
            kept_back: &self.kept_back,
            now,
        }
    }

    /// Takes in the placements that no filling of this instant speaks of, and prepares the others: a train that is put down
    /// stands nowhere else.
    pub(super) fn place_standing(&mut self, now: Time, batch: &Batch, gather: &mut Gather) {
        gather.settled.clear();
        for (at, placement) in batch.placed.iter().enumerate() {
            // Whoever says where a train stands means all of it, blind ends included.
            self.forget_trails(placement.train);
            self.is_named(placement.train);
            for hold in &placement.holds {
                self.tags.is_told_of(hold.section);
            }
            self.memories.unsaid.retain(|&train| train != placement.train);
            let section = placement.holds[0].section;
            let fills = batch.edges.contains(&(section, true)) && self.reported[section] != Some(true);
            if placement.holds.len() == 1 && fills {
                self.remove(placement.train);
                continue;
            }
            gather.settled.push(at);
            if !self.pick_out(placement) {
                self.remove(placement.train);
                self.put_down(now, batch, placement);
            }
            for hold in &placement.holds {
                self.vacate_in_the_dark(hold.section);
            }
            self.forget_what_is_said_otherwise(placement.train, now);
            self.anchor(placement.train, now);
        }
    }

    /// Keeps only the accounts that have the train just there, if there are any worth keeping.
    fn pick_out(&mut self, placement: &Placement) -> bool {
        let Some(home) = self.clusters.home(placement.train) else { return false };
        let who = Who::train(placement.train);
        let fits = |account: &Account| {
            account.stands.iter().find(|stand| stand.who == who).is_some_and(|stand| {
                stand.holds.len() == placement.holds.len()
                    && stand.backward == placement.backward
                    && stand.holds.iter().zip(&placement.holds).all(|(hold, said)| {
                        let free = self.reported[hold.section] == Some(false);
                        hold.section == said.section
                            && (hold.seen || free || self.topology.is_dark(hold.section))
                            && (hold.enter.is_none() || said.enter.is_none() || hold.enter == said.enter)
                    })
            })
        };
        let weight: f64 = self
            .clusters
            .cluster(home)
            .accounts
            .iter()
            .filter(|account| fits(account))
            .map(|account| account.weight)
            .sum();
        if weight < BELIEVABLE {
            return false;
        }
        let keep: Vec<bool> = self.clusters.cluster(home).accounts.iter().map(fits).collect();
        let mut keep = keep.into_iter();
        self.change(home, |accounts| {
            accounts.retain(|_| keep.next().unwrap_or(false));
            for stand in accounts.iter_mut().flat_map(|account| &mut account.stands).filter(|stand| stand.who == who) {
                for (hold, said) in stand.holds.iter_mut().zip(&placement.holds) {
                    hold.enter = hold.enter.or(said.enter);
                }
                // Where no detector shows it, a person does.
                stand.is_said = stand.holds.iter().all(|hold| !hold.seen);
            }
        });
        true
    }

    /// A new stand, and nobody else where it is.
    fn put_down(&mut self, now: Time, batch: &Batch, placement: &Placement) {
        let mut holds = placement.holds.clone();
        for hold in &mut holds {
            let section = hold.section;
            self.vacate(section);
            if self.topology.is_dark(section) {
                hold.seen = false;
                continue;
            }
            let heard = batch.edges.iter().any(|&(other, value)| other == section && value);
            if heard || self.reported[section].is_none() {
                self.reported[section] = Some(true);
                self.filled_at[section] = now;
            }
            hold.seen = self.reported[section] == Some(true);
        }
        let is_said = holds.iter().all(|hold| !hold.seen);
        let who = Who::train(placement.train);
        let stand = Stand { who, backward: placement.backward, is_said, lost_for: 0, holds, head: Head::UNKNOWN };
        let mut accounts = vec![Account { weight: 1.0, stands: smallvec![stand] }];
        self.tags.touch(&accounts);
        self.clusters.add(&mut accounts, 0.0);
    }

    /// Changes the accounts of a cluster, which may then fall apart.
    pub(super) fn change(&mut self, cluster: ClusterId, change: impl FnOnce(&mut Vec<Account>)) {
        let mut accounts = Vec::new();
        let given_up = self.clusters.take(cluster, &mut accounts);
        self.tags.touch(&accounts);
        change(&mut accounts);
        settle(&mut accounts, 0.0);
        self.tags.touch(&accounts);
        self.clusters.add_split(&mut accounts, given_up);
    }

    /// The train stands nowhere.
    pub(super) fn remove(&mut self, train: TrainId) {
        let Some(home) = self.clusters.home(train) else { return };
        self.change(home, |accounts| {
            for account in accounts {
                drop(&mut account.stands, Who::train(train));
            }
        });
    }

    /// Nothing unknown is in a dark section in which somebody finds a train: they would have seen that. Another train may be.
    fn vacate_in_the_dark(&mut self, section: SectionId) {
        if !self.topology.is_dark(section) {
            return;
        }
        let clusters: Vec<ClusterId> = self.clusters.at(section).to_vec();
        for cluster in clusters {
            self.change(cluster, |accounts| {
                for account in accounts {
                    let is_unknown = |stand: &&Stand| stand.who.known().is_none() && stand.position(section).is_some();
                    let unknown: SmallVec<[Stand; 4]> = account.stands.iter().filter(is_unknown).cloned().collect();
                    for mut stand in unknown {
                        if stand.holds.len() > 1 {
                            stand.forget_in(section);
                            put(&mut account.stands, stand);
                        } else {
                            drop(&mut account.stands, stand.who);
                        }
                    }
                }
            });
        }
    }

    /// Nobody is seen in the section. Who reaches into it from another may do so still: two trains that ran against each other stand
    /// in one section.
    fn vacate(&mut self, section: SectionId) {
        if self.topology.is_dark(section) {
            return;
        }
        let mut reaching: SmallVec<[TrainId; 4]> = SmallVec::new();
        let clusters: Vec<ClusterId> = self.clusters.at(section).to_vec();
        for cluster in clusters {
            self.change(cluster, |accounts| {
                for account in accounts {
                    let stands = account.stands.clone();
                    for mut stand in stands {
                        let Some(at) = stand.position(section) else { continue };
                        if stand.holds.len() > 1 {
                            reaching.extend(stand.who.known().filter(|train| !reaching.contains(train)));
                            stand.forget_in(section);
                            put(&mut account.stands, stand);
                        } else if stand.who.known().is_none() {
                            drop(&mut account.stands, stand.who);
                        } else {
                            stand.holds[at].seen = false;
                            put(&mut account.stands, stand);
                        }
                    }
                }
            });
        }
        for train in reaching {
            self.note_hidden(train, &[], &[section]);
        }
    }

    /// Nothing explains what was heard: what was believed stays, as far as it fits what is certain.
    pub(super) fn keep_what_fits(&mut self, lines: &[Line], lifted: &[Who]) {
        let mut accounts = std::mem::take(&mut self.joint);
        for account in &mut accounts {
            for &who in lifted {
                drop(&mut account.stands, who);
            }
            for line in lines {
                for stand in &mut account.stands {
                    if let (Some(at), Some(&filled)) = (stand.position(line.section), line.values.last()) {
                        stand.holds[at].seen = filled;
                    }
                }
                for &(who, enter) in &line.placed {
                    put(&mut account.stands, Stand::new(who, Hold { section: line.section, enter, seen: true }));
                }
            }
        }
        settle(&mut accounts, 0.0);
        self.results.append(&mut accounts);
        self.joint = accounts;
    }

    /// A reader read this train in the section, or something passed a spot there.
    pub(super) fn weigh_presence(&mut self, section: SectionId, train: Option<TrainId>) {
        let misread = self.prices.misread;
        let there = |stand: &Stand| self.is_next_to(stand, section);
        if let Some(train) = train {
            let Some(home) = self.clusters.home(train) else {
                return self.name_stranger(section, train);
            };
            let who = Who::train(train);
            let fits: Vec<bool> = self
                .clusters
                .cluster(home)
                .accounts
                .iter()
                .map(|account| account.stands.iter().any(|stand| stand.who == who && there(stand)))
                .collect();
            self.weigh(home, &fits, misread);
            return;
        }
        let clusters: Vec<ClusterId> = self.clusters.at(section).to_vec();
        if let [only] = clusters.as_slice() {
            let accounts = &self.clusters.cluster(*only).accounts;
            let fits: Vec<bool> = accounts.iter().map(|account| account.stands.iter().any(there)).collect();
            self.weigh(*only, &fits, self.prices.passed_by_nobody);
        }
    }

    /// Whether a train that stands so covers the section, or has its nose next to it.
    pub(super) fn is_next_to(&self, stand: &Stand, section: SectionId) -> bool {
        stand.position(section).is_some() || self.topology.beside(section).any(|beside| beside == stand.nose().section)
    }

    pub(super) fn weigh(&mut self, cluster: ClusterId, fits: &[bool], price: f64) {
        if fits.iter().all(|&fit| fit == fits[0]) {
            return;
        }
        let given_up = self.prices.given_up;
        self.change(cluster, |accounts| {
            for (account, &fit) in accounts.iter_mut().zip(fits) {
                account.weight *= if fit { 1.0 } else { price };
            }
            settle(accounts, given_up);
        });
    }

    /// A train that stood nowhere was read in a section that something unknown fills.
    fn name_stranger(&mut self, section: SectionId, train: TrainId) {
        if self.reported[section] == Some(false) || self.topology.is_dark(section) {
            return;
        }
        let named = self
            .clusters
            .at(section)
            .iter()
            .flat_map(|&cluster| &self.clusters.cluster(cluster).accounts)
            .flat_map(|account| &account.stands)
            .find(|stand| stand.who.known().is_none() && stand.sees(section));
        let Some(stranger) = named.map(|stand| stand.who) else {
            if self.clusters.at(section).is_empty() {
                let stand = Stand::new(Who::train(train), Hold { section, enter: None, seen: true });
                let mut accounts = vec![Account { weight: 1.0, stands: smallvec![stand] }];
                self.tags.touch(&accounts);
                self.clusters.add(&mut accounts, 0.0);
            }
            return;
        };
        let clusters: Vec<ClusterId> = self.clusters.at(section).to_vec();
        for cluster in clusters {
            self.change(cluster, |accounts| {
                for account in accounts {
                    if let Some(stand) = account.stands.iter().find(|stand| stand.who == stranger).cloned() {
                        drop(&mut account.stands, stranger);
                        put(&mut account.stands, Stand { who: Who::train(train), ..stand });
                    }
                }
            });
        }
    }

    /// Where the head of a train can be that was never seen to pass a joint: anywhere in its nose's section.
    pub(super) fn anchor(&mut self, train: TrainId, now: Time) {
        let who = Who::train(train);
        let Some(home) = self.clusters.home(train) else { return };
        let detectable = detectable_length(&self.roster, who);
        let all_said = !self.memories.unsaid.contains(&train);
        let stood = self.memories.stood.iter().find(|(other, _)| *other == train).map(|(_, stood)| *stood);
        let stood = stood.filter(|_| !all_said && self.odometers.is_driven(who));
        let layout = &self.layout;
        let odometers = &self.odometers;
        for stand in self.clusters.accounts_mut(home).iter_mut().flat_map(|account| &mut account.stands) {
            if stand.who != who || stand.head.is_known() {
                continue;
            }
            let Some(length) = stand.nose().enter.and_then(|enter| way_length(layout, enter, None)) else { continue };
            if !all_said {
                let (_, front, rear) = detectable.unwrap_or_default();
                let nose = if stand.backward { rear } else { front };
                let (least, most) = stood.map_or((Length::ZERO, length), |it| (it.least - nose, it.most - nose));
                stand.head = odometers.head_between(who, now, (least, most), least);
                continue;
            }
            let (least, most) = as_said(stand, length, detectable.unwrap_or_default());
            stand.head = odometers.head_between(who, now, (least, most), least);
        }
        if stood.is_some() {
            self.memories.stood.retain(|(other, _)| *other != train);
        }
    }

    /// Somebody has said where the train stands: where it was reckoned to be farther than that, it is not.
    fn forget_what_is_said_otherwise(&mut self, train: TrainId, now: Time) {
        let who = Who::train(train);
        let Some(home) = self.clusters.home(train) else { return };
        let detectable = detectable_length(&self.roster, who).unwrap_or_default();
        let (layout, odometers) = (&self.layout, &self.odometers);
        for stand in self.clusters.accounts_mut(home).iter_mut().flat_map(|account| &mut account.stands) {
            if stand.who == who
                && let Some(length) = stand.nose().enter.and_then(|enter| way_length(layout, enter, None))
                && odometers.far(stand, now).is_some_and(|far| far > as_said(stand, length, detectable).1)
            {
                stand.head = Head::UNKNOWN;
            }
        }
    }

    /// A person vouches for the train being no farther than where detectors show it, however it was driven. Where it only reaches
    /// into the section of its nose, the first axle that detectors see is short of that.
    pub(crate) fn vouch_for_nose(&mut self, train: TrainId, now: Time) {
        let Some(home) = self.clusters.home(train) else { return };
        let (layout, odometers, who) = (&self.layout, &self.odometers, Who::train(train));
        let (_, front, rear) = detectable_length(&self.roster, who).unwrap_or_default();
        for stand in self.clusters.accounts_mut(home).iter_mut().flat_map(|account| &mut account.stands) {
            let length = stand.nose().enter.and_then(|enter| way_length(layout, enter, None));
            if stand.who == who
                && stand.head.is_known()
                && let Some(length) = length
                && let Some((_, most)) = odometers.head(stand, now)
            {
                let short = if stand.nose().seen { Length::ZERO } else { -if stand.backward { rear } else { front } };
                let proved = Length::from_um(stand.head.proved).max(short).min(length);
                stand.head = odometers.head_between(who, now, (proved, most.min(length).max(proved)), proved);
            }
        }
    }

    /// The head of a train of which nothing is known but the section of its nose.
    pub(super) fn anchor_anywhere(&mut self, train: TrainId, now: Time) {
        let Some(home) = self.clusters.home(train) else { return };
        let (layout, odometers, who) = (&self.layout, &self.odometers, Who::train(train));
        for stand in self.clusters.accounts_mut(home).iter_mut().flat_map(|account| &mut account.stands) {
            let length = stand.nose().enter.and_then(|enter| way_length(layout, enter, None));
            if stand.who == who
                && let Some(length) = length
            {
                stand.head = odometers.head_between(who, now, (Length::ZERO, length), Length::ZERO);
            }
        }
    }

    /// The train has been ordered to move the other way from now on: its nose becomes its tail, in every account. What its nose
    /// may reach into its tail may lie in then, as far as it was allowed to go.
    pub fn turn_back(&mut self, train: TrainId, now: Time, was_allowed: impl Fn(SectionId) -> bool) {
        let mut overhang = self.overhang(train, now);
        overhang.retain(|&(section, _)| was_allowed(section) || self.holders(section).contains(&train));
        self.turn(train, now, |_| true);
        self.note_overhang(train, &overhang);
    }

    /// The train moves that way from now on, in every account: where its nose points the other way, it turns back.
    pub fn face(&mut self, train: TrainId, leading: Direction, now: Time) {
        let turns = self.whereabouts(train, now).is_some_and(|stand| stand.leading != leading);
        let overhang = if turns { self.overhang(train, now) } else { Vec::new() };
        self.turn(train, now, |stand| stand.backward != (leading == Direction::Backward));
        self.note_overhang(train, &overhang);
    }

    /// Turns the train in the accounts where that is to be.
    fn turn(&mut self, train: TrainId, now: Time, is_to_turn: impl Fn(&Stand) -> bool) {
        let who = Who::train(train);
        let Some(home) = self.clusters.home(train) else { return };
        let mut accounts = Vec::new();
        let given_up = self.clusters.take(home, &mut accounts);
        for account in &mut accounts {
            let Some(at) = account.stands.iter().position(|stand| stand.who == who && is_to_turn(stand)) else {
                continue;
            };
            let mut turned = self.scene(now).turned(&account.stands[at]);
            turned.head = self.turned_head(&account.stands[at], now);
            account.stands[at] = turned;
        }
        settle(&mut accounts, 0.0);
        self.clusters.add_split(&mut accounts, given_up);
    }

    /// The head of a train that turns back: what was its last detectable axle, seen from the other end of its tail's section.
    fn turned_head(&self, stand: &Stand, now: Time) -> Head {
        let leave_of = |at: usize| match stand.holds.get(at + 1).and_then(|next| next.enter) {
            Some(next) => self.topology.leave_towards(stand.holds[at].section, next),
            None => None,
        };
        let length_of = |at: usize| {
            stand.holds[at]
                .enter
                .and_then(|enter| way_length(&self.layout, enter, leave_of(at)))
                .or_else(|| way_length(&self.layout, leave_of(at)?, None))
        };
        let Some(tail) = length_of(0) else { return Head::UNKNOWN };
        let before: Option<Length> = (0..stand.holds.len() - 1).map(length_of).sum();
        let bounds = match (before, self.odometers.head(stand, now), detectable_length(&self.roster, stand.who)) {
            (Some(before), Some((_, most)), Some((seen, _, _))) => {
                // Beyond its section it would have been seen, but for a dark one.
                let seen_within = way_length_of_nose(self, stand).filter(|_| !self.is_dark_beyond(stand.nose()));
                let most = most.min(seen_within.unwrap_or(most));
                // What it should have travelled and did not would bring it nearer to where it goes now.
                (tail - (before + most - seen), tail - (before + Length::from_um(stand.head.proved) - seen))
            }
            _ => (Length::ZERO, tail),
        };
        // Shown there, it is not short of that section, whatever was said or reckoned: then it may be anywhere in it.
        let is_contradicted = stand.tail().seen && bounds.1 <= Length::ZERO;
        let bounds = if is_contradicted { (Length::ZERO, tail) } else { bounds };
        // Its tail may have left that section and no report said so: then it is short of it by so much.
        let (least, most) = (bounds.0.min(tail), bounds.1.min(tail));
        let head = self.odometers.head_between(stand.who, now, (least, most), least);
        let (Some(before), Some(far_before)) = (before, self.odometers.far(stand, now)) else { return head };
        let Some((seen, _, _)) = detectable_length(&self.roster, stand.who) else { return head };
        // Detectors fail: it may be farther on than they show it, and farther back when it turns again.
        let turned = |head: Length| tail - (before + head - seen);
        let far = turned(Length::from_um(stand.head.near.min(stand.head.proved))).max(most);
        let far = self.odometers.head_between(stand.who, now, (least, far), least).most;
        Head { far, near: turned(far_before).min(least).um(), ..head }
    }
}

/// Bounds of where the first axle is that detectors see, of a train of which somebody says where it stands: they mean all of it, blind
/// ends included. Of one that covers more than one section that axle may be short of the last.
fn as_said(stand: &Stand, length: Length, (seen, front, rear): (Length, Length, Length)) -> (Length, Length) {
    let (nose, tail) = if stand.backward { (rear, front) } else { (front, rear) };
    let most = length - nose;
    let least = if stand.holds.len() == 1 { (seen + tail).min(most) } else { Length::ZERO - nose };
    (least, most)
}

fn way_length_of_nose(identity: &Identity, stand: &Stand) -> Option<Length> {
    way_length(&identity.layout, stand.nose().enter?, None)
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use track::{Builder, Id, Lie, Scale, Train};

    use super::*;

    #[test]
    fn a_train_that_turns_back_on_a_turnout_lies_over_the_leg_for_which_that_lies() {
        for (lie, leg) in [(Some(Lie::Straight), Some("t.one")), (Some(Lie::Diverging), Some("t.two")), (None, None)] {
            let mut builder = Builder::new("turnout", Scale::named("H0").unwrap());
            let (throat, turnout) = crate::model::throat(&mut builder, "t", "W1");
            builder.train(Train::stranger("Heron"));
            let layout = Arc::new(builder.build());
            let heron = TrainId::from_index(0);
            let mut identity = Identity::new(Arc::clone(&layout));
            let placed = Placement::new(&layout, heron, &[throat], layout.end_named("t.one")).unwrap();
            identity.observe(Time::ZERO, &Batch { placed: vec![placed], ..Batch::default() });
            identity.set_lie(turnout, lie);
            let faces = |identity: &Identity| identity.whereabouts(heron, Time::ZERO).unwrap().footprint[0].enter;
            assert_eq!(faces(&identity), layout.end_named("t.toe"));
            identity.turn_back(heron, Time::ZERO, |_| true);
            assert_eq!(faces(&identity), leg.and_then(|leg| layout.end_named(leg)), "{lie:?}");
        }
    }
}
