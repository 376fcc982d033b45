//! Signals, and what they are said to depend on.

use track::{Beyond, Length, Overlap, SectionId, SignalId};

use crate::books::{Books, DEFAULT_BOOK};
use crate::names::Names;
use crate::resolve::Resolver;
use crate::source::{Said, Span};
use crate::written::{WrittenOverlap, WrittenTrack};

impl<'t> Resolver<'t, '_> {
    pub(crate) fn add_signals(&mut self, track: &WrittenTrack<'t>) {
        let mut names = Names::new("signal");
        for written in &track.signals {
            let at = self.find_end(written.at).sure();
            if !names.is_free(written.name, self.out) {
                continue;
            }
            names.add(written.name, ());
            let Some(at) = at else { continue };
            if let Some(&first) = self.places.signals.get(&at) {
                self.out
                    .mistake(written.at.span, format!("a second signal stands at `{}`", written.at.value))
                    .see(first, "the first")
                    .hint("one signal governs leaving a section by an end");
            } else {
                let signal = self.builder.signal(written.name.value, at);
                self.places.signals.insert(at, written.name.span);
                let overlap = written.overlap.as_ref().map(|overlap| self.overlap(signal, overlap));
                let book = written.aspects.and_then(|title| self.books.get(title.value).copied());
                let row = self.builder.signal_mut(signal);
                row.book = book.unwrap_or(row.book);
                row.overlap = overlap.unwrap_or_default();
                (row.is_permissive, row.is_approach_lit) = (written.permissive, written.approach_lit);
                row.is_controlled = written.controlled;
            }
        }
    }

    /// Adds every aspect book that signals are shown by; reports names of books that there are not.
    pub(crate) fn add_books(&mut self, track: &WrittenTrack<'t>, books: &Books) {
        if let Some(book) = books.get(track.aspects.map_or(DEFAULT_BOOK, |title| title.value)) {
            self.books.insert(book.title().to_owned(), self.builder.default_book());
            self.builder.replace_default_book(book.clone());
        }
        let named = track.aspects.into_iter().chain(track.signals.iter().filter_map(|signal| signal.aspects));
        for title in named {
            match books.get(title.value) {
                Some(book) if !self.books.contains_key(title.value) => {
                    let id = self.builder.book(book.clone());
                    self.books.insert(title.value.to_owned(), id);
                }
                Some(_) => {}
                None => books.report_unknown(title, self.out),
            }
        }
    }

    /// The overlap of a signal. What cannot be one is reported, and left out.
    fn overlap(&mut self, signal: SignalId, written: &Said<WrittenOverlap<'t>>) -> Overlap {
        let end = &self.builder.layout().ends[self.builder.layout().signals[signal].at];
        if end.meets.is_empty() {
            let why = match end.beyond {
                Beyond::BufferStop => "behind this signal is a buffer stop, so it has no overlap",
                Beyond::Joint | Beyond::OffLayout => {
                    "nothing is known of the track behind this signal, so it has no overlap"
                }
            };
            self.out.mistake(written.span, why).hint("the overlap of a signal is the track beyond it");
            return Overlap::None;
        }
        match &written.value {
            WrittenOverlap::Sections(names) => self.overlap_of_sections(signal, names),
            WrittenOverlap::Length(length) => self.overlap_of_length(signal, *length, written.span),
        }
    }

    /// Each section must begin behind the signal, or behind another section of the list.
    fn overlap_of_sections(&mut self, signal: SignalId, names: &[Said<&'t str>]) -> Overlap {
        let mut named = Vec::new();
        for name in names {
            if let Some(section) = self.sections.find(*name, self.out) {
                named.push((section, *name));
            }
        }
        let all_found = named.len() == names.len();
        let layout = self.builder.layout();
        let mut open = layout.ends[layout.signals[signal].at].meets.clone();
        let mut reached: Vec<SectionId> = Vec::new();
        while let Some(enter) = open.pop() {
            let section = layout.ends[enter].section;
            if named.iter().any(|(other, _)| *other == section) && !reached.contains(&section) {
                reached.push(section);
                open.extend(layout.ways_from(enter).flat_map(|(_, leave)| &layout.ends[leave].meets));
            }
        }
        let mut sections = Vec::new();
        for (section, name) in named {
            if reached.contains(&section) {
                sections.push(section);
            } else if all_found {
                self.out
                    .mistake(name.span, format!("`{}` does not lie behind this signal", name.value))
                    .hint("an overlap begins behind its signal and has no gap; name the sections between, too");
            }
        }
        Overlap::Sections(sections)
    }

    /// Every way on which the length is measured must have one of its own.
    fn overlap_of_length(&mut self, signal: SignalId, length: Length, span: Span) -> Overlap {
        let at = self.builder.layout().signals[signal].at;
        self.builder.signal_mut(signal).overlap = Overlap::Length(length);
        let layout = self.builder.layout();
        let sections = layout.overlap_sections(at);
        let ways = sections.iter().flat_map(|&section| &layout.sections[section].ways).copied();
        let unmeasured: Vec<_> = ways.filter(|&way| layout.ways[way].length.is_none()).collect();
        for way in unmeasured {
            self.needs_length(way, span, "an overlap");
        }
        Overlap::Length(length)
    }
}
