//! What a doubt is about: which trains may stand where, and what would tell.

use smallvec::SmallVec;
use track::{EndId, SectionId, TrainId};

use super::Identity;
use super::account::{Account, Stand, Who};
use super::clusters::Cluster;
use crate::door::{Direction, Tag};

/// So many alternatives are told; the others are counted.
pub(crate) const TOLD: usize = 4;

/// Where one train may stand.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub(crate) struct Place {
    pub(crate) train: TrainId,
    /// The sections that show it, tail first; where none does, those in which it was seen last. Empty for a train that stands
    /// nowhere.
    pub(crate) sections: SmallVec<[SectionId; 4]>,
    /// Whether some section shows it, or hides it because it has no detector.
    pub(crate) is_shown: bool,
    /// The entry of its nose's section and which way it runs, where that is all that is not known.
    pub(crate) facing: Option<(Option<EndId>, Direction)>,
}

impl PartialEq for Place {
    /// The same sections are the same place, whichever of them its nose is in: `facing` tells that.
    fn eq(&self, other: &Self) -> bool {
        self.train == other.train
            && self.is_shown == other.is_shown
            && self.facing == other.facing
            && self.sections.len() == other.sections.len()
            && self.sections.iter().all(|section| other.sections.contains(section))
    }
}

/// Where the trains of a doubt may stand, all of them together.
pub(crate) type Alternative = SmallVec<[Place; 2]>;

/// What is not known.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub(crate) struct Matter {
    /// None where a section is filled and nothing explains it.
    pub(crate) trains: SmallVec<[TrainId; 4]>,
    pub(crate) sections: Vec<SectionId>,
    /// The likeliest first, [`TOLD`] at most.
    pub(crate) alternatives: Vec<Alternative>,
    /// How many more there are.
    pub(crate) others: usize,
    /// There were too many possibilities to follow them all.
    pub(crate) is_open_ended: bool,
    /// What happened near one of them is strange.
    pub(crate) is_strange: bool,
}

impl Identity {
    /// What is not known of the trains of a cluster; nothing where all is.
    pub(super) fn matter(&self, cluster: &Cluster) -> Option<Matter> {
        let trains = self.doubtful_trains(cluster);
        if trains.is_empty() {
            return None;
        }
        let mut alternatives = self.alternatives(cluster, &trains, false);
        if alternatives.len() == 1 && cluster.accounts.len() > 1 {
            let facing = self.alternatives(cluster, &trains, true);
            alternatives = if facing.len() > 1 { facing } else { alternatives };
        }
        let mut sections: Vec<SectionId> = Vec::new();
        let mut all: Vec<SectionId> = Vec::new();
        for place in alternatives.iter().flatten() {
            for &section in &place.sections {
                if !all.contains(&section) {
                    all.push(section);
                    if !matches!(self.tag(section), Tag::Sure(_)) {
                        sections.push(section);
                    }
                }
            }
        }
        let mut sections = if sections.is_empty() { all } else { sections };
        for place in alternatives.iter().flatten().filter(|place| !place.is_shown) {
            let beside = self.may_have_run_into(&place.sections);
            sections.extend(beside.into_iter().filter(|it| !sections.contains(it)).collect::<SmallVec<[_; 4]>>());
        }
        leave_out_what_is_clear(&mut alternatives);
        let others = alternatives.len().saturating_sub(TOLD);
        alternatives.truncate(TOLD);
        let is_open_ended = cluster.given_up >= self.prices.sure;
        let is_strange = trains.iter().any(|&train| self.is_strange(train));
        Some(Matter { trains, sections, alternatives, others, is_open_ended, is_strange })
    }

    /// The known trains of a cluster of which it is not known where they stand.
    fn doubtful_trains(&self, cluster: &Cluster) -> SmallVec<[TrainId; 4]> {
        let mut trains = SmallVec::new();
        let Some(likeliest) = cluster.accounts.first() else { return trains };
        let agreed = 1.0 - likeliest.weight + cluster.given_up < self.prices.sure;
        if agreed {
            let lost =
                likeliest.stands.iter().filter(|stand| self.is_out_of_sight(stand) || self.is_known_strange(stand));
            trains.extend(lost.filter_map(|stand| stand.who.known()));
            return trains;
        }
        for stand in cluster.accounts.iter().flat_map(|account| &account.stands) {
            let Some(train) = stand.who.known().filter(|train| !trains.contains(train)) else { continue };
            // Accounts come with the likeliest first, so this is the likeliest stand of the train.
            let agree: f64 = cluster.accounts.iter().filter(|it| it.stands.contains(stand)).map(|it| it.weight).sum();
            if 1.0 - agree + cluster.given_up >= self.prices.sure
                || self.is_out_of_sight(stand)
                || self.is_known_strange(stand)
            {
                trains.push(train);
            }
        }
        trains
    }

    fn is_known_strange(&self, stand: &Stand) -> bool {
        stand.who.known().is_some_and(|train| self.is_strange(train))
    }

    fn is_out_of_sight(&self, stand: &Stand) -> bool {
        stand.is_lost() && !stand.holds.iter().any(|hold| self.topology.is_dark(hold.section))
    }

