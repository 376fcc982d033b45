//! An account: one complete, possible explanation of all evidence, for the trains of one cluster.

use std::cmp::Ordering;

use smallvec::{SmallVec, smallvec};
use track::{EndId, Id, Length, SectionId, TrainId};

use super::odometer::MEASURED_WITHIN;
use super::picture::Hold;

/// A train, known by name or only by the room it takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
pub(super) struct Who(u32);

const STRANGER: u32 = 1 << 31;
const LEFT: u32 = 1 << 30;

impl Who {
    pub fn train(train: TrainId) -> Self {
        Self(train.index() as u32)
    }

    pub fn stranger(number: u32) -> Self {
        Self(STRANGER | (number & (LEFT - 1)))
    }

    /// What a train left behind in a section.
    pub fn left_in(section: SectionId) -> Self {
        Self(STRANGER | LEFT | section.index() as u32)
    }

    /// Whether it is what a train left behind.
    pub fn was_left(self) -> bool {
        self.0 & (STRANGER | LEFT) == STRANGER | LEFT
    }

    /// The train, unless it is a stranger.
    pub fn known(self) -> Option<TrainId> {
        (self.0 & STRANGER == 0).then(|| TrainId::from_index(self.0 as usize))
    }
}

/// Whoever had this number before everything was numbered anew; nothing where that is gone.
pub(crate) fn renumbered_who(who: u32, place: &dyn Fn(&str, usize) -> Option<usize>) -> Option<u32> {
    let (flags, number) = (who & (STRANGER | LEFT), (who & !(STRANGER | LEFT)) as usize);
    match flags {
        STRANGER => Some(who),
        0 => Some(place("TrainId", number)? as u32),
        _ => Some(flags | place("SectionId", number)? as u32),
    }
}

pub(super) type Holds = SmallVec<[Hold; 4]>;

/// Bounds of where the first axle that a detector can see is, beyond the entry of the nose's section, less what the train's
/// odometer showed then: adding what it shows now gives the bounds now.
#[derive(Clone, Copy, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Head {
    pub least: i64,
    pub most: i64,
    /// Not farther than this, even if the one report that says most came late: the bound that another report leaves.
    pub far: i64,
    /// It ran over the entry of its section and has not turned since: whatever of it passes a spot there, the first axle did
    /// so first.
    pub came_in: bool,
    /// So much farther it may be if a spot missed its first axle.
    pub slack: i64,
    /// So far beyond the entry it is at least by what was heard, whether or not the train did as it was told since. No odometer
    /// is to be added: a train that stalls is no farther than it was last heard to be.
    pub proved: i64,
    /// The same even if it has gone beyond a joint unheard before it turned: only that tells how far it may be if it turns again.
    pub near: i64,
}

impl Head {
    pub const UNKNOWN: Self = Self {
        least: i64::MIN / 4,
        most: i64::MAX / 4,
        far: i64::MAX / 4,
        came_in: false,
        slack: 0,
        proved: i64::MIN / 4,
        near: i64::MIN / 4,
    };

    pub fn is_known(self) -> bool {
        self.most < i64::MAX / 8
    }

    /// The same head, as seen from the far end of a way of this length. Where nobody measured that, anywhere beyond it.
    pub fn beyond(self, length: Option<Length>) -> Self {
        let Some(length) = length.filter(|_| self.is_known()) else { return Self::UNKNOWN };
        let off = length.um();
        Self {
            least: self.least - off - MEASURED_WITHIN.um(),
            most: self.most - off + MEASURED_WITHIN.um(),
            far: self.far - off + MEASURED_WITHIN.um(),
            proved: 0,
            near: 0,
            ..self
        }
    }

    /// How far it is at most by all but one of the reports so far and another one, which says that it is so far at most.
    pub fn beside(self, other: i64) -> i64 {
        self.most.max(other.min(self.far))
    }

    pub fn hull(self, other: Self) -> Self {
        Self {
            least: self.least.min(other.least),
            most: self.most.max(other.most),
            far: self.far.max(other.far),
            came_in: self.came_in && other.came_in,
            slack: self.slack.max(other.slack),
            proved: self.proved.min(other.proved),
            near: self.near.min(other.near),
        }
    }
}

