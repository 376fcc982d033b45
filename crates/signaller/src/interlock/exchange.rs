//! Trains that may have been taken for each other: one was told to go and does not answer, and something moves that was not.
//!
//! Both are stopped at once and held in doubt, and identity is told to keep an account in which each is where the other was
//! believed to be. What is watched, while some train has not answered since it started, are the trains that stood then.

use std::time::Duration;

use smallvec::{SmallVec, smallvec};
use track::{SectionId, TrainId};

use super::{HoldKind, Interlock};
use crate::door::{Fact, Output, Tag};
use crate::drive::Drive;
use crate::identity::{Missing, Whereabouts};
use crate::picture::Picture;
use crate::signaller::Changes;
use crate::time::Time;

/// A train has come to rest for good when it was told to stand so long ago: what it did before was heard by then, however long
/// detectors take. Common practice, no source.
pub(super) const AT_REST: Duration = Duration::from_secs(5);

/// The sections that a train covers, whichever way round.
type Footprint = SmallVec<[SectionId; 4]>;

/// Where trains stood when one set out, under every account that counted for anything.
#[derive(Clone, Debug, Default, serde::Serialize, serde::Deserialize)]
pub(super) struct Stood {
    rows: Vec<Standing>,
}

/// Where one train stood.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
struct Standing {
    train: TrainId,
    /// There was no doubt where.
    was_sure: bool,
    stands: SmallVec<[Footprint; 1]>,
}

fn footprint(stand: &Whereabouts) -> Footprint {
    let mut sections: Footprint = stand.footprint.iter().map(|hold| hold.section).collect();
    sections.sort_unstable();
    sections
}

/// A section that something has filled in this step which no train explains.
pub(super) fn filled_unexplained(outputs: &[Output]) -> Option<SectionId> {
    outputs.iter().find_map(|output| match output {
        Output::Fact(Fact::Tagged { section, tag: Tag::Unexplained }) => Some(*section),
        _ => None,
    })
}

impl Interlock {
    /// A train sets out: whoever stands now should go on standing.
    pub(crate) fn note_who_stands(&mut self, now: Time, picture: &impl Picture, drive: &Drive) {
        let mut rows = std::mem::take(&mut self.stood.rows);
        rows.clear();
        for train in self.runs.ids() {
            let stays = drive.rests_since(train).is_some_and(|since| now.since(since) >= AT_REST);
            if stays
                && !self.is_driven_by_hand(train)
                && let Some(stand) = picture.whereabouts(train, now)
            {
                let mut stands: SmallVec<[Footprint; 1]> = smallvec![footprint(&stand)];
                stands.extend(picture.possible_whereabouts(train, now).iter().map(footprint));
                stands.dedup();
                rows.push(Standing { train, was_sure: stand.sure, stands });
            }
        }
        self.stood.rows = rows;
    }

    /// Stops and holds trains that may have been taken for each other, by what this step changed.
    pub(super) fn suspect_exchanges<P: Picture>(
        &mut self,
        now: Time,
        picture: &mut P,
        drive: &Drive,
        changes: &Changes,
        outputs: &mut Vec<Output>,
    ) {
        if !changes.power.is_empty() {
            // What is only told now that there is power again happened before it went.
            self.note_who_stands(now, picture, drive);
        }
        for train in self.disobeyed.drain(..) {
            picture.has_disobeyed(train, now);
        }
        if std::mem::take(&mut self.missing_changed) {
            let missing = self.runs.ids().filter_map(|train| {
                let (nose, may_be_astray) = (self.missing_since(train)?, self.may_have_gone_elsewhere(train));
                Some(Missing { train, nose, may_be_astray })
            });
            picture.set_missing(&missing.collect::<SmallVec<[Missing; 4]>>());
        }
        if changes.sections.is_empty() || !drive.any_unanswered() {
            return;
        }
        let unanswered: SmallVec<[TrainId; 4]> =
            drive.unanswered(now, picture).filter(|&train| !self.is_held(train) && !self.is_called(train)).collect();
        if unanswered.is_empty() {
            return;
        }
        let moved = self.moved_unasked(now, picture, drive, changes, |row| row.was_sure);
        let strange = filled_unexplained(outputs).filter(|&section| !self.is_near_a_train(section, picture));
        for train in unanswered {
            for &other in &moved {
                self.hold_both(train, other, outputs);
                self.look_again(train, now);
                picture.suspect_exchange(train, other);
            }
            if let (Some(section), []) = (strange, &moved[..]) {
                self.hold_for_unknown(train, section, now, picture, outputs);
            }
        }
        if !moved.is_empty() {
            // Identity adds its accounts when it is asked next.
            self.looks.extend(moved.iter().map(|&train| (now, train)));
        }
    }

