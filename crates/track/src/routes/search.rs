//! Finding the routes that begin at a signal.

use std::collections::{BTreeMap, BTreeSet};

use super::{Exit, Route, RouteOverlap, flank, overlap};
use crate::aspects::Role;
use crate::graph::{Path, Traverse};
use crate::ids::{EndId, SectionId, SignalId, TurnoutId};
use crate::layout::{Beyond, Layout, Lie, Need};

/// So many routes are reckoned for one signal. No signal box had more; without signals inside, a maze of turnouts has.
pub const MOST_ROUTES: usize = 1000;
/// So many passages are tried for one signal: bounds the work in a maze whose paths lead nowhere.
const MOST_TRIED: usize = 200_000;

/// All that begins at one signal.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Fan {
    /// The routes, in order.
    pub routes: Vec<Route>,
    /// Ends where a path comes back to a section that it has passed already, or crosses one, with no signal in between.
    pub lost: Vec<EndId>,
    /// There are more paths than were looked at.
    pub is_cut_short: bool,
}

/// A signal that only foretells begins no route.
pub(super) fn fan(layout: &Layout, entry: SignalId) -> Fan {
    if layout.book_of(entry).role() == Role::Distant {
        return Fan::default();
    }
    let mut search = Search::new(layout);
    search.run(layout.signals[entry].at);
    let names: Vec<String> = search.found.iter().map(|found| found.exit.name(layout)).collect();
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    let mut routes = Vec::with_capacity(search.found.len());
    for (name, found) in names.iter().zip(search.found) {
        let so_many = names.iter().filter(|other| *other == name).count();
        let place = seen.entry(name).or_default();
        *place += 1;
        let suffix = if so_many > 1 { format!("/{place}") } else { String::new() };
        let name = format!("{}-{name}{suffix}", layout.signals[entry].name);
        routes.push(complete(layout, (entry, name), found));
    }
    Fan { routes, lost: search.lost.into_iter().collect(), is_cut_short: search.is_cut_short }
}

/// Adds to a path what follows from it.
fn complete(layout: &Layout, (entry, name): (SignalId, String), found: Found) -> Route {
    let Found { exit, passages, turnouts } = found;
    let inner = passages.iter().rev().skip(1).rev().map(|passage| passage.leave);
    let crossed = std::iter::once(layout.signals[entry].at).chain(inner).zip(&passages);
    let both = crossed.flat_map(|(leave, next)| [leave, next.enter]);
    let unproved = both.filter(|&end| layout.ends[end].meets.len() > 1).collect();
    let mut overlap = match exit {
        Exit::Signal(signal) => overlap::overlap_behind(layout, signal),
        Exit::Stop(_) | Exit::BufferStop(_) | Exit::Edge(_) => RouteOverlap::default(),
    };
    overlap.turnouts.retain(|(turnout, _)| turnouts.iter().all(|need| need.turnout != *turnout));
    let mut route = Route { name, entry, exit, passages, turnouts, unproved, overlap, flank: Vec::new() };
    route.flank = flank::of(layout, &route);
    route
}

struct Found {
    exit: Exit,
    passages: Path,
    turnouts: Vec<Need>,
}

/// A walk from a signal along all paths, depth first.
struct Search<'l> {
    layout: &'l Layout,
    path: Path,
    /// How many turnouts were needed before each passage of the path.
    needed_before: Vec<usize>,
    turnouts: Vec<Need>,
    lies: BTreeMap<TurnoutId, Lie>,
    passed: BTreeSet<SectionId>,
    /// Passages still to be tried, each with the number of passages before it.
    open: Vec<(usize, Traverse)>,
    found: Vec<Found>,
    lost: BTreeSet<EndId>,
    is_cut_short: bool,
}

impl<'l> Search<'l> {
    fn new(layout: &'l Layout) -> Self {
        Self {
            layout,
            path: Path::new(),
            needed_before: Vec::new(),
            turnouts: Vec::new(),
            lies: BTreeMap::new(),
            passed: BTreeSet::new(),
            open: Vec::new(),
            found: Vec::new(),
            lost: BTreeSet::new(),
            is_cut_short: false,
        }
    }

    fn run(&mut self, at: EndId) {
        if self.layout.ends[at].beyond == Beyond::OffLayout {
            self.arrive(Exit::Edge(at));
        }
        self.onward(at);
        let mut tried = 0;
        while let Some((before, passage)) = self.open.pop() {
            tried += 1;
            if tried > MOST_TRIED || self.found.len() >= MOST_ROUTES {
                self.is_cut_short = true;
                return;
            }
            self.back_to(before);
            let crosses_itself =
                || self.layout.sections[passage.section].crosses.iter().any(|it| self.passed.contains(it));
            if self.passed.contains(&passage.section) || crosses_itself() {
                self.lost.insert(passage.enter);
            } else if self.take(passage) {
                self.look_for_exits(passage.leave);
            }
        }
    }

    fn onward(&mut self, leave: EndId) {
        let (layout, from) = (self.layout, self.open.len());
        for &enter in &layout.ends[leave].meets {
            for (way, leave) in layout.ways_from(enter) {
                let passage = Traverse { section: layout.ends[enter].section, enter, way, leave };
                self.open.push((self.path.len(), passage));
            }
        }
        // The last is tried first.
        self.open[from..].reverse();
    }

    fn back_to(&mut self, before: usize) {
        for passage in self.path.drain(before..) {
            self.passed.remove(&passage.section);
        }
        if let Some(&needed) = self.needed_before.get(before) {
            for need in self.turnouts.drain(needed..) {
                self.lies.remove(&need.turnout);
            }
        }
        self.needed_before.truncate(before);
    }

    /// Adds a passage to the path, unless it needs a turnout otherwise than the path so far.
    fn take(&mut self, passage: Traverse) -> bool {
        let needs = &self.layout.ways[passage.way].needs;
        if needs.iter().any(|need| self.lies.get(&need.turnout).is_some_and(|&lie| lie != need.lie)) {
            return false;
        }
        self.needed_before.push(self.turnouts.len());
        for &need in needs {
            if self.lies.insert(need.turnout, need.lie).is_none() {
                self.turnouts.push(need);
            }
        }
        self.passed.insert(passage.section);
        self.path.push(passage);
        true
    }

    fn look_for_exits(&mut self, leave: EndId) {
        let end = &self.layout.ends[leave];
        if let Some(signal) = self.layout.main_signal(leave) {
            return self.arrive(Exit::Signal(signal));
        }
        if end.beyond == Beyond::BufferStop {
            return self.arrive(Exit::BufferStop(leave));
        }
        for &stop in &self.layout.sections[end.section].stops {
            if self.layout.stops[stop].towards == leave {
                self.arrive(Exit::Stop(stop));
            }
        }
        if end.beyond == Beyond::OffLayout {
            return self.arrive(Exit::Edge(leave));
        }
        self.onward(leave);
    }

    fn arrive(&mut self, exit: Exit) {
        self.found.push(Found { exit, passages: self.path.clone(), turnouts: self.turnouts.clone() });
    }
}
