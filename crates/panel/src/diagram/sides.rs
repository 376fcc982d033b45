//! Which side of its section each end is drawn on, so that a train that runs on always leaves by the other side.
//!
//! Track that turns a train round (a reversing loop, a triangle) cannot be drawn so throughout: there two ends on the same side
//! meet, and the track between them is drawn as a bow.

use std::collections::VecDeque;

use track::{Beyond, EndId, Id, Layout};

/// A side of the drawing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Side {
    /// Left.
    Left,
    /// Right.
    Right,
}

impl Side {
    /// The other one.
    pub(super) fn other(self) -> Self {
        match self {
            Self::Left => Self::Right,
            Self::Right => Self::Left,
        }
    }

    /// 1 to the right, -1 to the left.
    pub(super) fn sign(self) -> i64 {
        match self {
            Self::Left => -1,
            Self::Right => 1,
        }
    }
}

/// The side of every end, by its index. Each part of the layout begins on the left, with an end of its track if it has one.
pub(super) fn sides(layout: &Layout) -> Vec<Side> {
    let mut sides = vec![None; layout.ends.len()];
    let closed = layout.ends.ids().filter(|&end| layout.ends[end].beyond != Beyond::Joint);
    for start in closed.chain(layout.ends.ids()) {
        spread(layout, start, &mut sides);
    }
    sides.into_iter().map(|side| side.unwrap_or(Side::Left)).collect()
}

fn spread(layout: &Layout, start: EndId, sides: &mut [Option<Side>]) {
    let mut next = VecDeque::from([(start, Side::Left)]);
    while let Some((end, side)) = next.pop_front() {
        if sides[end.index()].is_some() {
            continue;
        }
        sides[end.index()] = Some(side);
        // First all of a section, then what is beyond its joints: so where things do not fit together, they do not at a joint.
        next.extend(layout.ends[end].meets.iter().map(|&other| (other, side.other())));
        for (_, other) in layout.ways_from(end) {
            next.push_front((other, side.other()));
        }
    }
}
