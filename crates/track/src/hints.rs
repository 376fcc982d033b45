//! How somebody would rather have the track drawn. It is no part of a [`Layout`](crate::Layout): nothing is worked by it.

use crate::{EndId, SectionId};

/// One wish of how the track is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hint {
    /// This end is on the left of its section.
    Left(EndId),
    /// One section is drawn in a row above that of another. Both have two ends and one way between them.
    Above {
        /// The one above.
        upper: SectionId,
        /// The one below.
        lower: SectionId,
    },
    /// Of the ring that this section lies in, it is drawn backwards, from right to left. It has two ends and one way between
    /// them.
    Backwards(SectionId),
}
