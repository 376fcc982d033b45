//! A layout that was put together, with where its pieces were written and what of it may be wrong by mistakes already reported.

use std::collections::{BTreeMap, BTreeSet};

use track::{DistrictId, EndId, Hint, Layout, LinkId, SectionId, TurnoutId, WayId};

use crate::names::Names;
use crate::source::{Said, Span};

/// A layout together with the places its pieces were written at.
pub(crate) struct Resolved<'t> {
    pub(crate) layout: Layout,
    pub(crate) sections: Names<'t, SectionId>,
    pub(crate) links: Names<'t, LinkId>,
    pub(crate) places: Places,
    pub(crate) excused: Excused,
    pub(crate) parts: Option<Said<usize>>,
    pub(crate) section_links: BTreeMap<SectionId, Said<LinkId>>,
    /// How it is to be drawn, in the order in which that was written.
    pub(crate) hints: Vec<Hint>,
}

/// Where each piece was written, in the order of the layout's tables.
#[derive(Debug, Default)]
pub(crate) struct Places {
    pub(crate) sections: Vec<Span>,
    pub(crate) ends: Vec<Span>,
    pub(crate) ways: Vec<Span>,
    pub(crate) turnouts: Vec<Span>,
    pub(crate) districts: Vec<Span>,
    pub(crate) links: Vec<Span>,
    /// The first place where an end was said to be joined.
    pub(crate) joined: BTreeMap<EndId, Span>,
    /// Where each two ends were joined, lower id first.
    pub(crate) joints: BTreeMap<(EndId, EndId), Span>,
    pub(crate) closed: BTreeMap<EndId, Span>,
    pub(crate) signals: BTreeMap<EndId, Span>,
    pub(crate) stops: Vec<Span>,
    pub(crate) needed_length: BTreeSet<WayId>,
    /// By the number of the hint.
    pub(crate) hints: Vec<Span>,
}

/// What a mistake already reported may have left wrong: the ends, ways, turnouts, districts and links concerned, and the sections
/// that a faulty joint was meant to join.
#[derive(Default)]
pub(crate) struct Excused {
    pub(crate) ends: BTreeSet<EndId>,
    pub(crate) ways: BTreeSet<WayId>,
    pub(crate) turnouts: BTreeSet<TurnoutId>,
    pub(crate) districts: BTreeSet<DistrictId>,
    pub(crate) links: BTreeSet<LinkId>,
    /// What detectors sense, or at which voltage, was said wrongly.
    pub(crate) electrics: bool,
    pub(crate) touching: Vec<(SectionId, SectionId)>,
}
