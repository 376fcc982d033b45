//! Which row each end is drawn in: strands of track that run straight through, each in a lane of its own.
//!
//! A strand goes straight on where its turnouts lie straight. The longest one of each part of the layout is laid first, then those
//! that branch off it, each into the lane in which it crosses least, near what it branches off; where all are bad a new lane is
//! put in between.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use track::{EndId, Id, Layout, Lie, SectionId, WayId};

use super::columns::{COLUMN, Columns, TOGETHER};
use super::order::{NotAbove, Order};
use super::sides::Side;

/// Two halves to a lane: what leads straight from one lane to the next one lies between them.
pub(super) const LANE: i64 = 2;

/// Track that is drawn in one lane.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Strand {
    ends: Vec<EndId>,
    from: i64,
    to: i64,
}

/// Where ends lie across the drawing.
#[derive(Clone, Debug)]
pub(super) struct Lanes {
    /// By end, in halves of a lane.
    pub(super) at: Vec<i64>,
    /// In which lane each stretch that is drawn backwards lies.
    pub(super) returns: Vec<i64>,
    /// By end, how far it had to be moved to the right to lie beside other parts.
    pub(super) shift: Vec<i64>,
    /// How many halves there are.
    pub(super) height: i64,
    /// For each wish that a section lies above another, why it does not.
    pub(super) not_above: Vec<Option<NotAbove>>,
    /// By end, which part of the layout it is in.
    pub(super) part: Vec<usize>,
    /// By part, from where to where along the drawing it reaches.
    pub(super) extents: Vec<(i64, i64)>,
}

/// Finds the row of every end; of each two wanted sections the first lies above the second, where that can be.
pub(super) fn lanes(layout: &Layout, sides: &[Side], columns: &Columns, wanted: &[(SectionId, SectionId)]) -> Lanes {
    let strands = strands(layout, sides, columns);
    let mut of = vec![0; layout.ends.len()];
    for (number, strand) in strands.iter().enumerate() {
        strand.ends.iter().for_each(|end| of[end.index()] = number);
    }
    let first_return = strands.len() - columns.returns.len();
    let mut laid = Lanes {
        at: vec![0; layout.ends.len()],
        returns: vec![0; columns.returns.len()],
        shift: vec![0; layout.ends.len()],
        height: 0,
        not_above: Vec::new(),
        part: vec![0; layout.ends.len()],
        extents: Vec::new(),
    };
    let mut shelf = Shelf::default();
    let branches = branches(layout, sides, columns, &strands, &of, first_return);
    let parts = parts(&strands, &branches);
    let part_of = parts.iter().enumerate().flat_map(|(number, part)| part.iter().map(move |&strand| (strand, number)));
    let (order, not_above) = Order::of(layout, wanted, &of, &part_of.collect());
    laid.not_above = not_above;
    for (number, part) in parts.into_iter().enumerate() {
        let rows = lay(&strands, &branches, &part, (first_return, &order));
        let lowest = rows.values().copied().min().unwrap_or(0);
        let height = rows.values().copied().max().unwrap_or(0) - lowest + LANE;
        let width = part.iter().map(|&strand| strands[strand].to).max().unwrap_or(0) + COLUMN;
        let (right, down) = shelf.place(width, height, columns.width);
        let from = part.iter().map(|&strand| strands[strand].from).min().unwrap_or(0);
        laid.extents.push((right + from, right + width - COLUMN));
        for (&strand, &row) in &rows {
            for end in &strands[strand].ends {
                laid.at[end.index()] = row - lowest + down;
                laid.shift[end.index()] = right;
                laid.part[end.index()] = number;
            }
            if let Some(found) = strand.checked_sub(first_return) {
                laid.returns[found] = row - lowest + down;
            }
        }
    }
    laid.height = shelf.height();
    laid
}

/// Parts of the layout that do not touch, side by side and one below the other.
#[derive(Default)]
struct Shelf {
    used: i64,
    top: i64,
    tallest: i64,
}

impl Shelf {
    fn place(&mut self, width: i64, height: i64, widest: i64) -> (i64, i64) {
        if self.used > 0 && self.used + width > widest.max(12 * COLUMN) + COLUMN {
            (self.used, self.top, self.tallest) = (0, self.top + self.tallest, 0);
        }
        let place = (self.used, self.top);
        self.used += width;
        self.tallest = self.tallest.max(height);
        place
    }

