//! What is dark though nobody said so: the detectors of a district that all empty, or all fill, in one moment did not see trains
//! move, unless trains that are near could have done just that. Of many, a few may be missing: reports are lost, or held up.

use std::time::Duration;

use smallvec::SmallVec;
use track::{SectionId, TrainId};

use super::Detect;
use super::rules::SPREAD;
use crate::identity::Identity;
use crate::time::Time;

/// Districts that go dark together are found dark no further apart than this.
const TOGETHER: Duration = Duration::from_millis(1_500);

/// Of so many reports of one moment, one may be lost or held up. Common practice, no source.
const MAY_BE_LOST: usize = 3;

/// What a district saw, and all of which emptied in one moment.
struct Gone {
    at: Time,
    /// So many sections emptied,
    emptied: usize,
    /// and trains cannot have left these of them.
    not_left: SmallVec<[SectionId; 16]>,
}

impl Detect {
    /// Whether everything that a district saw emptied in one moment, and trains cannot have done that. It is dark then.
    ///
    /// Where a single train stood on all of it, that train may have been taken off instead: then this is a guess.
    ///
    /// Where it saw one section only, that one may have lost contact. But if in the same moment another district lost all that
    /// it saw, or went dark, so did this one: again a guess where a single train stood on all of that.
    pub(super) fn infer_all_emptied(&mut self, now: Time, place: usize, identity: &Identity) -> bool {
        if self.supplies[place].is_dark() {
            return true;
        }
        let Some(Gone { at: latest, emptied, not_left: gone }) = self.all_gone(now, place, identity) else {
            return false;
        };
        let nobodys = gone.iter().filter(|&&section| identity.holders(section).is_empty()).count();
        let (supply, mostly_nobodys) = (&self.supplies[place], nobodys * 2 >= gone.len());
        if mostly_nobodys && (supply.occupied > 0 || supply.has_come_back(now)) {
            // That is how it looks when the power comes back where detectors say occupied without it.
            return false;
        }
        if gone.len() >= 2 {
            let because = format!("{} occupied sections emptied in one moment", so_many(emptied, supply.occupied));
            self.go_dark(now, place, now, because, only_train(&gone, identity));
            return true;
        }
        let mut with: SmallVec<[usize; 4]> = SmallVec::new();
        let mut all_gone = gone.clone();
        let mut has_company = false;
        for other in (0..self.supplies.len()).filter(|&other| other != place) {
            if self.supplies[other].is_dark() {
                has_company |= self.supplies[other].dark_from.is_some_and(|since| now.since(since) <= TOGETHER);
            } else if let Some(gone) = self.all_gone(now, other, identity)
                && gone.at.max(latest).since(gone.at.min(latest)) <= SPREAD
            {
                with.push(other);
                all_gone.extend(gone.not_left);
            }
        }
        if with.is_empty() && !has_company {
            return false;
        }
        let because = "all occupied sections of several districts emptied in one moment";
        let train = only_train(&all_gone, identity);
        for place in with.into_iter().chain([place]) {
            self.go_dark(now, place, now, because.to_owned(), train);
        }
        true
    }

    /// What a live district saw, if all of it emptied in one moment though trains cannot have left it; or nearly all of it, for a
    /// report may be lost.
    fn all_gone(&self, now: Time, place: usize, identity: &Identity) -> Option<Gone> {
        let supply = &self.supplies[place];
        if supply.is_dark() {
            return None;
        }
        let kept = || supply.sections.iter().copied().filter(|&section| self.channels[section].is_emptying_kept());
        let latest = kept().map(|section| self.emptied_at(section)).max()?;
        let is_then = |&section: &SectionId| {
            let at = self.emptied_at(section);
            latest.max(at).since(latest.min(at)) <= SPREAD
        };
        let mut gone: SmallVec<[SectionId; 16]> = kept().filter(is_then).collect();
        // What a quicker detector next to one of them said of the same moment is told already.
        let is_told = |section: &SectionId| {
            let channel = &self.channels[*section];
            channel.has_changed && channel.raw == Some(false) && !channel.is_emptying_kept()
        };
        let is_beside = |section: &SectionId| self.rules[*section].neighbours.iter().any(|other| gone.contains(other));
        let told = supply.sections.iter().copied().filter(is_told).filter(is_then).filter(is_beside);
        let told: SmallVec<[SectionId; 4]> = told.collect();
        gone.extend(told);
        let pieces = self.pieces(&gone);
        let not_left: SmallVec<[_; 4]> =
            pieces.iter().filter(|piece| !self.can_have_left(now, piece, identity)).collect();
        // What goes on showing a train speaks against it, unless trains went in several places.
        let is_convincing = gone.len() >= supply.occupied * MAY_BE_LOST && not_left.len() > 1;
        let is_all = supply.occupied == 0 && !not_left.is_empty();
        let not_left = not_left.iter().flat_map(|piece| piece.iter().copied()).collect();
        (is_all || is_convincing).then_some(Gone { at: latest, emptied: gone.len(), not_left })
    }