    /// Everything that may be so of these trains, each possibility once, the likeliest first.
    fn alternatives(&self, cluster: &Cluster, trains: &[TrainId], facing: bool) -> Vec<Alternative> {
        let mut found: Vec<(Alternative, f64)> = Vec::new();
        for account in &cluster.accounts {
            let places: Alternative = trains.iter().map(|&train| self.place_of(account, train, facing)).collect();
            match found.iter_mut().find(|(known, _)| *known == places) {
                Some((_, weight)) => *weight += account.weight,
                None => found.push((places, account.weight)),
            }
        }
        found.sort_by(|one, other| other.1.total_cmp(&one.1));
        let counts = found.iter().filter(|(_, weight)| *weight >= self.prices.sure).count();
        // Many that count for little may make up a doubt together; but a train that nothing shows is doubt enough.
        let together: f64 = found.iter().skip(1).map(|(_, weight)| weight).sum();
        let all_shown = found.first().is_some_and(|(places, _)| places.iter().all(|place| place.is_shown));
        found.truncate(counts.max(if all_shown && together >= self.prices.sure { 2 } else { 1 }));
        found.into_iter().map(|(places, _)| places).collect()
    }

    pub(super) fn place_of(&self, account: &Account, train: TrainId, facing: bool) -> Place {
        let who = Who::train(train);
        let Some(stand) = account.stands.iter().find(|stand| stand.who == who) else {
            return Place { train, sections: SmallVec::new(), is_shown: false, facing: None };
        };
        let shown: SmallVec<[SectionId; 4]> = stand
            .holds
            .iter()
            .filter(|hold| hold.seen || self.topology.is_dark(hold.section))
            .map(|hold| hold.section)
            .collect();
        let is_shown = !shown.is_empty();
        let sections = if is_shown { shown } else { stand.holds.iter().map(|hold| hold.section).collect() };
        let leading = if stand.backward { Direction::Backward } else { Direction::Forward };
        Place { train, sections, is_shown, facing: facing.then(|| (stand.nose().enter, leading)) }
    }
}

/// Leaves out trains that stand alike in all alternatives while others do not, and that a train that nothing shows may stand
/// nowhere: that is said anyway.
fn leave_out_what_is_clear(alternatives: &mut Vec<Alternative>) {
    let Some(first) = alternatives.first() else { return };
    let is_clear = |place: &Place| place.is_shown && alternatives.iter().all(|it| it.contains(place));
    let clear: SmallVec<[TrainId; 4]> = first.iter().filter(|it| is_clear(it)).map(|it| it.train).collect();
    if clear.len() < first.len() {
        for places in alternatives.iter_mut() {
            places.retain(|place| !clear.contains(&place.train));
        }
    }
    if alternatives.iter().all(|places| places.len() == 1 && !places[0].is_shown) {
        let nowhere = |places: &Alternative| places[0].sections.is_empty();
        if !alternatives.iter().all(nowhere) {
            alternatives.retain(|places| !nowhere(places));
        }
    }
}

impl Matter {
    /// Whether this, told before, says all that `now` would: all of its trains, and the same alternatives in whatever order.
    pub(super) fn says_as_much_as(&self, now: &Self) -> bool {
        let all_named = now.trains.iter().all(|train| self.trains.contains(train));
        let told = |one: &Alternative, by: &Self| {
            by.alternatives.iter().any(|it| it.len() == one.len() && one.iter().all(|place| it.contains(place)))
        };
        all_named
            && self.is_open_ended == now.is_open_ended
            && self.is_strange == now.is_strange
            && (self.others == 0) == (now.others == 0)
            && self.alternatives.len() == now.alternatives.len()
            && (self.alternatives.iter().all(|one| told(one, now)))
    }
}

/// What kind of doubt it is.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Doubted<'a> {
    /// Who fills a section.
    Section(SectionId),
    /// Where one train is that nothing shows.
    OutOfSight(&'a Place),
    /// Which of several places trains have.
    Trains,
}

impl Matter {
    pub(crate) fn doubted(&self) -> Doubted<'_> {
        let out_of_sight = self.alternatives.iter().all(|places| places.len() == 1 && !places[0].is_shown);
        match (self.trains.as_slice(), self.alternatives.first()) {
            ([], _) => Doubted::Section(self.sections[0]),
            (_, Some(places)) if out_of_sight => Doubted::OutOfSight(&places[0]),
            _ => Doubted::Trains,
        }
    }

    /// Sections of which it is known who is there, but not whether it goes on into others: its emptying tells.
    pub(crate) fn told_by_emptying(&self) -> Vec<SectionId> {
        let mut telling: Vec<SectionId> = Vec::new();
        for places in &self.alternatives {
            for place in places.iter().filter(|place| place.sections.len() > 1) {
                let in_all = |section: &SectionId| {
                    let others = self.alternatives.iter().flatten().filter(|other| other.train == place.train);
                    others.into_iter().all(|other| other.sections.contains(section))
                };
                for section in place.sections.iter().filter(|section| in_all(section)) {
                    if !telling.contains(section) {
                        telling.push(*section);
                    }
                }
            }
        }
        telling
    }

    /// A section in which the alternatives have different trains, so that a word about it tells them apart.
    pub(crate) fn told_by_word(&self) -> Option<SectionId> {
        self.sections.iter().copied().find(|section| {
            let mut there = self.alternatives.iter().map(|places| {
                places.iter().find(|place| place.is_shown && place.sections.contains(section)).map(|place| place.train)
            });
            let first = there.next();
            there.any(|other| Some(other) != first)
        })
    }
}
