//! The track as a directed graph of headings, and the paths through it.

use std::collections::BTreeMap;

use petgraph::graph::{DiGraph, NodeIndex};
use petgraph::visit::EdgeRef;

use crate::ids::{EndId, SectionId, WayId};
use crate::layout::Layout;
use crate::table::Id;
use crate::units::Length;

/// A passage through one section: in by one end, along a way, out by another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
pub struct Traverse {
    /// The section.
    pub section: SectionId,
    /// The end it is entered by.
    pub enter: EndId,
    /// The way taken.
    pub way: WayId,
    /// The end it is left by.
    pub leave: EndId,
}

/// Passages in order; each leaves by an end that meets the next one's entry.
pub type Path = Vec<Traverse>;

/// The directed graph of a layout: a node says *this section, entered by this end*, an edge is a passage through it and over
/// the joint behind. A train that reverses changes to the node of the end it was heading for, which is no edge here.
///
/// Built once for a layout; node order is the order of ends, so indices never move.
#[derive(Debug)]
pub struct Graph {
    graph: DiGraph<EndId, Traverse>,
}

/// What a section of unknown length counts for when paths are compared.
const UNMEASURED: Length = Length::from_mm(1000);

impl Graph {
    /// Builds the graph of a layout.
    pub fn new(layout: &Layout) -> Self {
        let mut graph = DiGraph::with_capacity(layout.ends.len(), layout.ends.len() * 2);
        for end in layout.ends.ids() {
            graph.add_node(end);
        }
        for end in layout.ends.ids() {
            for (way, leave) in layout.ways_from(end) {
                let traverse = Traverse { section: layout.ends[end].section, enter: end, way, leave };
                for &next in &layout.ends[leave].meets {
                    graph.add_edge(node(end), node(next), traverse);
                }
            }
        }
        Self { graph }
    }

    /// The passages possible for a train that entered a section by `enter`, each with the end by which it enters the next.
    pub fn onward(&self, enter: EndId) -> impl Iterator<Item = (Traverse, EndId)> + '_ {
        self.graph.edges(node(enter)).map(|edge| (*edge.weight(), self.graph[edge.target()]))
    }

    /// Sections that cannot be reached from the first one, whichever way trains face.
    pub fn unreachable_sections(&self, layout: &Layout) -> Vec<SectionId> {
        let mut groups = petgraph::unionfind::UnionFind::new(layout.sections.len());
        for end in layout.ends.values() {
            for &other in &end.meets {
                groups.union(end.section.index(), layout.ends[other].section.index());
            }
        }
        layout.sections.ids().filter(|section| !groups.equiv(0, section.index())).collect()
    }

    /// The cheapest path for a train that stands in a section it entered by `enter` to one of `goals` (a section entered by
    /// that end). The first passage is the one through its own section; the goal's own section is not part of the path.
    ///
    /// `cost` tells the price of a passage, or nothing where it must not be used.
    pub fn path(
        &self,
        enter: EndId,
        is_goal: impl Fn(EndId) -> bool,
        cost: impl Fn(&Traverse) -> Option<i64>,
    ) -> Option<(Path, EndId)> {
        let mut best: BTreeMap<EndId, i64> = BTreeMap::from([(enter, 0)]);
        let mut from: BTreeMap<EndId, (EndId, Traverse)> = BTreeMap::new();
        let mut queue = std::collections::BTreeSet::from([(0_i64, enter)]);
        while let Some((so_far, here)) = queue.pop_first() {
            if is_goal(here) {
                return Some((unwind(&from, here), here));
            }
            for edge in self.graph.edges(node(here)) {
                let Some(price) = cost(edge.weight()) else { continue };
                let next = self.graph[edge.target()];
                let total = so_far + price;
                if best.get(&next).is_none_or(|&known| total < known) {
                    if let Some(known) = best.insert(next, total) {
                        queue.remove(&(known, next));
                    }
                    from.insert(next, (here, *edge.weight()));
                    queue.insert((total, next));
                }
            }
        }
        None
    }
}

/// What a passage costs when only distance counts, in micrometres.
pub fn distance_cost(layout: &Layout, traverse: &Traverse) -> i64 {
    layout.ways[traverse.way].length.unwrap_or(UNMEASURED).um().max(1)
}

fn unwind(from: &BTreeMap<EndId, (EndId, Traverse)>, goal: EndId) -> Path {
    let (mut path, mut here) = (Path::new(), goal);
    while let Some(&(before, traverse)) = from.get(&here) {
        path.push(traverse);
        here = before;
        if path.len() > from.len() {
            break;
        }
    }
    path.reverse();
    path
}

fn node(end: EndId) -> NodeIndex {
    NodeIndex::new(end.index())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Builder, Scale};

    #[test]
    fn the_shortest_of_two_tracks_is_found() {
        let mut builder = Builder::new("loop", Scale::named("H0").unwrap());
        let plain = |builder: &mut Builder, name: &str, mm| builder.plain_section(name, Some(Length::from_mm(mm)));
        let (west, long, short, east) = (
            plain(&mut builder, "west", 500),
            plain(&mut builder, "long", 900),
            plain(&mut builder, "short", 800),
            plain(&mut builder, "east", 500),
        );
        let ends = |builder: &Builder, section: SectionId| {
            let ends = &builder.layout().sections[section].ends;
            (ends[0], ends[1])
        };
        for middle in [long, short] {
            let ((_, out), (a, b), (into, _)) = (ends(&builder, west), ends(&builder, middle), ends(&builder, east));
            builder.join(out, a);
            builder.join(b, into);
        }
        let start = ends(&builder, west).0;
        let layout = builder.build();
        let graph = Graph::new(&layout);
        let (path, _) = graph
            .path(start, |end| layout.ends[end].section == east, |passage| Some(distance_cost(&layout, passage)))
            .unwrap();
        let names: Vec<_> = path.iter().map(|passage| layout.sections[passage.section].name.as_str()).collect();
        assert_eq!(names, ["west", "short"]);
        assert!(graph.unreachable_sections(&layout).is_empty());
    }
}
