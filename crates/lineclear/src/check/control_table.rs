//! The control table: what must hold before each route is cleared, as signal engineers write it down.
//!
//! [`ControlTable`] is the table as lists of short texts; `table_forms` writes it. A turnout is *normal* when
//! it lies straight, unless the layout says otherwise.

use std::mem::discriminant;

use track::routes::{Conflict, Exit, Exposure, Flank, Protection, Reason, Route};
use track::{Ahead, Aspect, Layout, Lie, MOST_CLEAR, Need, Next, RouteId, Routes, State};

/// The heads of the columns.
pub(super) const HEADS: [&str; 10] = [
    "route",
    "entry",
    "exit",
    "turnouts normal",
    "turnouts reverse",
    "flank",
    "sections clear",
    "overlap",
    "conflicts",
    "aspects",
];

/// So many reasons of one kind are told of two routes that exclude each other; of the others only how many there are.
const MOST_REASONS: usize = 3;

/// One route: a list of texts for each column.
pub(super) struct Row {
    pub(super) cells: [Vec<String>; HEADS.len()],
    conflicts: Vec<Conflict>,
}

/// The routes of a layout, in order, and what should be said beside them.
pub(super) struct ControlTable<'r> {
    routes: &'r Routes,
    pub(super) notes: Vec<String>,
}

impl<'r> ControlTable<'r> {
    pub(super) fn of(routes: &'r Routes) -> Self {
        Self { routes, notes: notes(routes) }
    }

    /// The rows one after the other: all of them at once may be more than fits into the memory.
    pub(super) fn rows(&self) -> impl Iterator<Item = Row> + '_ {
        self.routes.all().map(|id| row(self.routes, id))
    }

    /// The conflicting routes of a row again, each with the reasons.
    pub(super) fn reasons(&self, row: &Row) -> Vec<String> {
        let layout = self.routes.layout();
        let in_words = |conflict: &Conflict| {
            // In a table names stand without quotes.
            let words = reasons_in_words(layout, &conflict.reasons).join(", ").replace('`', "");
            format!("{}: {words}", self.routes.route(conflict.with).name)
        };
        row.conflicts.iter().map(in_words).collect()
    }
}

/// The reasons, of which those of one kind stand next to each other.
fn reasons_in_words(layout: &Layout, reasons: &[Reason]) -> Vec<String> {
    let mut words = Vec::new();
    for kind in reasons.chunk_by(|one, other| discriminant(one) == discriminant(other)) {
        words.extend(kind.iter().take(MOST_REASONS).map(|reason| reason.in_words(layout)));
        if kind.len() > MOST_REASONS {
            words.push(format!("and {} more like that", kind.len() - MOST_REASONS));
        }
    }
    words
}

fn row(routes: &Routes, id: RouteId) -> Row {
    let (layout, route) = (routes.layout(), routes.route(id));
    let conflicts = routes.conflicts(id);
    let name = |section| layout.sections[section].name.clone();
    let (normal, reverse): (Vec<&Need>, Vec<&Need>) =
        route.turnouts.iter().partition(|need| need.lie == layout.turnouts[need.turnout].normal);
    let turnouts =
        |needs: Vec<&Need>| needs.into_iter().map(|need| layout.turnouts[need.turnout].name.clone()).collect();
    let mut overlap: Vec<String> = route.overlap.sections.iter().map(|&section| name(section)).collect();
    overlap.extend(route.overlap.turnouts.iter().map(|&(turnout, lie)| match lie {
        Some(lie) => lies(layout, Need { turnout, lie }),
        None => format!("{} locked", layout.turnouts[turnout].name),
    }));
    let cells = [
        vec![route.name.clone()],
        vec![layout.signals[route.entry].name.clone()],
        vec![exit(layout, route.exit)],
        turnouts(normal),
        turnouts(reverse),
        flanks(layout, &route.flank),
        route.sections().map(name).collect(),
        overlap,
        conflicts.iter().map(|conflict| routes.route(conflict.with).name.clone()).collect(),
        aspects(layout, route),
    ];
    Row { cells, conflicts }
}

fn exit(layout: &Layout, exit: Exit) -> String {
    let name = exit.name(layout);
    match exit {
        Exit::Signal(signal) if layout.is_fixed(signal) => format!("{name} (buffers)"),
        Exit::Signal(_) => name,
        Exit::Stop(_) => format!("stop {name}"),
        Exit::BufferStop(_) => format!("buffers {name}"),
        Exit::Edge(_) => format!("edge {name}"),
    }
}

fn lies(layout: &Layout, need: Need) -> String {
    let turnout = &layout.turnouts[need.turnout];
    format!("{} {}", turnout.name, if need.lie == turnout.normal { "normal" } else { "reverse" })
}

