//! The picture that the locks look at: sure, and as late as the reports.

use smallvec::SmallVec;
use track::{Id, Length, Lie, SectionId, Table, TrainId, TurnoutId};

use super::Bug;
use super::cases::Case;
use super::rails::{Passages, Passing, turn};
use crate::door::{Direction, Tag};
use crate::identity::{Hold, Pace, Whereabouts};
use crate::picture::Picture;
use crate::time::Time;

/// A nose that may be beyond a joint may be so far beyond it.
const BEYOND: Length = Length::from_mm(10);

/// Where trains stand, as far as reports say.
#[derive(Clone, Debug)]
pub(super) struct Board {
    pub(super) stands: Table<TrainId, Known>,
    bug: Option<Bug>,
}

/// What is known of a train.
#[derive(Clone, Debug, Hash)]
pub(super) struct Known {
    /// What it covers, tail first; nothing if it is not on the layout.
    pub(super) path: Passages,
    leading: Direction,
    /// The section ahead that its nose may have come into, for all that is known.
    pub(super) reaches: Option<SectionId>,
    /// The section in which the end may still lie that was such a nose before the train turned back.
    drags: Option<SectionId>,
    /// It turned back since somebody asked last.
    has_turned: bool,
}

impl Board {
    pub(super) fn new(case: &Case, bug: Option<Bug>) -> Self {
        let known =
            Known { path: Passages::new(), leading: Direction::Forward, reaches: None, drags: None, has_turned: false };
        let mut stands = Table::filled(known, case.layout.trains.len());
        for start in &case.trains {
            stands[start.train].path.push(start.on);
        }
        Self { stands, bug }
    }

    /// Takes in a report; tells which section it changes.
    pub(super) fn hear(&mut self, train: TrainId, passing: Passing) -> SectionId {
        let known = &mut self.stands[train];
        known.reaches = None;
        match passing {
            Passing::Entered(passage) => {
                known.drags = None;
                known.path.push(passage);
                passage.section
            }
            Passing::Left(section) => {
                known.path.remove(0);
                section
            }
        }
    }

    pub(super) fn next_turned(&mut self) -> Option<TrainId> {
        let train = self.stands.iter().find(|(_, known)| known.has_turned)?.0;
        self.stands[train].has_turned = false;
        Some(train)
    }

    fn shows(&self, train: TrainId, section: SectionId) -> bool {
        let path = &self.stands[train].path;
        if self.bug == Some(Bug::OverlooksATrain) && train.index() == 1 {
            return false;
        }
        if self.bug == Some(Bug::LosesTheTail) {
            return path.last().is_some_and(|nose| nose.section == section);
        }
        path.iter().any(|passage| passage.section == section)
    }
}

impl Picture for Board {
    fn is_occupied(&self, section: SectionId) -> bool {
        self.stands.ids().any(|train| self.shows(train, section))
    }

    fn tag(&self, section: SectionId) -> Tag {
        self.stands.ids().find(|&train| self.shows(train, section)).map_or(Tag::Free, Tag::Sure)
    }

    fn holders(&self, section: SectionId) -> SmallVec<[TrainId; 4]> {
        let holds = |&train: &TrainId| self.shows(train, section) || self.stands[train].drags == Some(section);
        self.stands.ids().filter(holds).collect()
    }

    fn whereabouts(&self, train: TrainId, _now: Time) -> Option<Whereabouts> {
        let known = self.stands.get(train).filter(|known| !known.path.is_empty())?;
        let hold =
            |passage: &track::Traverse| Hold { section: passage.section, enter: Some(passage.enter), seen: true };
        Some(Whereabouts {
            sure: true,
            footprint: known.path.iter().map(hold).collect(),
            leading: known.leading,
            nose: None,
            blind_nose: if known.reaches.is_some() { BEYOND } else { Length::ZERO },
        })
    }

    fn turn_back(&mut self, train: TrainId, _now: Time, _was_allowed: impl Fn(SectionId) -> bool) {
        let known = &mut self.stands[train];
        known.has_turned = !known.has_turned;
        known.leading = known.leading.other();
        turn(&mut known.path);
        known.drags = known.reaches.take();
    }

    fn set_pace(&mut self, _train: TrainId, _now: Time, _pace: Pace) {}

    fn forget_pace(&mut self, _train: TrainId) {}

    fn set_lie(&mut self, _turnout: TurnoutId, _lie: Option<Lie>) {}
}
