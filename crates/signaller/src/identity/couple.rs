//! Two trains that become one, and one that becomes two.

use smallvec::{SmallVec, smallvec};
use track::{EndId, Length, SectionId, TrainId, Vehicle};

use super::Identity;
use super::account::{Account, Head, Holds, Stand, Who};
use super::batch::Placement;
use super::shares::Share;
use crate::roster::mirrored;
use crate::time::Time;

/// A cut this near to a joint may be on either side of it. Common practice, no source: couplings have slack, and lengths are
/// measured to a few millimetres.
const UNCLEAR: Length = Length::from_mm(20);

/// Two trains that become one.
#[derive(Clone, Debug)]
pub struct Joining {
    pub(crate) train: TrainId,
    pub(crate) with: TrainId,
    /// What the one is made of, front first. Empty where that is not known of both.
    pub(crate) vehicles: Vec<Vehicle>,
    /// Where the two stood.
    before: [Stand; 2],
    stand: Stand,
}

/// A train that becomes two.
#[derive(Clone, Debug)]
pub struct Parting {
    pub(crate) train: TrainId,
    pub(crate) rest: TrainId,
    pub(crate) kept: Vec<Vehicle>,
    pub(crate) left: Vec<Vehicle>,
    before: Stand,
    stands: [Stand; 2],
    share: Option<Share>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Side {
    Nose,
    Tail,
}

impl Joining {
    /// Whether something of it is in the section.
    pub(crate) fn is_on(&self, section: SectionId) -> bool {
        self.stand.position(section).is_some()
    }
}

impl Parting {
    /// Whether something of it is in the section.
    pub(crate) fn is_on(&self, section: SectionId) -> bool {
        self.stands.iter().any(|stand| stand.position(section).is_some())
    }
}

impl Identity {
    /// What comes of coupling two trains.
    ///
    /// # Errors
    /// Tells in plain words why they cannot be coupled.
    pub(crate) fn plan_joining(&self, train: TrainId, with: TrainId) -> Result<Joining, String> {
        let (one, other) = (self.standing(train)?, self.standing(with)?);
        if train == with {
            return Err("a train cannot be coupled to itself".to_owned());
        }
        let (name, called) = (self.roster.name(train), self.roster.name(with));
        let meetings = self.meetings(&one, &other);
        let (mine, theirs) = match meetings.as_slice() {
            [only] => *only,
            [] => return Err(format!("`{name}` and `{called}` do not stand next to each other")),
            _ => {
                let lost = [(&one, &name), (&other, &called)].into_iter().find(|(it, _)| it.nose().enter.is_none());
                return Err(match lost {
                    Some((_, who)) => format!("nobody knows which way `{who}` points; hint: place it with its nose"),
                    None => {
                        format!("`{name}` and `{called}` may meet at more than one end; hint: move one of them first")
                    }
                });
            }
        };
        let made_of = |train: TrainId| self.roster.train(train).map(|it| it.vehicles.clone()).unwrap_or_default();
        let (own, mut added) = (made_of(train), made_of(with));
        let front_of = |stand: &Stand| if stand.backward { Side::Tail } else { Side::Nose };
        let (at_rear, by_front) = (mine != front_of(&one), theirs == front_of(&other));
        if at_rear != by_front {
            added = mirrored(&added);
        }
        let vehicles = match (own.is_empty() || added.is_empty(), at_rear) {
            (true, _) => Vec::new(),
            (false, true) => own.into_iter().chain(added).collect(),
            (false, false) => added.into_iter().chain(own).collect(),
        };
        let stand = self.joined_stand(&one, &other, mine, theirs)?;
        Ok(Joining { train, with, vehicles, before: [one, other], stand })
    }

    /// Where the one train stands that two become.
    fn joined_stand(&self, one: &Stand, other: &Stand, mine: Side, theirs: Side) -> Result<Stand, String> {
        let sections = |stand: &Stand| stand.holds.iter().map(|hold| hold.section).collect::<Vec<_>>();
        let (mut on, mut added) = (sections(one), sections(other));
        added.retain(|section| !on.contains(section));
        if (theirs == Side::Tail) != (mine == Side::Nose) {
            added.reverse();
        }
        match mine {
            Side::Nose => on.extend(added),
            Side::Tail => on.splice(0..0, added).for_each(drop),
        }
        let who = one.who.known().ok_or("there is no such train")?;
        let mut holds = Placement::new(&self.layout, who, &on, None)?.holds;
        for hold in &mut holds {
            hold.seen = one.sees(hold.section) || other.sees(hold.section);
            if let Some(known) = one.position(hold.section).and_then(|at| one.holds[at].enter) {
                hold.enter = Some(known);
            }
        }
        Ok(Stand { holds, head: Head::UNKNOWN, is_said: false, lost_for: 0, ..one.clone() })
    }