fn flanks(layout: &Layout, flanks: &[Flank]) -> Vec<String> {
    let mut cell = Vec::new();
    for flank in flanks {
        let text = match flank.by {
            Protection::Turnout(need) => lies(layout, need),
            Protection::Signal(signal) => format!("{} at danger", layout.signals[signal].name),
            Protection::None(exposure) => format!("NONE at {}", open_flank(layout, flank, exposure)),
        };
        if !cell.contains(&text) {
            cell.push(text);
        }
    }
    cell
}

fn open_flank(layout: &Layout, flank: &Flank, exposure: Exposure) -> String {
    let leg = layout.end_name(flank.leg);
    match exposure {
        Exposure::Edge(end) if end == flank.leg => format!("{leg} (edge)"),
        Exposure::Edge(end) => format!("{leg} (edge at {})", layout.end_name(end)),
        Exposure::Siding(end) => format!("{leg} (siding to {})", layout.end_name(end)),
        Exposure::FarAway(_) => format!("{leg} (nothing far and wide)"),
    }
}

/// What the entry signal shows at best for each aspect of the exit signal, by its book, as far as the route decides it.
fn aspects(layout: &Layout, route: &Route) -> Vec<String> {
    let book = layout.book_of(route.entry);
    let name = |aspect: Aspect| book.name(aspect).unwrap_or_default().to_owned();
    if !route.unproved.is_empty() || route.passages.is_empty() {
        // Where a train would go there, or what is there, is not known.
        return vec![name(Aspect::STOP)];
    }
    let diverges = route.turnouts.iter().any(|need| need.lie == Lie::Diverging);
    let path = if diverges { Lie::Diverging } else { Lie::Straight };
    let speed = book.speed_of(path, route.passages.iter().filter_map(|passage| layout.ways[passage.way].class).min());
    let shown = |next: Next| {
        let passable = match next {
            Next::Shows(aspect) => book.read_rows()[usize::from(aspect.0)].pass.is_proceed(),
            Next::BufferStop | Next::Edge => false,
        };
        let stretches = if passable { MOST_CLEAR } else { 1 };
        name(book.shows(&State { ahead: Ahead::Clear { stretches, next }, path, speed, approached: true }))
    };
    match route.exit {
        // The stretch up to the next signal is not all of it set.
        Exit::Stop(_) => vec![name(Aspect::STOP)],
        Exit::BufferStop(_) => vec![shown(Next::BufferStop)],
        Exit::Edge(_) => vec![shown(Next::Edge)],
        Exit::Signal(next) => {
            let other = layout.book_of(next);
            let row = |(aspect, row): (Aspect, &track::AspectRow)| {
                let shown = shown(Next::Shows(book.understands(other, aspect)));
                format!("{shown} ({} {})", layout.signals[next].name, row.name)
            };
            let is_shown = |(aspect, _): &(Aspect, _)| *aspect == Aspect::STOP || !layout.is_fixed(next);
            other.aspects().filter(is_shown).map(row).collect()
        }
    }
}

/// What a table cannot show.
fn notes(routes: &Routes) -> Vec<String> {
    let layout = routes.layout();
    if layout.signals.is_empty() {
        return vec!["there is no signal, and so no route".to_owned()];
    }
    let mut notes = Vec::new();
    let all = || routes.all().map(|id| routes.route(id));
    let is_open = |route: &&Route| route.flank.iter().any(|flank| matches!(flank.by, Protection::None(_)));
    match all().filter(is_open).count() {
        0 => {}
        1 => notes.push("1 route has a flank that nothing protects".to_owned()),
        open => notes.push(format!("{open} routes have a flank that nothing protects")),
    }
    for route in all().filter(|route| !route.unproved.is_empty()) {
        let ends: Vec<String> = route.unproved.iter().map(|&end| format!("`{}`", layout.end_name(end))).collect();
        notes.push(format!(
            "route `{}` leads over {}, which meets several ends: nobody reports where a train goes there",
            route.name,
            ends.join(" and ")
        ));
    }
    for (entry, signal) in layout.signals.iter() {
        let fan = routes.fan(entry);
        for &end in &fan.lost {
            notes.push(format!(
                "from `{}` a path comes back at `{}` to a section that it has passed, or crosses one: put a signal or a stopping point in between",
                signal.name,
                layout.end_name(end)
            ));
        }
        if fan.is_cut_short {
            notes.push(format!("more than {} paths lead from `{}`: not all are shown", fan.routes.len(), signal.name));
        }
    }
    notes
}

#[cfg(test)]
mod tests {
    use track::Lie;

    use super::*;

    #[test]
    fn a_diverging_turnout_is_reverse_unless_it_is_normally_so() {
        let mut builder = track::Builder::new("t", track::Scale::UNKNOWN);
        let turnout = builder.turnout("W1");
        let diverging = Need { turnout, lie: Lie::Diverging };
        assert_eq!(lies(builder.layout(), diverging), "W1 reverse");
        builder.turnout_mut(turnout).normal = Lie::Diverging;
        assert_eq!(lies(builder.layout(), diverging), "W1 normal");
    }
}
