//! The line diagram: where everything on the layout is drawn, reckoned from the layout alone.
//!
//! Track runs from left to right, each section in one or more lanes, as straight as its turnouts. Nothing is drawn by hand, the
//! same layout is always drawn the same, and a small change of it changes little: lanes are chosen by how strands of track hang
//! together, places along them by what lies to their left.
//!
//! It goes in four steps, a module each: `sides` (which end of a section is on the left), `columns` (how far along), `lanes`
//! (which row), `paths` (lines between). Whoever would rather have it otherwise gives hints (`hints`, `order`): each is kept to
//! exactly, or it is told why not. It grows with the number of sections, and is reckoned once, when the door opens.

mod columns;
mod hints;
mod lanes;
mod order;
mod paths;
mod sides;
#[cfg(test)]
mod tests;

use std::collections::BTreeSet;

use serde::Serialize;
use track::{Beyond, EndId, Hint, Id, Layout, SectionId};
use utoipa::ToSchema;

use self::columns::COLUMN;
pub use self::hints::Unheeded;
use self::hints::{Wanted, mirrored, unheeded};
use self::lanes::LANE;
use self::paths::{Places, Point};
use self::sides::Side;
use crate::plan::PlanBeyond;

/// A place on the diagram: columns from the left, lanes from the top.
pub type Place = [f64; 2];

/// Where everything is drawn. All places are in columns and lanes; how large those are is for whoever draws it to say.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Diagram {
    /// How many columns there are.
    pub columns: f64,
    /// How many lanes there are.
    pub lanes: f64,
    /// Every section.
    pub sections: Vec<DrawnSection>,
    /// Lines between ends that meet but lie apart.
    pub links: Vec<DrawnLink>,
    /// Every turnout that parts ways.
    pub turnouts: Vec<DrawnTurnout>,
    /// Every signal.
    pub signals: Vec<DrawnSignal>,
    /// Ends of track.
    pub edges: Vec<DrawnEdge>,
    /// Stopping points.
    pub stops: Vec<DrawnStop>,
    /// Lanes with nothing but tracks of a yard side by side: they may be drawn close together.
    pub yards: Vec<DrawnYard>,
}

/// A section.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct DrawnSection {
    /// Its name.
    pub name: String,
    /// The ways through it.
    pub ways: Vec<DrawnWay>,
}

/// A way through a section.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct DrawnWay {
    /// The ends it joins, each as `section.end`.
    pub ends: [String; 2],
    /// Its line from the first to the second.
    pub line: Vec<[f64; 2]>,
    /// How long it is in truth, in millimetres, where it was measured.
    pub length_mm: Option<f64>,
}

/// The line between two ends that meet but lie apart.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct DrawnLink {
    /// The ends, each as `section.end`.
    pub ends: [String; 2],
    /// Its line from the first to the second.
    pub line: Vec<[f64; 2]>,
}

/// A turnout.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct DrawnTurnout {
    /// Its name.
    pub name: String,
    /// Its section.
    pub section: String,
    /// Where the ways part.
    pub at: [f64; 2],
    /// Where the straight one leads.
    pub straight: [f64; 2],
    /// Where the diverging one leads.
    pub diverging: [f64; 2],
}

/// A signal.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct DrawnSignal {
    /// Its name.
    pub name: String,
    /// The end it governs leaving by, as `section.end`.
    pub end: String,
    /// Where it stands.
    pub at: [f64; 2],
    /// Which way trains run past it: 1 to the right, -1 to the left.
    pub facing: i8,
}

/// An end of track.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct DrawnEdge {
    /// The end, as `section.end`.
    pub end: String,
    /// What lies beyond it.
    pub beyond: PlanBeyond,
    /// Where it is.
    pub at: [f64; 2],
    /// Which way it points: 1 to the right, -1 to the left.
    pub facing: i8,
}

/// A stopping point.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct DrawnStop {
    /// Its name.
    pub name: String,
    /// Its section.
    pub section: String,
    /// The end that a train stopping here points at, as `section.end`.
    pub towards: String,
    /// How far short of that end the nose should stand, in millimetres.
    pub short_of_end_mm: f64,
}

/// A lane with nothing but tracks of a yard.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct DrawnYard {
    /// The lane.
    pub lane: f64,
    /// The sections in it.
    pub sections: Vec<String>,
}

impl Diagram {
    /// Reckons where everything on a layout is drawn.
    pub fn of(layout: &Layout) -> Self {
        Self::wished(layout, &[]).0
    }

    /// Reckons where everything on a layout is drawn if it is drawn as somebody wishes; and which of the hints it does not keep
    /// to. All others hold exactly.
    pub fn wished(layout: &Layout, hints: &[Hint]) -> (Self, Vec<Unheeded>) {
        let wanted = Wanted::of(layout, hints);
        let sides = sides::sides(layout);
        let columns = columns::columns(layout, &sides, &wanted.backwards);
        let lanes = lanes::lanes(layout, &sides, &columns, &wanted.above);
        let mut facing = sides;
        for (_, enter, leave) in columns.returns.iter().flat_map(|found| &found.ways) {
            (facing[enter.index()], facing[leave.index()]) = (Side::Right, Side::Left);
        }
        let mirrored = mirrored(&wanted.left, &facing, &lanes);
        for (_, side) in facing.iter_mut().enumerate().filter(|&(end, _)| mirrored.contains(&lanes.part[end])) {
            *side = side.other();
        }
        let unheeded = unheeded(layout, hints, &facing, &columns, &lanes);
        let x = |end: usize| {
            let (x, part) = (columns.at[end] + lanes.shift[end], lanes.part[end]);
            let (from, to) = lanes.extents[part];
            if mirrored.contains(&part) { from + to - x } else { x }
        };
        let at = (0..layout.ends.len()).map(|end| (x(end), lanes.at[end])).collect();
        let places = Places { at, facing };
        let mut drawn = Self {
            columns: 0.0,
            lanes: lanes.height as f64 / LANE as f64,
            sections: layout.sections.ids().map(|id| section(layout, &places, id)).collect(),
            links: links(layout, &places, &columns, &lanes),
            turnouts: turnouts(layout, &places),
            signals: signals(layout, &places),
            edges: edges(layout, &places),
            stops: stops(layout),
            yards: lanes::yards(layout, &lanes)
                .into_iter()
                .map(|(lane, sections)| DrawnYard {
                    lane: lane as f64 / LANE as f64,
                    sections: sections.into_iter().map(|id| layout.sections[id].name.clone()).collect(),
                })
                .collect(),
        };
        drawn.put_at_the_edge();
        (drawn, unheeded)
    }

