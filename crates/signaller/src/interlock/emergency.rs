//! Emergency stops: which trains they are for, and that these are held. Trains that run away: those that moved on though they had
//! been told to stop as quickly as they could, and had the time to.
//!
//! What no order stops may be stopped by taking its power. That is the last resort: everything else in the power district stands
//! dark, too, and what rolls out there is not heard. So it is done for a train that is surely seen to run on, and not for one that
//! was only found where it should not be. Whoever comes next on its way is held.

use std::time::Duration;

use smallvec::SmallVec;
use track::{DistrictId, SectionId, TrainId};

use super::orders::Reason;
use super::{HoldKind, Interlock};
use crate::door::{Extent, Fact, Output, Suspect};
use crate::identity::Whereabouts;
use crate::picture::Picture;

/// A train that was told to stand as quickly as it can, and should stand by now, runs away if it comes to another section no
/// sooner and no later than this; later somebody moves it. Common practice, no source.
const RUNS_AWAY: (Duration, Duration) = (Duration::from_secs(3), Duration::from_secs(120));

/// What lies so many sections ahead of a train that runs away is in its way.
const AHEAD: usize = 3;

impl Interlock {
    /// Holds the trains that an emergency stop is for, and tells which they are; those that people drive at throttles of their own
    /// are among them, and are not held.
    ///
    /// # Errors
    ///
    /// If it names what is not there.
    pub(crate) fn emergency(
        &mut self,
        of: &Extent,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) -> Result<SmallVec<[TrainId; 8]>, Reason> {
        let trains: SmallVec<[TrainId; 8]> = match of {
            Extent::Train(train) => {
                self.known(*train)?;
                [*train].into_iter().collect()
            }
            Extent::Region(sections) => {
                if sections.iter().any(|&section| self.layout.sections.get(section).is_none()) {
                    return Err("there is no such section".to_owned());
                }
                let is_there = |train: &TrainId| {
                    let mut sections = sections.iter();
                    sections.any(|&it| self.granted_to[it] == Some(*train) || picture.holders(it).contains(train))
                };
                self.runs.ids().filter(is_there).collect()
            }
            Extent::Everything => self.runs.ids().collect(),
        };
        for &train in &trains {
            self.runs[train].stopped_dead_at = Some(self.now);
            self.touch(train);
            if *of != Extent::Everything && !self.is_driven_by_hand(train) {
                let reason = "it was stopped in an emergency; see to it and release it".to_owned();
                self.set_hold(train, HoldKind::Emergency, reason, outputs);
            }
        }
        Ok(trains)
    }

    /// The train is to stop as quickly as it can.
    pub(super) fn stop_dead(&mut self, train: TrainId) {
        self.runs[train].stopped_dead_at = Some(self.now);
        self.to_stop.push(train);
    }

    /// A train that is to stop as quickly as it can, since this was asked last.
    pub(crate) fn next_to_stop(&mut self) -> Option<TrainId> {
        self.to_stop.pop()
    }

    /// A power district that is to be cut, since this was asked last, and the train that runs away there.
    pub(crate) fn next_to_cut(&mut self) -> Option<(DistrictId, TrainId)> {
        self.to_cut.pop()
    }

    /// Whether a train that comes to another section now runs away: it was told to stand as quickly as it could, and must stand.
    pub(super) fn runs_away(&self, train: TrainId) -> bool {
        let run = &self.runs[train];
        let is_due = run.stopped_dead_at.is_some_and(|at| {
            let since = self.now.since(at);
            since >= RUNS_AWAY.0 && since <= RUNS_AWAY.1
        });
        run.stands && is_due
    }

    /// Takes the power of a train that runs away, where that can be done, and holds whoever is in its way.
    pub(super) fn cut_off(&mut self, train: TrainId, stand: &Whereabouts, outputs: &mut Vec<Output>) {
        let on = stand.footprint.iter().map(|hold| hold.section);
        let ahead = self.sections_ahead(stand);
        let mut districts: SmallVec<[DistrictId; 4]> = SmallVec::new();
        for section in on.chain(ahead.iter().copied().take(1)) {
            let district = self.layout.sections[section].district;
            let switched = district.filter(|&district| self.layout.districts[district].is_switched);
            districts.extend(switched.filter(|district| !districts.contains(district)));
        }
        let names: Vec<_> = districts.iter().map(|&it| format!("`{}`", self.layout.districts[it].name)).collect();
        let done = match names[..] {
            [] => "no power can be cut for that; stop it by hand".to_owned(),
            _ => format!("the power of {} is cut", names.join(" and ")),
        };
        let because = format!("`{}` runs though it was told to stand: {done}", self.name(train));
        outputs.push(Output::Fact(Fact::Suspected { suspect: Suspect::Train(train), because }));
        for section in ahead {
            if let Some(other) = self.granted_to[section].filter(|&other| other != train) {
                let reason = format!("`{}` runs away towards it; see to it and release it", self.name(train));
                self.set_hold(other, HoldKind::Emergency, reason, outputs);
            }
        }
        self.to_cut.extend(districts.into_iter().map(|district| (district, train)));
    }

    /// The next sections on the way of a train, as turnouts are known to lie.
    fn sections_ahead(&self, stand: &Whereabouts) -> SmallVec<[SectionId; AHEAD]> {
        let mut ahead = SmallVec::new();
        let enter = stand.footprint.last().and_then(|hold| hold.enter);
        let mut passage = enter.and_then(|enter| self.through(enter));
        while let (Some(here), true) = (passage, ahead.len() < AHEAD) {
            passage = match self.layout.ends[here.leave].meets[..] {
                [enter] => self.through(enter),
                _ => None,
            };
            ahead.extend(passage.map(|next| next.section));
        }
        ahead
    }
}
