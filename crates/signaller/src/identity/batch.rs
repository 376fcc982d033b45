//! Everything identity hears in one instant.

use smallvec::SmallVec;
use track::{EndId, Layout, SectionId, TrainId, WayId};

use super::account::Holds;
use super::couple::{Joining, Parting};
use super::picture::Hold;
use super::position::SpotPassage;

/// Conditioned reports and people's words of one instant. The order between sections means nothing.
#[derive(Debug, Default)]
pub struct Batch {
    /// Sections that filled (`true`) or emptied, those of one section in the order heard.
    pub edges: Vec<(SectionId, bool)>,
    /// Trains put down, or said to stand somewhere.
    pub placed: Vec<Placement>,
    /// Trains taken off.
    pub lifted: Vec<TrainId>,
    /// Trains read by a reader in a section.
    pub read: Vec<(SectionId, TrainId)>,
    /// Trains that a person says are in a section.
    pub named: Vec<(SectionId, TrainId)>,
    /// Sections of which a person says that nothing stands there.
    pub emptied: Vec<SectionId>,
    /// Trains that were coupled.
    pub joined: Vec<Joining>,
    /// Trains that were uncoupled.
    pub parted: Vec<Parting>,
    /// Spots that something passed.
    pub passed: Vec<SpotPassage>,
}

impl Batch {
    /// Nothing was heard.
    pub fn clear(&mut self) {
        self.edges.clear();
        self.placed.clear();
        self.lifted.clear();
        self.read.clear();
        self.named.clear();
        self.emptied.clear();
        self.joined.clear();
        self.parted.clear();
        self.passed.clear();
    }
}

/// A train that stands somewhere by a person's word.
#[derive(Clone, Debug)]
pub struct Placement {
    /// The train.
    pub train: TrainId,
    /// The sections it stands on, tail first, and the ends that it would have come in by.
    pub(super) holds: Holds,
    /// Its front is at the tail of that order.
    pub(super) backward: bool,
}

impl Placement {
    /// Whether it covers the section.
    pub fn stands_on(&self, section: SectionId) -> bool {
        self.holds.iter().any(|hold| hold.section == section)
    }