    /// When what the detector of a section saw went, by what it takes to say so.
    fn emptied_at(&self, section: SectionId) -> Time {
        self.channels[section].raw_at - self.rules[section].off_delay
    }

    /// Whether trains near can have left these sections next to each other in one moment, or were taken off them by somebody who says
    /// so: a train that goes on to where something is leaves one behind its tail, or two if one of them is short.
    fn can_have_left(&self, now: Time, piece: &[SectionId], identity: &Identity) -> bool {
        let is_explained = |&section: &SectionId| self.is_emptying_explained(section);
        if piece.iter().all(|&section| self.was_said_to_empty(now, section)) {
            return true;
        }
        let is_behind_a_tail = piece.len() == 1 || piece.len() == 2 && piece.iter().any(|&it| self.rules[it].is_short);
        let is_nobodys = || piece.iter().all(|&section| identity.holders(section).is_empty());
        let is_one = || only_train(piece, identity).is_some() || is_nobodys();
        is_behind_a_tail && piece.iter().any(is_explained) && (is_one() || piece.iter().all(is_explained))
    }

    /// Whether everything in a district filled in one moment, and trains cannot have done that. It is dark then.
    pub(super) fn infer_all_filled(&mut self, now: Time, place: usize, identity: &Identity) {
        let supply = &self.supplies[place];
        if supply.is_dark() || supply.occupied < 3 {
            return;
        }
        let moment = |section: SectionId| self.channels[section].raw_at - self.rules[section].on_delay;
        let detected = || supply.sections.iter().copied().filter(|&section| self.channels[section].raw == Some(true));
        let Some(latest) = detected().map(moment).max() else { return };
        let (filled, stood): (Vec<_>, Vec<_>) = detected()
            .partition(|&section| self.channels[section].has_just_filled() && latest.since(moment(section)) <= SPREAD);
        // Each train that stands in the district, or next to what filled, fills one section at a time.
        let near = filled.iter().flat_map(|&section| &self.rules[section].neighbours);
        let outside = near.copied().filter(|&other| self.rules[other].supply != Some(place));
        let occupied: Vec<_> =
            stood.iter().copied().chain(outside.filter(|&other| self.channels[other].raw != Some(false))).collect();
        let mut known: SmallVec<[TrainId; 8]> =
            occupied.iter().flat_map(|&section| identity.holders(section)).collect();
        known.sort_unstable();
        known.dedup();
        let trains = known.len().max(self.pieces(&occupied).len());
        if filled.len() < 2 || filled.len() <= trains || filled.len() - trains < supply.free * MAY_BE_LOST {
            return;
        }
        for &section in &filled {
            if self.channels[section].told == Some(true) {
                // No train came: identity is to forget that it heard so. The section counts as occupied all the same.
                self.channels[section].told = Some(false);
                self.heard.edges.push((section, false, Duration::ZERO));
            }
        }
        let because =
            format!("{} free sections filled in one moment", so_many(filled.len(), self.supplies[place].free));
        self.go_dark(now, place, now, because, None);
        self.supplies[place].dark_says_occupied = true;
    }

    /// Sections next to each other, together.
    fn pieces(&self, sections: &[SectionId]) -> Vec<SmallVec<[SectionId; 4]>> {
        let mut left: Vec<SectionId> = sections.to_vec();
        let mut pieces = Vec::new();
        while let Some(first) = left.pop() {
            let mut piece: SmallVec<[SectionId; 4]> = SmallVec::from_slice(&[first]);
            let mut at = 0;
            while at < piece.len() {
                for &other in &self.rules[piece[at]].neighbours {
                    if let Some(found) = left.iter().position(|&section| section == other) {
                        piece.push(left.swap_remove(found));
                    }
                }
                at += 1;
            }
            pieces.push(piece);
        }
        pieces
    }
}

/// How many changed and how many did not, in words.
fn so_many(changed: usize, rest: usize) -> String {
    if rest == 0 { format!("all {changed}") } else { format!("{changed} of {}", changed + rest) }
}

/// A train that may have stood on all of these sections.
fn only_train(sections: &[SectionId], identity: &Identity) -> Option<TrainId> {
    let (first, others) = sections.split_first()?;
    let stood = |train: &TrainId| others.iter().all(|&other| identity.holders(other).contains(train));
    identity.holders(*first).iter().copied().find(stood)
}
