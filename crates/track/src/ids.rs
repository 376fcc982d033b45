//! Ids: a position in one of the layout's tables, one type a table.

use std::num::NonZeroU32;

use crate::table::Id;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
        pub struct $name(NonZeroU32);

        impl Id for $name {
            const TABLE: &'static str = concat!("table of ", stringify!($name));

            fn from_index(index: usize) -> Self {
                // One more than the index, so that an `Option` of an id takes no more room than an id.
                Self(NonZeroU32::MIN.saturating_add(index as u32))
            }
            fn index(self) -> usize {
                self.0.get() as usize - 1
            }
        }

        impl std::fmt::Debug for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                write!(f, "{}{}", stringify!($name).trim_end_matches("Id").to_lowercase(), self.index())
            }
        }
    )*};
}

ids! {
    /// A section: a stretch of track whose occupancy is detected as one.
    SectionId;
    /// An end of a section.
    EndId;
    /// A way through a section, from end to end.
    WayId;
    /// A turnout.
    TurnoutId;
    /// A signal.
    SignalId;
    /// An aspect book.
    BookId;
    /// A stopping point.
    StopId;
    /// A detector.
    DetectorId;
    /// A power district.
    DistrictId;
    /// An accessory: a lamp, a relay, a sound.
    AccessoryId;
    /// An input: a push button, a key switch, a lever, a float switch, a photocell.
    InputId;
    /// A link: what carries reports and orders to and from one part of the hardware.
    LinkId;
    /// A train. The layout's own trains come first; trains that the signaller meets later follow.
    TrainId;
}