    fn height(&self) -> i64 {
        self.top + self.tallest
    }
}

/// Strands from left to right, then those that are drawn backwards.
fn strands(layout: &Layout, sides: &[Side], columns: &Columns) -> Vec<Strand> {
    let backwards: BTreeSet<WayId> =
        columns.returns.iter().flat_map(|found| &found.ways).map(|&(way, ..)| way).collect();
    let straight = straight_on(layout, sides, &backwards);
    let met = met(layout, sides, columns);
    let mut left_over: BTreeSet<EndId> = layout.ends.ids().collect();
    for found in &columns.returns {
        found.ways.iter().for_each(|(_, enter, leave)| {
            left_over.remove(enter);
            left_over.remove(leave);
        });
    }
    let onward = |end: EndId, left_over: &BTreeSet<EndId>| {
        match sides[end.index()] {
            Side::Left => straight.get(&end).copied(),
            Side::Right => met.get(&end).copied(),
        }
        .filter(|next| left_over.contains(next))
    };
    let back = |end: EndId, left_over: &BTreeSet<EndId>| {
        match sides[end.index()] {
            Side::Left => met.get(&end).copied(),
            Side::Right => straight.get(&end).copied(),
        }
        .filter(|next| left_over.contains(next))
    };
    let mut strands = Vec::new();
    while let Some(&start) = left_over.first() {
        left_over.remove(&start);
        let mut ends = VecDeque::from([start]);
        while let Some(next) = back(ends[0], &left_over) {
            left_over.remove(&next);
            ends.push_front(next);
        }
        while let Some(next) = ends.back().and_then(|&last| onward(last, &left_over)) {
            left_over.remove(&next);
            ends.push_back(next);
        }
        let mut at: Vec<i64> = ends.iter().map(|end| columns.at[end.index()]).collect();
        at.extend(run_ins(layout, columns, &ends));
        let (from, to) = (at.iter().copied().min().unwrap_or(0), at.iter().copied().max().unwrap_or(0));
        strands.push(Strand { ends: ends.into(), from, to });
    }
    for found in &columns.returns {
        let ends: Vec<EndId> = found.ways.iter().flat_map(|&(_, enter, leave)| [enter, leave]).collect();
        let (from, to) = (columns.at[found.to.index()], columns.at[found.from.index()]);
        strands.push(Strand { ends, from: from.min(to) - COLUMN / 2, to: from.max(to) + COLUMN / 2 });
    }
    strands
}

/// How far a strand reaches beyond its own ends, where the ways that lead to it are long.
fn run_ins(layout: &Layout, columns: &Columns, ends: &VecDeque<EndId>) -> Vec<i64> {
    let mut reached = Vec::new();
    for &end in [ends.front(), ends.back()].into_iter().flatten() {
        let here = columns.at[end.index()];
        for (_, far) in layout.ways_from(end).filter(|(_, far)| !ends.contains(far)) {
            let there = columns.at[far.index()];
            let near = if there < here { there + TOGETHER } else { there - TOGETHER };
            if (there < here) == (near < here) {
                reached.push(near);
            }
        }
    }
    reached
}

/// For each end the one on the other side of its section that it is drawn straight on to.
fn straight_on(layout: &Layout, sides: &[Side], backwards: &BTreeSet<WayId>) -> BTreeMap<EndId, EndId> {
    let mut straight = BTreeMap::new();
    for section in layout.sections.values() {
        let bends = |way: &WayId| layout.ways[*way].needs.iter().filter(|need| need.lie == Lie::Diverging).count();
        let mut ways: Vec<WayId> = section.ways.iter().copied().filter(|way| !backwards.contains(way)).collect();
        ways.sort_by_key(bends);
        for way in ways {
            let [one, other] = layout.ways[way].ends;
            let is_free = !straight.contains_key(&one) && !straight.contains_key(&other);
            if is_free && sides[one.index()] != sides[other.index()] {
                straight.insert(one, other);
                straight.insert(other, one);
            }
        }
    }
    straight
}

