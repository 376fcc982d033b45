//! Whether everybody can still get where they are going after a grant.
//!
//! A rehearsal: with the grant given, trains run to their destinations one after the other, each over track that is free then,
//! until no more can. Where nobody can run all the way, one may first draw up to a signal on its path if that lets another run.
//! Trains without an order stand where they are, and so do those whose order is not *admitted* yet: an order is admitted once
//! a rehearsal gets home with it everybody who gets home without it. A grant is given only if it keeps nobody from getting
//! home whose order is admitted. So whoever is admitted gets there, and whoever is not does not stand in the way by trying.
//!
//! Nobody waits for ever: once a train has waited for long, a newcomer is admitted only if it can get home after that train. Where
//! the one that waits is not admitted itself, newcomers that would end in its way let it go first for a while.
//!
//! The order of running that worked is kept, and rehearsed first the next time: a train that went a part of its way in that
//! order leaves the rest of it possible.
//!
//! Finding the best order is hard in general; this takes the first that serves, so it may refuse what a cleverer order would
//! allow, and never the other way round.

use std::time::Duration;

use smallvec::SmallVec;
use track::{Length, SectionId, TrainId, Traverse};

use super::Interlock;
use super::rehearsal::{PATIENCE, Passages, Scene, Trial, Way};
use crate::picture::Picture;

/// For so long a newcomer lets those go first that waited before it came. Not for ever: what they wait for may never come.
pub(super) const COURTESY: Duration = Duration::from_secs(120);

/// Trains that could stand in each other's way.
pub(super) type Company = SmallVec<[TrainId; 16]>;

impl Interlock {
    /// Whether granting the train the first `count` passages of its plan keeps nobody from getting home.
    pub(super) fn is_safe(&mut self, train: TrainId, count: usize, picture: &impl Picture) -> bool {
        #[cfg(test)]
        if self.planted == Some(super::checking::Bug::LetsTrainsMeet) {
            return true;
        }
        let company = self.company(&[train]);
        let after = self.rehearse(&company, &[], Some(Trial { train, count }), picture);
        let safe = after.all_home() || after.is_as_good_as(&self.rehearse(&company, &[], None, picture));
        if safe {
            self.keep_order(&after);
        }
        safe
    }

    /// Whether another plan for a train still gets everybody home who gets home with the present one; adopts it if so.
    pub(super) fn adopt_if_safe(&mut self, train: TrainId, path: &[Traverse], picture: &impl Picture) -> bool {
        let present: Passages = self.runs[train].plan.iter().copied().collect();
        let mut company = self.company(&[train]);
        self.replace_plan(train, path);
        let more = self.company(&[train]);
        company.extend(more);
        let after = self.rehearse(&company, &[], None, picture);
        if !after.all_home() {
            self.replace_plan(train, &present);
            if !after.is_as_good_as(&self.rehearse(&company, &[], None, picture)) {
                return false;
            }
            self.replace_plan(train, path);
        }
        self.keep_order(&after);
        true
    }

    /// All who are admitted and could have to do with one of `trains`: their paths meet, or those of others between them do. Only
    /// these have to be rehearsed together.
    fn company(&self, trains: &[TrainId]) -> Company {
        let mut company = Company::from_slice(trains);
        if self.order_of_running.iter().any(|leg| leg.way == Way::Round) {
            // Somebody's way round may lead over anything.
            company.extend(self.runs.iter().filter(|(_, run)| run.is_admitted).map(|(train, _)| train));
            return company;
        }
        let mut place = 0;
        while let Some(&train) = company.get(place) {
            let run = &self.runs[train];
            for passage in run.plan.iter().chain(&run.granted) {
                for &section in self.layout.sections[passage.section].crosses.iter().chain([&passage.section]) {
                    let holder = self.granted_to[section];
                    for &other in self.planned_by[section].iter().chain(&holder) {
                        if self.runs[other].is_admitted && !company.contains(&other) {
                            company.push(other);
                        }
                    }
                }
            }
            place += 1;
        }
        company
    }

