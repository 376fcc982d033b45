//! Static routes: what a signal can be cleared for, reckoned from the graph, and which routes exclude each other.
//!
//! A [`Route`] leads from a signal to the next one that faces the same way, on every path there is; to each stopping point
//! before that; and where no signal comes, to the buffer stop or the edge of the layout. It says which sections it passes in
//! order, how the turnouts in them must lie, which overlap lies behind its exit, and what keeps others from running into its
//! side. It knows nothing of trains: whether a route is set is for others to know.
//!
//! [`Routes`] reckons the routes of a signal when somebody asks for them first, and keeps them: a layout of any size costs
//! nothing until then. Equal layouts give equal routes in equal order: depth first, in the order in which ends meet and ways
//! were declared.
//!
//! What is deliberately so:
//!
//! - **Whole sections.** A section is passed by one route at a time, whatever its ways are: which of them cross is not known.
//! - **An end that meets several others** is a junction whose turnout nobody reports. A route leads over each of its joints,
//!   and names the end in [`Route::unproved`]: nobody can prove where a train would go there. The other ends are legs of it.
//! - **Sections that cross** are passed by one route at a time, like one section.
//! - A path that **comes back** to a section it has passed, or crosses one, without a signal in between, is no route: it is kept in
//!   [`Fan::lost`], for people to put a signal or a stopping point there.
//! - **Flank protection** is looked for along every track that leads into the side of the path, no matter who may stand there:
//!   the first turnout that turns trains away and is not needed otherwise, or the first signal that faces the path.
//!
//! Read [`Route`] first.

mod conflict;
mod flank;
mod near;
mod overlap;
mod search;
#[cfg(test)]
mod tests;

use std::sync::{Arc, OnceLock};

pub use conflict::{Conflict, Reason};
pub use flank::{Exposure, Flank, Protection, flank_of_path};
use overlap::Overlaps;
pub use overlap::{RouteOverlap, overlap_behind};
pub use search::{Fan, MOST_ROUTES};

use crate::graph::{Path, Traverse};
use crate::ids::{EndId, SectionId, SignalId, StopId, TurnoutId};
use crate::layout::{Layout, Lie, Need};
use crate::table::Table;

/// What a signal can be cleared for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Route {
    /// `ENTRY-EXIT`, with `/1`, `/2` and so on where several paths lead to the same exit.
    pub name: String,
    /// The signal it begins at.
    pub entry: SignalId,
    /// Where it ends.
    pub exit: Exit,
    /// The passages through its sections, in order. None where the signal stands at the edge of the layout.
    pub passages: Path,
    /// How the turnouts in the path must lie, in the order in which they are met, each once.
    pub turnouts: Vec<Need>,
    /// Ends on the path that meet several others: which way a train takes there nobody can prove.
    pub unproved: Vec<EndId>,
    /// What must be clear and locked behind the exit.
    pub overlap: RouteOverlap,
    /// What keeps others from running into its side, one entry for every track that leads there.
    pub flank: Vec<Flank>,
}

/// Where a route ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Exit {
    /// Before the next signal that faces the same way.
    Signal(SignalId),
    /// At a stopping point before that.
    Stop(StopId),
    /// Before the buffer stop at this end.
    BufferStop(EndId),
    /// Off the layout by this end.
    Edge(EndId),
}

impl Exit {
    /// Its name: that of the signal or the stopping point, or the end as people write it.
    pub fn name(self, layout: &Layout) -> String {
        match self {
            Self::Signal(signal) => layout.signals[signal].name.clone(),
            Self::Stop(stop) => layout.stops[stop].name.clone(),
            Self::BufferStop(end) | Self::Edge(end) => layout.end_name(end),
        }
    }
}

/// Why a route keeps a turnout from moving.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum LockedFor {
    /// It lies in the path.
    Path,
    /// It lies in the overlap.
    Overlap,
    /// It turns others away.
    Flank,
}

