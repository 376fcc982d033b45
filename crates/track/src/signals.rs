//! Signals, and the track behind them that is kept clear of a train that runs past one.

use std::collections::BTreeMap;

use crate::ids::{BookId, EndId, SectionId, SignalId};
use crate::layout::{Beyond, Layout};
use crate::units::Length;

/// A signal.
#[derive(Clone, Debug)]
pub struct Signal {
    /// Its name.
    pub name: String,
    /// The end whose leaving it governs.
    pub at: EndId,
    /// The aspect book it is shown by.
    pub book: BookId,
    /// Trains may pass it on sight after they have stopped, where its book has an aspect for that.
    pub is_permissive: bool,
    /// It is dark while the section before it is known to be free.
    pub is_approach_lit: bool,
    /// It shows stop unless a route is set from it. One that is not works by itself, from what detectors say. Where the
    /// signaller drives, every signal is controlled.
    pub is_controlled: bool,
    /// What lies beyond it and is kept clear for a train that should have stopped here.
    pub overlap: Overlap,
}

/// The overlap of a signal: track *beyond* it that must be clear, too, before a signal that leads up to it may let a
/// train come. It says nothing about when this signal itself may clear.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Overlap {
    /// Only the track up to the signal.
    #[default]
    None,
    /// All of these sections, whichever way the turnouts in them lie. The first of them begins right behind the signal.
    Sections(Vec<SectionId>),
    /// So much track, the way the turnouts lie, and the whole of every section it reaches into. It ends at a buffer
    /// stop, and at the layout's edge.
    Length(Length),
}

impl Layout {
    /// Whether the signal stands at a buffer stop: nothing leaves there, and it never shows anything but its most
    /// restrictive aspect.
    pub fn is_fixed(&self, signal: SignalId) -> bool {
        self.ends[self.signals[signal].at].beyond == Beyond::BufferStop
    }

    /// Every section in which the overlap beyond the signal that governs leaving by `at` can lie, whichever way
    /// turnouts lie.
    pub fn overlap_sections(&self, at: EndId) -> Vec<SectionId> {
        let overlap = self.ends[at].signal.map(|signal| &self.signals[signal].overlap);
        match overlap {
            None | Some(Overlap::None) => Vec::new(),
            Some(Overlap::Sections(sections)) => sections.clone(),
            Some(Overlap::Length(length)) => self.reach(at, *length),
        }
    }

    /// The sections that begin less than `length` beyond an end. Track that nobody measured counts as none at all, so
    /// that rather more sections are named than fewer.
    fn reach(&self, at: EndId, length: Length) -> Vec<SectionId> {
        let mut sections = Vec::new();
        // For each end by which a section was entered the most that was left of the length there.
        let mut entered: BTreeMap<EndId, Length> = BTreeMap::new();
        let mut open: Vec<(EndId, Length)> = self.ends[at].meets.iter().map(|&enter| (enter, length)).collect();
        while let Some((enter, left)) = open.pop() {
            if left <= Length::ZERO || entered.get(&enter).is_some_and(|&before| before >= left) {
                continue;
            }
            entered.insert(enter, left);
            if !sections.contains(&self.ends[enter].section) {
                sections.push(self.ends[enter].section);
            }
            for (way, leave) in self.ways_from(enter) {
                let left = left - self.ways[way].length.unwrap_or(Length::ZERO);
                open.extend(self.ends[leave].meets.iter().map(|&enter| (enter, left)));
            }
        }
        sections
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::builder::Builder;
    use crate::scale::Scale;

    /// Four sections of 500 mm in a row, a signal at the far end of the first.
    fn line(overlap: impl FnOnce(&[SectionId]) -> Overlap) -> (Layout, EndId, Vec<SectionId>) {
        let mut builder = Builder::new("line", Scale::UNKNOWN);
        let names = ["a", "b", "c", "d"];
        let row: Vec<_> = names.map(|name| builder.plain_section(name, Some(Length::from_mm(500)))).to_vec();
        for pair in row.windows(2) {
            let (from, to) = (builder.layout().sections[pair[0]].ends[1], builder.layout().sections[pair[1]].ends[0]);
            builder.join(from, to);
        }
        let at = builder.layout().sections[row[0]].ends[1];
        let signal = builder.signal("S1", at);
        builder.signal_mut(signal).overlap = overlap(&row);
        (builder.build(), at, row)
    }

    #[test]
    fn an_overlap_reaches_into_every_section_it_covers_some_of() {
        let (layout, at, row) = line(|_| Overlap::Length(Length::from_mm(501)));
        assert_eq!(layout.overlap_sections(at), row[1..3]);
        let (layout, at, row) = line(|_| Overlap::Length(Length::from_mm(500)));
        assert_eq!(layout.overlap_sections(at), row[1..2]);
        let (layout, at, row) = line(|_| Overlap::Length(Length::from_mm(9000)));
        assert_eq!(layout.overlap_sections(at), row[1..]);
    }

    #[test]
    fn an_overlap_is_what_was_listed_or_nothing() {
        let (layout, at, row) = line(|row| Overlap::Sections(row[1..3].to_vec()));
        assert_eq!(layout.overlap_sections(at), row[1..3]);
        let (layout, at, _) = line(|_| Overlap::None);
        assert_eq!(layout.overlap_sections(at), []);
    }
}