/// For each end the one beyond its joint that it is drawn straight on to.
fn met(layout: &Layout, sides: &[Side], columns: &Columns) -> BTreeMap<EndId, EndId> {
    let bent: BTreeSet<(EndId, EndId)> = columns.returns.iter().map(|found| (found.from, found.to)).collect();
    let mut met = BTreeMap::new();
    for (end, row) in layout.ends.iter() {
        for &other in &row.meets {
            let is_bent = bent.contains(&(end, other)) || bent.contains(&(other, end));
            let is_free = !met.contains_key(&end) && !met.contains_key(&other);
            if is_free && !is_bent && sides[end.index()] != sides[other.index()] {
                met.insert(end, other);
                met.insert(other, end);
            }
        }
    }
    met
}

/// Where a strand leaves another one.
#[derive(Clone, Copy, Debug)]
struct Branch {
    other: usize,
    /// Where along the drawing the track between the two leads across.
    at: i64,
    /// How late the way to it parts from the others: by how many turnouts it goes on straight before.
    late: usize,
    /// The section in which it does, if it does not lead over a joint.
    throat: Option<SectionId>,
}

/// Where strands leave each other, by strand.
fn branches(
    layout: &Layout,
    sides: &[Side],
    columns: &Columns,
    strands: &[Strand],
    of: &[usize],
    first_return: usize,
) -> Vec<Vec<Branch>> {
    let mut branches = vec![Vec::new(); strands.len()];
    let mut add = |one: usize, other: usize, at: i64, (late, throat): (usize, Option<SectionId>)| {
        if one != other {
            branches[one].push(Branch { other, at, late, throat });
            branches[other].push(Branch { other: one, at, late, throat });
        }
    };
    for way in layout.ways.values() {
        let [one, other] = way.ends.map(EndId::index);
        let at = (columns.at[one] + columns.at[other]) / 2;
        add(of[one], of[other], at, (way.needs.len(), Some(way.section)));
    }
    for (end, row) in layout.ends.iter() {
        for &other in row.meets.iter().filter(|&&other| other > end) {
            let at = columns.at[end.index()].max(columns.at[other.index()]);
            add(of[end.index()], of[other.index()], at, (0, None));
        }
    }
    for (number, found) in columns.returns.iter().enumerate() {
        for end in [found.from, found.to] {
            let at = columns.at[end.index()] + sides[end.index()].sign() * COLUMN / 4;
            add(first_return + number, of[end.index()], at, (0, None));
        }
    }
    branches
}

/// The strands that hang together, each part with its longest one first.
fn parts(strands: &[Strand], branches: &[Vec<Branch>]) -> Vec<Vec<usize>> {
    let mut seen = vec![false; strands.len()];
    let mut parts = Vec::new();
    for start in 0..strands.len() {
        if std::mem::replace(&mut seen[start], true) {
            continue;
        }
        let mut part = vec![start];
        let mut next = 0;
        while let Some(&strand) = part.get(next) {
            next += 1;
            for branch in &branches[strand] {
                if !std::mem::replace(&mut seen[branch.other], true) {
                    part.push(branch.other);
                }
            }
        }
        part.sort_by_key(|&strand| (strands[strand].from - strands[strand].to, strand));
        parts.push(part);
    }
    parts
}

/// Track that leads from one lane to another.
#[derive(Clone, Copy, Debug)]
struct Rung {
    at: i64,
    one: usize,
    other: usize,
    late: usize,
    throat: Option<SectionId>,
}

/// The lanes of one part while it is laid, from top to bottom, each with the room that is taken.
struct Rows<'a> {
    strands: &'a [Strand],
    order: &'a Order,
    lanes: Vec<Vec<usize>>,
    lane_of: BTreeMap<usize, usize>,
    rungs: Vec<Rung>,
}