    /// The sections it covers, tail first.
    pub fn sections(&self) -> impl Iterator<Item = SectionId> + '_ {
        self.holds.iter().map(|hold| hold.section)
    }

    /// Checks that a train can stand so: the sections are distinct and joined in order, and `nose` is an end of the first or
    /// the last.
    ///
    /// # Errors
    /// Tells in plain words why it cannot.
    pub fn new(layout: &Layout, train: TrainId, on: &[SectionId], nose: Option<EndId>) -> Result<Self, String> {
        let name = |section: SectionId| &layout.sections[section].name;
        if on.is_empty() {
            return Err("a train must be placed on at least one section".to_owned());
        }
        for (at, section) in on.iter().enumerate() {
            if on[..at].contains(section) {
                return Err(format!("section `{}` is named twice", name(*section)));
            }
        }
        let joints = joints(layout, on)?;
        let only = |leave: EndId| match layout.ends[leave].ways.as_slice() {
            [way] => Some(layout.far_end(*way, leave)),
            _ => None,
        };
        let first = joints.first().and_then(|&(leave, _)| only(leave));
        let mut holds: Holds = SmallVec::new();
        for (at, &section) in on.iter().enumerate() {
            let enter = if at == 0 { first } else { Some(joints[at - 1].1) };
            holds.push(Hold { section, enter, seen: true });
        }
        let mut placement = Self { train, holds, backward: false };
        if let Some(nose) = nose {
            placement.face(layout, nose, &joints, only)?;
        }
        Ok(placement)
    }

    /// Where the section at its tail has several ways to where it goes on, it lies over the one for which the turnouts lie.
    pub(crate) fn lies_as_turnouts_do(
        &mut self,
        layout: &Layout,
        nose: Option<EndId>,
        lies: impl Fn(EndId) -> Option<WayId>,
    ) {
        let tail = self.holds[0];
        let leave = match self.holds.get(1).and_then(|next| next.enter) {
            Some(next) => {
                layout.sections[tail.section].ends.iter().copied().find(|&end| layout.ends[end].meets.contains(&next))
            }
            None => nose,
        };
        if let (None, Some(leave)) = (tail.enter, leave) {
            self.holds[0].enter = lies(leave).map(|way| layout.far_end(way, leave));
        }
    }

    /// The ways that it lies over, as far as its sections and the end its nose points to tell them.
    pub(crate) fn ways(&self, layout: &Layout, nose: Option<EndId>) -> SmallVec<[WayId; 4]> {
        let mut ways = SmallVec::new();
        for (at, hold) in self.holds.iter().enumerate() {
            let next = self.holds.get(at + 1).and_then(|next| next.enter);
            let meets = |end: &EndId| next.is_some_and(|next| layout.ends[*end].meets.contains(&next));
            let leave = match next {
                Some(_) => layout.sections[hold.section].ends.iter().copied().find(meets),
                None => nose.filter(|&nose| layout.ends[nose].section == hold.section),
            };
            ways.extend(hold.enter.zip(leave).and_then(|(enter, leave)| layout.way_between(enter, leave)));
        }
        ways
    }

    fn face(
        &mut self,
        layout: &Layout,
        nose: EndId,
        joints: &[(EndId, EndId)],
        only: impl Fn(EndId) -> Option<EndId>,
    ) -> Result<(), String> {
        let section = layout.ends[nose].section;
        let last = self.holds.len() - 1;
        let name = |section: SectionId| &layout.sections[section].name;
        if self.holds[last].section == section {
            if joints.last().is_some_and(|&(_, enter)| enter == nose) {
                return Err(format!("`{}` is where its tail lies, not its nose", layout.end_name(nose)));
            }
            if last == 0 {
                self.holds[0].enter = only(nose);
            }
            return Ok(());
        }
        Err(format!(
            "`{}` is no end of `{}`, the last section it stands on",
            layout.end_name(nose),
            name(self.holds[last].section)
        ))
    }
}

/// The joints that a train lies over which stands on these sections: the end it leaves each by, and the one it comes into the
/// next by.
fn joints(layout: &Layout, on: &[SectionId]) -> Result<SmallVec<[(EndId, EndId); 4]>, String> {
    // For every section after the first, each joint by which one can get there, with the entry taken before.
    let mut steps: Vec<Vec<(EndId, EndId, Option<EndId>)>> = Vec::new();
    for pair in on.windows(2) {
        let entries: Vec<Option<EndId>> = match steps.last() {
            None => vec![None],
            Some(before) => before.iter().map(|&(_, enter, _)| Some(enter)).collect(),
        };
        let mut found = Vec::new();
        for entry in entries {
            let leaves: Vec<EndId> = match entry {
                None => layout.sections[pair[0]].ends.clone(),
                Some(entry) => layout.ways_from(entry).map(|(_, leave)| leave).collect(),
            };
            for leave in leaves {
                let into = layout.ends[leave].meets.iter().filter(|&&met| layout.ends[met].section == pair[1]);
                found.extend(into.map(|&met| (leave, met, entry)));
            }
        }
        if found.is_empty() {
            let (from, to) = (&layout.sections[pair[0]], &layout.sections[pair[1]].name);
            let meets = |end: &EndId| layout.ends[*end].meets.iter().any(|&met| layout.ends[met].section == pair[1]);
            return Err(if from.ends.iter().any(meets) {
                format!("no way through section `{}` leads to `{to}`", from.name)
            } else {
                format!("section `{}` does not meet `{to}`", from.name)
            });
        }
        steps.push(found);
    }
    // Back from the nose, so that every entry fits the end that is left by.
    let mut joints: SmallVec<[(EndId, EndId); 4]> = SmallVec::new();
    let mut wanted = None;
    for step in steps.iter().rev() {
        let joint = step.iter().find(|&&(_, enter, _)| wanted.is_none_or(|wanted| enter == wanted));
        let Some(&(leave, enter, entry)) = joint else { break };
        joints.insert(0, (leave, enter));
        wanted = entry;
    }
    Ok(joints)
}