    /// Where a train stands, if that is sure.
    fn standing(&self, train: TrainId) -> Result<Stand, String> {
        if self.roster.train(train).is_none() {
            return Err("there is no such train".to_owned());
        }
        let name = self.roster.name(train);
        let Some(home) = self.clusters.home(train) else {
            return Err(format!("nobody knows where `{name}` stands"));
        };
        let (who, cluster) = (Who::train(train), self.clusters.cluster(home));
        let likeliest = cluster.accounts.iter().flat_map(|account| &account.stands).find(|stand| stand.who == who);
        let stand = likeliest.ok_or_else(|| format!("nobody knows where `{name}` stands"))?;
        let agreeing = cluster.accounts.iter().filter(|account| account.stands.contains(stand));
        let agree: f64 = agreeing.map(|account| account.weight).sum();
        if 1.0 - agree + cluster.given_up >= self.prices.sure || stand.is_lost() {
            return Err(format!("it is not sure where `{name}` stands; hint: say which train is where first"));
        }
        Ok(stand.clone())
    }

    /// At which sides two trains stand next to each other.
    fn meetings(&self, one: &Stand, other: &Stand) -> SmallVec<[(Side, Side); 2]> {
        if let Some(meeting) = self.meeting_in_one_section(one, other) {
            return smallvec![meeting];
        }
        let mut found: SmallVec<[(Side, Side); 2]> = SmallVec::new();
        for mine in [Side::Nose, Side::Tail] {
            for theirs in [Side::Nose, Side::Tail] {
                let (ends, others) = (self.ends_at(one, mine), self.ends_at(other, theirs));
                if ends.iter().any(|&end| self.topology.meets(end).iter().any(|met| others.contains(met))) {
                    found.push((mine, theirs));
                }
            }
        }
        found
    }

    fn meeting_in_one_section(&self, one: &Stand, other: &Stand) -> Option<(Side, Side)> {
        let (one_id, other_id) = (one.who.known()?, other.who.known()?);
        let share = self.shares.iter().find(|share| share.is_of(one_id) && share.is_of(other_id))?;
        let side = |stand: &Stand, train: TrainId| {
            let runs_away = stand.position(share.section).map(|at| stand.holds[at].enter) == Some(Some(share.enter));
            if runs_away == (share.ahead == train) { Side::Tail } else { Side::Nose }
        };
        Some((side(one, one_id), side(other, other_id)))
    }

    /// The ends of sections that a train would leave by at one of its sides.
    fn ends_at(&self, stand: &Stand, side: Side) -> SmallVec<[EndId; 4]> {
        let lies = |way| {
            let needs = &self.layout.ways[way].needs;
            needs.iter().all(|need| self.lies[need.turnout].is_none_or(|lie| lie == need.lie))
        };
        let leaves = |enter: EndId| -> SmallVec<[EndId; 4]> {
            let passages = self.topology.passages(enter).iter();
            passages.filter(|passage| lies(passage.way)).map(|passage| passage.leave).collect()
        };
        let hold = if side == Side::Nose { stand.nose() } else { stand.tail() };
        match (side, hold.enter, stand.holds.get(1).and_then(|next| next.enter)) {
            (Side::Nose, Some(enter), _) => leaves(enter),
            (Side::Tail, Some(enter), _) => smallvec![enter],
            (Side::Tail, None, Some(next)) => {
                self.topology.leave_towards(hold.section, next).map(leaves).unwrap_or_default()
            }
            (_, None, _) => self.topology.ends(hold.section).iter().copied().collect(),
        }
    }