/// Lays the strands of a part; gives the row of each, in halves of a lane.
fn lay(
    strands: &[Strand],
    branches: &[Vec<Branch>],
    part: &[usize],
    (first_return, order): (usize, &Order),
) -> BTreeMap<usize, i64> {
    let mut rows = Rows { strands, order, lanes: Vec::new(), lane_of: BTreeMap::new(), rungs: Vec::new() };
    let between: BTreeMap<usize, [usize; 2]> = part[1..]
        .iter()
        .filter(|&&strand| strands[strand].from == strands[strand].to)
        .filter_map(|&strand| match branches[strand][..] {
            [one, other] if one.other != other.other => Some((strand, [one.other, other.other])),
            _ => None,
        })
        .filter(|(_, others)| {
            others.iter().all(|&other| other < first_return && strands[other].from < strands[other].to)
        })
        .collect();
    let key = |strand: usize, late: usize| (strands[strand].to - strands[strand].from, usize::MAX - late, strand);
    let mut waiting = BTreeSet::from([(0, 0, part[0])]);
    while let Some((.., strand)) = waiting.pop_first() {
        if rows.lane_of.contains_key(&strand) || between.contains_key(&strand) {
            continue;
        }
        rows.add(strand, &branches[strand]);
        for branch in &branches[strand] {
            waiting.insert(key(branch.other, branch.late));
            if let Some(others) = between.get(&branch.other) {
                waiting.extend(others.iter().map(|&other| key(other, branch.late)));
            }
        }
    }
    let row = |strand: usize| rows.lane_of.get(&strand).map_or(0, |&lane| LANE * lane as i64);
    // Never quite in a lane, where something else may lie.
    let middle = between.iter().map(|(&strand, &[one, other])| (strand, ((row(one) + row(other)) / 2) | 1));
    middle.chain(rows.lane_of.keys().map(|&strand| (strand, row(strand)))).collect()
}

/// What it costs where tracks cross, and where a lane is put in, beside a lane of distance.
const CROSSING: i64 = 40;
const NEW_LANE: i64 = 15;
const OUT_OF_ORDER: i64 = 30;
const OTHER_SIDE: i64 = 25;