impl Route {
    /// The sections it passes, in order.
    pub fn sections(&self) -> impl DoubleEndedIterator<Item = SectionId> + ExactSizeIterator + '_ {
        self.passages.iter().map(|passage| passage.section)
    }

    /// The sections of its path, and then those of its overlap.
    pub fn kept_clear(&self) -> impl Iterator<Item = SectionId> + '_ {
        self.sections().chain(self.overlap.sections.iter().copied())
    }

    /// The passage through a section, if it passes it.
    pub fn passage_through(&self, section: SectionId) -> Option<&Traverse> {
        self.passages.iter().find(|passage| passage.section == section)
    }

    /// The section where a train waits for it: the one that its signal stands in.
    pub fn berth(&self, layout: &Layout) -> SectionId {
        layout.ends[layout.signals[self.entry].at].section
    }

    /// How it needs a turnout in its path to lie.
    pub fn lie_of(&self, turnout: TurnoutId) -> Option<Lie> {
        self.turnouts.iter().find(|need| need.turnout == turnout).map(|need| need.lie)
    }

    /// Every turnout that must not move while it is set: those in the path, in the overlap, on the flanks. Nothing for the lie
    /// where it is locked however it lies. A turnout may come more than once, never with two different lies.
    pub fn locks(&self) -> impl Iterator<Item = (TurnoutId, Option<Lie>, LockedFor)> + '_ {
        let path = self.turnouts.iter().map(|need| (need.turnout, Some(need.lie), LockedFor::Path));
        let overlap = self.overlap.turnouts.iter().map(|&(turnout, lie)| (turnout, lie, LockedFor::Overlap));
        let flank = self.flank.iter().filter_map(|flank| match flank.by {
            Protection::Turnout(need) => Some((need.turnout, Some(need.lie), LockedFor::Flank)),
            Protection::Signal(_) | Protection::None(_) => None,
        });
        path.chain(overlap).chain(flank)
    }

    /// The signals that must stay at danger for its flanks.
    pub fn signals_at_danger(&self) -> impl Iterator<Item = SignalId> + '_ {
        self.flank.iter().filter_map(|flank| match flank.by {
            Protection::Signal(signal) => Some(signal),
            Protection::Turnout(_) | Protection::None(_) => None,
        })
    }
}

/// Names one route of [`Routes`]: good as long as the layout is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
pub struct RouteId {
    /// The signal it begins at.
    pub entry: SignalId,
    /// Which of the routes from there.
    pub place: u16,
}

/// All routes of a layout, reckoned signal by signal as they are asked for.
#[derive(Debug)]
pub struct Routes {
    layout: Arc<Layout>,
    fans: Table<SignalId, OnceLock<Fan>>,
    overlaps: OnceLock<Overlaps>,
}

impl Routes {
    /// Reckons nothing yet.
    pub fn new(layout: Arc<Layout>) -> Self {
        let fans = layout.signals.ids().map(|_| OnceLock::new()).collect();
        Self { fans, overlaps: OnceLock::new(), layout }
    }

    /// The layout they lead over.
    pub fn layout(&self) -> &Layout {
        &self.layout
    }

    /// The routes that begin at a signal.
    pub fn fan(&self, entry: SignalId) -> &Fan {
        self.fans[entry].get_or_init(|| search::fan(&self.layout, entry))
    }

    /// The ids of the routes that begin at a signal, in order.
    pub fn from_signal(&self, entry: SignalId) -> impl Iterator<Item = RouteId> + use<> {
        (0..self.fan(entry).routes.len()).map(move |place| RouteId { entry, place: place as u16 })
    }

    /// All routes of the layout, in order. Reckons them all.
    pub fn all(&self) -> impl Iterator<Item = RouteId> + '_ {
        self.layout.signals.ids().flat_map(|entry| self.from_signal(entry))
    }

    /// The route of that id, which must come from here.
    pub fn route(&self, id: RouteId) -> &Route {
        &self.fan(id.entry).routes[usize::from(id.place)]
    }

    /// The route of that name. Reckons only the routes of signals whose name it begins with.
    pub fn named(&self, name: &str) -> Option<RouteId> {
        let begins =
            |signal: &str| name.strip_prefix(signal).is_some_and(|rest| rest.starts_with('-') && rest.len() > 1);
        let entries = self.layout.signals.iter().filter(|(_, signal)| begins(&signal.name));
        entries.flat_map(|(entry, _)| self.from_signal(entry)).find(|&id| self.route(id).name == name)
    }

    /// Why two routes cannot be set at once; nothing where they can.
    pub fn between(&self, one: RouteId, other: RouteId) -> Vec<Reason> {
        conflict::between(&self.layout, self.route(one), self.route(other))
    }

    /// All routes that cannot be set together with this one, each with the reasons, in order. Reckons only the routes of
    /// signals near by.
    pub fn conflicts(&self, id: RouteId) -> Vec<Conflict> {
        let overlaps = self.overlaps.get_or_init(|| Overlaps::new(&self.layout));
        let entries = near::entries(&self.layout, overlaps, self.route(id));
        let others = entries.into_iter().flat_map(|entry| self.from_signal(entry)).filter(|&other| other != id);
        let against = conflict::Against::new(&self.layout, self.route(id));
        let conflict = |with| Conflict { with, reasons: against.reasons(self.route(with)) };
        others.map(conflict).filter(|conflict| !conflict.reasons.is_empty()).collect()
    }
}