    /// Moves everything so that it begins at the left edge and at the top, and measures it.
    fn put_at_the_edge(&mut self) {
        let mut lines: Vec<&mut Vec<Place>> = Vec::new();
        lines.extend(self.sections.iter_mut().flat_map(|section| &mut section.ways).map(|way| &mut way.line));
        lines.extend(self.links.iter_mut().map(|link| &mut link.line));
        let points = || lines.iter().flat_map(|line| line.iter());
        let left = points().map(|at| at[0]).fold(f64::INFINITY, f64::min);
        let right = points().map(|at| at[0]).fold(f64::NEG_INFINITY, f64::max);
        if !left.is_finite() {
            return;
        }
        self.columns = right - left;
        lines.into_iter().flatten().for_each(|at| at[0] -= left);
        self.turnouts.iter_mut().for_each(|it| {
            [&mut it.at, &mut it.straight, &mut it.diverging].into_iter().for_each(|at| at[0] -= left);
        });
        self.signals.iter_mut().for_each(|it| it.at[0] -= left);
        self.edges.iter_mut().for_each(|it| it.at[0] -= left);
    }
}

fn place((x, y): Point) -> Place {
    [x as f64 / COLUMN as f64, y as f64 / LANE as f64]
}

fn line(points: Vec<Point>) -> Vec<Place> {
    points.into_iter().map(place).collect()
}

fn facing(places: &Places, end: EndId) -> i8 {
    places.facing[end.index()].sign() as i8
}

fn section(layout: &Layout, places: &Places, id: SectionId) -> DrawnSection {
    let section = &layout.sections[id];
    let ways = section.ways.iter().map(|&id| DrawnWay {
        ends: layout.ways[id].ends.map(|end| layout.end_name(end)),
        line: line(paths::way_line(layout, places, id)),
        length_mm: layout.ways[id].length.map(track::Length::mm),
    });
    DrawnSection { name: section.name.clone(), ways: ways.collect() }
}

fn links(layout: &Layout, places: &Places, columns: &columns::Columns, lanes: &lanes::Lanes) -> Vec<DrawnLink> {
    let mut links = Vec::new();
    let mut add = |one: EndId, other: EndId, points: Vec<Point>| {
        let ends = [one, other].map(|end| layout.end_name(end));
        links.push(DrawnLink { ends, line: line(points) });
    };
    let mut bent = BTreeSet::new();
    for (found, &lane) in columns.returns.iter().zip(&lanes.returns).filter(|(found, _)| found.ways.is_empty()) {
        bent.insert((found.from.min(found.to), found.from.max(found.to)));
        add(found.from, found.to, paths::bent_line(places, found.from, found.to, lane));
    }
    for (one, row) in layout.ends.iter() {
        for &other in row.meets.iter().filter(|&&other| other > one && !bent.contains(&(one, other))) {
            if let Some(points) = paths::joint_line(places, one, other) {
                add(one, other, points);
            }
        }
    }
    links
}

fn turnouts(layout: &Layout, places: &Places) -> Vec<DrawnTurnout> {
    let drawn = layout.turnouts.iter().filter_map(|(id, turnout)| {
        let found = paths::parting(layout, places, id)?;
        let section = turnout.sections.first()?;
        Some(DrawnTurnout {
            name: turnout.name.clone(),
            section: layout.sections[*section].name.clone(),
            at: place(found.at),
            straight: place(found.straight),
            diverging: place(found.diverging),
        })
    });
    drawn.collect()
}

fn signals(layout: &Layout, places: &Places) -> Vec<DrawnSignal> {
    let drawn = layout.signals.values().map(|signal| DrawnSignal {
        name: signal.name.clone(),
        end: layout.end_name(signal.at),
        at: place(places.of(signal.at)),
        facing: facing(places, signal.at),
    });
    drawn.collect()
}

fn edges(layout: &Layout, places: &Places) -> Vec<DrawnEdge> {
    let drawn = layout.ends.iter().filter_map(|(id, end)| {
        let beyond = match end.beyond {
            Beyond::Joint => return None,
            Beyond::BufferStop => PlanBeyond::BufferStop,
            Beyond::OffLayout => PlanBeyond::OffLayout,
        };
        Some(DrawnEdge { end: layout.end_name(id), beyond, at: place(places.of(id)), facing: facing(places, id) })
    });
    drawn.collect()
}

fn stops(layout: &Layout) -> Vec<DrawnStop> {
    let drawn = layout.stops.values().map(|stop| DrawnStop {
        name: stop.name.clone(),
        section: layout.sections[stop.section].name.clone(),
        towards: layout.end_name(stop.towards),
        short_of_end_mm: stop.short_of_end.mm(),
    });
    drawn.collect()
}