    /// What comes of uncoupling a train behind its first `keep` vehicles.
    ///
    /// # Errors
    /// Tells in plain words why it cannot be uncoupled there.
    pub(crate) fn plan_parting(
        &self,
        now: Time,
        train: TrainId,
        keep: usize,
        rest: TrainId,
    ) -> Result<Parting, String> {
        let stand = self.standing(train)?;
        let (name, called) = (self.roster.name(train), self.roster.name(rest));
        let vehicles = self.roster.train(train).map(|it| it.vehicles.as_slice()).unwrap_or_default();
        if self.roster.train(rest).is_none() {
            return Err("there is no such train as the rest is to be".to_owned());
        }
        if vehicles.is_empty() {
            return Err(format!("nobody said what vehicles `{name}` is made of"));
        }
        if keep == 0 || keep >= vehicles.len() {
            let count = vehicles.len();
            let plural = if count == 1 { "" } else { "s" };
            return Err(format!("`{name}` has {count} vehicle{plural}, and at least one must be kept and one be left"));
        }
        if train == rest
            || self.clusters.home(rest).is_some()
            || self.memories.pending.iter().any(|it| it.train == rest)
        {
            return Err(format!(
                "`{called}` stands somewhere already; hint: the rest needs a train that stands nowhere"
            ));
        }
        if self.shares.iter().any(|share| share.is_of(train)) {
            return Err(format!("`{name}` was uncoupled here before; hint: move it first"));
        }
        let (kept, left) = vehicles.split_at(keep);
        let (at_nose, at_tail) = if stand.backward { (left, kept) } else { (kept, left) };
        let cut = self.section_of_cut(now, &stand, at_nose.iter().map(|vehicle| vehicle.length).sum()).ok_or_else(|| {
            format!("`{name}` lies in several sections, and nobody knows in which it would be cut; hint: move it into one")
        })?;
        let Some(enter) = stand.holds[cut].enter else {
            return Err(format!("nobody knows which way `{name}` points; hint: place it with its nose"));
        };
        let (nose_who, tail_who) = if stand.backward { (rest, train) } else { (train, rest) };
        let piece = |who: TrainId, vehicles: &[Vehicle], holds: &[super::Hold]| {
            let is_shown = vehicles.iter().any(|vehicle| vehicle.detectable.is_some());
            let mut holds: Holds = holds.iter().copied().collect();
            holds.iter_mut().for_each(|hold| hold.seen &= is_shown);
            let is_said = holds.iter().all(|hold| !hold.seen);
            Stand { who: Who::train(who), holds, is_said, lost_for: 0, head: Head::UNKNOWN, ..stand.clone() }
        };
        let stands = [piece(nose_who, at_nose, &stand.holds[cut..]), piece(tail_who, at_tail, &stand.holds[..=cut])];
        let section = stand.holds[cut].section;
        let share = stands.iter().all(|piece| piece.sees(section)).then_some(Share {
            section,
            enter,
            ahead: nose_who,
            behind: tail_who,
            named: train,
        });
        Ok(Parting { train, rest, kept: kept.to_vec(), left: left.to_vec(), before: stand, stands, share })
    }

    /// In which of its sections a train is cut, so far behind its nose; nothing where that is not known.
    fn section_of_cut(&self, now: Time, stand: &Stand, behind_nose: Length) -> Option<usize> {
        let mut at = stand.holds.len() - 1;
        if at == 0 {
            return Some(0);
        }
        let nose = self.nose(stand, now)?;
        let (mut least, mut most) = (nose.least - behind_nose, nose.reach - behind_nose);
        while at > 0 && most < Length::ZERO - UNCLEAR {
            let enter = stand.holds[at].enter?;
            at -= 1;
            let from = stand.holds[at].enter?;
            let leave = self.topology.leave_towards(stand.holds[at].section, enter)?;
            let length = self.layout.ways[self.layout.way_between(from, leave)?].length?;
            (least, most) = (least + length, most + length);
        }
        (at == 0 || least > UNCLEAR).then_some(at)
    }

    /// Does what was planned.
    pub(super) fn join(&mut self, now: Time, joining: &Joining) {
        for before in &joining.before {
            self.settle_as(before);
        }
        self.is_named(joining.train);
        self.remove(joining.train);
        self.remove(joining.with);
        self.shares.retain(|share| !share.is_of(joining.train) && !share.is_of(joining.with));
        self.stand_alone(joining.stand.clone());
        self.anchor(joining.train, now);
    }

    /// Does what was planned.
    pub(super) fn part(&mut self, now: Time, parting: &Parting) {
        self.settle_as(&parting.before);
        self.is_named(parting.train);
        self.remove(parting.train);
        for stand in &parting.stands {
            self.stand_alone(stand.clone());
        }
        for train in [parting.train, parting.rest] {
            self.parted.retain(|(parted, _)| *parted != train);
            self.anchor(train, now);
        }
        if let Some(share) = &parting.share {
            let sections = parting.stands.iter().filter_map(|it| it.who.known().map(|train| (train, it.holds.len())));
            self.parted.extend(sections);
            self.shares.push(share.clone());
        }
    }

    /// A train that is sure stands so beyond any doubt that was too small to count: whoever couples it, say, sees it there.
    pub(super) fn settle_as(&mut self, stand: &Stand) {
        let Some((train, home)) = stand.who.known().and_then(|train| Some((train, self.clusters.home(train)?))) else {
            return;
        };
        self.change(home, |accounts| accounts.retain(|account| account.stands.contains(stand)));
        for hold in &stand.holds {
            self.keep_others_out(hold.section, train);
        }
    }

    fn stand_alone(&mut self, stand: Stand) {
        let mut accounts = vec![Account { weight: 1.0, stands: smallvec![stand] }];
        self.tags.touch(&accounts);
        self.clusters.add(&mut accounts, 0.0);
    }
}
