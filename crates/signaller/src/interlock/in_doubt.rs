//! Trains of which it is not sure where they stand, and that run on all the same.
//!
//! What may be so need not matter: whether a tail has left a section yet is nobody's concern while that section is still the
//! train's own. So a train in doubt is held only if its safety depends on the doubt. It runs on where it stands, under every
//! account that counts for anything, within what it was granted, points the same way, and is seen. How far it may go then is the
//! least that any account leaves it, and under each it stops before whatever that account does not say is the train itself.

use track::{SectionId, TrainId};

use super::{Authority, HoldKind, Interlock};
use crate::door::{Output, Tag};
use crate::identity::{Hold, Whereabouts};
use crate::picture::Picture;
use crate::time::Time;

impl Interlock {
    /// Follows a train that is in doubt: it is held, unless it may run on.
    pub(super) fn follow_in_doubt(
        &mut self,
        train: TrainId,
        now: Time,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) {
        let nose = match self.runs[train].is_stuck_in_doubt {
            true => None,
            false => self.rearmost_nose(train, &picture.possible_whereabouts(train, now)),
        };
        let Some(nose) = nose else {
            self.hold_in_doubt(train, "it is not sure where it stands", outputs);
            return;
        };
        self.lift_hold(train, HoldKind::Doubt, outputs);
        self.advance(train, nose);
        self.release_behind(train, picture, outputs);
    }

    /// Whether something speaks for a train being there: its detector, or that there is none.
    pub(super) fn shows(&self, hold: &Hold) -> bool {
        hold.seen || self.layout.is_dark(hold.section)
    }

    /// Takes note of whether something shows where a train stands that has track. Else it may have passed the signals ahead of it.
    pub(super) fn note_sight(
        &mut self,
        train: TrainId,
        now: Time,
        stand: Option<&Whereabouts>,
        picture: &impl Picture,
    ) {
        let is_out_of_sight = match stand {
            Some(stand) if stand.sure => false,
            Some(_) => !picture.possible_whereabouts(train, now).iter().all(|stand| self.is_shown(stand)),
            None => true,
        };
        if std::mem::replace(&mut self.runs[train].is_out_of_sight, is_out_of_sight) != is_out_of_sight {
            self.look_at_signals_of(train);
        }
    }

    /// Whether by some account nothing shows where the train stands.
    pub(super) fn is_out_of_sight(&self, train: TrainId) -> bool {
        self.runs.get(train).is_some_and(|run| run.is_out_of_sight)
    }

    /// Whether something speaks for a train standing there.
    fn is_shown(&self, stand: &Whereabouts) -> bool {
        stand.footprint.iter().any(|hold| self.shows(hold))
    }

    /// Which granted passage the nose is in at least, under every account; nothing where the train may not run on in doubt.
    fn rearmost_nose(&self, train: TrainId, stands: &[Whereabouts]) -> Option<usize> {
        let first = stands.first()?;
        if !stands.iter().all(|stand| stand.leading == first.leading && self.is_shown(stand)) {
            return None;
        }
        let noses = stands.iter().map(|stand| self.nose_among_granted(train, stand));
        noses.collect::<Option<Vec<usize>>>()?.into_iter().min()
    }

    /// Whether a train is held near which something strange happened, and something unknown may stand where it does, or fills a
    /// section beside that: then it may be that, and does not set out.
    pub(super) fn may_be_unknown_beside(&self, train: TrainId, stand: &Whereabouts, picture: &impl Picture) -> bool {
        let mut on = stand.footprint.iter().map(|hold| hold.section);
        self.runs[train].holds.has(HoldKind::Doubt)
            && picture.is_strange(train)
            && on.any(|section| picture.hides_unknown(section) || self.meets_unknown(section, picture))
    }

    fn meets_unknown(&self, section: SectionId, picture: &impl Picture) -> bool {
        let mut meets = self.layout.sections[section].ends.iter().flat_map(|&end| &self.layout.ends[end].meets);
        meets.any(|&end| {
            let beside = self.layout.ends[end].section;
            picture.is_occupied(beside) && picture.tag(beside) == Tag::Unexplained
        })
    }

    /// A train that stands goes neither way: where accounts differ only by which of its ends is called its nose, there is no
    /// doubt.
    pub(super) fn settle_facing<P: Picture>(&mut self, train: TrainId, now: Time, picture: &mut P) {
        if !self.runs[train].holds.has(HoldKind::Doubt) {
            return;
        }
        let stands = picture.possible_whereabouts(train, now);
        let Some(likeliest) = stands.first() else { return };
        let covers_as_much = |stand: &Whereabouts| {
            let is_in = |section| likeliest.footprint.iter().any(|hold| hold.section == section);
            stand.footprint.len() == likeliest.footprint.len() && stand.footprint.iter().all(|hold| is_in(hold.section))
        };
        if stands.iter().any(|stand| stand.leading != likeliest.leading) && stands.iter().all(covers_as_much) {
            picture.face(train, likeliest.leading, now);
            self.look_again(train, now);
        }
    }

    /// How far the train may go if it stands so; nothing where it may not go at all.
    pub(crate) fn authority_in_doubt<'a>(
        &self,
        train: TrainId,
        authority: &Authority<'a>,
        stand: &Whereabouts,
        picture: &impl Picture,
    ) -> Option<Authority<'a>> {
        let nose = self.nose_among_granted(train, stand).filter(|&nose| nose < authority.end)?;
        let is_its_own = |section| stand.footprint.iter().any(|hold| hold.section == section);
        let mut ahead = nose + 1..authority.end;
        let end = ahead.find(|&place| {
            let section = authority.granted[place].section;
            picture.is_occupied(section) && !self.layout.is_dark(section) && !is_its_own(section)
        });
        let end = end.unwrap_or(authority.end);
        let stop = authority.stop.filter(|_| end == authority.end);
        Some(Authority { nose, end, stop, ..*authority })
    }

    /// Whether the train stands at the end of its authority with its nose in the same section under every account.
    fn is_sure_of_its_nose(&self, train: TrainId, stands: &[Whereabouts]) -> bool {
        let mut noses = stands.iter().map(|stand| self.nose_among_granted(train, stand));
        let first = noses.next().flatten();
        first.is_some() && noses.all(|nose| nose == first)
    }

    /// A train in doubt stands where it can go no further by itself, and wants to: it is held until it is sure where it stands.
    pub(super) fn stick_in_doubt(&mut self, train: TrainId, outputs: &mut Vec<Output>) {
        self.runs[train].is_stuck_in_doubt = true;
        self.hold_in_doubt(train, "it is not sure where it stands", outputs);
    }

    /// The train stands as close to the end of its authority as it can tell.
    pub(crate) fn stands_at_its_end<P: Picture>(
        &mut self,
        train: TrainId,
        now: Time,
        picture: &P,
        outputs: &mut Vec<Output>,
    ) {
        if self.is_held(train) {
            return;
        }
        if self.is_tried_again(train) {
            self.give_up_trying(train, outputs);
            return;
        }
        let is_sure = picture.whereabouts(train, now).is_some_and(|stand| stand.sure);
        if !is_sure && !self.is_sure_of_its_nose(train, &picture.possible_whereabouts(train, now)) {
            self.stick_in_doubt(train, outputs);
            return;
        }
        self.arrive_if_there(train, outputs);
    }
}
