//! Sections in the order in which they are drawn: strands of track, from end to end.

use std::collections::BTreeSet;

use track::{Beyond, EndId, Layout, Lie, SectionId};

/// A section within a strand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Piece {
    /// The section.
    pub(super) section: SectionId,
    /// Its end on the left.
    pub(super) left: EndId,
    /// Its end on the right; nothing where no way leads on.
    pub(super) right: Option<EndId>,
}

impl Piece {
    /// The same, seen from the other side of the track.
    pub(super) fn turned(self) -> Self {
        Self { section: self.section, left: self.right.unwrap_or(self.left), right: Some(self.left) }
    }
}

/// Every section once, in strands. The first begins where track ends, and runs as straight as turnouts let it.
pub(super) fn strands(layout: &Layout) -> Vec<Vec<Piece>> {
    let mut left_over: BTreeSet<SectionId> = layout.sections.ids().collect();
    let is_edge = |&end: &EndId| layout.ends[end].beyond != Beyond::Joint;
    let firsts = layout.sections.values().filter_map(|section| section.ends.first().copied());
    let starts: Vec<EndId> = layout.ends.ids().filter(is_edge).chain(firsts).collect();
    let mut strands = Vec::new();
    for start in starts {
        if left_over.contains(&layout.ends[start].section) {
            let mut strand = walk(layout, start, &mut left_over);
            let mut leftwards = Vec::new();
            if let Some(onward) = unvisited_beyond(layout, start, &left_over) {
                leftwards = walk(layout, onward, &mut left_over);
            }
            leftwards.reverse();
            strand.splice(0..0, leftwards.into_iter().map(Piece::turned));
            strands.push(strand);
        }
    }
    strands
}

/// Goes on from an end, through its section and as far as there are sections left over.
fn walk(layout: &Layout, start: EndId, left_over: &mut BTreeSet<SectionId>) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut entered = Some(start);
    while let Some(left) = entered {
        let section = layout.ends[left].section;
        left_over.remove(&section);
        let straightest = layout.ways_from(left).min_by_key(|&(way, leave)| {
            let bends = layout.ways[way].needs.iter().filter(|need| need.lie == Lie::Diverging).count();
            (unvisited_beyond(layout, leave, left_over).is_none(), bends)
        });
        let right = straightest.map(|(_, leave)| leave);
        pieces.push(Piece { section, left, right });
        entered = right.and_then(|right| unvisited_beyond(layout, right, left_over));
    }
    pieces
}

fn unvisited_beyond(layout: &Layout, end: EndId, left_over: &BTreeSet<SectionId>) -> Option<EndId> {
    layout.ends[end].meets.iter().copied().find(|&met| left_over.contains(&layout.ends[met].section))
}
