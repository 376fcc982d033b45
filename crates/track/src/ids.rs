//! Ids: a position in one of the layout's tables, one type a table.

use crate::table::Id;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(u32);

        impl Id for $name {
            fn from_index(index: usize) -> Self {
                debug_assert!(index < u32::MAX as usize);
                Self(index as u32)
            }
            fn index(self) -> usize {
                self.0 as usize
            }
        }

        impl std::fmt::Debug for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                write!(f, "{}{}", stringify!($name).trim_end_matches("Id").to_lowercase(), self.0)
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
    /// A stopping point.
    StopId;
    /// A detector.
    DetectorId;
    /// A power district.
    DistrictId;
    /// A train. The layout's own trains come first; trains that the signaller meets later follow.
    TrainId;
}