impl Rows<'_> {
    fn add(&mut self, strand: usize, branches: &[Branch]) {
        let rungs: Vec<(Branch, usize)> =
            branches.iter().filter_map(|&branch| Some((branch, *self.lane_of.get(&branch.other)?))).collect();
        let (first, last) = self.bounds(strand);
        let mut best = (i64::MAX, first, true);
        for lane in first..=last {
            for is_new in [false, true] {
                let is_at_bound = lane == first || lane == last;
                if (!is_new && (lane == last || !self.is_free(strand, lane)))
                    || (is_new && !is_at_bound && !self.is_worth(lane, &rungs))
                {
                    continue;
                }
                let cost = self.cost(strand, lane, &rungs, is_new);
                best = best.min((cost, lane, is_new));
            }
        }
        let (_, lane, is_new) = best;
        if is_new {
            self.put_in(lane);
        }
        self.lanes[lane].push(strand);
        self.lane_of.insert(strand, lane);
        for branch in branches {
            if self.lane_of.contains_key(&branch.other) {
                let Branch { other, at, late, throat } = *branch;
                self.rungs.push(Rung { at, one: strand, other, late, throat });
            }
        }
    }

    /// Between which lanes a strand must be laid, so that what is to lie above it does, and what is to lie below it: into the
    /// first one at the earliest, into a new one before the last at the latest.
    fn bounds(&self, strand: usize) -> (usize, usize) {
        let lane = |strand: usize| self.lane_of.get(&strand).copied();
        let first = self.order.must_lie_above(strand).filter_map(lane).map(|lane| lane + 1).max();
        let last = self.order.must_lie_below(strand).filter_map(lane).min();
        (first.unwrap_or(0), last.unwrap_or(self.lanes.len()))
    }

    fn is_free(&self, strand: usize, lane: usize) -> bool {
        let Some(taken) = self.lanes.get(lane) else { return false };
        let Strand { from, to, .. } = self.strands[strand];
        taken
            .iter()
            .map(|&other| &self.strands[other])
            .all(|other| other.to + COLUMN / 2 <= from || to + COLUMN / 2 <= other.from)
    }

    /// Whether a new lane there could be near to what the strand branches off: at the edges, and beside those.
    fn is_worth(&self, lane: usize, rungs: &[(Branch, usize)]) -> bool {
        lane == 0 || lane == self.lanes.len() || rungs.iter().any(|&(_, other)| other == lane || other + 1 == lane)
    }

    /// What it costs to lay a strand into a lane, or into a new one before it.
    fn cost(&self, strand: usize, lane: usize, rungs: &[(Branch, usize)], is_new: bool) -> i64 {
        let Strand { from, to, .. } = self.strands[strand];
        // Twice the lane, so that a new one lies between two.
        let here = 2 * lane as i64 - i64::from(is_new);
        let across = self
            .rungs
            .iter()
            .filter(|rung| from < rung.at && rung.at < to)
            .filter(|rung| {
                let (one, other) = (2 * self.lane_of[&rung.one] as i64, 2 * self.lane_of[&rung.other] as i64);
                one.min(other) < here && here < one.max(other)
            })
            .count() as i64;
        let mut cost = CROSSING * across;
        for &(Branch { at, other: from, late, throat }, other) in rungs {
            let there = 2 * other as i64;
            let between = |lane: usize| here.min(there) < 2 * lane as i64 && (2 * lane as i64) < here.max(there);
            let crossed = self.lanes.iter().enumerate().filter(|&(lane, _)| between(lane)).flat_map(|(_, taken)| taken);
            let covers = |other: &&usize| self.strands[**other].from < at && at < self.strands[**other].to;
            cost += CROSSING * crossed.filter(covers).count() as i64;
            // What parts later lies nearer.
            let nearer =
                self.rungs.iter().filter(|rung| rung.other == from && rung.throat.is_some() && rung.throat == throat);
            let opposite = nearer.clone().filter(|rung| (2 * self.lane_of[&rung.one] as i64 > there) != (here > there));
            cost += OTHER_SIDE * opposite.count() as i64;
            let beyond = nearer.filter(|rung| {
                let its = 2 * self.lane_of[&rung.one] as i64;
                let is_outside = (here < its && there < here) || (its < here && here < there);
                let is_inside = (its < here && there < its) || (here < its && its < there);
                rung.late > late && is_outside || rung.late < late && is_inside
            });
            cost += OUT_OF_ORDER * beyond.count() as i64;
            cost += 5 * (here - there).abs() + i64::from(here < there);
        }
        let is_edge = lane == 0 || lane == self.lanes.len();
        cost + if is_new && !is_edge { NEW_LANE } else { 0 } + if is_new { 4 } else { 0 }
    }

    fn put_in(&mut self, lane: usize) {
        self.lanes.insert(lane, Vec::new());
        for (number, taken) in self.lanes.iter().enumerate() {
            for &strand in taken {
                self.lane_of.insert(strand, number);
            }
        }
    }
}

/// Lanes in which nothing is drawn but tracks side by side: three or more plain ones between the same throats, or dead ends
/// off the same throat.
pub(super) fn yards(layout: &Layout, lanes: &Lanes) -> Vec<(i64, Vec<SectionId>)> {
    let mut beside: BTreeMap<Vec<SectionId>, Vec<SectionId>> = BTreeMap::new();
    for (id, section) in layout.sections.iter().filter(|(_, section)| section.ways.len() == 1) {
        let throats: BTreeSet<SectionId> =
            section.ends.iter().flat_map(|&end| &layout.ends[end].meets).map(|&met| layout.ends[met].section).collect();
        if throats.iter().all(|&throat| layout.sections[throat].ways.len() > 2) && !throats.is_empty() {
            beside.entry(throats.into_iter().collect()).or_default().push(id);
        }
    }
    let yard: BTreeSet<SectionId> = beside.into_values().filter(|tracks| tracks.len() > 2).flatten().collect();
    let mut by_lane: BTreeMap<i64, (bool, BTreeSet<SectionId>)> = BTreeMap::new();
    for (end, row) in layout.ends.iter() {
        let (only_yard, sections) = by_lane.entry(lanes.at[end.index()]).or_insert((true, BTreeSet::new()));
        if yard.contains(&row.section) {
            sections.insert(row.section);
        } else if row.meets.iter().all(|&met| !yard.contains(&layout.ends[met].section)) {
            *only_yard = false;
        }
    }
    let tight = by_lane.into_iter().filter(|(_, (only_yard, sections))| *only_yard && !sections.is_empty());
    tight.map(|(lane, (_, sections))| (lane, sections.into_iter().collect())).collect()
}
