//! From places of ends to lines: how ways and the track between ends that meet are drawn.

use track::{EndId, Id, Layout, TurnoutId, WayId};

use super::columns::{COLUMN, TOGETHER};
use super::lanes::LANE;
use super::sides::Side;

/// A place: along the drawing, and across it.
pub(super) type Point = (i64, i64);

/// Where ends lie, and which way the track leaves the section there.
pub(super) struct Places {
    /// By end.
    pub(super) at: Vec<Point>,
    /// By end.
    pub(super) facing: Vec<Side>,
}

impl Places {
    pub(super) fn of(&self, end: EndId) -> Point {
        self.at[end.index()]
    }

    fn facing(&self, end: EndId) -> Side {
        self.facing[end.index()]
    }
}

/// So far along the drawing track needs to get from one lane to the next.
const SLANT: i64 = 9;

/// The line of a way, from its first end to its second.
pub(super) fn way_line(layout: &Layout, places: &Places, way: WayId) -> Vec<Point> {
    let [first, second] = layout.ways[way].ends;
    let ((x0, y0), (x1, y1)) = (places.of(first), places.of(second));
    if places.facing(first) == places.facing(second) {
        let into = -places.facing(first).sign() * COLUMN / 2;
        return vec![(x0, y0), (x0 + into, y0), (x1 + into, y1), (x1, y1)];
    }
    if y0 == y1 {
        return vec![(x0, y0), (x1, y1)];
    }
    let sign = (x1 - x0).signum();
    let room = (x1 - x0).abs();
    let slant = ((y1 - y0).abs() * SLANT / LANE).min(room * 4 / 5);
    // Where several ways begin, they run along together first.
    let (many, few) = (layout.ends[first].ways.len(), layout.ends[second].ways.len());
    let before = match many.cmp(&few) {
        std::cmp::Ordering::Greater => (room - slant).min(TOGETHER),
        std::cmp::Ordering::Equal => (room - slant) / 2,
        std::cmp::Ordering::Less => (room - slant - TOGETHER).max(0),
    };
    let mut line = vec![(x0, y0), (x0 + sign * before, y0), (x0 + sign * (before + slant), y1), (x1, y1)];
    line.dedup();
    line
}

/// The line between two ends that meet; nothing where they lie at the same place.
pub(super) fn joint_line(places: &Places, one: EndId, other: EndId) -> Option<Vec<Point>> {
    let ((x0, y0), (x1, y1)) = (places.of(one), places.of(other));
    if (x0, y0) == (x1, y1) {
        return None;
    }
    let (facing, back) = (places.facing(one), places.facing(other));
    if facing == back {
        let out = match facing {
            Side::Right => x0.max(x1) + COLUMN / 2,
            Side::Left => x0.min(x1) - COLUMN / 2,
        };
        return Some(vec![(x0, y0), (out, y0), (out, y1), (x1, y1)]);
    }
    Some(vec![(x0, y0), (x1, y1)])
}

/// The line between two ends that meet by a lane of its own, behind everything else.
pub(super) fn bent_line(places: &Places, from: EndId, to: EndId, lane: i64) -> Vec<Point> {
    let ((x0, y0), (x1, y1)) = (places.of(from), places.of(to));
    let out = |end: EndId, x: i64| x + places.facing(end).sign() * COLUMN / 2;
    let (begin, finish) = (out(from, x0), out(to, x1));
    vec![(x0, y0), (begin, y0), (begin, lane), (finish, lane), (finish, y1), (x1, y1)]
}

/// Where a turnout parts the ways, and the next points of the straight and of the diverging one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Parting {
    pub(super) at: Point,
    pub(super) straight: Point,
    pub(super) diverging: Point,
}

/// Finds where a turnout is drawn: where the ways that need it to lie differently part.
pub(super) fn parting(layout: &Layout, places: &Places, turnout: TurnoutId) -> Option<Parting> {
    let mut best: Option<(i64, Parting)> = None;
    for &section in &layout.turnouts[turnout].sections {
        let ways = &layout.sections[section].ways;
        let need = |way: WayId| layout.ways[way].needs.iter().find(|need| need.turnout == turnout).map(|need| need.lie);
        for &straight in ways.iter().filter(|&&way| need(way) == Some(track::Lie::Straight)) {
            for &diverging in ways.iter().filter(|&&way| need(way) == Some(track::Lie::Diverging)) {
                let ends = layout.ways[straight].ends;
                let Some(&toe) = ends.iter().find(|end| layout.ways[diverging].ends.contains(end)) else { continue };
                let (one, other) =
                    (line_from(layout, places, straight, toe), line_from(layout, places, diverging, toe));
                let (along, found) = part(&one, &other);
                if best.is_none_or(|(least, _)| along > least) {
                    best = Some((along, found));
                }
            }
        }
    }
    best.map(|(_, found)| found)
}

fn line_from(layout: &Layout, places: &Places, way: WayId, end: EndId) -> Vec<Point> {
    let mut line = way_line(layout, places, way);
    if layout.ways[way].ends[0] != end {
        line.reverse();
    }
    line
}

/// Where two lines that begin together part, how far along that is, and where each goes then.
fn part(one: &[Point], other: &[Point]) -> (i64, Parting) {
    let mut here = one[0];
    let mut along = 0;
    let (mut i, mut j) = (1, 1);
    while i < one.len() && j < other.len() {
        let ((ax, ay), (bx, by)) = (one[i], other[j]);
        let (dax, day, dbx, dby) = (ax - here.0, ay - here.1, bx - here.0, by - here.1);
        let is_same_direction = dax * dby == day * dbx && dax * dbx + day * dby > 0;
        if !is_same_direction {
            break;
        }
        let (one_long, other_long) = (dax.abs() + day.abs(), dbx.abs() + dby.abs());
        along += one_long.min(other_long);
        here = if one_long <= other_long { one[i] } else { other[j] };
        i += usize::from(one_long <= other_long);
        j += usize::from(other_long <= one_long);
    }
    let next = |line: &[Point], at: usize| line.get(at).or(line.last()).copied().unwrap_or(here);
    (along, Parting { at: here, straight: next(one, i), diverging: next(other, j) })
}
