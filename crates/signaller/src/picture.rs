//! The narrow door through which locks, aspects and speeds look at identity.

use smallvec::SmallVec;
use track::{EndId, Lie, SectionId, TrainId, TurnoutId};

use crate::door::{Direction, Tag};
use crate::identity::{Identity, Missing, Pace, Whereabouts};
use crate::time::Time;

/// Who stands where, as far as it is known. [`Identity`] is the one real picture; tests paint their own.
pub trait Picture {
    /// Whether something is there. Unknown counts as occupied.
    fn is_occupied(&self, section: SectionId) -> bool;
    /// Whether its detector was heard and can be relied on now: what it says is known, not assumed.
    fn is_known(&self, section: SectionId) -> bool {
        let _ = section;
        true
    }
    /// Whether the section's power district is dark, or not yet known to be live again. A train in or near it must
    /// stand and be held until it is live.
    fn is_frozen(&self, section: SectionId) -> bool {
        let _ = section;
        false
    }
    /// Whether the train would run against another, which stands next to it, if it left the section by this end.
    fn is_barred(&self, train: TrainId, section: SectionId, leave: EndId) -> bool {
        let _ = (train, section, leave);
        false
    }
    /// Whether its detector says that it is free, and that is not believed yet.
    fn is_emptying(&self, section: SectionId) -> bool {
        let _ = section;
        false
    }
    /// What is said of the section.
    fn tag(&self, section: SectionId) -> Tag;
    /// Every train that some surviving account puts into the section, blind ends included.
    fn holders(&self, section: SectionId) -> SmallVec<[TrainId; 4]>;
    /// Where the train stands, by the likeliest account.
    fn whereabouts(&self, train: TrainId, now: Time) -> Option<Whereabouts>;
    /// The train moves the other way from now on. What its nose may reach into its tail may lie in then, as far as it was allowed to
    /// go.
    fn turn_back(&mut self, train: TrainId, now: Time, was_allowed: impl Fn(SectionId) -> bool);
    /// From now on the train's speed lies between these bounds.
    fn set_pace(&mut self, train: TrainId, now: Time, pace: Pace);
    /// Every place where the train may stand under an account that counts for anything, the likeliest first, with the
    /// nose where that one has it. Nothing where there is too much that might be so to follow all of it.
    fn possible_whereabouts(&self, train: TrainId, now: Time) -> Vec<Whereabouts> {
        self.whereabouts(train, now).into_iter().collect()
    }
    /// Whether the section has filled since then.
    fn has_filled_since(&self, section: SectionId, since: Time) -> bool {
        let _ = (section, since);
        false
    }
    /// Whether the section was filled already when something unknown appeared or vanished beside it, which may have come in.
    fn hides_unknown(&self, section: SectionId) -> bool {
        let _ = section;
        false
    }
    /// A roll call has told that the train is in the section.
    fn has_answered(&mut self, _train: TrainId, _section: SectionId) {}
    /// Whether something strange happened near the train, and nothing has confirmed since that it is where it is said to be.
    fn is_strange(&self, _train: TrainId) -> bool {
        false
    }
    /// Whether what is taken for the train in that section may be another, by what strange happened near it.
    fn may_be_another(&self, train: TrainId, section: SectionId) -> bool {
        let _ = (train, section);
        false
    }
    /// The train moves that way from now on, in every account, whichever way its nose pointed.
    fn face(&mut self, train: TrainId, leading: Direction, now: Time) {
        if self.whereabouts(train, now).is_some_and(|stand| stand.leading != leading) {
            self.turn_back(train, now, |_| true);
        }
    }
    /// Each of these may be where the other is believed to be.
    fn suspect_exchange(&mut self, one: TrainId, other: TrainId) {
        let _ = (one, other);
    }
    /// The train was where, or moved when, it was told not to.
    fn has_disobeyed(&mut self, train: TrainId, now: Time) {
        let _ = (train, now);
    }
    /// The train may be something unknown that moved, and what is taken for it something else.
    fn suspect_unknown(&mut self, train: TrainId) {
        let _ = train;
    }
    /// From now on these trains do not answer.
    fn set_missing(&mut self, missing: &[Missing]) {
        let _ = missing;
    }
    /// From now on somebody drives the train who does not say how.
    fn forget_pace(&mut self, train: TrainId);
    /// How a turnout lies, as far as is known now.
    fn set_lie(&mut self, turnout: TurnoutId, lie: Option<Lie>);
}

impl Picture for Identity {
    fn is_occupied(&self, section: SectionId) -> bool {
        self.is_occupied(section)
    }

    fn is_known(&self, section: SectionId) -> bool {
        self.is_known(section)
    }

    fn is_frozen(&self, section: SectionId) -> bool {
        self.is_frozen(section)
    }

    fn is_barred(&self, train: TrainId, section: SectionId, leave: EndId) -> bool {
        self.is_barred(train, section, leave)
    }

    fn is_emptying(&self, section: SectionId) -> bool {
        self.is_emptying(section)
    }

    fn tag(&self, section: SectionId) -> Tag {
        self.tag(section)
    }

    fn holders(&self, section: SectionId) -> SmallVec<[TrainId; 4]> {
        self.holders(section)
    }

    fn whereabouts(&self, train: TrainId, now: Time) -> Option<Whereabouts> {
        self.whereabouts(train, now)
    }

    fn turn_back(&mut self, train: TrainId, now: Time, was_allowed: impl Fn(SectionId) -> bool) {
        self.turn_back(train, now, was_allowed);
    }

    fn set_pace(&mut self, train: TrainId, now: Time, pace: Pace) {
        self.set_pace(train, now, pace);
    }

    fn possible_whereabouts(&self, train: TrainId, now: Time) -> Vec<Whereabouts> {
        self.possible_whereabouts(train, now)
    }

    fn has_filled_since(&self, section: SectionId, since: Time) -> bool {
        self.has_filled_since(section, since)
    }

    fn hides_unknown(&self, section: SectionId) -> bool {
        self.hides_unknown(section)
    }

    fn has_answered(&mut self, train: TrainId, section: SectionId) {
        self.note_answer(train, section);
    }

    fn is_strange(&self, train: TrainId) -> bool {
        self.is_strange(train)
    }

    fn may_be_another(&self, train: TrainId, section: SectionId) -> bool {
        self.may_be_another(train, section)
    }

    fn has_disobeyed(&mut self, train: TrainId, now: Time) {
        self.has_disobeyed(train, now);
    }

    fn face(&mut self, train: TrainId, leading: Direction, now: Time) {
        self.face(train, leading, now);
    }

    fn suspect_exchange(&mut self, one: TrainId, other: TrainId) {
        self.suspect_exchange(one, other);
    }

    fn suspect_unknown(&mut self, train: TrainId) {
        self.suspect_unknown(train);
    }

    fn set_missing(&mut self, missing: &[Missing]) {
        self.set_missing(missing);
    }

    fn forget_pace(&mut self, train: TrainId) {
        self.forget_pace(train);
    }

    fn set_lie(&mut self, turnout: TurnoutId, lie: Option<Lie>) {
        self.set_lie(turnout, lie);
    }
}
