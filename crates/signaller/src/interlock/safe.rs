//! Whether everybody can still get where they are going after a grant.
//!
//! A rehearsal: with the grant given, trains run to their destinations one after the other, each over track that is free then,
//! until no more can. Where nobody can run all the way, one may first draw up to a signal on its path if that lets another run.
//! Trains without an order stand where they are, and so do those whose order is not *admitted* yet: an order is admitted once
//! a rehearsal gets home with it everybody who gets home without it. A grant is given only if it keeps nobody from getting
//! home whose order is admitted. So whoever is admitted gets there, and whoever is not does not stand in the way by trying.
//!
//! Nobody waits for ever: once a train has waited for long, a newcomer is admitted only if it can get home after that train.
//!
//! The order of running that worked is kept, and rehearsed first the next time: a train that went a part of its way in that
//! order leaves the rest of it possible.
//!
//! Finding the best order is hard in general; this takes the first that serves, so it may refuse what a cleverer order would
//! allow, and never the other way round.

use smallvec::SmallVec;
use track::{TrainId, Traverse};

use super::Interlock;
use super::rehearsal::{Passages, Scene, Trial, Way};
use crate::picture::Picture;

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
            if self.admit_together(&pending[place..=place], picture) {
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
