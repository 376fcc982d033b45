//! Which strands lie above which, as somebody wishes.

use std::collections::{BTreeMap, BTreeSet};

use track::{Id, Layout, SectionId};

/// Why one section is not drawn above another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum NotAbove {
    /// One of them turns round, and lies in two rows.
    Turns,
    /// The track runs straight from one to the other.
    InOneRow,
    /// No track leads from one to the other.
    Apart,
    /// What was wished before wants it the other way round.
    Contradicts,
}

/// Strands that lie above others. What follows from it is in it, too, and no strand lies above itself.
#[derive(Clone, Debug, Default)]
pub(super) struct Order {
    below: BTreeMap<usize, BTreeSet<usize>>,
    above: BTreeMap<usize, BTreeSet<usize>>,
}

impl Order {
    /// What can be had of the wishes, the first ones first; and why each of the others cannot. `of` is the strand of each end,
    /// `part` the part of the layout that each strand is in.
    pub(super) fn of(
        layout: &Layout,
        wanted: &[(SectionId, SectionId)],
        of: &[usize],
        part: &BTreeMap<usize, usize>,
    ) -> (Self, Vec<Option<NotAbove>>) {
        let mut order = Self::default();
        let strand = |section: SectionId| {
            let mut strands = layout.sections[section].ends.iter().map(|end| of[end.index()]);
            let first = strands.next()?;
            strands.all(|other| other == first).then_some(first)
        };
        let refused = wanted.iter().map(|&(upper, lower)| {
            let (Some(upper), Some(lower)) = (strand(upper), strand(lower)) else { return Some(NotAbove::Turns) };
            if upper == lower {
                Some(NotAbove::InOneRow)
            } else if part.get(&upper) != part.get(&lower) {
                Some(NotAbove::Apart)
            } else if order.must_lie_below(lower).any(|strand| strand == upper) {
                Some(NotAbove::Contradicts)
            } else {
                order.add(upper, lower);
                None
            }
        });
        let refused = refused.collect();
        (order, refused)
    }

    fn add(&mut self, upper: usize, lower: usize) {
        let uppers: Vec<usize> = self.must_lie_above(upper).chain([upper]).collect();
        let lowers: Vec<usize> = self.must_lie_below(lower).chain([lower]).collect();
        for &one in &uppers {
            self.below.entry(one).or_default().extend(&lowers);
        }
        for &one in &lowers {
            self.above.entry(one).or_default().extend(&uppers);
        }
    }

    /// Strands that lie above this one.
    pub(super) fn must_lie_above(&self, strand: usize) -> impl Iterator<Item = usize> {
        self.above.get(&strand).into_iter().flatten().copied()
    }

    /// Strands that lie below this one.
    pub(super) fn must_lie_below(&self, strand: usize) -> impl Iterator<Item = usize> {
        self.below.get(&strand).into_iter().flatten().copied()
    }
}