/// Where one train stands, in one account.
#[derive(Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Stand {
    pub who: Who,
    /// Its last vehicle leads.
    pub backward: bool,
    /// It stands there by a person's word, though the detector says otherwise, and nothing has been heard of it since.
    pub is_said: bool,
    /// In how many instants something happened near it while it was lost from sight. Not part of what makes stands equal.
    pub lost_for: u8,
    /// Tail first, nose last. Never empty.
    pub holds: Holds,
    /// Not part of what makes two stands equal: equal ones are merged, and their bounds with them.
    pub head: Head,
}

impl Stand {
    pub fn nose(&self) -> Hold {
        self.holds[self.holds.len() - 1]
    }

    pub fn tail(&self) -> Hold {
        self.holds[0]
    }

    pub fn position(&self, section: SectionId) -> Option<usize> {
        self.holds.iter().rposition(|hold| hold.section == section)
    }

    pub fn sees(&self, section: SectionId) -> bool {
        self.holds.iter().any(|hold| hold.section == section && hold.seen)
    }

    /// It does not cover the section after all. Where its nose was thought to be there, nobody knows how far it came before that.
    pub fn forget_in(&mut self, section: SectionId) {
        if self.nose().section == section {
            self.head = Head::UNKNOWN;
        }
        self.holds.retain(|hold| hold.section != section);
    }

    /// A stand in a section that a train has just filled.
    pub fn new(who: Who, hold: Hold) -> Self {
        Self { who, backward: false, is_said: false, lost_for: 0, holds: smallvec![hold], head: Head::UNKNOWN }
    }

    pub fn is_seen(&self) -> bool {
        self.holds.iter().any(|hold| hold.seen)
    }

    /// Whether it was lost from sight. A train that stands by a person's word was not.
    pub fn is_lost(&self) -> bool {
        !self.is_said && !self.is_seen()
    }
}

impl Clone for Stand {
    fn clone(&self) -> Self {
        // In one piece: cloning a `SmallVec` goes element by element, and this is what a search does most.
        Self { who: self.who, holds: SmallVec::from_slice(&self.holds), ..*self }
    }
}

impl PartialEq for Stand {
    fn eq(&self, other: &Self) -> bool {
        self.who == other.who && self.backward == other.backward && self.holds == other.holds
    }
}

impl Eq for Stand {}

impl PartialOrd for Stand {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Stand {
    fn cmp(&self, other: &Self) -> Ordering {
        (self.who, self.backward, &self.holds).cmp(&(other.who, other.backward, &other.holds))
    }
}

/// Stands of all trains of a cluster, in order of [`Who`].
pub(super) type Stands = SmallVec<[Stand; 2]>;

/// One account of a cluster and its share of belief.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Account {
    pub weight: f64,
    pub stands: Stands,
}

/// Puts a stand in its place, instead of the one this train had.
pub(super) fn put(stands: &mut Stands, stand: Stand) {
    match stands.iter().position(|other| other.who >= stand.who) {
        Some(at) if stands[at].who == stand.who => stands[at] = stand,
        Some(at) => stands.insert(at, stand),
        None => stands.push(stand),
    }
}

/// Takes a train away.
pub(super) fn drop(stands: &mut Stands, who: Who) {
    if let Some(at) = stands.iter().position(|stand| stand.who == who) {
        stands.remove(at);
    }
}

/// A short number for a set of stands, so that a search need not explore the same set twice (FNV-1a over words).
pub(super) fn fingerprint(stands: &Stands, mut hash: u64) -> u64 {
    let mut mix = |word: u64| hash = (hash ^ word).wrapping_mul(0x0000_0100_0000_01b3).rotate_left(23);
    for stand in stands {
        mix(u64::from(stand.who.0) << 1 | u64::from(stand.backward));
        for hold in &stand.holds {
            let enter = hold.enter.map_or(u64::from(u32::MAX), |end: EndId| end.index() as u64);
            mix((hold.section.index() as u64) << 33 | enter << 1 | u64::from(hold.seen));
        }
        mix(u64::MAX);
    }
    hash
}
