//! From names to ids, fast.

use std::collections::HashMap;
use std::sync::Arc;

use foldhash::fast::FixedState;
use track::routes::Routes;
use track::{
    Aspect, AspectBook, BookId, DetectorId, DetectorKind, DistrictId, EndId, Id, Layout, Lie, LinkId, SectionId,
    SignalId, Table, TrainId, TurnoutId,
};

/// Names of one kind of thing. Looked up by bytes: a name that is found is well-formed text.
pub(super) struct Directory<I> {
    ids: HashMap<Box<[u8]>, I, FixedState>,
}

impl<I: Copy + Ord> Directory<I> {
    fn new<'a>(names: impl Iterator<Item = (I, &'a str)>) -> Self {
        Self { ids: names.map(|(id, name)| (name.as_bytes().into(), id)).collect() }
    }

    /// The id of that name.
    pub(super) fn find(&self, name: &[u8]) -> Option<I> {
        self.ids.get(name).copied()
    }

    /// All names, in the order of the layout.
    pub(super) fn names(&self) -> impl Iterator<Item = &str> {
        let mut names: Vec<(I, &[u8])> = self.ids.iter().map(|(name, &id)| (id, &**name)).collect();
        names.sort_unstable_by_key(|&(id, _)| id);
        names.into_iter().filter_map(|(_, name)| str::from_utf8(name).ok())
    }
}

/// Every name that a line may use.
pub(super) struct Names {
    /// Sections.
    pub(super) sections: Directory<SectionId>,
    /// Turnouts.
    pub(super) turnouts: Directory<TurnoutId>,
    /// Signals.
    pub(super) signals: Directory<SignalId>,
    /// Detectors that read which train it is.
    pub(super) readers: Directory<DetectorId>,
    /// Detectors that something passes.
    pub(super) spots: Directory<DetectorId>,
    /// Power districts.
    pub(super) districts: Directory<DistrictId>,
    /// Links.
    pub(super) links: Directory<LinkId>,
    /// Trains: those of the layout, then those that lines named.
    pub(super) trains: Directory<TrainId>,
    /// What signals can show, by the book of each.
    aspects: Table<BookId, Directory<Aspect>>,
    books: Table<SignalId, BookId>,
    /// Routes, reckoned when a line names one.
    pub(super) routes: Routes,
    next_train: usize,
}

impl Names {
    /// The names of a layout, of its routes, and of what its signals can show.
    pub(super) fn new(layout: &Arc<Layout>) -> Self {
        let detectors = |wanted: fn(&DetectorKind) -> bool| {
            let detectors = layout.detectors.iter().filter(move |(_, detector)| wanted(&detector.kind));
            Directory::new(detectors.map(|(id, detector)| (id, detector.name.as_str())))
        };
        Self {
            sections: Directory::new(layout.sections.iter().map(|(id, section)| (id, section.name.as_str()))),
            turnouts: Directory::new(layout.turnouts.iter().map(|(id, turnout)| (id, turnout.name.as_str()))),
            signals: Directory::new(layout.signals.iter().map(|(id, signal)| (id, signal.name.as_str()))),
            readers: detectors(|kind| matches!(kind, DetectorKind::Reader(_))),
            spots: detectors(|kind| matches!(kind, DetectorKind::Spot { .. })),
            districts: Directory::new(layout.districts.iter().map(|(id, district)| (id, district.name.as_str()))),
            links: Directory::new(layout.links.iter().map(|(id, link)| (id, link.name.as_str()))),
            trains: Directory::new(layout.trains.iter().map(|(id, train)| (id, train.name.as_str()))),
            aspects: layout.books.values().map(aspects_of).collect(),
            books: layout.signals.values().map(|signal| signal.book).collect(),
            routes: Routes::new(Arc::clone(layout)),
            next_train: layout.trains.len(),
        }
    }

    /// The id that the next train gets which nobody described.
    pub(super) fn next_train(&self) -> TrainId {
        TrainId::from_index(self.next_train)
    }

    /// Gives that id a name.
    pub(super) fn add_train(&mut self, train: TrainId, name: &str) {
        self.next_train = train.index() + 1;
        self.trains.ids.insert(name.as_bytes().into(), train);
    }

    /// What a signal can show.
    pub(super) fn aspects(&self, signal: SignalId) -> &Directory<Aspect> {
        &self.aspects[self.books[signal]]
    }

    /// The names of all routes from signals that a name may mean: those it begins with, or else all signals.
    pub(super) fn routes_like(&self, name: &str) -> Vec<String> {
        let layout = self.routes.layout();
        let meant = |signal: &&SignalId| name.starts_with(layout.signals[**signal].name.as_str());
        let signals: Vec<SignalId> = layout.signals.ids().collect();
        let from: Vec<&SignalId> = signals.iter().filter(meant).collect();
        match from.is_empty() {
            true => layout.signals.values().map(|signal| format!("{}-", signal.name)).collect(),
            false => {
                let ids = from.into_iter().flat_map(|&signal| self.routes.from_signal(signal));
                ids.map(|id| self.routes.route(id).name.clone()).collect()
            }
        }
    }

    /// The end written `section.end`.
    pub(super) fn end(&self, layout: &Layout, name: &str) -> Option<EndId> {
        let (section, end) = name.rsplit_once('.')?;
        let section = self.sections.find(section.as_bytes())?;
        layout.sections[section].ends.iter().copied().find(|&id| layout.ends[id].name == end)
    }
}

fn aspects_of(book: &AspectBook) -> Directory<Aspect> {
    let names = book.aspects().flat_map(|(aspect, row)| {
        std::iter::once(&row.name).chain(&row.also_called).map(move |name| (aspect, name.as_str()))
    });
    Directory::new(names)
}

/// How a turnout lies, as lines say it. Nothing inside where it is not known, nothing at all where the word is none of
/// ours.
pub(super) fn lie(word: &[u8]) -> Option<Option<Lie>> {
    match word {
        b"straight" => Some(Some(Lie::Straight)),
        b"diverging" => Some(Some(Lie::Diverging)),
        b"unknown" => Some(None),
        _ => None,
    }
}