    /// A train was told to go and does not answer, and something unknown fills a section: it may be that, and is held.
    pub(super) fn hold_for_unknown(
        &mut self,
        train: TrainId,
        section: SectionId,
        now: Time,
        picture: &mut impl Picture,
        outputs: &mut Vec<Output>,
    ) {
        picture.suspect_unknown(train);
        let nose = picture.whereabouts(train, now).and_then(|stand| stand.footprint.last().map(|it| it.section));
        self.note_no_answer(train, nose);
        let (name, section) = (self.name(train), &self.layout.sections[section].name);
        let reason = format!("`{name}` was told to go and does not answer, and something unknown fills `{section}`");
        self.set_hold(train, HoldKind::NoAnswer, reason, outputs);
    }

    /// Whether a train is believed to be next to a section: then what fills it may be some of that one.
    fn is_near_a_train(&self, section: SectionId, picture: &impl Picture) -> bool {
        let meets = self.layout.sections[section].ends.iter().flat_map(|&end| &self.layout.ends[end].meets);
        meets.into_iter().any(|&end| !picture.holders(self.layout.ends[end].section).is_empty())
    }

    /// While a train is called something else moves that was told nothing, perhaps though it was in doubt where it stood: either may
    /// be the other. Whether that is so.
    pub(super) fn moves_in_its_stead<P: Picture>(
        &mut self,
        called: TrainId,
        now: Time,
        picture: &mut P,
        (drive, changes): (&Drive, &Changes),
        outputs: &mut Vec<Output>,
    ) -> bool {
        let moved = self.moved_unasked(now, picture, drive, changes, |_| true);
        for &other in &moved {
            self.hold_both(called, other, outputs);
            picture.suspect_exchange(called, other);
        }
        self.looks.extend(moved.iter().map(|&train| (now, train)));
        !moved.is_empty()
    }

    /// The trains that stood somewhere, were told nothing, and may be somewhere else now.
    fn moved_unasked(
        &self,
        now: Time,
        picture: &impl Picture,
        drive: &Drive,
        changes: &Changes,
        is_watched: impl Fn(&Standing) -> bool,
    ) -> SmallVec<[TrainId; 4]> {
        let mut moved = SmallVec::new();
        for holder in changes.sections.iter().flat_map(|&section| picture.holders(section)) {
            let stays = drive.is_at_rest(holder) && !changes.trains.contains(&holder) && !moved.contains(&holder);
            let row = self.stood.rows.iter().find(|row| row.train == holder && stays && is_watched(row));
            let Some(row) = row else { continue };
            let is_elsewhere = |stand: &Whereabouts| !row.stands.contains(&footprint(stand));
            let may_be = picture.possible_whereabouts(holder, now).iter().any(is_elsewhere);
            if may_be && !self.is_driven_by_hand(holder) && !self.is_called(holder) {
                moved.push(holder);
            }
        }
        moved
    }

    fn hold_both(&mut self, train: TrainId, other: TrainId, outputs: &mut Vec<Output>) {
        let (name, other_name) = (self.name(train), self.name(other));
        let reason = format!("`{name}` was told to go and does not answer, and `{other_name}` moves, which was not");
        self.set_hold(train, HoldKind::Doubt, reason.clone(), outputs);
        self.set_hold(other, HoldKind::Doubt, reason, outputs);
    }
}