    fn keep_order(&mut self, scene: &Scene) {
        self.order_of_running.retain(|leg| scene.players.iter().all(|player| !leg.is_of(player.train)));
        self.order_of_running.extend_from_slice(&scene.legs);
    }

    /// Admits every order with which everybody gets home who would without it; those that only go together, together.
    pub(super) fn admit(&mut self, picture: &impl Picture) {
        let mut pending: SmallVec<[TrainId; 16]> = SmallVec::new();
        pending.extend(self.runs.iter().filter(|(_, run)| run.is_planned && !run.is_admitted).map(|(train, _)| train));
        pending.sort_by_key(|&train| self.runs[train].age);
        let mut place = 0;
        while place < pending.len() {
            let gives_way = self.gives_way(pending[place], &pending[..place]);
            if !gives_way && self.admit_together(&pending[place..=place], picture) {
                pending.remove(place);
                place = 0;
            } else {
                place += 1;
            }
        }
        for one in 0..pending.len() {
            for other in one + 1..pending.len() {
                if self.admit_together(&[pending[one], pending[other]], picture) {
                    return self.admit(picture);
                }
            }
        }
        if pending.len() > 2 {
            self.admit_together(&pending, picture);
        }
        for place in 0..pending.len() {
            let train = pending[place];
            if self.gives_way(train, &pending[..place]) {
                let since = self.runs[train].waits_for.map_or(self.now, |_| self.runs[train].waits_since);
                self.look_again(train, since + COURTESY);
            }
        }
    }

    /// Whether an order lets one of these go first, which came before it, has waited for long and is not admitted either: it would
    /// end in that one's way, and does not stand in it now.
    fn gives_way(&self, newcomer: TrainId, older: &[TrainId]) -> bool {
        let waited = |train: TrainId| {
            let run = &self.runs[train];
            run.waits_for.map(|_| self.now.since(run.waits_since))
        };
        let has_waited = |train: TrainId| waited(train).is_some_and(|waited| waited > PATIENCE);
        waited(newcomer).is_none_or(|waited| waited < COURTESY)
            && older.iter().any(|&older| {
                has_waited(older) && self.may_have_its_turn(older) && self.would_end_in_the_way(newcomer, older)
            })
    }

    /// Whether nothing is on a train's way but trains that are about to go somewhere.
    fn may_have_its_turn(&self, train: TrainId) -> bool {
        !self.is_held(train)
            && self.runs[train].plan.iter().all(|passage| {
                let holder = self.granted_to[passage.section];
                holder.is_none_or(|holder| self.runs[holder].to.is_some() && !self.is_held(holder))
            })
    }

    fn would_end_in_the_way(&self, newcomer: TrainId, of: TrainId) -> bool {
        let run = &self.runs[newcomer];
        let is_in_the_way =
            |section: SectionId| self.runs[of].plan.iter().any(|passage: &Traverse| passage.section == section);
        let mut to_cover = self.train_length(newcomer).unwrap_or(Length::from_um(1));
        let mut ends_there = false;
        for passage in run.plan.iter().rev() {
            ends_there |= is_in_the_way(passage.section);
            to_cover -= self.layout.ways[passage.way].length.unwrap_or(to_cover);
            if to_cover <= Length::ZERO {
                break;
            }
        }
        ends_there && !run.granted.iter().any(|passage| is_in_the_way(passage.section))
    }

    fn admit_together(&mut self, trains: &[TrainId], picture: &impl Picture) -> bool {
        #[cfg(test)]
        if self.planted == Some(super::checking::Bug::LetsTrainsMeet) {
            for &train in trains {
                self.runs[train].is_admitted = true;
            }
            return true;
        }
        let company = self.company(trains);
        let with = self.rehearse(&company, trains, None, picture);
        if !trains.iter().all(|&train| with.is_home(train)) {
            return false;
        }
        if !with.all_home() && !with.is_as_good_as(&self.rehearse(&company, &[], None, picture)) {
            return false;
        }
        for &train in trains {
            self.runs[train].is_admitted = true;
        }
        self.keep_order(&with);
        true
    }
}
