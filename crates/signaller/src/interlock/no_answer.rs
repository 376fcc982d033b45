//! A train that was told to go and is not seen where it should be by now: it has stalled, or a report is missing.
//!
//! It is held, and tried again after a while, as slowly as it goes: what made it stall may be over. How far it may have got is
//! reckoned from everything it was ever told, so it stays within what it was granted whether it stalled or went on unseen. Only
//! when it does not answer to that either is somebody asked to see where it is; and at once where a turnout under it, or just
//! passed, may have led it another way than was thought.

use std::time::Duration;

use track::{SectionId, TrainId};

use super::orders::Reason;
use super::{HoldKind, Interlock};
use crate::door::{Output, Tag};
use crate::drive::Drive;
use crate::identity::{Hold, Whereabouts};
use crate::picture::Picture;
use crate::time::Time;

/// A train is tried again so long after it was held. Common practice, no source.
const TRY_AGAIN: Duration = Duration::from_secs(5);

/// So often a train is tried again before somebody is asked.
const TRIES: u8 = 2;

/// What is kept of a train that did not answer.
#[derive(Clone, Debug, Default, serde::Serialize, serde::Deserialize)]
pub(crate) struct NoAnswer {
    /// The section its nose was in.
    nose: Option<SectionId>,
    /// So often it was tried again there.
    tries: u8,
    /// When it is tried again.
    again_at: Option<Time>,
    /// Something unknown has filled a section since it was told to go: it may be that.
    may_be_unknown: bool,
}

impl Interlock {
    /// A train was told to go and is not seen in the next section, where it must be by now.
    pub(crate) fn hold_for_no_answer(
        &mut self,
        train: TrainId,
        nose: SectionId,
        next: SectionId,
        outputs: &mut Vec<Output>,
    ) {
        let (name, next) = (self.name(train), &self.layout.sections[next].name);
        let what = format!("`{name}` was told to go and does not answer in `{next}`");
        let may_go_elsewhere = self.may_have_gone_elsewhere(train);
        let no_answer = &mut self.runs[train].no_answer;
        if no_answer.nose != Some(nose) {
            *no_answer = NoAnswer { nose: Some(nose), ..NoAnswer::default() };
            self.missing_changed = true;
            self.look_at_signals_of(train);
        }
        let no_answer = &mut self.runs[train].no_answer;
        // Where a turnout may have led it another way, nobody knows what it would run into.
        if no_answer.tries >= TRIES || may_go_elsewhere {
            no_answer.again_at = None;
            self.set_hold(train, HoldKind::NoAnswer, format!("{what}; see where it is and release it"), outputs);
            return;
        }
        let again_at = self.now + TRY_AGAIN;
        no_answer.again_at = Some(again_at);
        self.look_again(train, again_at);
        self.set_hold(train, HoldKind::NoAnswer, format!("{what}; it is tried again in a moment"), outputs);
    }

    /// Whether a turnout in the section of its nose may have led the train another way than was thought.
    pub(super) fn may_have_gone_elsewhere(&self, train: TrainId) -> bool {
        let run = &self.runs[train];
        run.granted.get(run.nose).is_some_and(|passage| self.layout.ends[passage.enter].ways.len() > 1)
    }

    /// Something unknown has filled a section while a train did not answer: it is not tried again by itself.
    pub(super) fn note_no_answer(&mut self, train: TrainId, nose: Option<SectionId>) {
        self.runs[train].no_answer = NoAnswer { nose, tries: TRIES, again_at: None, may_be_unknown: true };
        self.missing_changed = true;
        self.look_at_signals_of(train);
    }

    /// Fails where something unknown fills a section, and a train did not answer when that began, or none of the places where it may
    /// stand shows it: it is most likely that, and nobody knows what it would run into.
    pub(super) fn may_answer(
        &self,
        train: TrainId,
        stands: &[Whereabouts],
        picture: &impl Picture,
    ) -> Result<(), Reason> {
        if self.runs[train].was_called_in_vain {
            return Err(format!("`{}` was called in vain; hint: say where it is", self.name(train)));
        }
        let is_seen = |stand: &Whereabouts| stand.footprint.iter().any(|hold| hold.seen);
        if !self.runs[train].no_answer.may_be_unknown && stands.iter().any(is_seen) {
            return Ok(());
        }
        let is_unknown =
            |&section: &SectionId| picture.tag(section) == Tag::Unexplained && picture.is_occupied(section);
        // What was unknown may have moved since.
        match self.layout.sections.ids().find(is_unknown) {
            Some(section) => {
                let (name, section) = (self.name(train), &self.layout.sections[section].name);
                Err(format!("`{name}` may be what fills `{section}`; hint: say which train that is"))
            }
            None => Ok(()),
        }
    }

    /// Somebody has seen to a train: it may be called once more.
    pub(super) fn was_seen_to(&mut self, train: TrainId) {
        let run = &mut self.runs[train];
        (run.no_answer.may_be_unknown, run.was_called_in_vain) = (false, false);
    }

    /// Whether the train did not answer and has not shown itself since: it may have passed the signals ahead of it unseen.
    pub(super) fn is_missing(&self, train: TrainId) -> bool {
        self.runs.get(train).is_some_and(|run| run.no_answer.nose.is_some())
    }

    /// Where the nose of a train was seen last that did not answer.
    pub(super) fn missing_since(&self, train: TrainId) -> Option<SectionId> {
        self.runs.get(train).and_then(|run| run.no_answer.nose)
    }

    pub(super) fn look_at_signals_of(&mut self, train: TrainId) {
        let ends = self.runs[train].granted.iter().map(|passage| passage.leave);
        self.cleared_anew.extend(ends.filter_map(|end| self.layout.ends[end].signal));
    }

    /// A train that did not answer has shown itself somewhere else. That it points the other way now, or is called, shows nothing.
    pub(super) fn lift_no_answer(&mut self, train: TrainId, stand: &Whereabouts, outputs: &mut Vec<Output>) {
        let missed = self.runs[train].no_answer.nose;
        let is_there = |hold: &Hold| Some(hold.section) == missed;
        let is_seen = stand.footprint.iter().any(|hold| hold.seen && !is_there(hold));
        let nose = stand.footprint.last();
        if nose.is_none_or(|nose| !is_there(nose)) && (is_seen || !stand.footprint.iter().any(is_there)) {
            self.forget_no_answer(train);
            self.lift_hold(train, HoldKind::NoAnswer, outputs);
        }
    }

    /// A train has shown itself, or somebody says where it is.
    pub(super) fn forget_no_answer(&mut self, train: TrainId) {
        let was_missing = std::mem::take(&mut self.runs[train].no_answer).nose.is_some();
        if was_missing {
            self.missing_changed = true;
            self.look_at_signals_of(train);
        }
    }

    /// Tries a train again that stands and is due for it.
    pub(super) fn try_again(&mut self, train: TrainId, now: Time, drive: &Drive, outputs: &mut Vec<Output>) {
        let no_answer = &mut self.runs[train].no_answer;
        if no_answer.again_at.is_none_or(|at| at > now) {
            return;
        }
        if !drive.is_at_rest(train) {
            let again_at = now + TRY_AGAIN;
            no_answer.again_at = Some(again_at);
            self.look_again(train, again_at);
            return;
        }
        no_answer.again_at = None;
        no_answer.tries += 1;
        self.lift_hold(train, HoldKind::NoAnswer, outputs);
    }

    /// Whether the train did not answer where its nose was seen last, and is being tried again.
    pub(super) fn is_tried_again(&self, train: TrainId) -> bool {
        self.runs[train].no_answer.tries > 0
    }

    /// The train stands as far on as it may have got, and has not shown itself: there is no more to be tried.
    pub(super) fn give_up_trying(&mut self, train: TrainId, outputs: &mut Vec<Output>) {
        let name = self.name(train);
        let reason = format!("`{name}` was told to go and does not answer; see where it is and release it");
        self.set_hold(train, HoldKind::NoAnswer, reason, outputs);
    }
}
